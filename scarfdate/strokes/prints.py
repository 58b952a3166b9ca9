"""How a pattern was put on the cloth: the edge and the inside of one leaf, enlarged."""

from __future__ import annotations

import math

from scarfdate.strokes.cloth import crossings, in_plain
from scarfdate.strokes.pen import BOLD, FINE, HEAVY, INK, PAPER, THIN, Pen, Point, Sheet, steps
from scarfdate.strokes.shown import Shown


def leaf(x: float, y: float, long: float, broad: float, turned: float = -35.0) -> list[Point]:
    """The outline of a pointed leaf around its middle."""
    turn = math.radians(turned)
    upper = [(t, broad / 2 * math.sin(math.pi * (t / long + 0.5)) ** 0.9 if abs(t) < long / 2 else 0.0)
             for t in steps(-long / 2, long / 2, long / 20)]  # fmt: skip
    outline = [*upper, *((t, -w) for t, w in reversed(upper))]
    return [(x + t * math.cos(turn) - w * math.sin(turn), y + t * math.sin(turn) + w * math.cos(turn))
            for t, w in outline]  # fmt: skip


def _within(x: float, y: float, size: float) -> float:
    """How deep a place lies in the leaf of a view: 1 in the middle, 0 at the edge, less outside."""
    turn = math.radians(-35)
    dx, dy = x - size / 2, y - size / 2
    along = dx * math.cos(turn) + dy * math.sin(turn)
    aside = -dx * math.sin(turn) + dy * math.cos(turn)
    half = size * 0.45
    if abs(along) >= half:
        return -1.0
    return max(-1.0, 1 - abs(aside) / (size * 0.29 * math.cos(math.pi * along / (2 * half))))


def _leaf(size: float, grow: float = 1.0) -> list[Point]:
    return leaf(size / 2, size / 2, size * 0.9 * grow, size * 0.58 * grow)


def block(sheet: Sheet, row: Shown) -> None:
    """Two impressions with a misfit; a squeezed rim, an uneven inside."""
    size = row.size
    pen = sheet.view(size, size)
    chance = pen.chance
    for x, y, turned in ((size * 0.36, size * 0.42, -52.0), (size * 0.66, size * 0.6, -40.0)):
        shape = leaf(x, y, size * 0.75, size * 0.36, turned)
        pen.line(shape, HEAVY, fill=INK, closed=True)
        inner = leaf(x, y, size * 0.67, size * 0.3, turned)
        pen.line(inner, FINE, ink=PAPER, closed=True)
        turn = math.radians(turned)
        for _ in range(130):
            t = chance.uniform(-0.28, 0.28) * size
            w = chance.uniform(-1, 1) * size * 0.12 * math.cos(math.pi * t / (size * 0.66))
            pen.spot(x + t * math.cos(turn) - w * math.sin(turn), y + t * math.sin(turn) + w * math.cos(turn),
                     chance.uniform(0.15, 0.5), fill=PAPER)  # fmt: skip


def engraved(sheet: Sheet, row: Shown) -> None:
    """Fine engraved lines that swell, and stipple."""
    size = row.size
    pen = sheet.view(size, size)
    for y in steps(0.0, size, row.every):
        for x in steps(0.0, size, row.every / 4):
            deep = _within(x, y, size)
            if deep > 0 and x < size * 0.62:
                pen.line([(x, y), (x + row.every / 4, y)], THIN + 0.9 * deep, caps="butt")
            elif deep > 0 and round(x / (row.every / 4)) % 4 == 0:
                pen.spot(x, y, row.every * (0.06 + 0.34 * deep))
    pen.line(_leaf(size), BOLD, closed=True)
    pen.line([(size * 0.13, size * 0.76), (size * 0.87, size * 0.24)], FINE)


def hand_screen(sheet: Sheet, row: Shown) -> None:
    """Flat areas of two screens that overlap on one side and gape on the other."""
    size, off = row.size, row.every
    pen = sheet.view(size, size)
    pen.hatch(0, 0, size, size, 1.2)
    pen.line(_leaf(size), 0, fill=PAPER, closed=True)
    moved = [(x + off * 0.75, y + off * 0.75) for x, y in _leaf(size, 0.97)]
    pen.line(moved, 0, fill=INK, closed=True)


def machine_screen(sheet: Sheet, row: Shown) -> None:
    """Even dots in straight rows, and a staircase of the mesh."""
    size, every = row.size, row.every
    pen = sheet.view(size, size)
    for y in steps(0.0, size - every, every):
        for x in steps(0.0, size - every, every):
            deep = _within(x + every / 2, y + every / 2, size)
            if deep > 0 and x + y < size * 1.05:
                pen.box(x, y, every * 1.02, every * 1.02, 0, fill=INK)
            elif deep > 0:
                pen.spot(x + every / 2, y + every / 2, every * 0.3)


def stencil(sheet: Sheet, row: Shown) -> None:
    """Brushed through a cut sheet whose parts hold together by bridges."""
    size = row.size
    pen = sheet.view(size, size)
    chance = pen.chance
    for _ in range(4200):
        x, y = chance.uniform(0, size), chance.uniform(0, size)
        deep = _within(x, y, size)
        if deep > 0 and chance.random() < (1.2 - deep) ** 1.5:
            pen.line([(x, y), (x + chance.uniform(0.4, 1.2), y - chance.uniform(0.2, 0.8))], FINE)
    pen.line(_leaf(size), BOLD, closed=True)
    broad = row.every * 0.35 * pen.times
    for part in (0.3, 0.66):
        x, y = size * (0.13 + 0.74 * part), size * (0.76 - 0.52 * part)
        pen.line(
            [(x - size * 0.2, y - size * 0.29), (x + size * 0.2, y + size * 0.29)], broad, ink=PAPER
        )


def _screened(pen: Pen, size: float, every: float, strength: float) -> None:
    """A leaf in slanting rows of dots that grow smaller towards its edge."""
    turn = math.radians(30)
    count = int(size / every)
    for i in range(-count, count + 1):
        for j in range(-count, count + 1):
            x = size / 2 + (i * math.cos(turn) - j * math.sin(turn)) * every
            y = size / 2 + (i * math.sin(turn) + j * math.cos(turn)) * every
            deep = _within(x, y, size)
            if deep > 0 and 0 <= x <= size and 0 <= y <= size:
                pen.spot(x, y, every * (0.1 + 0.42 * deep) * strength)


def transfer(sheet: Sheet, row: Shown) -> None:
    """A printer's screen on the face, hardly anything on the back."""
    size = row.size
    _screened(sheet.view(size, size, "face"), size, row.every, 1)
    back = sheet.view(size, size, "back")
    _screened(back, size, row.every, 0.22)


def digital(sheet: Sheet, row: Shown) -> None:
    """Specks strewn at random, denser where the tone is deeper."""
    size = row.size
    pen = sheet.view(size, size)
    chance = pen.chance
    for _ in range(int((size / row.every) ** 2 * 2.6)):
        x, y = chance.uniform(0, size), chance.uniform(0, size)
        deep = _within(x, y, size)
        if chance.random() < 1 / (1 + math.exp(-6 * (deep - 0.35))):
            pen.spot(x, y, row.every * 0.3)


def painted(sheet: Sheet, row: Shown) -> None:
    """Strokes of a brush that start full and split into the marks of its hairs."""
    size, broad = row.size, row.every
    pen = sheet.view(size, size)
    chance = pen.chance
    strokes = (
        ((0.12, 0.88), (0.4, 0.6), (0.92, 0.12), 0.8), ((0.28, 0.7), (0.2, 0.4), (0.34, 0.1), 0.7),
        ((0.42, 0.58), (0.68, 0.72), (0.95, 0.62), 0.75), ((0.5, 0.5), (0.48, 0.28), (0.64, 0.06), 0.55),
    )  # fmt: skip
    for (a, b), (c, d), (e, f), part in strokes:
        away = math.hypot(e - a, f - b)
        across, down = -(f - b) / away, (e - a) / away
        for hair in steps(-0.5, 0.5, 0.055):
            shift, end = hair * broad * part, chance.uniform(0.72, 1.0)
            path = []
            for t in steps(0.0, end, 0.05):
                spread = shift * (0.35 + 0.65 * math.sin(math.pi * min(t * 0.8 + 0.12, 0.62)))
                x = (1 - t) ** 2 * a + 2 * t * (1 - t) * c + t * t * e
                y = (1 - t) ** 2 * b + 2 * t * (1 - t) * d + t * t * f
                path.append((x * size + across * spread, y * size + down * spread))
            full = int(len(path) * chance.uniform(0.35, 0.6))
            pen.curve(path[:full], HEAVY)
            pen.curve(path[full - 1 :], chance.choice((THIN, FINE, BOLD)))


def resist(sheet: Sheet, row: Shown) -> None:
    """Dyed around a figure that was kept white, with cracks."""
    size = row.size
    pen = sheet.view(size, size)
    chance = pen.chance
    pen.box(0, 0, size, size, 0, fill=INK)
    soft = [
        (x + chance.uniform(-0.7, 0.7), y + chance.uniform(-0.7, 0.7)) for x, y in _leaf(size)[::2]
    ]
    pen.curve(soft, 0, fill=PAPER, closed=True)
    for start in steps(-size * 0.3, size * 1.1, row.every * 0.7):
        for lean in (0.9, -0.5):
            crack, x, y = [(start, 0.0)], start, 0.0
            while y < size:
                x += lean * 2 + chance.uniform(-1.6, 1.6)
                y += chance.uniform(1.2, 2.8)
                crack.append((x, y))
            pen.line(crack, chance.choice((THIN, FINE, BOLD)))


def embroidered(sheet: Sheet, row: Shown) -> None:
    """Threads laid side by side from the middle to either edge, with the cloth around."""
    size = row.size
    pen = sheet.view(size, size)
    for place in steps(0.0, size, row.every):
        pen.line([(place, 0), (place, size)], THIN / 2)
        pen.line([(0, place), (size, place)], THIN / 2)
    turn, half = math.radians(-35), size * 0.44
    along, down = math.cos(turn), math.sin(turn)
    for t in steps(-half, half, row.every * 0.9):
        wide = size * 0.29 * math.cos(math.pi * t / (2 * half)) + row.every / 2
        start = (size / 2 + t * along, size / 2 + t * down)
        for side in (-1, 1):
            end = (start[0] - side * wide * down, start[1] + side * wide * along)
            pen.thread([start, end], row.every)
    pen.line(
        [
            (size / 2 - half * along, size / 2 - half * down),
            (size / 2 + half * along, size / 2 + half * down),
        ],
        BOLD,
    )


def woven_pattern(sheet: Sheet, row: Shown) -> None:
    """Threads of the cloth itself that float where the figure is."""
    size, every = row.size, row.every
    pen = sheet.view(size, size)

    def over(i: int, j: int) -> bool:
        inside = _within((i + 0.5) * every, (j + 0.5) * every, size) > 0
        return (j - 2 * i) % 5 == 0 if inside else (i + j) % 2 == 0 or (i + 2 * j) % 5 != 0

    crossings(pen, over, every * 0.85, every)


def no_pattern(sheet: Sheet, row: Shown) -> None:
    """The cloth alone."""
    pen = sheet.view(row.size, row.size)
    crossings(pen, in_plain, row.every * 0.8, row.every, full=False)


PRINTS = {
    ("print_technique", "block"): block,
    ("print_technique", "engraved-roller"): engraved,
    ("print_technique", "hand-screen"): hand_screen,
    ("print_technique", "machine-screen"): machine_screen,
    ("print_technique", "stencil"): stencil,
    ("print_technique", "transfer"): transfer,
    ("print_technique", "digital"): digital,
    ("print_technique", "hand-painted"): painted,
    ("print_technique", "resist"): resist,
    ("print_technique", "embroidered"): embroidered,
    ("print_technique", "woven-pattern"): woven_pattern,
    ("print_technique", "none"): no_pattern,
}
