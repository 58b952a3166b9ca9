"""A pile at a glance: a thin bar a piece over the years, on a matplotlib axis or in the letters of a terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from scarfdate.show.plot import pyplot
from scarfdate.show.terminal import clean, clipped

NARROWEST = 40  # columns of a terminal below which bars say nothing
_SURE, _DOUBTFUL, _GUIDE, _BEFORE = "━", "─", "·", "◂"
_LONGEST, _YEARS = 20, 19  # letters of a name, and of years in words
_ROOMY = 72  # columns from which the years are written beside the bars
_STEPS = (5, 10, 20, 50, 100, 200, 500, 1000)
_ROW, _HIGHEST = 0.16, 18.0  # inches of one piece, and of the longest picture
_LABEL = 0.12  # inches that a name needs
_NAME_LETTERS = 28


@dataclass(frozen=True, kw_only=True)
class Bar:
    """One piece: stretches of years, both ends inclusive, a first of None being open ("or earlier").

    ``years``: the same in words; ``doubtful``: whether something noted of it is in doubt; ``mark``: a letter
    beside the name, or ""; no stretches: it could not be read.
    """

    name: str
    stretches: tuple[tuple[int | None, int], ...]
    years: str
    doubtful: bool = False
    mark: str = ""


def _span(bars: Sequence[Bar]) -> tuple[int, int]:
    """First and last years of the picture, whole decades; room to the left where a bar is open."""
    ends = [year for bar in bars for first, last in bar.stretches for year in (first, last) if year]
    open_ends = any(first is None for bar in bars for first, _ in bar.stretches)
    first, last = (min(ends), max(ends)) if ends else (1900, 1999)
    return first // 10 * 10 - (10 if open_ends else 0), last // 10 * 10 + 9


def lines(bars: Sequence[Bar], width: int) -> list[str]:
    """The picture in a terminal of so many columns (at least 40): a head of years, a line a piece, a foot."""
    width = max(width, NARROWEST) - 1  # a full last column makes some terminals wrap
    longest = max((len(clean(bar.name)) for bar in bars), default=1)
    called = max(1, min(longest, _LONGEST, width // 4))
    room = width - called - 3 - (_YEARS + 1 if width >= _ROOMY else 0)
    first, last = _span(bars)

    def at(year: int) -> int:
        return min((year - first) * room // (last - first + 1), room - 1)

    step = next(s for s in _STEPS if (last - first + 1) / s * 6 <= room or s == _STEPS[-1])
    ticks = [y for y in range(math.ceil(first / step) * step, last + 1, step) if at(y) + 4 <= room]
    head = [" "] * room
    for year in ticks:
        head[at(year) : at(year) + 4] = str(year)
    axis = " " * (called + 3) + "".join(head).rstrip()
    drawn = [axis]
    for bar in bars:
        cells = [" "] * room
        for year in ticks:
            cells[at(year)] = _GUIDE
        for start, end in bar.stretches:
            begin = 0 if start is None else at(start)
            letter = _DOUBTFUL if bar.doubtful else _SURE
            cells[begin : at(end) + 1] = letter * (at(end) + 1 - begin)
            if start is None:
                cells[0] = _BEFORE
        for (start, end), (after, _) in pairwise(bar.stretches):
            if at(after or first) - at(end) <= 1:  # else two bars would look like one
                longer = at(end) > (0 if start is None else at(start))
                cells[at(end) if longer else at(after or first)] = " "
        beside = f" {bar.years}" if width >= _ROOMY else ""
        drawn.append(
            f"{_padded(bar.name, called)} {bar.mark or ' '} {''.join(cells)}{beside}".rstrip()
        )
    return [*drawn, axis]


def _padded(name: str, width: int) -> str:
    from rich.cells import cell_len

    text = clipped(clean(name), width)
    return text + " " * (width - cell_len(text))


def legend(level: str, doubtful: bool) -> str:
    """What the bars of `lines` are."""
    text = f"{_SURE} when it was made, {level} sure; two bars: in the one or in the other"
    return (
        f"{text}; {_DOUBTFUL} the same, but something noted is in doubt."
        if doubtful
        else f"{text}."
    )


def plot(bars: Sequence[Bar], title: str, ax: Any = None) -> Any:
    """The picture on a matplotlib axis, the first piece on top; returns the axis. Needs no colours.

    What is in doubt is drawn hollow. Where there are too many pieces to name, only some are named.
    """
    n = max(len(bars), 1)
    if ax is None:
        size = (8, min(1.1 + _ROW * n, _HIGHEST))
        _, ax = pyplot().subplots(figsize=size, layout="constrained")
    box = ax.get_window_extent()
    high = box.height / ax.figure.dpi
    every = max(1, math.ceil(n * _LABEL / high))
    edge = min(0.7, 72 * high / n / 8)  # points: a line must not fill the bar that it is around
    first, last = _span(bars)
    for place, bar in enumerate(bars):
        ends = [(first if a is None else a, b) for a, b in bar.stretches]
        for (_, before), (after, _) in pairwise(ends):
            ax.hlines(place, before + 1, after, color="0.55", linewidth=edge, linestyle=":")
        for a, b in ends:
            ax.barh(
                place, b - a + 1, left=a, height=0.55, edgecolor="black", snap=False,
                linewidth=edge if bar.doubtful else 0, color="white" if bar.doubtful else "0.2",
            )  # fmt: skip
        if bar.stretches and bar.stretches[0][0] is None:
            ax.plot(first, place, marker="<", color="black", markersize=3, clip_on=False)
        if not bar.stretches:
            ax.text(first, place, " not read", va="center", fontsize=6, color="0.4")
    named = range(0, len(bars), every)
    ax.set_yticks(named, [_short(bars[place].name) for place in named], fontsize=7)
    ax.set_ylim(n - 0.4, -0.6)
    ax.set_xlim(first, last + 1)
    ax.grid(axis="x", color="0.85", linewidth=0.6)
    ax.set_axisbelow(True)
    ax.tick_params(axis="y", length=0)
    ax.tick_params(axis="x", labelbottom=True, labeltop=n > 40, top=n > 40)
    ax.set_xlabel("year made" + (f"; one piece in {every} is named" if every > 1 else ""))
    ax.set_title(title, loc="left", fontsize=10)
    ax.spines[["top", "right", "left"]].set_visible(False)
    return ax


def _short(name: str) -> str:
    """A name beside a bar; matplotlib reads a pair of dollars as mathematics."""
    text = clean(name)
    text = text if len(text) <= _NAME_LETTERS else f"{text[: _NAME_LETTERS - 1]}…"
    return text.replace("$", r"\$")
