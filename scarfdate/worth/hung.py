"""Unsold pieces that have hung too long."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd

from scarfdate.worth.book import Book
from scarfdate.worth.by_kind import Traded
from scarfdate.worth.kinds import NOT_NOTED, Kinds
from scarfdate.worth.waiting import Waiting, waiting

_STILL_LEFT = 0.1  # nine in ten of a kind are sold sooner
_FEWEST = 20  # pieces in a kind from which on one can be said to hang longer than nine in ten
_COLUMNS = (
    "row", "id", "listed_on", "days", "asked", "kind", "pieces", "longer_than", "longer_from", "longer_to",
)  # fmt: skip


def hung_long(
    book: Book, pieces: Traded, fibres: Kinds, prices: Kinds, level: float
) -> pd.DataFrame:
    """Unsold pieces that have hung longer than nine in ten of their kind.

    The kind is that of the same fibre and price band; where it has too few pieces the same fibre, the same band, or
    all pieces, whichever comes first.
    """
    timed = ~np.isnan(pieces.days)
    both = [
        f"{fibre}, asked {band}" for fibre, band in zip(fibres.largest, prices.largest, strict=True)
    ]
    banded = [f"asked {band}" for band in prices.largest]
    ways = [
        np.array(names, dtype=object)
        for names in (both, fibres.largest, banded, ["all pieces"] * len(book))
    ]
    counted = [Counter(names[timed].tolist()) for names in ways]
    curves: dict[str, Waiting] = {}
    found = []
    for place in np.flatnonzero(timed & ~pieces.was_sold).tolist():
        for names, count in zip(ways, counted, strict=True):
            kind = names[place]
            if count[kind] < _FEWEST or NOT_NOTED in kind:
                continue
            if kind not in curves:
                like = names == kind
                curves[kind] = waiting(pieces.days[like], pieces.was_sold[like])
            day, sale = pieces.days[place], book.sales.iloc[place]
            if (left := curves[kind].left(day)) <= _STILL_LEFT:
                low, high = curves[kind].left_between(day, level)
                found.append((int(book.source_row[place]), sale["id"], sale["listed_on"], day, sale["asked"],
                              kind, curves[kind].n, 1 - left, 1 - high, 1 - low))  # fmt: skip
            break
    frame = pd.DataFrame(found, columns=list(_COLUMNS))
    return frame.sort_values(
        ["days", "id", "row"], ascending=[False, True, True], ignore_index=True
    )
