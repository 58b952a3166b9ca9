"""Every column of every table is checked: by `load_priors`, by `scarfdate check-priors` and by frictionless.

Cells are spoiled on purpose, in each column in every way that its declaration rules out. Outside reference:
frictionless, the reference implementation of the Table Schema, reading the shipped ``datapackage.json``.
"""

from __future__ import annotations

import csv
import json
import shutil
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from scarfdate import PriorsError, load_priors
from scarfdate.building.year import date_widths
from scarfdate.cli import cli
from scarfdate.tables.column import NUMBERS, TYPES, Column
from scarfdate.tables.priors import shipped_folder
from scarfdate.tables.schema import Words, schema
from scarfdate.tables.sheet import Sheet, read_sheet

SHIPPED = shipped_folder()
FILES = sorted(path.relative_to(SHIPPED).as_posix() for path in SHIPPED.rglob("*.csv"))
# by whose words all others are checked: spoiled by themselves, not to spoil these
WORDS = ("vocabulary.csv", "families.csv")
HOW = (
    "missing",
    "unfit",
    "below",
    "above",
)  # unfit: no number, no word of the list, or of a wrong form
# columns of free text that may be blank: every text is right there: nearly all a source and a note of each table
# (the words of the vocabulary and of the headings have no source)
FREE_TEXT = Counter(
    source=116,
    note=117,
    type=1,
    value=3,
    alt=1,
    reason=1,
    caution=1,
    not_where=2,
    parent=1,
    unit=1,
    unstated=1,
    word=2,
    named=1,
    law=1,
    why=1,
    means=2,
    remark=1,
)
Place = tuple[str, int, str]  # file, line, column


def _sheets() -> dict[str, Sheet]:
    return {name: read_sheet(name, (SHIPPED / name).read_bytes(), []) for name in FILES}


SHEETS = _sheets()


def columns_of(name: str) -> Iterator[Column]:
    declared = schema().of(name)
    assert declared is not None, f"{name} is not declared"
    known = {own.name: own for own in declared.columns(Words(SHEETS), SHEETS[name].header, name)}
    return (known[column] for column in SHEETS[name].header)


def spoiled(column: Column, how: str) -> str | None:
    """A cell that cannot stand in the column for this reason; None where the column has no such limit."""
    number = column.type in NUMBERS
    if how == "missing":
        return None if column.blank else ""
    if how == "below":
        return None if not number or column.low is None else f"{column.low - 1:.15g}"
    if how == "above":
        return None if not number or column.high is None else f"{column.high + 1:.15g}"
    return "Such is none!" if number or column.words is not None or column.pattern else None


SPOILS = [
    (name, place, column.name, how, cell)
    for name in FILES
    for place, column in enumerate(columns_of(name))
    for how in HOW
    if (cell := spoiled(column, how)) is not None
]


def line_of(name: str, place: int) -> int:
    """The line in which a column is spoiled: each column in another one, as far as there are rows."""
    lines = SHEETS[name].lines
    return lines[place % len(lines)]


def spoil(folder: Path, how: str, words: bool) -> None:
    """Spoil a cell of every column of every file of a folder."""
    for name in FILES:
        own = [one for one in SPOILS if one[0] == name and one[3] == how]
        if not own or (name in WORDS) != words:
            continue
        with (SHIPPED / name).open(encoding="utf-8", newline="") as stream:
            rows = list(csv.reader(stream))
        for _, place, _, _, cell in own:
            rows[SHEETS[name].lines.index(line_of(name, place)) + 1][place] = cell
        with (folder / name).open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream, lineterminator="\n").writerows(rows)


@pytest.fixture(scope="module")
def refused(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, tuple[set[Place], str]]:
    """For each way to spoil: the places that `load_priors` names, and what check-priors prints."""
    found = {}
    for how in HOW:
        places: set[Place] = set()
        printed = ""
        for words in (True, False):
            folder = tmp_path_factory.mktemp("spoiled") / "priors"
            shutil.copytree(SHIPPED, folder)
            spoil(folder, how, words)
            if any(one[3] == how and (one[0] in WORDS) == words for one in SPOILS):
                with pytest.raises(PriorsError) as caught:
                    load_priors(folder)
                places |= {(f.file, f.row or 0, f.column or "") for f in caught.value.faults}
                result = CliRunner().invoke(cli, ["check-priors", str(folder)])
                assert result.exit_code == 1
                printed += result.output
        found[how] = (places, printed)
    return found


@pytest.fixture(scope="module")
def by_frictionless(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, set[tuple[Any, ...]]]:
    """For each file, (how, column) that frictionless finds wrong in a table of spoiled rows."""
    frictionless = pytest.importorskip("frictionless")
    package = json.loads((SHIPPED / "datapackage.json").read_text("utf-8"))
    folder = tmp_path_factory.mktemp("frictionless")
    found: dict[str, set[tuple[Any, ...]]] = {}
    for described in package["resources"]:
        name = described["path"]
        own = [one for one in SPOILS if one[0] == name]
        header, first = SHEETS[name].header, next(SHEETS[name].rows)
        rows = []
        for _, _, column, _, cell in own:
            rows.append([cell if key == column else first[key] for key in header])
        with (folder / "one.csv").open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([header, *rows])
        described["schema"].pop("primaryKey", None)  # the rows are all alike but for one cell
        (folder / "one.json").write_text(
            json.dumps({**described, "path": "one.csv"}), encoding="utf-8"
        )
        report = frictionless.Resource(str(folder / "one.json")).validate()
        errors = report.flatten(["rowNumber", "fieldName"])
        places = {(own[row - 2][3], column) for row, column in errors if column == own[row - 2][2]}
        found[name] = places
        wrong = {(own[row - 2][2], column) for row, column in errors}
        assert all(spoilt == column for spoilt, column in wrong), (name, wrong)
    return found


@pytest.mark.slow
@pytest.mark.parametrize(("name", "place", "column", "how", "cell"), SPOILS)
def test_a_spoiled_cell_is_refused_by_all_three(
    name: str, place: int, column: str, how: str, cell: str, refused, by_frictionless
) -> None:
    places, printed = refused[how]
    line = line_of(name, place)
    assert (name, line, column) in places
    assert f"{name}, row {line}, column {column}: " in printed
    assert (how, column) in by_frictionless[name]


def test_every_column_of_every_table_is_spoiled_or_is_free_text() -> None:
    spoilt = {(name, column) for name, _, column, _, _ in SPOILS}
    free = [
        (name, column.name)
        for name in FILES
        for column in columns_of(name)
        if (name, column.name) not in spoilt
    ]
    every = {(name, column.name): column for name in FILES for column in columns_of(name)}
    assert len(every) == len(spoilt) + len(free)
    for place in free:
        own = every[place]
        assert (own.type, own.blank, own.words, own.pattern) == ("text", True, None, ""), place
    assert Counter(column for _, column in free) == FREE_TEXT


def test_what_is_declared_is_of_a_known_sort() -> None:
    assert {column.type for name in FILES for column in columns_of(name)} <= set(TYPES)
    assert schema().words["kinds of statement"] == date_widths(load_priors()).kinds


# ------------------------------------------------------------------ what once was declared twice

# The two declarations differed in these; each cell passed one of them. Written down from the reading of the code.
ONCE = [
    ("label_rules.csv", "absence", "Yes"), ("label_rules.csv", "status", "heard"), ("label_rules.csv", "means", ""),
    ("label_rules.csv", "fact", ""), ("label_rules.csv", "stock_lag", "-1"), ("law_limits.csv", "status", "heard"),
    ("law_limits.csv", "fact", ""), ("law_limits.csv", "allowed", "101"), ("slips.csv", "rate", "0"),
    ("slips.csv", "rate", "51"), ("checks.csv", "minutes", "0"), ("checks.csv", "minutes", "601"),
    ("measured/momme.csv", "spread", "1"), ("makers.csv", "rate", "0"), ("allowances.csv", "what", "luck"),
    ("channels.csv", "grades", "nowhere"), ("museum/intervals.csv", "statement", "an age"), ("trade/hem.csv", "rows", "-1"),
]  # fmt: skip


def test_what_once_passed_one_of_two_declarations_is_refused_by_the_one(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(SHIPPED, tmp_path / "priors"))
    wanted = set()
    for place, (name, column, cell) in enumerate(ONCE):
        with (folder / name).open(encoding="utf-8", newline="") as stream:
            rows = list(csv.reader(stream))
        rows[place % (len(rows) - 1) + 1][rows[0].index(column)] = cell
        wanted.add((name, place % (len(rows) - 1) + 2, column))
        with (folder / name).open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream, lineterminator="\n").writerows(rows)
    with pytest.raises(PriorsError) as caught:
        load_priors(folder)
    assert wanted <= {(fault.file, fault.row, fault.column) for fault in caught.value.faults}


def test_yes_with_a_capital_is_a_fault_in_each_of_six_rows(tmp_path: Path) -> None:
    text = (SHIPPED / "label_rules.csv").read_text("utf-8")
    assert text.count(",yes,") >= 6
    (tmp_path / "label_rules.csv").write_text(text.replace(",yes,", ",Yes,", 6), "utf-8")
    with pytest.raises(PriorsError) as caught:
        load_priors(tmp_path)
    assert len(caught.value.faults) == 6
    for fault in caught.value.faults:
        assert (fault.file, fault.column, fault.got) == ("label_rules.csv", "absence", "'Yes'")
        assert fault.row is not None
        assert fault.next_step == "did you mean 'yes'?"
