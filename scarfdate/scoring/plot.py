"""Plots of how well records of known years are dated, on an axis that the caller may pass."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.conventions import Array
from scarfdate.show.colours import DARK, OCHRE, TEAL, VIOLET
from scarfdate.show.plot import pyplot

if TYPE_CHECKING:
    from scarfdate.scoring.calibration import Reliability

_FLOOR = 1e-6  # chances below are drawn at it
_NARROW = 10  # least over greatest, below which powers of ten alone label too little


def calibration(
    decades: Reliability,
    band: Array,
    intervals: Sequence[tuple[float, float, float, float]],
    title: str,
    ax: Any = None,
) -> Any:
    """Forecasts of decades against how often they came true; returns the axis.

    ``band``: (bins, 2), the shares that chance allows around each forecast. ``intervals``: for each
    level what its intervals should hold, how often they held the year, how far off chance allows,
    and the level.
    """
    ax = _square(ax)
    ax.plot([0, 100], [0, 100], color="black", linewidth=0.8)
    low, high = 100 * band[:, 0], 100 * band[:, 1]
    forecast, observed = 100 * decades.forecast, 100 * decades.observed
    wide = {"alpha": 0.35, "linewidth": 7}
    ax.vlines(
        forecast, low, high, color=VIOLET, label="what chance allows, 95 % of the time", **wide
    )
    ax.plot(
        forecast,
        observed,
        "o",  # not joined: the last dots may be of a handful of records
        color=DARK,
        markersize=5,
        label="decades",
        clip_on=False,
    )
    for place, (x, y, off, level) in enumerate(intervals):
        ends = 100 * np.clip([x - off, x + off], 0, 1)
        ax.vlines(100 * x, *ends, color=OCHRE, **wide)
        label = "" if place else "intervals"
        ax.plot(100 * x, 100 * y, "D", color=OCHRE, label=label, clip_on=False)
        ax.annotate(
            f"{100 * level:g} %", (100 * x, 100 * y), xytext=(-8, 5), ha="right",
            textcoords="offset points", fontsize=8,
        )  # fmt: skip
    ax.set_xlim(0, 100)
    ax.set_ylim(0, 100)
    return _labelled(ax, "stated chance, %", "came true, %", title)


def pit(shares: Sequence[float], band: tuple[float, float], title: str, ax: Any = None) -> Any:
    """Histogram of the probability integral transform, with a band of what chance allows each bar.

    A hump means that the distributions are too wide, a U that they are too narrow, a slope that they lie too late or early.
    """
    if ax is None:
        _, ax = pyplot().subplots(figsize=(6.4, 3.8), layout="constrained")
    bins = len(shares)
    left = 100 * np.arange(bins) / bins
    ax.axhspan(
        100 * band[0], 100 * band[1], facecolor=VIOLET, alpha=0.25, linewidth=0, zorder=0,
        label="what chance allows the top of a bar, 95 % of the time",
    )  # fmt: skip
    ax.axhline(
        100 / bins, color=OCHRE, linewidth=1.2, linestyle="--", zorder=1, label="all as often"
    )
    ax.bar(  # outlines, so that the band is seen through them
        left, 100 * np.asarray(shares), width=100 / bins, align="edge",
        fill=False, edgecolor=DARK, linewidth=1.6, zorder=2,
    )  # fmt: skip
    ax.set_xlim(0, 100)
    ax.set_ylim(0, 1.1 * 100 * max(*shares, band[1]))
    return _labelled(ax, "chance given to years up to the known one, %", "records, %", title)


def before_after(before: Array, after: Array, title: str, ax: Any = None) -> Any:
    """One point a record: the chance given to its known years before and after; returns the axis."""
    ax = _square(ax)
    x, y = (100 * np.maximum(each, _FLOOR) for each in (before, after))
    ends = np.array([0.7 * min(x.min(), y.min()), min(1.4 * max(x.max(), y.max()), 110)])
    ax.plot(ends, ends, color="black", linewidth=0.8)
    size = 5 if len(x) < 200 else 3.5
    rises = y > x
    for some, marker, colour, fill, label in (
        (rises, "^", TEAL, TEAL, f"better: {int(rises.sum())}"),
        (~rises, "v", OCHRE, "white", f"not better: {int((~rises).sum())}"),
    ):
        ax.plot(
            x[some], y[some], marker, markersize=size, color=colour, markerfacecolor=fill,
            markeredgewidth=0.9, label=label,
        )  # fmt: skip
    narrow = ends[1] < _NARROW * ends[0]
    for scale, axis in ((ax.set_xscale, ax.xaxis), (ax.set_yscale, ax.yaxis)):
        scale("log")
        axis.set_major_formatter(lambda value, _: f"{value:g}")
        axis.set_minor_formatter(lambda value, _: f"{value:g}" if narrow else "")
    ax.set_xlim(ends)
    ax.set_ylim(ends)
    return _labelled(ax, "chance of the known years before, %", "after, %", title)


def _labelled(ax: Any, x: str, y: str, title: str) -> Any:
    ax.set_xlabel(x)
    ax.set_ylabel(y)
    ax.set_title(title, loc="left", fontsize=10)
    ax.legend(loc="upper left", bbox_to_anchor=(-0.02, -0.13), frameon=False, fontsize=8)
    ax.spines[["top", "right"]].set_visible(False)
    return ax


def _square(ax: Any) -> Any:
    if ax is None:
        _, ax = pyplot().subplots(figsize=(5.6, 6.2), layout="compressed")
    ax.set_aspect("equal", adjustable="box")
    return ax
