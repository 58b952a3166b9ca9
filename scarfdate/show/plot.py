"""Plots with matplotlib, on an axis that the caller may pass."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from scarfdate.conventions import Array
from scarfdate.errors import needed
from scarfdate.show.colours import DARK, OCHRE, TEAL, VIOLET

_LONGEST_NAME = 60  # letters of a clue beside its bar
_EDGE = 0.25  # of an axis, where a name beside a curve would run out of it


def pyplot() -> Any:
    """The module of that name; raises ScarfdateError where Matplotlib is not installed."""
    return needed("matplotlib.pyplot", "plot", "A plot")


def years(
    at: Array, probability: Array, stretches: Sequence[tuple[int, int]], title: str, ax: Any = None
) -> Any:
    """Probability by year as a line, and under it a bar over each stretch; returns the axis.

    ``stretches``: first and last years of the highest-density region, or none.
    """
    if ax is None:
        _, ax = pyplot().subplots(figsize=(8, 3), layout="constrained")
    ax.plot(at, 100 * probability, color=DARK, linewidth=1.5)
    top = 100 * float(probability.max())
    for first, last in stretches:
        ax.barh(-0.05 * top, last - first + 1, left=first - 0.5, height=0.04 * top, color=VIOLET)
    ax.set_xlim(at[0], at[-1])
    ax.set_ylim(-0.1 * top if stretches else 0, 1.05 * top)
    ax.set_xlabel("year made")
    ax.set_ylabel("chance, % a year")
    ax.set_title(title, loc="left", fontsize=10)
    ax.spines[["top", "right"]].set_visible(False)
    return ax


def year_prior(table: Any, channel: str, ax: Any = None) -> Any:
    """What museums record, how the channel differs, and their product, by year; returns the axis.

    ``table``: as from `Priors.year_prior_table`. The factor has an axis of its own on the right.
    """
    if ax is None:
        _, ax = pyplot().subplots(figsize=(8, 3.6), layout="constrained")
    drawn = table.iloc[1:]
    at = drawn.index.to_numpy()
    first = table.index[0]
    differs = drawn["channel"].max() > drawn["channel"].min()  # a factor of one all along is none
    prior, museums = f"prior in the channel {channel}", "what museums record"
    curves = [("prior", DARK, "-", prior if differs else f"{museums}, and the {prior}")]
    if differs:
        curves.append(("museum", TEAL, "-.", museums))
    for name, colour, style, label in curves:
        before = f"{100 * table[name].iloc[0]:.2g} % in {first} or earlier"
        ax.plot(
            at,
            100 * drawn[name],
            color=colour,
            linewidth=1.8,
            linestyle=style,
            label=f"{label} ({before})",
        )
        ax.fill_between(
            at, 100 * drawn[f"{name}_lower"], 100 * drawn[f"{name}_upper"],
            color=colour, alpha=0.18, linewidth=0,
        )  # fmt: skip
    axes = [ax]
    if differs:
        beside = ax.twinx()
        beside.plot(
            at,
            drawn["channel"],
            color=OCHRE,
            linewidth=1.2,
            linestyle="--",
            label="factor of the channel",
        )
        beside.fill_between(
            at,
            drawn["channel_lower"],
            drawn["channel_upper"],
            color=OCHRE,
            alpha=0.12,
            linewidth=0,
        )
        beside.set_yscale("log")
        beside.set_ylabel("factor of the channel (dashed), each mark tenfold", fontsize=8)
        axes.append(beside)
    ax.set_xlim(at[0], at[-1])
    ax.set_ylim(0, 1.15 * 100 * max(drawn["prior_upper"].max(), drawn["museum"].max()))
    ax.set_xlabel("year made")
    ax.set_ylabel("chance, % a year")
    ax.legend(loc="upper left", frameon=False, fontsize=8)
    for axis in axes:
        axis.spines["top"].set_visible(False)
    return ax


def shares(clues: Sequence[str], decibans: Sequence[float], claim: str, ax: Any = None) -> Any:
    """Shares of the clues as bars, the heaviest on top; full to the right for the claim, hollow to the left."""
    if ax is None:
        size = (8, 1 + 0.35 * max(len(clues), 1))
        _, ax = pyplot().subplots(figsize=size, layout="constrained")
    signed_bars(ax, decibans)
    ax.set_yticks(range(len(clues)), [clue[:_LONGEST_NAME] for clue in clues])
    ax.axvline(0, color="black", linewidth=0.8)
    sides = [
        side
        for side, there in (
            ("against the claim (left, hollow)", min(decibans, default=0) < 0),
            ("for the claim (right, full)", max(decibans, default=0) > 0),
        )
        if there
    ]
    ax.set_xlabel(f"decibans {' and '.join(sides)}".strip())
    ax.set_title(claim, loc="left", fontsize=10)
    ax.spines[["top", "right"]].set_visible(False)
    return ax


def signed_bars(ax: Any, values: Sequence[float]) -> None:
    """Bars on an axis, full to the right of nought and hollow to the left: told apart without colour."""
    ax.barh(
        range(len(values)), values, height=0.7, linewidth=1.2,
        color=[TEAL if value >= 0 else "white" for value in values],
        edgecolor=[TEAL if value >= 0 else OCHRE for value in values],
    )  # fmt: skip


def ranges(
    names: Sequence[str],
    medians: Sequence[tuple[int, int]],
    intervals: Sequence[tuple[int, int]],
    base: tuple[int, int, int],
    ax: Any = None,
) -> Any:
    """For each name a bar over the medians and a thin line over the intervals; returns the axis.

    ``base``: the median and the interval as they are: a line, and a band behind.
    """
    if ax is None:
        size = (8, 1.2 + 0.35 * max(len(names), 1))
        _, ax = pyplot().subplots(figsize=size, layout="constrained")
    places = range(len(names))
    middle, first, last = base
    ax.axvspan(first, last, color=VIOLET, alpha=0.13, linewidth=0, label="interval as it is")
    ax.axvline(middle, color=DARK, linewidth=1, label="median as it is")
    ax.hlines(
        places, [a for a, _ in intervals], [b for _, b in intervals],
        color=TEAL, linewidth=1.6, label="intervals, tables made wrong", zorder=2,
    )  # fmt: skip
    # a bar of no length would not be seen
    ax.barh(
        places, [max(b - a, 0.4) for a, b in medians], left=[a for a, _ in medians],
        height=0.55, color=OCHRE, label="medians, tables made wrong", zorder=3,
    )  # fmt: skip
    ax.set_yticks(places, list(names))
    ax.margins(x=0.05)
    ax.set_xlabel("year made")
    ax.set_title("Where the answer goes when one table is wrong", loc="left", fontsize=10)
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=4, frameon=False, fontsize=8)
    ax.spines[["top", "right"]].set_visible(False)
    return ax


def two_pieces(
    at: Array, chances: tuple[Array, Array], names: tuple[str, str], clues: Sequence[str],
    decibans: Sequence[float], axes: Any = None,
) -> Any:  # fmt: skip
    """Two datings laid over each other, and beneath them the clues that make the difference; both axes.

    The first is a full line, the second a dashed one; each has its name where it is most above the other.
    """
    if axes is None:
        heights = [2.6, 0.7 + 0.3 * max(len(clues), 1)]
        _, axes = pyplot().subplots(
            2, 1, figsize=(8, sum(heights)), height_ratios=heights, layout="constrained"
        )
    both, beneath = axes
    first, second = (100 * chance for chance in chances)
    most = max(float(first.max()), float(second.max()))
    both.plot(at, first, color=DARK, linewidth=2)
    both.plot(at, second, color=OCHRE, linewidth=2, linestyle=(0, (4, 1.5)))
    tops = [int((first - second).argmax()), int((second - first).argmax())]
    if tops[0] == tops[1]:  # the same curve twice
        _named(both, at, at[first.argmax()], most, " and ".join(names), "center")
    else:
        sides = ("right", "left") if tops[0] < tops[1] else ("left", "right")
        for curve, top, name, side in zip((first, second), tops, names, sides, strict=True):
            _named(both, at, at[top], curve[top], name, side)
    both.set_xlim(at[0], at[-1])
    both.set_ylim(0, 1.2 * most)
    both.set_xlabel("year made")
    both.set_ylabel("chance, % a year")
    both.spines[["top", "right"]].set_visible(False)
    signed_bars(beneath, decibans)
    beneath.set_yticks(range(len(clues)), [clue[:_LONGEST_NAME] for clue in clues])
    beneath.axvline(0, color="black", linewidth=0.8)
    beneath.set_xlabel(
        "decibans for the second being older (left, hollow), for the first (right, full)"
    )
    title = (
        "What makes the difference"
        if clues
        else "The clues of these two are not weighed against each other"
    )
    beneath.set_title(title, loc="left", fontsize=10)
    beneath.spines[["top", "right"]].set_visible(False)
    return axes


def _named(ax: Any, at: Array, x: float, y: float, name: str, side: str) -> None:
    """The name of a curve beside a point of it, on the side that is away from the other, within the axis."""
    first, last = at[0], at[-1]
    if x > last - _EDGE * (last - first):
        side = "right"
    elif x < first + _EDGE * (last - first):
        side = "left"
    away = {"right": -6, "left": 6, "center": 0}[side]
    ax.annotate(
        name, (x, y), xytext=(away, 4), textcoords="offset points", ha=side, va="bottom",
        fontweight="bold", fontsize=9, annotation_clip=False,
    )  # fmt: skip


def chance_of_loss(
    gains: Array, marks: Sequence[tuple[str, float]], currency: str, ax: Any = None
) -> Any:
    """The chance of a loss by the price paid, a line; ``gains`` (S,) sorted draws of what is got back; the axis.

    ``marks``: prices to be marked, each with its name.
    """
    if ax is None:
        _, ax = pyplot().subplots(figsize=(8, 3), layout="constrained")
    furthest = max(
        [
            float(gains[-1] if len(gains) < 2 else gains[int(0.98 * len(gains))]),
            *(at for _, at in marks),
        ]
    )
    paid = [furthest * step / 200 for step in range(201)]
    ax.plot(
        paid, [100 * float((gains < price).mean()) for price in paid], color=DARK, linewidth=1.5
    )
    for (name, at), style in zip(marks, ("-", "--"), strict=False):
        ax.axvline(at, color=OCHRE, linewidth=1, linestyle=style, label=name)
    ax.set_xlim(0, max(furthest, 1e-9))
    ax.set_ylim(0, 100)
    ax.set_xlabel(f"price paid, {currency}".rstrip(", "))
    ax.set_ylabel("chance of a loss, %")
    ax.legend(loc="lower right", frameon=False, fontsize=8)
    ax.spines[["top", "right"]].set_visible(False)
    return ax
