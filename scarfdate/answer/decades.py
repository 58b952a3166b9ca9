"""The decades of a dating as rows of a picture."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby

from scarfdate.conventions import FIRST_YEAR

_WORTH_A_BAR = (
    0.005  # decades below this are left out at either end, and drawn as one row between others
)


def decade_rows(decades: Mapping[int, float], before: float) -> list[tuple[str, float]]:
    """A label and a chance a row, for P(decade) by its first year and P(older than the years covered).

    Decades that hold next to nothing are left out at either end; several of them between others are one row.
    """
    rows = [(f"{start}s", chance) for start, chance in decades.items()]
    rows[:1] = [
        (f"before {FIRST_YEAR + 1}", before),
        (f"{FIRST_YEAR}s", max(rows[0][1] - before, 0.0)),
    ]
    shown = [place for place, (_, chance) in enumerate(rows) if chance >= _WORTH_A_BAR]
    found = list[tuple[str, float]]()
    within = rows[shown[0] : shown[-1] + 1]
    for worth, group in groupby(within, key=lambda row: row[1] >= _WORTH_A_BAR):
        some = [*group]
        if worth or len(some) == 1:
            found += some
        else:
            found.append((f"{some[0][0]}-{some[-1][0]}", sum(chance for _, chance in some)))
    return found
