"""A pocket card as a page to print, and as text. The template ``page.html`` escapes what tables hold.

The page is two columns of small tables, one for each clue, above the example and what the card costs.
How much fits is measured on paper: lines of 9 point on the shorter of A4 (297 mm) and Letter (279 mm),
and letters of 9 point on the narrower (210 mm). A test prints both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from textwrap import wrap
from typing import Any

from scarfdate.card.cost import MOST_AHEAD
from scarfdate.card.in_words import distrust, elsewhere, how_to_add, made_for, short_decade, worth
from scarfdate.card.sheet import Sheet, Tally
from scarfdate.errors import needed

LINES = 45  # of one column of the page, headings counted
_START = 2  # lines of the first block, from which every piece starts
_COLUMN = 94.5  # mm, a column of the page
_CELL = 5.7  # mm, a column of points, and together no more than
_CELLS = 60.0  # mm
_LETTER = 1.72  # mm, of a letter of 9 point sans serif, on average
_PAPER = 100  # letters of a line of text
_MARGIN_ROWS = {"as the exact decade, %": "agree", "the true decade, %": "true"}
_TITLE = "When was this scarf made? Add up the points"


def longest(columns: int) -> int:
    """How many letters the name of a row may have beside so many columns of points."""
    return int((_COLUMN - _cell(columns) * columns) / _LETTER)


def room(sizes: Sequence[int]) -> bool:
    """Whether clues with so many rows each fit the page."""
    return _left(sizes)[1] <= LINES


def html(card: Sheet, tally: Tally, *, whole: bool) -> str:
    """A page that prints on one sheet, A4 or Letter, upright; or, not ``whole``, a part of one.

    ``tally``: the example added up. Raises ScarfdateError where Jinja2 is not installed.
    """
    heads = [short_decade(decade) for decade in card.decades]
    blocks = [
        (card.titles[clue], [(row.label, row.points) for row in rows])
        for clue, rows in card.rows.items()
    ]
    cut, _ = _left([len(rows) for _, rows in blocks])
    start = ("starts with", card.start)
    added = {(clue, row.label): row.points for clue, rows in card.rows.items() for row in rows}
    example = [start, *((_seen(card, clue), added[clue, label]) for clue, label in tally.rows)]
    ahead = card.cost.by("ahead")
    rows = {"of all pieces, %": "pieces", **_MARGIN_ROWS}
    text = _template().render(
        card=card,
        whole=whole,
        title=_TITLE,
        made_for=made_for(card),
        how=how_to_add(card),
        heads=heads,
        cell=_cell(len(heads)),
        longest=longest(len(heads)),
        left=[("EVERY SCARF", [start]), *blocks[:cut]],
        right=blocks[cut:],
        example=example,
        tally=tally,
        sum=f"sum: {tally.decade}, {tally.ahead} ahead",
        ahead=[_points(low) for low in ahead],
        by_margin=[(label, _per_cent(ahead, name)) for label, name in rows.items()],
        elsewhere=list(elsewhere(card)),
        worth=worth(card.cost),
        distrust=distrust(card),
    )
    return str(text).replace(" %", "\u00a0%")  # no number apart from its per cent


@cache
def _template() -> Any:
    jinja2 = needed("jinja2", "card", "A card as HTML")
    source = Path(__file__).with_name("page.html").read_text(encoding="utf-8")
    return jinja2.Environment(autoescape=True).from_string(source)


def _left(sizes: Sequence[int]) -> tuple[int, int]:
    """How many clues stand in the left column, and the lines of the longer one, least."""
    lines = [size + 1 for size in sizes]
    ways = [
        (max(_START + sum(lines[:cut]), sum(lines[cut:])), cut) for cut in range(len(lines) + 1)
    ]
    height, cut = min(ways)
    return cut, height


def _cell(cells: int) -> float:
    return min(_CELL, _CELLS / cells)


def _seen(card: Sheet, clue: str) -> str:
    value = card.example[clue]
    if isinstance(value, float):
        return f"{card.titles[clue]}: {value:.4g}"
    return str(value).replace("-", " ")


def _points(low: int) -> str:
    return f"{low}+" if low == MOST_AHEAD else f"{low}"


def _per_cent(ahead: Mapping[int, Mapping[str, float]], name: str) -> list[str]:
    return [f"{100 * share[name]:.0f}" for share in ahead.values()]


def text(card: Sheet) -> str:
    """The card as text of at most 100 letters a line."""
    heads = [short_decade(decade) for decade in card.decades]
    wide = max(min(6, (_PAPER - 30) // len(heads)), 4)
    name = min(_PAPER - wide * len(heads), 36)

    def line(label: str, cells: Sequence[object]) -> str:
        digits = "".join(f"{'·' if cell == 0 else str(cell):>{wide}}" for cell in cells)
        return f"{label[: name - 1]:<{name}}{digits}"

    lines = [_TITLE, *wrap(made_for(card), _PAPER), *wrap(how_to_add(card), _PAPER), ""]
    lines += [line("EVERY SCARF", heads), line("  starts with", card.start)]
    for clue, rows in card.rows.items():
        lines.append(line(card.titles[clue], heads))
        lines += [line(f"  {row.label}", row.points) for row in rows]
    for title, facts in (
        ("What the sum is worth", worth(card.cost)),
        ("When not to trust it", [*distrust(card), *elsewhere(card)]),
    ):
        lines += ["", title]
        for fact in facts:
            lines += wrap(fact, _PAPER, initial_indent="- ", subsequent_indent="  ")
    ahead = card.cost.by("ahead")
    lines += ["", line("AHEAD BY (points)", [_points(low) for low in ahead])]
    lines += [line(f"  {label}", _per_cent(ahead, name)) for label, name in _MARGIN_ROWS.items()]
    return "\n".join(lines)
