"""Coefficients of a linear predictor, by group and level, with draws from their posterior."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array

BASE, SIZE, CONDITION, ASKED = "base", "size", "condition", "asked"
MAKER, CHANNEL, SEASON, DECADE, GRADE, YEAR = (
    "maker",
    "channel",
    "season",
    "decade",
    "grade",
    "year",
)
ALONE = (BASE, SIZE, CONDITION, ASKED)  # groups of one coefficient each
POSITIVE = (CONDITION, ASKED)  # coefficients that are above zero, and are learned as logarithms


@dataclass(frozen=True)
class Layout:
    """What each coefficient belongs to: ``names`` (size,), pairs of a group and a level ("" in `ALONE`)."""

    names: tuple[tuple[str, str], ...]

    @classmethod
    def of(cls, levels: Mapping[str, Sequence[str]]) -> Layout:
        """From the levels of each group."""
        return cls(tuple((group, level) for group, some in levels.items() for level in some))

    def __len__(self) -> int:
        return len(self.names)

    @cached_property
    def place(self) -> Mapping[tuple[str, str], int]:
        """The place of each coefficient."""
        return {name: place for place, name in enumerate(self.names)}

    @cached_property
    def groups(self) -> tuple[str, ...]:
        """All groups, in their order."""
        return tuple(dict.fromkeys(group for group, _ in self.names))

    def places(self, group: str) -> NDArray[np.intp]:
        """The places of a group's coefficients."""
        return np.array([i for i, (other, _) in enumerate(self.names) if other == group], np.intp)

    def levels(self, group: str) -> tuple[str, ...]:
        """The levels of a group."""
        return tuple(level for other, level in self.names if other == group)


@dataclass(frozen=True, eq=False, kw_only=True)
class Coefficients:
    """Draws of coefficients.

    ``draws`` (draws, size), as they multiply the design (what is learned as a logarithm is taken out of it);
    ``spread``: by pooled group the standard deviation of its coefficients, (draws,); ``shape``: the other
    parameters by name, (draws,): of prices "sigma" and "nu", of days to sell "shape".
    """

    layout: Layout
    draws: Array = field(repr=False)
    spread: Mapping[str, Array] = field(repr=False)
    shape: Mapping[str, Array] = field(repr=False)

    def of(self, group: str, level: str = "") -> Array:
        """Draws of one coefficient, (draws,); zeros where there is none of that name."""
        place = self.layout.place.get((group, level))
        return np.zeros(len(self.draws)) if place is None else self.draws[:, place]

    def group(self, group: str) -> Array:
        """Draws of a group's coefficients, (draws, levels)."""
        return self.draws[:, self.layout.places(group)]

    def take(self, places: NDArray[np.intp]) -> Coefficients:
        """Some of the draws."""
        return Coefficients(
            layout=self.layout,
            draws=self.draws[places],
            spread={name: values[places] for name, values in self.spread.items()},
            shape={name: values[places] for name, values in self.shape.items()},
        )

    def rounded(self) -> Coefficients:
        """The same in single precision, as they are saved."""

        def of(values: Array) -> Array:
            return np.asarray(np.float32(values), np.float64)

        return Coefficients(
            layout=self.layout,
            draws=of(self.draws),
            spread={name: of(values) for name, values in self.spread.items()},
            shape={name: of(values) for name, values in self.shape.items()},
        )

    @classmethod
    def stated(
        cls,
        effects: Mapping[tuple[str, str], float],
        shape: Mapping[str, float],
        spread: Mapping[str, float] | None = None,
    ) -> Coefficients:
        """Coefficients that are taken as known: one draw."""
        return cls(
            layout=Layout(tuple(effects)),
            draws=np.array([list(effects.values())], np.float64),
            spread={name: np.array([value]) for name, value in (spread or {}).items()},
            shape={name: np.array([value]) for name, value in shape.items()},
        )
