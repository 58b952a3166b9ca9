"""`Appraisal`: what a piece may bring, what to pay for it, and what to do with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from scarfdate.errors import RangeError
from scarfdate.show.sentence import capital, percent
from scarfdate.why.asked import Asked
from scarfdate.worth.amounts import amount, between, read_amount
from scarfdate.worth.costs import Costs
from scarfdate.worth.keep_or_sell import Keeping, demand, keep_or_sell
from scarfdate.worth.look_first import Drawn, LookFirst, looks_first
from scarfdate.worth.spread import Spread, highest_price
from scarfdate.worth.waiting_rule import Demand

if TYPE_CHECKING:
    from scarfdate.clues.scarf import Scarf
    from scarfdate.worth.pieces import Pieces
    from scarfdate.worth.price_samples import PriceSamples
    from scarfdate.worth.terms import Terms

Advice = Literal["buy", "look first", "leave it", "offer"]
_CARRIED = ("", "lens", "tape")  # what a buyer has about her; a microscope is at home


@dataclass(frozen=True, eq=False, kw_only=True)
class Appraisal:
    """What one piece may bring. Money is in ``currency``, a label; spreads are equally likely draws.

    ``price``: what a buyer pays in the end; ``gain``: what owning it is worth today, after all costs of selling;
    ``days`` until it is sold, None where nothing is known of days. ``asking``, ``offer``: as they were
    given, or None; ``risk``: the chance of a loss that is accepted, 0 to 1; ``invented``: whether the prices
    are; ``notes``: what should be known of the answer.
    """

    price: Spread
    gain: Spread
    days: Spread | None
    asking: float | None
    offer: float | None
    risk: float
    currency: str
    costs: Costs
    invented: bool
    notes: tuple[str, ...]
    _scarf: Scarf
    _terms: Terms
    _pieces: Pieces
    _samples: PriceSamples

    def __getstate__(self) -> dict[str, object]:
        """The fields alone: what was worked out from them is worked out again."""
        return {one.name: getattr(self, one.name) for one in fields(self)}

    def profit(self, asking: object = None) -> Spread:
        """The profit at a price, that which is asked unless given: its ``expected`` value, ``interval()`` and
        ``loss_probability``. Raises RangeError where there is no price, or one that is none."""
        paid = read_amount("asking", asking, self.currency)
        paid = self.asking if paid is None else paid
        if paid is None:
            raise RangeError("asking: no price was given; say what is asked for the piece")
        return self.gain.less(paid)

    @cached_property
    def limit(self) -> float:
        """The most to pay: the highest price at which a loss is no likelier than ``risk``, never more than can be
        expected; 0 where no price is low enough."""
        return highest_price(self.gain.draws[None, :], self.risk).item()

    @cached_property
    def looks(self) -> tuple[LookFirst, ...]:
        """Harmless looks that can turn the decision, with what each can be expected to earn, best first after the
        time that it costs; none where no price is asked. Worked out when first asked for."""
        if self.asking is None:
            return ()
        drawn = Drawn(
            cell=self._samples.cell[0],
            values={name: places[0] for name, places in self._samples.value.items()},
            profit=self.profit().draws,
        )
        terms = self._terms
        asked = Asked.of(self._scarf, terms.priors, terms.channel, terms.as_of)
        return looks_first(asked, drawn, self.risk, self.costs.hourly_rate or 0.0)

    @property
    def look(self) -> LookFirst | None:
        """The one look that is to be done before deciding, with what a buyer carries about her; or None."""
        least = self._terms.deciding("look_earns") / 100 * (self.asking or 0.0)
        return next(
            (x for x in self.looks if x.needs in _CARRIED and x.value - x.cost > least), None
        )

    @cached_property
    def keep_or_sell(self) -> Keeping | None:
        """What to do with it once it is hers; None where nothing is known of days to sell."""
        now = demand(self._samples)
        if now is None or self.costs.fee == 1:
            return None
        return keep_or_sell(
            now, self.costs, self.currency, self._terms.deciding("asked_at_most"), self.offer, self._later_seasons()
        )  # fmt: skip

    def _later_seasons(self) -> tuple[tuple[str, Demand], ...]:
        """The seasons after the one that was stated, with the demand in each."""
        each = ((name, demand(terms.samples(self._pieces))) for name, terms in self._terms.later())
        return tuple((name, found) for name, found in each if found is not None)

    @property
    def advice(self) -> Advice:
        """ "buy", "look first" or "leave it"; "offer" where no price is asked."""
        if self.asking is None:
            return "offer"
        if self.look is not None:
            return "look first"
        return "buy" if may_pay(self.asking, self.gain, self.risk) else "leave it"

    @property
    def sentence(self) -> str:
        """What to do, and why, in one or two sentences."""
        most = amount(self.limit, self.currency, down=True)
        gift = as_a_gift(self.gain, self.risk)
        if self.asking is None:
            if self.limit == 0:
                return f"Pay nothing for it: {gift}."
            return f"Pay up to {most}: you then lose money with a chance of {percent(self.risk)} or less."
        at, profit = amount(self.asking, self.currency), self.profit()
        expects = (
            f"you can expect to {_earn(profit.expected, self.currency)}, and you lose money with a chance of "
            f"{percent(profit.loss_probability)}"
        )
        if self.look is not None:
            return f"Look first, before you decide: at {at} {expects}."
        if self.advice == "buy":
            return f"Buy it: at {at} {expects}."
        offer = f"Offer up to {most}." if self.limit > 0 else f"{capital(gift)}."
        return f"Leave it at {at}: {expects}. {offer}"

    def _lines(self) -> list[str]:
        low, high = self.price.interval()
        days = "" if self.days is None else f", in about {self.days.median:.0f} days"
        middle, mean = (
            amount(one, self.currency) for one in (self.price.median, self.price.expected)
        )
        average = f" On average it brings {mean}: that is what a profit is reckoned from."
        found = [
            f"It sells for about {middle}{days}; "
            f"8 times in 10 for {amount(low, '')} to {amount(high, self.currency)}."
            f"{average if mean != middle else ''}"
        ]
        if self.asking is not None:
            low, high = self.profit().interval()
            text = f"The profit lies 8 times in 10 between {between(low, high, self.currency)}."
            if self.limit > 0:
                most = amount(self.limit, self.currency, down=True)
                text += (
                    f" The most to pay is {most}, for a chance of a loss of {percent(self.risk)}."
                )
            found.append(text)
        if self.look is not None:
            found.append(said(self.look, self.currency))
        if self.keep_or_sell is not None:
            found.append(f"If it is yours: {_lower(str(self.keep_or_sell))}")
        return [*found, *self.notes]

    def to_dict(self) -> dict[str, object]:
        """The numbers, for JSON."""
        low, high = self.price.interval()
        found: dict[str, object] = {
            "currency": self.currency, "price": self.price.median, "price_low": low, "price_high": high,
            "limit": self.limit, "risk": self.risk, "advice": self.advice, "invented": self.invented,
        }  # fmt: skip
        if self.asking is not None:
            profit = self.profit()
            low, high = profit.interval()
            found |= {
                "asking": self.asking, "expected_profit": profit.expected, "profit_low": low, "profit_high": high,
                "loss_probability": profit.loss_probability,
            }  # fmt: skip
        return found

    def plot(self, ax: Any = None) -> Any:
        """The chance of a loss by the price paid, a line, with the most to pay and what is asked; the axis."""
        from scarfdate.show import plot

        marks = [("the most to pay", self.limit)]
        if self.asking is not None:
            marks.append(("asked", self.asking))
        return plot.chance_of_loss(np.sort(self.gain.draws), marks, self.currency, ax)

    def __str__(self) -> str:
        return "\n".join([self.sentence, *self._lines()])

    __repr__ = __str__

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        return page.view(self.sentence, page.lines(self._lines()))


def may_pay(price: float, gain: Spread, risk: float) -> bool:
    """Whether a price keeps to the accepted chance of a loss, and to what is expected."""
    return gain.chance_below(price) <= risk and price <= gain.expected


def as_a_gift(gain: Spread, risk: float) -> str:
    """Why nothing is to be paid for what is worth so much."""
    if gain.expected <= 0:
        return "selling costs more than it is likely to bring"
    return (
        f"even as a gift you lose money with a chance of {percent(gain.loss_probability)}, for what selling "
        f"costs, and you accept {percent(risk)}"
    )


_WORDS = 4  # more than that nobody keeps in mind


def said(look: LookFirst, currency: str) -> str:
    """A look as one says it: what to do, how long it takes, what it earns, and what speaks for buying."""
    minutes = "a minute" if look.minutes == 1 else f"{look.minutes:g} minutes"
    if len(look.leave_if) < len(look.buy_if):
        does, words = "Leave", look.leave_if
    else:
        does, words = "Buy", look.buy_if
    told = f" {does} it if you find {_or(words)}." if 0 < len(words) <= _WORDS else ""
    care = f" Take care: {look.caution}." if look.caution else ""
    return f"{capital(look.words)} ({minutes}): worth about {amount(look.value, currency)}.{told}{care}"


def _or(words: Sequence[str]) -> str:
    *others, last = words
    return f"{', '.join(others)} or {last}" if others else last


def _earn(expected: float, currency: str) -> str:
    return f"{'earn' if expected >= 0 else 'lose'} {amount(abs(expected), currency)}"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
