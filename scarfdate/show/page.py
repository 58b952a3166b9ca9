"""HTML for notebooks, made of plain values: the only place that escapes what a person wrote.

A view is pieces one below the other: text as it prints, tables, bars, drawings of our own. All of it is inline: no
script, no reference, nothing from elsewhere. It takes the colour of the page around it, and a column of 420 pixels is
enough: what a bar or a line means stands in words beside it. No word is broken; one that is too long
makes the view scroll.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterator, Sequence
from html import escape
from itertools import pairwise
from typing import Literal

# what notebooks set for tables (even columns, small letters, stripes) is set anew in every cell
_VIEW = (
    "max-width:44em;overflow-x:auto;line-height:1.35;text-align:left;"
    "word-break:keep-all;overflow-wrap:normal;hyphens:manual"
)
_TABLE = "border-collapse:collapse;table-layout:auto;margin:.3em 0 .5em;border:0;font-size:1em"
_CELL = "padding:.15em .8em .15em 0;border:0;vertical-align:top;max-width:none"
# notebooks set what stands between dollars as mathematics, in which a link may run code
NO_MATHEMATICS = "mathjax_ignore tex2jax_ignore"
_BAR = 10.0  # em, the longest bar
_BESIDE = 25.0  # em, what stands beside a table of bars
_BREAKS = re.compile(r"\S[-–/]\S")  # where a browser would break a word, or a range of years
_HELD = 60  # letters of a word that is held together there
_GAP = re.compile(" {2,}")  # between what stands in columns
_PER_CENT = re.compile(r"(?<=\d) %")

Line = Literal["double", "dashed", "dotted"]
# what each is called; where two meet, the earlier is drawn
_LINES: dict[Line, str] = {"double": "twice", "dashed": "in dashes", "dotted": "in dots"}


class Html(str):
    """Text that is HTML already; any other text is escaped. Templates know it by ``__html__``."""

    __slots__ = ()

    def __html__(self) -> str:
        return self


_NOTHING = Html()


def escaped(text: str) -> Html:
    """Text in which no letter means anything to a browser, and which breaks only between words."""
    if isinstance(text, Html):
        return text
    held = "".join(map(_held, re.split(r"(\s+)", _plain(text))))
    return Html(_PER_CENT.sub("&#160;%", held))


def _held(word: str) -> str:
    safe = escape(word)
    if len(word) > _HELD or not _BREAKS.search(word):
        return safe
    return f'<span style="white-space:nowrap">{safe}</span>'


def _plain(text: str) -> str:
    """As many letters, without those that control or turn about what follows."""
    return "".join(
        one if one.isprintable() or one == "\n" else " " if one.isspace() else "?" for one in text
    )


def view(*parts: str) -> str:
    """Pieces one below the other; of text each line is a paragraph, and "- " begins a line of a list."""
    inside = "".join(part if isinstance(part, Html) else paragraphs(part) for part in parts)
    return f'<div class="{NO_MATHEMATICS}" style="{_VIEW}">{inside}</div>'


def paragraphs(text: str) -> Html:
    """Text of people as HTML: a line a paragraph, "- " an item of a list."""
    made, listed = "", False
    for line in text.split("\n"):
        body = line.strip()
        item = body.startswith("- ")
        if listed and not item:
            made += "</ul>"
        if item and not listed:
            made += '<ul style="margin:.3em 0;padding-left:1.2em">'
        listed = item
        if item:
            made += f"<li>{escaped(body[2:])}</li>"
        elif body:
            deep = (len(line) - len(line.lstrip())) / 2
            made += (
                f'<p style="margin:.3em 0 .3em {deep:g}em">{_GAP.sub("&#8195;", escaped(body))}</p>'
            )
    return Html(f"{made}</ul>" if listed else made)


def lines(each: Sequence[str]) -> Html:
    """A list, a line each."""
    return paragraphs("\n".join(f"- {' '.join(line.split())}" for line in each))


def table(
    rows: Sequence[Sequence[str]], *, caption: str = "", numbers: Container[int] = ()
) -> Html:
    """Rows of cells, under a line on what they are; ``numbers``: the columns that stand to the right."""

    def cells(row: Sequence[str]) -> Iterator[str]:
        for place, cell in enumerate(row):
            side = "right;white-space:nowrap" if place in numbers else "left;white-space:normal"
            yield f'<td style="{_CELL};text-align:{side}">{escaped(cell)}</td>'

    above = f'<p style="margin:.6em 0 .2em">{escaped(caption)}</p>' if caption else ""
    inside = "".join(f'<tr style="background:none">{"".join(cells(row))}</tr>' for row in rows)
    return Html(f'{above}<table style="{_TABLE}"><tbody>{inside}</tbody></table>')


def bar(part: float, longest: float = 1.0, room: float = _BAR, *, hollow: bool = False) -> Html:
    """A bar; the longest fills the room, in em. Drawn by borders, which are printed where fills are not."""
    return Html(
        f'<div style="width:{room:g}em;padding:.3em 0">{_block(part, longest, room, hollow)}</div>'
    )


def _block(part: float, longest: float, room: float, hollow: bool, more: str = "") -> str:
    width = room * min(abs(part) / longest, 1.0) if longest > 0 else 0.0
    fill = "border:1px solid;height:.7em" if hollow else "border-top:.7em solid;height:0"
    return f'<div style="box-sizing:border-box;width:{width:.2f}em;{fill}{more}"></div>'


def two_bars(before: float, after: float) -> Html:
    """A hollow bar, and below it a full one to hold against it; of shares, 0 to 1."""
    return Html(bar(before, hollow=True) + bar(after))


def balance(part: float, longest: float, room: float = _BAR) -> Html:
    """A bar from a line in the middle: full and to the right above 0, hollow and to the left below."""
    half = room / 2
    if part < 0:
        side = f"width:{half:g}em;border-right:1px solid"
        block = _block(part, longest, half, True, ";margin-left:auto")
    else:
        side = f"margin-left:{half:g}em;border-left:1px solid"
        block = _block(part, longest, half, False)
    return Html(
        f'<div style="width:{room:g}em"><div style="box-sizing:border-box;padding:.15em 0;{side}">'
        f"{block}</div></div>"
    )


def stretch(first: float, last: float, at: float, whole: tuple[float, float], room: float) -> Html:
    """A line from ``first`` to ``last`` with a mark ``at`` within it, on an axis over ``whole``."""
    low, high = whole
    scale = room / max(high - low, 1e-9)
    start, end, middle = ((min(max(x, low), high) - low) * scale for x in (first, last, at))
    before, after = max(middle - start, 0.0), max(end - middle, 0.0)
    return Html(
        f'<div style="width:{room + 1:g}em;white-space:nowrap;line-height:1;padding:.25em 0">'
        f'<span style="display:inline-block;margin-left:{start:.2f}em;width:{before:.2f}em;'
        'border-top:2px solid;vertical-align:middle"></span>'
        '<span style="display:inline-block;width:0;height:.8em;border-left:4px solid;'
        'vertical-align:middle"></span>'
        f'<span style="display:inline-block;width:{after:.2f}em;border-top:2px solid;'
        'vertical-align:middle"></span></div>'
    )


def under(word: str, small: str) -> Html:
    """A line, and below it a smaller one that belongs to it."""
    return Html(f"{escaped(word)}{small_letters(small)}")


def small_letters(text: str) -> Html:
    """A line in smaller letters."""
    return Html(f'<div style="font-size:.9em">{escaped(text)}</div>')


def over(word: str, drawing: Html | None) -> Html:
    """A line, and a drawing below it where there is one."""
    return Html(f"{escaped(word)}<div>{drawing}</div>") if drawing else escaped(word)


def end(text: str, *, opens: bool) -> Html:
    """Text behind a thick line where years begin, or before one where they end."""
    side = "left" if opens else "right"
    return Html(
        f'<div style="border-{side}:4px solid;padding:.1em .8em;margin:.4em 0;max-width:44em">'
        f"{paragraphs(text)}</div>"
    )


def sewn(
    text: str,
    marks: Sequence[tuple[int, int, Line]],
    keys: Sequence[tuple[Line, str]],
    *,
    cut: bool,
) -> Html:
    """A label as it is printed: each mark (first letter, behind the last, line) underlined and numbered,
    and below it what the lines mean.

    The edge is double where the label is whole, and below broken where it is ``cut``. Of marks beyond the
    end of the text only the part within it is drawn.
    """
    edge = "3px double" if not cut else "1px solid;border-bottom:2px dashed"
    return Html(
        f'<div style="display:inline-block;border:{edge};padding:.8em 1.4em;margin:.4em 0;'
        'text-align:center;white-space:pre-line;line-height:1.9;min-width:8em">'
        f"{_underlined(_plain(text), marks)}</div>{_keys(keys)}"
    )


def _underlined(text: str, marks: Sequence[tuple[int, int, Line]]) -> str:
    size = len(text)
    marks = [(first, min(last, size), line) for first, last, line in marks if first < size]
    places = sorted({0, size, *(place for first, last, _ in marks for place in (first, last))})
    made = ""
    for start, stop in pairwise(places):
        piece = escape(text[start:stop])
        over = [line for first, last, line in marks if first <= start and stop <= last]
        if over:
            piece = _lined(min(over, key=[*_LINES].index), text[start:stop])
        ends = [str(number) for number, (_, last, _) in enumerate(marks, 1) if last == stop]
        made += piece
        if ends:
            made += f'<sup style="font-size:.7em">{",".join(ends)}</sup>'
    return made


def _keys(keys: Sequence[tuple[Line, str]]) -> str:
    meant = "; ".join(f"{_lined(line, _LINES[line])}: {escaped(text)}" for line, text in keys)
    return f'<p style="margin:.3em 0">Underlined {meant}.</p>' if keys else ""


def _lined(line: Line, text: str) -> str:
    return (
        f'<span style="text-decoration:underline {line};text-underline-offset:.25em">'
        f"{escape(text)}</span>"
    )


def figure(svg: str, caption: str, wide: float) -> Html:
    """A drawing of our own, ``wide`` em, with words below it; figures stand side by side where there is room."""
    return Html(
        '<figure style="display:inline-block;vertical-align:top;margin:.3em 1.2em .3em 0;max-width:100%">'
        f'{svg}<figcaption style="font-size:.9em;max-width:{max(wide, 9.0) / 0.9:.2f}em">'
        f"{escaped(caption)}</figcaption></figure>"
    )


def beside(left: Html, right: Html) -> Html:
    """Bars and what stands beside them, or below them where the page is narrow."""
    if not right:
        return left
    box = "display:inline-block;vertical-align:top"
    return Html(
        f'<div><div style="{box};margin-right:1em">{left}</div>'
        f'<div style="{box};width:{_BESIDE:g}em;max-width:100%">{right}</div></div>'
    )


def bars(rows: Sequence[tuple[str, float]]) -> Html:
    """A small table of bars, a row a label and a chance."""
    longest = max((chance for _, chance in rows), default=1.0)
    cells = [(label, bar(chance, longest), _whole(chance)) for label, chance in rows]
    return table(cells, numbers=(0, 2))


def _whole(chance: float) -> str:
    return "<1 %" if 0 < chance < 0.005 else f"{100 * chance:.0f} %"


def card(
    text: str,
    rows: Sequence[tuple[str, float]],
    facts: Sequence[str],
    warnings: Sequence[str],
    more: Sequence[str] = (),
    drawings: Html = _NOTHING,
) -> str:
    """A dating as HTML: the sentence and ``more`` lines, the decades as bars beside drawings, facts, warnings."""
    notes = lines([*facts, *(f"note: {warning}" for warning in warnings)])
    return view(text, *more, beside(bars(rows), drawings), notes)


def word_table(
    text: str, rows: Sequence[tuple[str, str, str, Html | None]], more: Sequence[str] = ()
) -> str:
    """Words as HTML: one line on them, then each with its meaning, a drawing and the other words read as it;
    ``more`` below."""
    cells = [
        (
            strong(word),
            Html(over(means, drawing) + (small_letters(f"also: {also}") if also else "")),
        )
        for word, means, also, drawing in rows
    ]
    return view(text, table(cells), *more)


def strong(text: str) -> Html:
    """Text in bold letters."""
    return Html(f"<b>{escaped(text)}</b>")


def heading(text: str) -> Html:
    """A line in bold letters over what follows."""
    return Html(f'<p style="margin:.7em 0 .1em"><b>{escaped(text)}</b></p>')
