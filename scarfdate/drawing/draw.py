"""`draw` and `draw_clue`: what a piece and its clues look like.

What is shown, its scale and its words: ``drawings.csv``. A word has a stroke there and here, or a reason there why
it has none.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from xml.etree.ElementTree import Element

from scarfdate.clues.measured import Measured
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.sides import LONG_SIDE, SIZE, Sides
from scarfdate.drawing.drawing import Drawing
from scarfdate.errors import ScarfdateError, WordError, did_you_mean
from scarfdate.errors import shown as quoted
from scarfdate.reading.cells import Observed
from scarfdate.reading.observation import Observation
from scarfdate.strokes.hems import INCH, SEWN
from scarfdate.strokes.pen import Sheet, as_text, in_words, picture, write
from scarfdate.strokes.pieces import LAYOUTS, beside_hand, framed
from scarfdate.strokes.shown import EVERY_WORD, Shown
from scarfdate.strokes.sketches import SKETCHES, TOUCH, Sketch
from scarfdate.strokes.small import HAND
from scarfdate.tables.priors import Priors, checked_priors

_FORM, _LAYOUT, _HEM, _STITCHES = "form", "layout", "hem", "stitches_per_inch"
_PLAIN_FORMS = ("square", "oblong")  # of which a drawing of the sides says all
_WIDEST, _LONGEST = 240.0, 110.0  # mm on paper: a picture of several drawings, and a piece in it
_EDGE, _BETWEEN, _HEAD = 3.0, 8.0, 6.0  # mm on paper: around, between, and above drawings
_MM = 10.0  # in a cm
_EXAMPLE = "These sides are an example, and not measured."


@dataclass(frozen=True)
class Part:
    """One drawing of a picture: its heading, how it is drawn, and its words."""

    head: str
    row: Shown
    sketch: Sketch


def draw_clue(clue: str, value: object = None, *, priors: Priors | None = None) -> Drawing:
    """What a clue looks like: ``draw_clue("hem", "hand-rolled")``.

    ``value``: whatever a `Scarf` takes for the clue; for a wider word ("rolled") and for weights all that it may be
    are drawn, for None every word of the clue; or a list of such values, each of which is drawn. ``draw_clue("stitches_per_inch", 14)`` draws an inch with 14
    stitches, ``draw_clue("size", "90 x 90 cm")`` a piece beside a hand.

    Raises WordError for a clue or word that is not known, and for what cannot be drawn, with the reason.
    """
    known = checked_priors(priors)
    clues = [*known.families, SIZE]
    if not isinstance(clue, str) or clue not in clues:
        hint = did_you_mean(clue if isinstance(clue, str) else "", clues)
        raise WordError(f"no clue {quoted(clue)} is known; {hint}")
    values = value if isinstance(value, list) else [value]
    parts, left_out = _sorted(known, [(clue, _noted(known, clue, one)) for one in values])
    if not parts:
        raise WordError(f"{clue} cannot be drawn: {' '.join(left_out)}")
    return _joined(known, _title(known, clue), parts, left_out)


def _noted(priors: Priors, clue: str, value: object) -> Observed | None:
    """The value of a clue as it is noted, None for every word of it."""
    if value is None:
        return None
    seen = Scarf(priors=priors, **{clue: value}).seen.get(clue)
    if seen is None:
        raise WordError(f"{clue}: {quoted(value)} says that nobody looked, so nothing can be drawn")
    return seen


def draw(scarf: Scarf | Mapping[str, object], *, priors: Priors | None = None) -> Drawing:
    """A piece as it was noted: its sides to scale beside a hand, its layout, and each clue that can be drawn.

    The caption says what was noted and is not drawn, and why. Raises ScarfdateError (or one of its kinds) for what
    is no scarf, and where nothing was noted that can be drawn.
    """
    known = checked_priors(priors)
    piece = scarf.under(known) if isinstance(scarf, Scarf) else Scarf.from_dict(scarf, priors=known)
    parts, left_out = parts_of(known, piece.seen)
    if not parts:
        raise ScarfdateError(f"nothing was noted that can be drawn. {' '.join(left_out)}".strip())
    return _joined(known, f"scarf {piece.id}".strip(), parts, left_out)


def parts_of(priors: Priors, seen: Mapping[str, Observed]) -> tuple[list[Part], list[str]]:
    """The drawings of what was noted of a piece, the whole piece first; sentences on what is not drawn."""
    whole = _whole(priors, seen)
    measured = isinstance(seen.get(SIZE), Sides)
    rest = [(name, one) for name, one in seen.items() if name not in _in_whole(seen, whole)]
    counted = seen.get(_STITCHES)
    stitches = counted.value if isinstance(counted, Measured) else None
    parts, left_out = _sorted(priors, rest, stitches)
    if any(part.row.family == _HEM and part.row.word in SEWN for part in parts):
        parts = [part for part in parts if part.row.family != _STITCHES]  # drawn in the hem
    return [*whole, *(_of_any_size(part, measured) for part in parts)], left_out


def _of_any_size(part: Part, measured: bool) -> Part:
    """A form is drawn at a size of its own; of a piece it says that this is not the piece's."""
    if part.row.family != _FORM:
        return part
    own = "The piece itself has the sides that were measured." if measured else _EXAMPLE
    return replace(part, row=replace(part.row, alt=f"{part.row.alt} {own}"))


def _sorted(
    priors: Priors, seen: Iterable[tuple[str, Observed | None]], stitches: float | None = None
) -> tuple[list[Part], list[str]]:
    """What is drawn, and sentences on what is not; ``stitches``: of the hem in an inch, None where not counted."""
    parts: list[Part] = []
    left_out: dict[str, None] = {}
    for clue, one in seen:
        for head, row in _rows(priors, clue, one):
            sketch = SKETCHES.get((row.family, row.word)) if row else None
            if row is None or sketch is None:
                reason = row.reason if row else ""
                left_out[f"{head}: {reason or 'there is no drawing of it.'}"] = None
            elif isinstance(one, Sides):
                parts.append(Part(head, row, _sides))
            elif stitches and row.family == _HEM and row.word in SEWN:
                parts.append(Part(head, _counted(row, stitches), sketch))
            else:
                parts.append(Part(head, row, sketch))
    return parts, [*left_out]


def _rows(priors: Priors, clue: str, seen: Observed | None) -> Iterator[tuple[str, Shown | None]]:
    """What ``drawings.csv`` says of a clue, value by value, each with its heading."""
    family = LONG_SIDE if clue == SIZE else clue
    title = _title(priors, clue)
    general = priors.drawings.get((family, EVERY_WORD))
    if isinstance(seen, Measured) and general is not None and family == _STITCHES:
        yield f"{title}: {seen.value:g}", _counted(general, seen.value)
    elif isinstance(seen, Sides) and general is not None:
        yield f"{title}: {_measures(seen)}", _scaled(general, seen)
    else:
        words = [*_words(priors, family, seen)]
        maybe = "perhaps " if seen is not None and len(words) > 1 else ""
        for word in words:
            own = priors.drawings.get((family, word))
            told_apart = own is not None or general is None
            yield f"{title}: {maybe}{word}" if word and told_apart else title, own or general


def _words(priors: Priors, family: str, seen: Observed | None) -> Iterable[str]:
    """The values that are to be drawn; "" for a family without words."""
    values = priors.vocabulary.values.get(family)
    if values is None:
        return [""]
    if not isinstance(seen, Observation):
        return values
    children = priors.vocabulary.children
    return dict.fromkeys(value for word, _ in seen.terms for value in children(family, word))


def _counted(row: Shown, stitches: float) -> Shown:
    """The row with so many stitches in an inch."""
    alt = f"{row.alt} Here {stitches:g} stitches in an inch."
    return replace(row, every=INCH / stitches, alt=alt)


# --------------------------------------------------------------------------------- the whole piece


def _whole(priors: Priors, seen: Mapping[str, Observed]) -> list[Part]:
    """The piece itself, where its sides, form or layout were noted."""
    general = priors.drawings.get((LONG_SIDE, EVERY_WORD))
    layout, form = (_word(seen, name) for name in (_LAYOUT, _FORM))
    sides = seen.get(SIZE)
    row = priors.drawings.get((_LAYOUT, layout))
    inside = LAYOUTS.get(layout) if row is not None else None
    if general is None or not (isinstance(sides, Sides) or inside):
        return []
    if not isinstance(sides, Sides):
        of_form = priors.drawings.get((_FORM, form))
        size, other = (
            (of_form.size, of_form.other) if of_form and of_form.alt else (general.size,) * 2
        )
        sides = Sides(size / _MM, other / _MM)
        noted, alt = "sides not noted", f"{general.alt} {_EXAMPLE}"
    else:
        noted, alt = _measures(sides), _scaled(general, sides).alt
    alt += f" Its layout is {layout}." if inside else ""

    def sketch(sheet: Sheet, shown: Shown) -> None:
        pen = beside_hand(sheet, shown.size, shown.every)
        if inside and row is not None:
            inside(pen, row)
        framed(pen)

    head = f"{layout}, {noted}" if inside else f"{noted}, without its pattern"
    return [Part(head, replace(_scaled(general, sides), alt=alt), sketch)]


def _in_whole(seen: Mapping[str, Observed], whole: list[Part]) -> set[str]:
    """Names of what the whole piece shows already."""
    if not whole:
        return set()
    plain = {_FORM} if _word(seen, _FORM) in _PLAIN_FORMS else set()
    layout = {_LAYOUT} if _word(seen, _LAYOUT) in LAYOUTS else set()
    return {SIZE} | plain | layout


def _word(seen: Mapping[str, Observed], family: str) -> str:
    one = seen.get(family)
    return (one.word or "") if isinstance(one, Observation) else ""


def _both(sides: Sides) -> tuple[float, float]:
    """Width and height in mm; one that was not measured is as long as the other."""
    width, height = sides.width, sides.height
    known = width if width is not None else height if height is not None else 0.0
    return ((known if width is None else width) * _MM, (known if height is None else height) * _MM)


def _measures(sides: Sides) -> str:
    return (
        " x ".join("?" if side is None else f"{side:g}" for side in (sides.width, sides.height))
        + " cm"
    )


def _scaled(general: Shown, sides: Sides) -> Shown:
    """The row of sides for a piece: ``size`` by ``every`` mm, at a scale at which it has room."""
    width, height = _both(sides)
    times = min(general.times, _LONGEST / max(width, height))
    alt = f"{general.alt} Here {_measures(sides)}."
    return replace(general, size=width, every=height, times=times, alt=alt)


def _sides(sheet: Sheet, row: Shown) -> None:
    framed(beside_hand(sheet, row.size, row.every))


# --------------------------------------------------------------------------------- the picture


def _title(priors: Priors, clue: str) -> str:
    family = priors.families.get(clue)
    return family.title if family else clue


def _joined(priors: Priors, title: str, parts: list[Part], left_out: list[str]) -> Drawing:
    """All drawings in rows on one picture, each under its heading."""
    placed: list[tuple[Part, Element, float, float]] = []
    x, y, high, widest = _EDGE, _EDGE, 0.0, 0.0
    said = []
    hand = hand_of(priors)
    for part in parts:
        sheet = Sheet(part.row.times, hand)
        part.sketch(sheet, part.row)
        root, wide, tall = sheet.done()
        if x > _EDGE and x + wide > _WIDEST:
            x, y, high = _EDGE, y + high + _BETWEEN, 0.0
        placed.append((part, root, x, y))
        widest, high = max(widest, x + wide), max(high, tall + _HEAD)
        x += wide + _BETWEEN
        said.append(
            f"{part.head}. {part.row.alt} {_scale(part.row.times)}; the bar is {in_words(sheet.bar())}."
        )
    alt = " ".join(f"{part.head}. {part.row.alt}" for part in parts)
    root = picture(widest + _EDGE, y + high + _EDGE, title, alt)
    for part, drawn, left, top in placed:
        write(root, part.head, (left, top + _HEAD - 2))
        drawn.set("x", f"{left:g}")
        drawn.set("y", f"{top + _HEAD:g}")
        root.append(drawn)
    missing = [f"Not drawn: {' '.join(left_out)}"] if left_out else []
    return Drawing(svg=as_text(root), alt=alt, caption="\n".join([*said, *missing, TOUCH]))


def hand_of(priors: Priors) -> float:
    """How wide a hand is, mm."""
    return (priors.drawings.get(HAND) or checked_priors(None).drawings[HAND]).other


def _scale(times: float) -> str:
    """The scale of a picture at its full size."""
    if times >= 1:
        return f"At full size {times:.3g} times as large as life"
    return f"At full size 1 : {1 / times:.0f}"
