"""How a piece is named on the command line: a row of a file, or clues as name=value."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from scarfdate.cli.front import source
from scarfdate.errors import ScarfdateError, TableError, did_you_mean, shown

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate import Scarf
    from scarfdate.tables.priors import Priors


def piece(seen: Sequence[str], wanted: str | None, priors: Priors) -> Scarf:
    """The one piece that is meant: a row of a file, by its id, or clues as name=value."""
    from scarfdate import Scarf

    if len(seen) == 1 and "=" not in seen[0]:
        clues = _row(seen[0], wanted, priors)
    elif wanted is not None:
        raise click.UsageError("--id goes with one file, as in: FILE --id ID")
    else:
        clues = _pairs(seen, priors)
    return Scarf.from_dict(clues, priors=priors)


def places(wanted: pd.Series) -> list[int]:
    """Where a column of yes and no says yes, counted from 0."""
    return [place for place, yes in enumerate(wanted.tolist()) if yes]


def column(frame: pd.DataFrame, name: str) -> pd.Series | None:
    """A column by its name as the reader compares names."""
    from scarfdate.reading.cells import column_name

    found = [place for place, column in enumerate(frame.columns) if column_name(column) == name]
    return frame.iloc[:, found[0]] if found else None


def _row(file: str, wanted: str | None, priors: Priors) -> dict[str, object]:
    """The clues of one row of a file."""
    from scarfdate.answer.again import without_answers
    from scarfdate.answer.date import COLUMNS
    from scarfdate.columns.sheet import read_sheet
    from scarfdate.reading.cells import column_name

    frame = without_answers(read_sheet(source(file), priors=priors).clues, COLUMNS)
    if wanted is None:
        if len(frame) > 1:
            raise click.UsageError(f"the file has {len(frame)} rows; say which one with --id ID")
        rows = [0]
    else:
        ids = column(frame, "id")
        if ids is None:
            raise TableError(f"{file}: there is no column 'id' to look for {shown(wanted)} in")
        plain = ids.str.strip()
        rows = places(plain == wanted.strip())
        if not rows:
            hint = did_you_mean(wanted, plain.unique().tolist())
            raise TableError(f"{file}: no row has the id {shown(wanted)}; {hint}")
        if len(rows) > 1:
            lines = ", ".join(str(frame.index[place]) for place in rows[:5])
            raise TableError(
                f"{file}: the id {shown(wanted)} stands in {len(rows)} rows "
                f"({frame.index.name} {lines}); give each piece its own"
            )
    cells = zip(frame.columns, frame.iloc[rows[0]], strict=True)
    given = {column_name(column): cell for column, cell in cells if cell.strip()}
    kept = {
        name: cell for name, cell in given.items() if name == "note" or not name.startswith("note")
    }
    return _known(kept, "column", priors)


def _pairs(seen: Sequence[str], priors: Priors) -> dict[str, object]:
    """Clues from arguments such as ``fibre=silk``."""
    from scarfdate.reading.cells import column_name

    found: dict[str, object] = {}
    for text in seen:
        name, equals, value = text.partition("=")
        if not equals:
            raise click.UsageError(
                f"write a clue as name=value, such as fibre=silk; got {shown(text)}"
            )
        if (plain := column_name(name)) in found:
            raise click.UsageError(
                f"{shown(name)} is given twice; write two possible words with their weights, such as "
                f'\'{plain}={{"silk": 0.8, "polyester": 0.2}}\''
            )
        found[plain] = value
    return _known(found, "clue", priors)


def _known(given: dict[str, object], what: str, priors: Priors) -> dict[str, object]:
    """The same, once every name is one that a scarf takes."""
    from scarfdate.clues.kinds import keywords

    known = [*keywords(priors), *(f"{name}_method" for name in priors.confusion)]
    for name in given:
        if name not in known:
            raise ScarfdateError(
                f"{what} {shown(name)} is not known; {did_you_mean(name, known)} (scarfdate words lists them)"
            )
    return given
