"""A priors folder read as a whole: every cell against the schema, every table against the others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

from scarfdate.conventions import GRADES
from scarfdate.errors import FileFault, PriorsError, did_you_mean
from scarfdate.tables.cache import Cache
from scarfdate.tables.checked import Table, check_by
from scarfdate.tables.contents import FIELDS, LANGUAGES, SLIP_VALUES, WORDS, Contents, kept
from scarfdate.tables.descriptions import DESCRIPTIONS
from scarfdate.tables.drawings import DRAWINGS
from scarfdate.tables.families import Family
from scarfdate.tables.folder import KINDS, kind_of, missing
from scarfdate.tables.lists import FASHIONS
from scarfdate.tables.schema import Words, schema
from scarfdate.tables.sets import of_kind
from scarfdate.tables.sheet import read_sheet
from scarfdate.tables.sheet_words import SHEET_WORDS
from scarfdate.tables.sorting import SORTING_KEYS
from scarfdate.tables.wording import WORDING
from scarfdate.tables.words import Vocabulary

# at the top of the folder, and not read in dating, or not needed
_OPTIONAL = (
    "disagreement_reasons.csv", "built_from.csv", "year_expert.csv", "cut_collections.csv",
    SLIP_VALUES, WORDING, LANGUAGES, DRAWINGS, SORTING_KEYS, SHEET_WORDS,
    DESCRIPTIONS, FASHIONS,
)  # fmt: skip


def read_contents(
    files: Mapping[str, bytes], folder: str, faults: list[FileFault], cache: Cache | None = None
) -> Contents:
    """All tables from all files. ``cache``: where what was read of them is put.

    Raises PriorsError, with every fault of every file at once.
    """
    tables = _tables(files, folder, faults)
    contents = Contents(tables, files, faults)
    _check_families(tables, contents.vocabulary, contents.families, faults)
    _check_all_there(tables, folder, faults)
    for name in FIELDS:
        contents.read(name)
    if faults:
        raise PriorsError(folder, _in_order(faults))
    if cache is not None:
        cache.put(files, tables)
    return contents


def _tables(
    files: Mapping[str, bytes], folder: str, faults: list[FileFault]
) -> Mapping[str, Table]:
    """Every file that the schema knows, its cells checked.

    Raises PriorsError where there are no words and families, by which all else is checked.
    """
    read = {}
    for name, content in files.items():
        if schema().of(name) is not None:
            read_it = partial(read_sheet, name, content, faults)
            sheet = kept(f"cells of {name}", content, faults, read_it)
            read[name] = replace(sheet, faults=faults)
    words = Words(read)
    tables: dict[str, Table] = {}
    for name in sorted(read, key=lambda name: name not in WORDS):
        declared = schema().of(name)
        assert declared is not None
        if name not in WORDS and len(tables) < len(WORDS):
            break
        kind, family = kind_of(name)
        if kind in KINDS and family not in words.families:
            tables[name] = Table(sheet=read[name])  # there are no words to check it by
            continue
        columns = declared.columns(words, read[name].header, name)
        check_it = partial(check_by, columns, read[name], declared)
        table = kept(name, (files[name], columns), faults, check_it)
        tables[name] = table.beside(read[name])
    for name in WORDS:
        if name not in tables:
            missing(name, faults)
    if not all(name in tables and tables[name].every for name in WORDS):
        raise PriorsError(folder, faults)
    return tables


def _in_order(faults: list[FileFault]) -> list[FileFault]:
    """Faults file by file and row by row; those of a whole file first."""
    files = list(dict.fromkeys(fault.file for fault in faults))
    return sorted(faults, key=lambda fault: (files.index(fault.file), fault.row or 0))


def _check_families(
    tables: Mapping[str, Table],
    vocabulary: Vocabulary,
    families: Mapping[str, Family],
    faults: list[FileFault],
) -> None:
    """Every family has its values and its table, and every table its family."""
    for family in families.values():
        if family.kind not in ("shares", "measured"):
            continue
        words = vocabulary.values.get(family.parent or family.name, ())
        if not words:
            faults.append(
                FileFault("vocabulary.csv", None, "family", "has no values for", family.name)
            )
            continue
        for value in family.unstated:
            if value not in words:
                step = did_you_mean(value, words)
                tables["families.csv"].fault(None, "unstated", "is not a value", value, step)
        if f"{family.kind}/{family.name}.csv" not in tables:
            missing(f"{family.kind}/{family.name}.csv", faults, "every family has its table")
    for name, table in tables.items():
        kind, own = kind_of(name)
        if kind in KINDS and own not in families:
            step = did_you_mean(own, list(families))
            table.fault(None, None, "no family of families.csv has this name", "", step)
        elif kind in KINDS and families[own].kind != of_kind(kind):
            problem = f"a table of {kind} is of a family of the kind {of_kind(kind)}"
            table.fault(None, None, problem, families[own].kind)
    if tuple(vocabulary.values.get("grade", GRADES)) != GRADES:
        tables["vocabulary.csv"].fault(None, None, f"the grades are {', '.join(GRADES)}")


def _check_all_there(tables: Mapping[str, Table], folder: str, faults: list[FileFault]) -> None:
    """Raises PriorsError where a file is missing that dating reads: without it the others are half of a whole."""
    needed = [name for name in schema().files if "/" not in name and name not in _OPTIONAL]
    for name in needed:
        if name not in tables:
            missing(name, faults)
    if any(name not in tables for name in needed):
        raise PriorsError(folder, _in_order(faults))
