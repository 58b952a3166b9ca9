"""A number measured on a piece: how it is written down, and its density.

It is weighed together with the family that it is measured on (`scarfdate.clues.shares`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import normal_density
from scarfdate.clues.field import Field, Seen, Warnings
from scarfdate.conventions import Array
from scarfdate.errors import RangeError
from scarfdate.reading.cells import Observed, checked_range, read_number
from scarfdate.tables.families import Family
from scarfdate.tables.priors import Priors
from scarfdate.words import units
from scarfdate.words.measures import as_written

# from memory; "mm" is the trade's sign of a momme
_UNIT_WORDS = {
    "per_inch": ("per inch", "per in", "an inch", "/inch", "/in", "spi", 'per "', '/"'),
    "per_cm": ("per cm", "/cm", "per centimetre", "per centimeter"),
    "momme": ("momme", "mommes", "mm", "m/m"),
    "grams_per_square_metre": ("gsm", "g/m2", "g/m²", "g/m^2", "g/sqm", "grams per square metre"),
}


@dataclass(frozen=True, slots=True)
class Measured(Observed):
    """A number in the unit of its family; ``noted``: as a person wrote it, "" where nobody did."""

    value: float
    noted: str = field(default="", compare=False)

    def cells(self, name: str) -> dict[str, object]:
        """The number."""
        return {name: self.value}


@dataclass(frozen=True)
class Measure:
    """A measured family over all years: centre and spread of log x, (values, grades, years)."""

    family: Family
    centre: Array
    spread: Array
    slip: float
    _log_step: float = field(init=False, repr=False)
    _densities: dict[int, Array] = field(default_factory=dict, repr=False, compare=False)
    _highest: dict[int, Array] = field(default_factory=dict, repr=False, compare=False)
    _every: Array | None = field(default=None, init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_log_step", math.log(self.family.step))

    def cell(self, value: float) -> int:
        """The step of the geometric scale on which a measurement is read."""
        return round(math.log(value) / self._log_step)

    def cells(self, values: Array) -> NDArray[np.int64]:
        """`cell` of many measurements."""
        return cells_of(self.family, values)

    def value(self, cell: int) -> float:
        """The measurement that a cell stands for."""
        return float(self.family.step**cell)

    @property
    def folded(self) -> bool:
        """A ratio of the larger to the smaller: x and 1/x are the same measurement."""
        return self.family.low == 1

    @property
    def by_slip(self) -> float:
        """P(a slip) times its density per unit of log x: anything within the limits."""
        return self.slip / math.log(self.family.high / self.family.low)

    def says(self, cell: int) -> str:
        """The measurement in a few words, no finer than it was read."""
        value = self.value(cell)
        number = f"{value:.0f}" if value >= 10 else f"{value:.2g}"
        of = "stitches " if self.family.unit.startswith("per ") else ""
        return f"about {number} {of}{self.family.unit}".rstrip()

    def density(self, cell: int) -> Array:
        """f(x | value, grade, year) per unit of log x, (values, grades, years); read-only."""
        known = self._densities.get(cell)
        if known is None:
            # one for each step between the family's limits: there are never many
            known = self._densities[cell] = self._density(math.log(self.value(cell)))
        return known

    def highest(self, cell: int) -> Array:
        """The largest `density` of each value, (values,)."""
        known = self._highest.get(cell)
        if known is None:
            known = self._highest[cell] = self.density(cell).max(axis=(1, 2))
        return known

    @property
    def steps(self) -> range:
        """Every step between the family's limits."""
        return range(self.cell(self.family.low), self.cell(self.family.high) + 1)

    @property
    def every_density(self) -> Array:
        """`density` of all ``steps``, (steps, values, grades, years); read-only."""
        if self._every is None:
            logs = np.array([math.log(self.value(cell)) for cell in self.steps])
            object.__setattr__(self, "_every", self._density(logs[:, None, None, None]))
        return cast(Array, self._every)

    def _density(self, log_x: float | Array) -> Array:
        usual = normal_density(log_x, self.centre, self.spread)
        if self.folded:
            usual = usual + normal_density(-log_x, self.centre, self.spread)
        known = (1 - self.slip) * usual + self.by_slip
        known.flags.writeable = False
        return known

    def drawn(
        self,
        true: NDArray[np.intp],
        grade: NDArray[np.intp],
        at: NDArray[np.intp],
        rng: np.random.Generator,
    ) -> Array:
        """A measurement of each piece, within what is possible."""
        family = self.family
        usual = rng.normal(self.centre[true, grade, at], self.spread[true, grade, at])
        slip = rng.uniform(np.log(family.low), np.log(family.high), len(at))
        logs = np.where(rng.random(len(at)) < self.slip, slip, usual)
        if self.folded:
            logs = np.abs(logs)
        return np.clip(np.exp(logs), family.low * 1.0001, family.high * 0.9999)


class MeasuredField(Field):
    """A number, in the trade's unit or in another that is measured in, too."""

    quotes = True

    def __init__(self, priors: Priors, family: Family) -> None:
        super().__init__(priors, family)
        self._units = {family.name: _as_it_is} | _other_unit(family.name)
        self.columns = self.numeric = tuple(self._units)

    def reads(self, *cells: object) -> tuple[Measured | None, Warnings]:
        """The number in the family's unit; a warning where it is unusual."""
        given = {
            name: cell
            for name, cell in zip(self.columns, self.said(cells), strict=True)
            if cell is not None
        }
        if len(given) > 1:
            raise RangeError(f"{self.name}: given twice, as {' and as '.join(given)}; give it once")
        for column, cell in given.items():
            unit, bare, plainly = self._unit_stated(column, cell)
            number = read_number(column, bare)
            if number is None:
                break
            if unit != self.name and number <= 0:
                raise RangeError(f"{column}: must be greater than 0, got {number:g}")
            value = float(self._units[unit](number))
            warning = checked_range(self.family, value)
            return Measured(value, self.quote({unit: cell if plainly else bare})), (
                warning,
            ) if warning else ()
        return None, ()

    def _unit_stated(self, column: str, cell: object) -> tuple[str, object, bool]:
        """The column of the unit that a text states, its number alone ("12 momme", "5/cm"), and whether a sentence
        may quote it as it is."""
        if isinstance(cell, str):
            text = " ".join(cell.split())
            stated = [(name, unit) for name in self.columns for unit in _written(name)]
            for name, unit in sorted(stated, key=lambda each: -len(each[1])):
                number = text[: -len(unit)].rstrip()
                if text.casefold().endswith(unit) and number[-1:].isdigit():
                    return name, number, unit == self.family.unit or len(unit) >= len(name)
        return column, cell, True

    def quote(self, given: Mapping[str, object]) -> str:
        """The number, and the unit in which it was noted: "4 stitches per cm"."""
        for name, cell in given.items():
            own = name == self.name and not self.family.unit.startswith("per ")
            return as_written(cell, self.family.unit if own else name.replace("_", " "))
        return ""

    def at_once(
        self, numbers: Mapping[str, Array], texts: Mapping[str, Seen], seen: Mapping[str, Seen]
    ) -> tuple[Seen, NDArray[np.bool_]] | None:
        """Numbers within the usual range, each as the middle of its step."""
        family = self.family
        given = np.stack([numbers[name] for name in numbers])
        value = np.full(given.shape[1], np.nan)
        for name, column in numbers.items():
            fine = (column > 0) & (column < math.inf)
            value[fine] = self._units[name](column[fine])
        done = (value >= family.usual_low) & (value <= family.usual_high)
        done &= np.count_nonzero(~np.isnan(given), axis=0) == 1
        steps, back = np.unique(cells_of(family, value[done]), return_inverse=True)
        place = np.zeros(len(value), dtype=np.intp)
        place[done] = back.reshape(-1) + 1
        return Seen(place, [None, *(Measured(float(family.step**s)) for s in steps.tolist())]), done

    def schema(self) -> dict[str, object]:
        """A number within the limits of the family."""
        low, high = self.family.low, self.family.high
        return {self.name: {"type": "number", "minimum": low, "maximum": high}}

    def specimens(self) -> list[dict[str, object]]:
        """The ends of the usual range and the middle of it, and a range as people write it."""
        low, high = self.family.usual_low, self.family.usual_high
        middle = math.sqrt(low * high)
        written: list[object] = [low, high, middle, f"{middle:.3g}-{1.2 * middle:.3g}"]
        found: list[dict[str, object]] = [{self.name: cell} for cell in written]
        return found + [
            {other: middle / float(convert(1.0))}
            for other, convert in self._units.items()
            if other != self.name
        ]


def cells_of(family: Family, values: Array) -> NDArray[np.int64]:
    """The steps of the geometric scale on which measurements are read."""
    return np.rint(np.log(values) / math.log(family.step)).astype(np.int64)


@cache
def _written(column: str) -> tuple[str, ...]:
    """How the unit of a column is written behind a number."""
    for ending, words in _UNIT_WORDS.items():
        if column.endswith(ending):
            counted = column.removesuffix(ending).replace("_", " ")
            # "stitches per inch" as well as "per inch"
            return (*words, *(f"{counted}{word}" for word in words if counted))
    return ()


def _as_it_is(value: float) -> float:
    return value


def _other_unit(name: str) -> dict[str, Callable[..., float]]:
    """The column of the same measurement in another unit, and the way from there to the trade's."""
    if name.endswith("_per_inch"):
        return {f"{name.removesuffix('inch')}cm": lambda count: count * units.CM_PER_INCH}
    if name == "momme":
        grams = units.GRAMS_PER_SQUARE_METRE_PER_MOMME
        return {"grams_per_square_metre": lambda weight: weight / grams}
    return {}
