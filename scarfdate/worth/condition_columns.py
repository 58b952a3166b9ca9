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

    Read are columns ``condition`` or headed as people head it ("Cond.", "Flaws", "Zustand"), with text as a dealer
    writes it, and columns headed by a kind of fault as a listing names it ("hole", "holes", "loose hem",
    "Flecken"), with a number, "no", or text ("20 mm corner"). Other columns are passed over. A cell that is not
    understood costs that cell: its words are in ``not_read``.

    Raises TableError where two columns are of one kind of fault, or two are named condition.
    """
    return [condition for condition, _ in conditions_read(frame, priors)]


def conditions_read(
    frame: pd.DataFrame, priors: Priors | None = None
) -> list[tuple[Condition | None, tuple[str, ...]]]:
    """`conditions_of`, and by row the words that were not understood, those of a condition that is None, too."""
    known = checked_priors(priors)
    table = as_pandas(frame)
    kinds = fault_headings(known)
    # by the kind, or by the heading of a condition in words
    columns: dict[str, tuple[str, int]] = {}
    for place, name in enumerate(table.columns):
        heading = column_name(name) if isinstance(name, str) else ""
        kind = kinds.get(heading)
        if kind is None and COLUMN not in (heading, known.headings.column(heading)):
            continue
        key = kind or heading
        if key in columns:
            raise TableError(f"two columns are of {key}: {shown(name)} is the second")
        columns[key] = kind or "", place
    cells = [(kind, table.iloc[:, place].tolist()) for kind, place in columns.values()]
    return [
        _of_row([(kind, column[row]) for kind, column in cells], known) for row in range(len(table))
    ]


def _of_row(
    cells: list[tuple[str, object]], priors: Priors
) -> tuple[Condition | None, tuple[str, ...]]:
    read = [read_condition(cell, priors, kind) for kind, cell in cells]
    not_read = tuple(word for one in read for word in one.not_read)
    if not any(one.seen for one in read):
        return None, not_read
    stated = next((one.stated for one in read if one.stated is not None), None)
    faults = tuple(fault for one in read for fault in one.faults)
    return Condition(faults, stated=stated, not_read=not_read, priors=priors), not_read


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
