"""How a piece is named on the command line: a row of a file, or clues as name=value."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scarfdate.cli.front import Layout, not_read, say_wrapped, source
from scarfdate.errors import ScarfdateError, TableError, did_you_mean, shown
from scarfdate.show.terminal import say
from scarfdate.tables.families import DESCRIPTION

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate import Scarf
    from scarfdate.columns.sheet import Sheet
    from scarfdate.tables.priors import Priors


def piece(seen: Sequence[str], wanted: str | None, priors: Priors, layout: Layout) -> Scarf:
    """The one piece that is meant: a row of a file, by its id, clues as name=value, or a description in free words."""
    from scarfdate import Scarf
    from scarfdate.clues.readable import with_unit
    from scarfdate.words.units import checked_unit

    if wanted is None and len(seen) == 1 and _is_description(seen[0], priors):
        seen = [f"{DESCRIPTION}={seen[0]}"]
    if len(seen) == 1 and "=" not in seen[0]:
        _, row, unit = row_of(seen[0], wanted, priors, layout)
        return scarf_of(row, priors, unit)
    elif wanted is not None:
        raise click.UsageError("--id goes with one file, as in: FILE --id ID")
    clues = with_unit(pairs(seen, priors), checked_unit(layout.unit))
    scarf = Scarf.from_dict(clues, priors=priors)
    if DESCRIPTION in clues:
        say_wrapped(f"Read in the description: {_told(scarf)}.", err=True)
    return scarf


def _is_description(text: str, priors: Priors) -> bool:
    """Whether the one argument is free words: neither a file, nor name=value, nor a word that people often ask about."""
    words = text.split()
    if len(words) < 2 or "=" in text or priors.question(text) is not None:
        return False
    path = Path(text)
    return not path.suffix or " " in path.suffix or path.suffix.endswith(".")


def _told(scarf: Scarf) -> str:
    """What a description was read as: "fibre silk, form square"."""
    from scarfdate.columns.understood import cell_in_words

    cells: dict[str, Any] = {n: cell for n, cell in scarf.to_dict().items() if n != DESCRIPTION}
    methods = cells.pop("methods", {})
    sides = [f"{cells.pop(name):.4g}" for name in ("width_cm", "height_cm") if name in cells]
    said = [f"{name.replace('_', ' ')} {cell_in_words(cell)}" for name, cell in cells.items()]
    said += [f"size {' x '.join(sides)} cm"] if sides else []
    said += [f"{name} by the {how}" for name, how in methods.items()]
    return ", ".join(said) or "nothing of a clue"


def apart(seen: Sequence[str], condition: str | None) -> tuple[tuple[str, ...], str | None]:
    """Clues, and the faults that were written among them (``condition=...``) or behind the option."""
    own = [text.partition("=")[2] for text in seen if text.partition("=")[0].strip() == "condition"]
    if len(own) + (condition is not None) > 1:
        raise click.UsageError("the condition is given twice; write all faults in one")
    clues = tuple(text for text in seen if text.partition("=")[0].strip() != "condition")
    if own and not clues:
        raise click.UsageError("say what else was seen, such as fibre=silk")
    return clues, own[0] if own else condition


def scarf_of(row: pd.DataFrame, priors: Priors, unit: str | None = None) -> Scarf:
    """A row of a file as every verb reads it, without the cells that cannot be read: each is told on standard error."""
    from scarfdate.clues.readable import readable, rows_of_cells
    from scarfdate.words.units import checked_unit

    (cells,) = rows_of_cells(row, priors, checked_unit(unit))
    scarf, left_out = readable(cells, priors)
    for reason in left_out:
        say_wrapped(f"left out: {reason}", err=True)
    not_read(left_out)
    return scarf


def places(wanted: pd.Series) -> list[int]:
    """Where a column of yes and no says yes, counted from 0."""
    return [place for place, yes in enumerate(wanted.tolist()) if yes]


def column(frame: pd.DataFrame, name: str, priors: Priors) -> pd.Series | None:
    """A column by its name as the reader reads headings."""
    place = _places(frame, priors).get(name)
    return None if place is None else frame.iloc[:, place]


def _places(frame: pd.DataFrame, priors: Priors) -> dict[str, int]:
    from scarfdate.clues.readable import column_names
    from scarfdate.reading.headings import read_headings

    return read_headings(list(frame.columns), column_names(priors), priors.headings).place


def row_of(
    file: str, wanted: str | None, priors: Priors, layout: Layout
) -> tuple[pd.DataFrame, pd.DataFrame, str | None]:
    """The one row of a file that is meant, by its id, as it was written and by our names, tables of one; and the unit
    of sizes that state none."""
    from scarfdate.answer.again import without_answers
    from scarfdate.answer.date import ANSWERS

    _answered(file, priors)
    read = sheet_of(file, priors, layout)
    frame = without_answers(read.clues, ANSWERS)
    if wanted is None and len(frame) > 1:
        raise click.UsageError(f"the file has {len(frame)} rows; say which one with --id ID")
    row = [0 if wanted is None else place_of(frame, file, wanted, priors)]
    return read.table.iloc[row], frame.iloc[row], read.unit


def sheet_of(file: str, priors: Priors, layout: Layout) -> Sheet:
    """A file of pieces; how it was read is told on standard error."""
    from scarfdate.columns.sheet import read_sheet
    from scarfdate.words.units import checked_unit

    read = read_sheet(
        source(file), columns=layout.columns, priors=priors, sheet=layout.sheet, encoding=layout.encoding,
        unit=checked_unit(layout.unit),
    )  # fmt: skip
    for remark in read.remarks:
        say_wrapped(f"note: {remark}", err=True)
    return read


def say_left_out(rows: Iterable[tuple[str, str]]) -> bool:
    """Whether anything was left out; what, of each piece by its name, is told on standard error. How to state a unit
    is told once, where a whole column lacks it."""
    from scarfdate.words.lengths import WHICH_UNIT

    asked, any_left = "", False
    for name, told in rows:
        say(f"{name}: left out: {told.replace(asked, '') if asked else told}", err=True)
        any_left = True
        if WHICH_UNIT in told:
            asked = f"; {WHICH_UNIT}"
    return any_left


def place_of(frame: pd.DataFrame, file: str, wanted: str, priors: Priors) -> int:
    """Where the row with this id stands, counted from 0."""
    ids = column(frame, "id", priors)
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
    return rows[0]


def _answered(words: str, priors: Priors) -> None:
    """Raises ScarfdateError with the answer where people often ask for this, though it is no clue."""
    question = priors.question(words)
    if question is not None:
        ask = f" Type: {question.type}" if question.type else ""
        raise ScarfdateError(
            f"{shown(words)} is no clue, but often asked for. {question.says}{ask}"
        )


def pairs(seen: Sequence[str], priors: Priors) -> dict[str, object]:
    """Clues from arguments such as ``fibre=silk``."""
    from scarfdate.clues.readable import column_names
    from scarfdate.reading.headings import heading_of

    names = column_names(priors)
    found: dict[str, object] = {}
    for text in seen:
        name, equals, value = text.partition("=")
        if not equals:
            raise click.UsageError(
                f"write a clue as name=value, such as fibre=silk; got {shown(text)}"
            )
        plain = heading_of(name, names, priors.headings)
        if plain not in names:
            _answered(name, priors)
            raise ScarfdateError(
                f"clue {shown(plain)} is not known; {did_you_mean(plain, names)} (scarfdate words lists them)"
            )
        if plain in found:
            raise click.UsageError(
                f"{shown(plain)} is given twice; write both in one, as in 'fibre=silk or rayon'"
            )
        found[plain] = value
    return found
