"""Folders of priors of an older format: what they lack, and the same folder in the present format.

What stands in an older folder stays as it is, but for a word that newer formats tell more finely (``finer`` in
``schema.toml``: a synonym of rayon that is a kind of it). Tables that it lacks are the shipped ones; the cells of a column that it
lacks, and rows that other tables speak of, are as ``schema.toml`` says (``older``, ``gains``).
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from scarfdate.errors import FileFault
from scarfdate.files import csv_bytes
from scarfdate.formats import PRIORS
from scarfdate.tables.column import Column
from scarfdate.tables.descriptor import described
from scarfdate.tables.folder import DESCRIPTOR, MISSING, hash_of_files, stated_format
from scarfdate.tables.schema import TableSchema, schema
from scarfdate.tables.sheet import Sheet

_SOURCE = "The same folder in an older format"
_OF_A_BUILD = (
    "built_from.csv"  # says what records the tables beside it were built from, and no others
)
_SHIPPED = "@shipped"


def upgraded(
    old: Mapping[str, bytes],
    shipped: Mapping[str, bytes],
    sheets: Mapping[str, tuple[Sheet, Sheet]],
) -> tuple[dict[str, bytes], list[str]]:
    """The files of an older folder in the present format, by name, and a line for each thing that is new in it.

    ``sheets``: the tables that both it and the shipped folder have, as read. A folder without a descriptor holds
    single tables, and gets no others. Nothing is checked.
    """
    # one kind of line end throughout, as in the tables that are written anew; the hash knows no other
    files = {name: content.replace(b"\r\n", b"\n") for name, content in old.items()}
    notes = list[str]()
    for name, (own, other) in sheets.items():
        declared = schema().of(name)
        if declared is not None:
            cells, said = _table(own, other, declared)
            files |= {name: csv_bytes(cells)} if said else {}
            notes += said
    if DESCRIPTOR not in old:
        return files, notes
    tables = {name for name in shipped if name.endswith(".csv") and name != _OF_A_BUILD}
    lacks = sorted(tables - {*old})
    notes += [f"{name}: the shipped table, for the folder had none" for name in lacks]
    files |= {name: shipped[name] for name in lacks}
    told = described(files) | {"sources": [{"title": _SOURCE, "hash": hash_of_files(old)}]}
    text = json.dumps(told, ensure_ascii=False, indent=1)
    return files | {DESCRIPTOR: f"{text}\n".encode()}, notes


def older_fault(files: Mapping[str, bytes], faults: Sequence[FileFault]) -> list[FileFault]:
    """What to do about the faults of a folder where some are those of an older format; nothing where none is."""
    if stated_format(files) == PRIORS.version:
        return []
    tables = schema().of
    for fault in faults:
        declared = tables(fault.file)
        new = {column.name for column in declared.lines if column.older} if declared else set()
        if fault.problem in MISSING and (fault.row is None or fault.column in new):
            problem = f"the folder is of an older format than {PRIORS.version}"
            step = "scarfdate upgrade-priors OLD NEW makes one of the present format of it"
            return [FileFault(DESCRIPTOR, None, None, problem, "", step)]
    return []


def _table(old: Sheet, shipped: Sheet, declared: TableSchema) -> tuple[list[list[str]], list[str]]:
    """The cells of one table in the present format, and what is new in it; nothing new where it says nothing."""
    lacks = [c for c in declared.lines if c.older is not None and c.name not in old.header]
    key = [column for column in declared.told_apart_by or declared.key if column in old.header]
    theirs = {tuple(row[column] for column in key): row for row in shipped.rows}
    notes = [f"{old.name}: the column {c.name} is new ({_whence(c)})" for c in lacks]
    kept, had, renamed = list[Mapping[str, str]](), set[tuple[str, ...]](), 0
    for row in old.rows:
        at = tuple(row[column] for column in key)
        had.add(at)
        same = theirs.get(at, {})
        cells = {
            c.name: same.get(c.name, "") if c.older == _SHIPPED else c.older or "" for c in lacks
        }
        finer = _finer(row, same, declared)
        renamed += any(row[name] != word for name, word in finer.items())
        unsaid = [c.name for c in lacks if not cells[c.name] and not c.blank]
        if unsaid:
            notes.append(
                f"{old.name}: the row {', '.join(at)} is left out, for nobody says its {unsaid[0]}"
            )
        else:
            kept.append({**row, **cells, **finer})
    more = [row for at, row in theirs.items() if at not in had] if declared.gains else []
    notes += [f"{old.name}: rows from the shipped table, {len(more)} of them"] if more else []
    notes += [f"{old.name}: {renamed} rows in a word that is new"] if renamed else []
    new = [column.name for column in lacks]
    order = [column for column in shipped.header if column in old.header or column in new]
    order += [column for column in old.header if column not in order]
    return [order, *([row.get(name, "") for name in order] for row in (*kept, *more))], notes


def _finer(
    row: Mapping[str, str], shipped: Mapping[str, str], declared: TableSchema
) -> dict[str, str]:
    """The cells of a row in words that its format did not know, where the shipped row says the same but for them."""
    finer = {c.name: c.finer for c in declared.lines if c.finer and shipped.get(c.name) == c.finer}
    others = [c.name for c in declared.lines if c.name not in finer and not c.optional]
    return finer if all(row.get(name) == shipped.get(name) for name in others) else {}


def _whence(column: Column) -> str:
    return "of the shipped row" if column.older == _SHIPPED else f"{column.older!r} throughout"
