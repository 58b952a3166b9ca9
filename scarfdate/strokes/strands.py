"""Fibres under a microscope, lengthwise and cut across, and threads enlarged."""

from __future__ import annotations

import math
from collections.abc import Callable

from scarfdate.strokes.pen import BOLD, FINE, PAPER, THIN, Pen, Point, Sheet, around, steps
from scarfdate.strokes.shown import Shown

_LONG = 7.0  # how many times as long as thick a fibre is shown
_ROWS = (0.9, 2.5, 4.1)  # where fibres lie, in thicknesses
_SIDEWAYS, _ACROSS = "lengthwise", "cut across"
Marks = Callable[[Pen, float, Shown], None]
Outline = Callable[
    [float, float, float], list[Point]
]  # of a fibre cut across: its middle and its radius


def _microscope(marks: Marks, outline: Outline) -> Callable[[Sheet, Shown], None]:
    def draw(sheet: Sheet, row: Shown) -> None:
        thick = row.size
        along = sheet.view(_LONG * thick, 5 * thick, _SIDEWAYS)
        for place in _ROWS:
            marks(along, place * thick, row)
        across = sheet.view(3.2 * thick, 5 * thick, _ACROSS)
        for x, y in ((0.8, 0.9), (2.1, 1.6), (0.9, 2.5), (2.2, 3.2), (1.0, 4.1)):
            across.line(
                outline(x * thick, y * thick, thick / 2), FINE * 1.4, closed=True, fill=PAPER
            )

    return draw


def _rod(pen: Pen, y: float, row: Shown) -> None:
    _sides(pen, y, row.size)


def _sides(pen: Pen, y: float, thick: float) -> None:
    for side in (-0.5, 0.5):
        pen.line([(0, y + side * thick), (pen.width, y + side * thick)], FINE * 1.4)


def _scales(pen: Pen, y: float, row: Shown) -> None:
    half = row.size / 2
    for x in steps(-row.every, pen.width, row.every):
        nose = x + row.every * 1.25
        pen.curve([(nose - half * 0.3, y - half * 1.14), (nose + half * 0.35, y - half * 0.5),
                   (nose, y), (nose + half * 0.4, y + half * 0.5), (nose - half * 0.2, y + half * 1.14)], FINE)  # fmt: skip
        for side in (-1, 1):
            pen.line(
                [
                    (x + row.every * 0.2, y + side * half * 0.92),
                    (nose - half * 0.2, y + side * half * 1.14),
                ],
                FINE * 1.4,
            )


def _twists(pen: Pen, y: float, row: Shown) -> None:
    half, shift = row.size / 2, y * 7
    places = steps(0.0, pen.width, row.every / 16)
    edges = [
        [(x, y + side * half * (0.25 + 0.75 * abs(math.cos(math.pi * (x + shift) / row.every)))
          * (1 if math.cos(math.pi * (x + shift) / row.every) >= 0 else -1)) for x in places]
        for side in (-1, 1)
    ]  # fmt: skip
    pen.line(edges[0], FINE)
    pen.line(edges[1], BOLD)
    pen.line([(x, 0.65 * b + 0.35 * a) for (x, a), (_, b) in zip(*edges, strict=True)], THIN)


def _nodes(pen: Pen, y: float, row: Shown) -> None:
    half = row.size / 2
    for side in (-1, 1):
        bulge = [(x, y + side * half * (1 + 0.18 * math.exp(-(((x % row.every) / row.every - 0.5) * 9) ** 2)))
                 for x in steps(0.0, pen.width, row.every / 24)]  # fmt: skip
        pen.line(bulge, FINE * 1.4)
    pen.line([(0, y), (pen.width, y)], THIN)
    for x in steps(row.every / 2, pen.width, row.every):
        for lean in (-0.25, 0.25):
            pen.line([(x - lean * half, y - half), (x + lean * half, y + half)], FINE)


def _striped(pen: Pen, y: float, row: Shown) -> None:
    _sides(pen, y, row.size)
    for place in steps(row.every, row.size - row.every / 2, row.every):
        pen.line([(0, y - row.size / 2 + place), (pen.width, y - row.size / 2 + place)], THIN)


def _grooved(pen: Pen, y: float, row: Shown) -> None:
    _sides(pen, y, row.size)
    pen.line([(0, y), (pen.width, y)], BOLD, dashes="7 1")


def _two_kinds(pen: Pen, y: float, row: Shown) -> None:
    if y / row.size < 2 or y / row.size > 3:
        _scales(pen, y, row)
    else:
        for side in (-0.35, 0.35):
            _sides(pen, y + side * row.size, row.other)


def _triangle(x: float, y: float, radius: float) -> list[Point]:
    tips = around(x, y, radius * 1.1, 3, 4e3 * (x + y) % 90)
    return _rounded(tips)


def _rounded(tips: list[Point]) -> list[Point]:
    """Corners cut twice (Chaikin): a rounded outline."""
    for _ in range(2):
        cut: list[Point] = []
        for (a, b), (c, d) in zip(tips, [*tips[1:], tips[0]], strict=True):
            cut += [
                (0.75 * a + 0.25 * c, 0.75 * b + 0.25 * d),
                (0.25 * a + 0.75 * c, 0.25 * b + 0.75 * d),
            ]
        tips = cut
    return tips


def _round(x: float, y: float, radius: float) -> list[Point]:
    return around(x, y, radius, 36)


def _two_sizes(x: float, y: float, radius: float) -> list[Point]:
    return _round(x, y, radius * (0.55 if x > 3 * radius else 1.0))


def _many_sided(x: float, y: float, radius: float) -> list[Point]:
    return around(x, y, radius, 6, 20)


def _lobed(count: int, deep: float) -> Outline:
    def outline(x: float, y: float, radius: float) -> list[Point]:
        found = []
        for turn in steps(0.0, math.tau, math.tau / 90):
            now = radius * (1 + deep * math.cos(count * turn))
            found.append((x + now * math.cos(turn), y + now * math.sin(turn)))
        return found

    return outline


def _bean(x: float, y: float, radius: float) -> list[Point]:
    """Flat and bent, as a twisted ribbon is."""
    return [
        (
            x + radius * 1.15 * math.cos(turn),
            y + radius * (0.42 * math.sin(turn) + 0.4 * math.cos(turn) ** 2 - 0.2),
        )
        for turn in steps(0.0, math.tau, math.tau / 48)
    ]


def _bone(x: float, y: float, radius: float) -> list[Point]:
    return [
        (
            x + radius * 1.15 * math.cos(turn),
            y + radius * (0.48 + 0.3 * math.cos(2 * turn)) * math.sin(turn) * 1.25,
        )
        for turn in steps(0.0, math.tau, math.tau / 60)
    ]


def cotton(sheet: Sheet, row: Shown) -> None:
    """Twisted ribbons; cut across, bent beans."""
    _microscope(_twists, _bean)(sheet, row)


def metal(sheet: Sheet, row: Shown) -> None:
    """A strip wound around a core."""
    pen = sheet.view(1.1, 0.5)
    top, bottom = 0.25 - row.size / 2, 0.25 + row.size / 2
    for y in (0.25 - row.size * 0.3, 0.25, 0.25 + row.size * 0.3):
        pen.line([(0, y), (pen.width, y)], THIN)
    for x in steps(-row.every, pen.width, row.every):
        wide, lean = row.every * 0.68, row.every * 0.35
        pen.line(
            [(x, bottom), (x + lean, top), (x + lean + wide, top), (x + wide, bottom)],
            BOLD,
            fill=PAPER,
            closed=True,
        )
        pen.line([(x + wide * 0.3, bottom), (x + wide * 0.3 + lean, top)], FINE)
        pen.line([(x + wide * 0.42, bottom), (x + wide * 0.42 + lean, top)], THIN)


def _twisted(plies: int, *, hairs: int, long: float, fine: int) -> Callable[[Sheet, Shown], None]:
    """A thread of that many plies, with hairs of a length (in thicknesses) and so many filaments to be seen."""

    def draw(sheet: Sheet, row: Shown) -> None:
        pen = sheet.view(2.2, 0.9)
        half, chance, middle = row.size / 2, pen.chance, pen.height / 2
        for _ in range(hairs):
            x, side = chance.uniform(0, pen.width), chance.choice((-1, 1))
            reach, lean = chance.uniform(0.4, 1) * long * row.size, chance.uniform(-1, 1) * row.size
            pen.curve([(x, middle + side * half * 0.8), (x + lean * 0.2, middle + side * (half + reach * 0.6)),
                       (x + lean, middle + side * (half + reach))], THIN * 1.3)  # fmt: skip
        step = row.every / plies
        for x in steps(-row.every, pen.width + row.every, step):
            ply = [(x - half * 0.9, middle + half), (x - half * 0.1, middle + half * 0.75),
                   (x + half * 0.5, middle), (x + half * 1.1, middle - half * 0.75), (x + half * 1.9, middle - half)]  # fmt: skip
            shifted = [(a + step, b) for a, b in reversed(ply)]
            pen.curve([*ply, *shifted], FINE * 1.4, fill=PAPER, closed=True)
            for number in range(1, fine + 1):
                part = step * number / (fine + 1)
                pen.curve([(a + part, b * 0.8 + middle * 0.2) for a, b in ply], THIN)
        if not hairs:
            pen.line(
                [(0, middle - half * 0.35), (pen.width, middle - half * 0.35)], BOLD * 2, ink=PAPER
            )

    return draw


def monofilament(sheet: Sheet, row: Shown) -> None:
    """One clear rod that springs out in a bow."""
    pen = sheet.view(2.2, 0.9)
    bow = [(x, 0.65 - 0.45 * math.sin(math.pi * (x - 0.4) / 1.4) if 0.4 < x < 1.8 else 0.65)
           for x in steps(0.0, pen.width, 0.04)]  # fmt: skip
    pen.thread(bow, row.size)
    pen.line([(x, y - row.size * 0.15) for x, y in bow], THIN)


STRANDS = {
    ("fibre", "silk"): _microscope(_rod, _triangle),
    ("fibre", "wool"): _microscope(_scales, _round),
    ("fibre", "cotton"): cotton,
    ("fibre", "linen"): _microscope(_nodes, _many_sided),
    ("fibre", "rayon"): _microscope(_striped, _lobed(13, 0.12)),
    ("fibre", "acetate"): _microscope(_striped, _lobed(4, 0.22)),
    ("fibre", "nylon"): _microscope(_rod, _round),
    ("fibre", "acrylic"): _microscope(_grooved, _bone),
    ("fibre", "metal-thread"): metal,
    ("fibre", "blend"): _microscope(_two_kinds, _two_sizes),
    ("hem_thread", "silk"): _twisted(2, hairs=0, long=0, fine=4),
    ("hem_thread", "cotton"): _twisted(2, hairs=110, long=0.7, fine=2),
    ("hem_thread", "polyester"): _twisted(3, hairs=12, long=0.5, fine=0),
    ("hem_thread", "monofilament"): monofilament,
}
