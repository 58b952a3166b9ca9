"""The pictures of README: a dating, an explanation, part of the card, and a hem, from the demo piece.

``python -m tests.pictures`` writes them into ``pictures/``; CI makes them anew and compares (`test_pictures.py`).
Drawn with the pen of the library's drawings, so that no other program's version changes a byte.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from textwrap import wrap
from xml.etree.ElementTree import Element, fromstring

from scarfdate import Scarf, date_scarf, draw_clue, explain, pocket_card
from scarfdate.card.in_words import short_era
from scarfdate.card.page import icons
from scarfdate.card.pocket import PocketCard
from scarfdate.strokes.pen import FINE, PAPER, Pen, as_text, picture, write

FOLDER = Path(__file__).parents[1] / "pictures"
AS_OF = 2026
PIECE = Scarf(
    fibre="silk", form="square", hem="hand-rolled", motif="geometric", layout="colour-blocks"
)
CLAIM = "1960s rather than 1970s"
_WIDE, _EDGE, _LINE = 105.0, 3.0, 5.0  # mm
_LETTERS = 62  # in a line of text
_NAMESPACE = ' xmlns="http://www.w3.org/2000/svg"'


class _Sheet:
    """Lines of letters and bars, one below the other."""

    def __init__(self) -> None:
        self.root, self.y = Element("g"), _EDGE

    def text(self, said: str) -> None:
        for line in wrap(said, _LETTERS):
            self.y += _LINE
            write(self.root, line, (_EDGE, self.y))

    def row(self, name: str, at: float) -> float:
        """The foot of a new line, its name ending at ``at``."""
        self.y += _LINE
        write(self.root, name, (at, self.y), anchor="end")
        return self.y

    def bar(self, x: float, length: float, *, full: bool = True) -> None:
        pen = Pen(self.root, (0, self.y - 3.2), _WIDE, 3.8, 1)
        start, long = (x, length) if length >= 0 else (x + length, -length)
        pen.box(
            round(start, 1), 0.4, max(round(long, 1), 0.1), 3, FINE, fill="#000" if full else PAPER
        )

    def done(self, title: str, alt: str) -> str:
        root = picture(_WIDE, self.y + _EDGE, title, alt)
        root.extend(self.root)
        return as_text(root)


def dating() -> str:
    """The sentence, and the decades as bars."""
    found, sheet = date_scarf(PIECE, as_of=AS_OF), _Sheet()
    sheet.text(found.sentence)
    sheet.y += _EDGE
    shown = {f"{start}s": chance for start, chance in found.decades().items() if chance >= 0.005}
    for name, chance in shown.items():
        sheet.row(name, 16)
        sheet.bar(18, 70 * chance / max(shown.values()))
        write(
            sheet.root, f"{chance:.0%}".replace("%", " %"), (_WIDE - _EDGE, sheet.y), anchor="end"
        )
    return sheet.done("A dating", found.sentence)


def explanation() -> str:
    """What each clue weighs for a claim."""
    found, sheet = explain(PIECE, CLAIM, as_of=AS_OF), _Sheet()
    sheet.text(f"{found.claim[0].upper()}{found.claim[1:]}: {found.chance:.0%}.".replace("%", " %"))
    sheet.text("What each clue weighs, in decibans: full bars for it, hollow bars against it.")
    sheet.y += _EDGE
    low, high = min(0.0, *found.share.values()), max(0.0, *found.share.values())
    scale = 42 / (high - low)
    for clue in sorted(found.share, key=lambda name: -found.share[name]):
        sheet.row(found.says[clue], 44)
        sheet.bar(47 - scale * low, scale * found.share[clue], full=found.share[clue] >= 0)
        write(sheet.root, f"{found.share[clue]:+.1f}", (_WIDE - _EDGE, sheet.y), anchor="end")
    return sheet.done("An explanation", str(found))


def card(made: PocketCard | None = None) -> str:
    """The rows of two clues of the pocket card, with what every piece starts with."""
    card, sheet = made or pocket_card(as_of=AS_OF), _Sheet()
    sheet.text("Add up the row of each thing that you can see; the highest sum is the era.")

    def numbers(cells: Sequence[object]) -> None:
        for place, cell in enumerate(cells):
            size = 2.5 if isinstance(cell, str) else 3.2
            at = 62 + 9.5 * place, sheet.y
            write(sheet.root, str(cell or "·"), at, size, anchor="middle")

    def line(name: str, points: Sequence[object], drawn: Sequence[str] = ()) -> None:
        sheet.y += _LINE
        write(sheet.root, name, (_EDGE, sheet.y))
        for one in drawn:
            root = fromstring(one.replace(_NAMESPACE, ""))
            root.attrib |= {
                name: root.get(name, "").removesuffix("mm") for name in ("width", "height")
            }
            root.attrib |= {"x": "44", "y": f"{sheet.y - 3.6:g}"}
            sheet.root.append(root)
        numbers(points)

    line("", [short_era(era) for era in card.eras])
    line("every scarf starts with", card.start)
    for clue in ("label_make", "hem"):
        sheet.y += _LINE
        write(sheet.root, card.titles[clue].upper(), (_EDGE, sheet.y))
        for row in card.rows[clue]:
            line(row.label, row.points, icons(clue, row, card._priors.drawings)[:1])
    alt = "Part of the pocket card: points for how the label is made and for the hem, by era."
    return sheet.done("Part of the pocket card", alt)


def hem() -> str:
    """A hem as the library draws it."""
    return draw_clue("hem", "hand-rolled").svg


PICTURES: dict[str, Callable[[], str]] = {
    "dating": dating,
    "explanation": explanation,
    "card": card,
    "hem": hem,
}


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, make in PICTURES.items():
        (FOLDER / f"{name}.svg").write_text(make() + "\n", encoding="utf-8")
