"""The description of the priors is that of the files, and a general validator accepts it.

Outside reference: frictionless, the reference implementation of the Data Package and Table Schema.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from scarfdate import load_priors
from scarfdate.tables.descriptor import describe, write_descriptor
from scarfdate.tables.priors import shipped_folder

SHIPPED = shipped_folder()


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SHIPPED, tmp_path / "priors"))


def faults_of(folder: Path) -> list[tuple[str, str]]:
    frictionless = pytest.importorskip("frictionless")
    report = frictionless.validate(str(folder / "datapackage.json"))
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
        assert all(field["description"] for field in resource["schema"]["fields"])


def test_a_general_validator_finds_no_fault():
    assert faults_of(SHIPPED) == []


@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("shares/hem_thread.csv", "1880,fine,72,", "1880,fine,172,", ("constraint-error", "silk")),
        ("shares/hem_thread.csv", "1880,fine,", "1880,finest,", ("constraint-error", "grade")),
        ("slips.csv", "common practice", "hearsay", ("constraint-error", "basis")),
        ("slips.csv", "fibre,1.5", "fibre,much", ("type-error", "rate")),
    ],
)
def test_a_general_validator_finds_what_is_wrong(copied, file, old, new, fault):
    path = copied / file
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    assert fault in faults_of(copied)


def test_written_twice_it_is_the_same_and_leaves_nothing_beside(copied):
    (copied / "datapackage.json").unlink()
    before = {p.name for p in copied.iterdir()}
    first = write_descriptor(copied).read_bytes()
    assert write_descriptor(copied).read_bytes() == first
    assert first == (SHIPPED / "datapackage.json").read_bytes()
    assert {p.name for p in copied.iterdir()} == before | {"datapackage.json"}
    assert load_priors(copied).hash == load_priors().hash
