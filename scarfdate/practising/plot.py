"""Plots of practice, on an axis that the caller may pass."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from scarfdate.conventions import Array
from scarfdate.show.plot import pyplot

_HERS, _WORTH = "#4b3a57", "#a8672a"


def weights(clues: Sequence[str], worth: Array, given: Array, level: float, ax: Any = None) -> Any:
    """For each clue what it is worth, a hollow diamond, and what is given to it, a dot within its interval;
    returns the axis. ``given``: (clues, 3), the low end, the value and the high end."""
    if ax is None:
        size = (8, 1.2 + 0.35 * max(len(clues), 1))
        _, ax = pyplot().subplots(figsize=size, layout="constrained")
    at = list(range(len(clues)))
    low, middle, high = given.T
    ax.hlines(at, low, high, color=_HERS, linewidth=1.5)
    ax.plot(middle, at, "o", color=_HERS, markersize=5,
            label=f"what you give it, and the range that holds {100 * level:g} %")  # fmt: skip
    ax.plot(worth, at, "D", markerfacecolor="none", markeredgecolor=_WORTH, markersize=8,
            markeredgewidth=1.6, label="what it is worth")  # fmt: skip
    ax.axvline(0, color="black", linewidth=0.8)
    ax.set_yticks(at, list(clues))
    ax.set_xlabel("decibans, mean of the pieces that showed the clue (their number in brackets)")
    ax.set_title("What you give the clues, beside what they are worth", loc="left", fontsize=10)
    ax.legend(loc="lower right", frameon=False, fontsize=8)
    ax.spines[["top", "right"]].set_visible(False)
    return ax
