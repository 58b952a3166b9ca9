"""Words of one's own are read in one's own records, and only there: no shipped table stands in for `priors`."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

from scarfdate import Priors, TableError, load_priors
from scarfdate.columns.columns_map import read_columns_map
from scarfdate.columns.names import SOLD
from scarfdate.records.museum import read_records
from scarfdate.records.sold import dry_run, read_sold
from scarfdate.tables.priors import shipped_folder

WORD = "thrackle cloth"  # invented
HEADER = "record_id,year_begin,year_end,fibre\n"


@pytest.fixture(scope="module")
def mine(tmp_path_factory: pytest.TempPathFactory) -> Priors:
    folder = tmp_path_factory.mktemp("priors")
    shutil.copy(shipped_folder() / "vocabulary.csv", folder)
    with (folder / "vocabulary.csv").open("a", encoding="utf-8") as stream:
        stream.write(f"fibre,{WORD},synonym,silk,\n")
    return load_priors(folder)


@pytest.mark.parametrize("ending", ["csv", "json", "jsonl"])
def test_museum_records(tmp_path: Path, mine: Priors, ending: str) -> None:
    path = tmp_path / f"records.{ending}"
    record = {"record_id": "1", "year_begin": 1950, "year_end": 1955, "fibre": WORD}
    text = {"csv": f"{HEADER}1,1950,1955,{WORD}\n", "json": json.dumps([record])}
    path.write_text(text.get(ending, json.dumps(record)))
    own = read_records(path, priors=mine)
    assert own.clues["fibre"].texts().tolist() == ["silk"] and not own.faults
    shipped = read_records(path)
    assert "fibre" not in shipped.clues  # the word is lost, and said to be
    assert WORD in str(shipped.faults[0]) and "does not know" in str(shipped.faults[0])


def test_sold_records(mine: Priors) -> None:
    book = pd.DataFrame([{"fibre": WORD, "known": 1962, "known_by": "receipt"},
                         {"fibre": "wool", "known": 1975, "known_by": "receipt"}])  # fmt: skip
    assert len(read_sold(book, priors=mine)) == 2
    assert read_sold(book).clues["fibre"].tolist() == [None, "wool"]
    assert dry_run(book, priors=mine).rows["left_out"].tolist() == ["", ""]
    assert WORD in dry_run(book).rows["remarks"][0]


def test_maps_of_columns(tmp_path: Path, mine: Priors) -> None:
    path = tmp_path / "map.toml"
    path.write_text(f'[columns]\nfibre = "Stuff"\n[words.fibre]\nshiny = "{WORD}"\n')
    for more in ({}, {"own": SOLD}):
        assert read_columns_map(path, priors=mine, **more).words["fibre"] == {"shiny": WORD}
        with pytest.raises(TableError, match=WORD):
            read_columns_map(path, **more)
    museum = tmp_path / "records.csv"
    museum.write_text("date_text,Stuff\n1950s,Shiny\n1950s,wool\n")
    columns = {"columns": {"date_text": "date_text", "fibre": "Stuff"},
               "words": {"fibre": {"shiny": WORD}}}  # fmt: skip
    assert read_records(museum, columns, priors=mine).clues["fibre"].words == ("silk", "wool")
    with pytest.raises(TableError, match=WORD):
        read_records(museum, columns)
