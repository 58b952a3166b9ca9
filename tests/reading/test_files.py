"""Files in and out: each bad file is one clear error that names the file and the place."""

from __future__ import annotations

import builtins
import csv
import io
import json
import time
import tracemalloc
import zipfile
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from scarfdate import TableError, date_file, date_table
from scarfdate.cli import cli
from scarfdate.files import csv_bytes
from scarfdate.reading import package
from scarfdate.reading.files import open_table, read_table
from scarfdate.reading.written import write_table


def written(folder: Path, name: str, content: bytes) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def workbook(path: Path, rows: list[list[object]]) -> Path:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.create_sheet("another").append(["not", "read"])
    book.save(path)
    return path


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_csv_of_every_usual_kind(tmp_path, mark, delimiter, end):
    lines = [["id", "fibre", "note a"], ["1", "silk", '"NA; yes, so"'], ["", "crêpe", ""]]
    text = end.join(delimiter.join(line) for line in lines) + end
    frame = read_table(written(tmp_path, "a.csv", mark + text.encode()))
    assert frame.columns.tolist() == ["id", "fibre", "note a"]
    assert frame.values.tolist() == [["1", "silk", "NA; yes, so"], ["", "crêpe", ""]]
    assert frame.index.tolist() == [2, 3]
    assert frame.index.name == "line"


def test_words_such_as_na_and_leading_noughts_stay_as_written(tmp_path):
    frame = read_table(written(tmp_path, "a.csv", b"id,fibre\n007,NA\nnull,nan\n"))
    assert frame.values.tolist() == [["007", "NA"], ["null", "nan"]]


def test_blank_rows_are_left_out_and_lines_still_counted(tmp_path):
    content = b'\n\nid,note\n\n1,"two\nlines"\n,\n2,x\n'
    frame = read_table(written(tmp_path, "a.csv", content))
    assert frame.index.tolist() == [5, 8]


def test_an_unnamed_empty_column_is_left_out(tmp_path):
    frame = read_table(written(tmp_path, "a.csv", b"id,fibre,\n1,silk,\n"))
    assert frame.columns.tolist() == ["id", "fibre"]


BAD = {
    "empty": (b"", "file is empty"),
    "blank": (b"\n  \n\n", "file is empty"),
    "only a mark": (b"\xef\xbb\xbf", "file is empty"),
    "no rows": (b"id,fibre\n", "not one row"),
    "an encoding that is not recognised": (
        b"id,note\n1,cr\x8epe\n",
        r"line 2: byte 12 of the file \(0x8e\) is not UTF-8.*'1,cr'; save the file as UTF-8, or state",
    ),
    "after a mark": (b"\xef\xbb\xbfid\n\xff\n", "line 2: byte 6 of the file"),
    "a NUL": (b"id,fibre\n1,si\0lk\n", "line 2: byte 13 of the file is NUL"),
    "twice": (b"id,fibre,fibre\n1,silk,silk\n", "'fibre' stands there twice"),
    "twice, spelt otherwise": (
        b"width_cm,Width CM\n1,2\n",
        "'Width CM' stands there twice.*'width_cm'",
    ),
    "too many cells": (
        b"id,fibre\n1,silk\n2,silk,x\n",
        "line 3: a row with too many cells \\(got 3\\); the header has 2",
    ),
    "too few cells": (b"id,fibre\n1\n", "line 2: a row with too few cells \\(got 1\\)"),
    "unnamed": (b"id,\n1,silk\n", "column 2 has cells and no name"),
    "an open quote": (b'id,note\n1,"never closed\n2,x\n', "line 2: a double quote opens here"),
    "text after a quote": (b'id,note\n1,"so" it\n', "line 2: text follows"),
}


@pytest.mark.parametrize("which", BAD)
def test_bad_csv(tmp_path, which):
    content, message = BAD[which]
    path = written(tmp_path, "bad.csv", content)
    with pytest.raises(TableError, match=message) as caught:
        read_table(path)
    assert "bad.csv" in str(caught.value)
    with pytest.raises(TableError, match=message) as caught:
        read_table(io.BytesIO(content), "csv")
    assert "standard input" in str(caught.value)


def test_five_rows_of_a_wrong_length_are_named_at_once(tmp_path):
    content = b"id,fibre\n" + b"1,silk\n" + b"1\n1,2,3\n" * 4
    with pytest.raises(TableError) as caught:
        read_table(written(tmp_path, "a.csv", content))
    assert [f"line {line}: " in str(caught.value) for line in range(2, 9)] == [
        False,
        *[True] * 5,
        False,
    ]


def test_a_row_that_ends_early_has_blanks_there(tmp_path):
    """Spreadsheets leave out blank cells at the ends of rows when they save text (from memory); one cell is no row."""
    path = written(
        tmp_path,
        "sheet.csv",
        b"id,fibre,hem,note\n1,silk,hand-rolled,x\n2,silk\n3,wool,fringed\n4,silk,,y\n",
    )
    frame = read_table(path)
    assert frame.to_dict("list") == {
        "id": ["1", "2", "3", "4"],
        "fibre": ["silk", "silk", "wool", "silk"],
        "hem": ["hand-rolled", "", "fringed", ""],
        "note": ["x", "", "", "y"],
    }
    told = "2 rows end before the last column, the first in line 3: the rest of each is blank"
    assert open_table(path).remarks == (told,)
    whole = date_table(frame)
    assert date_file(path, tmp_path / "out.csv").remarks == (told,)
    assert pd.read_csv(tmp_path / "out.csv")["sentence"].tolist() == whole["sentence"].tolist()
    with pytest.raises(TableError, match="line 3: a row with too few cells"):
        read_table(written(tmp_path, "one.csv", b"id,fibre,hem\n1,silk\n2\n"))


def test_decimals_of_a_database_are_numbers_and_stay_as_they_are(tmp_path):
    """DECIMAL columns of Parquet, which databases export, and spans of time: no quotes of JSON stand in a cell."""
    pa, parquet = pytest.importorskip("pyarrow"), pytest.importorskip("pyarrow.parquet")
    table = pa.table(
        {
            "id": pa.array([Decimal("1001")], pa.decimal128(6, 0)),
            "width_cm": pa.array([Decimal("90.00")], pa.decimal128(8, 2)),
            "printed_year": pa.array([Decimal("1960.00")], pa.decimal128(8, 2)),
            "fibre": ["silk"],
            "note a": pa.array([timedelta(days=1)], pa.duration("us")),
        }
    )
    path = tmp_path / "a.parquet"
    parquet.write_table(table, path)
    cells = ["1001", "90.00", "1960.00", "silk", "1 day, 0:00:00"]
    assert read_table(path).values.tolist() == [cells]
    plain = date_table(pd.DataFrame([[1001, 90, 1960, "silk"]], columns=table.column_names[:4]))
    for read in (read_table(path), pd.DataFrame(table.to_pydict())[table.column_names[:4]]):
        assert date_table(read)["sentence"].tolist() == plain["sentence"].tolist()
    for whole in (["--quiet"], ["--memory", "400", "--processes", "1"]):
        out = tmp_path / f"{len(whole)}.csv"
        run = CliRunner().invoke(cli, ["date", str(path), "--out", str(out), *whole])
        assert run.exit_code == 0, run.output
        assert [*csv.reader(out.open(encoding="utf-8"))][1][:5] == cells
    assert date_file(path, tmp_path / "b.parquet").bad == 0
    assert "90.00" in str(pd.read_parquet(tmp_path / "b.parquet")["width_cm"][0])
    bought = tmp_path / "offered.parquet"
    given = {
        "id": ["a"],
        "fibre": ["silk"],
        "asking": pa.array([Decimal("12.50")], pa.decimal128(8, 2)),
    }
    parquet.write_table(pa.table(given), bought)
    run = CliRunner().invoke(cli, ["appraise", str(bought)])
    assert run.exit_code == 0, run.output
    assert "not a price" not in run.output


def test_rows_as_csv():
    """RFC 4180, but for its line ends: those of the files in priors/."""
    rows = [["a", "b"], ["x,y", 'say "so"'], ["two\nlines", ""], [1, 0.1]]
    expected = b'a,b\n"x,y","say ""so"""\n"two\nlines",\n1,0.1\n'
    assert csv_bytes(rows) == expected
    assert [*csv.reader(io.StringIO(expected.decode()))][1:3] == rows[1:3]


@pytest.mark.slow
@pytest.mark.parametrize("filler", [b"x", b'"x\n', b'"' + b"x" * 100 + b"\n"])
def test_an_endless_cell_is_refused_before_memory_is_full(tmp_path, filler):
    class Endless(io.RawIOBase):
        left = 2**30
        start = b'id,note\n1,"'

        def readable(self):
            return True

        def readinto(self, buffer):
            part = (
                self.start or (filler.strip(b'"') * (len(buffer) // len(filler) + 1))[: len(buffer)]
            )
            Endless.start = b""
            self.left -= len(part)
            assert self.left > 0, "the whole cell was read"
            buffer[: len(part)] = part
            return len(part)

    Endless.start = b'id,note\n1,"'
    before = csv.field_size_limit()
    tracemalloc.start()
    try:
        with pytest.raises(TableError, match=r"line 2.*1048576 characters"):
            read_table(io.BufferedReader(Endless()), "csv")
        assert tracemalloc.get_traced_memory()[1] < 100 * 2**20
    finally:
        tracemalloc.stop()
    assert csv.field_size_limit() == before


def test_a_cell_as_long_as_allowed_is_read(tmp_path):
    path = written(tmp_path, "a.csv", b"id,note\n1," + b"x" * 2**20 + b"\n")
    assert len(read_table(path)["note"].iloc[0]) == 2**20
    path = written(tmp_path, "b.csv", b"id,note\n1," + b"x" * (2**20 + 1) + b"\n")
    with pytest.raises(TableError, match="line 2: a cell of more than 1048576"):
        read_table(path)


def test_a_file_too_long_is_refused_unread(tmp_path):
    path = tmp_path / "long.csv"
    with path.open("wb") as stream:
        stream.truncate(2**31 + 1)  # sparse: takes no room
    with pytest.raises(TableError, match="2147483649 bytes are more"):
        read_table(path)


def test_not_there_a_folder_another_ending(tmp_path):
    with pytest.raises(TableError, match="no such file"):
        read_table(tmp_path / "none.csv")
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(TableError, match="is a folder"):
        read_table(tmp_path / "folder.csv")
    with pytest.raises(TableError, match=r"what kind of file.*\.csv"):
        read_table(written(tmp_path, "a.doc", b"x"))
    with pytest.raises(TableError, match=r"cannot be read"):
        read_table("a\0b.csv")
    with pytest.raises(TableError, match="kind"):
        read_table(tmp_path / "a.csv", "doc")
    with pytest.raises(TableError, match="name of the file is empty"):
        read_table("")
    with pytest.raises(TableError, match="is a folder"):
        read_table(".")


def test_json_records(tmp_path):
    records = [
        {"id": 7, "fibre": {"silk": 0.6, "wool": 0.4}, "width_cm": 90.0},
        {"id": "8", "momme": 12.5, "fringe": None, "depicted_announced": True},
    ]
    frame = read_table(written(tmp_path, "a.json", json.dumps(records).encode()))
    assert frame.columns.tolist() == [
        "id",
        "fibre",
        "width_cm",
        "momme",
        "fringe",
        "depicted_announced",
    ]
    assert frame.iloc[0].tolist() == ["7", '{"silk": 0.6, "wool": 0.4}', "90", "", "", ""]
    assert frame.iloc[1].tolist() == ["8", "", "", "12.5", "", "true"]
    assert frame.index.tolist() == [1, 2]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "empty"),
        (b"[]", "no rows"),
        (b'{"id": 1}', "a list of records is allowed, got 'dict'"),
        (b'[{"id": 1},\n 5]', "record 2: names and values"),
        (b'[{"id": 1},\n {"id": }]', "line 2: not JSON"),
        (b'[{"id": 1, "id": 2}]', "'id' stands twice in one record"),
        (b'[{"id": 1, "ID ": 2}]', "stands there twice"),
        (b'[{"id": "\xff"}]', "byte 9 is not UTF-8"),
        (b'[{"id": "a\\u0000"}]', "record 1, column 'id': a cell with a NUL"),
        (b'[{"id": "\\ud800"}]', "half a letter"),
        (b'[{"note": "' + b"x" * (2**20 + 1) + b'"}]', "more than 1048576"),
        (b"[" * 200_000, "not JSON"),
        (b"[" + b"9" * 10_000 + b"]", "not JSON"),
    ],
)
def test_bad_json(tmp_path, content, message):
    with pytest.raises(TableError, match=message) as caught:
        read_table(written(tmp_path, "bad.json", content))
    assert "bad.json" in str(caught.value)


def test_the_first_sheet_of_a_spreadsheet(tmp_path):
    rows = [
        ["id", "width_cm", "fibre", None],
        [1, 90.5, "silk", None],
        [None] * 4,
        ["b", 90.0, None, None],
    ]
    frame = read_table(workbook(tmp_path / "a.xlsx", rows))
    assert frame.columns.tolist() == ["id", "width_cm", "fibre"]
    assert frame.values.tolist() == [["1", "90.5", "silk"], ["b", "90", ""]]
    assert frame.index.tolist() == [2, 4]


def test_bad_spreadsheets(tmp_path, monkeypatch):
    with pytest.raises(TableError, match="empty"):
        read_table(workbook(tmp_path / "a.xlsx", []))
    with pytest.raises(TableError, match="not one row"):
        read_table(workbook(tmp_path / "b.xlsx", [["id"]]))
    with pytest.raises(TableError, match="twice"):
        read_table(workbook(tmp_path / "c.xlsx", [["id", "id"], [1, 2]]))
    with pytest.raises(TableError, match="not a spreadsheet"):
        read_table(written(tmp_path, "d.xlsx", b"id,fibre\n1,silk\n"))
    with zipfile.ZipFile(tmp_path / "e.xlsx", "w") as packed:
        packed.writestr("anything", "x")
    with pytest.raises(TableError, match="not a spreadsheet"):
        read_table(tmp_path / "e.xlsx")
    monkeypatch.setattr(package, "LONGEST_WHOLE", 20_000)
    with zipfile.ZipFile(tmp_path / "f.xlsx", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/sharedStrings.xml", "x" * 1_000_000)
    with pytest.raises(TableError, match="1000000 bytes once unpacked"):
        read_table(tmp_path / "f.xlsx")


def test_without_the_package_for_spreadsheets(tmp_path, monkeypatch):
    path = workbook(tmp_path / "a.xlsx", [["id"], [1]])
    real = builtins.__import__

    def without(name, *args, **extra):
        if name.split(".")[0] in ("openpyxl", "pyarrow"):
            raise ImportError(name)
        return real(name, *args, **extra)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(TableError, match=r'pip install "scarfdate\[spreadsheet\]"'):
        read_table(path)
    with pytest.raises(TableError, match=r'pip install "scarfdate\[spreadsheet\]"'):
        write_table(pd.DataFrame({"a": [1]}), tmp_path / "a.parquet")


def test_streams_are_known_by_their_first_bytes(tmp_path):
    book = workbook(tmp_path / "a.xlsx", [["id"], ["x"]]).read_bytes()
    for stream in (
        io.BytesIO(book),
        io.BytesIO(b' [{"id": "x"}]'),
        io.BytesIO(b"id\nx\n"),
        io.StringIO("id\nx\n"),
    ):
        assert read_table(stream)["id"].tolist() == ["x"]
    long = b"id,note\n" + b"".join(b"%d,abc\n" % number for number in range(5000))
    assert read_table(io.BytesIO(long))["id"].tolist() == [str(number) for number in range(5000)]


FRAME = pd.DataFrame(
    {
        "id": ["=1+1", "+2", "-3", "@x", "\ta", "plain, crêpe"],
        "year": pd.array([1960, None, 1970, 1980, 1990, 2000], dtype="Int16"),
        "chance": pd.array([0.1, None, 0.25, -1.5, 1 / 3, 1.0], dtype="Float64"),
    }
)


def test_written_and_read_back(tmp_path):
    pytest.importorskip("pyarrow")
    for ending in ("csv", "json", "parquet"):
        write_table(FRAME, tmp_path / f"a.{ending}")
    plain = read_table(tmp_path / "a.csv")
    assert plain["id"].tolist() == ["'=1+1", "'+2", "'-3", "'@x", "'\ta", "plain, crêpe"]
    assert plain["year"].tolist() == ["1960", "", "1970", "1980", "1990", "2000"]
    assert plain["chance"].iloc[3] == "-1.5"  # a number is no formula
    records = json.loads((tmp_path / "a.json").read_text("utf-8"))
    assert records[1] == {"id": "+2", "year": None, "chance": None}
    assert records[4]["chance"] == pytest.approx(1 / 3, abs=1e-14)
    back = pd.read_parquet(tmp_path / "a.parquet")
    assert back["id"].tolist() == FRAME["id"].tolist()
    assert back["year"].astype("Int16").equals(FRAME["year"])


def test_a_formula_in_a_column_name_is_made_plain(tmp_path):
    write_table(pd.DataFrame({"=note": ["a"]}), tmp_path / "a.csv")
    assert (tmp_path / "a.csv").read_text() == "'=note\na\n"


def test_what_cannot_be_written_leaves_nothing(tmp_path, monkeypatch):
    with pytest.raises(
        TableError, match=r"endings written: \.csv, \.xlsx, \.json, \.jsonl, \.parquet"
    ):
        write_table(FRAME, tmp_path / "a.ods")
    with pytest.raises(TableError, match="is not there; make it first"):
        write_table(FRAME, tmp_path / "none" / "a.csv")
    (tmp_path / "b.csv").mkdir()
    with pytest.raises(TableError, match="is a folder"):
        write_table(FRAME, tmp_path / "b.csv")
    (tmp_path / "b.csv").rmdir()
    old = written(tmp_path, "c.csv", b"old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(TableError, match=r"c\.csv: cannot be written \(No space left"):
        write_table(FRAME, old)
    assert old.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["c.csv"]


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_headings_that_stand_again_are_no_piece(tmp_path: Path, ending: str) -> None:
    """As where two sheets were put under each other; a row that only begins like them is one."""
    rows = [("No", "Fabric"), ("1", "silk"), ("No ", "Fabric"), ("No", "wool"), ("2", "rayon")]
    path = tmp_path / f"two{ending}"
    if ending == ".csv":
        path.write_text("".join(f"{a},{b}\n" for a, b in rows))
    else:
        book = pytest.importorskip("openpyxl").Workbook()
        for row in rows:
            book.active.append(row)
        book.save(path)
    read = open_table(path)
    assert [row[0] for row in read.rows] == ["1", "No", "2"]
    assert read.places == [2, 4, 5]
    counted = "line" if ending == ".csv" else "row"
    assert read.remarks == (f"{counted} 3 repeats the headings, and is passed over",)


@pytest.mark.slow
def test_headings_that_stand_again_many_times_cost_no_more_than_rows(tmp_path: Path) -> None:
    """They were once looked for in a list of all of them: of 20,000 that took two and a half times as long as so many rows."""
    openpyxl, took, n = pytest.importorskip("openpyxl"), {}, 20_000
    for again in (("1", "silk"), ("No", "Fabric")):
        path = tmp_path / f"{again[0]}.xlsx"
        book = openpyxl.Workbook(write_only=True)
        page = book.create_sheet()
        for row in [("No", "Fabric"), *[again] * n, ("1", "silk")]:
            page.append(row)
        book.save(path)
        started = time.process_time()
        read = open_table(path)
        took[again] = time.process_time() - started
    assert (len(read.rows), read.places) == (1, [n + 2])
    assert read.remarks == (f"row 2 and {n - 1} more repeat the headings, and are passed over",)
    rows, headings = took.values()
    assert headings < 2 * rows
