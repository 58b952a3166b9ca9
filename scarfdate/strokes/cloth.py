"""Cloth enlarged: how its threads cross, loop or lie."""

from __future__ import annotations

import math
from collections.abc import Callable

from scarfdate.strokes.pen import BOLD, FINE, INK, PAPER, THIN, Pen, Point, Sheet, around, steps
from scarfdate.strokes.shown import Shown

_ACROSS, _DOWN = 12, 9  # threads in a view
Over = Callable[
    [int, int], bool
]  # of a thread from top to bottom and one from side to side: the first lies above


def crossings(
    pen: Pen, over: Over, thick: float, every: float, *, uneven: float = 0.0, full: bool = True
) -> None:
    """Threads from side to side (black where ``full``), and white ones from top to bottom above and below them."""
    across, down = int(pen.width / every + 0.5), int(pen.height / every + 0.5)
    places: list[list[Point]] = [
        [
            ((i + 0.5 + pen.chance.uniform(-uneven, uneven)) * every,
             (j + 0.5 + pen.chance.uniform(-uneven, uneven)) * every)
            for j in range(down)
        ]
        for i in range(across)
    ]  # fmt: skip
    for column in places:
        pen.thread([(column[0][0], 0), *column, (column[-1][0], pen.height)], thick)
    for j in range(down):
        along = [column[j] for column in places]
        pen.thread([(0, along[0][1]), *along, (pen.width, along[-1][1])], thick, full=full)
    for i, column in enumerate(places):
        for j, here in enumerate(column):
            if over(i, j):
                above = _between(column[j - 1], here) if j else (here[0], 0)
                below = _between(here, column[j + 1]) if j + 1 < down else (here[0], pen.height)
                pen.thread([above, here, below], thick)


def _between(one: Point, other: Point) -> Point:
    return ((one[0] + other[0]) / 2, (one[1] + other[1]) / 2)


def in_plain(i: int, j: int) -> bool:
    """One over, one under."""
    return (i + j) % 2 == 0


def in_twill(i: int, j: int) -> bool:
    """Two over, two under, each row one further on."""
    return (i + j) % 4 < 2


def in_satin(i: int, j: int) -> bool:
    """Four over, one under, the dips two apart."""
    return (j - 2 * i) % 5 != 0


def _woven(
    over: Over, across: int = _ACROSS, down: int = _DOWN, *, uneven: float = 0.0, full: bool = True
) -> Callable[[Sheet, Shown], None]:
    def draw(sheet: Sheet, row: Shown) -> None:
        pen = sheet.view(across * row.every, down * row.every)
        crossings(pen, over, row.size, row.every, uneven=uneven, full=full)

    return draw


def _in_figure(i: int, j: int) -> bool:
    """A lozenge that floats above on a ground that floats below, as in a damask."""
    inside = abs(i - 11.5) / 10 + abs(j - 8.5) / 7.5 < 1
    return in_satin(i, j) == inside


def knit(sheet: Sheet, row: Shown) -> None:
    """The face of a jersey: columns of loops, each coming out of the one below."""
    wide, high = row.every, row.every * 0.8
    pen = sheet.view(8 * wide, 8 * high)
    for j in range(-1, 9):
        for i in range(8):
            x, y = (i + 0.5) * wide, (j + 0.5) * high
            for side in (-1, 1):
                pen.oval(
                    x + side * wide * 0.22,
                    y,
                    wide * 0.2,
                    high * 0.72,
                    turned=side * 24,
                    fill=PAPER,
                    width=FINE,
                )


def gauze(sheet: Sheet, row: Shown) -> None:
    """Pairs of threads that twist between the cross threads."""
    every = row.every
    pen = sheet.view(8 * every, 6 * every)
    for y in steps(every / 2, pen.height, every):
        pen.thread([(0, y), (pen.width, y)], row.size, full=True)
    for x in steps(every / 2, pen.width, every):
        for side in (1, -1):
            twist = [(x + side * row.size * 1.1 * math.cos(math.pi * y / every - math.pi / 2), y)
                     for y in steps(0.0, pen.height, every / 12)]  # fmt: skip
            pen.thread(twist, row.size)


def net(sheet: Sheet, row: Shown) -> None:
    """Six-sided holes."""
    radius = row.every / math.sqrt(3)
    pen = sheet.view(4.5 * row.every, 6 * radius)
    for j in range(-1, 5):
        for i in range(-1, 6):
            x = (i + (0.5 if j % 2 else 0.0)) * row.every
            hole = around(x, j * 1.5 * radius, radius, 6, 30)
            pen.line(hole, row.size * pen.times * 2, closed=True)
            pen.line(hole, row.size * pen.times, ink=PAPER, closed=True)
            pen.line(hole, row.size * pen.times, closed=True, dashes="0.3 0.7")


def devore(sheet: Sheet, row: Shown) -> None:
    """Fine ground everywhere; thick threads left standing in one part."""
    every = row.every
    pen = sheet.view(22 * every, 16 * every)
    crossings(pen, in_plain, row.other, every)
    for i in range(22):
        for j in range(16):
            if i < 10.5 + 4 * math.sin(j / 3.2):
                x, y = i * every, j * every
                fill = INK if in_plain(i, j) else PAPER
                pen.box(x + (every - row.size) / 2, y, row.size, every, FINE, fill=fill)


def felt(sheet: Sheet, row: Shown) -> None:
    """Fibres in every direction."""
    pen = sheet.view(5, 3.6)
    chance = pen.chance
    for _ in range(150):
        x, y, turn = chance.uniform(0, 5), chance.uniform(0, 3.6), chance.uniform(0, math.pi)
        long = chance.uniform(0.5, 1.4)
        bend = [
            (
                x + part * long * math.cos(turn + part * 0.4),
                y + part * long * math.sin(turn + part * 0.4),
            )
            for part in (-0.5, -0.2, 0.1, 0.5)
        ]
        pen.curve(bend, chance.choice((THIN, FINE, BOLD)))


WEAVES = {
    ("weave", "plain"): _woven(in_plain),
    ("weave", "twill"): _woven(in_twill),
    ("weave", "satin"): _woven(in_satin),
    ("weave", "crepe"): _woven(in_plain, uneven=0.2),
    ("weave", "chiffon"): _woven(in_plain, full=False, uneven=0.05),
    ("weave", "jacquard"): _woven(_in_figure, 24, 18),
    ("weave", "knit"): knit,
    ("weave", "gauze"): gauze,
    ("weave", "lace-net"): net,
    ("weave", "devore"): devore,
    ("weave", "other"): felt,
}
