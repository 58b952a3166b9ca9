"""The line for a listing: what a piece is, as it was noted, and when it was made, without the model's words.

It says less than is known rather than more: no maker, no country, no verdict; what was only felt or is in doubt is
said as such or left out. Nothing that a person typed stands in it, only words of ``listing.csv`` and numbers.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from scarfdate.clues.dated import Dated
from scarfdate.clues.sides import Sides
from scarfdate.conventions import FIRST_YEAR
from scarfdate.reading.cells import Observed
from scarfdate.reading.observation import Observation
from scarfdate.tables.listing import METHOD, PHRASE
from scarfdate.tables.priors import Priors

_LONGEST = 160  # characters
_CM_PER_INCH = 2.54
_SPACED = "fr"  # a blank stands before its semicolon
_IN_INCHES = "en"
_DECIMAL_POINT = "en"
_FIBRE, _FORM, _SIZE = "fibre", "form", "size"
_BESIDE = ("weave", "print_technique", "hem", "motif")  # said where they are certain
YEARS_SAID = {"depicted_year": "shown year", "printed_year": "printed year"}  # phrases
# where the line is too long
_FIRST_LEFT_OUT = (
    "weave",
    "print_technique",
    "motif",
    "hem",
    "printed_year",
    "depicted_year",
    _SIZE,
    _FIBRE,
)


@dataclass(frozen=True, kw_only=True)
class Age:
    """What a dating says of the age, for a listing.

    ``years``: first and last, both inclusive, or None where the clues do not date the piece; ``vintage``,
    ``antique``: the chances of such an age, 0 to 1; ``later``: of a later piece or an old design printed again.
    """

    years: tuple[int, int] | None
    vintage: float
    antique: float
    later: float


def listing(
    priors: Priors, seen: Mapping[str, Observed], wrong: Collection[str], age: Age, language: str
) -> str:
    """The line. ``seen``: what was noted, by family; ``wrong``: families more likely misread than right."""
    noted = {name: one for name, one in seen.items() if name not in wrong}

    def say(family: str, word: str, **put_in: object) -> str:
        return priors.listing.say(language, family, word, **put_in)

    certain = {
        name: ", ".join(filter(None, (say(name, word) for word in certain_words(one))))
        for name, one in noted.items()
        if isinstance(one, Observation)
    }
    what = certain.get(_FORM) or say(PHRASE, "piece")
    told = {
        _FIBRE: fibre_in_words(priors, noted.get(_FIBRE), language),
        _SIZE: _size(priors, noted.get(_SIZE), language),
        **{name: certain.get(name, "") for name in _BESIDE},
        **{
            name: say(PHRASE, phrase, n=one.year)
            for name, phrase in YEARS_SAID.items()
            if isinstance(one := noted.get(name), Dated)
        },
    }
    dated = ", ".join(_age(priors, age, language))
    for left_out in ("", *_FIRST_LEFT_OUT):
        told.pop(left_out, None)
        before = " " if language == _SPACED else ""
        line = f"{', '.join(filter(None, (what, *told.values())))}{before}; {dated}."
        if len(line) <= _LONGEST:
            break
    return line[:1].upper() + line[1:]


def certain_words(seen: Observation) -> list[str]:
    """The word that was noted for certain, or all that were named side by side."""
    return [seen.word] if seen.word is not None else [word for word, _ in seen.parts]


def _composition(priors: Priors, seen: Observation, language: str) -> str:
    """Fibres with the per cent of each, where all have one; else ""."""
    each = [(priors.listing.say(language, _FIBRE, word), share) for word, share in seen.parts]
    if any(not word or math.isnan(share) for word, share in each):
        return ""
    return ", ".join(f"{in_figures(share, language)} % {word}" for word, share in each)


def fibre_in_words(priors: Priors, seen: Observed | None, language: str) -> str:
    """The fibre and how it is known, of a mixture each with its part; with "perhaps" where it is in doubt; "" where that
    says too much."""
    if not isinstance(seen, Observation):
        return ""
    whole = _composition(priors, seen, language)
    if whole:
        return priors.listing.say(language, METHOD, seen.method, word=whole)
    leading, weight = max(seen.terms, key=lambda term: term[1])
    word = priors.listing.say(language, _FIBRE, leading)
    if not word:
        return ""
    if seen.word is not None:
        return priors.listing.say(language, METHOD, seen.method, word=word)
    alone = sum(other >= weight for _, other in seen.terms) == 1
    if weight < priors.allowances["listing_perhaps"] or not alone:
        return ""
    return priors.listing.say(language, PHRASE, "perhaps", word=word)


def _size(priors: Priors, seen: Observed | None, language: str) -> str:
    sides = sides_of(seen)
    text = in_centimetres(priors, sides, language)
    return f"{text} ({in_inches(sides, language)} in)" if text and language == _IN_INCHES else text


def sides_of(seen: Observed | None) -> list[float]:
    """The sides that were measured, in cm."""
    sides = (seen.width, seen.height) if isinstance(seen, Sides) else ()
    return [side for side in sides if side is not None]


def in_centimetres(priors: Priors, sides: Sequence[float], language: str) -> str:
    """Half centimetres as they were noted; any other part of one is of another unit, and is rounded."""
    if not sides:
        return ""
    halves = [round(2 * side) for side in sides]
    texts = [
        in_figures(half / 2 if abs(2 * side - half) < 1e-6 else round(side), language)
        for side, half in zip(sides, halves, strict=True)
    ]
    name = "two sides" if len(sides) > 1 else "one side"
    return priors.listing.say(language, PHRASE, name, first=texts[0], second=texts[-1])


def in_inches(sides: Sequence[float], language: str) -> str:
    """The sides to the nearest half inch."""
    return " × ".join(in_figures(round(2 * side / _CM_PER_INCH) / 2, language) for side in sides)


def in_figures(number: float, language: str) -> str:
    """A number with the decimal sign of the language."""
    text = f"{number:g}"
    return text if language == _DECIMAL_POINT else text.replace(".", ",")


def _age(priors: Priors, age: Age, language: str) -> list[str]:
    """When it was made, and what it may be called by its age."""

    def say(word: str, **put_in: object) -> str:
        return priors.listing.say(language, PHRASE, word, **put_in)

    if age.years is None:
        return [say("not dated")]
    first, last = (year // 10 * 10 for year in age.years)
    if age.years[0] <= FIRST_YEAR:  # it stands for itself and all before it
        said = [say("before", to=last + 10)]
    elif first == last:
        said = [say("decade", **{"from": first})]
    else:
        short = first // 100 == last // 100
        said = [say("decades", **{"from": first, "to": f"{last % 100:02}" if short else last})]
    name, _ = called(priors, age)
    return [*said, called_in_words(priors, age, language)] if name else said


def called(priors: Priors, age: Age) -> tuple[str, float]:
    """What a piece may be called by its age, "older style", "antique", "vintage" or "", and the chance that is behind it."""
    allowed = priors.allowances
    if age.later >= allowed["listing_later"]:
        return "older style", age.later
    for name, chance in (("antique", age.antique), ("vintage", age.vintage)):
        if chance >= allowed["listing_sure"]:
            return name, chance
    return "", 0.0


def called_in_words(priors: Priors, age: Age, language: str) -> str:
    """The same for a listing."""
    name, chance = called(priors, age)
    years = int(priors.allowances.get(f"{name}_age", 0))
    return priors.listing.say(language, PHRASE, name, age=years, sure=surely(chance))


def surely(chance: float) -> int:
    """A chance in whole per cent, rounded down and never 100: a buyer is never told more than is known."""
    return min(int(100 * chance + 1e-9), 99)
