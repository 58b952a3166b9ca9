"""What scores say: means with their errors, a verdict in words, frames and plots.

How they are made stands in `scarfdate.scoring.score`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.scoring.calibration import Reliability, brier_parts
from scarfdate.scoring.in_words import (
    LEAST_UNITS,
    about_intervals,
    about_left_out,
    few_units,
    plain,
    range_in_words,
    records_in_words,
    times,
)
from scarfdate.scoring.uncertain import SURE, Uncertain, binomial_band
from scarfdate.show import page
from scarfdate.years import Array

if TYPE_CHECKING:
    import pandas


LEVELS = (0.5, 0.8, 0.95)  # of the intervals whose coverage is given
BINS = 10  # of the PIT and of the forecasts of decades
SAME = 1e-9  # nats: a difference that is rounding


@dataclass(frozen=True, kw_only=True)
class Covered:
    """How often the shortest intervals of ``level`` hold the true year.

    ``held``: the share, with its error. ``expected``: what these intervals hold by themselves, on average: of
    whole years a little more than the level, and what ``held`` should be. ``chance_error``: how far
    ``held`` is from it by chance alone, as a standard error. ``least``, ``most``: bounds of ``held``
    whatever the true years within the known intervals; equal where all are exact.
    """

    level: float
    held: Uncertain
    expected: float
    chance_error: float
    least: float
    most: float

    @property
    def allowed(self) -> float:
        """How far off ``held`` is at most by chance, 95 % of the time."""
        return NormalDist().inv_cdf((1 + SURE) / 2) * self.chance_error

    @property
    def verdict(self) -> str:
        """Whether ``held`` is "as said", "too seldom" or "too often", beyond what chance allows."""
        off = self.held.mean - self.expected
        if abs(off) <= self.allowed + SAME:
            return "as said"
        return "too seldom" if off < 0 else "too often"


@dataclass(frozen=True, eq=False, kw_only=True)
class Scores:
    """How well priors date n records of known years.

    ``means``: by name, the mean of ``log_score`` (nats, 0 at best), ``gain`` (nats over the channel's
    year prior alone), ``crps`` (years, 0 at best), ``brier`` (by decade, 0 at best to 2),
    ``interval_score`` (years, of the central interval at ``level``, 0 at best). ``coverage``: for 50, 80
    and 95 %. ``pit``: share of the records in each tenth of the probability integral transform, 0.1
    each where the priors are right; ``pit_band``: the least and greatest share that chance allows a
    tenth, 95 % of the time. ``calibration``: forecasts of decades against how often they came true.
    ``each``: by name, the scores of every record, (n,). ``record``: places in the records given.
    ``left_out``: places that could not be dated, and why. ``units``: groups, or else records.
    """

    tables: str
    channel: str
    as_of: int
    level: float
    units: int
    effective: float
    means: Mapping[str, Uncertain]
    coverage: tuple[Covered, ...]
    pit: tuple[Uncertain, ...]
    pit_band: tuple[float, float]
    calibration: Reliability
    record: NDArray[np.intp]
    known: tuple[NDArray[np.int64], NDArray[np.int64]]
    each: Mapping[str, Array]
    left_out: tuple[tuple[int, str], ...]

    def __len__(self) -> int:
        return len(self.record)

    def to_frame(self) -> pandas.DataFrame:
        """One row a score: score, mean, error, lower, upper (95 %), and for coverage expected, least, most.

        The last three are Murphy's parts of the Brier score of ``calibration``, without errors.
        """
        import pandas as pd

        rows: list[dict[str, object]] = [
            {"score": name} | vars(mean) for name, mean in self.means.items()
        ]
        for one in self.coverage:
            bounds = {"expected": one.expected, "least": one.least, "most": one.most}
            rows.append({"score": f"covered_{100 * one.level:g}"} | vars(one.held) | bounds)
        rows += [{"score": f"pit_{place}"} | vars(tenth) for place, tenth in enumerate(self.pit, 1)]
        parts = ("reliability", "resolution", "uncertainty")
        rows += [
            {"score": f"decades_{name}", "mean": value}
            for name, value in zip(parts, brier_parts(self.calibration), strict=True)
        ]
        columns = ["score", "mean", "error", "lower", "upper", "expected", "least", "most"]
        return pd.DataFrame(rows, columns=columns)

    def records_frame(self) -> pandas.DataFrame:
        """One row a record: its place in the records given, known years (cut to the grid), scores."""
        import pandas as pd

        first, last = self.known
        head = {"record": self.record, "known_from": first, "known_to": last}
        return pd.DataFrame(head | dict(self.each))

    def plot_calibration(self, ax: Any = None) -> Any:
        """Forecasts against what was observed, for decades and for intervals; returns the axis."""
        from scarfdate.scoring import plot

        part = self.effective / len(self)
        band = [
            share_band(count * part, forecast)
            for count, forecast in zip(
                self.calibration.count, self.calibration.forecast, strict=True
            )
        ]
        return plot.calibration(
            self.calibration,
            np.array(band),
            [(one.expected, one.held.mean, one.allowed, one.level) for one in self.coverage],
            f"{records_in_words(len(self))}, channel {self.channel}",
            ax,
        )

    def plot_pit(self, ax: Any = None) -> Any:
        """Histogram of the probability integral transform, with what chance allows; returns the axis."""
        from scarfdate.scoring import plot

        return plot.pit(
            [one.mean for one in self.pit],
            self.pit_band,
            f"{records_in_words(len(self))}, channel {self.channel}",
            ax,
        )

    def _repr_html_(self) -> str:
        rows = [
            (
                page.under(
                    f"{100 * one.level:g} % intervals",
                    f"say {100 * one.expected:.0f} %, hold {100 * one.held.mean:.0f} %",
                ),
                page.two_bars(one.expected, one.held.mean),
            )
            for one in self.coverage
        ]
        caption = "Intervals that hold the known year: hollow as they say, full as it is"
        return page.view(str(self), page.table(rows, caption=caption))

    def __str__(self) -> str:
        lines = [
            f"{records_in_words(len(self))} of known years, channel {self.channel}, {self.tables}"
            " (ranges: 95 % intervals):"
        ]
        log, gain = self.means["log_score"].mean, self.means["gain"]
        lines.append(
            f"- The known years get {times(gain.mean)} the chance that the prior alone gives them"
            f" ({range_in_words(gain, times)}). Log score {log:.3f} nats = {log / math.log(2):.3f} bits a record."
        )
        for name, text in (
            ("crps", "The chances lie {} years from the known years (CRPS, 0 at best)"),
            ("brier", "Brier score of the decades: {} (0 at best, 2 at worst)"),
            (
                "interval_score",
                f"Score of the {100 * self.level:g} % intervals: {{}} years (0 at best)",
            ),
        ):
            mean = self.means[name]
            lines.append(f"- {text.format(f'{mean.mean:.3g}')}; {range_in_words(mean, plain)}.")
        for one in self.coverage:
            line = (
                f"- {100 * one.level:g} % intervals say they hold {100 * one.expected:.0f} %"
                f" and hold {100 * one.held.mean:.0f} %"
            )
            if one.most > one.least:
                line += f" (surely {100 * one.least:.0f} %, at most {100 * one.most:.0f} %)"
            apart = "within chance" if one.verdict == "as said" else f"{one.verdict}, beyond chance"
            lines.append(f"{line}: {apart}.")
        if self.units < LEAST_UNITS:
            lines.append(f"- {few_units(self.units)}: the ranges mean little.")
        lines += about_intervals(self.known)
        return "\n".join(lines + about_left_out(self.left_out))


def share_band(count: float, chance: float) -> tuple[float, float]:
    """What share of ``count`` independent ones chance allows, 95 % of the time."""
    whole = max(int(count), 1)
    low, high = binomial_band(whole, chance)
    return low / whole, high / whole
