"""Conditions out of a sheet: a column ``condition`` of text, and a column a kind of fault (``holes``: 2)."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from scarfdate.errors import TableError, shown
from scarfdate.reading.cells import as_typed, column_name, is_blank
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
    return [one.condition for one in conditions_read(frame, priors)]


class OfRow(NamedTuple):
    """What one row says: its condition, None where no cell says anything of it; the words that were not understood;
    and what was written."""

    condition: Condition | None
    not_read: tuple[str, ...]
    written: str


def conditions_read(frame: pd.DataFrame, priors: Priors | None = None) -> list[OfRow]:
    """`conditions_of`, and by row what was not understood and what was written, of a condition that is None, too."""
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


def _of_row(cells: list[tuple[str, object]], priors: Priors) -> OfRow:
    read = [read_condition(cell, priors, kind) for kind, cell in cells]
    not_read = tuple(word for one in read for word in one.not_read)
    texts = [as_typed(cell).strip() for kind, cell in cells if not kind and not is_blank(cell)]
    written = "; ".join(text for text in texts if text)
    if not any(one.seen for one in read):
        return OfRow(None, not_read, written)
    graded = next((one for one in read if one.stated is not None), None)
    faults = tuple(fault for one in read for fault in one.faults)
    denied = tuple(kind for one in read for kind in one.denied)
    found = Condition(
        faults, stated=graded and graded.stated, not_read=not_read, denied=denied, written=written,
        named=graded.named if graded else "", priors=priors,
    )  # fmt: skip
    return OfRow(found, not_read, written)


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
