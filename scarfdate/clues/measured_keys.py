"""The key of a word with what was measured beside it, of many pieces at once."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

from scarfdate.clues.measured import Measure
from scarfdate.reading.observation import Observation

Key = tuple[
    Observation | None, tuple[int | None, ...]
]  # the word, and the step of each measurement


def keys_of(
    seen: Mapping[str, Sequence[Any]],
    name: str,
    measures: Sequence[tuple[str, Measure]],
    sides: Sequence[Any],
    fringe: float,
) -> list[Hashable]:
    """The keys of n pieces, None where there is neither a word nor a measurement.

    ``seen``: by family, (n,) each, ``name`` that of the words; ``measures``: by family, in the order of the key;
    ``sides``: that some of them are worked out from, () for none; ``fringe``: cm that one within the sides takes off.
    """
    n = len(next(iter(seen.values()), ()))
    steps: list[Sequence[int | None]] = []
    for family, measure in measures:
        if family in seen:
            steps.append([None if one is None else measure.cell(one.value) for one in seen[family]])
        elif sides:
            steps.append([one and one.step(family, measure, fringe) for one in sides])
        else:
            steps.append([None] * n)
    return [
        None if word is None and not any(which_measured(cells)) else (word, cells)
        for word, cells in zip(
            seen.get(name, [None] * n), zip(*steps, strict=True) if steps else [()] * n, strict=True
        )
    ]


def which_measured(cells: Sequence[int | None]) -> tuple[bool, ...]:
    """Which measurements there are."""
    return tuple([cell is not None for cell in cells])
