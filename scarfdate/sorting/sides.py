"""Sides as they are typed at the table, and as a sheet may have them."""

from __future__ import annotations

from scarfdate.clues.scarf import Scarf
from scarfdate.clues.sides import SIZE
from scarfdate.errors import ScarfdateError
from scarfdate.tables.priors import Priors


def with_unit(priors: Priors, text: str, unit: str | None) -> str:
    """A size with a unit where it states none. Raises ScarfdateError where it states none and none is given."""
    if _can_be_read(priors, text) or not _can_be_read(priors, f"{text} cm"):
        return text  # or it is something else that is wrong
    if not unit:
        raise ScarfdateError(f"size: write its unit, too: {text} cm, or {text} in")
    return f"{text} {unit}"


def sides_as_cells(scarf: Scarf) -> dict[str, str]:
    """The sides in cm as cells, for a sheet that has a column for each."""
    sides = scarf.seen.get(SIZE)
    cells = {} if sides is None else sides.cells(SIZE)
    return {name: f"{cell:.6g}" for name, cell in cells.items() if isinstance(cell, float)}


def _can_be_read(priors: Priors, text: str) -> bool:
    try:
        Scarf(priors=priors, size=text)
    except ScarfdateError:
        return False
    return True
