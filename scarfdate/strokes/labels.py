"""Labels: whether one is there, and how it is made."""

from __future__ import annotations

import itertools
from collections.abc import Callable

from scarfdate.strokes.pen import BOLD, FINE, HEAVY, PAPER, THIN, Pen, Point, Sheet, steps
from scarfdate.strokes.shown import Shown

_AROUND = 5.0  # mm of cloth around a label
_WORDS = "ALL SILK"
# letters in rows of five, as a loom builds them
_WOVEN = {
    "A": (4, 10, 17, 31, 17, 17), "L": (16, 16, 16, 16, 16, 31), "S": (15, 16, 14, 1, 1, 30),
    "I": (14, 4, 4, 4, 4, 14), "K": (17, 18, 28, 18, 17, 17), " ": (0,) * 6,
}  # fmt: skip
_COLUMNS = 5


def _cloth(sheet: Sheet, row: Shown) -> Pen:
    """The corner of a piece, its hem below and on the right."""
    pen = sheet.view(row.size + 2 * _AROUND, row.other + 3 * _AROUND)
    right, low = pen.width - 0.3, pen.height - 0.3
    pen.line([(0, low), (right, low), (right, 0)], BOLD)
    pen.line([(0, low - 3), (right - 3, low - 3), (right - 3, 0)], FINE)
    pen.line([(0, low - 2.4), (right - 2.4, low - 2.4), (right - 2.4, 0)], FINE, dashes="1.6 1")
    pen.dots(itertools.product(steps(1, right - 4, 1.4), steps(1, low - 4, 1.4)), 0.06)
    return pen


def _place(row: Shown) -> Point:
    return _AROUND, _AROUND * 1.2


def _stitched(pen: Pen, x: float, y: float, high: float) -> None:
    """A row of machine stitches down the end of a label."""
    pen.line([(x, y + 0.5), (x, y + high - 0.5)], BOLD, dashes="1.6 1.2")


def none_seen(sheet: Sheet, row: Shown) -> None:
    """Only the corner."""
    _cloth(sheet, row)


def intact(sheet: Sheet, row: Shown) -> None:
    """A whole label, sewn down at both ends."""
    pen, (x, y) = _cloth(sheet, row), _place(row)
    wide, high = row.size - 4, row.other
    pen.box(x, y, wide, high, BOLD, fill=PAPER)
    _stitched(pen, x + 1.2, y, high)
    _stitched(pen, x + wide - 1.2, y, high)
    for part, text in ((0.42, _WORDS), (0.8, "MADE IN ...")):
        pen.letters(text, x + wide / 2, y + high * part, high * 0.27)


def stub(sheet: Sheet, row: Shown) -> None:
    """What a cut left."""
    pen, (x, y) = _cloth(sheet, row), _place(row)
    wide, high = row.size * 0.42, row.other
    teeth = [(x + wide + (1.6 if n % 2 else -0.9) - n * 0.35, y + high * n / 7) for n in range(8)]
    pen.line([(x, y), *teeth, (x, y + high)], BOLD, fill=PAPER, closed=True)
    part = pen.window(0, 0, x + wide - 2, pen.height)  # the cut goes through the letters
    for place, text in ((0.42, _WORDS), (0.8, "MADE IN ...")):
        part.letters(text, x + (row.size - 4) / 2, y + high * place, high * 0.27)
    _stitched(pen, x + 1.2, y, high)


def woven(sheet: Sheet, row: Shown) -> None:
    """Letters in steps between the ribs of a ribbon."""
    pen, (x, y) = _cloth(sheet, row), _place(row)
    step, high = row.every, row.other
    pen.box(x, y, row.size, high, BOLD, fill=PAPER)
    for at in steps(y + step, y + high - step / 2, step):
        pen.line([(x, at), (x + row.size, at)], THIN)
    for at in (x + 1.8, x + row.size - 1.8):
        pen.line([(at, y), (at, y + high)], FINE)
        _stitched(pen, at + (-0.9 if at < x + 5 else 0.9), y, high)
    start = x + (row.size - len(_WORDS) * (_COLUMNS + 1) * step) / 2
    for number, letter in enumerate(_WORDS):
        for line, bits in enumerate(_WOVEN[letter]):
            for column in range(_COLUMNS):
                if bits >> (_COLUMNS - 1 - column) & 1:
                    at = start + (number * (_COLUMNS + 1) + column) * step
                    pen.box(
                        at, y + high / 2 + (line - 3) * step * 1.6, step, step * 1.6, 0, fill="#000"
                    )


def printed_cloth(sheet: Sheet, row: Shown) -> None:
    """Smooth letters on a plain cloth label whose edges fray."""
    pen, (x, y) = _cloth(sheet, row), _place(row)
    pen.box(x, y, row.size, row.other, FINE, fill=PAPER)
    for at in steps(y + 0.3, y + row.other, 0.6):
        for end, out in ((x, -1), (x + row.size, 1)):
            pen.line(
                [
                    (end, at),
                    (end + out * pen.chance.uniform(0.4, 1.8), at + pen.chance.uniform(-0.3, 0.3)),
                ],
                FINE,
            )
    _stitched(pen, x + 2, y, row.other)
    _stitched(pen, x + row.size - 2, y, row.other)
    pen.letters(_WORDS, x + row.size / 2, y + row.other * 0.66, row.other * 0.42, face="serif")


def paper(sheet: Sheet, row: Shown) -> None:
    """A card tag on a string."""
    pen, (x, y) = _cloth(sheet, row), _place(row)
    wide, high, cut = row.size, row.other * 0.8, row.other * 0.22
    card = [
        (x + cut, y),
        (x + wide, y),
        (x + wide, y + high),
        (x + cut, y + high),
        (x, y + high - cut),
        (x, y + cut),
    ]
    pen.line(card, BOLD, fill=PAPER, closed=True)
    pen.spot(x + 3.4, y + high / 2, 1.4, fill=PAPER, width=BOLD)
    pen.curve(
        [
            (x + 3.4, y + high / 2),
            (x - 1, y + high * 0.8),
            (x + 1, y + high + 3.5),
            (x + 9, pen.height - 3.2),
        ],
        BOLD,
    )
    pen.curve(
        [
            (x + 3.4, y + high / 2),
            (x - 3, y + high * 0.9),
            (x + 2, y + high + 5),
            (x + 10, pen.height - 3.2),
        ],
        FINE,
    )
    pen.letters(_WORDS, x + wide * 0.58, y + high * 0.48, high * 0.3)
    pen.letters("No. 12", x + wide * 0.58, y + high * 0.82, high * 0.2)


def stamped(sheet: Sheet, row: Shown) -> None:
    """Letters on the piece itself, askew and uneven."""
    pen, (x, y) = _cloth(sheet, row), _place(row)
    low = y + row.other
    for number, letter in enumerate(_WORDS):
        at = x + row.size * (number + 0.8) / 8.5
        pen.letters(
            letter,
            at,
            low - number * 0.22 + pen.chance.uniform(-0.3, 0.3),
            row.other * 0.42,
            turned=-4,
        )
        for _ in range(9):
            pen.spot(
                at + pen.chance.uniform(-1.8, 1.8),
                low - pen.chance.uniform(0, 4.5),
                pen.chance.uniform(0.08, 0.28),
                fill=PAPER,
            )


def heat_transfer(sheet: Sheet, row: Shown) -> None:
    """Letters in a film that cracks."""
    pen, (x, y) = _cloth(sheet, row), _place(row)
    low, size, step = y + row.other * 0.75, row.other * 0.38, row.size / 7.5
    for number, letter in enumerate(_WORDS):
        at = x + step * (number + 0.3)
        if letter != " ":
            pen.box(at - step * 0.42, low - size, step * 0.84, size * 1.3, FINE, fill=PAPER)
            pen.letters(letter, at, low, size)
            crack = [(at - size * 0.4, low - size * pen.chance.uniform(0.2, 0.7))]
            crack += [
                (at + size * part, low - size * pen.chance.uniform(0.2, 0.7))
                for part in (-0.1, 0.15, 0.4)
            ]
            pen.line(crack, HEAVY * 0.5, ink=PAPER)


LABELS: dict[tuple[str, str], Callable[[Sheet, Shown], None]] = {
    ("label", "none-seen"): none_seen,
    ("label", "cut-or-fragment"): stub,
    ("label", "intact"): intact,
    ("label_make", "woven"): woven,
    ("label_make", "printed-cloth"): printed_cloth,
    ("label_make", "paper"): paper,
    ("label_make", "stamped-on-cloth"): stamped,
    ("label_make", "heat-transfer"): heat_transfer,
}
