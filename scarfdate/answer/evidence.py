"""From what was seen to row numbers: the only thing the exact sum is given."""

from __future__ import annotations

import numpy as np

from scarfdate.clues.clue import NOT_LOOKED_AT
from scarfdate.clues.scarf import Scarf
from scarfdate.model.model import Codes, Model


def encode(model: Model, scarf: Scarf) -> tuple[Codes, list[str]]:
    """The row numbers of one scarf, (1, clues), and warnings beside those of the scarf itself.

    Raises WordError where the scarf holds a clue or a word that these priors do not know, and
    RangeError where a year lies after ``as_of``.
    """
    seen = scarf.under(model.priors).seen
    codes = np.zeros((1, len(model.clues)), dtype=np.int32)
    warnings: list[str] = []
    silent: list[str] = []
    for place, clue in enumerate(model.clues):
        if seen.keys().isdisjoint(clue.needs):
            continue
        key, odd = clue.key(seen)
        warnings += odd
        if key is not None:
            codes[0, place] = clue.index(key)
            silent += clue.silences(key)
    for name in silent:
        codes[0, model.column[name]] = NOT_LOOKED_AT
    return codes, warnings
