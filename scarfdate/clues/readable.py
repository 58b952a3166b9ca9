"""A scarf from the cells of a row that can be read: a cell that cannot be read costs itself alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from scarfdate.clues.kinds import fields_of, keywords
from scarfdate.clues.scarf import Scarf, partly_read
from scarfdate.errors import ScarfdateError, TableError
from scarfdate.reading.cells import is_blank
from scarfdate.reading.headings import read_headings
from scarfdate.tables.families import DESCRIPTION
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas as pd

_METHOD = "_method"
_UNIT = "unit"
_BARE = ("size", "width", "height", DESCRIPTION)  # columns of sizes that need not state their unit


def column_names(priors: Priors) -> list[str]:
    """Every name by which a column of a frame is read."""
    return [*keywords(priors), *(f"{name}{_METHOD}" for name in priors.confusion)]


def rows_of_cells(
    frame: pd.DataFrame, priors: Priors, unit: str | None = None
) -> Iterator[dict[str, object]]:
    """The cells of each row that are not blank, by the names of `Scarf`.

    ``unit``: of sizes where neither the cell nor the heading states one. Raises TableError where no column of the
    frame is known.
    """
    read = read_headings(list(frame.columns), column_names(priors), priors.headings)
    if len(frame) and not read.place:
        raise TableError("no column of the table is known; scarfdate words lists the clues")
    stated = next((read.units[name] for name in _BARE if name in read.units), unit)
    columns = {name: frame.iloc[:, place].tolist() for name, place in read.place.items()}
    for row in range(len(frame)):
        cells = {name: cells[row] for name, cells in columns.items() if not is_blank(cells[row])}
        yield with_unit(cells, stated)


def with_unit(cells: dict[str, object], unit: str | None) -> dict[str, object]:
    """Cells with the unit of their size, where they have one without a unit."""
    if unit and not cells.keys().isdisjoint(_BARE):
        cells.setdefault(_UNIT, unit)
    return cells


def readable(cells: Mapping[str, object], priors: Priors) -> tuple[Scarf, tuple[str, ...]]:
    """The scarf, and why each cell, or part of a cell, that is not in it was left out. ``cells``: by the names of
    `Scarf`."""
    try:
        return partly_read(cells, priors)
    except ScarfdateError:
        of_column, kept = fields_of(priors).of_column, dict[str, object]()
        scarf, partly = Scarf(priors=priors), tuple[str, ...]()
    # a size or a word and its method are read together
    together: dict[str, list[str]] = {}
    for name in cells:
        family = of_column.get(name)
        together.setdefault(family.name if family else name, []).append(name)
    left_out = []
    for names in together.values():
        more = kept | {name: cells[name] for name in names}
        try:
            scarf, partly = partly_read(more, priors)
            kept = more
        except ScarfdateError as error:
            left_out.append(str(error))
    return scarf, (*partly, *left_out)
