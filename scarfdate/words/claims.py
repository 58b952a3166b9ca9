"""Claims about a piece: a set of years, a decade, "before 1970", "period piece", one against another.

A claim is weighed against what it denies: everything else, or the other of two ("1960s rather than
1970s"). Both are marked on a grid of mode (period piece, later piece) and year.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from numbers import Integral
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, LAST_AS_OF
from scarfdate.errors import RangeError, ScarfdateError, WordError, shown
from scarfdate.words.date_phrases import DateWords
from scarfdate.words.edtf import read_years

Marks = NDArray[np.bool_]
_NO_WORDS = DateWords(())
_DECADE = 10
_LONGEST = 200  # characters of a claim in words
_YEARS = re.compile(r"(\d{4})(?: ?(?:-|–|to) ?(\d{4}))?")
_EXAMPLES = (
    '"1960s", "1955-1964", "before 1970", "after 1959", "1960 or later", "period piece", '
    '"later piece", "at least 20 years old", "antique", "vintage", "19th century", "1960s or 1970s", '
    '"1960s rather than 1970s", or years such as (1955, 1964)'
)


@dataclass(frozen=True)
class Claim:
    """``says`` and ``denies`` (modes, years): what the claim holds true, and what it is weighed against.

    Modes are period piece and later piece. ``text`` is the claim in words.
    """

    text: str
    says: Marks
    denies: Marks


def read_claim(
    claim: object, years: NDArray[np.int64], as_of: int, words: DateWords = _NO_WORDS,
    ages: Mapping[str, int] = MappingProxyType({}),
) -> Claim:  # fmt: skip
    """A claim from words, a year, a first and a last year, or a pair of claims.

    ``words``: of dates, so that "late 19th century" is read, too; ``ages``: words for so many years old or more.

    Raises WordError where words say none of these, RangeError where nothing or everything is claimed.
    """
    pair = _pair(claim)

    def one(claim: object) -> tuple[str, Marks]:
        return _one(_aged(claim, ages), years, as_of, words)

    if pair is None:
        text, says = one(claim)
        denies = ~says
    else:
        (text, says), (other, denies) = map(one, pair)
        text = f"{text} rather than {other.removeprefix('made ')}"
        if (says & denies).any():
            raise RangeError(f"claim: {shown(text)} has years that are in both")
    for marks, what in ((says, "no year of the grid"), (denies, "every year of the grid")):
        if not marks.any():
            raise RangeError(
                f"claim: {shown(text)} holds {what}; years from {years[0]} to {years[-1]}"
            )
    return Claim(text, says, denies)


def _pair(claim: object) -> tuple[object, object] | None:
    if isinstance(claim, str) and " rather than " in claim:
        first, _, second = claim.partition(" rather than ")
        return first, second
    if isinstance(claim, tuple) and len(claim) == 2 and not any(map(_is_year, claim)):
        return claim
    return None


def _aged(claim: object, ages: Mapping[str, int]) -> object:
    """A word for an age in plain words."""
    age = ages.get(claim.strip().lower()) if isinstance(claim, str) else None
    return claim if age is None else f"at least {age} years old"


def _one(
    claim: object, years: NDArray[np.int64], as_of: int, words: DateWords
) -> tuple[str, Marks]:
    if isinstance(claim, str):
        return _words(claim, years, as_of, words)
    if _is_year(claim):
        return f"made in {claim}", _of_years(years == claim)
    # an array of no dimension says that it has members, and has none
    if isinstance(claim, Iterable) and getattr(claim, "ndim", True):
        given = list(claim)
        if given and all(map(_is_year, given)):
            if isinstance(claim, tuple) and len(given) == 2:
                return _between(int(given[0]), int(given[1]), years)
            return (
                f"made in one of {len(set(given))} years from {min(given)} to {max(given)}",
                _of_years(np.isin(years, given)),
            )
    raise WordError(f"claim: {shown(claim)} is not understood; allowed: {_EXAMPLES}")


def _words(text: str, years: NDArray[np.int64], as_of: int, words: DateWords) -> tuple[str, Marks]:
    plain = " ".join(text.lower().split())[:_LONGEST]
    plain = plain.removeprefix("made ").removeprefix("in ").removeprefix("the ")
    for pattern, read in _FORMS:
        match = pattern.fullmatch(plain)
        if match:
            return read(match, years, as_of)
    either = plain.rstrip("?").split(" or ")
    if len(either) > 1:
        told, marks = zip(*(_words(each, years, as_of, words) for each in either), strict=True)
        rest = [each.removeprefix("made ").removeprefix("in ") for each in told[1:]]
        return " or ".join([told[0], *rest]), np.logical_or.reduce(marks)
    try:
        read_as = read_years(plain, words)
    except ScarfdateError:
        read_as = None
    if read_as is not None:
        first = int(years[0]) if read_as.first is None else read_as.first
        return _between(first, as_of if read_as.last is None else read_as.last, years)
    raise WordError(f"claim: {shown(text)} is not understood; allowed: {_EXAMPLES}")


def _between(first: int, last: int, years: NDArray[np.int64]) -> tuple[str, Marks]:
    if first > last:
        raise RangeError(f"claim: the first year, {first}, lies after the last, {last}")
    text = f"made {first}-{last}" if first < last else f"made in {first}"
    if first <= FIRST_YEAR:
        text = f"made in {last} or earlier"
    return text, _of_years((years >= first) & (years <= last))


def _of_years(inside: Marks) -> Marks:
    return np.stack([inside, inside])


def _of_mode(place: int, years: NDArray[np.int64]) -> Marks:
    marks = np.zeros((2, len(years)), dtype=bool)
    marks[place] = True
    return marks


def _is_year(value: object) -> bool:
    return (
        isinstance(value, Integral)
        and not isinstance(value, bool)
        and abs(int(value)) <= LAST_AS_OF
    )


Read = Callable[[re.Match[str], NDArray[np.int64], int], tuple[str, Marks]]
_FORMS: tuple[tuple[re.Pattern[str], Read], ...] = (
    (
        re.compile(r"(\d{3}0)'?s"),
        lambda m, years, _: (
            f"made in the {m[1]}s",
            _of_years(years // _DECADE == int(m[1]) // _DECADE),
        ),
    ),
    (_YEARS, lambda m, years, _: _between(int(m[1]), int(m[2] or m[1]), years)),
    (
        re.compile(r"(?:before|older than) (\d{4})"),
        lambda m, years, _: (f"made before {m[1]}", _of_years(years < int(m[1]))),
    ),
    (
        re.compile(r"(?:after|younger than) (\d{4})"),
        lambda m, years, _: (f"made after {m[1]}", _of_years(years > int(m[1]))),
    ),
    (
        re.compile(r"(\d{4}) or (?:later|after)|not before (\d{4})|from (\d{4}) on"),
        lambda m, years, _: (
            f"made in {m[1] or m[2] or m[3]} or later",
            _of_years(years >= int(m[1] or m[2] or m[3])),
        ),
    ),
    (
        re.compile(r"(\d{4}) or (?:earlier|before)|not after (\d{4})"),
        lambda m, years, _: (
            f"made in {m[1] or m[2]} or earlier",
            _of_years(years <= int(m[1] or m[2])),
        ),
    ),
    (
        re.compile(r"(?:a )?period piece|of its period"),
        lambda _, years, __: ("a period piece", _of_mode(0, years)),
    ),
    (
        re.compile(r"(?:a )?later piece(?: in an older look)?|(?:a )?revival"),
        lambda _, years, __: ("a later piece in an older look", _of_mode(1, years)),
    ),
    (
        re.compile(r"at least (\d{1,3}) years old"),
        lambda m, years, as_of: (
            f"at least {m[1]} years old",
            _of_years(as_of - years >= int(m[1])),
        ),
    ),
)
