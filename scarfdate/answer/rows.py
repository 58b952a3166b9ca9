"""Single rows of a table of pieces, as scarves: for what is asked of one piece of a pile."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from scarfdate.clues.kinds import fields_of, keywords
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.sides import SIZE
from scarfdate.errors import ScarfdateError
from scarfdate.reading.cells import is_blank
from scarfdate.reading.headings import read_headings
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas as pd

_UNIT, _NOTES = "unit", ("id", "note")


def scarves(
    frame: pd.DataFrame, places: Sequence[int], priors: Priors, unit: str | None = None
) -> Iterator[Scarf | None]:
    """The rows at some places, read as `date_table` reads them: what cannot be read is left out.

    None for a row whose cells are each right and cannot be true together.
    """
    fields = fields_of(priors)
    known = [*keywords(priors), *(f"{name}_method" for name in priors.confusion)]
    headings = read_headings(list(frame.columns), known, priors.headings)
    stated = headings.units.get(SIZE) or unit
    for row in places:
        cells = {
            name: frame.iloc[row, at] for name, at in headings.place.items() if name not in _NOTES
        }
        cells = {name: cell for name, cell in cells.items() if not is_blank(cell)}
        by_family: dict[str, dict[str, object]] = {}
        for name, cell in cells.items():
            if name in fields.of_column:
                by_family.setdefault(fields.of_column[name].name, {})[name] = cell
        right: dict[str, object] = {}
        for family, own in by_family.items():
            if family == SIZE and stated is not None and own.keys() != {_UNIT}:
                own.setdefault(_UNIT, stated)
            right |= own if _read(own, priors) is not None else {}
        yield _read(right, priors)


def nothing_noted(frame: pd.DataFrame, priors: Priors) -> list[int]:
    """The places of the rows without a clue: a number alone, the heading of a box, a blank piece."""
    fields = fields_of(priors)
    placed = read_headings(list(frame.columns), keywords(priors), priors.headings).place
    found = [True] * len(frame)
    for name, at in placed.items():
        field = fields.of_column.get(name)
        if field is not None and name not in (_UNIT, *_NOTES):
            cells = frame.iloc[:, at].tolist()
            found = [none and field.says_nothing(c) for none, c in zip(found, cells, strict=True)]
    return [place for place, none in enumerate(found) if none]


def _read(cells: dict[str, object], priors: Priors) -> Scarf | None:
    try:
        return Scarf.from_dict(cells, priors=priors)
    except ScarfdateError:
        return None
