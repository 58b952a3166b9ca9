"""The line for a listing: what a piece is, as it was noted, and when it was made, without the model's words.

It says less than is known rather than more: no maker, no country, no verdict; what was only felt or is in doubt is
said as such or left out. Nothing that a person typed stands in it, only words of ``listing.csv`` and numbers.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from scarfdate.clues.sides import Sides
from scarfdate.conventions import FIRST_YEAR
from scarfdate.reading.cells import Observed
from scarfdate.reading.observation import Observation
from scarfdate.tables.listing import METHOD, PHRASE
from scarfdate.tables.priors import Priors

_LONGEST = 160  # characters
_CM_PER_INCH = 2.54
_IN_INCHES = "en"
_DECIMAL_POINT = "en"
_FIBRE, _FORM, _SIZE = "fibre", "form", "size"
_BESIDE = ("weave", "hem", "motif")  # said where they are certain
_FIRST_LEFT_OUT = ("weave", "motif", "hem", _SIZE, _FIBRE)  # where the line is too long


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
        name: say(name, one.word)
        for name, one in noted.items()
        if isinstance(one, Observation) and one.word is not None
    }
    what = certain.get(_FORM) or say(PHRASE, "piece")
    told = {
        _FIBRE: _fibre(priors, noted.get(_FIBRE), language),
        _SIZE: _size(priors, noted.get(_SIZE), language),
        **{name: certain.get(name, "") for name in _BESIDE},
    }
    dated = ", ".join(_age(priors, age, language))
    for left_out in ("", *_FIRST_LEFT_OUT):
        told.pop(left_out, None)
        line = f"{', '.join(filter(None, (what, *told.values())))}; {dated}."
        if len(line) <= _LONGEST:
            break
    return line[:1].upper() + line[1:]


def _fibre(priors: Priors, seen: Observed | None, language: str) -> str:
    """The fibre and how it is known; with "perhaps" where it is in doubt; "" where that says too much."""
    if not isinstance(seen, Observation):
        return ""
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
    if not isinstance(seen, Sides):
        return ""
    sides = [side for side in (seen.width, seen.height) if side is not None]
    if not sides:
        return ""
    first, second = (_number(side, language) for side in (sides[0], sides[-1]))
    name = "two sides" if len(sides) > 1 else "one side"
    text = priors.listing.say(language, PHRASE, name, first=first, second=second)
    if language != _IN_INCHES:
        return text
    return f"{text} ({' × '.join(f'{round(2 * side / _CM_PER_INCH) / 2:g}' for side in sides)} in)"


def _number(side: float, language: str) -> str:
    """Half centimetres as they were noted; any other part of one is of another unit, and is rounded."""
    halves = round(2 * side)
    text = f"{halves / 2:g}" if abs(2 * side - halves) < 1e-6 else f"{side:.0f}"
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
    allowed = priors.allowances
    if age.later >= allowed["listing_later"]:
        return [*said, say("older style")]
    for name, chance in (("antique", age.antique), ("vintage", age.vintage)):
        if chance >= allowed["listing_sure"]:
            # rounded down: a buyer is never told more than is known
            sure = min(int(100 * chance), 99)
            return [*said, say(name, age=int(allowed[f"{name}_age"]), sure=sure)]
    return said
