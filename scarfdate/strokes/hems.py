"""Edges of a piece, from the face and in section; the edge is below, the front to the left of the section."""

from __future__ import annotations

import math

from scarfdate.strokes.pen import (
    BOLD,
    FINE,
    HEAVY,
    INK,
    PAPER,
    THIN,
    Pen,
    Point,
    Sheet,
    steps,
)
from scarfdate.strokes.shown import Shown
from scarfdate.words.lengths import CM_PER_INCH

INCH = 10 * CM_PER_INCH
_ABOVE = 7.0  # cloth that is shown above what happens at the edge, mm
_BELOW = 2.0
_SIDE = 8.0  # width of a section, mm
_LAYER = (
    0.45  # between layers in a section: more than cloth is thick, so that they can be told apart
)
_FACE, _SECTION = "from the face", "section, front left"
STITCH = "stitch"


def _views(sheet: Sheet, deep: float, wide: float = INCH) -> tuple[Pen, Pen, float]:
    """Face and section with cloth above what is ``deep``, and where the edge lies."""
    edge = _ABOVE + deep
    face = sheet.view(wide, edge + _BELOW, _FACE)
    return face, sheet.view(_SIDE, edge + _BELOW, _SECTION), edge


def _cloth(face: Pen, bottom: float) -> None:
    """Cloth down to a height: a faint grid of dots."""
    for y in steps(0.3, bottom - 0.2, 0.7):
        face.line([(0.3, y), (face.width, y)], THIN, dashes="0.01 2.1")


def _row(face: Pen, y: float, every: float, part: float = 0.72) -> None:
    """A row of even machine stitches, ``part`` of the distance long each."""
    for x in steps(every * (1 - part) / 2, face.width - every * part / 2, every):
        face.line([(x, y), (x + every * part, y)], BOLD, name=STITCH)


def _band(face: Pen, top: float, bottom: float) -> None:
    """The smooth upper layer of a hem between two heights."""
    face.box(-1, top, face.width + 2, bottom - top, FINE, fill=PAPER)


def _folded(section: Pen, edge: float, deep: float, inside: float) -> None:
    """Cloth that is folded up at the edge and turned in again."""
    back = _SIDE / 2 + _LAYER
    front, middle = back - 2 * _LAYER, back - _LAYER
    section.line(
        [(back, 0), (back, edge), (front, edge), (front, edge - deep), (middle, edge - deep),
         (middle, edge - deep + inside)],
        BOLD,
    )  # fmt: skip


def _through(section: Pen, y: float) -> None:
    """A machine stitch seen from its end: a thread through all layers, lying on both sides."""
    left, right = _SIDE / 2 - 3.2 * _LAYER, _SIDE / 2 + 3.2 * _LAYER
    section.line([(left, y - 0.5), (left, y), (right, y), (right, y - 0.5)], FINE)


def hand_rolled(sheet: Sheet, row: Shown) -> None:
    """A plump roll, slanting stitches of which no two are alike."""
    face, section, edge = _views(sheet, row.size)
    roll = row.size
    _cloth(face, edge - roll)
    swell = [
        (x, 0.06 * roll * math.sin(x * 2 * math.pi / row.every))
        for x in steps(-1, face.width + 2, 0.6)
    ]
    upper = [(x, edge - roll - dy) for x, dy in swell]
    face.curve(
        [*upper, *((x, edge + dy / 2) for x, dy in reversed(swell))], BOLD, fill=PAPER, closed=True
    )
    for share, broad in ((0.62, THIN), (0.76, FINE), (0.88, BOLD)):
        face.curve([(x, edge - roll + roll * share + dy / 2) for x, dy in swell], broad)
    chance = face.chance
    for x in steps(row.every / 2, face.width - row.every / 4, row.every):
        start = x + chance.uniform(-0.16, 0.16) * row.every
        lean, long = chance.uniform(0.5, 1.3), chance.uniform(1.1, 1.7)
        top = edge - roll - 0.55
        face.line([(start, top), (start - lean, top + long)], HEAVY * 0.75, name=STITCH)
    radius, centre = roll / 2, (_SIDE / 2 - 0.5, edge - roll / 2)
    turns = steps(0.0, 3.3 * math.pi, 0.25)
    spiral: list[Point] = [(centre[0] + radius, 0), (centre[0] + radius, centre[1] - 1)]
    for turn in turns:
        now = radius * (1 - 0.78 * turn / turns[-1])
        spiral.append((centre[0] + now * math.cos(turn), centre[1] + now * math.sin(turn)))
    section.curve(spiral, BOLD)
    top = edge - roll
    section.line([(centre[0] + radius + 0.35, top - 0.75), (centre[0] + radius - 0.2, top - 0.55),
                  (centre[0] - 0.3, top + 0.35), (centre[0] + 0.1, top + 0.8)], FINE)  # fmt: skip


def machine_rolled(sheet: Sheet, row: Shown) -> None:
    """A narrow pressed fold with one line of even stitches."""
    _flat(sheet, row, inside=0.8 * row.size, line=0.5 * row.size)


def machine_stitched(sheet: Sheet, row: Shown) -> None:
    """A broad flat fold, stitched near its inner side."""
    _flat(sheet, row, inside=0.35 * row.size, line=0.17 * row.size)


def _flat(sheet: Sheet, row: Shown, inside: float, line: float) -> None:
    face, section, edge = _views(sheet, row.size)
    top = edge - row.size
    _cloth(face, top)
    _band(face, top, edge)
    _row(face, top + line, row.every)
    _folded(section, edge, row.size, inside)
    _through(section, top + line)


def overlocked(sheet: Sheet, row: Shown) -> None:
    """Needle thread along the inner side, loopers to and fro around the cut edge."""
    face, section, edge = _views(sheet, row.size)
    top, every = edge - row.size, row.every
    _cloth(face, edge)
    face.line([(0, edge), (face.width, edge)], FINE)
    for x in steps(0.0, face.width, every):
        face.curve([(x, top), (x + every * 0.2, edge - 0.4), (x + every * 0.5, edge + 0.7),
                    (x + every * 0.85, edge - 0.2), (x + every * 0.55, edge - 0.9),
                    (x + every * 0.6, top + 0.4), (x + every, top)], FINE * 1.4)  # fmt: skip
    _row(face, top, every, 0.55)
    middle = _SIDE / 2
    section.line([(middle, 0), (middle, edge)], BOLD)
    section.curve([(middle, top), (middle - 0.8, top + 0.3), (middle - 0.8, edge - 0.2), (middle, edge + 0.9),
                   (middle + 0.8, edge - 0.2), (middle + 0.8, top + 0.3)], FINE * 1.4, closed=True)  # fmt: skip


def hemstitched(sheet: Sheet, row: Shown) -> None:
    """A ladder of holes above a folded hem; holes are black, for the dark behind shows through."""
    face, section, edge = _views(sheet, row.size + row.other)
    fold = edge - row.other
    top = fold - row.size
    _cloth(face, top)
    _band(face, fold, edge)
    face.line([(0, top), (face.width, top)], FINE)
    for x in steps(row.every / 2, face.width, row.every):
        face.oval(x, (top + fold) / 2, row.every * 0.33, row.size * 0.42, fill=INK)
    for x in steps(0.0, face.width, row.every):
        for y, step in ((top, 0.3), (fold, -0.3)):
            face.line(
                [(x - 0.3, y), (x + 0.3, y - step * 1.6)], BOLD, name=STITCH if y == top else ""
            )
    _folded(section, edge, row.other, row.other * 0.25)
    back = _SIDE / 2 + _LAYER
    section.line([(back, top + 0.2), (back, fold - 0.2)], HEAVY, ink=PAPER)
    section.line([(back, top + 0.2), (back, fold - 0.2)], FINE, dashes="0.4 0.9")


def lace_edged(sheet: Sheet, row: Shown) -> None:
    """Scallops of openwork on the end of the cloth."""
    face, section, edge = _views(sheet, row.size)
    top = edge - row.size
    _cloth(face, top)
    face.line([(0, top), (face.width, top)], BOLD)
    half = row.every / 2
    for x in steps(half, face.width + half, row.every):
        for part in (1.0, 0.72, 0.42):
            arch = [(x - half * part * math.cos(turn), top + row.size * 0.86 * part * math.sin(turn))
                    for turn in steps(0.0, math.pi, math.pi / 8)]  # fmt: skip
            face.line(arch, FINE if part < 1 else BOLD)
        for turn in steps(math.pi / 8, math.pi * 0.9, math.pi / 8):
            along, down = math.cos(turn), math.sin(turn)
            face.line([(x - half * 0.42 * along, top + row.size * 0.36 * down),
                       (x - half * along, top + row.size * 0.86 * down)], THIN)  # fmt: skip
            if down > 0.3:
                face.spot(
                    x - half * 1.1 * along,
                    top + row.size * 0.93 * down,
                    0.35,
                    fill=PAPER,
                    width=FINE,
                )
        face.spot(x, top + row.size * 0.16, 0.7, fill=PAPER, width=FINE)
    middle = _SIDE / 2
    section.line([(middle, 0), (middle, top)], BOLD)
    section.line([(middle, top), (middle, edge)], FINE, dashes="0.9 0.9")
    section.curve([(middle - 0.6, top - 1), (middle, top + 0.5), (middle + 0.6, top - 1)], FINE)


def fringed(sheet: Sheet, row: Shown) -> None:
    """Loose threads below the end of the cloth, and tassels knotted of them."""
    face, section, edge = _views(sheet, row.size, 2 * INCH)
    top, chance = edge - row.size, face.chance
    knot = top + row.size * 0.22
    _cloth(face, top)
    face.line([(0, top), (face.width, top)], FINE)
    wide = 4 * row.every
    for centre in steps(wide / 2, face.width, wide):
        for place in (-0.45, -0.3, -0.15, 0.0, 0.15, 0.3, 0.45):
            end = edge + chance.uniform(-2.5, 0.5)
            face.curve([(centre + place * wide, top), (centre + place * wide * 0.3, knot - 2), (centre, knot),
                        (centre + place * 4, knot + 3), (centre + place * 7, (knot + edge) / 2),
                        (centre + place * 8 + chance.uniform(-0.6, 0.6), end)], FINE)  # fmt: skip
        face.oval(centre, knot, 1.5, 1.2, fill=PAPER, width=BOLD)
        face.line([(centre - 1.2, knot + 0.4), (centre + 1.2, knot - 0.5)], FINE)
    middle = _SIDE / 2
    section.line([(middle, 0), (middle, top)], BOLD)
    for side in (-1.2, 0.0, 1.2):
        section.curve([(middle, top), (middle + side * 0.3, top + 4), (middle + side, (top + edge) / 2),
                       (middle + side * 0.8, edge - 1)], FINE)  # fmt: skip


def selvedge(sheet: Sheet, row: Shown) -> None:
    """Cross threads that turn back at the edge, beside a denser band."""
    face, section, edge = _views(sheet, row.size)
    half = row.every / 2
    for x in steps(0.0, face.width, row.every):
        face.line([(x, 0), (x, edge - half)], FINE)
        if round(x / row.every) % 2 == 0:
            turned = [(x + half - half * math.cos(turn), edge - half + half * math.sin(turn))
                      for turn in steps(0.0, math.pi, math.pi / 6)]  # fmt: skip
            face.line(turned, FINE)
    for y in steps(0.3, edge - row.size, 0.7):
        face.line([(0, y), (face.width, y)], THIN)
    for y in steps(edge - row.size, edge - half, 0.35):
        face.line([(0, y), (face.width, y)], FINE)
    section.line([(_SIDE / 2, 0), (_SIDE / 2, edge)], BOLD)
    section.spot(_SIDE / 2, edge, 0.25)


def raw(sheet: Sheet, row: Shown) -> None:
    """A cut edge whose threads stick out."""
    face, section, edge = _views(sheet, row.size)
    cut, chance = edge - row.size, face.chance
    for y in steps(0.3, cut, 0.7):
        face.line([(0, y), (face.width, y)], THIN)
    for x in steps(0.2, face.width, row.every / 2):
        end = cut + chance.uniform(0.2, 1.0) ** 2 * row.size
        lean = chance.uniform(-0.5, 0.5)
        face.line([(x, 0), (x, cut)], THIN)
        face.curve(
            [(x, cut), (x, cut + 0.3), (x + lean / 2, (cut + end) / 2 + 0.2), (x + lean, end)], FINE
        )
    for y, start in ((cut + 0.5, 0.15), (cut + 1.1, 0.55)):
        first = face.width * start
        face.curve([(first + n, y + chance.uniform(-0.3, 0.3)) for n in range(8)], FINE)
    middle = _SIDE / 2
    section.line([(middle, 0), (middle, cut)], BOLD)
    for side in (-0.8, 0.1, 0.7):
        section.curve(
            [(middle, cut), (middle + side / 3, cut + 1), (middle + side, edge - abs(side))], FINE
        )


def bound(sheet: Sheet, row: Shown) -> None:
    """A strip around the end of the cloth."""
    face, section, edge = _views(sheet, row.size)
    top = edge - row.size
    _cloth(face, top)
    _band(face, top, edge)
    face.hatch(0, top, face.width, row.size, 2.2)
    _row(face, top + 0.9, row.every)
    middle = _SIDE / 2
    section.line([(middle, 0), (middle, edge - 0.6)], BOLD)
    for side in (-1, 1):
        section.line([(middle + side * 0.3, top + 0.8), (middle + side * 0.3, top), (middle + side * 0.8, top),
                      (middle + side * 0.8, edge - 0.5), (middle, edge)], FINE * 1.4)  # fmt: skip
    _through(section, top + 0.9)


SEWN = (
    "hand-rolled",
    "machine-rolled",
    "machine-stitched",
    "overlocked",
    "hemstitched",
    "other",
)  # stitches are drawn
HEMS = {
    ("hem", "hand-rolled"): hand_rolled,
    ("hem", "machine-rolled"): machine_rolled,
    ("hem", "machine-stitched"): machine_stitched,
    ("hem", "overlocked"): overlocked,
    ("hem", "hemstitched"): hemstitched,
    ("hem", "lace-edged"): lace_edged,
    ("hem", "fringed"): fringed,
    ("hem", "selvedge"): selvedge,
    ("hem", "raw"): raw,
    ("hem", "other"): bound,
    ("stitches_per_inch", "*"): machine_stitched,
}
