"""Sheets in and out, from outside: small invented files, each made in its test by the program that has the format."""

from __future__ import annotations

import datetime
import io
import os
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

import scarfdate
from scarfdate import TableError, cli, date_table, dry_run, load_priors
from scarfdate.columns.sheet import read_sheet
from scarfdate.reading.files import read_table
from scarfdate.reading.written import write_table

ROWS = [
    ["id", "fibre", "hem", "width_cm", "height_cm", "motif", "note"],
    ["a1", "silk", "hand-rolled", "90", "88.5", "floral", "crêpe, £8"],
    ["a2", "polyester", "machine-stitched", "70", "70", "", "=1+1"],
    ["a3", "", "", "", "", "geometric", ""],
]
FRAME = pd.DataFrame(ROWS[1:], columns=ROWS[0])
MAP = """
decimal = ","
unit = "cm"
ignore = ["Preis"]
[columns]
id = "Nr."
fibre = "Stoff"
hem = "Rand"
width = "Breite"
height = "Höhe"
[words.fibre]
Edelseide = "silk"
[constants]
origin = "Italy"
"""


def run(*arguments: str, given: bytes | None = None) -> Result:
    result = CliRunner().invoke(cli.cli, list(arguments), input=given)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def book(path: Path, rows: list[list[object]], *, title: str = "stock", **cells: object) -> Path:
    made = openpyxl.Workbook()
    made.active.title = title
    for row in rows:
        made.active.append(row)
    for place, value in cells.items():
        made.active[place] = value
    made.save(path)
    return path


def same(one: pd.DataFrame, other: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(one.reset_index(drop=True), other.reset_index(drop=True))


# ------------------------------------------------------------------ reading


@pytest.mark.parametrize("ending", ["csv", "xlsx", "ods", "json", "parquet"])
def test_reading_is_the_same_from_every_kind_of_file(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"stock.{ending}"
    if ending == "csv":
        FRAME.to_csv(path, index=False)
    elif ending == "ods":
        FRAME.assign(note="x").to_excel(path, index=False, engine="odf")
    elif ending == "xlsx":
        FRAME.assign(note="x").to_excel(path, index=False)
    elif ending == "json":
        FRAME.to_json(path, orient="records")
    else:
        FRAME.to_parquet(path)
    read = read_table(path)
    assert read.columns.tolist() == ROWS[0]
    assert read.drop(columns="note").values.tolist() == [row[:-1] for row in ROWS[1:]]
    same(date_table(read), date_table(FRAME))
    same(date_table(read_table(io.BytesIO(path.read_bytes()))), date_table(FRAME))


def test_numbers_and_days_are_the_same_from_xlsx_and_ods(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {"id": [1, 2], "width_cm": [90.5, 70.0], "note_bought": [datetime.datetime(2024, 5, 3), None],
         "note_yes": [True, False]}
    )  # fmt: skip
    frame.to_excel(tmp_path / "a.xlsx", index=False)
    frame.to_excel(tmp_path / "a.ods", index=False, engine="odf")
    one, other = read_table(tmp_path / "a.xlsx"), read_table(tmp_path / "a.ods")
    same(one, other)
    assert one.values.tolist() == [["1", "90.5", "2024-05-03", "true"], ["2", "70", "", "false"]]


TEXT = "id;fibre;width_cm;note\n1;silk;88,5;crêpe – £8\n2;wool;;Größe ½\n"


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
@pytest.mark.parametrize("mark", [";", "\t", "sep=;"])
def test_csv_as_spreadsheets_write_it(tmp_path: Path, encoding: str, mark: str) -> None:
    text = f"sep=;\n{TEXT}" if mark == "sep=;" else TEXT.replace(";", mark)
    path = tmp_path / "a.csv"
    path.write_bytes(text.encode(encoding))
    for read in (
        read_table(path),
        read_sheet(path).table,
        read_table(io.BytesIO(path.read_bytes()), "csv"),
    ):
        assert read["note"].tolist() == ["crêpe – £8", "Größe ½"]
    assert bool(read_sheet(path).remarks) == (encoding == "cp1252")


def test_an_encoding_is_stated_or_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(TEXT.replace("–", "-").encode("cp850"))
    assert "--encoding" in run("date", str(path)).stderr
    assert run("date", str(path), "--encoding", "cp850").exit_code == 0
    assert read_table(path, encoding="cp850")["note"].iloc[0] == "crêpe - £8"
    for wrong in ("ascii", "utf-16", "no-such", "hex", ""):
        with pytest.raises(TableError):
            read_table(path, encoding=wrong)


def test_headings_are_found_under_a_title(tmp_path: Path) -> None:
    titled = [["My scarves 2026"], [], ["prices in EUR", "", "draft"], *ROWS]
    text = "\n".join(",".join(f'"{cell}"' for cell in row) for row in titled)
    (tmp_path / "a.csv").write_text(text)
    made = openpyxl.Workbook()
    for row in titled:
        made.active.append(row)
    made.active.merge_cells("A1:G1")
    made.save(tmp_path / "a.xlsx")
    for ending, counted in (("csv", "line"), ("xlsx", "row")):
        sheet = read_sheet(tmp_path / f"a.{ending}")
        assert sheet.table.columns.tolist() == ROWS[0]
        assert sheet.table.index.tolist() == [5, 6, 7]
        assert any(f"found in {counted} 4" in one for one in sheet.remarks)
        same(date_table(sheet.clues), date_table(FRAME))


def test_a_full_first_row_is_never_taken_for_a_title(tmp_path: Path) -> None:
    rows = [["piece", "shelf", "price"], ["fibre", "hem", "form"], ["x", "y", "z"]]
    sheet = read_sheet(book(tmp_path / "a.xlsx", rows))
    assert sheet.table.columns.tolist() == rows[0]


def test_merged_cells_are_filled_downwards_and_told(tmp_path: Path) -> None:
    made = openpyxl.Workbook()
    for row in [["id", "fibre", "hem"], [1, "silk", "hand-rolled"], [2, None, None], [3, None, "fringed"],
                [4, "wool", None]]:  # fmt: skip
        made.active.append(row)
    made.active.merge_cells("B2:B4")
    made.active.merge_cells("B5:C5")
    made.save(tmp_path / "a.xlsx")
    sheet = read_sheet(tmp_path / "a.xlsx")
    assert sheet.table["fibre"].tolist() == ["silk", "silk", "silk", "wool"]
    assert sheet.table["hem"].tolist() == ["hand-rolled", "", "fringed", ""]
    told = run("date", str(tmp_path / "a.xlsx")).stderr
    assert "B2:B4" in told
    assert "B5:C5" in told


def test_merged_cells_of_ods(tmp_path: Path) -> None:
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import CoveredTableCell, Table, TableCell, TableRow
    from odf.text import P

    made = OpenDocumentSpreadsheet()
    table = Table(name="Blatt")
    for cells in (["id", "fibre"], ["1", ("silk", 2)], ["2", None]):
        row = TableRow()
        for cell in cells:
            if cell is None:
                row.addElement(CoveredTableCell())
                continue
            text, down = cell if isinstance(cell, tuple) else (cell, 1)
            held = TableCell(valuetype="string", numberrowsspanned=down, numbercolumnsspanned=1)
            held.addElement(P(text=text))
            row.addElement(held)
        table.addElement(row)
    made.spreadsheet.addElement(table)
    made.save(str(tmp_path / "a.ods"))
    assert read_table(tmp_path / "a.ods")["fibre"].tolist() == ["silk", "silk"]


def test_formulas_without_a_value_are_followed_or_told(tmp_path: Path) -> None:
    path = book(tmp_path / "a.xlsx", [["id", "fibre", "hem"], [1, "silk", "fringed"], [2, None, "fringed"]],
                B3="=B2", C3='=CONCATENATE("hand","-rolled")')  # fmt: skip
    sheet = read_sheet(path)
    assert sheet.table["fibre"].tolist() == ["silk", "silk"]
    assert sheet.table["hem"].tolist() == ["fringed", '=CONCATENATE("hand","-rolled")']
    result = run("date", str(path))
    assert "C3" in result.stderr
    assert "B3" in result.stderr
    loop = book(tmp_path / "b.xlsx", [["id", "fibre"], [1, None]], B2="=B2")
    assert read_sheet(loop).table["fibre"].tolist() == ["=B2"]


TOTALS = ["Total", "TOTAL:", "Summe", "Gesamt", "Totale", "Totaal", "Somme", "Sous-total"]


@pytest.mark.parametrize("word", TOTALS)
@pytest.mark.parametrize("ending", ["csv", "xlsx", "json"])
def test_a_row_of_totals_is_neither_dated_nor_priced(
    tmp_path: Path, ending: str, word: str
) -> None:
    rows = [["id", "fibre", "size", "asking price"], ["a1", "silk", "90 x 90 cm", "20"],
            ["a2", "cotton", "", "4"], [word, "", "", "24"]]  # fmt: skip
    file = tmp_path / f"stock.{ending}"
    if ending == "xlsx":
        book(file, rows)  # type: ignore[arg-type]
    else:
        made = pd.DataFrame(rows[1:], columns=rows[0])
        made.to_csv(file, index=False) if ending == "csv" else made.to_json(file, orient="records")
    dated = run("date", str(file))
    assert "2 pieces: 2 dated" in dated.output
    assert "holds totals, and is passed over" in " ".join(dated.output.split())
    assert "2 pieces: buy" in run("appraise", str(file)).output
    assert word not in run("describe", str(file)).output
    if ending == "csv":  # in parts, too
        run("date", str(file), "--out", str(tmp_path / "out.csv"), "--processes", "1")
        assert len(pd.read_csv(tmp_path / "out.csv")) == 2


def test_a_piece_called_total_is_a_piece(tmp_path: Path) -> None:
    file = tmp_path / "stock.csv"
    for row in ("total,silk,,24", "total,,90 x 90 cm,24", "Total War,,,24"):
        file.write_text(f"id,fibre,size,asking price\na1,silk,,20\n{row}\n")
        assert "2 pieces: 2 dated" in run("date", str(file)).output


def test_the_sheet_read_and_the_others_are_named(tmp_path: Path) -> None:
    made = openpyxl.Workbook()
    made.active.title = "Summary"
    made.active.append(["only a heading"])
    stock = made.create_sheet("Stock")
    for row in ROWS:
        stock.append(row)
    made.save(tmp_path / "a.xlsx")
    told = run("date", str(tmp_path / "a.xlsx"))
    assert told.exit_code == 2
    assert "'Summary'" in told.stderr and "'Stock'" in told.stderr and "--sheet" in told.stderr
    for which in ("Stock", "2"):
        good = run("date", str(tmp_path / "a.xlsx"), "--sheet", which)
        assert "3 pieces: 3 dated" in good.stdout
        assert "'Summary'" in good.stderr
    assert "did you mean 'Stock'" in run("date", str(tmp_path / "a.xlsx"), "--sheet", "Stok").stderr
    assert "has sheets" in run("date", "-", "--sheet", "x", given=b"id\n1\n").stderr


# ------------------------------------------------------------------ the map and the dry run


def test_one_map_reads_a_stock_sheet(tmp_path: Path) -> None:
    (tmp_path / "map.toml").write_text(MAP)
    (tmp_path / "a.csv").write_text(
        "Bestand\nNr.;Stoff;Rand;Breite;Höhe;Preis\n7;Edelseide;handrolliert;88,5;89;12,50\n8;?;;;;\n"
    )
    sheet = read_sheet(tmp_path / "a.csv", columns=tmp_path / "map.toml")
    wanted = pd.DataFrame({"id": ["7", "8"], "fibre": ["silk", None], "hem": ["hand-rolled", None],
                           "width_cm": [88.5, None], "height_cm": [89.0, None], "origin": ["Italy"] * 2})  # fmt: skip
    same(date_table(sheet.clues), date_table(wanted))
    result = run("date", str(tmp_path / "a.csv"), "--columns", str(tmp_path / "map.toml"),
                 "--out", str(tmp_path / "out.csv"))  # fmt: skip
    assert result.exit_code == 0, result.stderr
    back = read_table(tmp_path / "out.csv")
    assert back.columns.tolist()[:6] == ["Nr.", "Stoff", "Rand", "Breite", "Höhe", "Preis"]
    dry = run("dry-run", str(tmp_path / "a.csv"), "--columns", str(tmp_path / "map.toml")).stdout
    for said in ("Stoff", "-> fibre", "'Edelseide' -> silk", "width_cm 88.5", "ignored", "line 2"):
        assert said in dry, said


def test_the_dry_run_says_what_is_not_read_and_not_used() -> None:
    frame = pd.DataFrame({"id": ["1", "2"], "fibre": ["silk", "slik"], "shelf": ["A", "B"],
                          "known_to": ["", ""]}).drop(columns="known_to")  # fmt: skip
    got = dry_run(frame)
    assert isinstance(got, scarfdate.StockUnderstood)
    assert got.unread == 1
    assert got.columns.set_index("column").loc["shelf", "remark"].startswith("not")
    assert "NOT READ" in str(got)
    assert "2 cells of clues: 1 read, 1 not read" in str(got)
    assert "<script" not in dry_run(frame.assign(hem="<script>"))._repr_html_()


@pytest.mark.parametrize(
    ("family", "cell", "kept", "unread"),
    [
        ("fibre", "soie imprègnée", "silk", "imprègnée"), ("fibre", "18qq twill", "weave twill", "18qq"),
        ("form", "glim bonnet, wibbles oddly", "other", "glim … wibbles oddly"), ("hem", "x/q hemmed", "hemmed", "x/q"),
        ("label", "paper label, glim signs (4)", "label label, label_make paper", "glim signs (4)"),
    ],
)  # fmt: skip
def test_of_a_cell_read_in_part_both_parts_are_told_as_they_are_typed(
    family: str, cell: str, kept: str, unread: str
) -> None:
    got = dry_run(pd.DataFrame({family: [cell]}))
    assert f"{cell!r} -> {kept}; {family}: {unread!r} was not understood" in str(got)
    assert (got.unread, got.in_part) == (0, 1)
    assert "1 cells of clues: 0 read, 1 read in part, 0 not read" in str(got)
    told = date_table(pd.DataFrame({family: [cell]}), as_of=2026)["not_read"].iloc[0]
    assert f"{unread!r} in {cell!r} was not understood" in told


def test_the_dry_run_tells_why_a_column_is_left_out() -> None:
    """Headings that are known: the second for one clue, and what somebody thinks of the age."""
    row = {
        "Mat.": "silk",
        "Fabric": "twill",
        "Jahr": "80er?",
        "Age?": "old",
        "shelf": "B",
        "Dim.": "30 x 30 in",
        "Etik.": "none",
    }
    fate = dry_run(pd.DataFrame([row])).columns.set_index("column")
    read = {
        "Mat.": "fibre",
        "Fabric": "",
        "Jahr": "",
        "Age?": "",
        "shelf": "",
        "Dim.": "size",
        "Etik.": "label",
    }
    assert fate["read_as"].to_dict() == read
    assert "'Mat.' is read as fibre already" in fate.loc["Fabric", "remark"]
    assert all("thinks of the age" in fate.loc[name, "remark"] for name in ("Jahr", "Age?"))
    assert fate.loc["shelf", "remark"] == "not understood"


def test_a_fringe_by_itself_is_told_where_it_is_not_read() -> None:
    assert "NOT READ" in str(dry_run(pd.DataFrame({"Fransen": ["glorp, glim"], "fibre": ["silk"]})))
    assert len(dry_run(pd.DataFrame({"Fransen": ["within"], "fibre": ["silk"]})).cells) == 1


def test_how_a_mixture_was_looked_at_is_told_only_where_it_was_said() -> None:
    said = dry_run(pd.DataFrame({"fibre": ["rayon acetate", "100% polyester"]})).cells["read_as"]
    assert said.tolist() == ["blend with acetate", "fibre polyester, fibre_method label"]


def test_one_verb_for_a_sold_book_and_a_stock_sheet() -> None:
    root = Path(__file__).resolve().parents[2] / "data"
    assert isinstance(dry_run(root / "stock.csv"), scarfdate.StockUnderstood)
    assert dry_run(root / "stock.csv").unread == 0
    map_ = str(root / "sold_columns" / "thrackwindle.toml")
    assert isinstance(dry_run(root / "sold.csv", columns=map_), scarfdate.Understood)
    assert (
        run("dry-run", str(root / "sold.csv"), "--columns", map_).exit_code == 1
    )  # not all is read
    assert run("dry-run", str(root / "stock.csv")).exit_code == 0


@settings(max_examples=60, deadline=None)
@given(st.lists(st.text(max_size=12), min_size=1, max_size=6), st.booleans())
def test_whatever_stands_in_the_headings_is_read_or_refused(
    header: list[str], titled: bool
) -> None:
    rows = [["a title"]] * titled + [header, ["silk"] * len(header)]
    frame = pd.DataFrame(rows).fillna("")
    content = frame.to_csv(index=False, header=False).encode("utf-8", "replace")
    try:
        sheet = read_sheet(io.BytesIO(content))
        assert len(sheet.table) >= 1
        str(dry_run(io.BytesIO(content)))
    except TableError:
        pass


# ------------------------------------------------------------------ writing


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["csv", "xlsx", "json", "parquet"])
def test_own_output_dated_again_gives_the_same_answer_and_the_same_bytes(
    tmp_path: Path, ending: str
) -> None:
    FRAME.assign(note="x").to_csv(tmp_path / "in.csv", index=False)
    one, two, three = (tmp_path / f"{name}.{ending}" for name in ("one", "two", "three"))
    for source, out in ((tmp_path / "in.csv", one), (one, two), (tmp_path / "in.csv", three)):
        assert run("date", str(source), "--out", str(out)).exit_code == 0
    assert one.read_bytes() == three.read_bytes()
    same(read_table(one), read_table(two))
    same(date_table(read_table(two)), date_table(FRAME))
    assert run("show", str(two), "--id", "a1").exit_code == 0


def test_the_answer_is_worked_out_anew(tmp_path: Path) -> None:
    old = pd.concat([FRAME, date_table(FRAME)], axis=1)
    old.loc[0, "fibre"] = "polyester"
    same(date_table(old), date_table(FRAME.assign(fibre=["polyester", "polyester", ""])))
    FRAME.to_csv(tmp_path / "a.csv", index=False)
    run("date", str(tmp_path / "a.csv"), "--out", str(tmp_path / "b.csv"))
    text = (tmp_path / "b.csv").read_text().replace("a1,silk", "a1,polyester")
    (tmp_path / "b.csv").write_text(text)
    run("date", str(tmp_path / "b.csv"), "--out", str(tmp_path / "c.csv"))
    assert read_table(tmp_path / "c.csv").columns.is_unique
    assert (
        read_table(tmp_path / "c.csv")["decade"].iloc[0]
        != read_table(tmp_path / "b.csv")["decade"].iloc[0]
    )


def test_what_out_never_writes_over(tmp_path: Path) -> None:
    source = tmp_path / "in.csv"
    FRAME.to_csv(source, index=False)
    before = source.read_bytes()
    for more in ([], ["--quiet"]):
        result = run("date", str(source), "--out", str(source), *more)
        assert result.exit_code == 2
        assert "--force" in result.stderr
    assert source.read_bytes() == before
    assert run("date", str(source), "--out", str(source), "--force").exit_code == 0
    assert "year_from" in source.read_text()
    protected = tmp_path / "protected.csv"
    protected.write_text("mine")
    protected.chmod(0o444)
    link, device = tmp_path / "link.csv", tmp_path / "device.csv"
    link.symlink_to("protected.csv")
    device.symlink_to("/dev/null")
    broken = tmp_path / "broken.csv"
    broken.symlink_to("nowhere.csv")
    os.mkfifo(tmp_path / "pipe.csv")
    for target, why in ((protected, "write-protected"), (link, "link"), (device, "link"), (broken, "link"),
                        (tmp_path / "pipe.csv", "device")):  # fmt: skip
        for more in ([], ["--force"]):
            result = run("date", str(source), "--out", str(target), *more)
            assert result.exit_code == 2
            assert why in result.stderr or "--force" in result.stderr
    assert protected.read_text() == "mine"
    assert link.is_symlink() and device.is_symlink() and broken.is_symlink()
    assert not (tmp_path / "nowhere.csv").exists()


def test_other_pages_and_formulas_of_a_spreadsheet_are_not_written_over(tmp_path: Path) -> None:
    """What is written is one page of plain cells; nobody who says --force means the second page of her own file."""
    own = book(tmp_path / "own.xlsx", [row[:6] for row in ROWS])
    assert run("date", str(own), "--out", str(own), "--force").exit_code == 0
    assert (
        run("date", str(own), "--out", str(own), "--force").exit_code == 0
    )  # its page of words is ours
    made = openpyxl.load_workbook(own)
    made.create_sheet("prices & costs").append(["mine"])
    made.save(own)
    sums = book(tmp_path / "sums.xlsx", ROWS, J2="=D2*E2")
    for path, lost in (
        (own, "the page 'prices & costs' would be lost"),
        (sums, "the formulas would be lost"),
    ):
        before = path.read_bytes()
        for verb in (["date", str(path)], ["simulate", "3"], ["describe", str(path)]):
            result = run(*verb, "--out", str(path), "--force")
            assert result.exit_code == 2 and lost in result.stderr, result.output
        assert run("template", str(path), "--force").exit_code == 2
        assert path.read_bytes() == before


def test_a_written_over_file_keeps_its_rights(tmp_path: Path) -> None:
    FRAME.to_csv(tmp_path / "in.csv", index=False)
    out = tmp_path / "out.csv"
    out.write_text("old")
    out.chmod(0o600)
    assert run("date", str(tmp_path / "in.csv"), "--out", str(out), "--force").exit_code == 0
    assert out.stat().st_mode & 0o777 == 0o600


def test_the_byte_order_mark_is_written_when_asked(tmp_path: Path) -> None:
    FRAME.to_csv(tmp_path / "in.csv", index=False)
    run("date", str(tmp_path / "in.csv"), "--out", str(tmp_path / "a.csv"), "--bom")
    run("date", str(tmp_path / "in.csv"), "--out", str(tmp_path / "b.csv"))
    assert (tmp_path / "a.csv").read_bytes() == b"\xef\xbb\xbf" + (tmp_path / "b.csv").read_bytes()
    assert run("date", str(tmp_path / "in.csv"), "--bom").exit_code == 2
    assert (
        run("date", str(tmp_path / "in.csv"), "--out", str(tmp_path / "c.xlsx"), "--bom").exit_code
        == 2
    )


def test_an_xlsx_has_frozen_headings_widths_lists_and_no_formula(tmp_path: Path) -> None:
    evil = ["=cmd()", "+1", "-1", "@x", "#N/A", "a\x07b"]
    frame = pd.DataFrame(
        {"id": [*"abcdef"], "fibre": ["silk"] * 6, "note": evil, "n": [1, 2, None, 4, 5, 6]}
    )
    write_table(frame, tmp_path / "a.xlsx", lists={"fibre": ["silk", "wool"]})
    page = openpyxl.load_workbook(tmp_path / "a.xlsx")["scarves"]
    assert page.freeze_panes == "B2"
    assert page.column_dimensions["C"].width >= 8
    (choice,) = page.data_validations.dataValidation
    assert "B2" in str(choice.sqref)
    assert choice.type == "list"
    for row in page.iter_rows(min_row=2):
        assert [cell.data_type for cell in row[:3]] == ["s"] * 3
    assert page["C2"].value == "=cmd()"
    assert page["C2"].quotePrefix
    assert page["D2"].value == 1
    with zipfile.ZipFile(tmp_path / "a.xlsx") as packed:
        assert not any(
            b"<f>" in packed.read(name) for name in packed.namelist() if "worksheets" in name
        )
    with pytest.raises(TableError, match="longer than the 32767"):
        write_table(pd.DataFrame({"note": ["x" * 40_000]}), tmp_path / "b.xlsx")
    assert not (tmp_path / "b.xlsx").exists()


def test_the_template_offers_every_clue_and_is_read(tmp_path: Path) -> None:
    out = tmp_path / "empty.xlsx"
    assert run("template", str(out)).exit_code == 0
    first = out.read_bytes()
    assert run("template", str(out)).exit_code == 2
    assert run("template", str(out), "--force").exit_code == 0
    assert out.read_bytes() == first
    assert run("template", str(tmp_path / "a.csv")).exit_code == 2
    made = openpyxl.load_workbook(out)
    page = made["scarves"]
    headings = [cell.value for cell in page[2]]
    priors = load_priors()
    assert {*priors.families} - {"long_side", "slenderness"} <= {*headings}
    assert all(cell.value for cell in page[1])
    listed = {str(one.sqref).rstrip("0123456789:")[0:2].strip("0123456789") for one in
              page.data_validations.dataValidation}  # fmt: skip
    assert len(page.data_validations.dataValidation) >= len(priors.shares)
    assert listed
    for name, value in (
        ("id", "t1"),
        ("fibre", "silk"),
        ("size", "90 x 90 cm"),
        ("hem", "hand-rolled"),
    ):
        page.cell(3, headings.index(name) + 1).value = value
    made.save(tmp_path / "filled.xlsx")
    result = run("date", str(tmp_path / "filled.xlsx"))
    assert result.exit_code == 0, result.stderr
    assert "1 piece: 1 dated" in result.stdout
    assert run("date", str(out)).exit_code == 2  # nothing is filled in


# ------------------------------------------------------------------ words, order, messages


def test_every_word_of_every_clue_is_listed_with_its_meaning() -> None:
    priors = load_priors()
    clues = {one.word for one in priors.words().words}
    assert {*priors.families} - {"long_side", "slenderness"} <= clues
    for family in priors.shares:
        got = priors.words(family)
        words = {one.word: one for one in got.words}
        known = priors.vocabulary
        assert {*known.values[family], *known.wider(family)} == {*words}
        also = {name for one in got.words for name, _ in one.also}
        assert known.narrower[family] <= also, family
        assert all(one.means for one in got.words), family
        for word, read_as in priors.vocabulary.words(family):
            assert not read_as or read_as in words or read_as in also, word
        said = str(got)
        assert max(map(len, said.splitlines())) <= 80
        assert "<script" not in got._repr_html_()
        assert got.to_frame()["word"].tolist() == [*words]
    assert "hand-rolled" in run("words", "hem").stdout
    assert "did you mean" in run("words", "hemm").stderr
    for clue in (*clues, "size", "fringe", "method", "fibre_method"):
        assert run("words", clue).exit_code == 0
    assert "scarfdate words fibre lists them" in run("show", "fibre=nonesuch").stderr
    assert "scarfdate words" in run("show", "nonesuch=silk").stderr


@pytest.mark.slow
def test_a_pile_is_put_in_order(tmp_path: Path) -> None:
    path = Path(__file__).resolve().parents[2] / "data" / "stock.csv"
    answers = date_table(
        read_table(path), columns=["median_year", "year_from", "year_to", "doubt", "predictive_p"]
    )
    first = answers["doubt"].isna().astype(float)  # what is in doubt stands first
    for sort, key in (("year", answers["median_year"]), ("width", answers["year_to"] - answers["year_from"]),
                      ("doubt", answers["predictive_p"] + 2 * first)):  # fmt: skip
        out = tmp_path / f"{sort}.csv"
        assert run("date", str(path), "--sort", sort, "--out", str(out)).exit_code == 0
        got = read_table(out)
        assert sorted(got["id"]) == sorted(read_table(path)["id"])
        wanted = read_table(path)["id"].to_numpy()[
            key.reset_index(drop=True).argsort(kind="stable")
        ]
        assert got["id"].tolist() == wanted.tolist()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("date", "."), "is a folder"),
        (("date", ""), "name of the file is empty"),
        (("show", "note=silk"), "No clue was read"),
        (("show", "fibre=silk", "fibre=wool"), "fibre=silk or rayon"),
        (("date", "--help"), "thrift, estate"),
        (("show", "width_cm=2025-03-12T00:00:00"), "which the spreadsheet made of it"),
    ],
)
def test_messages_say_what_to_do(arguments: tuple[str, ...], said: str) -> None:
    assert said in run(*arguments).output
