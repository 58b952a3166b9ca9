"""A pocket card as a page to print, and as text. The template ``page.html`` escapes what tables hold.

Both sides of one sheet, A4 or Letter, in 12 point; folded twice it is as large as A6. Each side has four
panels of so many lines: the rows of points, then the second step for each era, the example, and what the card
costs. How much fits is measured on the shorter of A4 (297 mm) and Letter (279 mm) and the narrower (210 mm). A
test prints both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from textwrap import wrap
from types import MappingProxyType
from typing import Any, NamedTuple

from scarfdate.card.in_words import (
    distrust,
    elsewhere,
    how_to_add,
    how_to_halve,
    made_for,
    short_era,
    worth,
)
from scarfdate.card.sheet import CardRow, Sheet, Tally
from scarfdate.errors import needed
from scarfdate.show.page import Html
from scarfdate.strokes.sketches import SKETCHES
from scarfdate.strokes.small import HAND, icon
from scarfdate.tables.drawings import DrawingRow

LINES = 26  # of a panel, in 12 point
LETTERS = 21  # of 12 point, in one line of a row's name
MOST_LINES = 2  # of a row's name
_PANELS = 8  # of a sheet, both sides
_FOR_POINTS = 5  # of them, with the first block and how to add
_HOW = 9  # lines of title and text above the first block
_PAPER = 100  # letters of a line of text
_NAME, _ICON = 50.0, (10.5, 4.2)  # mm: what a name may take, and a drawing behind it
_APART = 0.8  # mm
_DRAWN = {"hem": 0.6, "label_make": 1.0}  # clues with drawings: of life size
_SCALES = (
    "Drawings: hems six tenths of life size, labels life size. Touch is not learned from pictures."
)
_TITLE = "When was this scarf made?"
_NOT_SURE, _EVERY, _START = "not sure", "EVERY SCARF", "starts with"


class Block(NamedTuple):
    """A small table: a title, and rows of a name and numbers, some with a drawing."""

    title: str
    rows: tuple[tuple[str, tuple[int, ...]], ...]
    drawn: Mapping[str, Html] = MappingProxyType({})  # by the name of a row

    @property
    def lines(self) -> int:
        """How many it takes."""
        return 1 + sum(lines(name) for name, _ in self.rows)


def lines(name: str) -> int:
    """How many lines the name of a row takes."""
    return max(len(wrap(name, LETTERS)), 1)


def room(names: Sequence[Sequence[str]]) -> bool:
    """Whether clues with rows of such names each fit the sheet."""
    blocks = [Block("", tuple((name, ()) for name in own)) for own in names]
    return all(block.lines <= LINES for block in blocks) and len(_panels(blocks)) <= _FOR_POINTS


def html(
    card: Sheet,
    tally: Tally,
    *,
    whole: bool,
    drawings: Mapping[tuple[str, str], DrawingRow] | None = None,
) -> str:
    """A page that prints on both sides of one sheet; or, not ``whole``, a part of one.

    ``tally``: the example added up. ``drawings``: rows of ``drawings.csv``, for hems and labels. Raises ScarfdateError where Jinja2 is not installed.
    """
    heads = [short_era(era) for era in card.eras]
    blocks = _blocks(card, drawings or {})
    notes = [_SCALES] if any(any(block.drawn.values()) for block in blocks) else []
    points, example = _panels(blocks), _example(card, tally)
    steps = _steps(card)
    cut = len(steps) // 2 + 1  # the example stands with the second half
    text = _template().render(
        card=card,
        whole=whole,
        title=_TITLE,
        made_for=made_for(card),
        how=how_to_add(card),
        halve=how_to_halve(),
        heads=heads,
        first=_first(card),
        panels=[*points, *([] for _ in range(_FOR_POINTS - len(points)))],
        steps=[steps[:cut], steps[cut:]],
        example=example,
        tally=tally,
        sum=f"sum: {tally.era}, {tally.ahead} ahead",
        worth=worth(card.cost),
        distrust=[*distrust(card), *elsewhere(card), *notes],
    )
    return str(text).replace(" %", "\u00a0%")  # no number apart from its per cent


@cache
def _template() -> Any:
    jinja2 = needed("jinja2", "card", "A card as HTML")
    source = Path(__file__).with_name("page.html").read_text(encoding="utf-8")
    return jinja2.Environment(autoescape=True).from_string(source)


def _blocks(
    card: Sheet, drawings: Mapping[tuple[str, str], DrawingRow] = MappingProxyType({})
) -> list[Block]:
    return [
        Block(
            card.titles[clue],
            tuple((row.label, row.points) for row in rows),
            {row.label: Html("".join(icons(clue, row, drawings))) for row in rows},
        )
        for clue, rows in card.rows.items()
    ]


def icons(clue: str, row: CardRow, drawings: Mapping[tuple[str, str], DrawingRow]) -> list[Html]:
    """A row's values in small: all, or none where its name leaves no room, for they take no line of their own."""
    of_row = [
        icon(
            drawings[clue, value], SKETCHES[clue, value], drawings[HAND].other, _DRAWN[clue], *_ICON
        )
        for value in row.values
        if clue in _DRAWN
        and HAND in drawings
        and {(clue, value)} <= drawings.keys() & SKETCHES.keys()
    ]
    left = _NAME - len(row.label) * _NAME / LETTERS
    return of_row if len(of_row) * (_ICON[0] + _APART) <= left else []


def _first(card: Sheet) -> Block:
    """What every piece starts with, and the row for whatever was not seen clearly."""
    return Block(_EVERY, ((_START, card.start), (_NOT_SURE, (0,) * len(card.eras))))


def _panels(blocks: Sequence[Block]) -> list[list[Block]]:
    """The blocks in panels, each whole; the first panel begins with how to add and the first row."""
    found: list[list[Block]] = [[]]
    left = LINES - _HOW - Block(_EVERY, ((_START, ()), (_NOT_SURE, ()))).lines
    for block in blocks:
        if block.lines > left:
            found.append([])
            left = LINES
        found[-1].append(block)
        left -= block.lines
    return found


def _steps(card: Sheet) -> list[Block]:
    """For each era what is added in the second step, the strongest for the later half first."""
    found = []
    for era, halves in enumerate(card.halves):
        if len(halves) < 2:
            continue
        rows = [
            (f"{card.titles[clue]}: {row.label}", (row.lean[era],))
            for clue, own in card.rows.items()
            for row in own
            if row.lean[era]
        ]
        rows.sort(key=lambda row: -row[1][0])
        title = f"{card.eras[era]}: {halves[0]} or {halves[1]}?"
        found.append(Block(title, ((_START, (card.start_lean[era],)), *rows)))
    return found


def _example(card: Sheet, tally: Tally) -> list[tuple[str, tuple[int, ...]]]:
    added = {(clue, row.label): row.points for clue, rows in card.rows.items() for row in rows}
    rows = [(_seen(card, clue), added[clue, label]) for clue, label in tally.rows]
    return [(_START, card.start), *rows]


def _seen(card: Sheet, clue: str) -> str:
    value = card.example[clue]
    if isinstance(value, float):
        return f"{card.titles[clue]}: {value:.4g}"
    return str(value).replace("-", " ")


def text(card: Sheet) -> str:
    """The card as text of at most 100 letters a line."""
    heads = [short_era(era) for era in card.eras]
    wide = max(min(7, (_PAPER - 44) // len(heads)), 4)

    def line(label: str, cells: Sequence[object]) -> str:
        digits = "".join(f"{'·' if cell == 0 else str(cell):>{wide}}" for cell in cells)
        return f"{label[:43]:<44}{digits}"

    told = [
        _TITLE,
        *(t for part in (made_for(card), card.where, how_to_add(card)) for t in wrap(part, _PAPER)),
        "",
    ]
    for block in (_first(card), *_blocks(card)):
        told += [line(block.title, heads), *(line(f"  {name}", own) for name, own in block.rows)]
    told += ["", how_to_halve()]
    for block in _steps(card):
        told += [block.title, *(f"  {name[:88]:<90}{own[0]:+d}" for name, own in block.rows)]
    for title, facts in (
        ("What the sum is worth", worth(card.cost)),
        ("When not to trust it", [*distrust(card), *elsewhere(card)]),
    ):
        told += ["", title]
        for fact in facts:
            told += wrap(fact, _PAPER, initial_indent="- ", subsequent_indent="  ")
    return "\n".join(told)
