"""Two priors on the same records: what the second gains, and whether the records can show it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.scoring.in_words import (
    LEAST_UNITS,
    about_intervals,
    about_left_out,
    few_units,
    range_in_words,
    records_in_words,
    signed,
    times,
)
from scarfdate.scoring.results import SAME, Scores
from scarfdate.scoring.uncertain import Uncertain
from scarfdate.show import page

if TYPE_CHECKING:
    import pandas


SCORED = ("log_score", "gain", "crps", "brier", "interval_score")
BETTER, WORSE = "better", "worse"
NO_DIFFERENCE = "no difference that these records can show"


@dataclass(frozen=True, eq=False, kw_only=True)
class BeforeAfter:
    """Two priors on the same records. ``difference``: after less before, by score, paired.

    ``verdict``: "better", "worse" or "no difference that these records can show", by whether the 95 %
    interval of the difference of log scores leaves out 0 (and there are at least six units, below
    which not even differences of one sign are a surprise of 5 %). The log score alone decides,
    because it alone is exact for dates that are intervals. ``fold``: (n,) where cross-validated.
    """

    before: Scores
    after: Scores
    difference: Mapping[str, Uncertain]
    fold: NDArray[np.intp] | None = None

    def __len__(self) -> int:
        return len(self.before)

    @property
    def verdict(self) -> str:
        """In words, with no more certainty than there is."""
        apart = self.difference["log_score"]
        if self.before.units < LEAST_UNITS or not apart.lower * apart.upper > 0:
            return NO_DIFFERENCE
        if abs(apart.mean) < SAME:
            return NO_DIFFERENCE
        return BETTER if apart.mean > 0 else WORSE

    def to_frame(self) -> pandas.DataFrame:
        """One row a score: before, after, difference (after less before), error, lower, upper, best."""
        import pandas as pd

        rows = [
            {
                "score": name,
                "before": self.before.means[name].mean,
                "after": self.after.means[name].mean,
                "difference": apart.mean,
                "error": apart.error,
                "lower": apart.lower,
                "upper": apart.upper,
                "best": "high" if name in ("log_score", "gain") else "low",
            }
            for name, apart in self.difference.items()
        ]
        return pd.DataFrame(rows)

    def records_frame(self) -> pandas.DataFrame:
        """One row a record: its place, known years, and each score before, after and the difference."""
        head = self.before.records_frame()[["record", "known_from", "known_to"]]
        if self.fold is not None:
            head["fold"] = self.fold
        for name in SCORED:
            head[f"{name}_before"] = self.before.each[name]
            head[f"{name}_after"] = self.after.each[name]
            head[f"{name}_difference"] = self.after.each[name] - self.before.each[name]
        return head

    def plot(self, ax: Any = None) -> Any:
        """The chance of every record's known years before and after; returns the axis."""
        from scarfdate.scoring import plot

        return plot.before_after(
            np.exp(self.before.each["log_score"]),
            np.exp(self.after.each["log_score"]),
            f"{records_in_words(len(self))}: {self.verdict}",
            ax,
        )

    def _repr_html_(self) -> str:
        chances = {
            name: float(np.exp(scores.means["log_score"].mean))
            for name, scores in (("before", self.before), ("after", self.after))
        }
        most = max(chances.values())
        rows = [
            (name, page.bar(chance, most), f"{100 * chance:.2g} %")
            for name, chance in chances.items()
        ]
        caption = "The chance given to a record's known years (geometric mean)"
        return page.view(str(self), page.table(rows, caption=caption, numbers=(2,)))

    def __str__(self) -> str:
        apart = self.difference["log_score"]
        word = self.verdict
        how = "" if self.fold is None else f"; {int(self.fold.max()) + 1}-fold cross-validation"
        head = f"{word[0].upper()}{word[1:]} ({records_in_words(len(self))}{how})."
        text = (
            f"{head} After, the known years get {times(apart.mean)} the chance they had before"
            f" ({range_in_words(apart, times)}; log score {apart.mean:+.3f} nats a record)."
        )
        if self.before.units < LEAST_UNITS:
            text += f" {few_units(self.before.units)}: no difference can be shown, whatever it is."
        elif word == NO_DIFFERENCE:
            text += " There may be a difference within that range, either way."
        lines = [text]
        for name, what in (
            ("crps", "CRPS, years"),
            ("brier", "Brier score of the decades"),
            ("interval_score", f"score of the {100 * self.before.level:g} % intervals, years"),
        ):
            apart = self.difference[name]
            lines.append(
                f"- {what}: {self.after.means[name].mean:.3g} after"
                f" {self.before.means[name].mean:.3g}, {apart.mean:+.2g}"
                f" ({range_in_words(apart, signed)}); less is better."
            )
        lines += about_intervals(self.before.known)
        if self.fold is not None:
            lines.append(
                "- The ranges leave out that the trainings share records, and are a little narrow."
            )
        return "\n".join(lines + about_left_out(self.before.left_out))
