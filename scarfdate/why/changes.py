"""The answer as it is, and under every change: the results of `scarfdate.why.sensitivity`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from scarfdate.conventions import FIRST_YEAR
from scarfdate.show.sentence import years as in_words

if TYPE_CHECKING:
    import pandas


PRIOR, LEFT_OUT = "prior", "left out"


@dataclass(frozen=True, kw_only=True)
class Change:
    """One thing made different: ``what`` ("hem", "prior"), ``change`` in words, and the answer then.

    ``title``: what it is, in words ("print technique"). ``apart``: the total variation distance from the answer as it is, 0 to 1.
    """

    what: str
    title: str
    change: str
    median: int
    first: int
    last: int
    apart: float


_SHOWN = 12  # changes that are drawn, those that move the answer most
_ROOM = 10.0  # em, for the years


@dataclass(frozen=True, kw_only=True)
class Sensitivity:
    """The answer as it is, and under every change; ``level`` is that of the intervals."""

    median: int
    first: int
    last: int
    level: float
    changes: tuple[Change, ...]

    def to_frame(self) -> pandas.DataFrame:
        """One row a change, those that move the answer most first."""
        import pandas as pd

        frame = pd.DataFrame(
            [vars(change) | {"moved": change.median - self.median} for change in self.changes],
            columns=["what", "change", "median", "moved", "first", "last", "apart"],
        )
        return frame.sort_values("apart", ascending=False, ignore_index=True, kind="stable")

    def plot(self, ax: Any = None) -> Any:
        """For each clue the medians and intervals under its changes, the widest on top; the axis."""
        from scarfdate.show import plot

        each: dict[str, list[Change]] = {}
        for change in self.changes:
            each.setdefault(change.title, []).append(change)
        medians, intervals = {}, {}
        for name, some in each.items():
            middle = [change.median for change in some]
            medians[name] = (min(middle), max(middle))
            intervals[name] = (min(one.first for one in some), max(one.last for one in some))
        names = sorted(each, key=lambda name: medians[name][1] - medians[name][0])
        return plot.ranges(
            names,
            [medians[name] for name in names],
            [intervals[name] for name in names],
            (self.median, self.first, self.last),
            ax,
        )

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        most = sorted(self.changes, key=lambda change: -change.apart)[:_SHOWN]
        shown = [("as it is", self.median, self.first, self.last)]
        shown += [(f"{one.title} {one.change}", one.median, one.first, one.last) for one in most]
        whole = (min(first for *_, first, _ in shown), max(last for *_, last in shown))
        rows = [
            (
                page.under(name, f"{in_words(first, last, FIRST_YEAR)}, the middle in {median}"),
                page.stretch(first, last, median, whole, _ROOM),
            )
            for name, median, first, last in shown
        ]
        left = len(self.changes) - len(most)
        caption = f"The years from {whole[0]} to {whole[1]}: a line the interval, a mark its middle"
        more = [f"{left} more move it less."] if left else []
        return page.view(str(self), page.table(rows, caption=caption), *more)

    def __str__(self) -> str:
        made = in_words(self.first, self.last, FIRST_YEAR)
        text = f"As it is: {made}, the middle in {self.median}."
        clues = [change for change in self.changes if change.what != PRIOR]
        if not clues:
            return f"{text} Nothing was looked at: only another prior can move it."
        most = max(clues, key=lambda change: change.apart)
        then = in_words(most.first, most.last, FIRST_YEAR)
        prior = max((c for c in self.changes if c.what == PRIOR), key=lambda change: change.apart)
        before = in_words(prior.first, prior.last, FIRST_YEAR)
        clue = f"the {most.what.replace('_', ' ')}"
        if most.change == LEFT_OUT:
            how = f"Without {clue}"
        else:
            how = f"With the table of {clue} {most.change}"
        return (
            f"{text} {how} it moves most: {then}, the middle in {most.median}. Of other priors, one "
            f"{prior.change} moves it most: {before}, the middle in {prior.median}."
        )
