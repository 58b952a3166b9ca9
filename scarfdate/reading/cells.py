"""One cell at a time: what a person wrote, read as a word, weights over words, or a number.

The fields of the clues (`scarfdate.clues.field`) read their cells here, for both front doors.
"""

from __future__ import annotations

import json
import math
import re
from abc import ABC, abstractmethod
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from numbers import Real

from scarfdate.conventions import METHOD
from scarfdate.errors import RangeError, ScarfdateError, TableError, shown
from scarfdate.tables.families import Family
from scarfdate.tables.priors import Priors
from scarfdate.words import units

_LONGEST_WEIGHTS = 4000  # characters of JSON in a cell; weights over a whole family are shorter
_LONGEST_NUMBER = 40
_WEIGHT_SLACK = 0.011  # three times 0.33 is what people write for thirds
_ROUNDING = 1e-12
_RANGE = re.compile(r"([0-9]+(?:[.,][0-9]+)?) ?(?:-|–|to) ?([0-9]+(?:[.,][0-9]+)?)")
_ABOUT = ("about ", "approx ", "ca ", "c ", "~")
LABEL_AGAINST_MAKE = (
    "label_make: a make is given, but label says none-seen; "
    "leave one out, or write origin for what the cloth itself says"
)
_YES = frozenset({"yes", "y", "true", "1"})
_NO = frozenset({"no", "n", "false", "0"})


class Observed(ABC):
    """What was seen of one family, in the one spelling in which it is kept; a frozen value.

    It holds no table, so it can be kept, compared and pickled without any.
    """

    __slots__ = ()

    @abstractmethod
    def cells(self, name: str) -> dict[str, object]:
        """The plain values, by column, that family ``name`` reads as this again."""


@dataclass(frozen=True, slots=True)
class Observation(Observed):
    """What was seen in one shares family.

    ``terms`` are canonical words (values or parent words) with weights that sum to one, in the order
    of the words; a value seen for certain is one term of weight one. ``method`` is how it was seen.
    """

    terms: tuple[tuple[str, float], ...]
    method: str = METHOD

    @property
    def word(self) -> str | None:
        """The one word, or None where there are weights over several."""
        return self.terms[0][0] if len(self.terms) == 1 else None

    def cells(self, name: str) -> dict[str, object]:
        """The word or the weights, and the method where it is not the usual one."""
        found: dict[str, object] = {name: self.word if self.word is not None else dict(self.terms)}
        return found if self.method == METHOD else found | {f"{name}_method": self.method}

    def __str__(self) -> str:
        if self.word is not None:
            return self.word
        parts = sorted(self.terms, key=lambda term: -term[1])
        return " or ".join(f"{word} ({weight:.0%})" for word, weight in parts)


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
    return (isinstance(cell, float) and math.isnan(cell)) or type(cell).__name__ in (
        "NAType",
        "NaTType",
    )


def read_observation(
    priors: Priors, family: str, cell: object, method: object = None
) -> Observation | None:
    """A cell of a shares family: a word, weights over words (a mapping or JSON text), or nothing.

    Raises WordError or ScarfdateError naming family, value and the nearest allowed words.
    """
    how = read_method(priors, family, method)
    if is_blank(cell):
        return None
    if isinstance(cell, str):
        if cell.lstrip().startswith("{"):
            return _weights(priors, family, _parsed(family, cell), how)
        word = priors.vocabulary.canonical(family, cell)
        return Observation(((word, 1.0),), how) if word else None
    if isinstance(cell, Mapping):
        return _weights(priors, family, cell, how)
    raise ScarfdateError(
        f"{family}: a word or weights over words are allowed, got {shown(cell)}; "
        'write a word such as "silk", or {"silk": 0.8, "polyester": 0.2}'
    )


def read_method(priors: Priors, family: str, method: object) -> str:
    """How a family was looked at; the default where nothing is said."""
    if is_blank(method):
        return METHOD
    if not isinstance(method, str):
        raise ScarfdateError(f"{family}_method: a word is allowed, got {shown(method)}")
    word = priors.vocabulary.canonical("method", method) or METHOD
    priors.confusion[family].matrix(word)  # refuses a method that this family has no table for
    return word


def _parsed(family: str, text: str) -> Mapping[str, object]:
    if len(text) > _LONGEST_WEIGHTS:
        raise ScarfdateError(
            f"{family}: weights of more than {_LONGEST_WEIGHTS} characters: {shown(text)}"
        )

    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        if len({key for key, _ in pairs}) < len(pairs):
            raise ScarfdateError(f"{family}: a word has two weights in {shown(text)}")
        return dict(pairs)

    try:
        return dict(json.loads(text, object_pairs_hook=once))
    except ScarfdateError:
        raise
    except (ValueError, TypeError, RecursionError):
        raise ScarfdateError(
            f"{family}: weights that cannot be read, got {shown(text)}; "
            'write them as {"silk": 0.8, "polyester": 0.2}'
        ) from None


def _weights(
    priors: Priors, family: str, cell: Mapping[str, object], method: str
) -> Observation | None:
    summed: dict[str, float] = {}
    for text, weight in cell.items():
        word = priors.vocabulary.canonical(family, text) if isinstance(text, str) else ""
        if not word:
            raise ScarfdateError(f"{family}: a weight belongs to a word, got {shown(text)}")
        number = as_float(weight)
        if number is None or not 0 <= number < math.inf:
            raise RangeError(
                f"{family}: the weight of {shown(text)} must be 0 or more, got {shown(weight)}"
            )
        summed[word] = summed.get(word, 0.0) + number
    total = math.fsum(summed.values())
    scale = 100 if total > 2 else 1  # people write per cent, too
    if abs(total / scale - 1) > _WEIGHT_SLACK:
        raise RangeError(
            f"{family}: weights must sum to 1 (or to 100), got {total:g}; "
            "give each value its weight, and every value you thought possible"
        )
    # weights that sum to one stay as they are to the last digit, so that they can be read again
    by = 1.0 if abs(total - 1) < _ROUNDING else total
    terms = tuple(sorted((word, weight / by) for word, weight in summed.items() if weight > 0))
    return Observation(terms, method)


def as_float(cell: object) -> float | None:
    """A number as a float (infinite where it is too large for one); None for anything else.

    Truth values and spans of time count as numbers in Python and its libraries, but not here.
    """
    if isinstance(cell, bool) or not isinstance(cell, Real):
        return None
    try:
        return float(cell)
    except OverflowError:
        return math.inf
    except (TypeError, ValueError):
        return None


def read_number(name: str, cell: object) -> float | None:
    """A finite number, a range such as 8-10 (its geometric middle), or nothing."""
    if is_blank(cell):
        return None
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
        )
    if not math.isfinite(number):
        raise RangeError(f"{name}: a finite number is allowed, got {shown(cell)}")
    return number


def read_year(family: Family, cell: object) -> int | None:
    """A whole year within the family's limits, or nothing."""
    number = read_number(family.name, cell)
    if number is None:
        return None
    if number != int(number) or not family.low <= number <= family.high:
        raise RangeError(
            f"{family.name}: a whole year from {family.low:g} to {family.high:g} is allowed, got {shown(cell)}"
        )
    return int(number)


def read_yes(name: str, cell: object) -> bool | None:
    """Yes or no in its usual spellings, or nothing."""
    if is_blank(cell):
        return None
    word = str(cell).strip().casefold()[:8]
    word = word.removesuffix(".0")
    if word in _YES:
        return True
    if word in _NO:
        return False
    raise ScarfdateError(f"{name}: yes or no is allowed, got {shown(cell)}")


def read_text(name: str, cell: object, longest: int) -> str:
    """Text of at most ``longest`` characters, without blanks at its ends; a number counts as text."""
    text = cell if isinstance(cell, str) else str(cell) if isinstance(cell, (int, float)) else None
    if text is None or len(text) > longest:
        raise ScarfdateError(
            f"{name}: text of at most {longest} characters is allowed, got {shown(cell)}"
        )
    return text.strip()


def read_side(name: str, cell: object, unit: str | None) -> float | None:
    """One side of a piece in cm, or nothing; the text may state its own unit."""
    if is_blank(cell):
        return None
    number = cell if isinstance(cell, str) else as_float(cell)
    if number is None:
        raise RangeError(f"{name}: a length is allowed, got {shown(cell)}")
    try:
        return units.read_length(number, unit)
    except ScarfdateError as error:
        raise RangeError(f"{name}: {error}") from None


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
