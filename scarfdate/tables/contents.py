"""Every table of a priors folder, read from its files and held against the others."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from types import MappingProxyType
from typing import Any, TypeVar

import numpy as np

from scarfdate.conventions import GRADES
from scarfdate.errors import FileFault, PriorsError, did_you_mean
from scarfdate.tables.card import read_card
from scarfdate.tables.century import read_century
from scarfdate.tables.checked import Table, check_by
from scarfdate.tables.drawings import DRAWINGS, read_drawings
from scarfdate.tables.families import Family, read_families
from scarfdate.tables.folder import KINDS, kind_of, missing
from scarfdate.tables.knots import KnotTable, read_knot_table
from scarfdate.tables.label_files import read_label_rules
from scarfdate.tables.listing import (
    OF_A_DESCRIPTION,
    OF_CONDITION,
    PHRASE_FILES,
    CautionWhen,
    check_said,
    read_listing,
    read_not_said,
)
from scarfdate.tables.lists import (
    LIMITS,
    first_years,
    read_checks,
    read_known_by,
    read_limits,
    read_questions,
)
from scarfdate.tables.makers import read_makers
from scarfdate.tables.medium_files import read_medium_rules
from scarfdate.tables.noted import read_doubt, read_headings
from scarfdate.tables.noting import read_slip_values, read_slips
from scarfdate.tables.practice import LEVELS, PAIRS, read_practice
from scarfdate.tables.schema import Words, schema
from scarfdate.tables.sets import of_clues, of_kind
from scarfdate.tables.sheet import read_sheet
from scarfdate.tables.sorting import SORTING_KEYS, read_sorting_keys
from scarfdate.tables.wording import WORDING, Wording, read_wording
from scarfdate.tables.words import Vocabulary, read_vocabulary
from scarfdate.tables.worth_condition import CONDITION, ConditionTables, read_condition_tables
from scarfdate.tables.worth_pooling import POOLING, read_pooling

_SLIP_VALUES, _LANGUAGES = "slip_values.csv", "word_languages.csv"
# at the top of the folder, and not read in dating, or not needed
_OPTIONAL = (
    "disagreement_reasons.csv", "built_from.csv", "year_expert.csv", "cut_collections.csv",
    _SLIP_VALUES, WORDING, _LANGUAGES, DRAWINGS, SORTING_KEYS,
)  # fmt: skip
_NO_SLIPS = ("bounds",)  # kinds whose errors stand in another table, known_by.csv
_DECIDING = "worth/deciding.csv"
_ALL = 100  # per cent
_WORDS = ("vocabulary.csv", "families.csv")  # the two by whose words all others are checked
_MEDIUM = ("vocabulary.csv", "medium_rules.csv", "medium_together.csv")

T = TypeVar("T")
# What was last read of each file: two folders of priors mostly differ in a file or two
_KEPT: dict[str, tuple[object, Any]] = {}


def read_contents(
    files: Mapping[str, bytes], folder: str, faults: list[FileFault]
) -> dict[str, Any]:
    """All tables from all files, by the fields of `Priors`.

    Raises PriorsError, with every fault of every file at once.
    """
    tables = _tables(files, folder, faults)

    def kept(what: str, names: tuple[str, ...], read: Callable[[], T]) -> T:
        return _kept(what, [files.get(name) for name in names], faults, read)

    vocabulary = kept(
        "words",
        (*_WORDS[:1], *([_LANGUAGES] if _LANGUAGES in tables else [])),
        lambda: read_vocabulary(tables["vocabulary.csv"], tables.get(_LANGUAGES)),
    )
    families = read_families(tables["families.csv"])
    _check_families(tables, vocabulary, families, faults)
    limits = read_limits(tables[LIMITS], vocabulary) if LIMITS in tables else ()
    sets = of_clues(tables, vocabulary, families, first_years(limits))
    _check_all_there(tables, folder, faults)
    usual = sets.pop("")
    slipping = tuple(name for name, family in families.items() if family.kind not in _NO_SLIPS)
    slips, altered = read_slips(tables["slips.csv"], slipping)
    dated = tables["lags.csv"].names("@families of dated")
    not_said = read_not_said(tables[PHRASE_FILES[1]])
    for name in OF_CONDITION:
        if name in tables:
            check_said(tables[name], not_said)
    labels = (*_WORDS, *sorted(name for name in tables if name.startswith("label_")))
    parts: dict[str, Any] = {
        "vocabulary": vocabulary,
        "families": families,
        "shares": usual.shares,
        "measured": usual.measured,
        "confusion": usual.confusion,
        "slips": slips,
        "altered": altered,
        "known_by": read_known_by(tables["known_by.csv"]),
        "makers": read_makers(tables["makers.csv"]),
        "lags": read_knot_table(tables["lags.csv"], (*dated, "depicted_announced"), knot="lag"),
        "reissues": _read_reissues(tables["reissue.csv"]),
        "century": read_century(tables),
        "allowances": _read_single(tables["allowances.csv"]),
        "sets": MappingProxyType(sets),
        "medium": kept("medium", _MEDIUM, lambda: read_medium_rules(tables, vocabulary)),
        "doubt": kept("doubt", ("doubt.csv",), lambda: read_doubt(tables["doubt.csv"])),
        "headings": read_headings(tables["headings.csv"]),
        "questions": read_questions(tables["questions.csv"], {*families, *vocabulary.values}),
        "listing": read_listing(tables["listing.csv"], vocabulary, not_said),
        "phrases": read_listing(
            tables[PHRASE_FILES[0]], vocabulary, not_said, OF_A_DESCRIPTION, families
        ),
        "not_said": not_said,
        "caution_when": tuple(row.read_as(CautionWhen) for row in tables[PHRASE_FILES[2]].rows),
        "card": read_card(tables["card_eras.csv"], tables["card_rows.csv"], vocabulary, families),
        "label": kept("label", labels, lambda: read_label_rules(tables, vocabulary, families)),
        "checks": read_checks(tables["checks.csv"], families, vocabulary),
        "limits": limits,
        "wording": read_wording(tables[WORDING], vocabulary) if WORDING in tables else Wording({}),
        "drawings": read_drawings(tables[DRAWINGS], vocabulary)
        if DRAWINGS in tables
        else MappingProxyType({}),
        "sorting_keys": read_sorting_keys(tables[SORTING_KEYS], vocabulary)
        if SORTING_KEYS in tables
        else MappingProxyType({}),
        "practice": read_practice(tables[LEVELS], tables[PAIRS], vocabulary)
        if LEVELS in tables and PAIRS in tables
        else None,
        "says_little": _read_information(tables["information.csv"]),
        "condition": _read_condition(tables, files, faults),
        "pooling": read_pooling(tables[POOLING]) if POOLING in tables else None,
        "deciding": _read_single(tables[_DECIDING]) if _DECIDING in tables else None,
    }
    stated = read_slip_values(tables[_SLIP_VALUES], vocabulary) if _SLIP_VALUES in tables else {}
    if faults:
        raise PriorsError(folder, _in_order(faults))
    common = {name: table.usual for name, table in usual.shares.items()}
    return parts | {"usual_shares": MappingProxyType({**common, **stated})}


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
            sheet = _kept(f"cells of {name}", content, faults, read_it)
            read[name] = replace(sheet, faults=faults)
    words = Words(read)
    tables: dict[str, Table] = {}
    for name in sorted(read, key=lambda name: name not in _WORDS):
        declared = schema().of(name)
        assert declared is not None
        if name not in _WORDS and len(tables) < len(_WORDS):
            break
        kind, family = kind_of(name)
        if kind in KINDS and family not in words.families:
            tables[name] = Table(sheet=read[name])  # there are no words to check it by
            continue
        columns = declared.columns(words, read[name].header, name)
        check_it = partial(check_by, columns, read[name], declared)
        table = _kept(name, (files[name], columns), faults, check_it)
        tables[name] = replace(table, sheet=read[name])
    for name in _WORDS:
        if name not in tables:
            missing(name, faults)
    if not all(name in tables and tables[name].every for name in _WORDS):
        raise PriorsError(folder, faults)
    return tables


def _kept(what: str, same: object, faults: list[FileFault], read: Callable[[], T]) -> T:
    """What ``read()`` makes; what it made last if that was of the same contents, and without a fault."""
    contents, last = _KEPT.get(what, (None, None))
    made: T = last
    if contents == same:
        return made
    before = len(faults)
    made = read()
    if len(faults) == before:
        _KEPT[what] = same, made
    return made


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


def _read_condition(
    tables: Mapping[str, Table], files: Mapping[str, bytes], faults: list[FileFault]
) -> ConditionTables | None:
    """What is said of the condition of a piece; None in a folder that has none of it."""
    there = [name for name in CONDITION if name in tables]
    if not there:
        return None
    if len(there) < len(CONDITION):
        for name in CONDITION:
            if name not in there:
                missing(name, faults)
        return None
    contents = tuple(files[name] for name in CONDITION)
    return _kept("condition", contents, faults, lambda: read_condition_tables(tables))


def _read_single(table: Table) -> Mapping[str, float]:
    """Single numbers by what they are for; every word of the schema has a row."""
    found = {row["what"]: row["value"] for row in table.rows}
    for name in table.words("what") if table.whole else ():
        if name not in found:
            table.fault(None, "what", "a row is missing", name)
    return MappingProxyType(found)


def _read_reissues(table: Table) -> KnotTable:
    """``reissue.csv``: by family the chance, in per cent, of a design printed again by years since."""
    found = read_knot_table(table, ("chance",), key="family", knot="lag")
    for family, (knots, chances) in found.series.items() if table.whole else ():
        if np.interp(np.arange(knots[-1] + 1), knots, chances[:, 0]).sum() >= _ALL:
            table.fault(None, "chance", "all lags together make 100 or more", family)
    return found


def _read_information(table: Table) -> frozenset[str]:
    """The families of which a note may carry nothing about the decade."""
    return frozenset(
        row["family"]
        for row in table.rows
        if row["reaches_zero"] == "yes" and row["grade"] == "all"
    )
