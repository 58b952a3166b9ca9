"""How an answer moves when a table is wrong by a stated amount.

For each clue that was looked at: left out; its shares sharpened and flattened (raised to a power and its
inverse, and made to sum to one again); everything it says moved a few years earlier and later. For the
prior: flat over years, and that of every other channel of the same tables.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass
from numbers import Real
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.answer.evidence import encode
from scarfdate.answer.one_scarf import as_scarf
from scarfdate.clues.clue import Clue
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import CHANNEL, FIRST_YEAR, LEVEL, Array
from scarfdate.errors import RangeError, shown
from scarfdate.model.exact import rows_of, year_of
from scarfdate.model.model import Codes, compiled
from scarfdate.model.subsets import seen_columns
from scarfdate.show.sentence import years as in_words
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.years import checked_level, cumulative, quantile, shortest_interval

if TYPE_CHECKING:
    import pandas

PRIOR = "prior"
_POWERS, _SHIFTS = (1.0, 10.0), (0, 50)  # what may be asked for


@dataclass(frozen=True)
class Change:
    """One thing made different: ``what`` ("hem", "prior"), ``change`` in words, and the answer then.

    ``apart``: the total variation distance from the answer as it is, 0 to 1.
    """

    what: str
    change: str
    median: int
    first: int
    last: int
    apart: float


@dataclass(frozen=True)
class Sensitivity:
    """The answer as it is, and under every change; ``level`` is that of the intervals."""

    median: int
    first: int
    last: int
    level: float
    changes: tuple[Change, ...]

    def to_frame(self) -> pandas.DataFrame:
        """One row a change, those that move the answer most first."""
        import pandas as pd

        frame = pd.DataFrame(
            [vars(change) | {"moved": change.median - self.median} for change in self.changes],
            columns=["what", "change", "median", "moved", "first", "last", "apart"],
        )
        return frame.sort_values("apart", ascending=False, ignore_index=True, kind="stable")

    def plot(self, ax: Any = None) -> Any:
        """For each clue the medians and intervals under its changes, the widest on top; the axis."""
        from scarfdate.show import plot

        each: dict[str, list[Change]] = {}
        for change in self.changes:
            each.setdefault(change.what, []).append(change)
        medians, intervals = {}, {}
        for name, some in each.items():
            middle = [change.median for change in some]
            medians[name] = (min(middle), max(middle))
            intervals[name] = (min(one.first for one in some), max(one.last for one in some))
        names = sorted(each, key=lambda name: medians[name][1] - medians[name][0])
        return plot.ranges(
            names,
            [medians[name] for name in names],
            [intervals[name] for name in names],
            (self.median, self.first, self.last),
            ax,
        )

    def __str__(self) -> str:
        made = in_words(self.first, self.last, FIRST_YEAR)
        text = f"As it is: {made}, median {self.median}."
        clues = [change for change in self.changes if change.what != PRIOR]
        if not clues:
            return f"{text} Nothing was looked at: only the prior can move it."
        most = max(clues, key=lambda change: change.apart)
        then = in_words(most.first, most.last, FIRST_YEAR)
        prior = max((c for c in self.changes if c.what == PRIOR), key=lambda change: change.apart)
        before = in_words(prior.first, prior.last, FIRST_YEAR)
        return (
            f"{text} Of the clues, {most.what} {most.change} moves it most: {then}, "
            f"median {most.median}. Of the priors, {prior.change}: {before}, median {prior.median}."
        )


def sensitivity(
    scarf: Scarf | Mapping[str, object],
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
    level: float = LEVEL,
    power: float = 1.5,
    shift: int = 5,
) -> Sensitivity:
    """Date a scarf again under every change.

    ``power``, above 1 to 10: shares are raised to it and to one over it; ``shift``, 1 to 50 years.
    Raises RangeError where they lie outside, and as `date_scarf` does.
    """
    if not _number(power) or not _POWERS[0] < power <= _POWERS[1]:
        raise RangeError(
            f"power: a number above 1 to {_POWERS[1]:g} is allowed, got {shown(power)}"
        )
    whole = _number(shift) and shift == int(shift)
    if not whole or not _SHIFTS[0] < shift <= _SHIFTS[1]:
        raise RangeError(
            f"shift: whole years from 1 to {_SHIFTS[1]} are allowed, got {shown(shift)}"
        )
    level = checked_level(level)
    known = priors or load_priors()
    seen = as_scarf(scarf, known)
    model = compiled(known, channel, as_of)
    codes, _ = encode(model, seen)
    rows = rows_of(model, codes)
    base = year_of(model, rows)
    changes = []
    for column in seen_columns(model, codes):
        for change, row in _changed(model.clues[column], codes, column, power, int(shift)):
            other = {**rows, column: row} if row is not None else _without(rows, column)
            changes.append(
                _change(model.clues[column].name, change, year_of(model, other), base, level)
            )
    flat = model.prior / model.year_prior
    changes.append(_change(PRIOR, "flat over years", year_of(model, rows, flat), base, level))
    for name, other_channel in known.century.channels.items():
        if name != channel and other_channel.tables == model.channel.tables:
            there = compiled(known, name, model.as_of)
            changes.append(
                _change(PRIOR, f"of the channel {name}", year_of(there, rows), base, level)
            )
    return Sensitivity(*_summary(base, level), level, tuple(changes))


def _changed(
    clue: Clue, codes: Codes, column: int, power: float, shift: int
) -> list[tuple[str, Array | None]]:
    """What can be wrong of one clue, in words, and its row then; None where it is left out."""
    key = clue.rows.keys[codes[0, column]]
    row = clue.rows.table[codes[0, column]].reshape(clue.shape)
    found: list[tuple[str, Array | None]] = [("left out", None)]
    if isinstance(clue, SharesClue):
        for exponent, word in ((power, "sharpened"), (1 / power, "flattened")):
            wrong = copy.copy(clue)
            shares = clue.shares**exponent
            wrong.shares = shares / shares.sum(axis=0)
            found.append((f"{word} by a power of {power:g}", wrong.likelihood(key)))
    found += [
        (f"{shift} years earlier", shifted(row, -shift)),
        (f"{shift} years later", shifted(row, shift)),
    ]
    return found


def shifted(row: Array, by: int) -> Array:
    """A row (..., years) moved by some years; the first cell, all that was before, stays."""
    years = row.shape[-1]
    at = np.clip(np.arange(years) - by, 1, years - 1)
    at[0] = 0
    return row[..., at]


def _without(rows: Mapping[int, Array], column: int) -> dict[int, Array]:
    return {other: row for other, row in rows.items() if other != column}


def _change(what: str, change: str, year: Array, base: Array, level: float) -> Change:
    apart = float(np.abs(year - base).sum() / 2)
    return Change(what, change, *_summary(year, level), apart)


def _summary(year: Array, level: float) -> tuple[int, int, int]:
    total = cumulative(year[None, :])
    first, last = shortest_interval(total, level)
    median = int(quantile(total, 0.5)[0])
    return median + FIRST_YEAR, int(first[0]) + FIRST_YEAR, int(last[0]) + FIRST_YEAR


def _number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool)
