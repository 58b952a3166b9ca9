"""The description of the priors is that of the files, and a general validator accepts it.

Outside reference: frictionless, the reference implementation of the Data Package and Table Schema.
"""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest

from scarfdate import load_priors
from scarfdate.errors import PriorsError
from scarfdate.tables.descriptor import describe, write_descriptor
from scarfdate.tables.priors import shipped_folder
from scarfdate.tables.schema import schema

SHIPPED = shipped_folder()


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SHIPPED, tmp_path / "priors"))


def faults_of(folder: Path, file: str = "") -> list[tuple[str, str]]:
    """Faults of all files that the descriptor lists, or of one of them (that takes a moment only)."""
    frictionless = pytest.importorskip("frictionless")
    path = folder / "datapackage.json"
    if file:
        described = json.loads(path.read_text("utf-8"))
        described["resources"] = [own for own in described["resources"] if own["path"] == file]
        assert described["resources"]
        path = folder / "one.json"
        path.write_text(json.dumps(described), "utf-8")
    report = frictionless.validate(str(path))
    return [(row[0], row[1]) for row in report.flatten(["type", "fieldName"])]


def test_the_shipped_one_is_that_of_the_files():
    shipped = json.loads((SHIPPED / "datapackage.json").read_text("utf-8"))
    assert shipped == json.loads(json.dumps(describe(SHIPPED)))


def test_every_csv_is_listed_once_and_described():
    resources = describe(SHIPPED)["resources"]
    paths = [resource["path"] for resource in resources]
    assert sorted(paths) == sorted(
        p.relative_to(SHIPPED).as_posix() for p in SHIPPED.rglob("*.csv")
    )
    assert len({resource["name"] for resource in resources}) == len(resources)
    for resource in resources:
        header = (SHIPPED / resource["path"]).read_text("utf-8").splitlines()[0].split(",")
        assert [field["name"] for field in resource["schema"]["fields"]] == header
        assert resource["description"].endswith(".")
        assert "owner" not in resource["description"]
        for field in resource["schema"]["fields"]:
            assert field["description"].endswith("."), (resource["path"], field)
            assert "owner" not in field["description"], (resource["path"], field)


def test_no_part_of_a_key_is_empty_and_no_key_stands_there_twice():
    # Table Schema, primaryKey: its fields cannot be null; frictionless lets a part of a key be null
    for resource in describe(SHIPPED)["resources"]:
        columns = resource["schema"].get("primaryKey", [])
        with (SHIPPED / resource["path"]).open(encoding="utf-8", newline="") as stream:
            keys = [tuple(row[column] for column in columns) for row in csv.DictReader(stream)]
        assert all(map(all, keys)), resource["path"]
        assert not columns or len(set(keys)) == len(keys), resource["path"]


def test_no_file_is_declared_that_is_not_there():
    """But for the one that learning adds."""
    missing = [name for name in schema().files if not (SHIPPED / name).is_file()]
    assert missing == ["slip_values.csv"]


@pytest.mark.slow
def test_a_general_validator_finds_no_fault():
    assert faults_of(SHIPPED) == []


@pytest.mark.sampled(10)
@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("shares/hem_thread.csv", "1880,fine,72,", "1880,fine,172,", ("constraint-error", "silk")),
        ("shares/hem_thread.csv", "1880,fine,", "1880,finest,", ("constraint-error", "grade")),
        ("slips.csv", "common practice", "hearsay", ("constraint-error", "basis")),
        ("slips.csv", "fibre,1.5", "fibre,much", ("type-error", "rate")),
        ("medium_rules.csv", "silk,en,fibre,", "silk,en,fiber,", ("constraint-error", "family")),
        ("medium_rules.csv", "silk,en,fibre,silk", "silk,en,fibre,", ("constraint-error", "gives")),
        ("medium_together.csv", "fibre,any", "cloth,any", ("constraint-error", "family")),
        ("survival.csv", "1880,2,", "1880,200,", ("constraint-error", "fine")),
        ("channels.csv", ",scarf_like,,", ",scarves,,", ("constraint-error", "records")),
        ("year_museum.csv", "\n1881,", "\n1880,", ("primary-key", None)),
        ("year_museum.csv", "\n1880,", "\n1880,-", ("constraint-error", "density")),
        ("law_limits.csv", "1905,1920", "soon,1920", ("type-error", "not_before")),
        ("information.csv", ",no,", ",perhaps,", ("constraint-error", "reaches_zero")),
        ("expert/shares/fibre.csv", "1880,fine,", "1880,fine,-", ("constraint-error", "silk")),
        ("museum/shares/fibre.csv", "\n1880,any,", "\n1880,some,", ("constraint-error", "grade")),
        ("museum/measured/long_side.csv", ",square,", ",round,", ("constraint-error", "given")),
        ("museum/intervals.csv", ",a decade,", ",an age,", ("constraint-error", "statement")),
        ("museum/intervals.csv", "dress,1800,", "dress,about,", ("type-error", "first")),
        ("museum/borrowed.csv", "fibre,0.0,", "fibre,7.0,", ("constraint-error", "weight")),
        ("museum/compared.csv", "fibre,1880,", "fibre,old,", ("type-error", "decade")),
        ("museum/disagreements.csv", ",law,law,", ",law,luck,", ("constraint-error", "follows")),
        ("trade/fibre.csv", "\n1900,", "\n1900,-", ("constraint-error", "silk")),
        ("trade/long_side.csv", "1880,any,", "1880,round,", ("constraint-error", "given")),
        ("trade/statements.csv", "form,1930,", "shape,1930,", ("constraint-error", "family")),
        ("label_words.csv", "\nsilk,en,", "\nall silk,en,", ("primary-key", None)),
        ("label_words.csv", "\nsilk,en,", "\n,en,", ("constraint-error", "phrase")),
        ("label_words.csv", "\nsilk,en,", "\nsilk,eng,", ("constraint-error", "language")),
        ("label_words.csv", "silk,en,fibre,", "silk,en,fiber,", ("constraint-error", "mark")),
        ("label_words.csv", ",opening,", ",openings,", ("constraint-error", "mark")),
        ("label_words.csv", ",us,", ",usa,", ("constraint-error", "markets")),
        ("label_values.csv", ",the fibre name silk,", ",,", ("constraint-error", "title")),
        ("label_values.csv", ",fibre,silk,", ",fiber,silk,", ("constraint-error", "family")),
        ("label_values.csv", ",us | canada,", ",us & canada,", ("constraint-error", "markets")),
        ("label_rules.csv", "\norigin,", "\norigins,", ("constraint-error", "mark")),
        ("label_rules.csv", ",us,bound,", ",usa,bound,", ("constraint-error", "market")),
        ("label_rules.csv", ",bound,", ",bind,", ("constraint-error", "role")),
        ("label_rules.csv", ",1890,1891,1891,", ",1890,1891,soon,", ("type-error", "not_before")),
        ("label_rules.csv", ",1890,1891,", ",1890,18910,", ("constraint-error", "in_force")),
        ("label_rules.csv", ",1952,1.5,", ",1952,-1.5,", ("constraint-error", "stock_lag")),
        ("label_rules.csv", ",1980,,,8,", ",1980,,,800,", ("constraint-error", "before")),
        ("label_rules.csv", ",yes,", ",perhaps,", ("constraint-error", "absence")),
        ("label_rules.csv", ",read,", ",heard,", ("constraint-error", "status")),
        ("label_shown.csv", "\norigin,us,1891,", "\norigin,us,1880,", ("primary-key", None)),
        ("label_shown.csv", "\norigin,us,", "\norigins,us,", ("constraint-error", "mark")),
        ("label_shown.csv", ",us,1880,25,", ",us,1880,250,", ("constraint-error", "full")),
        ("label_shown.csv", ",us,1880,25,12,", ",us,1880,25,few,", ("type-error", "brief")),
        ("label_style.csv", "\n1930,", "\n1880,", ("primary-key", None)),
        ("label_style.csv", "\n1880,15,", "\n1880,-15,", ("constraint-error", "full")),
        ("label_numbers.csv", "\nwpl,13669,", "\nwpl,101,", ("primary-key", None)),
        ("label_numbers.csv", "\nwpl,101,", "\nwool,101,", ("constraint-error", "series")),
        ("label_numbers.csv", ",101,1941,0.5,", ",101,1941,0,", ("constraint-error", "spread")),
        ("label_use.csv", "\nany,0,40,", "\nany,-1,40,", ("primary-key", None)),
        ("label_use.csv", "\nany,0,40,", "\nany,0,400,", ("constraint-error", "weight")),
        ("families.csv", "label_text,label,", "label_text,tag,", ("constraint-error", "kind")),
        ("allowances.csv", "mark_elsewhere,", "mark_misread,", ("primary-key", None)),
        ("allowances.csv", "mark_misread,", "mark_misread,-", ("constraint-error", "value")),
    ],
)
def test_a_general_validator_finds_what_is_wrong(copied, file, old, new, fault):
    path = copied / file
    text = path.read_text("utf-8")
    assert old in text
    assert faults_of(copied, file) == []
    path.write_text(text.replace(old, new, 1), "utf-8")
    assert fault in faults_of(copied, file)


def told(folder: Path) -> dict[str, str]:
    return {resource["path"]: resource["description"] for resource in describe(folder)["resources"]}


def test_it_says_which_tables_were_built_and_of_what():
    built = told(SHIPPED)
    for name in ("shares/fibre.csv", "measured/long_side.csv"):
        assert "Expert rows with museum records added by" in built[name]
    for name in ("shares/motif.csv", "shares/hem.csv"):
        assert "Expert rows with trade descriptions added by" in built[name]
    assert "Not built by" in built["shares/hem_thread.csv"]
    assert "before records were added" in built["expert/shares/fibre.csv"]
    assert "In use in channels: museum" in built["museum/shares/fibre.csv"]


def test_what_was_added_is_told_from_the_rows_themselves(copied):
    (copied / "shares/motif.csv").write_bytes((copied / "expert/shares/motif.csv").read_bytes())
    text = (copied / "shares/hem.csv").read_text("utf-8")
    (copied / "shares/hem.csv").write_text(
        text.replace(" trade rows (", " museum records (", 1), "utf-8"
    )
    (copied / "expert/shares/fibre.csv").unlink()
    built = told(copied)
    assert "added nothing" in built["shares/motif.csv"]
    assert "museum records and trade descriptions added" in built["shares/hem.csv"]
    assert "Not built by" in built["shares/fibre.csv"]


def test_a_file_of_ones_own_is_described_by_its_cells(copied):
    (copied / "mine.csv").write_text(
        "family,value,count,size,often\nwool,a,1,0.5,\nfelt,2,-3,1e-2,7\n,1_0,4,2,8\n", "utf-8"
    )
    write_descriptor(copied)
    described = json.loads((copied / "datapackage.json").read_text("utf-8"))["resources"]
    (mine,) = (resource for resource in described if resource["path"] == "mine.csv")
    assert {field["name"]: field["type"] for field in mine["schema"]["fields"]} == {
        "family": "string",
        "value": "string",
        "count": "integer",
        "size": "number",
        "often": "integer",
    }
    required = {field["name"]: "constraints" in field for field in mine["schema"]["fields"]}
    assert [name for name, is_so in required.items() if not is_so] == ["family", "often"]
    assert faults_of(copied, "mine.csv") == []


def test_a_folder_with_it_stands_alone_and_needs_every_file_of_the_list(copied):
    write_descriptor(copied)
    assert load_priors(copied).hash == load_priors().hash
    (copied / "trade/fibre.csv").unlink()
    with pytest.raises(PriorsError, match=r"trade/fibre\.csv: the file is missing"):
        load_priors(copied)


def test_written_twice_it_is_the_same_and_leaves_nothing_beside(copied):
    (copied / "datapackage.json").unlink()
    before = {p.name for p in copied.iterdir()}
    first = write_descriptor(copied).read_bytes()
    assert write_descriptor(copied).read_bytes() == first
    assert first == (SHIPPED / "datapackage.json").read_bytes()
    assert {p.name for p in copied.iterdir()} == before | {"datapackage.json"}
    assert load_priors(copied).hash == load_priors().hash
