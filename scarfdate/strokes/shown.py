"""`Shown`: what a drawing of a word shows, and at what scale."""

from __future__ import annotations

from dataclasses import dataclass

EVERY_WORD = "*"  # for all words of a family that have no row of their own


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What is to be drawn of a word. ``times``: paper millimetres for one of the thing.

    ``size``, ``other`` and ``every``: lengths in mm, NaN where the drawing needs none: of the thing, of its other
    side, and from one stitch, thread or dot to the next. ``alt``: the picture in words; ``reason``: why there is
    none, "" where there is one.
    """

    family: str
    word: str
    times: float
    size: float
    other: float
    every: float
    alt: str
    reason: str
