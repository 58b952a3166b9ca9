"""Drawings in small, to stand beside an answer: what of a piece the naked eye sees."""

from __future__ import annotations

from collections.abc import Mapping

from scarfdate.clues.sides import LONG_SIDE
from scarfdate.drawing.draw import Part, hand_of, parts_of
from scarfdate.reading.cells import Observed
from scarfdate.show import page
from scarfdate.strokes.sketches import TOUCH
from scarfdate.strokes.small import NAKED_EYE, WIDEST, small
from scarfdate.tables.priors import Priors

_FORM, _LABEL, _LABEL_MAKE = "form", "label", "label_make"
_SHOWN = (LONG_SIDE, _FORM, "motif", "hem", _LABEL_MAKE)  # in this order
_MOST = 4  # drawings beside an answer
NOT_THIS_PIECE = f"Such things look like this; it is not this very piece. {TOUCH}"


def drawings(priors: Priors, seen: Mapping[str, Observed]) -> page.Html:
    """The whole piece, its pattern, its hem and its label, as far as they were noted; nothing where none was."""
    parts = [part for part in parts_of(priors, seen)[0] if part.row.family in _SHOWN]
    if any(part.row.family == LONG_SIDE for part in parts):  # its shape is seen there
        parts = [part for part in parts if part.row.family != _FORM]
    if not parts:
        return page.Html()
    parts.sort(key=lambda part: _SHOWN.index(part.row.family))
    shown = [of_part(priors, part) for part in parts[:_MOST]]
    return page.Html("".join([*shown, page.paragraphs(NOT_THIS_PIECE)]))


def of_clues(
    priors: Priors, seen: Mapping[str, Observed], widest: float
) -> Mapping[str, page.Html]:
    """The drawings of each clue that the naked eye sees, by its family; ``widest``: em."""
    parts = [part for part in parts_of(priors, seen)[0] if part.row.times <= NAKED_EYE]
    families = dict.fromkeys(part.row.family for part in parts)
    if _LABEL_MAKE in families:  # a whole label is drawn as a woven one
        families.pop(_LABEL, None)
    return {
        family: page.Html(
            "".join(of_part(priors, part, widest) for part in parts if part.row.family == family)
        )
        for family in families
    }


def of_part(priors: Priors, part: Part, widest: float = WIDEST) -> page.Html:
    """One drawing in small; ``widest``: em."""
    return small(part.row, part.sketch, hand_of(priors), part.head, widest)
