"""A plot of how long pieces hang, kind by kind."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from scarfdate.show.plot import pyplot
from scarfdate.show.sentence import percent
from scarfdate.worth.shelf_words import HEADS, margin_of, named

_LINE = "black"


def days_by_kind(table: pd.DataFrame, by: str, level: float, ax: Any = None) -> Any:
    """Dots at the days until half are sold on a line over their interval, with an arrow where that is open.

    ``table``: rows of `Shelf.table`. Sold of bought, and the margin, stand beside each; readable without colour.
    """
    rows = table.to_dict("records")
    if ax is None:
        _, ax = pyplot().subplots(figsize=(8, 1.4 + 0.3 * max(len(rows), 1)), layout="constrained")
    ends = np.array(
        [row[name] for row in rows for name in ("days_from", "days", "days_to")], dtype=np.float64
    )
    ends = ends[np.isfinite(ends)]
    most = 1.15 * float(ends.max()) if ends.size else 1.0
    for place, row in enumerate(rows):
        low, middle, high = row["days_from"], row["days"], row["days_to"]
        if np.isfinite(low):
            ax.plot([low, min(high, most)], [place, place], color=_LINE, linewidth=1.2)
            if not np.isfinite(high):
                ax.plot(most, place, marker=">", color=_LINE, markersize=5, clip_on=False)
        if np.isfinite(middle):
            ax.plot(middle, place, marker="o", color=_LINE, markersize=5)
        beside = f"{row['sold']:.0f} of {row['bought']:.0f}   {margin_of(row)}"
        ax.annotate(
            beside, (1.02, place), xycoords=("axes fraction", "data"), va="center", fontsize=8
        )
    ax.annotate("sold of bought   margin", (1.02, -0.9), xycoords=("axes fraction", "data"), va="center",
                fontsize=8, style="italic")  # fmt: skip
    ax.set_yticks(
        range(len(rows)), [named(row["kind"]).replace("$", r"\$") for row in rows], fontsize=8
    )
    ax.set_ylim(len(rows) - 0.4, -1.3)
    ax.set_xlim(0, most)
    ax.set_xlabel("days until half are sold, unsold pieces counted; the line holds "
                  f"{percent(level)}, an arrow: or more")  # fmt: skip
    told_by = by if by == "decade" else HEADS[by]
    ax.set_title(f"How long pieces hang, by {told_by}", loc="left", fontsize=10)
    ax.grid(axis="x", color="0.85", linewidth=0.6)
    ax.set_axisbelow(True)
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.tick_params(axis="y", length=0)
    return ax
