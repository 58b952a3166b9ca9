"""Date records come in whole from any sensible export, and every bad one is told with its place.

Counts of the real records: the README beside them (rows, clumps). All other records are invented.
"""

from __future__ import annotations

import copy
import csv
import io
import json
import pickle
import random
import subprocess
import sys
from collections import Counter
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate.columns.columns_map import read_columns_map
from scarfdate.errors import RangeError, TableError
from scarfdate.files import hash_of
from scarfdate.reading import json_scan
from scarfdate.records.arrays import OPEN_END, OPEN_START, Records, Words
from scarfdate.records.museum import compressed, folds, read_records
from tests.conftest import ROOT

HEADER = [
    "source", "record_id", "object_type", "date_text", "year_begin", "year_end", "medium_text",
    "country", "width_cm", "height_cm", "year_acquired", "licence",
]  # fmt: skip
EXPORTS = ROOT / "data" / "museum_export"
NOW = 2026


def row(number: int | str = 1, **cells: object) -> list[str]:
    """A sound invented record, but for the cells given."""
    sound: dict[str, object] = {
        "source": "invented", "record_id": number, "object_type": "scarf", "date_text": "1950s",
        "year_begin": 1950, "year_end": 1959, "medium_text": "silk", "country": "", "width_cm": 90,
        "height_cm": 90, "year_acquired": 1990, "licence": "CC0 1.0",
    }  # fmt: skip
    return [str(value) for value in (sound | cells).values()]


def table(*rows: list[str], header: list[str] = HEADER, delimiter: str = ",") -> bytes:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows([header, *rows])
    return out.getvalue().encode()


def read(folder: Path, content: bytes | str, name: str = "records.csv", **given: object) -> Records:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_records(path, this_year=NOW, **given)  # type: ignore[arg-type]


def told(records: Records) -> list[str]:
    return [str(fault) for fault in records.faults]


def add_up(records: Records) -> None:
    assert records.rows == len(records) + sum(records.left_out.values())


# ---------------------------------------------------------------------------- what a record says


def test_a_record_is_read_whole(tmp_path: Path) -> None:
    records = read(tmp_path, table(row(7, country="France", medium_text=" silk   twill ")))
    assert (len(records), records.rows, records.effective) == (1, 1, 1)
    assert (records.first[0], records.last[0], records.acquired[0]) == (1950, 1959, 1990)
    assert (records.source[0], records.record_id[0], records.kind[0]) == (
        "invented",
        "7",
        "scarf-like",
    )
    assert (records.medium_text[0], records.country[0]) == ("silk twill", "France")
    assert (records.width_cm[0], records.height_cm[0]) == (90, 90)
    assert records.licences == {"invented": {"CC0 1.0": 1}}
    assert not records.faults
    with pytest.raises(ValueError):
        records.first[0] = 1
    add_up(records)


@pytest.mark.parametrize(
    ("begin", "end", "text", "first", "last", "from_text", "approximate"),
    [
        ("", "", "late 1930s", 1935, 1939, True, False),
        ("", "", "ca. 1968", 1968, 1968, True, True),
        ("", "", "19th century", 1800, 1899, True, False),
        ("", "", "After 1933", 1933, OPEN_END, True, False),
        ("1933", "", "After 1933", 1933, OPEN_END, False, False),
        ("", "1925", "before 1925", OPEN_START, 1925, False, False),
        ("1945", "1955", "ca. 1950", 1945, 1955, False, True),
        ("1945.0", " 1955 ", "words without a year", 1945, 1955, False, False),
        ("c. 1950", "1962-05-17", "", 1950, 1962, False, False),
        ("1957-01-01T00:00:00Z", "1962-05-17 00:00:00", "", 1957, 1962, False, False),
        ("0", "0", "1920s", 1920, 1929, True, False),  # as collection systems write "not filled in"
        ("", "", "um 1900", 1900, 1900, True, True),
        ("", "", "20. Jh., 2. Hälfte", 1950, 1999, True, False),
        ("", "", "XIXe siècle", 1800, 1899, True, False),
        ("", "", "Meiji period", 1868, 1912, True, False),
        ("", "", "1880-1889 (made)", 1880, 1889, True, False),
        ("1950s", "1960s", "", 1950, 1969, False, False),
        ("", "", "2020s", 2020, NOW, True, False),  # what is to come has not been made
        ("2000", "2099", "21st century", 2000, NOW, False, False),
    ],
)
def test_the_years_of_a_record(
    tmp_path: Path, begin: str, end: str, text: str, first: int, last: int, from_text: bool,
    approximate: bool,
) -> None:  # fmt: skip
    bad = row(date_text=text, year_begin=begin, year_end=end, year_acquired="")
    records = read(tmp_path, table(bad))
    assert (records.first[0], records.last[0]) == (first, last)
    assert records.open_start[0] == (first == OPEN_START)
    assert records.open_end[0] == (last == OPEN_END)
    assert (records.from_text[0], records.approximate[0]) == (from_text, approximate)
    assert not records.faults
    frame = records.to_frame()
    assert frame["last"].isna()[0] == (last == OPEN_END)
    assert frame["first"].isna()[0] == (first == OPEN_START)


def test_acquisition_is_an_upper_bound(tmp_path: Path) -> None:
    records = read(
        tmp_path,
        table(
            row(1, year_begin=1950, year_end=1960, year_acquired=1956),
            row(2, year_begin=1933, year_end="", year_acquired=1970),
            row(3, year_begin=1960, year_end=1969, year_acquired=1955),  # odd: kept as stated
            row(4, year_begin=2010, year_end=2040, year_acquired="2012-03-01"),
        ),
    )
    assert records.last.tolist() == [1956, 1970, 1969, 2012]
    assert records.stated_last.tolist() == [1960, OPEN_END, 1969, 2040]
    assert records.open_end.tolist() == [False, True, False, False]
    assert records.odd == 1
    assert not records.faults


def test_undated_records_are_counted_by_kind(tmp_path: Path) -> None:
    blank = {"year_begin": "", "year_end": ""}
    records = read(
        tmp_path,
        table(
            row(1),
            row(2, date_text="n.d.", **blank),
            row(3, date_text="", **blank),
            row(4, date_text="", object_type="dress", **blank),
        ),
    )
    assert len(records) == 1
    assert records.undated == {"scarf-like": 2, "dress": 1}
    assert records.left_out == {"undated": 3}
    add_up(records)


def test_dates_that_are_not_understood_are_told_with_their_count(tmp_path: Path) -> None:
    """They are no records without a date: what they say is lost by the language of a cataloguer."""
    blank = {"year_begin": "", "year_end": ""}
    texts = ["vaguely modern"] * 2 + ["Art Deco", "n.d."]
    rows = [row(number, date_text=text, **blank) for number, text in enumerate(texts)]
    records = read(tmp_path, table(row(9), *rows, row(10, date_text="vaguely modern")))
    assert len(records) == 2  # the last has years of its own
    assert records.left_out == {"date not understood": 3, "undated": 1}
    assert list(records.unread_dates.items()) == [("vaguely modern", 2), ("Art Deco", 1)]
    assert records.fault_counts == {"a date that is not understood": 3}
    said = " ".join(records.told())
    assert (
        "3 date not understood, 1 undated" in said
        and "'vaguely modern' (2), 'Art Deco' (1)" in said
    )
    add_up(records)


def test_years_and_date_texts_that_contradict_each_other_are_counted(tmp_path: Path) -> None:
    records = read(tmp_path, table(row(1), row(2, date_text="1890s"), row(3, year_acquired=1940)))
    assert (records.apart, records.odd) == (1, 1)
    assert records.first.tolist() == [1950] * 3
    said = " ".join(records.told())
    assert "no year in common" in said and "1 record made after they were acquired" in said


def test_sizes_in_millimetres_are_noticed(tmp_path: Path) -> None:
    rows = [row(number, width_cm=450, height_cm=450) for number in range(5)]
    records = read(tmp_path, table(*rows))
    assert 'size_unit = "mm"' in " ".join(told(records))
    assert not read(tmp_path, table(*(row(number) for number in range(5)))).faults


SCARVES = (
    "scarves", "Shawls", "headscarf", "head scarf", "mantilla", "foulard", "Kopftuch", "bandana", "pocket square",
    "wrap", "carré", "silk scarf", "Scarf (accessory)", "scarf; square", "fragment; shawl",
)  # fmt: skip
OTHERS = ("veil", "dress fabric", "furnishing fabric", "silk dress", "scarf pin", "")


def test_words_for_a_scarf_count_as_one_where_no_map_lists_kinds(tmp_path: Path) -> None:
    rows = [row(number, object_type=text) for number, text in enumerate((*SCARVES, *OTHERS))]
    records = read(tmp_path, table(*rows))
    kinds = records.kind.texts().tolist()
    assert kinds == ["scarf-like"] * len(SCARVES) + ["other"] * len(OTHERS)
    assert "'dress fabric' (1)" in " ".join(records.told())
    none = read(tmp_path, table(row(1, object_type="dress fabric")))
    assert "none of them counts as scarf-like" in " ".join(none.told())


def test_a_slip_in_the_name_of_a_kind_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text('[kinds]\nscarflike = ["scarf"]\n')
    with pytest.raises(TableError, match="did you mean 'scarf-like'"):
        read_columns_map(path)


def test_too_wide_is_left_out_and_counted(tmp_path: Path) -> None:
    records = read(
        tmp_path,
        table(
            row(1, year_begin=1800, year_end=1950),  # 150 years
            row(2, year_begin=1799, year_end=1950, year_acquired=""),
            row(3, year_begin=1700, year_end="", year_acquired=1900),  # cut, and still too wide
            row(4, year_begin=1700, year_end="", year_acquired=""),  # open: not wide but one-sided
        ),
    )
    assert records.record_id.tolist() == ["1", "4"]
    assert records.left_out == {"too wide": 2}
    assert not records.faults


# ---------------------------------------------------------------------------- bad records


@pytest.mark.parametrize(
    ("cells", "column", "problem"),
    [
        ({"year_begin": 1960, "year_end": 1950}, "year_begin", "it begins after it ends"),
        ({"year_begin": 2031, "year_end": 2032}, "year_begin", "a year that is yet to come"),
        ({"year_begin": 1950, "year_end": 2060, "year_acquired": ""}, "year_end",
         "a year that is yet to come (got 2060)"),
        ({"year_begin": "", "year_end": "", "date_text": "2050s"}, "date_text",
         "a year that is yet to come"),
        ({"year_begin": -200}, "year_begin", "a year before the common era (got '-200')"),
        ({"year_begin": "200 BCE"}, "year_begin", "a year before the common era"),
        ({"year_begin": "200 B.C."}, "year_begin", "a year before the common era"),
        ({"year_begin": 0}, "year_begin", "there is no year 0"),
        ({"year_end": 59}, "year_end", "a year of one or two digits"),
        ({"year_end": "nan"}, "year_end", "not a finite number"),
        ({"year_end": "-inf"}, "year_end", "not a finite number"),
        ({"year_end": "1e400"}, "year_end", "not a finite number"),
        ({"year_end": "1959.5"}, "year_end", "not a whole year of four digits at most"),
        ({"year_end": "19590"}, "year_end", "not a whole year of four digits at most"),
        ({"year_end": "when grandmother wed"}, "year_end", "text that is no year"),
        ({"year_end": "after 1950"}, "year_end", "text that leaves this side open"),
        ({"year_begin": "1950; 1970"}, "year_begin", "several values where one year belongs"),
        ({"year_begin": 2050, "year_end": 2060}, "year_begin", "(got 2050)"),
        ({"record_id": "x" * 201}, "record_id", "an id of more than 200 characters"),
        ({"medium_text": "si\0lk"}, None, "text that is not UTF-8, or has a NUL in it"),
    ],
)  # fmt: skip
def test_bad_rows_are_faults_and_good_rows_stay(
    tmp_path: Path, cells: dict[str, object], column: str | None, problem: str
) -> None:
    records = read(tmp_path, table(row(1), row(2, **cells), row(3)))
    assert records.record_id.tolist() == ["1", "3"]
    (fault,) = records.faults
    assert (fault.row, fault.column) == (3, column)
    assert problem in str(fault)
    assert records.left_out == {"bad row": 1}
    add_up(records)


@pytest.mark.parametrize(
    ("cells", "column", "problem"),
    [
        ({"width_cm": "wide"}, "width_cm", "a size that is no length"),
        ({"height_cm": -3}, "height_cm", "a size that is no length"),
        ({"height_cm": 0}, "height_cm", "a size that is no length"),
        ({"height_cm": "NaN"}, "height_cm", "not a finite number"),
        ({"width_cm": "1e999"}, "width_cm", "a size that is no length"),
        ({"width_cm": "900"}, "width_cm", "a side of over 600 cm"),
        ({"width_cm": "1e12"}, "width_cm", "a side of over 600 cm"),
        ({"year_acquired": "gift"}, "year_acquired", "text that is no year"),
        ({"year_acquired": 2090}, "year_acquired", "a year that is yet to come"),
    ],
)
def test_a_bad_cell_beside_the_date_costs_only_itself(
    tmp_path: Path, cells: dict[str, object], column: str, problem: str
) -> None:
    records = read(tmp_path, table(row(1), row(2, **cells)))
    assert len(records) == 2
    (fault,) = records.faults
    assert (fault.row, fault.column) == (3, column)
    assert problem in str(fault)
    lost = {"year_acquired": records.acquired[1] == 0}.get(column)
    assert lost if lost is not None else np.isnan(getattr(records, column)[1])


def test_an_id_counts_once_for_each_source(tmp_path: Path) -> None:
    rows = [row(1), row(2), row(1, medium_text="cotton"), row(1, source="other"), row(""), row("")]
    records = read(tmp_path, table(*rows))
    assert records.record_id.tolist() == ["1", "2", "1", "", ""]
    assert records.medium_text.texts().tolist() == ["silk"] * 5
    assert records.left_out == {"duplicate": 1}
    assert "row 4, column record_id: the same source and id as an earlier row" in told(records)[0]
    assert "the earlier one was kept: row 2 of" in told(records)[0]
    add_up(records)


def test_rows_of_another_length(tmp_path: Path) -> None:
    records = read(tmp_path, table(row(1), row(2)[:-1], [*row(3), "more"], [], row(4)))
    assert records.record_id.tolist() == ["1", "4"]
    assert "row 3: a row with too few cells (got 11)" in told(records)[0]
    assert "row 4: a row with too many cells (got 13)" in told(records)[1]
    assert records.left_out == {"bad row": 2}
    add_up(records)


def test_an_open_quote_costs_its_own_row_only(tmp_path: Path) -> None:
    lines = table(*(row(number) for number in range(1, 3_001))).decode().splitlines()
    lines[5] = lines[5].replace("silk", '"silk')
    lines[9] = lines[9].replace("silk", '"silk"twill')
    lines[15] = lines[15].replace("silk", '"silk\ntwill"')  # sound: a cell of two lines
    records = read(tmp_path, "\n".join(lines))
    assert len(records) == 2_998
    assert (records.faults[0].row, records.faults[1].row) == (6, 10)
    assert "silk twill" in records.medium_text.words
    add_up(records)
    unclosed = read(tmp_path, "\n".join([*lines[:2], *lines[5:6], *lines[2:5]]))
    assert unclosed.record_id.tolist() == ["1", "2", "3", "4"]
    assert "row 3: a double quote opens here and is never closed" in told(unclosed)[0]


def test_a_line_without_end(tmp_path: Path) -> None:
    content = table(row(1), row(2, medium_text="x" * 3_000_000), row(3))
    records = read(tmp_path, content)
    assert records.record_id.tolist() == ["1", "3"]
    assert "row 3: a cell of more than 1048576 characters" in told(records)[0]
    within = table(row(1), row(2, medium_text='a\n"' + "x" * 3_000_000), row(3))
    assert read(tmp_path, within).record_id.tolist() == ["1", "3"]


def test_text_that_is_not_utf8_costs_its_rows(tmp_path: Path) -> None:
    content = table(row(1), row(2, medium_text="crêpe"), row(3)).decode().encode("latin-1")
    records = read(tmp_path, content)
    assert records.record_id.tolist() == ["1", "3"]
    assert "row 3: text that is not UTF-8" in told(records)[0]
    marked = read(tmp_path, b"\xef\xbb\xbf" + table(row(1, medium_text="crêpe")))
    assert (marked.source[0], marked.medium_text[0]) == ("invented", "crêpe")


@pytest.mark.parametrize("letters", ["utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_text_of_another_width_is_refused(tmp_path: Path, letters: str) -> None:
    content = table(row(1)).decode().encode(letters)
    with pytest.raises(TableError, match="not UTF-8 text; save the file as UTF-8"):
        read(tmp_path, content)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.csv", b"", "the file is empty"),
        ("a.csv", b"\n \n", "the file is empty"),
        ("a.json", b" ", "the file is empty"),
        ("a.jsonl", b"", "the file is empty"),
        ("a.csv", b"source,record_id\nx,1\n", "no column of dates; wanted one of 'date_text'"),
        ("a.csv", b"date_text,date_text\n1950,1950\n", "the column 'date_text' stands there twice"),
        ("a.csv", table(), "there is not one record in it"),
        ("a.csv", table(row(year_begin="x"), row(year_begin=0)), "2 rows (2 bad row)"),
        ("a.csv", table(row(date_text="?", year_begin="", year_end="")), "1 rows (1 undated)"),
        ("a.json", b"once upon a time", "line 1, character 1 of the file: not JSON"),
        ("a.json", b"[1, 2]", "a record is an object of names and values (got 1)"),
        ("a.json", b"[]", "there is not one record in it"),
        ("a.json", b'{"a": 1,\n "b": {"year_begin": [1]}}', "no list of records in it"),
        ("a.json", b'{"a": \n', "not JSON"),
        ("a.xyz", b"x", "cannot tell what kind of file this is; endings read: .csv"),
    ],
)
def test_a_file_with_nothing_in_it_is_refused(
    tmp_path: Path, name: str, content: bytes, message: str
) -> None:
    with pytest.raises(TableError) as caught:
        read(tmp_path, content, name)
    assert message in str(caught.value)
    assert name in str(caught.value)


def test_files_that_are_not_there(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="there is no such file"):
        read_records(tmp_path / "none.csv")
    with pytest.raises(TableError, match="is a folder with no file of records"):
        read_records(tmp_path)
    with pytest.raises(TableError, match="name at least one"):
        read_records([])
    (tmp_path / "a.csv").write_bytes(table(row()))
    with pytest.raises(TableError, match="named twice"):
        read_records([tmp_path / "a.csv", tmp_path / ".." / tmp_path.name / "a.csv"])


def test_one_bad_file_does_not_lose_the_others(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"")
    (tmp_path / "b.csv").write_bytes(table(row(1), row(2)))
    (tmp_path / "c.csv").write_bytes(table([*row(3), "cotton"], header=[*HEADER, "fibre"]))
    paths = [tmp_path / name for name in ("a.csv", "b.csv", "c.csv")]
    records = read_records(paths)
    assert records.record_id.tolist() == ["1", "2", "3"]
    assert (
        "a.csv: the file, or the rest of it, cannot be read; the file is empty" in told(records)[0]
    )
    assert records.clues["fibre"].texts().tolist() == ["", "", "cotton"]
    backwards = read_records(paths[::-1])
    assert backwards.clues["fibre"].texts().tolist() == ["cotton", "", ""]
    assert records.hash == backwards.hash == hash_of((one.name, one.read_bytes()) for one in paths)


@pytest.mark.slow
def test_the_hash_does_not_hang_on_line_ends_nor_on_folders(tmp_path: Path) -> None:
    content = table(*(row(number) for number in range(30_000)))  # more than one piece
    plain = read(tmp_path, content)
    assert plain.hash == hash_of([("records.csv", content)])
    for shift in range(3):  # a line end falls on the edge of a piece
        moved = content.replace(b"silk", b"silk" + b"x" * shift, 1).replace(b"\n", b"\r\n")
        assert read(tmp_path, moved).hash == hash_of([("records.csv", moved)])
    (tmp_path / "z").mkdir()
    one, two = tmp_path / "records.csv", tmp_path / "z" / "records.csv"
    one.write_bytes(table(row(1)))
    two.write_bytes(table(row(2)))
    first = read_records([one, two]).hash
    one.write_bytes(table(row(2)))
    two.write_bytes(table(row(1)))
    assert read_records([one, two]).hash == first


def test_faults_of_one_sort_do_not_crowd_out_the_others(tmp_path: Path) -> None:
    rows = [row(number, width_cm="wide") for number in range(500)]
    records = read(tmp_path, table(*rows, row("last", year_begin=0)))
    assert records.fault_counts == {"a size that is no length": 500, "there is no year 0": 1}
    assert len(records.faults) == 31
    assert "there is no year 0" in told(records)[-1]


def test_clues_are_words_of_the_vocabulary(tmp_path: Path) -> None:
    header = [*HEADER, "fibre", "print technique"]
    records = read(
        tmp_path,
        table(
            [*row(1), "Silk", ""],
            [*row(2), '{"silk": 0.5, "rayon": 0.5}', ""],
            [*row(3), "silkk", ""],
            header=header,
        ),
    )
    assert records.clues["fibre"].texts().tolist() == ["silk", '{"silk": 0.5, "rayon": 0.5}', ""]
    assert set(records.clues) == {"fibre"}  # nothing is said of the other
    (fault,) = records.faults
    assert (fault.row, fault.column) == (4, "fibre")
    assert "did you mean 'silk'" in str(fault)


# ---------------------------------------------------------------------------- JSON


def objects(*rows: list[str]) -> list[dict[str, str]]:
    return [dict(zip(HEADER, one, strict=True)) for one in rows]


def same(one: Records, other: Records) -> None:
    left, right = one.to_frame(), other.to_frame()
    assert left.equals(right[left.columns])
    assert set(right.columns) == set(left.columns)
    assert one.undated == other.undated


@pytest.mark.parametrize("indent", [None, 1])
@pytest.mark.parametrize("chunk", [1, 7, 2**16])
def test_every_layout_of_json_reads_alike(
    tmp_path: Path, indent: int | None, chunk: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(json_scan, "_CHUNK", chunk)
    rows = [row(number, medium_text=f'"crêpe" {{[\\ {number % 3}') for number in range(40)]
    plain = read(tmp_path, table(*rows))
    found = objects(*rows)
    whole = {
        "about": {"rows": [1, [2]], "x": [{"y": "]"}]},
        "n": 12345,
        "tags": ["a"],
        "items": found,
    }
    texts = {
        "list.json": json.dumps(found, indent=indent),
        "object.json": json.dumps(whole | {"end": None}, indent=indent, ensure_ascii=False),
        "lines.jsonl": "\n\n".join(json.dumps(one) for one in found),
        "lines.json": "\n".join(json.dumps(one) for one in found),
    }
    for name, text in texts.items():
        records = read(tmp_path, text, name)
        assert not records.faults, name
        same(plain, records)
    same(plain, read(tmp_path, table(*rows, delimiter="\t"), "records.tsv"))
    same(plain, read(tmp_path, table(*rows, delimiter=";"), "records.csv"))


def layouts(inside: list[str]) -> list[tuple[str, str]]:
    return [
        ("a.json", f"[{', '.join(inside)}]"),
        ("b.json", '{"records": [' + ",\n".join(inside) + "]}"),
        ("c.jsonl", "\n".join(inside)),
    ]


def test_bad_objects_cost_only_themselves(tmp_path: Path) -> None:
    good = [json.dumps(one) for one in objects(row(1), row(2), row(3))]
    bad = {
        '{"year_begin": NaN, "year_end": 1950}': "not a finite number",
        '{"year_begin": Infinity, "year_end": 1950}': "not a finite number",
        '{"year_begin": {"a": 1}}': "a group of fields where one belongs",
        '["a"]': "a record is an object of names and values",
        '{"date_text": "\\ud800", "year_begin": 1950}': "text that is not UTF-8",
    }
    for text, problem in bad.items():
        for name, content in layouts([good[0], text, *good[1:]]):
            records = read(tmp_path, content, name)
            assert records.record_id.tolist() == ["1", "2", "3"], (name, text[:40])
            (fault,) = records.faults
            assert fault.row == 2
            assert problem in str(fault)
            add_up(records)


def test_what_is_no_json_costs_its_line_or_the_rest_of_the_file(tmp_path: Path) -> None:
    """Where a record ends is known only of JSON lines; what came before is kept."""
    good = [json.dumps(one) for one in objects(row(1), row(2), row(3))]
    bad = {
        '{"year_begin": 1950 "year_end": 1951}': ("not JSON", "a line that is not JSON"),
        '{"year_begin": ' + "[" * 100_000 + "]" * 100_000 + "}": ("a record nested too deeply",) * 2,
        '{"year_begin": ' + "9" * 5_000 + "}": ("not JSON that can be read", "a line that is not JSON"),
    }  # fmt: skip
    for text, (broken, lost) in bad.items():
        for name, content in layouts([good[0], text, *good[1:]]):
            records = read(tmp_path, content, name)
            kept = ["1", "2", "3"] if name == "c.jsonl" else ["1"]
            assert records.record_id.tolist() == kept, (name, text[:40])
            (fault,) = records.faults
            if name == "c.jsonl":
                assert fault.row == 2 and lost in str(fault)
            else:
                assert "the file, or the rest of it, cannot be read; line" in str(fault)
                assert ", character" in str(fault) and broken in str(fault)
            add_up(records)


def test_json_that_breaks_off_keeps_what_it_had(tmp_path: Path) -> None:
    text = json.dumps(objects(row(1), row(2), row(3)))
    for content, count, problem in (
        (text[:-40], 2, "not JSON"),
        (text[:-1], 3, "belongs here, but the file ends"),
        (text + " [", 3, "more text after the end of the JSON"),
    ):
        records = read(tmp_path, content, "cut.json")
        assert len(records) == count
        (fault,) = records.faults
        assert "the file, or the rest of it, cannot be read; line 1, character" in str(fault)
        assert problem in str(fault)
        add_up(records)


def test_an_object_that_breaks_off_behind_its_list(tmp_path: Path) -> None:
    for text in (
        '{"a": [{"year_begin": 1950}], oh}',
        '{"a": [{"year_begin": 1950}]',
        '{"a": [{"year_begin": 1950}] 1',
    ):
        records = read(tmp_path, text, "a.json")
        assert len(records) == 1
        (fault,) = records.faults
        assert "line 1, character" in str(fault)
        add_up(records)


def test_a_huge_record_does_not_fill_the_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(json_scan, "LONGEST_RECORD", 200_000)
    first, second = (json.dumps(one) for one in objects(row(1), row(2)))
    huge = json.dumps({"year_begin": 1950, "remark": 'x\\"]}' * 100_000})
    for name, content in layouts([first, huge, second]):
        records = read(tmp_path, content, name)
        assert records.record_id.tolist() == (["1", "2"] if name == "c.jsonl" else ["1"])
        assert "a record of more than 200000 characters" in told(records)[0]


def test_of_two_lists_the_map_says_which(tmp_path: Path) -> None:
    content = json.dumps({"a": objects(row(1)), "b": {"c": objects(row(2)), "d": objects(row(3))}})
    records = read(tmp_path, content, "a.json")
    assert records.record_id.tolist() == ["1"]
    (tmp_path / "map.toml").write_text('records = "b.d"\n')
    columns = read_columns_map(tmp_path / "map.toml")
    assert read(tmp_path, content, "a.json", columns=columns).record_id.tolist() == ["3"]
    content = json.dumps({"a": objects(row(1)), "b": objects(row(2))})
    assert (
        "column b: another list of records, which was not read"
        in told(read(tmp_path, content, "a.json"))[0]
    )
    with pytest.raises(TableError, match='no record at \'b.d\'.*records = "a" or records = "b"'):
        read(tmp_path, content, "a.json", columns=columns)


@pytest.mark.parametrize("indent", [None, 1])
def test_a_list_further_in_is_named(tmp_path: Path, indent: int | None) -> None:
    content = json.dumps({"result": {"page": 1, "objects": objects(row(1))}}, indent=indent)
    with pytest.raises(TableError, match='records = "result.objects"'):
        read(tmp_path, content, "a.json")


# ---------------------------------------------------------------------------- maps

TABLE_TWIN = """
PW.1|Head square|1950s|1950|1959|silk twill; screen printed|Italy|88.9|88.9|1988
PW.2|Head square|ca. 1968|1963|1973|polyester; screen printed, edges machine-rolled|Japan|77.47|77.47|1999
PW.3|Neck scarf|late 1930s|||silk crepe|France|27.94|137.16|1961
PW.4|Shawl|19th century|1800|1899|wool; woven, fringed||162.56|162.56|1920
PW.5|Shawl|19th century|1800|1899|wool; woven, fringed||157.48|160.02|1920
PW.6|Pocket handkerchief|After 1933|1933||cotton; printed|United States|36.83|36.83|1970
PW.7|Pocket handkerchief|before 1925||1925|linen|Ireland|30.48|30.48|
PW.8|Furnishing print|ca. 1955|1950|1960|cotton; screen printed|United Kingdom|121.92|228.6|1956
PW.9|Head square|undated|||nylon; printed||68.58|68.58|2004
PW.10|Furnishing print|designed for a fair|1962|1962|cotton, linen; roller printed||50|120|1990
PW.12|neck scarf|1980-85|||polyester crepe; transfer printed|South Korea|25.4|152.4|2012
"""
OBJECTS_TWIN = """
101|scarf; square|1957|1957|1957|silk; screen print|France|90|90|1994|CC BY 4.0|silk
102|scarf|1970s|||acetate||66.05|66|2001|CC BY 4.0|acetate
103|stole|early 20th century|1900|1925|silk; lace|Austria|||1949||
104|bandanna|since 1948|1948||cotton; discharge print||55.88|55.88||CC BY 4.0|cotton
105|bandanna|no date|||cotton||56|54|1986|CC BY 4.0|cotton
106|cloth length|ca. 1931|1926|1936|linen; rayon|Sweden|120|300|1933|CC0 1.0|{"linen": 0.5, "rayon": 0.5}
107|parasol|1890-95|||silk|France|0.08||1930|CC0 1.0|
108|scarf|1990s|1990|1999|polyester; transfer print|China|160|25|2015|CC BY 4.0|polyester
"""


@pytest.mark.parametrize(
    ("file", "twin", "source", "scarf_like"),
    [
        ("table.csv", TABLE_TWIN, "invented-pellowick", 8),
        ("objects.jsonl", OBJECTS_TWIN, "invented-drumsallow", 5),
    ],
)
def test_the_examples_read_as_their_plain_twins(
    tmp_path: Path, file: str, twin: str, source: str, scarf_like: int
) -> None:
    columns = read_columns_map((EXPORTS / file).with_suffix(".toml"))
    records = read_records(EXPORTS / file, columns, this_year=NOW)
    assert not records.faults
    rows = [[source, *line.split("|")] for line in twin.strip().splitlines()]
    if file == "table.csv":
        rows = [[*one, "CC0 1.0", ""] for one in rows]
    plain = read(tmp_path, table(*rows, header=[*HEADER, "fibre"]))
    left, right = records.to_frame(), plain.to_frame()
    for column in left:
        if column == "kind":  # the twin has the museum's own object types and no map of kinds
            continue
        if column in ("width_cm", "height_cm"):
            assert left[column].to_numpy() == pytest.approx(right[column].to_numpy(), nan_ok=True)
        else:
            assert left[column].tolist() == right[column].tolist(), column
    assert records.kind.is_word("scarf-like").sum() == scarf_like
    assert records.undated == {"scarf-like": 1}
    assert "INVENTED" in (EXPORTS / file).with_suffix(".toml").read_text().splitlines()[0]


def test_a_plain_mapping_will_do(tmp_path: Path) -> None:
    content = table(["1", "1950-59", "x"], header=["No.", "When", "record_id"])
    records = read(tmp_path, content, columns={"record_id": "No.", "date_text": "When"})
    assert (records.record_id[0], records.first[0], records.last[0]) == ("1", 1950, 1959)
    assert records.source[0] == "records"  # nobody said, so the file's name
    assert records.licences == {"records": {"not stated": 1}}
    records = read(tmp_path, content, columns={"date_text": "When", "country": "Wher"})
    assert (
        "column Wher: the header lacks a column of the map; did you mean 'When'?"
        in told(records)[0]
    )
    found = json.dumps([{"a.b": "1950", "a": {"c": [{"d": "silk"}, {"d": "wool"}, {}]}}])
    columns = {"date_text": "a.b", "medium_text": "a.c.d", "country": "a.c.1.d", "licence": "a.e"}
    records = read(tmp_path, found, "a.json", columns=columns)
    assert (records.first[0], records.medium_text[0], records.country[0]) == (
        1950,
        "silk; wool",
        "wool",
    )
    assert "column a.e: no record has this field of the map" in told(records)[0]


def test_kinds_that_nobody_listed(tmp_path: Path) -> None:
    content = table(row(1), row(2, object_type="Tea towel"), row(3, object_type="shawl; fragment"))
    assert read(tmp_path, content).kind.texts().tolist() == ["scarf-like", "other", "scarf-like"]
    path = tmp_path / "map.toml"
    path.write_text('[kinds]\nwrap = ["Shawl"]\n')
    records = read(tmp_path, content, columns=read_columns_map(path))
    assert records.kind.texts().tolist() == ["wrap"]
    assert records.left_out == {"object type not listed": 2}
    add_up(records)


def test_a_map_tells_everything_that_is_wrong_with_it(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text(
        'size_unit = "ell"\nwidest_years = 0\ncolour = 1\nunlisted = 3\n'
        '[columns]\ndate_txt = "x"\nrecord_id = ["a", "b"]\nfibre = 7\n'
        '[constants]\nrecord_id = "1"\nlicens = "x"\nsource = 4\n'
        '[kinds]\na = ["scarf"]\nb = ["Scarf"]\nc = "shawl"\n'
    )
    with pytest.raises(TableError) as caught:
        read_columns_map(path)
    text = str(caught.value)
    for wrong in (
        "size_unit must be 'cm' or 'in' or 'mm', got 'ell'",
        "widest_years must be a whole number above 0, got '0'",
        "'colour' is not a key of this map of columns",
        "unlisted must be a text, got '3'",
        "'date_txt' is none of our columns; did you mean 'date_text'?",
        "record_id must be one column, got 2",
        "fibre must be the name of a column, or a list of names, got '7'",
        "[constants] record_id must be a text that all records may share",
        "'licens' is none of our columns; did you mean 'licence'?",
        "[constants] source must be a text",
        "'scarf' is counted as 'a' and as 'b'",
        "'c' must be a list of object types, got 'shawl'",
    ):
        assert wrong in text, wrong
    path.write_text("columns = [")
    with pytest.raises(TableError, match="not TOML"):
        read_columns_map(path)
    with pytest.raises(TableError, match="there is no such file"):
        read_columns_map(tmp_path / "none.toml")
    path.write_text('columns = "x"')
    with pytest.raises(TableError, match="columns must be a table"):
        read_columns_map(path)


# ---------------------------------------------------------------------------- clumps, folds, counts


def statement(first: np.ndarray, last: np.ndarray, approximate: np.ndarray) -> np.ndarray:
    wide = np.where(last == first, "year", "years")
    return np.where(approximate, "circa", np.where(np.isnan(first + last), "open", wide))


def test_clumps_count_once(tmp_path: Path) -> None:
    records = read(
        tmp_path,
        table(
            row(1), row(2), row(3, width_cm=5), row(4, medium_text="wool"), row(5, year_acquired=1991),
            row(6, object_type="shawl"), row(7, source="other"), row(8, date_text="1950-59"),
        ),
    )  # fmt: skip
    assert records.effective == 6
    assert records.weight[:3] == pytest.approx(1 / 3)
    assert len(set(records.clump[:3])) == 1
    assert records.weight.sum() == pytest.approx(6)
    part = records.only(records.medium_text.is_word("silk") & (np.arange(8) > 0))
    assert (len(part), part.effective, part.weight[0]) == (6, 5, 0.5)
    assert part.record_id.tolist() == ["2", "3", "5", "6", "7", "8"]
    assert part.only([0]).medium_text[0] == "silk"
    with pytest.raises(RangeError, match="a mask must have 8 places"):
        records.only(np.ones(3, dtype=bool))


def test_records_can_be_sent_and_copied_whole_and_stay_frozen(tmp_path: Path) -> None:
    header = [*HEADER, "fibre"]
    weights = '{"silk": 0.5, "rayon": 0.5}'
    long = "an invented id too long for a short string"
    rows = [
        [*row(1), "silk"], [*row(long, medium_text="crêpe", year_begin="", width_cm=""), weights],
        [*row(3, year_begin=1970), "slik"], [*row(4), "silk"], [*row(5, date_text="", year_begin="",
        year_end=""), ""], [*row(6), "silk"],
    ]  # fmt: skip
    records = read(tmp_path, table(*rows, header=header))
    assert len(records) == 4 and records.faults and records.undated and records.clues
    for again in (
        *(pickle.loads(pickle.dumps(records, protocol)) for protocol in (2, 5)),
        copy.deepcopy(records),
        copy.copy(records),
    ):
        assert again.to_frame().equals(records.to_frame())
        assert repr(again) == repr(records)
        for column in fields(Records):
            value, other = getattr(records, column.name), getattr(again, column.name)
            assert type(other) is type(value)
            if isinstance(value, np.ndarray):
                assert other.dtype == value.dtype and not other.flags.writeable
            elif isinstance(value, Words):
                assert other.words == value.words and not other.codes.flags.writeable
            elif column.name != "clues":
                assert other == value
        assert list(again.clues) == ["fibre"]
        assert not again.clues["fibre"].codes.flags.writeable
        with pytest.raises(TypeError):
            again.licences["invented"]["CC0 1.0"] = 0
        part, whole = again.only([0, 1]), records.only([0, 1])
        assert part.to_frame().equals(whole.to_frame())
        assert folds(again, 2, 0).tolist() == folds(records, 2, 0).tolist()


def test_distinct_intervals_with_their_counts(tmp_path: Path) -> None:
    records = read(
        tmp_path,
        table(
            row(1), row(2), row(3, medium_text="wool"), row(4, object_type="dress"),
            row(5, year_acquired=1955), row(6, year_begin="", year_acquired=""),
            row(7, date_text="ca. 1955"),
        ),
    )  # fmt: skip
    frame = compressed(records, statement)
    assert frame.astype(object).where(frame.notna(), None).values.tolist() == [
        ["dress", 1950, 1959, "years", 1, 1.0],
        ["scarf-like", None, 1959, "open", 1, 1.0],
        ["scarf-like", 1950, 1955, "years", 1, 1.0],
        ["scarf-like", 1950, 1959, "circa", 1, 1.0],
        ["scarf-like", 1950, 1959, "years", 3, 2.0],
    ]
    assert frame.columns.tolist() == ["kind", "first", "last", "statement", "records", "effective"]
    stated = compressed(records, statement, as_stated=True)
    cut = stated[stated["acquired"].notna()]
    assert cut[["first", "last", "acquired"]].values.tolist() == [[1950, 1959, 1955]]
    with pytest.raises(RangeError, match="5 kinds of statement are wanted, got 1"):
        compressed(records, lambda first, last, approximate: [0])


def test_folds_keep_clumps_together(tmp_path: Path) -> None:
    rows = [row(number, medium_text=f"cloth {number % 37}") for number in range(200)]
    records = read(tmp_path, table(*rows))
    part = folds(records, 5, seed=3)
    assert all(len(set(part[records.clump == clump])) == 1 for clump in range(37))
    of_clump = [part[records.clump == clump][0] for clump in range(37)]
    assert sorted(Counter(of_clump).values()) == [7, 7, 7, 8, 8]
    assert (part == folds(records, 5, seed=3)).all()
    assert (part != folds(records, 5, seed=4)).any()
    for k in (1, 38):
        with pytest.raises(RangeError, match="from 2 parts to as many as there are clumps"):
            folds(records, k, seed=3)


CELLS = st.fixed_dictionaries(
    {
        "source": st.sampled_from(["invented", "other"]),
        "object_type": st.sampled_from(["scarf", "shawl", "dress", "tea towel"]),
        "date_text": st.sampled_from(["", "1950s", "ca. 1955", "1700-1990", "before 1920", "n.d."]),
        "year_begin": st.sampled_from(["", "", "1950", "1957", "0", "x", "2090"]),
        "year_end": st.sampled_from(["", "", "1959", "1957", "1900"]),
        "medium_text": st.sampled_from(["silk", "wool"]),
        "width_cm": st.sampled_from(["", "90", "wide"]),
        "year_acquired": st.sampled_from(["", "1956", "1990", "1901"]),
    }
)


@pytest.mark.slow
@settings(
    deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(cells=st.lists(CELLS, min_size=1, max_size=25), seed=st.integers(0, 9))
def test_the_order_of_rows_changes_no_count(
    tmp_path: Path, cells: list[dict[str, str]], seed: int
) -> None:
    rows = [row("sound"), *(row(number, **one) for number, one in enumerate(cells))]
    mixed = random.Random(seed).sample(rows, len(rows))
    one, two = read(tmp_path, table(*rows)), read(tmp_path, table(*mixed))
    add_up(one)
    for name in ("rows", "effective", "left_out", "undated", "odd", "fault_counts", "licences"):
        assert getattr(one, name) == getattr(two, name)
    assert compressed(one, statement).round(9).equals(compressed(two, statement).round(9))

    def by_id(records: Records) -> dict[str, list[object]]:
        part = folds(records, 2, seed) if records.effective > 1 else records.clump
        found = zip(records.clump, records.weight, part, records.first, records.last, strict=True)
        return dict(zip(records.record_id.tolist(), map(list, found), strict=True))

    assert by_id(one) == by_id(two)


# ---------------------------------------------------------------------------- real, and many

MANY = """
import resource, sys
from scarfdate.records.museum import read_records
from scarfdate.tables.priors import load_priors
load_priors()
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
records = read_records(sys.argv[1])
after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(len(records), len(records.medium_text.words), len(records.faults),
      sum(records.fault_counts.values()), before // 1024, after // 1024)
"""


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("ending", ["csv", "json"])
def test_a_million_rows_in_bounded_memory(tmp_path: Path, ending: str) -> None:
    """Memory above that of an idle interpreter with the priors loaded: below 400 MB."""
    path = tmp_path / f"many.{ending}"
    draw = random.Random(5)
    count = 1_000_000 if ending == "csv" else 200_000
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        if ending == "csv":
            writer.writerow(HEADER)
        for number in range(count):
            year = draw.randrange(1850, 2000)
            cells = row(
                f"{number:08d}-invented",
                object_type=draw.choice(["scarf", "shawl", "dress"]),
                date_text=f"ca. {year}",
                year_begin=year - 5 if number % 1_000 else "x",
                year_end=year + 5,
                medium_text=f"invented cloth {int(draw.random() ** 2 * 1_100)}; printed in colours",
                width_cm=draw.randrange(200, 5_000) / 10,
                height_cm=draw.randrange(200, 5_000) / 10,
                year_acquired=min(year + draw.randrange(60), 2020),
            )
            if ending == "csv":
                writer.writerow(cells)
            else:
                mark = "," if number else "["
                stream.write(mark + json.dumps(dict(zip(HEADER, cells, strict=True))))
        stream.write("]" if ending == "json" else "")
    done = subprocess.run(
        [sys.executable, "-c", MANY, str(path)],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    kept, words, faults, counted, before, after = map(int, done.stdout.split())
    print(f"{count} rows of {ending}: {before} MB before, {after} MB at the most")
    assert kept == count - count // 1_000
    assert words <= 1_100
    assert (faults, counted) == (30, count // 1_000)
    assert after - before < 400


def test_real_records(shared: Path) -> None:
    museum = shared / "museum"
    records = read_records(museum / "records.csv")
    with (museum / "records.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    keys = ("source", "object_type", "date_text", "medium_text", "year_acquired")
    clumps = Counter(tuple(one[key] for key in keys) for one in rows)
    print(f"{len(records)} records in {records.effective} clumps")
    assert not records.faults
    assert not records.left_out
    assert len(records) == records.rows == len(rows)
    assert records.effective == len(clumps)
    assert sorted(1 / records.weight) == pytest.approx(
        sorted(float(count) for count in clumps.values() for _ in range(count))
    )
    for at in range(0, len(rows), 17):
        begin, end, got_in = (
            rows[at][name] for name in ("year_begin", "year_end", "year_acquired")
        )
        assert records.first[at] == int(begin or OPEN_START)
        assert records.stated_last[at] == int(end or OPEN_END)
        assert records.last[at] == min(int(end or OPEN_END), int(got_in or OPEN_END))
    both = read_records([museum / "records.csv", museum / "harvested.csv"])
    assert len(both) == len(rows) + 36
    assert not both.faults
    assert both.licences["met"] == {"CC0": both.source.is_word("met").sum()}


# ---------------------------------------------------------------------------------- pages of an export

PAGES = [
    [{"id": "1", "when": "1931"}, {"id": "2", "when": "1950s"}],
    [],
    [{"id": "3", "when": "ca. 1962"}],
]


@pytest.mark.parametrize(
    ("name", "content", "path"),
    [
        ("list.json", [{"page": at, "records": one} for at, one in enumerate(PAGES)], "records"),
        ("inner.json", {"total": 3, "pages": [{"data": {"items": one}} for one in PAGES]}, "pages.data.items"),
        ("bare.json", {"pages": [{"items": one} for one in PAGES]}, "pages.items"),
        ("lines.jsonl", [{"page": at, "records": one} for at, one in enumerate(PAGES)], "records"),
        ("flat.json", {"records": [record for one in PAGES for record in one]}, "records"),
    ],
)  # fmt: skip
def test_pages_in_one_file(tmp_path: Path, name: str, content: object, path: str) -> None:
    columns = tmp_path / "map.toml"
    columns.write_text(
        f'records = "{path}"\n[columns]\nrecord_id = "id"\ndate_text = "when"\n[constants]\nobject_type = "scarf"\n'
        '[kinds]\nscarf-like = ["scarf"]\n'
    )
    lines = content if name.endswith(".jsonl") else [content]
    assert isinstance(lines, list)
    (tmp_path / name).write_text("".join(json.dumps(one) + "\n" for one in lines))
    records = read_records(tmp_path / name, columns)
    assert records.record_id.tolist() == ["1", "2", "3"]
    assert records.first.tolist() == [1931, 1950, 1962]
    assert not records.faults


def test_a_folder_of_pages_is_one_export(tmp_path: Path) -> None:
    """In the order of their names; a page is no source of its own; what is no file of records is passed over."""
    folder = tmp_path / "drumsallow"
    folder.mkdir()
    for at, one in enumerate(PAGES):
        told = [
            {"record_id": each["id"], "date_text": each["when"], "object_type": "scarf"}
            for each in one
        ]
        (folder / f"page-{at}.json").write_text(
            json.dumps({"next": at + 1, "records": told or [{}]})
        )
    (folder / "readme.md").write_text("no records")
    using = {name: name for name in ("record_id", "date_text", "object_type")}
    records = read_records(folder, using)
    assert records.record_id.tolist() == ["1", "2", "3"]
    assert {*records.source.words} == {"drumsallow"}
    (folder / "page-3.json").write_text(
        json.dumps([{"record_id": "1", "date_text": "1940", "object_type": "scarf"}])
    )
    again = read_records(folder, using)
    assert len(again) == 3
    assert dict(again.left_out)["duplicate"] == 1
