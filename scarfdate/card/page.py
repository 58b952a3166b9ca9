"""A pocket card as a page to print, and as text. Everything from a table is escaped here.

The page is two columns of small tables, one for each clue, above the example and what the card costs.
How much fits is measured on paper: lines of 9 point on the shorter of A4 (297 mm) and Letter (279 mm),
and letters of 9 point on the narrower (210 mm). A test prints both.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from textwrap import wrap
from typing import TYPE_CHECKING

from scarfdate.show.sentence import percent

if TYPE_CHECKING:
    from scarfdate.card.cost import Share
    from scarfdate.card.sheet import PocketCard

LINES = 45  # of one column of the page, headings counted
_START = 2  # lines of the first block, from which every piece starts
_COLUMN = 94.5  # mm, a column of the page
_CELL = 5.7  # mm, a column of points, and together no more than
_CELLS = 60.0  # mm
_SMALLEST = 6.5  # point, for a word that is longer than its place
_LETTER = 1.72  # mm, of a letter of 9 point sans serif, on average
_PAPER = 100  # letters of a line of text
_EXAMPLES = 3  # other channels named at each end
_AS_GOOD = 1.5  # times the loss at home: a channel where the card does as well

_STYLE = """
.pc{font:9pt/1.12 Arial,Helvetica,"DejaVu Sans Condensed",sans-serif;color:#000;background:#fff;
width:194mm;text-align:left}
.pc h1{font-size:15pt;line-height:1.1;margin:0;color:#000}
.pc p{margin:.6mm 0}
.pc .sub{color:#333}
.pc .how{border-top:.5mm solid #000;border-bottom:.2mm solid #000;padding:.6mm 0;margin:.8mm 0 1mm;font-size:9.5pt}
.pc .side{float:left;width:94.5mm}
.pc .side+.side{margin-left:4mm}
.pc .foot{clear:both}
.pc table{border-collapse:collapse;table-layout:fixed;width:94.5mm;margin:0;font-size:9pt;line-height:1.12;
border:0;color:#000}
.pc tr{background:none}
.pc th,.pc td{padding:0;border:0;text-align:center;font-weight:normal;white-space:nowrap;overflow:hidden}
.pc th:first-child,.pc td:first-child{text-align:left;padding-left:.6mm}
.pc tr.head th{border-top:.3mm solid #000;font-size:8pt;color:#333}
.pc tr.head th:first-child{font-weight:bold;font-size:9pt;color:#000}
.pc td.z{color:#999}
.pc td.m{font-weight:bold}
.pc tr.sum td{border-top:.3mm solid #000;font-weight:bold}
.pc tr.blank td+td{border:.2mm solid #000;height:5mm}
.pc .box{border:.3mm solid #000;padding:.8mm 1.2mm;margin-top:1mm}
.pc .box b{font-size:9.5pt}
.pc p.more{margin:1mm 0 0 .6mm}
.pc ul{margin:0;padding-left:3.6mm}
.pc *{-webkit-print-color-adjust:exact;print-color-adjust:exact}
"""
_PAGE = "@page{margin:8mm}html,body{margin:0;padding:0;background:#fff}.pc{margin:0 auto}"


def longest(columns: int) -> int:
    """How many letters the name of a row may have beside so many columns of points."""
    return int((_COLUMN - _cell(columns) * columns) / _LETTER)


def room(sizes: Sequence[int]) -> bool:
    """Whether clues with so many rows each fit the page."""
    return _left(sizes)[1] <= LINES


def page(card: PocketCard) -> str:
    """A whole HTML page that prints on one sheet, A4 or Letter, upright."""
    title = escape(f"Pocket card: {card.channel}, {card.as_of}")
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        f"<style>{_PAGE}{_STYLE}</style></head><body>{_body(card)}</body></html>\n"
    )


def inside(card: PocketCard) -> str:
    """The same for a notebook."""
    return f"<style>{_STYLE}</style>{_body(card)}"


def short(decade: str) -> str:
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


def _body(card: PocketCard) -> str:
    clues = list(card.rows)
    cut, _ = _left([len(card.rows[clue]) for clue in clues])
    heads = [short(decade) for decade in card.decades]
    start = _head("EVERY SCARF", heads) + _row("starts with", card.start)
    blocks = [
        _head(card.titles[clue], heads)
        + "".join(_row(row.label, row.points) for row in card.rows[clue])
        for clue in clues
    ]
    left, right = start + "".join(blocks[:cut]), "".join(blocks[cut:])
    cells = len(heads)
    return (
        f'<div class="pc"><h1>{escape(_title(card))}</h1>'
        f'<p class="sub">{escape(_made_for(card))}</p>'
        f'<p class="how">{_text(_how(card))}</p>'
        f'<div class="side">{_table(left, cells)}</div><div class="side">{_table(right, cells)}</div>'
        f'<div class="foot"></div><div class="side">{_example(card, heads)}</div>'
        f'<div class="side">{_box("What the sum is worth", worth(card))}'
        f"{_box('When not to trust it', distrust(card))}</div>"
        '<div class="foot"></div></div>'
    )


def _table(rows: str, cells: int) -> str:
    cols = f'<col><col span="{cells}" style="width:{_cell(cells):.2f}mm">'
    return f"<table><colgroup>{cols}</colgroup>{rows}</table>"


def _cell(cells: int) -> float:
    return min(_CELL, _CELLS / cells)


def _head(name: str, heads: Sequence[str]) -> str:
    small = ' style="font-size:7pt"' if len(heads) * _CELL > _CELLS else ""
    cells = "".join(f"<th{small}>{escape(head)}</th>" for head in heads)
    return f'<tr class="head"><th{_fitted(name, len(heads))}>{escape(name)}</th>{cells}</tr>'


def _row(label: str, points: Sequence[int]) -> str:
    most = max(points)
    cells = "".join(
        # darker for more, and bold for the most: it reads without the shade, too
        f'<td class="{"m" if point == most else "n"}" style="background:hsl(0,0%,{100 - 4 * point}%)">'
        f"{point}</td>"
        if point
        else '<td class="z">·</td>'
        for point in points
    )
    return f"<tr><td{_fitted(label, len(points))}>{escape(label)}</td>{cells}</tr>"


def _fitted(label: str, cells: int) -> str:
    """A smaller letter for a word that is longer than its place, as the style of its cell."""
    most = longest(cells)
    if len(label) <= most:
        return ""
    return f' style="font-size:{max(9 * most / len(label), _SMALLEST):.1f}pt"'


def _example(card: PocketCard, heads: Sequence[str]) -> str:
    tally = card.decade(card.example)
    points = card.points
    rows = _head("EXAMPLE, invented", heads) + _row("starts with", card.start)
    rows += "".join(_row(_seen(card, clue), points[clue][label]) for clue, label in tally.rows)
    sums = "".join(
        f"<td>{total}</td>"
        if total == max(tally.sums)
        else f'<td style="font-weight:normal">{total}</td>'
        for total in tally.sums
    )
    said = f"sum: {tally.decade}, {tally.ahead} ahead"
    rows += f'<tr class="sum"><td{_fitted(said, len(heads))}>{escape(said)}</td>{sums}</tr>'
    blank = "<td></td>" * len(heads)
    yours = _head("YOUR PIECE, in pencil", heads)
    yours += f'<tr class="blank"><td>1</td>{blank}</tr><tr class="blank"><td>2</td>{blank}</tr>'
    return _table(rows, len(heads)) + _table(yours, len(heads)) + _margins(card) + _more(card)


def _seen(card: PocketCard, clue: str) -> str:
    value = card.example[clue]
    if isinstance(value, float):
        return f"{card.titles[clue]}: {value:.4g}"
    return str(value).replace("-", " ")


def _margins(card: PocketCard) -> str:
    shares = card.cost.by_margin
    head = "".join(f"<th>{escape(_points(share))}</th>" for share in shares)
    lines = "".join(
        f"<tr><td>{name}</td>" + "".join(f"<td>{_per(value)}</td>" for value in values) + "</tr>"
        for name, values in (
            ("of all pieces, %", [share.pieces for share in shares]),
            ("as the exact decade, %", [share.agree for share in shares]),
            ("the true decade, %", [share.true for share in shares]),
        )
    )
    cols = f'<col><col span="{len(shares)}" style="width:6mm">'
    return (
        f'<table><colgroup>{cols}</colgroup><tr class="head"><th>AHEAD BY (points)</th>{head}</tr>'
        f"{lines}</table>"
    )


def _more(card: PocketCard) -> str:
    return "".join(f'<p class="more">{_text(fact)}</p>' for fact in elsewhere(card))


def _text(fact: str) -> str:
    """Escaped, and no number apart from its per cent."""
    return escape(fact).replace(" %", "&nbsp;%")


def _box(name: str, facts: Sequence[str]) -> str:
    items = "".join(f"<li>{_text(fact)}</li>" for fact in facts)
    return f'<div class="box"><b>{escape(name)}</b><ul>{items}</ul></div>'


def _title(card: PocketCard) -> str:
    return "When was this scarf made? Add up the points"


def _made_for(card: PocketCard) -> str:
    open_ended = [
        f"{short(decade)} is {decade}" for decade in card.decades if not short(decade).endswith("s")
    ]
    return (
        f"For {card.channel}: {card.where}. {'; '.join(open_ended)}. As of {card.as_of}, tables "
        f"{card.priors_hash[:12]}."
    )


def _how(card: PocketCard) -> str:
    points = "1 point" if card.doubling == 1 else f"{card.doubling} points"
    return (
        "Begin with the first row. For everything that you can see add its row, decade by decade; the "
        f"highest sum is the decade. {points} ahead is twice as likely. Between two rows, or not seen: "
        "add nothing. Equal sums: the later."
    )


def worth(card: PocketCard) -> list[str]:
    """What the card costs, in a few plain sentences."""
    cost = card.cost
    return [
        f"It names the same decade as the exact dating on {percent(cost.agree)} of pieces, that or the "
        f"next on {percent(cost.near)}; its two best hold it on {percent(cost.two)}.",
        f"The true decade, were the tables right: card {percent(cost.true)}, exact {percent(cost.exact_true)}; in the two best "
        f"{percent(cost.two_true)}.",
        f"It loses {cost.loss:.2f} bits a piece; knowing only where it turned up loses "
        f"{cost.prior_loss:.2f}. Measured on {cost.pieces} other simulated pieces.",
    ]


def distrust(card: PocketCard) -> list[str]:
    """When not to trust it, measured."""
    cost = card.cost
    facts = []
    if cost.trust_from is None:
        facts.append("However far it is ahead it agrees less than 80 %: name the two best decades.")
    elif cost.trust_from > 0:
        facts.append(
            f"Ahead by fewer than {_number(cost.trust_from, 'point')} "
            f"({percent(sum(s.pieces for s in cost.by_margin if s.low < cost.trust_from))} of pieces): name "
            "the two best decades. From there on it agrees on 80 % or more."
        )
    if len(cost.by_clues) > 1:
        few = cost.by_clues[0]
        facts.append(
            f"With {few.high} clues or fewer: it agrees on {percent(few.agree)}, true on {percent(few.true)}."
        )
    if cost.later_pieces.pieces:
        facts.append(
            f"A later piece in an older look ({percent(cost.later_pieces.pieces)} of pieces): true on "
            f"{percent(cost.later_pieces.true)}."
        )
    facts.append(
        "Not on it: words and numbers of a label, makers, dated prints"
        + "".join(f", {title}" for title in card.missing)
        + ". Where one is found, date the piece exactly."
    )
    return facts


def elsewhere(card: PocketCard) -> Iterator[str]:
    """How the card does in other channels, where there are others."""
    others = sorted(card.cost.elsewhere.items(), key=lambda item: item[1][0])
    near = [name for name, (lost, _) in others if lost <= _AS_GOOD * card.cost.loss]
    worse = [(name, lost) for name, (lost, _) in others if name not in near]
    if worse:
        named = ", ".join(f"{name} {lost:.2f}" for name, lost in worse[:2] + worse[2:][-2:])
        good = f" About as well: {', '.join(near[:_EXAMPLES])}." if near else ""
        yield f"In other channels it loses more bits: {named}.{good}"


def _number(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _points(share: Share) -> str:
    return f"{share.low}" if share.low == share.high else f"{share.low}+"


def _per(value: float) -> str:
    return f"{100 * value:.0f}"


def text(card: PocketCard) -> str:
    """The card as text of at most 100 letters a line."""
    heads = [short(decade) for decade in card.decades]
    wide = max(min(6, (_PAPER - 30) // len(heads)), 4)
    name = _PAPER - wide * len(heads)
    name = min(name, 36)

    def line(label: str, cells: Sequence[object]) -> str:
        return f"{label[: name - 1]:<{name}}" + "".join(f"{cell!s:>{wide}}" for cell in cells)

    lines = [_title(card), *wrap(_made_for(card), _PAPER), *wrap(_how(card), _PAPER), ""]
    lines += [line("EVERY SCARF", heads), line("  starts with", _dots(card.start))]
    for clue, rows in card.rows.items():
        lines.append(line(card.titles[clue], heads))
        lines += [line(f"  {row.label}", _dots(row.points)) for row in rows]
    for title, facts in (
        ("What the sum is worth", worth(card)),
        ("When not to trust it", [*distrust(card), *elsewhere(card)]),
    ):
        lines += ["", title]
        for fact in facts:
            lines += wrap(fact, _PAPER, initial_indent="- ", subsequent_indent="  ")
    ahead = [_points(share) for share in card.cost.by_margin]
    lines += ["", line("AHEAD BY (points)", ahead)]
    lines.append(line("  as the exact decade, %", [_per(s.agree) for s in card.cost.by_margin]))
    lines.append(line("  the true decade, %", [_per(s.true) for s in card.cost.by_margin]))
    return "\n".join(lines)


def _dots(points: Sequence[int]) -> list[str]:
    return [str(point) if point else "·" for point in points]
