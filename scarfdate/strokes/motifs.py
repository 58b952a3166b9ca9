"""What a pattern shows, on a square cut from the piece."""

from __future__ import annotations

import math
from collections.abc import Callable

from scarfdate.strokes import figures
from scarfdate.strokes.pen import BOLD, FINE, HEAVY, INK, PAPER, Pen, Sheet, around, steps
from scarfdate.strokes.prints import leaf
from scarfdate.strokes.shown import Shown

_CUT = 300.0  # mm, the side of the square that is cut out
Motif = Callable[[Pen, Shown], None]


def _scattered(figure: Callable[[Pen, float, float, float], None]) -> Motif:
    def draw(pen: Pen, row: Shown) -> None:
        for number, y in enumerate(steps(row.every / 2, pen.height, row.every)):
            for x in steps(0.0 if number % 2 else row.every / 2, pen.width, row.every):
                figure(pen, x, y, row.size)

    return draw


def _large_flower(pen: Pen, row: Shown) -> None:
    x, y, size = 150.0, 140.0, row.size
    for turned, where in ((20.0, (240, 235)), (150.0, (60, 240)), (-60.0, (255, 45))):
        figures.sprig(pen, *where, size * 0.6, turned)
    pen.curve([(150, 150), (140, 220), (165, 300)], HEAVY)
    for radius, count, turned in ((0.36, 8, 0), (0.24, 6, 20), (0.12, 5, 10)):
        for a, b in around(x, y, size * radius, count, turned):
            pen.spot(a, b, size * 0.15, fill=PAPER, width=BOLD)
    pen.spot(x, y, size * 0.09)


def _leaves(pen: Pen, row: Shown) -> None:
    for x, y, turned in (
        (70, 70, -40),
        (200, 60, 20),
        (60, 215, 50),
        (235, 165, -70),
        (150, 150, -15),
    ):
        figures.sprig(pen, x, y, row.size, turned)
    figures.fern(pen, 130, 295, row.size)
    figures.fern(pen, 235, 298, row.size * 0.75)


def _geometric(pen: Pen, row: Shown) -> None:
    every = row.every
    for j, y in enumerate(steps(0.0, 299, every)):
        for i, x in enumerate(steps(0.0, 299, every)):
            kind = (i + 2 * j) % 4
            if kind == 0:
                pen.box(x, y, every, every, FINE, fill=INK)
            elif kind == 1:
                pen.line(
                    [(x, y + every), (x + every / 2, y), (x + every, y + every)],
                    FINE,
                    fill=INK,
                    closed=True,
                )
            elif kind == 2:
                pen.spot(x + every / 2, y + every / 2, every * 0.36, fill=PAPER, width=HEAVY)
            else:
                pen.line([(x, y + every * 0.7), (x + every / 4, y + every * 0.3), (x + every / 2, y + every * 0.7),
                          (x + every * 0.75, y + every * 0.3), (x + every, y + every * 0.7)], HEAVY)  # fmt: skip


def _abstract(pen: Pen, row: Shown) -> None:
    pen.curve([(20, 60), (90, 20), (150, 90), (230, 40), (290, 100)], HEAVY * 4)
    pen.curve([(30, 280), (60, 180), (140, 220), (120, 130), (220, 150)], HEAVY * 2.5)
    pen.curve([(200, 290), (260, 260), (230, 200), (290, 180)], HEAVY)
    for x, y, size in ((80, 120, 24), (250, 130, 14), (190, 240, 30), (40, 30, 10)):
        blot = [(a + size * 0.3 * math.sin(a), b) for a, b in around(x, y, size, 7)]
        pen.curve(blot, FINE, fill=INK, closed=True)
    for left in steps(95, 175, 10):
        pen.line([(left, 262), (left + 24, 292)], BOLD)


def _stripes(pen: Pen, row: Shown) -> None:
    every = row.every
    for start in steps(-every / 4, 300, every * 1.25):
        for turned in (False, True):
            if turned:
                pen.hatch(0, start, 300, every / 2, 1.0)
            else:
                pen.hatch(start, 0, every / 2, 300, 1.0)
        for at in (start + every * 0.8, start + every * 0.95):
            pen.line([(at, 0), (at, 300)], BOLD)
            pen.line([(0, at), (300, at)], BOLD)
    for x in steps(-every / 4, 300, every * 1.25):
        for y in steps(-every / 4, 300, every * 1.25):
            pen.box(x, y, every / 2, every / 2, 0, fill=INK)


def _scene(pen: Pen, row: Shown) -> None:
    scene(pen)


def scene(pen: Pen) -> None:
    """A house, a tree, hills, the sun and a person over the whole window."""
    size, low = min(pen.width, pen.height), pen.height
    wide = pen.width
    figures.hills(pen, low * 0.5, size * 0.2)
    pen.line([(0, low * 0.8), (wide, low * 0.8)], FINE)
    pen.spot(wide * 0.8, low * 0.18, size * 0.08, fill=PAPER, width=BOLD)
    figures.house(pen, wide * 0.12, low * 0.8, size * 0.32)
    figures.tree(pen, wide * 0.62, low * 0.82, size * 0.45)
    figures.person(pen, wide * 0.83, low * 0.93, size * 0.3)


def _animals(pen: Pen, row: Shown) -> None:
    for number, y in enumerate(steps(row.every / 2, 300, row.every)):
        for place, x in enumerate(steps(row.every / 2 + 15, 300, row.every * 1.2)):
            (figures.bird if (number + place) % 2 == 0 else figures.fish)(pen, x, y, row.size * 0.8)


def _objects(pen: Pen, row: Shown) -> None:
    for number, x in enumerate(steps(22, 300, 26)):
        pen.oval(
            x,
            40,
            18 if number % 2 == 0 else 16,
            11 if number % 2 == 0 else 5,
            fill="none",
            width=BOLD,
        )
    pen.spot(55, 130, 24, fill=PAPER, width=HEAVY)  # a key
    pen.line([(79, 130), (150, 130), (150, 152)], HEAVY)
    pen.line([(134, 130), (134, 146)], HEAVY)
    pen.line([(190, 150), (205, 105), (250, 105), (265, 150)], BOLD, fill=INK, closed=True)  # a hat
    pen.oval(227, 152, 62, 10, fill=PAPER, width=BOLD)
    shoe = [(x, y) for x, y in around(85, 230, 42, 24, 115)[:22]]  # a horseshoe
    pen.line(shoe, HEAVY * 3)
    pen.line(shoe, FINE, ink=PAPER, dashes="0.6 3")
    pen.oval(225, 240, 32, 30, fill=PAPER, width=BOLD)  # an apple
    pen.curve([(225, 214), (228, 200), (238, 192)], BOLD)
    pen.line(leaf(250, 200, 34, 14, -20), FINE, fill=INK, closed=True)


def _map(pen: Pen, row: Shown) -> None:
    coast = [
        (0, 90),
        (50, 70),
        (80, 110),
        (130, 95),
        (150, 150),
        (200, 160),
        (210, 220),
        (180, 250),
        (190, 300),
    ]
    pen.curve([*coast, (0, 300)], FINE, fill=PAPER)
    for shift in (7, 14):
        pen.curve([(x + shift, y - shift) for x, y in coast], FINE)
    pen.line([(35, 130), (80, 170), (120, 180), (150, 240), (60, 270)], BOLD, dashes="1 1.4")
    for x, y, name, off in ((35, 130, "PORT", -8), (120, 180, "CITY", -8), (60, 270, "BAY", 23)):
        pen.spot(x, y, 6)
        pen.letters(name, x + 34, y + off, 20)
    east, north = 245.0, 60.0
    figures.star(pen, east, north, 30, PAPER)
    pen.letters("N", east, north - 34, 22)
    pen.line([(215, 240), (285, 240), (270, 262), (230, 262)], BOLD, fill=INK, closed=True)
    pen.line([(250, 238), (250, 180), (282, 230), (250, 230)], BOLD, fill=PAPER)


def _commemorative(pen: Pen, row: Shown) -> None:
    figures.laurel(pen, 150, 150, 112)
    figures.crown(pen, 150, 128, 90)
    pen.letters("1 9 . .", 150, 210, 50, face="serif")


def _patriotic(pen: Pen, row: Shown) -> None:
    for side in (-1, 1):
        figures.flag(pen, 150 - side * 40, 235, 190, side)
    for x in steps(30, 280, 48):
        figures.star(pen, x, 268, 17)


def _lettering(pen: Pen, row: Shown) -> None:
    for y, text, size in (
        (52, "WORDS and", 44),
        (112, "LETTERS", 58),
        (166, "abc xyz &", 48),
        (232, "HELLO", 72),
        (284, "to you A B C", 38),
    ):
        pen.letters(text, 150, y, size, face="serif" if size < 50 else "sans-serif")


def _historic(pen: Pen, row: Shown) -> None:
    figures.shield(pen, 150, 160, 92)
    for side in (-1, 1):
        figures.scroll(pen, 150 + side * 92, 205, 130, side)
        figures.scroll(pen, 150 + side * 92, 95, 130, side, -1)
    pen.curve([(60, 285), (110, 262), (150, 280), (190, 262), (240, 285)], BOLD)


def _psychedelic(pen: Pen, row: Shown) -> None:
    for ring in steps(row.every, 360, row.every):
        wobble = [
            (150 + (ring + 0.2 * ring * math.sin(3 * turn + ring / 45)) * math.cos(turn) + 22 * math.sin(2 * turn),
             140 + (ring + 0.22 * ring * math.cos(2 * turn - ring / 60)) * math.sin(turn))
            for turn in steps(0.0, math.tau - 0.05, math.tau / 60)
        ]  # fmt: skip
        pen.curve(wobble, HEAVY * 1.7, closed=True)


def _nothing(pen: Pen, row: Shown) -> None:
    """Only the cloth."""


def _spot(pen: Pen, x: float, y: float, size: float) -> None:
    pen.spot(x, y, size / 2)


MOTIFS: dict[str, Motif] = {
    "floral-small": _scattered(figures.flower),
    "floral-large": _large_flower,
    "leaves": _leaves,
    "geometric": _geometric,
    "abstract": _abstract,
    "dots": _scattered(_spot),
    "stripes-checks": _stripes,
    "paisley": _scattered(figures.paisley),
    "figures-scene": _scene,
    "animals": _animals,
    "objects": _objects,
    "souvenir-map": _map,
    "commemorative": _commemorative,
    "patriotic": _patriotic,
    "lettering": _lettering,
    "emblem-monogram": _scattered(figures.ring_of_letters),
    "historic": _historic,
    "psychedelic": _psychedelic,
    "plain": _nothing,
}


def _on_a_square(motif: Motif) -> Callable[[Sheet, Shown], None]:
    def draw(sheet: Sheet, row: Shown) -> None:
        pen = sheet.view(_CUT, _CUT)
        motif(pen, row)
        pen.box(0, 0, _CUT, _CUT, BOLD)

    return draw


MOTIF_DRAWINGS = {("motif", word): _on_a_square(motif) for word, motif in MOTIFS.items()}
