"""Plots with matplotlib, on an axis that the caller may pass."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from scarfdate.conventions import Array
from scarfdate.errors import needed

_HILL, _LINE, _OTHER, _FACTOR = "#8a6d9c", "#4b3a57", "#2f7f79", "#a8672a"
_LONGEST_NAME = 60  # letters of a clue beside its bar


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
    ax.plot(at, 100 * probability, color=_LINE, linewidth=1.5)
    top = 100 * float(probability.max())
    for first, last in stretches:
        ax.barh(-0.05 * top, last - first + 1, left=first - 0.5, height=0.04 * top, color=_HILL)
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
    for name, colour, label in (
        ("museum", _OTHER, "what museums record"),
        ("prior", _LINE, f"prior in the channel {channel}"),
    ):
        before = f"{100 * table[name].iloc[0]:.2g} % in {first} or earlier"
        ax.plot(at, 100 * drawn[name], color=colour, linewidth=1.6, label=f"{label} ({before})")
        ax.fill_between(
            at, 100 * drawn[f"{name}_lower"], 100 * drawn[f"{name}_upper"],
            color=colour, alpha=0.18, linewidth=0,
        )  # fmt: skip
    axes = [ax]
    if drawn["channel"].max() > drawn["channel"].min():  # a factor of one all along is none
        beside = ax.twinx()
        beside.plot(
            at,
            drawn["channel"],
            color=_FACTOR,
            linewidth=1.2,
            linestyle="--",
            label="factor of the channel",
        )
        beside.fill_between(
            at,
            drawn["channel_lower"],
            drawn["channel_upper"],
            color=_FACTOR,
            alpha=0.12,
            linewidth=0,
        )
        beside.set_yscale("log")
        beside.set_ylabel("factor (dashed)", color=_FACTOR)
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
    """Shares of the clues as bars, the heaviest on top; for the claim to the right."""
    if ax is None:
        size = (8, 1 + 0.35 * max(len(clues), 1))
        _, ax = pyplot().subplots(figsize=size, layout="constrained")
    colours = [_OTHER if value >= 0 else _FACTOR for value in decibans]
    ax.barh(range(len(clues)), decibans, color=colours)
    ax.set_yticks(range(len(clues)), [clue[:_LONGEST_NAME] for clue in clues])
    ax.axvline(0, color="black", linewidth=0.8)
    ax.set_xlabel("decibans against the claim (left) and for it (right)")
    ax.set_title(claim, loc="left", fontsize=10)
    ax.spines[["top", "right"]].set_visible(False)
    return ax


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
    ax.axvspan(first, last, color=_HILL, alpha=0.13, linewidth=0, label="interval as it is")
    ax.axvline(middle, color=_LINE, linewidth=1, label="median as it is")
    ax.hlines(
        places, [a for a, _ in intervals], [b for _, b in intervals],
        color=_OTHER, linewidth=1.2, label="intervals, tables made wrong",
    )  # fmt: skip
    # a bar of no length would not be seen
    ax.barh(
        places, [max(b - a, 0.4) for a, b in medians], left=[a for a, _ in medians],
        height=0.55, color=_FACTOR, label="medians, tables made wrong",
    )  # fmt: skip
    ax.set_yticks(places, list(names))
    ax.margins(x=0.05)
    ax.set_xlabel("year made")
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=4, frameon=False, fontsize=8)
    ax.spines[["top", "right"]].set_visible(False)
    return ax


def two_pieces(
    at: Any, chances: tuple[Array, Array], clues: Sequence[str], decibans: Sequence[float],
    axes: Any = None,
) -> Any:  # fmt: skip
    """Two datings, one above the other, and between them the clues that make the difference."""
    if axes is None:
        heights = [2.0, 0.5 + 0.3 * max(len(clues), 1), 2.0]
        _, axes = pyplot().subplots(
            3, 1, figsize=(8, sum(heights)), height_ratios=heights, layout="constrained"
        )
    top, between, bottom = axes
    for ax, chance, name in ((top, chances[0], "the first"), (bottom, chances[1], "the second")):
        years(at, chance, [], name, ax)
        ax.set_ylim(0, 105 * max(float(each.max()) for each in chances))
    shares(clues, decibans, "what makes the difference", between)
    between.set_xlabel("decibans for the second being older (left), for the first (right)")
    return axes


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
        paid, [100 * float((gains < price).mean()) for price in paid], color=_LINE, linewidth=1.5
    )
    for (name, at), style in zip(marks, ("-", "--"), strict=False):
        ax.axvline(at, color=_FACTOR, linewidth=1, linestyle=style, label=name)
    ax.set_xlim(0, max(furthest, 1e-9))
    ax.set_ylim(0, 100)
    ax.set_xlabel(f"price paid, {currency}".rstrip(", "))
    ax.set_ylabel("chance of a loss, %")
    ax.legend(loc="lower right", frameon=False, fontsize=8)
    ax.spines[["top", "right"]].set_visible(False)
    return ax
