"""The decades of a dating as rows of a picture, and the stretches of years of an interval that spans a valley."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import groupby

from scarfdate.conventions import FIRST_YEAR
from scarfdate.show.sentence import MATTERS

_WORTH_A_BAR = (
    0.005  # decades below this are left out at either end, and drawn as one row between others
)
_APART = 10  # years: stretches that lie nearer to one another are one


def stretches_within(
    region: Sequence[tuple[int, int]], between: Callable[[int, int], float], first: int, last: int
) -> list[tuple[int, int]]:
    """First and last years of those stretches of the densest ``region`` that reach into the years from ``first`` to
    ``last`` and hold enough to be named, a decade or more apart; none where there is one alone.

    ``between``: P(made from one year to another, both inclusive).
    """
    found: list[tuple[int, int]] = []
    for start, end in region:
        if end < first or start > last:
            continue
        if found and start - found[-1][1] <= _APART:
            start = found.pop()[0]
        found.append((start, end))
    enough = [(start, end) for start, end in found if between(start, end) >= MATTERS]
    return enough if len(enough) > 1 else []


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
