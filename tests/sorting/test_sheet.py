"""The stock sheet: a row is put in and taken out, and nothing else of it is touched."""

from __future__ import annotations

import csv
import io
import os
from pathlib import Path

import pandas as pd
import pytest

from scarfdate import ScarfdateError, Sorting, date_table
from tests.sorting.table import LARGE, NOW, keys, play, rows, table

SILK = "fs"
ROW = "1,silk,,,hand-rolled\n"
MINE = 'id,fibre,shelf,price,hem\n7,wool,B 2,=A1*2,raw\n8,"sil\nk",C,"1,5",\n'


def sheet(folder: Path, content: str | bytes) -> Path:
    path = folder / "stock.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def test_columns_that_are_nobodys_and_all_rows_are_kept(tmp_path: Path) -> None:
    path = sheet(tmp_path, MINE)
    play(table(tmp_path), keys("fshh<Enter>"))
    assert path.read_text(encoding="utf-8") == MINE + "9,silk,,,hand-rolled\n"


def test_a_column_that_lacks_is_put_at_the_right(tmp_path: Path) -> None:
    path = sheet(tmp_path, MINE)
    sorting = table(tmp_path)
    play(sorting, keys("fsrs<Enter>"))
    old, new = (
        list(csv.reader(io.StringIO(text, newline=""))) for text in (MINE, path.read_text())
    )
    assert [row[:5] for row in new[:3]] == old and new[0][5:] == ["form"]
    assert new[3] == ["9", "silk", "", "", "", "square"]
    play(sorting, keys("<Backspace>"))
    assert path.read_text(encoding="utf-8") == MINE


def test_the_demo_stock_gets_sides_where_it_has_columns_for_them(tmp_path: Path) -> None:
    path = sheet(tmp_path, LARGE.read_bytes())
    play(table(tmp_path), keys("fsz30 x 30 in<Enter><Enter>"))
    added = path.read_bytes().removeprefix(LARGE.read_bytes())
    assert added.startswith(b"V061,silk") and b"76.2,76.2" in added and added.count(b"\n") == 1


def test_headings_as_people_write_them(tmp_path: Path) -> None:
    path = sheet(tmp_path, "Nr;Material;Saum;Preis\r\nA-09;Seide;;12,50\r\n")
    play(table(tmp_path), keys("fshh<Enter>"))
    assert path.read_bytes().endswith(b"12,50\r\nA-10;silk;hand-rolled;\r\n")


@pytest.mark.parametrize(
    ("encoding", "mark"),
    [("utf-8", b""), ("utf-8", b"\xef\xbb\xbf"), ("cp1252", b""), ("utf-16-le", b"\xff\xfe"),
     ("utf-16-be", b"\xfe\xff")],
)  # fmt: skip
def test_the_encoding_stays(tmp_path: Path, encoding: str, mark: bytes) -> None:
    before = mark + "id,fibre,note\n1,silk,bügelt schön".encode(encoding)  # no line end at the end
    path = sheet(tmp_path, before)
    sorting = table(tmp_path)
    play(sorting, keys("fwngrün<Enter><Enter>"))
    assert path.read_bytes() == before + "\n2,wool,grün\n".encode(encoding)
    play(sorting, keys("<Backspace>"))
    assert path.read_bytes() == before


def test_a_letter_that_the_encoding_lacks_is_refused_and_nothing_is_lost(tmp_path: Path) -> None:
    before = "id,fibre,note\n1,silk,schön".encode("cp1252")
    path = sheet(tmp_path, before)
    sorting = table(tmp_path)
    screen = play(sorting, keys("fwn絹<Enter><Enter>"))
    assert "cannot be written in the encoding" in screen.messages[0]
    assert path.read_bytes() == before and dict(screen.piece.noted) == {
        "fibre": "wool",
        "note": "絹",
    }


def test_formulas_are_made_plain(tmp_path: Path) -> None:
    play(table(tmp_path), keys("n=HYPERLINK(1)<Enter>x@SUM(1) MADE IN ITALY<Enter><Enter>"))
    (row,) = rows(tmp_path / "stock.csv")
    assert row["note"] == "'=HYPERLINK(1)" and row["label_text"].startswith("'@SUM")
    found = date_table(pd.DataFrame([row]), as_of=NOW)
    assert found["not_read"].isna().all()


def test_what_is_typed_stays_one_cell(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    sorting.note("note", 'a, "b"\nc\x00\ud800;<script>')
    play(sorting, ["Enter"])
    (row,) = rows(tmp_path / "stock.csv")
    assert row["note"] == 'a, "b" c??;<script>'
    assert "<script>" not in sorting.undo()._repr_html_()


def test_what_another_wrote_meanwhile_is_kept_and_told(tmp_path: Path) -> None:
    path = sheet(tmp_path, MINE)
    sorting = table(tmp_path)
    play(sorting, keys("fs"))
    with path.open("a", encoding="utf-8") as stream:
        stream.write("9,cotton,,,\n")
    screen = sorting.press("Enter")
    assert "changed by another program" in screen.messages[0]
    assert path.read_text(encoding="utf-8") == MINE + "9,cotton,,,\n10,silk,,,\n"
    with path.open("a", encoding="utf-8") as stream:
        stream.write("11,linen,,,\n")
    screen = sorting.press("Backspace")  # the row is taken out from between the others
    assert path.read_text(encoding="utf-8") == MINE + "9,cotton,,,\n11,linen,,,\n"
    assert dict(screen.piece.noted) == {"fibre": "silk"}


def test_a_row_that_another_changed_is_left_to_her(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    play(sorting, keys("fs<Enter>"))
    path = tmp_path / "stock.csv"
    text = path.read_text(encoding="utf-8").replace("silk", "rayon")
    path.write_text(text, encoding="utf-8")
    screen = sorting.press("Backspace")
    assert "no longer has that row" in screen.messages[0]
    assert path.read_text(encoding="utf-8") == text
    assert dict(screen.piece.noted) == {"fibre": "silk"}


def test_a_sheet_that_is_gone_is_begun_anew(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    play(sorting, keys("fs<Enter>fw"))
    (tmp_path / "stock.csv").unlink()
    assert "was gone" in sorting.press("Enter").messages[0]
    assert [row["fibre"] for row in rows(tmp_path / "stock.csv")] == ["wool"]


def test_nothing_noted_is_not_written(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    screen = play(sorting, keys("#12<Enter><Enter>"))
    assert "nothing to write" in screen.messages[0]
    assert not (tmp_path / "stock.csv").exists()


@pytest.mark.parametrize(
    ("ids", "following"),
    [("V058 V059", "V060"), ("V099", "V100"), ("a b", "3"), ("3 X7 2", "4"), ("2026-009", "2026-010")],
)  # fmt: skip
def test_the_next_number_is_as_the_dealer_numbers(tmp_path: Path, ids: str, following: str) -> None:
    sheet(tmp_path, "id,fibre\n" + "".join(f"{each},silk\n" for each in ids.split()))
    sorting = table(tmp_path)
    assert play(sorting, keys("fs")).piece.id == following
    taken = ids.split()[0]
    assert "on the sheet already" in play(sorting, ["#", *taken, "Enter"]).messages[0]


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"thus,ever\n1,2\n", "no stock sheet"), (b'id,fibre\n1,"silk\n', "cannot be taken apart"),
     (b"id,fibre,fibre\n1,silk,silk\n", "stands there twice"), (b"id,fibre\n\x00\n", "NUL"),
     (b"id,fibre\n\xff\xff\xff\xff\n", "UTF-8")],
)  # fmt: skip
def test_a_file_that_is_no_stock_sheet_is_refused(
    tmp_path: Path, content: bytes, said: str
) -> None:
    path = sheet(tmp_path, content)
    with pytest.raises(ScarfdateError, match=said):
        table(tmp_path)
    assert path.read_bytes() == content


@pytest.mark.parametrize("content", [b"", b"\n \n", b"id,fibre\n"])
def test_an_empty_sheet_is_begun(tmp_path: Path, content: bytes) -> None:
    path = sheet(tmp_path, content)
    sorting = table(tmp_path)
    play(sorting, keys("fs<Enter>"))
    assert rows(path) == [{"id": "1", "fibre": "silk"}]
    play(sorting, keys("<Backspace>"))
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    ("name", "said"),
    [("folder.csv", "is a folder"), ("stock.xlsx", "is a .csv file"), ("", "is a .csv file"),
     ("none/stock.csv", "is not there"), ("a\0b.csv", "can be called so"), ("locked.csv", "write-protected")],
)  # fmt: skip
def test_what_cannot_be_a_sheet_is_refused(tmp_path: Path, name: str, said: str) -> None:
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "locked.csv").write_text("id,fibre\n", encoding="utf-8")
    (tmp_path / "locked.csv").chmod(0o444)
    with pytest.raises(ScarfdateError, match=said):
        Sorting(tmp_path / name if name else "", as_of=NOW)


def test_a_folder_without_rights_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(ScarfdateError, match="write-protected"):
        table(tmp_path)


def test_rights_that_go_meanwhile_lose_nothing(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    play(sorting, keys("fs<Enter>fw"))
    path = tmp_path / "stock.csv"
    before = path.read_bytes()
    path.chmod(0o444)
    for key in ("Enter", "1"):
        screen = sorting.press(key)
        assert "write-protected" in screen.messages[0]
        assert dict(screen.piece.noted) == {"fibre": "wool"} and path.read_bytes() == before
    path.chmod(0o644)
    sorting.press("Enter")
    assert [row["fibre"] for row in rows(path)] == ["silk", "wool"]


def test_the_file_that_a_link_names_is_written(tmp_path: Path) -> None:
    (tmp_path / "far").mkdir()
    there = sheet(tmp_path / "far", MINE)
    (tmp_path / "stock.csv").symlink_to(there)
    play(table(tmp_path), keys("fs<Enter>"))
    assert (tmp_path / "stock.csv").is_symlink()
    assert there.read_text(encoding="utf-8") == MINE + "9,silk,,,\n"


def test_sides_without_a_unit_ask_for_it_or_take_that_of_the_table(tmp_path: Path) -> None:
    screen = play(table(tmp_path), keys("z34 x 34<Enter>"))
    assert screen.messages == ("size: write its unit, too: 34 x 34 cm, or 34 x 34 in",)
    screen = play(table(tmp_path, "other.csv", unit="in"), keys("z34 x 34<Enter>"))
    assert screen.piece.noted == (("size", "34 x 34 in"),)
