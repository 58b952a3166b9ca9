"""What the rest of a piece lets expect of one clue: its values, and how far out the one noted lies."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import METHOD, Array
from scarfdate.model.model import Codes, Model
from scarfdate.model.posterior import posterior
from scarfdate.model.slips import Part
from scarfdate.reading.observation import Observation

SAME = 1e-9  # values as likely but for rounding


def tail(model: Model, codes: Codes, rest: Codes, part: Part) -> float:
    """P(a value or step as unlikely as the one noted, or more | the rest); NaN where that has no meaning."""
    clue = model.clues[part.column]
    key = clue.rows.keys[codes[0, part.column]]
    if not isinstance(clue, SharesClue) or not isinstance(key, tuple):
        return float("nan")
    seen, cells = key
    if part.part.part == clue.name:
        if seen.word not in clue.values:
            return float("nan")
        chances = predicted_values(model, rest, part.column, seen.method)
    else:
        place = [one.family.name for one in clue.measures].index(part.part.part)
        measure = clue.measures[place]
        steps = range(measure.cell(measure.family.low), measure.cell(measure.family.high) + 1)
        keys = [(seen, (*cells[:place], step, *cells[place + 1 :])) for step in steps]
        chances = _chances(model, rest, part.column, keys) * part.part.step
        chances /= chances.sum()  # sizes outside the limits are refused: these are all there is
    return float(min(chances[chances <= part.predicted * (1 + SAME)].sum(), 1.0))


def predicted_values(model: Model, rest: Codes, column: int, method: str = METHOD) -> Array:
    """P(each value would be noted | the rest), (values,); they sum to one.

    ``rest`` (1, clues): of the clue itself it may hold what was measured, and no word.
    """
    clue = model.clues[column]
    assert isinstance(clue, SharesClue)
    held = clue.rows.keys[rest[0, column]]
    cells = held[1] if isinstance(held, tuple) else (None,) * len(clue.measures)
    keys = [(Observation(((value, 1.0),), method), cells) for value in clue.values]
    return _chances(model, rest, column, keys)


def _chances(model: Model, rest: Codes, column: int, keys: Sequence[Hashable]) -> Array:
    """P(each observation of a clue | the rest), or its density, (keys,)."""
    many = np.repeat(rest, len(keys) + 1, axis=0)
    many[1:, column] = [model.clues[column].index(key) for key in keys]
    log = posterior(model, many).log_evidence
    return np.asarray(np.exp(log[1:] - log[0]))
