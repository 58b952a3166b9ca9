"""Whole pieces to scale: layouts, forms, sides and signatures, beside a hand."""

from __future__ import annotations

from collections.abc import Callable

from scarfdate.strokes import figures
from scarfdate.strokes.motifs import scene
from scarfdate.strokes.pen import BOLD, FINE, HEAVY, INK, PAPER, THIN, Pen, Sheet, steps
from scarfdate.strokes.shown import Shown

_HAND_LONG = 2.3  # times as long as wide, with its wrist
Layout = Callable[[Pen, Shown], None]


def _all_over(pen: Pen, row: Shown) -> None:
    for number, y in enumerate(steps(row.every / 2, pen.height, row.every)):
        for x in steps(0.0 if number % 2 else row.every / 2, pen.width, row.every):
            figures.flower(pen, x, y, row.every * 0.7)


def _bordered(pen: Pen, row: Shown) -> None:
    deep = min(row.other, min(pen.width, pen.height) * 0.2)
    wide, high = pen.width - 2 * deep, pen.height - 2 * deep
    pen.hatch(0, 0, pen.width, pen.height, 1.2)
    pen.box(deep, deep, wide, high, BOLD, fill=PAPER)
    pen.box(deep * 1.25, deep * 1.25, wide - deep / 2, high - deep / 2, FINE)


def _corners(pen: Pen, row: Shown) -> None:
    reach = min(row.other, min(pen.width, pen.height) * 0.35)
    for x, y, side, up in (
        (0, 0, 1, 1),
        (pen.width, 0, -1, 1),
        (0, pen.height, 1, -1),
        (pen.width, pen.height, -1, -1),
    ):
        figures.flower(pen, x + side * reach * 0.45, y + up * reach * 0.45, reach * 0.7)
        for a, b, turned in ((0.9, 0.25, 0), (0.25, 0.9, 90)):
            figures.sprig(pen, x + side * reach * a, y + up * reach * b, reach * 0.45, turned)


def _ends(pen: Pen, row: Shown) -> None:
    along = pen.width >= pen.height
    deep = min(row.every, max(pen.width, pen.height) / 4)
    for far in (False, True):
        if along:
            _end(pen.window(pen.width - deep if far else 0, 0, deep, pen.height))
        else:
            _end(pen.window(0, pen.height - deep if far else 0, pen.width, deep))


def _end(pen: Pen) -> None:
    size = min(pen.width, pen.height) * 0.62
    pen.box(0, 0, pen.width, pen.height, BOLD)
    figures.flower(pen, pen.width / 2, pen.height / 2, size)
    for x, y in ((0.15, 0.12), (0.85, 0.12), (0.15, 0.88), (0.85, 0.88)):
        figures.flower(pen, pen.width * x, pen.height * y, size / 3)


def _panels(pen: Pen, row: Shown) -> None:
    wide, high = pen.width / 3, pen.height / 3
    size = min(wide, high)
    fill: list[Callable[[Pen], None]] = [
        lambda p: figures.flower(p, wide / 2, high / 2, size * 0.8),
        lambda p: p.hatch(0, 0, wide, high, 1.4),
        lambda p: figures.house(p, wide / 2 - size * 0.25, high * 0.8, size * 0.5),
        lambda p: figures.star(p, wide / 2, high / 2, size * 0.38),
        lambda p: figures.bird(p, wide / 2, high / 2, size * 0.7),
        lambda p: figures.sprig(p, wide / 2, high / 2, size * 0.7, -40),
        lambda p: figures.fish(p, wide / 2, high / 2, size * 0.8),
        lambda p: figures.tree(p, wide / 2, high * 0.9, size * 0.85),
        lambda p: figures.paisley(p, wide / 2, high / 2, size * 0.7),
    ]
    for number, figure in enumerate(fill):
        panel = pen.window(number % 3 * wide, number // 3 * high, wide, high)
        figure(panel)
        panel.box(0, 0, wide, high, HEAVY)


def _placed_scene(pen: Pen, row: Shown) -> None:
    scene(pen)


def _blocks(pen: Pen, row: Shown) -> None:
    wide, high = pen.width, pen.height
    pen.box(0, 0, wide * 0.45, high * 0.6, BOLD, fill=INK)
    pen.hatch(wide * 0.45, 0, wide * 0.55, high * 0.35, 1.3)
    pen.box(wide * 0.45, 0, wide * 0.55, high * 0.35, BOLD)
    pen.hatch(0, high * 0.6, wide * 0.7, high * 0.4, 3.2)
    pen.box(0, high * 0.6, wide * 0.7, high * 0.4, BOLD)
    pen.box(wide * 0.7, high * 0.6, wide * 0.3, high * 0.4, BOLD, fill=INK)


def _ombre(pen: Pen, row: Shown) -> None:
    x, gap = 0.0, pen.width / 110
    while x < pen.width:
        pen.line([(x, 0), (x, pen.height)], max(0.75 - 0.7 * x / pen.width, THIN))
        x += gap
        gap *= 1.045


def _medallion(pen: Pen, row: Shown) -> None:
    across = min(row.other, min(pen.width, pen.height) * 0.6)
    x, y = pen.width / 2, pen.height / 2
    pen.spot(x, y, across / 2, fill=PAPER, width=HEAVY)
    pen.spot(x, y, across * 0.44, fill=PAPER, width=FINE)
    figures.flower(pen, x, y, across * 0.75)


LAYOUTS: dict[str, Layout] = {
    "all-over": _all_over,
    "bordered": _bordered,
    "corners": _corners,
    "ends": _ends,
    "panels": _panels,
    "placed-scene": _placed_scene,
    "colour-blocks": _blocks,
    "ombre": _ombre,
    "centre-medallion": _medallion,
}


def _whole(word: str) -> Callable[[Sheet, Shown], None]:
    def draw(sheet: Sheet, row: Shown) -> None:
        high = row.other if word == "ends" else row.size
        pen = sheet.view(row.size, high)
        LAYOUTS[word](pen, row)
        pen.box(0, 0, row.size, high, BOLD)

    return draw


def beside_hand(sheet: Sheet, width: float, height: float) -> Pen:
    """A pen for a piece of these sides (mm), with the outline of a hand beside it, as wide as the sheet says."""
    tall = max(height, _HAND_LONG * sheet.hand)
    pen = sheet.view(width, tall).window(0, tall - height, width, height)
    side = sheet.view(1.7 * sheet.hand, tall)
    figures.hand(side, sheet.hand * 1.05, tall, sheet.hand)
    return pen


def framed(pen: Pen, line: float = BOLD) -> None:
    """The edge of a piece that fills its window."""
    pen.box(0, 0, pen.width, pen.height, line)


def _form(more: Callable[[Pen, Shown], None] | None = None) -> Callable[[Sheet, Shown], None]:
    def draw(sheet: Sheet, row: Shown) -> None:
        pen = beside_hand(sheet, row.size, row.other)
        if more:
            more(pen, row)
        framed(pen)

    return draw


def _shawl(sheet: Sheet, row: Shown) -> None:
    fringe = row.every
    pen = beside_hand(sheet, row.size + 2 * fringe, row.other + 2 * fringe)
    pen.box(fringe, fringe, row.size, row.other, BOLD)
    for at in steps(fringe, row.size + fringe, fringe / 4):
        for low, high in ((0.0, fringe), (fringe + row.other, row.other + 2 * fringe)):
            pen.line([(at, low), (at, high)], FINE)
            pen.line([(low, at), (high, at)], FINE)


def _lettered(pen: Pen, row: Shown) -> None:
    pen.box(row.size * 0.04, row.size * 0.04, row.size * 0.92, row.size * 0.92, THIN)
    pen.letters("A", row.size * 0.8, row.size * 0.92, row.size * 0.25, face="serif")


def _bandanna(pen: Pen, row: Shown) -> None:
    size, deep = row.size, row.size / 6
    pen.box(0, 0, size, size, FINE, fill=INK)
    pen.box(deep, deep, size - 2 * deep, size - 2 * deep, FINE, fill=PAPER)
    for at in steps(deep / 2, size, deep):
        for x, y in ((at, deep / 2), (at, size - deep / 2), (deep / 2, at), (size - deep / 2, at)):
            pen.spot(x, y, deep * 0.22, fill=PAPER)
    figures.paisley(pen, size / 2, size / 2, size * 0.35)
    for x, y in ((0.3, 0.3), (0.7, 0.3), (0.3, 0.7), (0.7, 0.7)):
        pen.spot(size * x, size * y, deep * 0.25)


def _pocket_square(sheet: Sheet, row: Shown) -> None:
    framed(beside_hand(sheet, row.size, row.other))
    wide = row.size * 0.8
    pocket = sheet.view(wide, row.size)
    high = row.size * 0.35
    for x in (0.2, 0.4, 0.6):
        pocket.line([(wide * x, high), (wide * (x + 0.12), high * 0.35), (wide * (x + 0.26), high)], BOLD,
                    fill=PAPER, closed=True)  # fmt: skip
    pocket.line([(wide * 0.1, high), (wide * 0.9, high), (wide * 0.9, row.size * 0.85), (wide / 2, row.size * 0.97),
                 (wide * 0.1, row.size * 0.85)], BOLD, fill=PAPER, closed=True)  # fmt: skip
    pocket.line([(wide * 0.1, high * 1.25), (wide * 0.9, high * 1.25)], FINE)


def _triangle(sheet: Sheet, row: Shown) -> None:
    pen = beside_hand(sheet, row.size, row.other)
    edge = [(0, 1), (row.size, 1), (row.size / 2, row.other)]
    pen.line(edge, BOLD, closed=True)


def _sides(sheet: Sheet, row: Shown) -> None:
    framed(beside_hand(sheet, row.size, row.size))


def _slender(sheet: Sheet, row: Shown) -> None:
    for part in (1, 3, 5):
        framed(sheet.view(row.size / part, row.size, f"1 : {part}"), BOLD)


_SIGNED = "A. Name"  # no maker's
_LETTER = 0.27  # how high letters are of the length of the name
_CORNER = 300.0  # mm, the side of the corner that is shown


def _signature(sheet: Sheet, row: Shown) -> None:
    pen = sheet.view(_CORNER, _CORNER)
    far, flower = _CORNER, _CORNER * 0.32
    pen.line([(0, far * 0.86), (far * 0.86, far * 0.86), (far * 0.86, 0)], FINE)
    pen.line([(0, far * 0.82), (far * 0.82, far * 0.82), (far * 0.82, 0)], FINE)
    pen.curve([(flower, flower), (flower * 1.1, flower * 1.7), (flower * 0.9, far * 0.8)], BOLD)
    figures.flower(pen, flower, flower, flower * 1.3)
    figures.sprig(pen, flower * 1.5, flower * 1.75, flower * 0.8, -30)
    pen.line([(0, far - 1), (far - 1, far - 1), (far - 1, 0)], HEAVY)
    if row.word != "none":
        size = row.size * _LETTER
        x, y = {"small": (0.43, 0.735), "medium": (0.62, 0.79), "large": (0.55, 0.75)}[row.word]
        pen.letters(_SIGNED, far * x, far * y, size, face="cursive", long=row.size)


PIECES = {
    **{("layout", word): _whole(word) for word in LAYOUTS},
    ("form", "square"): _form(),
    ("form", "oblong"): _form(),
    ("form", "shawl"): _shawl,
    ("form", "handkerchief"): _form(_lettered),
    ("form", "bandanna"): _form(_bandanna),
    ("form", "pocket-square"): _pocket_square,
    ("form", "triangle"): _triangle,
    **{("signature", word): _signature for word in ("none", "small", "medium", "large")},
    ("long_side", "*"): _sides,
    ("slenderness", "*"): _slender,
}
