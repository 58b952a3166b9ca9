"""Pieces like one at hand, drawn from the model: the same clues looked at in the same way, other findings.

Words noted as one value and measurements are drawn; weights, parent words, a label with all that is read off it, a maker and
dated things have no table to draw from and are held as they were seen: the pieces are drawn given them.
"""

from __future__ import annotations

import numpy as np

from scarfdate.clues.clue import Places, drawn
from scarfdate.conventions import Array
from scarfdate.model.exact import joint_of, products_of, rows_of
from scarfdate.model.model import Codes, Model


def replicas(model: Model, codes: Codes, n: int, rng: np.random.Generator) -> Codes:
    """``n`` pieces, (n, clues), with the same parts noted as in the one of ``codes`` (1, clues)."""
    looked = np.flatnonzero(codes[0]).tolist()
    keys = {c: model.clues[c].rows.keys[codes[0, c]] for c in looked}
    held = codes.copy()
    for column, key in keys.items():
        held[0, column] = model.clues[column].index(model.clues[column].held(key))
    grade, market, year, style = _states(model, held, n, rng)
    out = np.repeat(codes, n, axis=0)
    for column, key in keys.items():
        clue = model.clues[column]
        if clue.held(key) is None:
            at = style if clue.reads == "style" else year
            out[:, column] = [clue.index(k) for k in clue.again(key, at, grade, market, rng)]
    return out


def _states(
    model: Model, held: Codes, n: int, rng: np.random.Generator
) -> tuple[Places, Places, Places, Places]:
    """Grade, market, year and the year of the style, each (n,), drawn given what is held."""
    rows = rows_of(model, held)
    making, style = products_of(model, rows)
    by_market = model.market[:, None, :] * making
    both = np.stack(joint_of(model, rows))
    place = rng.choice(both.size, size=n, p=both.reshape(-1) / both.sum())
    later, grade, year = np.unravel_index(place, both.shape)
    market = drawn(by_market[:, grade, year], rng)
    back: Array = model.looked_back_to[year].T * style[grade].T
    return grade, market, year, np.where(later == 1, drawn(back, rng), year)
