"""The two sides of a piece: how they are written down, and the long side and slenderness they make.

The two families are measured on the form and weighed with it; neither is written down by itself.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.field import AsNoted, Field, Seen, Warnings
from scarfdate.clues.measured import Measure, cells_of
from scarfdate.conventions import Array
from scarfdate.errors import RangeError, ScarfdateError, shown
from scarfdate.reading.cells import NO, YES, Observed, checked_range, is_blank, read_both, read_side
from scarfdate.tables.priors import Priors
from scarfdate.words import units
from scarfdate.words.measures import both_written, sides_written

LONG_SIDE, SLENDERNESS = "long_side", "slenderness"
DERIVED = (LONG_SIDE, SLENDERNESS)
SIZE = "size"  # the name under which a scarf keeps its sides
_SIDES = {  # by column the side and its unit
    "width_cm": ("width", "cm"), "height_cm": ("height", "cm"), "width_in": ("width", "in"),
    "height_in": ("height", "in"), "width": ("width", ""), "height": ("height", ""),
}  # fmt: skip
_FORM, _SQUARE = "form", "square"
_FRINGE, _WITHIN, _WITHOUT = "fringe", "within", "without"
_LONGEST_SIZE = 1000  # characters; what is longer is no size, and is refused by what reads it
_HEM, _FRINGED = "hem", "fringed"
_A_LENGTH = re.compile(r"[\d½¼¾.,/ ]+(?:cm|mm|in|inch|inches|\"|″|”)")


@dataclass(frozen=True, slots=True)
class Sides(Observed):
    """Width and height in cm, each None where it was not measured; ``fringe``: "within", "without" or "".

    ``noted``: both as a person wrote them, "" where nobody did.
    """

    width: float | None
    height: float | None
    fringe: str = ""
    noted: str = field(default="", compare=False)

    def cells(self, name: str) -> dict[str, object]:
        """The sides in cm, and whether the fringe is within them."""
        every = {"width_cm": self.width, "height_cm": self.height, _FRINGE: self.fringe or None}
        return {column: value for column, value in every.items() if value is not None}

    def measured(self, fringe_allowance: float) -> dict[str, float]:
        """Long side (cm, without the fringe) and slenderness; one side alone is read as the longer."""
        width, height = self.width, self.height
        taken_off = fringe_allowance if self.fringe == _WITHIN else 0.0
        if width is not None and height is not None:
            long, short = (width, height) if width >= height else (height, width)
            long = max(long - taken_off, short)
            return {LONG_SIDE: long, SLENDERNESS: long / short}
        only = height if width is None else width
        return {} if only is None else {LONG_SIDE: max(only - taken_off, only / 2)}

    def step(self, name: str, measure: Measure, fringe_allowance: float) -> int | None:
        """The step of one of `measured`; None where it is not known."""
        value = self.measured(fringe_allowance).get(name)
        return None if value is None else measure.cell(value)


class SidesOnSteps(NamedTuple):
    """Two sides that were read with those of many other pieces: the steps that both families are weighed on."""

    long_side: int
    slenderness: int

    def step(self, name: str, measure: Measure, fringe_allowance: float) -> int:
        """The step of one of both."""
        return self.long_side if name == LONG_SIDE else self.slenderness


def measurements(seen: Mapping[str, Any], priors: Priors) -> dict[str, float]:
    """Every measured family of what was seen of a piece, those that its sides make with them."""
    found = {
        name: seen[name].value
        for name, family in priors.families.items()
        if family.kind == "measured" and name in seen
    }
    sides = seen.get(SIZE)
    if sides is not None:
        made = sides.measured(priors.allowances["fringe_on_long_side"])
        found |= {name: value for name, value in made.items() if name in priors.families}
    return found


class SidesField(Field):
    """Width and height with their unit, or both in one text, and the fringe."""

    derives = DERIVED
    quotes = True
    numeric = tuple(_SIDES)
    others = (_FORM,)

    def __init__(self, priors: Priors) -> None:
        self.priors, self.name = priors, SIZE
        self.columns = (*_SIDES, SIZE, "unit", _FRINGE)
        self._families = [priors.families[name] for name in DERIVED if name in priors.families]
        self._allowance = priors.allowances["fringe_on_long_side"]

    def reads(self, *cells: object) -> tuple[Sides | None, Warnings]:
        """Both sides in cm; refuses two ways to give one of them."""
        given = {n: c for n, c in zip(self.columns, self.said(cells), strict=True) if c is not None}
        noted = {**given}
        fringe = self._fringe(given.pop(_FRINGE, None))
        if isinstance(given.get(SIZE), str):
            given[SIZE], told = self._apart(str(given[SIZE]))
            fringe = fringe or told
        numbers = _in_cm(given)
        if not numbers and not fringe:
            return None, ()
        sides = Sides(numbers.get("width"), numbers.get("height"), fringe, self.quote(noted))
        measured = sides.measured(self._allowance)
        odd = []
        if measured and fringe == _WITHIN:
            odd.append(
                f"the size is with the fringe: about {self._allowance:g} cm were taken off the long side"
            )
        if len(numbers) == 1:
            odd.append("only one side is given: it is read as the longer one")
        for family in self._families:
            if family.name == LONG_SIDE and len(numbers) == 2:
                checked_range(family, min(numbers.values()))
            if family.name in measured:
                odd.append(checked_range(family, measured[family.name]))
        return sides, [warning for warning in odd if warning]

    def quote(self, given: Mapping[str, object]) -> str:
        """Both sides with their unit: "90 cm square", "34 1/2 x 35 in"."""
        unit = str(given.get("unit", ""))
        if SIZE in given:
            return both_written(given[SIZE], unit)
        found: dict[str, tuple[object, str]] = {}
        for name, cell in given.items():
            if name in _SIDES:
                side, ending = _SIDES[name]
                found.setdefault(side, (cell, ending or unit))
        return sides_written([*found.values()])

    def takes(
        self, told: Mapping[str, object], given: Mapping[str, object]
    ) -> Mapping[str, object]:
        """What a description tells of the size, where no side is given."""
        sides = (SIZE, *_SIDES)
        return told if all(self.says_nothing(given.get(column)) for column in sides) else {}

    def as_noted(self, *cells: object) -> AsNoted | None:
        """A size beside other words for the fringe ("yes", "knotted", "4 in"): that there is one tells of the hem, and not of
        the measure."""
        said = cells[self.columns.index(_FRINGE)]
        if not isinstance(said, str) or self.says_nothing(said):
            return None
        try:
            value, odd = self.reads(*cells[: self.columns.index(_FRINGE)], None)
        except ScarfdateError:
            return None  # it is the size that cannot be read
        word, known = said.strip().casefold(), self.priors.vocabulary
        if word in NO:
            return AsNoted(value, odd, {}, "")
        there = word in YES or _A_LENGTH.match(word) or known.known(_HEM, word) == _FRINGED
        if there and known.known(_HEM, _FRINGED):
            return AsNoted(value, odd, {_HEM: _FRINGED}, "")
        return AsNoted(value, odd, {}, said)

    def told_unread(self, cells: Sequence[object], unread: str) -> str:
        """What can be said of the fringe: that alone is left out."""
        try:
            self._fringe(unread)
        except ScarfdateError as refusal:
            return str(refusal)
        return super().told_unread(cells, unread)

    def _fringe(self, cell: object) -> str:
        if is_blank(cell):
            return ""
        if not isinstance(cell, str):
            raise ScarfdateError(f"fringe: 'within' or 'without' is allowed, got {shown(cell)}")
        return self.priors.vocabulary.canonical(_FRINGE, cell)

    def _apart(self, text: str) -> tuple[str, str]:
        """A size, and what stands behind it of the fringe: "60 x 11 in incl. fringe"; "" where nothing does."""
        text = " ".join(text.split())[:_LONGEST_SIZE]
        found = self._behind_a_size.search(text)
        if found is None:
            return text, ""
        told = found["told"]
        rest = f"{text[: found.start()]} {text[found.end() :]}".strip()
        return rest, _WITHOUT if told is None else self._fringe(told)

    @cached_property
    def _behind_a_size(self) -> re.Pattern[str]:
        """What may be told of the fringe, or how long it is: "+ 4 in fringe"."""
        every = [written.word for written in self.priors.vocabulary.rows[_FRINGE]]
        phrases = sorted((word for word in every if " " in word), key=len, reverse=True)
        told = "|".join(r"\s+".join(map(re.escape, word.split())) for word in phrases)
        things = "|".join(re.escape(word[2:]) for word in phrases if word.startswith("+ "))
        length = rf"(?:\+|plus)\s*[\d½¼¾.,/ ]+(?:[a-z]+\s+|[\"”″]\s*)?(?:of\s+)?(?:{things})"
        where = r"\s*(?:(?:at |on )?(?:each|both) (?:ends?|sides?)\s*)?"
        return re.compile(
            rf"[\s(,;]+(?:(?P<told>{told})|{length}){where}\)?(?=\s*(?:$|x\b))", re.IGNORECASE
        )

    def beside(self, seen: Mapping[str, Any]) -> Warnings:
        """A warning where a piece is called square and is not."""
        sides, form = seen[SIZE], seen.get(_FORM)
        if form is None or form.word != _SQUARE or sides.width is None or sides.height is None:
            return ()
        made = sides.measured(self._allowance)
        long, short = made[LONG_SIDE], made[LONG_SIDE] / made[SLENDERNESS]
        if long / short <= self.priors.allowances["shape_agreement"]:
            return ()
        return (f"called square, but its sides are {short:.4g} and {long:.4g} cm",)

    def at_once(
        self, numbers: Mapping[str, Array], texts: Mapping[str, Seen], seen: Mapping[str, Seen]
    ) -> tuple[Seen, NDArray[np.bool_]] | None:
        """Two sides within the usual range, each made one of the steps that it is weighed on."""
        if not numbers or len(self._families) < len(DERIVED):
            return None
        n = len(next(iter(numbers.values())))
        done = np.ones(n, dtype=bool)
        for name, text in texts.items():
            fine = [True] + [
                isinstance(cell, str) and (name == "unit" or (name == _FRINGE and cell == _WITHOUT))
                for cell in text.values[1:]
            ]
            done &= np.array(fine)[text.numbers]
        width, height = (self._one_side(side, numbers, texts, n) for side in ("width", "height"))
        long, short = np.fmax(width, height), np.fmin(width, height)
        with np.errstate(invalid="ignore", divide="ignore"):
            slender = long / short
            done &= ~np.isnan(width) & ~np.isnan(height)
            for family, values in zip(self._families, (long, slender), strict=True):
                done &= (values >= family.usual_low) & (values <= family.usual_high)
            done &= short >= self._families[0].low
            if _FORM in seen:
                # on steps a square may be a step less square than it is: near the limit, one by one
                called = [f is not None and f.word == _SQUARE for f in seen[_FORM].values]
                limit = self.priors.allowances["shape_agreement"] / self._families[1].step
                done &= ~np.array(called)[seen[_FORM].numbers] | (slender <= limit)
        return self._on_steps(long, slender, done), done

    def _one_side(
        self, side: str, numbers: Mapping[str, Array], texts: Mapping[str, Seen], n: int
    ) -> Array:
        """One side in cm, NaN where it is not given once and plainly."""
        value, given = np.full(n, np.nan), np.zeros(n, dtype=int)
        for name, factor in ((f"{side}_cm", 1.0), (f"{side}_in", units.CM_PER_INCH), (side, None)):
            if name in numbers:
                of_unit = self._factors(texts, n) if factor is None else factor
                with np.errstate(invalid="ignore"):
                    value = np.where(np.isnan(numbers[name]), value, numbers[name] * of_unit)
                given += ~np.isnan(numbers[name])
        return np.where((given == 1) & (value > 0) & (value < math.inf), value, np.nan)

    @staticmethod
    def _factors(texts: Mapping[str, Seen], n: int) -> Array:
        """The centimetres of each row's unit, NaN where it is none."""
        if "unit" not in texts:
            return np.full(n, np.nan)
        factors = [math.nan]
        for cell in texts["unit"].values[1:]:
            try:
                factors.append(units.read_length(1.0, cell))
            except ScarfdateError:
                factors.append(math.nan)
        return np.array(factors)[texts["unit"].numbers]

    def _on_steps(self, long: Array, slender: Array, done: NDArray[np.bool_]) -> Seen:
        """The sides of the rows that are done, by the steps of their length and slenderness."""
        steps = [
            cells_of(family, values[done])
            for family, values in zip(self._families, (long, slender), strict=True)
        ]
        each = steps[0] * (int(steps[1].max(initial=0)) + 1) + steps[1]
        _, first, back = np.unique(each, return_index=True, return_inverse=True)
        pairs = zip(*(own[first].tolist() for own in steps), strict=True)
        place = np.zeros(len(long), dtype=np.intp)
        place[done] = back.reshape(-1) + 1
        return Seen(place, [None, *(SidesOnSteps(*pair) for pair in pairs)])

    def schema(self) -> dict[str, object]:
        """Two sides above 0, and the words for the fringe."""
        side = {"type": "number", "exclusiveMinimum": 0}
        fringe = {"enum": list(self.priors.vocabulary.values[_FRINGE])}
        return {"width_cm": side, "height_cm": side, _FRINGE: fringe}

    def specimens(self) -> list[dict[str, object]]:
        """One size in every way in which it can be written, with a fringe and without."""
        if len(self._families) < len(DERIVED):
            return []
        family = self._families[0]
        side = math.sqrt(family.usual_low * family.usual_high)
        inches = side / units.CM_PER_INCH
        return [
            {"width_cm": side, "height_cm": side},
            {"width_in": inches, "height_in": f"{inches:.0f} 1/2"},
            {"width": side, "height": f"{side:.1f}", "unit": "cm"},
            {SIZE: f"{side:.0f} x {2 * side:.0f} cm"},
            {"width_cm": 3 * side, "height_cm": side, _FRINGE: _WITHIN},
            {"width_cm": f"{side:.1f}"},
        ]


def _in_cm(given: dict[str, object]) -> dict[str, float]:
    """Width and height in cm from any of the ways to give them; refuses two ways at once."""
    unit = given.pop("unit", None)
    if unit is not None and not isinstance(unit, str):
        raise RangeError(f"unit: 'cm' or 'in' is allowed, got {shown(unit)}")
    numbers: dict[str, float] = {}
    used: dict[str, str] = {}
    if SIZE in given:
        used |= {"width": SIZE, "height": SIZE}
        try:
            both = read_both(given[SIZE], unit)
        except ScarfdateError as error:
            raise RangeError(f"size: {error}") from None
        numbers = {
            n: side for n, side in zip(("width", "height"), both, strict=True) if side is not None
        }
    for name, (side, ending) in _SIDES.items():
        if name not in given:
            continue
        value = read_side(name, given[name], ending or unit)
        if side in used:
            raise RangeError(
                f"{name}: the {side} is given twice, as {used[side]} and as {name}; give it once"
            )
        if value is not None:
            used[side], numbers[side] = name, value
    return numbers
