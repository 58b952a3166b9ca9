"""What selling costs a dealer, from a small TOML file.

    currency = "EUR"               # a label, never converted
    fee_percent = 13.0             # of the price, taken by whoever sells it for her
    fee_fixed = 0.35               # and a fixed fee, a sale
    postage = 4.20                 # a sale
    packing = 0.60                 # a sale
    return_costs = 8.00            # all that one return costs: postage both ways, fees that are not paid back
    cleaning = 1.50                # a piece, once
    minutes = 25                   # of work on a piece, once: photographs, the text, the parcel
    hourly_rate = 15.00
    shelf_cost_per_day = 0.01      # a piece and a day
    interest_percent_a_year = 5.0  # what money tied up in stock would earn elsewhere
    days_at_most = 365             # then a piece is cleared,
    cleared_at = 0.4               # for this share of its price

``format = 1`` may stand there, too: the version of the layout of the file.
Nothing has a value of its own: what is not stated counts as zero, and every answer names it. Without
``days_at_most`` a piece waits for its buyer as long as it takes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from scarfdate.conventions import Array
from scarfdate.errors import RangeError, ScarfdateError, TableError, did_you_mean, is_one_of, shown
from scarfdate.formats import COSTS
from scarfdate.reading.cells import as_float
from scarfdate.reading.money import is_code
from scarfdate.reading.table import printable
from scarfdate.reading.toml_text import read_toml

DAYS_A_YEAR = 365.25
_MOST = 1e9  # money, minutes or days: more is a slip of the pen
_LONGEST = 2**16  # bytes of a file of costs
_TO = {"fee_percent": 100.0, "cleared_at": 1.0, "interest_percent_a_year": 1000.0}


@dataclass(frozen=True, kw_only=True)
class Costs:
    """What selling costs: money in one currency, which is a label; None where it is not stated.

    ``fee_percent``: 0 to 100, of the price; ``fee_fixed``, ``postage``, ``packing``: money a sale;
    ``return_costs``: money a return, all in all; ``cleaning``: money a piece; ``minutes`` a piece, at
    ``hourly_rate``; ``shelf_cost_per_day``: money a piece and day; ``interest_percent_a_year``: 0 to 1000;
    ``days_at_most``: after them a piece is cleared for ``cleared_at`` (0 to 1) of its price.

    Raises RangeError, naming it, for what is no number or outside its range (a fee above 100 %, a negative
    price), and TableError for a currency that is no ISO 4217 code.
    """

    currency: str = ""
    fee_percent: float | None = None
    fee_fixed: float | None = None
    postage: float | None = None
    packing: float | None = None
    return_costs: float | None = None
    cleaning: float | None = None
    minutes: float | None = None
    hourly_rate: float | None = None
    shelf_cost_per_day: float | None = None
    interest_percent_a_year: float | None = None
    days_at_most: float | None = None
    cleared_at: float | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.currency, str) or (self.currency and not is_code(self.currency)):
            raise TableError(
                "currency: an ISO 4217 code (three capital letters, such as EUR) is allowed, "
                f"got {shown(self.currency)}"
            )
        for name in AMOUNTS:
            if getattr(self, name) is not None:
                object.__setattr__(self, name, _number(name, getattr(self, name)))

    @property
    def not_stated(self) -> tuple[str, ...]:
        """The names of what counts as zero because it is not stated."""
        return tuple(name for name in AMOUNTS if getattr(self, name) is None)

    @property
    def fee(self) -> float:
        """The share of a price that goes to whoever sells it for her, 0 to 1."""
        return (self.fee_percent or 0.0) / 100

    @property
    def a_sale(self) -> float:
        """Money that every sale costs, whatever the price."""
        return (self.fee_fixed or 0.0) + (self.postage or 0.0) + (self.packing or 0.0)

    @property
    def a_piece(self) -> float:
        """Money that a piece costs before it is for sale: cleaning and work."""
        return (self.cleaning or 0.0) + (self.minutes or 0.0) / 60 * (self.hourly_rate or 0.0)

    @property
    def interest(self) -> float:
        """Interest a day, compounded: money due in t days is worth exp(-t * interest) of itself today."""
        return math.log1p((self.interest_percent_a_year or 0.0) / 100) / DAYS_A_YEAR

    def net(self, price: Array) -> Array:
        """What is left of a price after the fees, postage and packing of the sale."""
        return price * (1 - self.fee) - self.a_sale

    def __str__(self) -> str:
        stated = {name: getattr(self, name) for name in AMOUNTS if getattr(self, name) is not None}
        lines = [f"  {_WORDS[name].format(amount)}" for name, amount in stated.items()]
        head = f"Costs in {self.currency}:" if self.currency else "Costs (no currency stated):"
        return "\n".join([head, *lines, *filter(None, [counted_as_zero(self.not_stated)])])

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        return page.view(str(self))


_WORDS = {
    "fee_percent": "fee: {:g} % of the price",
    "fee_fixed": "fee: {:g} a sale",
    "postage": "postage: {:g} a sale",
    "packing": "packing: {:g} a sale",
    "return_costs": "a return: {:g}, all in all",
    "cleaning": "cleaning: {:g} a piece",
    "minutes": "work: {:g} minutes a piece",
    "hourly_rate": "an hour of work: {:g}",
    "shelf_cost_per_day": "a day on the shelf: {:g}",
    "interest_percent_a_year": "interest: {:g} % a year",
    "days_at_most": "cleared after {:g} days",
    "cleared_at": "then for {:g} times its price",
}
AMOUNTS = tuple(one.name for one in fields(Costs) if one.name != "currency")


def counted_as_zero(names: tuple[str, ...]) -> str:
    """The sentence that names what is not stated; "" where all is."""
    if not names:
        return ""
    if len(names) == len(AMOUNTS):
        return "No costs of selling were stated: fees, postage, work and time count as nothing."
    # a piece that may wait for ever is never cleared: of the two, only the first is worth a word
    told = [name for name in names if not (name == "cleared_at" and "days_at_most" in names)]
    each = ", ".join("a last day" if n == "days_at_most" else n.replace("_", " ") for n in told)
    return f"Not stated, so counted as nothing: {each}."


def read_costs(source: str | Path | Mapping[str, Any] | Costs) -> Costs:
    """Costs from a TOML file, as at the head of this module, or from a mapping with the same names.

    Raises TableError for a file that cannot be read, naming it, and with all that is wrong in it: a name
    that is none of these, what is no number, a fee above 100 %, negative money.
    """
    if isinstance(source, Costs):
        return source
    if isinstance(source, Mapping):
        return _costs(source, "costs")
    if not isinstance(source, (str, Path)):
        raise TableError(f"costs: a TOML file or a mapping is allowed, got {shown(source)}")
    return _costs(read_toml(Path(source), _LONGEST, "a file of costs"), printable(str(source)))


def _costs(given: Mapping[str, Any], where: str) -> Costs:
    given = dict(given)
    try:
        COSTS.checked(given.pop("format", None), where)
    except ScarfdateError as refusal:
        raise TableError(str(refusal)) from None
    names, wrong = ("currency", *AMOUNTS), []
    for name, value in given.items():
        if not is_one_of(name, names):
            wrong.append(f"{shown(name)} is not known; {did_you_mean(name, names)}")
            continue
        try:
            Costs(**{name: value})
        except ScarfdateError as error:
            wrong.append(str(error))
    if wrong:
        raise TableError("\n".join(f"{where}: {each}" for each in wrong))
    return Costs(**given)


def _number(name: str, value: object) -> float:
    most = _TO.get(name, _MOST)
    number = as_float(value)
    if number is None or not 0 <= number <= most:
        per_cent = " %" if "percent" in name else ""
        raise RangeError(
            f"{name}: a number from 0 to {most:g}{per_cent} is allowed, got {shown(value)}"
        )
    return number
