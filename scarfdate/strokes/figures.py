"""Small figures of a few strokes that motifs and layouts are made of, each in a box of its own."""

from __future__ import annotations

import math

from scarfdate.strokes.pen import BOLD, FINE, INK, NONE, PAPER, Pen, Point, around, steps
from scarfdate.strokes.prints import leaf


def flower(pen: Pen, x: float, y: float, across: float) -> None:
    """Five petals around a full middle."""
    for a, b in around(x, y, across * 0.27, 5, -90):
        pen.spot(a, b, across * 0.2, fill=PAPER, width=FINE)
    pen.spot(x, y, across * 0.13)


def sprig(pen: Pen, x: float, y: float, across: float, turned: float = 0.0) -> None:
    """A leaf with its rib."""
    pen.line(leaf(x, y, across, across * 0.42, turned), FINE, fill=PAPER, closed=True)
    turn = math.radians(turned)
    dx, dy = across / 2 * math.cos(turn), across / 2 * math.sin(turn)
    pen.line([(x - dx * 1.25, y - dy * 1.25), (x + dx * 0.8, y + dy * 0.8)], FINE)
    for part in (-0.4, 0.0, 0.4):
        for side in (-1, 1):
            turned_rib = turn + side * 0.7
            start = (x + dx * part, y + dy * part)
            pen.line([start, (start[0] + across * 0.17 * math.cos(turned_rib),
                              start[1] + across * 0.17 * math.sin(turned_rib))], FINE)  # fmt: skip


def fern(pen: Pen, x: float, y: float, tall: float) -> None:
    """A frond with leaflets that grow shorter."""
    pen.line([(x, y), (x, y - tall)], FINE)
    for part in steps(0.15, 0.95, 0.1):
        for side in (-1, 1):
            long = tall * 0.3 * (1.05 - part)
            pen.line([(x, y - tall * part), (x + side * long, y - tall * part - long * 0.5)], BOLD)


def house(pen: Pen, x: float, y: float, wide: float) -> None:
    """A house on the ground at ``y``."""
    pen.box(x, y - wide * 0.6, wide, wide * 0.6, FINE, fill=PAPER)
    pen.line([(x - wide * 0.1, y - wide * 0.6), (x + wide / 2, y - wide * 1.05), (x + wide * 1.1, y - wide * 0.6)],
             BOLD, fill=PAPER, closed=True)  # fmt: skip
    pen.box(x + wide * 0.4, y - wide * 0.35, wide * 0.2, wide * 0.35, FINE, fill=INK)
    for at in (0.12, 0.7):
        pen.box(x + wide * at, y - wide * 0.42, wide * 0.17, wide * 0.17, FINE)


def tree(pen: Pen, x: float, y: float, tall: float) -> None:
    """A round tree on the ground at ``y``."""
    pen.line([(x, y), (x, y - tall * 0.5)], BOLD)
    crown = around(x, y - tall * 0.68, tall * 0.3, 9)
    pen.curve([(a, b) for a, b in crown], FINE, fill=PAPER, closed=True)
    for dx, dy in ((-0.1, 0.0), (0.08, -0.1), (0.1, 0.08), (-0.05, 0.14)):
        pen.spot(x + dx * tall, y - tall * (0.68 + dy), tall * 0.025)


def hills(pen: Pen, y: float, high: float) -> None:
    """A line of hills over the width of the window."""
    pen.curve([(x, y - high * (0.5 + 0.5 * math.sin(x / pen.width * 7))) for x in steps(0.0, pen.width, pen.width / 14)],
              FINE)  # fmt: skip


def person(pen: Pen, x: float, y: float, tall: float) -> None:
    """A person who walks, on the ground at ``y``."""
    pen.spot(x, y - tall * 0.88, tall * 0.11)
    pen.line([(x, y - tall * 0.76), (x, y - tall * 0.4), (x - tall * 0.17, y)], BOLD)
    pen.line([(x, y - tall * 0.4), (x + tall * 0.18, y)], BOLD)
    pen.line(
        [
            (x - tall * 0.2, y - tall * 0.45),
            (x, y - tall * 0.7),
            (x + tall * 0.22, y - tall * 0.52),
        ],
        BOLD,
    )


def bird(pen: Pen, x: float, y: float, long: float) -> None:
    """A bird on a twig, seen from the side."""
    body = [(x - long * 0.5, y + long * 0.1), (x - long * 0.2, y - long * 0.15), (x + long * 0.15, y - long * 0.32),
            (x + long * 0.35, y - long * 0.2), (x + long * 0.2, y + long * 0.1), (x - long * 0.1, y + long * 0.18)]  # fmt: skip
    pen.curve(body, BOLD, fill=PAPER, closed=True)
    pen.line(
        [
            (x + long * 0.3, y - long * 0.25),
            (x + long * 0.48, y - long * 0.18),
            (x + long * 0.28, y - long * 0.14),
        ],
        FINE,
        fill=INK,
    )
    pen.spot(x + long * 0.2, y - long * 0.2, long * 0.03)
    pen.curve(
        [
            (x - long * 0.3, y + long * 0.02),
            (x - long * 0.05, y + long * 0.1),
            (x + long * 0.12, y - long * 0.05),
        ],
        FINE,
    )
    pen.line(
        [
            (x - long * 0.4, y + long * 0.06),
            (x - long * 0.62, y + long * 0.22),
            (x - long * 0.3, y + long * 0.1),
        ],
        FINE,
        fill=INK,
    )
    for at in (0.0, 0.1):
        pen.line([(x + long * at, y + long * 0.15), (x + long * at, y + long * 0.3)], FINE)
    pen.line([(x - long * 0.4, y + long * 0.3), (x + long * 0.4, y + long * 0.3)], BOLD)


def fish(pen: Pen, x: float, y: float, long: float) -> None:
    """A fish from the side."""
    body = [
        (x - long * 0.3, y),
        (x, y - long * 0.24),
        (x + long * 0.45, y - long * 0.1),
        (x + long * 0.45, y + long * 0.1),
        (x, y + long * 0.24),
    ]
    pen.curve(body, BOLD, fill=PAPER, closed=True)
    pen.line([(x - long * 0.22, y), (x - long * 0.5, y - long * 0.18), (x - long * 0.42, y), (x - long * 0.5, y + long * 0.18)],
             FINE, fill=INK, closed=True)  # fmt: skip
    pen.spot(x + long * 0.28, y - long * 0.04, long * 0.035)
    for at in (-0.05, 0.06, 0.17):
        pen.curve(
            [
                (x + long * at, y - long * 0.12),
                (x + long * (at + 0.05), y),
                (x + long * at, y + long * 0.12),
            ],
            FINE,
        )


def paisley(pen: Pen, x: float, y: float, tall: float) -> None:
    """A drop with a bent tip, and a smaller one within it."""
    for part in (1.0, 0.68, 0.36):
        half = tall / 2 * part
        drop = [
            (x + half * 0.05, y + half), (x - half * 0.62, y + half * 0.75), (x - half * 0.72, y + half * 0.1),
            (x - half * 0.35, y - half * 0.45), (x + half * 0.1, y - half * 0.95), (x + half * 0.75, y - half * 0.95),
            (x + half * 0.72, y - half * 0.62), (x + half * 0.45, y - half * 0.62), (x + half * 0.4, y - half * 0.3),
            (x + half * 0.72, y + half * 0.1), (x + half * 0.68, y + half * 0.75),
        ]  # fmt: skip
        pen.curve(drop, BOLD, fill=INK if part < 0.4 else PAPER, closed=True)


def star(pen: Pen, x: float, y: float, radius: float, fill: str = INK) -> None:
    """Five points."""
    outer, inner = around(x, y, radius, 5, -90), around(x, y, radius * 0.42, 5, -54)
    points: list[Point] = [one for pair in zip(outer, inner, strict=True) for one in pair]
    pen.line(points, FINE, fill=fill, closed=True)


def crown(pen: Pen, x: float, y: float, wide: float) -> None:
    """Five points with balls over a band."""
    high = wide * 0.6
    tips = [(x - wide / 2, y), (x - wide * 0.55, y - high), (x - wide * 0.27, y - high * 0.45), (x, y - high * 1.15),
            (x + wide * 0.27, y - high * 0.45), (x + wide * 0.55, y - high), (x + wide / 2, y)]  # fmt: skip
    pen.line(tips, BOLD, fill=PAPER, closed=True)
    pen.box(x - wide / 2, y, wide, high * 0.25, BOLD)
    for a, b in (tips[1], tips[3], tips[5]):
        pen.spot(a, b, wide * 0.06)


def laurel(pen: Pen, x: float, y: float, radius: float) -> None:
    """Two branches that rise left and right."""
    for side in (-1, 1):
        for turn in steps(20.0, 150.0, 18.0):
            at = math.radians(90 + side * turn)
            a, b = x + radius * math.cos(at), y + radius * math.sin(at)
            pen.line(
                leaf(a, b, radius * 0.34, radius * 0.13, 90 + side * turn + 60 * side),
                FINE,
                fill=INK,
                closed=True,
            )


def flag(pen: Pen, x: float, y: float, tall: float, side: int) -> None:
    """A striped flag on a slanting pole whose foot is at the place."""
    top = (x + side * tall * 0.45, y - tall)
    pen.line([(x, y), top], BOLD)
    for part in range(5):
        down = tall * 0.09
        a, b = (top[0] - side * down * part * 0.45, top[1] + down * part), tall * 0.55 * side
        low = (a[0] - side * down * 0.45, a[1] + down)
        pen.line([a, (a[0] + b, a[1] + tall * 0.05), (low[0] + b, low[1] + tall * 0.05), low], FINE,
                 fill=NONE if part % 2 else INK, closed=True)  # fmt: skip


def ring_of_letters(pen: Pen, x: float, y: float, across: float) -> None:
    """Two letters in a ring."""
    pen.spot(x, y, across / 2, fill=PAPER, width=BOLD)
    pen.spot(x, y, across * 0.42, fill=PAPER, width=FINE)
    pen.letters("AB", x, y + across * 0.16, across * 0.42, face="serif")


def scroll(pen: Pen, x: float, y: float, across: float, side: int, up: int = 1) -> None:
    """An S of two spirals."""
    points: list[Point] = []
    for turn in steps(0.0, 3.4 * math.pi, 0.3):
        radius = across * 0.25 * (0.15 + 0.85 * turn / (3.4 * math.pi))
        points.append((x + side * radius * math.cos(turn), y + up * radius * math.sin(turn)))
    points.append((x + side * across * 0.1, y - up * across * 0.55))
    points.append((x - side * across * 0.25, y - up * across * 0.75))
    pen.curve(points, BOLD)


def shield(pen: Pen, x: float, y: float, wide: float) -> None:
    """A quartered shield with a plume."""
    tall = wide * 1.2
    outline = [(x - wide / 2, y - tall / 2), (x + wide / 2, y - tall / 2), (x + wide / 2, y + tall * 0.1),
               (x + wide * 0.3, y + tall * 0.38), (x, y + tall / 2), (x - wide * 0.3, y + tall * 0.38), (x - wide / 2, y + tall * 0.1)]  # fmt: skip
    pen.line(outline, BOLD, fill=PAPER, closed=True)
    pen.box(x - wide / 2, y - tall / 2, wide / 2, tall / 2, FINE, fill=INK)
    pen.line([(x, y), (x + wide / 2, y)], FINE)
    pen.line([(x, y - tall / 2), (x, y + tall / 2)], FINE)
    star(pen, x + wide / 4, y - tall / 4, wide * 0.15)
    for lean in (-0.3, 0.0, 0.3):
        base = y - tall / 2
        pen.curve([(x, base), (x + lean * wide * 0.6, base - tall * 0.25), (x + lean * wide, base - tall * 0.45),
                   (x + lean * wide * 1.6, base - tall * 0.35)], BOLD)  # fmt: skip


def hand(pen: Pen, x: float, y: float, wide: float) -> None:
    """The outline of a flat hand, ``wide`` across the knuckles, its wrist at the place, fingers up."""
    outline = [
        (-0.3, 0.0), (-0.36, -0.35), (-0.5, -0.75), (-0.85, -1.1), (-0.95, -1.3), (-0.78, -1.34), (-0.5, -1.08), (-0.5, -1.2),
        (-0.52, -1.85), (-0.48, -1.98), (-0.32, -1.98), (-0.28, -1.85), (-0.25, -1.3),
        (-0.23, -2.0), (-0.18, -2.13), (-0.02, -2.13), (0.02, -2.0), (0.02, -1.3),
        (0.06, -1.93), (0.1, -2.04), (0.24, -2.04), (0.28, -1.92), (0.26, -1.28),
        (0.32, -1.65), (0.36, -1.74), (0.48, -1.73), (0.52, -1.62), (0.5, -1.0), (0.46, -0.6), (0.32, -0.3), (0.3, 0.0),
    ]  # fmt: skip
    pen.curve([(x + a * wide, y + b * wide) for a, b in outline], FINE, fill=PAPER)
