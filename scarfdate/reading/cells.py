"""One cell at a time: what a person wrote, read as a number, a year, yes or no, a length or text.

The fields of the clues (`scarfdate.clues.field`) read their cells here, for both front doors.
"""

from __future__ import annotations

import math
import re
from abc import ABC, abstractmethod
from contextlib import suppress
from datetime import date
from decimal import Decimal  # of databases; Python does not count it among real numbers
from numbers import Real

from scarfdate.errors import RangeError, ScarfdateError, TableError, in_text, shown
from scarfdate.tables.families import Family
from scarfdate.words import units

_LONGEST_NUMBER = 40
_VAST = 1e300  # nobody types so long a number
_RANGE = re.compile(r"([0-9]+(?:[.,][0-9]+)?) ?(?:-|–|to) ?([0-9]+(?:[.,][0-9]+)?)")
_A_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[T ]|$)")
_NO_YEAR = re.compile(
    r"(?:the )?(?:early |mid |late )?(?:19|20)?[0-9]0'?s|.*\b(?:before|after|until|since)\b.*"
)
_NOTICE = re.compile(r"^\s*(?:©|\(c\)|copyright\b|copr?\.)\s*", re.IGNORECASE)
_ABOUT = ("about ", "approx ", "ca ", "c ", "~")
LABEL_AGAINST_MAKE = (
    "label_make: a make is given, but label says none-seen; "
    "leave one out, or write origin for what the cloth itself says"
)
YES = frozenset({"yes", "y", "true", "1"})
NO = frozenset({"no", "n", "false", "0"})


class Observed(ABC):
    """What was seen of one family, in the one spelling in which it is kept; a frozen value.

    It holds no table, so it can be kept, compared and pickled without any.
    """

    __slots__ = ()

    @abstractmethod
    def cells(self, name: str) -> dict[str, object]:
        """The plain values, by column, that family ``name`` reads as this again."""


def column_name(name: object) -> str:
    """A header as it is compared: "Width cm" and "width-cm" are width_cm."""
    if not isinstance(name, str):
        raise TableError(f"column names are text, got {shown(name)}; name the column")
    return "_".join(name.strip().casefold().replace("-", " ").replace("_", " ").split())


def is_blank(cell: object) -> bool:
    """Whether a cell says nothing: None, NaN, NA, or blank text."""
    if cell is None:
        return True
    if isinstance(cell, str):
        return not cell.strip()
    if isinstance(cell, float):
        return math.isnan(cell)
    return type(cell).__name__ in ("NAType", "NaTType")


def as_typed(cell: object) -> str:
    """A cell as a person would have typed it, with its blanks; "" for nothing."""
    return "" if cell is None else cell if isinstance(cell, str) else in_text(cell, str)


def as_float(cell: object) -> float | None:
    """A number as a float (infinite where it is too large for one); None for anything else.

    Truth values and spans of time count as numbers in Python and its libraries, but not here.
    """
    if isinstance(cell, bool) or not isinstance(cell, (Real, Decimal)):
        return None
    try:
        return float(cell)
    except OverflowError:
        return math.inf
    except (TypeError, ValueError):
        return None


_DAY = re.compile(r"(\d{4}-\d\d-\d\d)(?:[T ][\d:.]*)?")


def _became_a_day(cell: object) -> str:
    """What to say of a cell that a spreadsheet has made a date of, such as 3-5 or 12/3; "" of any other."""
    day = _DAY.fullmatch(cell.strip()) if isinstance(cell, str) and len(cell) < 40 else None
    return (
        f"; the spreadsheet made a date ({day[1]}) of it: format the column as text" if day else ""
    )


def read_number(name: str, cell: object) -> float | None:
    """A finite number, a range such as 8-10 (its geometric middle), or nothing."""
    if is_blank(cell):
        return None
    refuse_date(name, cell)
    if isinstance(cell, str):
        text = cell.strip().casefold()
        if len(text) <= _LONGEST_NUMBER:
            for word in _ABOUT:
                text = text.removeprefix(word).removeprefix(word.rstrip() + ". ").strip()
            both = _RANGE.fullmatch(text)
            if both:
                low, high = (float(side.replace(",", ".")) for side in both.groups())
                if 0 < low <= high <= 3 * low:
                    return math.sqrt(low * high)
            with suppress(ValueError):
                # "12,5" is a decimal comma; a thousands comma has three digits behind it
                cell = float(
                    text.replace(",", ".") if re.fullmatch(r"[0-9]+,[0-9]{1,2}", text) else text
                )
    number = as_float(cell)
    if number is None:
        raise RangeError(
            f"{name}: a number is allowed, got {shown(cell)}; write digits, such as 12 or 8-10"
            + _became_a_day(cell)
        )
    if not math.isfinite(number):
        raise RangeError(f"{name}: a finite number is allowed, got {shown(cell)}")
    return number


def read_year(family: Family, cell: object) -> tuple[int | None, str]:
    """A whole year within the family's limits, or nothing; and a warning, "" for none."""
    if isinstance(cell, str):
        cell = _NOTICE.sub("", cell)
    text = cell.strip().casefold() if isinstance(cell, str) else ""
    if len(text) <= _LONGEST_NUMBER and (_NO_YEAR.fullmatch(text) or text.endswith("?")):
        raise RangeError(
            f"{family.name}: one year that can be read is allowed, got {shown(cell)}; "
            "write it as 1962 and leave it blank where it is in doubt"
        )
    number = read_number(family.name, cell)
    if number is None:
        return None, ""
    if number != int(number) or not family.low <= number <= family.high:
        four = f"; write all four digits, such as 19{int(number):02d}" if 0 <= number < 100 else ""
        raise RangeError(
            f"{family.name}: a whole year from {family.low:g} to {family.high:g} is allowed, got {shown(cell)}{four}"
        )
    if text.startswith(tuple(word.strip() for word in _ABOUT)):
        return int(number), f"{family.name}: {shown(cell)} is taken as the year {int(number)}"
    return int(number), ""


def read_yes(name: str, cell: object) -> bool | None:
    """Yes or no in its usual spellings, or nothing."""
    if is_blank(cell):
        return None
    word = as_typed(cell).strip().casefold()[:8]
    word = word.removesuffix(".0")
    if word in YES:
        return True
    if word in NO:
        return False
    raise ScarfdateError(f"{name}: yes or no is allowed, got {shown(cell)}")


def read_text(name: str, cell: object, longest: int) -> str:
    """Text of at most ``longest`` characters, without blanks at its ends; a number counts as text."""
    number = isinstance(cell, (int, float, Decimal)) and not abs(as_float(cell) or 0.0) > _VAST
    typed = isinstance(cell, str) or number
    text = as_typed(cell) if typed else None
    if text is None or len(text) > longest:
        raise ScarfdateError(
            f"{name}: text of at most {longest} characters is allowed, got {shown(cell)}"
        )
    return text.strip()


def read_side(name: str, cell: object, unit: str | None) -> float | None:
    """One side of a piece in cm, or nothing; the text may state its own unit."""
    if is_blank(cell):
        return None
    refuse_date(name, cell)
    number = cell if isinstance(cell, str) else as_float(cell)
    if number is None:
        raise RangeError(f"{name}: a length is allowed, got {shown(cell)}")
    try:
        return units.read_side(number, unit)
    except ScarfdateError as error:
        raise RangeError(f"{name}: {error}{_became_a_day(cell)}") from None


def read_both(cell: object, unit: str | None) -> tuple[float, float | None]:
    """The sides of a size in cm, the second None where there is one alone; a number is one side."""
    refuse_date("size", cell, named=False)
    number = as_float(cell)
    if number is not None:
        return units.read_length(number, unit), None
    return units.read_sides(cell, unit)  # type: ignore[arg-type]


def refuse_date(name: str, cell: object, *, named: bool = True) -> None:
    """RangeError where a spreadsheet has made a date of what was to be a number or a length."""
    if isinstance(cell, date) or (isinstance(cell, str) and _A_DATE.match(cell)):
        what = f"{name}: " if named else ""
        raise RangeError(
            f"{what}{shown(as_typed(cell))} is a date, which the spreadsheet made of it; "
            "format the column as text, and write the cell again"
        )


def checked_range(family: Family, value: float) -> str:
    """A warning where a measurement is unusual, "" where not; RangeError where it cannot be."""
    unit = f" {family.unit}" if family.unit else ""
    if not family.low <= value <= family.high:
        raise RangeError(
            f"{family.name}: must lie between {family.low:g} and {family.high:g}{unit}, got {value:.4g}; "
            "check the number and its unit"
        )
    if not family.usual_low <= value <= family.usual_high:
        return (
            f"{family.title} of {value:.4g}{unit} is unusual "
            f"(usual: {family.usual_low:g} to {family.usual_high:g})"
        )
    return ""
