"""A pocket card as a page to print, and as text. The template ``page.html`` escapes what tables hold.

The page is two columns of small tables, one for each clue, above the example and what the card costs.
How much fits is measured on paper: lines of 9 point on the shorter of A4 (297 mm) and Letter (279 mm),
and letters of 9 point on the narrower (210 mm). A test prints both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from textwrap import wrap
from typing import Any

from scarfdate.card.cost import FEW, MOST_AHEAD, Cost
from scarfdate.errors import needed
from scarfdate.show.sentence import percent

LINES = 45  # of one column of the page, headings counted
_START = 2  # lines of the first block, from which every piece starts
_COLUMN = 94.5  # mm, a column of the page
_CELL = 5.7  # mm, a column of points, and together no more than
_CELLS = 60.0  # mm
_LETTER = 1.72  # mm, of a letter of 9 point sans serif, on average
_PAPER = 100  # letters of a line of text
_EXAMPLES = 3  # other channels named at each end
_AS_GOOD = 1.5  # times the loss at home: a channel where the card does as well
_MARGIN_ROWS = {"as the exact decade, %": "agree", "the true decade, %": "true"}
_TITLE = "When was this scarf made? Add up the points"


@dataclass(frozen=True, kw_only=True)
class CardRow:
    """One row of a card.

    ``label``: as printed; ``values``: the words that it stands for (empty for a range); ``low`` to
    ``high``: the range of a measurement, the upper end left out (for words without bounds);
    ``points``: whole numbers from 0 to 9, one for each decade, the least of them 0.
    """

    label: str
    values: tuple[str, ...]
    low: float
    high: float
    points: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Tally:
    """A piece added up on a card.

    ``decade``: that of the highest sum, of equal ones the later. ``sums``: one for each decade.
    ``ahead``: by how many points it leads. ``chance``: of each decade by the card, summing to 1.
    ``rows``: clue and label of each row that was added. ``left_out``: clues that were seen, but of
    which the card has no row, or several rows that fit.
    """

    decade: str
    sums: tuple[int, ...]
    ahead: int
    chance: tuple[float, ...]
    rows: tuple[tuple[str, str], ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """What is printed of a card; `PocketCard` says what each part is."""

    channel: str
    where: str
    as_of: int
    decades: tuple[str, ...]
    start: tuple[int, ...]
    rows: Mapping[str, tuple[CardRow, ...]]
    titles: Mapping[str, str]
    missing: tuple[str, ...]
    doubling: int
    cost: Cost
    example: Mapping[str, object]
    priors_hash: str


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
    heads = [_short(decade) for decade in card.decades]
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
        made_for=_made_for(card),
        how=_how(card),
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


def _short(decade: str) -> str:
    """A heading narrow enough for one digit: "<40", "40s", "10+"."""
    year = next(word for word in decade.replace("-", " ").split() if word[:4].isdigit())[2:4]
    if decade.startswith("before"):
        return f"<{year}"
    return f"{year}+" if decade.startswith("from") or "-" in decade else f"{year}s"


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


def _made_for(card: Sheet) -> str:
    open_ended = [
        f"{_short(decade)} is {decade}"
        for decade in card.decades
        if not _short(decade).endswith("s")
    ]
    return (
        f"For {card.channel}: {card.where}. {'; '.join(open_ended)}. As of {card.as_of}, tables "
        f"{card.priors_hash[:12]}."
    )


def _how(card: Sheet) -> str:
    return (
        "Begin with the first row. For everything that you can see add its row, decade by decade; the "
        f"highest sum is the decade. {_number(card.doubling, 'point')} ahead is twice as likely. Between "
        "two rows, or not seen: add nothing. Equal sums: the later."
    )


def worth(cost: Cost) -> list[str]:
    """What the card costs, in a few plain sentences."""
    share = {name: percent(value) for name, value in cost.overall.items() if name != "loss"}
    return [
        f"It names the same decade as the exact dating on {share['agree']} of pieces, that or the "
        f"next on {share['near']}; its two best hold it on {share['two']}.",
        f"The true decade, were the tables right: card {share['true']}, exact {share['exact_true']}; "
        f"in the two best {share['two_true']}.",
        f"It loses {cost.loss:.2f} bits a piece; knowing only where it turned up loses "
        f"{cost.prior_loss:.2f}. Measured on {cost.pieces} other simulated pieces.",
    ]


def distrust(card: Sheet) -> list[str]:
    """When not to trust it, measured."""
    cost, facts = card.cost, []
    if cost.trust_from is None:
        facts.append("However far it is ahead it agrees less than 80 %: name the two best decades.")
    elif cost.trust_from > 0:
        below = sum(s["pieces"] for low, s in cost.by("ahead").items() if low < cost.trust_from)
        facts.append(
            f"Ahead by fewer than {_number(cost.trust_from, 'point')} ({percent(below)} of pieces): name "
            "the two best decades. From there on it agrees on 80 % or more."
        )
    clues = cost.by("clues")
    if len(clues) > 1 and 0 in clues:
        facts.append(
            f"With {FEW} clues or fewer: it agrees on {percent(clues[0]['agree'])}, true on "
            f"{percent(clues[0]['true'])}."
        )
    for later in cost.by("later").values():
        facts.append(
            f"A later piece in an older look ({percent(later['pieces'])} of pieces): true on "
            f"{percent(later['true'])}."
        )
    facts.append(
        "Not on it: words and numbers of a label, makers, dated prints"
        + "".join(f", {title}" for title in card.missing)
        + ". Where one is found, date the piece exactly."
    )
    return facts


def elsewhere(card: Sheet) -> Iterator[str]:
    """How the card does in other channels, where there are others."""
    lost = card.cost.elsewhere["loss"].sort_values()
    near = [str(name) for name in lost.index[lost <= _AS_GOOD * card.cost.loss]]
    worse = [f"{name} {bits:.2f}" for name, bits in lost.items() if name not in near]
    if worse:
        good = f" About as well: {', '.join(near[:_EXAMPLES])}." if near else ""
        named = ", ".join(worse[:2] + worse[2:][-2:])
        yield f"In other channels it loses more bits: {named}.{good}"


def _number(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _points(low: int) -> str:
    return f"{low}+" if low == MOST_AHEAD else f"{low}"


def _per_cent(ahead: Mapping[int, Mapping[str, float]], name: str) -> list[str]:
    return [f"{100 * share[name]:.0f}" for share in ahead.values()]


def text(card: Sheet) -> str:
    """The card as text of at most 100 letters a line."""
    heads = [_short(decade) for decade in card.decades]
    wide = max(min(6, (_PAPER - 30) // len(heads)), 4)
    name = min(_PAPER - wide * len(heads), 36)

    def line(label: str, cells: Sequence[object]) -> str:
        digits = "".join(f"{'·' if cell == 0 else str(cell):>{wide}}" for cell in cells)
        return f"{label[: name - 1]:<{name}}{digits}"

    lines = [_TITLE, *wrap(_made_for(card), _PAPER), *wrap(_how(card), _PAPER), ""]
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
