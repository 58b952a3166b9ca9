"""Small drawings for views of answers: what is lettered at full size stands below them, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from scarfdate.show import page
from scarfdate.strokes.pen import Sheet, as_text, in_words, picture
from scarfdate.strokes.shown import EVERY_WORD, Shown
from scarfdate.strokes.sketches import SKETCHES, TOUCH, Sketch

NAKED_EYE = 5.0  # times as large as life: what is drawn larger is seen through a glass only
_EDGE = 1.0  # mm on paper, around
_EM = 0.165  # of the letters around it, for one mm of paper: some half of its full size
WIDEST = 16.0  # em
_HEM, _FINER = "hem", 2.5
# mm of the thing that are left out: below an edge, before a label's letters, and above the label
_BELOW, _BEFORE_LETTERS, _ABOVE_LABEL = 1.2, 7.3, 6.0
HAND = ("long_side", EVERY_WORD)  # the row that says how wide a hand is


def small(row: Shown, sketch: Sketch, hand: float, head: str, widest: float = WIDEST) -> page.Html:
    """A drawing in small with its heading, views and bar in words below; ``widest``: em.

    ``hand``: how wide a hand is, mm.
    """
    sheet = Sheet(row.times, hand, lettered=False)
    sketch(sheet, row)
    drawn, wide, high = sheet.done()
    root = picture(wide + 2 * _EDGE, high + 2 * _EDGE, head, row.alt)
    drawn.set("x", f"{_EDGE:g}")
    drawn.set("y", f"{_EDGE:g}")
    root.append(drawn)
    size = min((wide + 2 * _EDGE) * _EM, widest)
    root.set("style", f"display:block;width:{size:.2f}em;max-width:100%;height:auto")
    views = f" ({'; '.join(sheet.names)})" if sheet.names else ""
    bar = in_words(sheet.bar()).replace(" ", "\u00a0")  # no number apart from its unit
    return page.figure(as_text(root), f"{head}{views}; the bar is {bar}", size)


def icon(
    row: Shown, sketch: Sketch, hand: float, times: float, wide: float, high: float
) -> page.Html:
    """A part of a drawing's first view, ``wide`` by ``high`` mm of paper: the edge of a hem, letters of a label.

    ``times``: mm of paper for one of the thing. It is drawn larger and made smaller, so that its lines are fine.
    """
    drawn = times * _FINER
    sheet = Sheet(drawn, hand, lettered=False)
    sketch(sheet, row)
    view = sheet.root[0]
    _, _, over, down = map(float, view.get("viewBox", "").split())
    width, height = wide * _FINER, high * _FINER
    if row.family == _HEM:
        left, top = (over - width) / 2, down - height - _BELOW * drawn
    else:
        left, top = _BEFORE_LETTERS * drawn, (_ABOVE_LABEL + row.other / 2) * drawn - height / 2
    shown = picture(wide, high, row.word, row.alt)
    view.attrib |= {"x": "0", "y": "0", "width": f"{wide:g}", "height": f"{high:g}"}
    view.set("viewBox", f"{left:g} {top:g} {width:g} {height:g}")
    shown.append(view)
    return page.Html(as_text(shown))


def beside_words(
    family: str, words: Sequence[str], rows: Mapping[tuple[str, str], Shown]
) -> tuple[dict[str, page.Html], list[str]]:
    """For each word of a family its drawing, or why it has none; and what is to stand below them all."""
    general = rows.get((family, EVERY_WORD))
    found, drawn = {}, False
    for word in words:
        row = rows.get((family, word))
        sketch = SKETCHES.get((family, word))
        if row is not None and sketch is not None and HAND in rows:
            found[word] = small(row, sketch, rows[HAND].other, word)
            drawn = True
        elif row is not None and row.reason:
            found[word] = page.small_letters(f"No drawing. {row.reason}")
    below = [f"No drawings. {general.reason}"] if general is not None and general.reason else []
    return found, [*below, TOUCH] if drawn else below
