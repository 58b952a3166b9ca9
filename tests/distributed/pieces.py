"""Pieces to be dated in parts, and what it is to be the same to the bit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from scarfdate import simulate
from scarfdate.answer.date import COLUMNS, ON_REQUEST

AS_OF = 2026
NAMES = (*COLUMNS, *ON_REQUEST, "year_probabilities")
STOCK = Path(__file__).parents[2] / "data" / "stock.csv"


def stock() -> pd.DataFrame:
    """The invented stock as it is written, with an id that is there twice, one that is blank, and a cell that cannot be
    read: everything that has to be told of a row."""
    frame = pd.read_csv(STOCK, dtype=str, keep_default_na=False)
    frame.loc[40, "id"] = frame.loc[3, "id"]
    frame.loc[41, "id"] = f" {frame.loc[40, 'id']} "
    frame.loc[[7, 50], "id"] = ""
    frame.loc[9, "fibre"] = "no such fibre"
    frame.loc[11, "hem"] = "hand-rolled?"
    return frame


def drawn(rows: int, seed: int = 7) -> pd.DataFrame:
    """Pieces drawn from the tables, with numbers as numbers."""
    frame = simulate(None, rows, np.random.default_rng(seed), as_of=AS_OF).frame()
    frame.insert(0, "id", [f"P{at}" for at in range(rows)])
    return frame.reset_index(drop=True)


def same(found: pd.DataFrame, wanted: pd.DataFrame) -> None:
    """To the bit: names, index, types and every cell."""
    assert found.columns.tolist() == wanted.columns.tolist()
    assert found.index.tolist() == wanted.index.tolist()
    assert found.dtypes.astype(str).tolist() == wanted.dtypes.astype(str).tolist()
    for name in wanted.columns:
        here, there = (frame[name].notna().to_numpy() for frame in (found, wanted))
        np.testing.assert_array_equal(here, there, name)
        if name == "year_probabilities":
            for one, other in zip(found[name][here], wanted[name][there], strict=True):
                np.testing.assert_array_equal(one, other, name)
        else:
            cells = [frame[name].astype(object)[here].tolist() for frame in (found, wanted)]
            assert cells[0] == cells[1], name
