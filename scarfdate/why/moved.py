"""How a pile's datings move from old tables to new ones: the results of `compare_priors`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.show.sentence import MATTERS, percent
from scarfdate.show.sentence import years as in_words

if TYPE_CHECKING:
    import pandas

_FAR = 10  # years: such pieces are counted apart


@dataclass(frozen=True, kw_only=True)
class Hill:
    """One hill of an answer: its ``years``, and its ``median`` and ``chance`` before and after."""

    years: tuple[int, int]
    median: tuple[int, int]
    chance: tuple[float, float]

    @property
    def moved(self) -> int:
        """Years that its median moved by; 0 where one of the two answers has hardly anything there."""
        return self.median[1] - self.median[0] if min(self.chance) >= MATTERS else 0


@dataclass(frozen=True, kw_only=True)
class Moved:
    """One piece before and after: ``median``, ``interval``, and ``hills``, one or more.

    ``apart``: half the sum of absolute differences of the two answers, 0 the same, 1 nothing in common;
    ``by``: the place in ``files`` of the group that does most to this piece, None where none does anything.
    """

    id: str
    median: tuple[int, int]
    interval: tuple[tuple[int, int], tuple[int, int]]
    apart: float
    hills: tuple[Hill, ...]
    by: int | None

    @property
    def moved(self) -> int:
        """Years that it moved by, later above 0; of several hills the one that moved most."""
        if len(self.hills) == 1:
            return self.median[1] - self.median[0]
        return max((hill.moved for hill in self.hills), key=abs)


@dataclass(frozen=True, kw_only=True)
class TablesCompared:
    """A pile dated under old and under new tables.

    ``pieces`` in the order of the pile; ``files``: what was exchanged, a file or several that only load
    together. ``apart`` (groups, pieces), 0 to 1, and ``years`` (groups, pieces), the mean year's move:
    what exchanging each group does, the mean of doing it first and doing it last.
    """

    channel: str
    as_of: int
    level: float
    pieces: tuple[Moved, ...]
    files: tuple[tuple[str, ...], ...]
    apart: Array = field(repr=False)
    years: Array = field(repr=False)

    def to_frame(self) -> pandas.DataFrame:
        """One row a piece, those whose answers are furthest apart first."""
        import pandas as pd

        rows = [
            {
                "id": one.id, "moved": one.moved, "hills": len(one.hills),
                "median_before": one.median[0], "median_after": one.median[1],
                "from_before": one.interval[0][0], "to_before": one.interval[0][1],
                "from_after": one.interval[1][0], "to_after": one.interval[1][1],
                "apart": one.apart, "by": self._file(one.by),
            }
            for one in self.pieces
        ]  # fmt: skip
        frame = pd.DataFrame(rows)
        return frame.sort_values("apart", ascending=False, ignore_index=True, kind="stable")

    def by_file(self) -> pandas.DataFrame:
        """One row a group of files: how far it moves the pile on average, and which piece most."""
        import pandas as pd

        rows = [
            {
                "files": self._file(place),
                "apart": float(self.apart[place].mean()),
                "years": float(np.abs(self.years[place]).mean()),
                "most": self.pieces[int(self.apart[place].argmax())].id,
                "pieces": sum(one.by == place for one in self.pieces),
            }
            for place in range(len(self.files))
        ]
        frame = pd.DataFrame(rows, columns=["files", "apart", "years", "most", "pieces"])
        return frame.sort_values("apart", ascending=False, ignore_index=True, kind="stable")

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        return page.view(str(self))

    def __str__(self) -> str:
        if not self.files:
            return "The two folders hold the same tables: nothing moves."
        moved = np.array([abs(one.moved) for one in self.pieces])
        lines = [
            f"{len(self.pieces)} pieces in {self.channel}, as of {self.as_of}: "
            f"{int((moved >= 1).sum())} moved by a year or more, {int((moved >= _FAR).sum())} by "
            f"{_FAR} or more; {float(moved.mean()):.1f} years on average.",
            "",
            "Pieces, those that moved furthest first (median and interval, before -> after):",
        ]
        order = sorted(self.pieces, key=lambda one: (-abs(one.moved), -one.apart))
        for one in order:
            if one.moved or one.apart >= MATTERS:
                lines += self._piece(one)
        lines += ["", "Files, those that move the pile most first (put in alone, and last):"]
        for row in self.by_file().itertuples():
            lines.append(
                f"  {row.files}: {row.years:.1f} years on average, most for {row.most}; "
                f"the main cause for {row.pieces}"
            )
        return "\n".join(lines)

    def _piece(self, one: Moved) -> list[str]:
        made = [in_words(*ends, FIRST_YEAR) for ends in one.interval]
        lines = [
            f"  {one.id}: {one.moved:+d} years, {one.median[0]} ({made[0]}) -> "
            f"{one.median[1]} ({made[1]}), by {self._file(one.by)}"
        ]
        if len(one.hills) > 1:
            for hill in one.hills:
                lines.append(
                    f"      hill {in_words(*hill.years, FIRST_YEAR)}: median {hill.median[0]} -> "
                    f"{hill.median[1]}, chance {percent(hill.chance[0])} -> {percent(hill.chance[1])}"
                )
        return lines

    def _file(self, place: int | None) -> str:
        return "no single file" if place is None else " with ".join(self.files[place])
