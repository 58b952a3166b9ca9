"""Conditions out of a sheet: a column ``condition`` of text, and a column a kind of fault (``holes``: 2)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from scarfdate.errors import TableError, shown
from scarfdate.reading.cells import column_name
from scarfdate.reading.frames import as_pandas
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.worth.condition import Condition, read_condition

if TYPE_CHECKING:
    import pandas as pd

COLUMN = "condition"


def conditions_of(frame: pd.DataFrame, priors: Priors | None = None) -> list[Condition | None]:
    """The condition of each row, None where no cell says anything of it.

    Read are a column ``condition``, with text as a dealer writes it, and columns headed by a kind of fault as
    a listing names it ("hole", "holes", "loose hem", "Flecken"), with a number, "no", or text ("20 mm
    corner"). Other columns are passed over. A cell that is not understood costs that cell: its words are in
    ``not_read``.

    Raises TableError where two columns are of one kind of fault.
    """
    known = checked_priors(priors)
    table = as_pandas(frame)
    kinds = fault_headings(known)
    columns: dict[str, int] = {}
    for place, name in enumerate(table.columns):
        heading = column_name(name) if isinstance(name, str) else ""
        kind = "" if heading == COLUMN else kinds.get(heading)
        if kind is None:
            continue
        if kind in columns:
            raise TableError(f"two columns are of {kind or COLUMN}: {shown(name)} is the second")
        columns[kind] = place
    cells = {kind: table.iloc[:, place].tolist() for kind, place in columns.items()}
    return [
        _of_row({kind: column[row] for kind, column in cells.items()}, known)
        for row in range(len(table))
    ]


def _of_row(cells: dict[str, object], priors: Priors) -> Condition | None:
    read = [read_condition(cell, priors, kind) for kind, cell in cells.items()]
    if not any(one.seen for one in read):
        return None
    stated = next((one.stated for one in read if one.stated is not None), None)
    return Condition(
        tuple(fault for one in read for fault in one.faults),
        stated=stated,
        not_read=tuple(word for one in read for word in one.not_read),
        priors=priors,
    )


def fault_headings(priors: Priors) -> dict[str, str]:
    """Each name of a kind of fault, as a heading is compared, and the kind."""
    tables = priors.condition
    if tables is None:
        return {}
    found: dict[str, str] = {}
    for (part, kind), phrases in tables.phrases.items():
        if part in ("one", "many"):
            names = [kind, kind.replace("our", "or"), *phrases.values()]  # colour and color
            found |= {column_name(name): kind for name in (*names, *(f"{name}s" for name in names))}
    return found
