"""From what was seen to row numbers: the only thing the exact sum is given."""

from __future__ import annotations

from collections.abc import Hashable

import numpy as np

from scarfdate.clues.clue import NOT_LOOKED_AT
from scarfdate.clues.label import LabelSeen, label_seen
from scarfdate.clues.shares import SharesClue
from scarfdate.errors import RangeError, nearest
from scarfdate.model.model import Codes, Model
from scarfdate.reading.cells import Observation
from scarfdate.reading.label import Label, read_label
from scarfdate.reading.scarf import Scarf, measurements
from scarfdate.tables.vocabulary import plain

_DIGITS = 6  # of how well a fibre fits: so that equal labels share a row


def encode(model: Model, scarf: Scarf) -> tuple[Codes, list[str]]:
    """The row numbers of one scarf, (1, clues), and warnings beside those of the scarf itself.

    Raises WordError where the scarf holds a word that these priors do not know, and RangeError where
    a year lies after ``as_of``.
    """
    codes = np.zeros((1, len(model.clues)), dtype=np.int32)
    warnings: list[str] = []
    measured = measurements(scarf, model.priors, [])
    for place, clue in enumerate(model.clues):
        if isinstance(clue, SharesClue):
            seen = scarf.observations.get(clue.name)
            cells = tuple(
                measure.cell(measured[measure.family.name])
                if measure.family.name in measured
                else None
                for measure in clue.measures
            )
            if seen is not None or any(cell is not None for cell in cells):
                codes[0, place] = clue.index((seen, cells))
    for name in ("depicted_year", "printed_year"):
        year = scarf.numbers.get(name)
        if year is not None and name in model.column:
            codes[0, model.column[name]] = model.index(
                name, dated_key(model, name, int(year), bool(scarf.announced))
            )
    if scarf.label_text and "label_text" in model.column:
        label = read_label(scarf.label_text, priors=model.priors)
        state = scarf.observations.get("label")
        fibre = scarf.observations.get("fibre")
        key_of = label_key(model, label, state.word if state else None, fibre)
        codes[0, model.column["label_text"]] = model.index("label_text", key_of)
    if scarf.maker and "maker" in model.column:
        seen = scarf.observations.get("signature")
        key, warning = maker_key(model, scarf.maker, (seen.word or "") if seen else "")
        codes[0, model.column["maker"]] = model.index("maker", key)
        if warning:
            warnings.append(warning)
        drop_told_by_maker(model, codes[0], key)
    return codes, warnings


def dated_key(model: Model, name: str, year: int, announced: bool) -> Hashable:
    """The key of a dated thing; RangeError where it lies in the future."""
    ahead = (
        int(model.priors.allowances["future_years"]) if announced and name == "depicted_year" else 0
    )
    if year > model.as_of + ahead:
        raise RangeError(
            f"{name}: {year} lies after {model.as_of}, the year of this dating (as_of); "
            "check the year, or give a later as_of"
        )
    return (year, "depicted_announced" if announced and name == "depicted_year" else name)


def label_key(
    model: Model, label: Label, state: str | None, fibre: Observation | None
) -> LabelSeen | None:
    """The key of a label's text beside the noted state of the label and the noted fibre.

    Missing marks count only where both say that the label is whole.
    """
    fits, named = 1.0, label.clues.get("fibre")
    clue = model.clues[model.column["fibre"]] if "fibre" in model.column else None
    if named and fibre is not None and isinstance(clue, SharesClue):
        every = clue.fits(fibre)
        fits = round(float(every[clue.values.index(named)] / every.max()), _DIGITS)
    return label_seen(label, intact=label.intact and state == label.state, fits=fits)


def maker_key(model: Model, maker: str, form: str) -> tuple[Hashable, str]:
    """The key of a maker (None where the dealer's file does not have it), and a warning or ""."""
    makers = model.priors.makers
    name = plain(maker)
    if name not in makers.windows:
        close = nearest(name, list(makers.names))
        hint = (
            f"; did you mean {' or '.join(makers.names[word] for word in close)}?" if close else ""
        )
        return (
            None,
            f"no maker {maker[:60]!r} in makers.csv: the name says nothing about the year{hint}",
        )
    return (name, form if form and makers.has_form(name, form) else ""), ""


def drop_told_by_maker(model: Model, codes: np.ndarray, key: Hashable) -> None:
    """Where the maker's file says when this form of signature was used, the general table is silent.

    Otherwise the same signature would be counted twice.
    """
    if isinstance(key, tuple) and key[1]:
        codes[model.column["signature"]] = NOT_LOOKED_AT
