"""How an answer moves when a table is wrong by a stated amount.

For each clue that was looked at: left out; its shares sharpened and flattened (raised to a power and its
inverse, and made to sum to one again); everything it says moved a few years earlier and later. For the
prior: flat over years, and that of every other channel of the same tables.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping
from numbers import Real

import numpy as np

from scarfdate.clues.clue import Clue
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import CHANNEL, FIRST_YEAR, LEVEL, Array
from scarfdate.errors import RangeError, shown
from scarfdate.model.exact import year_of
from scarfdate.model.model import Codes, compiled
from scarfdate.model.subsets import seen_columns
from scarfdate.tables.priors import Priors
from scarfdate.why.asked import Asked
from scarfdate.why.changes import LEFT_OUT, PRIOR, Change, Sensitivity
from scarfdate.years import checked_level, cumulative, quantile, shortest_interval

_POWERS, _SHIFTS = (1.0, 10.0), (0, 50)  # what may be asked for


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
    whole = _number(shift) and math.isfinite(shift) and shift == int(shift)
    if not whole or not _SHIFTS[0] < shift <= _SHIFTS[1]:
        raise RangeError(
            f"shift: whole years from 1 to {_SHIFTS[1]} are allowed, got {shown(shift)}"
        )
    level = checked_level(level)
    asked = Asked.of(scarf, priors, channel, as_of)
    model, codes, rows = asked.model, asked.codes, asked.rows
    base = year_of(model, rows)
    changes = []
    for column in seen_columns(model, codes):
        for change, row in _changed(model.clues[column], codes, column, power, int(shift)):
            other = {**rows, column: row} if row is not None else _without(rows, column)
            changes.append(_change(model.clues[column], change, year_of(model, other), base, level))
    flat = model.prior / model.year_prior
    changes.append(_change(None, "flat over years", year_of(model, rows, flat), base, level))
    for name, other_channel in asked.priors.century.channels.items():
        if name != channel and other_channel.tables == model.channel.tables:
            there = compiled(asked.priors, name, model.as_of)
            changes.append(
                _change(None, f"of the channel {name}", year_of(there, rows), base, level)
            )
    return Sensitivity(**_summary(base, level), level=level, changes=tuple(changes))


def _changed(
    clue: Clue, codes: Codes, column: int, power: float, shift: int
) -> list[tuple[str, Array | None]]:
    """What can be wrong of one clue, in words, and its row then; None where it is left out."""
    key = clue.rows.keys[codes[0, column]]
    row = clue.rows.table[codes[0, column]].reshape(clue.shape)
    found: list[tuple[str, Array | None]] = [(LEFT_OUT, None)]
    for part in clue.within(key):
        assert isinstance(part.clue, SharesClue)
        of = "" if part.clue is clue else f"its {part.clue.title} "
        for exponent, word in ((power, "sharpened"), (1 / power, "flattened")):
            wrong = copy.copy(part.clue)
            shares = part.clue.shares**exponent
            wrong.shares = shares / shares.sum(axis=0)
            changed = part.row(wrong.likelihood(part.key))
            found.append((f"{of}{word} by a power of {power:g}", changed))
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


def _change(clue: Clue | None, change: str, year: Array, base: Array, level: float) -> Change:
    """Of a clue, or of the prior for None."""
    what, title = (clue.name, clue.title) if clue else (PRIOR, PRIOR)
    apart = float(np.abs(year - base).sum() / 2)
    return Change(what=what, title=title, change=change, **_summary(year, level), apart=apart)


def _summary(year: Array, level: float) -> dict[str, int]:
    total = cumulative(year[None, :])
    first, last = shortest_interval(total, level)
    cells = {"median": quantile(total, 0.5), "first": first, "last": last}
    return {name: int(cell[0]) + FIRST_YEAR for name, cell in cells.items()}


def _number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool)
