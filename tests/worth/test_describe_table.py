"""``describe_table`` and ``scarfdate describe``: one piece and a sheet, written whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from scarfdate import TableError, cli, describe, describe_table
from scarfdate.reading.files import read_table

STOCK = Path(__file__).resolve().parents[2] / "data" / "stock.csv"
AS_OF = 2026
SHEET = (
    "id,Material,Size (in),Hem,condition\n"
    'A1,silk?,30 x 30,hand rolled,"2 small pulls near edge"\n'
    "A2,slik,34 x 34,,perfect\n"
    'A3,"=cmd()",36,rolled,"glorp, stain"\n'
    "A4,,,,\n"
)


def run(*arguments: str, given: str | None = None) -> Result:
    result = CliRunner().invoke(cli.cli, ["describe", *arguments, "--as-of", "2026"], input=given)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.output
    return result


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("sheet") / "sheet.csv"
    path.write_text(SHEET, "utf-8")
    return str(path)


def test_a_row_is_described_as_the_piece_itself_whatever_the_order():
    frame = read_table(str(STOCK)).iloc[:12]
    found = describe_table(frame, as_of=AS_OF, language="de")
    for row, one in zip(frame.to_dict("records"), found, strict=True):
        cells = {name: cell for name, cell in row.items() if str(cell).strip()}
        assert one == describe(cells, as_of=AS_OF, language="de")
    assert describe_table(frame[::-1], as_of=AS_OF, language="de") == found[::-1]


def test_cells_that_cannot_be_read_cost_themselves(sheet):
    one, two, three, four = describe_table(pd.read_csv(sheet, dtype=str), as_of=AS_OF)
    assert one.left_out == ()
    assert "76 × 76 cm (30 × 30 in)" in one.text and "pulled threads" in one.text
    assert len(two.left_out) == 1 and "slik" in two.left_out[0]
    assert "no fault seen" in two.text
    assert any("glorp" in reason for reason in three.left_out) and "Stain" in three.text
    assert "=cmd()" not in three.text
    assert "Condition\n- Not noted yet\n" in four.text


def test_a_frame_of_another_library():
    import polars

    frame = polars.DataFrame({"fibre": ["silk", None], "condition": ["stain", None]})
    assert [one.title for one in describe_table(frame, as_of=AS_OF)] == [
        "Scarf, silk (not tested)",
        "Scarf",
    ]


def test_a_frame_without_a_column_that_is_known():
    with pytest.raises(TableError, match="no column"):
        describe_table(pd.DataFrame({"glorp": [1]}))
    assert describe_table(pd.DataFrame({"fibre": []})) == ()


def test_one_piece_at_the_prompt():
    shown = run("fibre=silk", "hem=hand-rolled", "--condition", "faint stain corner")
    assert shown.exit_code == 0 and shown.stderr == ""
    assert max(map(len, shown.stdout.splitlines())) <= 80
    assert "Photographs to take" in shown.stdout and "- Faint stain at a corner" in shown.stdout
    one = describe(
        {"fibre": "silk", "hem": "hand-rolled"}, condition="faint stain corner", as_of=AS_OF
    )
    assert (
        run(
            "fibre=silk", "hem=hand-rolled", "--condition", "faint stain corner", "--as", "text"
        ).stdout
        == one.text
    )
    piece = run(str(STOCK), "--id", "V006", "--language", "de", "--as", "json")
    assert json.loads(piece.stdout)["name"].startswith("Quadratisches Tuch, Seide (ungeprüft)")


@pytest.mark.parametrize("ending", ["txt", "md", "html", "json", "csv", "xlsx"])
def test_a_table_is_written_in_each_form(tmp_path, sheet, ending):
    out = tmp_path / f"out.{ending}"
    result = run(sheet, "--out", str(out))
    assert result.exit_code == 1  # two cells were left out
    assert [line.split(":")[0] for line in result.stderr.splitlines()] == [
        "line 3 (A2)",
        "line 4 (A3)",
        "line 4 (A3)",
    ]
    assert "4 described" in result.stdout
    found = describe_table(read_table(sheet), as_of=AS_OF)
    if ending in ("csv", "xlsx"):
        back = read_table(str(out))
        assert back["id"].tolist() == ["A1", "A2", "A3", "A4"]
        assert back["listing_title"].tolist() == [one.title for one in found]
        assert [text.strip() for text in back["listing"]] == [one.text.strip() for one in found]
        assert "=cmd()" not in back["Material"].tolist() or ending == "xlsx"
        return
    text = out.read_text("utf-8")
    if ending == "json":
        assert [one["name"] for one in json.loads(text)] == [one.title for one in found]
        return
    for one in found:
        assert {"txt": one.text, "md": one.markdown, "html": one.html}[ending].strip() in text
    assert (text.startswith("<!doctype html>") and text.count("<html") == 1) == (ending == "html")


def test_it_is_written_whole_or_not_at_all(tmp_path, sheet, monkeypatch):
    out = tmp_path / "out.md"
    out.write_text("mine", "utf-8")
    assert run(sheet, "--out", str(out)).exit_code == 2 and out.read_text("utf-8") == "mine"
    assert run(sheet, "--out", str(tmp_path / "out.docx")).exit_code == 2
    assert run(sheet, "--out", str(tmp_path / "none" / "out.md")).exit_code == 2

    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fails)
    result = run(sheet, "--out", str(out), "--force")
    assert result.exit_code == 2 and "No space left" in result.stderr
    assert out.read_text("utf-8") == "mine"
    assert [path.name for path in tmp_path.iterdir()] == ["out.md"]
    monkeypatch.undo()
    assert run(sheet, "--out", str(out), "--force").exit_code == 1
    assert out.read_text("utf-8").startswith("# Scarf, perhaps silk")


def test_slips_of_the_prompt_are_told(sheet):
    assert run(sheet, "--condition", "stain").exit_code == 2
    assert run("fibre=silk", "--id", "A1").exit_code == 2
    assert "A1" in run(sheet, "--id", "A9").stderr
    assert run("fibre=silk", "--language", "es").exit_code == 2
    assert run("fibre=slik").exit_code in (1, 2)
    left = run("fibre=silk", "--condition", "glorp")
    assert left.exit_code == 1 and "glorp" in left.stderr


@pytest.mark.slow
def test_the_whole_stock_on_the_screen():
    result = run(str(STOCK))
    assert result.exit_code == 0
    assert result.stdout.count("Photographs to take") == 60
    assert max(map(len, result.stdout.splitlines())) <= 80


# ------------------------------------------------- a listing says no more of the condition than was written

HEADING = {"en": "Condition", "de": "Zustand", "fr": "État", "it": "Condizioni"}


def of_condition(text: str, language: str = "en") -> list[str]:
    """The lines of a listing under its condition."""
    (one,) = describe_table(
        pd.DataFrame({"fibre": ["silk"], "condition": [text]}), language=language
    )
    _, _, after = one.text.partition(f"\n{HEADING[language]}\n")
    return [line[2:] for line in after.split("\n\n")[0].splitlines()]


@pytest.mark.parametrize(
    ("written", "language", "said"),
    [
        ("no holes", "en", ["Not seen: holes"]),
        ("stain-free", "en", ["Not seen: stains"]),
        ("senza macchie", "it", ["Non visto: macchie"]),
        ("no faults", "en", ["Looked over, no fault seen"]),
        ("stain, faint", "en", ["Faint stain"]),
        ("fils tirés", "fr", ["Fils tirés"]),
        ("gebraucht", "de", ["Wie notiert: „gebraucht“"]),
        ("mint", "en", ["As new"]),
        ("leichte Gebrauchsspuren", "de", ["Gebrauchsspuren"]),
        ("très bon état, une petite tache", "fr", ["Très bon", "Petite tache"]),
        ("very good, small stain", "en", ["Very good", "Small stain"]),
        ("sehr gut, kleiner Fleck am Rand", "de", ["Sehr gut", "Kleiner Fleck am Rand"]),
        ("small hole, mended", "en", ["Small repair"]),
        ("hole centre, mended tear edge", "en", ["Hole near the centre", "Repair by the edge"]),
        ("Riss, gestopft", "de", ["Reparatur"]),
        ("Lichtschaden, ausgeblichen", "de", ["Verblichene Stelle"]),
        ("buone condizioni", "it", ["Buone"]),
        ("some bead loss", "en", ["As noted: “some bead loss”"]),
        ("good, gzorp at one end", "en", ["Good", "As noted: “good, gzorp at one end”"]),
        ("", "en", ["Not noted yet"]),
        ("1 small stain at a corner, 3 pulls", "en", ["Small stain at a corner", "3 pulled threads"]),
    ],
)  # fmt: skip
def test_the_condition_is_said_as_it_was_written(
    written: str, language: str, said: list[str]
) -> None:
    assert of_condition(written, language) == said
