"""Plots with matplotlib, on an axis that the caller may pass."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from scarfdate.knots import Array

_HILL, _LINE = "#8a6d9c", "#4b3a57"


def years(
    at: Array, probability: Array, stretches: Sequence[tuple[int, int]], title: str, ax: Any = None
) -> Any:
    """Probability by year, the stretches of the highest-density region filled; returns the axis."""
    if ax is None:
        import matplotlib.pyplot as plt

        _, ax = plt.subplots(figsize=(8, 3), layout="constrained")
    ax.plot(at, 100 * probability, color=_LINE, linewidth=1.5)
    for first, last in stretches:
        inside = (at >= first) & (at <= last)
        ax.fill_between(at[inside], 100 * probability[inside], color=_HILL, alpha=0.45, linewidth=0)
    ax.set_xlim(at[0], at[-1])
    ax.set_ylim(bottom=0)
    ax.set_xlabel("year made")
    ax.set_ylabel("chance, % a year")
    ax.set_title(title, loc="left", fontsize=10)
    ax.spines[["top", "right"]].set_visible(False)
    return ax
