"""What other tables do to the datings of a pile: who moves, by how much, and by which file.

Which file moves a piece is found by exchange, not by estimate. Each file that differs is put by itself
among the old ones, and by itself back among the new ones; what it does is the mean of what it does first
and what it does last. A file that does not load by itself, because it names what another one brings,
is exchanged with the fewest others that it needs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.answer.date import date_table
from scarfdate.conventions import CHANNEL, FIRST_YEAR, LEVEL, Array
from scarfdate.errors import PriorsError, ScarfdateError, shown
from scarfdate.show.sentence import MATTERS
from scarfdate.tables.folder import DESCRIPTOR
from scarfdate.tables.priors import Priors, folder_files, priors_of_files
from scarfdate.tables.schema import shipped_folder
from scarfdate.why.moved import Hill, Moved, TablesCompared
from scarfdate.years import (
    checked_as_of,
    checked_level,
    cumulative,
    densest_cells,
    quantile,
    shortest_interval,
    stretches,
)

if TYPE_CHECKING:
    import pandas as pd

Files = Mapping[str, bytes]
Group = tuple[str, ...]
EXPERT = "expert/"  # what the built tables are made from; no dating reads it


def compare_priors(
    old: Priors,
    new: Priors,
    table: pd.DataFrame | None = None,
    *,
    channel: str = CHANNEL,
    as_of: int | None = None,
    level: float = LEVEL,
    say: Callable[[str], None] | None = None,
) -> TablesCompared:
    """Date a pile under old tables and under new ones, and say which files make the difference.

    ``old``, ``new``: as `load_priors` gives them; ``table``: as for `date_table`, the demo stock if
    left out; ``say``: told which files are being exchanged. A piece with two hills under either set of
    tables is compared hill by hill, for a median between two hills jumps when they hardly change.
    Takes about two seconds for each file that differs; files that dating does not read are passed over.

    Raises TableError for a pile of which a row cannot be read, and as `date_table` does.
    """
    for name, one in (("old", old), ("new", new)):
        if not isinstance(one, Priors):
            raise ScarfdateError(
                f"{name}: tables as load_priors gives them are allowed, got {shown(one)}; "
                "write load_priors(folder) for a folder of your own"
            )
    level, until = checked_level(level), checked_as_of(as_of)
    pile = demo_stock() if table is None else table

    def dated(priors: Priors) -> Array:
        """Chances of the pieces by year, (pieces, years)."""
        return date_table(
            pile, priors=priors, channel=channel, as_of=until, on_error="raise",
            columns=["median_year"], with_years=True,
        )[1]  # fmt: skip

    before, after = dated(old), dated(new)
    was, now = folder_files(old), folder_files(new)
    groups = exchanged(was, now)
    weights = np.zeros((len(groups), len(pile)))
    years = np.zeros((len(groups), len(pile)))
    grid = np.arange(before.shape[1])
    for place, group in enumerate(groups):
        if say is not None:
            say(f"{' with '.join(group)} ({place + 1} of {len(groups)})")
        first = dated(_loaded(_put(was, now, group))) - before
        last = after - dated(_loaded(_put(now, was, group)))
        weights[place] = (np.abs(first).sum(axis=1) + np.abs(last).sum(axis=1)) / 4
        years[place] = (first + last) @ grid / 2
    names = [str(one) for one in pile.get("id", pile.index)]
    pieces = tuple(
        _moved(name, before[row], after[row], level, weights[:, row])
        for row, name in enumerate(names)
    )
    return TablesCompared(
        channel=channel, as_of=until, level=level, pieces=pieces, files=tuple(groups),
        apart=weights, years=years,
    )  # fmt: skip


def demo_stock() -> pd.DataFrame:
    """The invented pile that comes with the library."""
    from scarfdate.reading.files import read_table

    # inside the package in a wheel, beside it in a checkout: as the priors lie
    return read_table(shipped_folder().parent / "data" / "stock.csv")


def exchanged(was: Files, now: Files) -> list[Group]:
    """The files that differ, each by itself, or with the fewest others that it needs to load."""
    names = sorted(
        name
        for name in {*was, *now}
        if name != DESCRIPTOR and not name.startswith(EXPERT) and was.get(name) != now.get(name)
    )
    groups: list[Group] = []
    for name in names:
        group: Group = (name,)
        if not _loads_both_ways(was, now, group):
            group = tuple(names)
            for other in names:
                less = tuple(one for one in group if one != other)
                if other != name and _loads_both_ways(was, now, less):
                    group = less
        if group not in groups:
            groups.append(group)
    return groups


def _loads_both_ways(was: Files, now: Files, group: Group) -> bool:
    try:
        _loaded(_put(was, now, group))
        _loaded(_put(now, was, group))
    except PriorsError:
        return False
    return True


def _put(files: Files, others: Files, group: Group) -> dict[str, bytes]:
    """The files with those of a group as the others have them; what they do not have goes."""
    kept = {name: content for name, content in files.items() if name not in group}
    return kept | {name: others[name] for name in group if name in others}


def _loaded(files: Files) -> Priors:
    return priors_of_files(files, "tables exchanged file by file")


def _moved(name: str, before: Array, after: Array, level: float, weights: Array) -> Moved:
    both = np.stack([before, after])
    total = cumulative(both)
    median = quantile(total, 0.5) + FIRST_YEAR
    first, last = shortest_interval(total, level)
    ends = np.stack([first, last], axis=1) + FIRST_YEAR
    return Moved(
        id=name,
        median=(int(median[0]), int(median[1])),
        interval=((int(ends[0, 0]), int(ends[0, 1])), (int(ends[1, 0]), int(ends[1, 1]))),
        apart=float(np.abs(after - before).sum() / 2),
        hills=_hills(both, level),
        by=int(weights.argmax()) if weights.size and weights.max() > 0 else None,
    )


def _hills(both: Array, level: float) -> tuple[Hill, ...]:
    """Both answers cut at the valleys of the one that has more hills; each part with its medians."""
    found = [_parted(row, level) for row in both]
    parted = max(found, key=len)
    cuts = [
        0,
        *((a[1] + b[0] + 1) // 2 for a, b in pairwise(parted)),
        both.shape[1],
    ]
    hills = []
    for start, end in pairwise(cuts):
        held = both[:, start:end].sum(axis=1)
        middle = quantile(cumulative(both[:, start:end] / held[:, None]), 0.5) + start + FIRST_YEAR
        hills.append(
            Hill(
                years=(start + FIRST_YEAR, end - 1 + FIRST_YEAR),
                median=(int(middle[0]), int(middle[1])),
                chance=(float(held[0]), float(held[1])),
            )
        )
    return tuple(hills)


def _parted(row: Array, level: float) -> list[tuple[int, int]]:
    """Stretches of the densest years that hold enough to be named."""
    inside = densest_cells(row[None, :], level)[0]
    return [(a, b) for a, b in stretches(inside) if row[a : b + 1].sum() >= MATTERS] or [
        (0, len(row) - 1)
    ]
