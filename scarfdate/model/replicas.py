"""Pieces like one at hand, drawn from the model: the same clues looked at in the same way, other findings.

Words noted as one value and measurements are drawn; weights, parent words, a label's text, a maker and
dated things have no table to draw from and are held as they were seen: the pieces are drawn given them.
"""

from __future__ import annotations

from collections.abc import Hashable

import numpy as np

from scarfdate.clues.shares import SharesClue
from scarfdate.knots import Array
from scarfdate.model.drawing import Places, drawn, measured
from scarfdate.model.exact import joint_of, products_of, rows_of
from scarfdate.model.model import Codes, Model
from scarfdate.reading.cells import Observation


def replicas(model: Model, codes: Codes, n: int, rng: np.random.Generator) -> Codes:
    """``n`` pieces, (n, clues), with the same parts noted as in the one of ``codes`` (1, clues)."""
    free = {c: _free(model, c, int(codes[0, c])) for c in range(len(model.clues)) if codes[0, c]}
    held = codes.copy()
    for column, (held_key, _, _) in free.items():
        held[0, column] = model.clues[column].index(held_key)
    grade, market, year, style = _states(model, held, n, rng)
    out = np.repeat(codes, n, axis=0)
    for column, (_, word, cells) in free.items():
        clue = model.clues[column]
        if not isinstance(clue, SharesClue) or (word is None and not cells):
            continue
        out[:, column] = _drawn_rows(
            clue,
            int(codes[0, column]),
            word,
            cells,
            style if clue.reads == "style" else year,
            grade,
            market,
            rng,
        )
    return out


def _free(model: Model, column: int, row: int) -> tuple[Hashable, Observation | None, list[int]]:
    """The key of what is held as seen (or None), the word that is drawn anew, and the places of the measures."""
    clue = model.clues[column]
    key = clue.rows.keys[row]
    if not isinstance(clue, SharesClue) or not isinstance(key, tuple):
        return key, None, []
    seen, cells = key
    if seen is not None and seen.word not in clue.values:
        return key, None, []  # a parent word or weights: all of the clue is held
    return None, seen, [place for place, cell in enumerate(cells) if cell is not None]


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


def _drawn_rows(
    clue: SharesClue,
    row: int,
    word: Observation | None,
    places: list[int],
    at: Places,
    grade: Places,
    market: Places,
    rng: np.random.Generator,
) -> Codes:
    """Row numbers of what is noted of one clue on n pieces."""
    n = len(at)
    kind = market if clue.by_market else np.zeros(n, dtype=np.intp)
    true = drawn(clue.shares[:, kind, grade, at], rng)
    words: list[Observation | None] = [None] * n
    if word is not None:
        each = [Observation(((value, 1.0),), word.method) for value in clue.values]
        words = [each[place] for place in drawn(clue.noted(word.method)[true].T, rng)]
    cells = np.full((n, len(clue.measures)), -1)
    for place in places:
        cells[:, place] = clue.measures[place].cells(
            measured(clue.measures[place], true, grade, at, rng)
        )
    stands = np.isin(np.arange(len(clue.measures)), places)
    keys = [
        (noted, tuple(int(cell) if is_there else None for cell, is_there in zip(one, stands, strict=True)))
        for noted, one in zip(words, cells, strict=True)
    ]  # fmt: skip
    return np.array([clue.index(key) for key in keys], dtype=np.int32)
