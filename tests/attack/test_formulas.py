"""No cell of any CSV or spreadsheet that is written is a formula; read and written again it is the same."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import scarfdate
from scarfdate.cli import cli
from scarfdate.files import csv_bytes, safe_cell
from scarfdate.reading.written import write_table
from tests.attack.words import priors_with
from tests.package_code import PACKAGE, called, calls_of

FORMULAS = (
    "=HYPERLINK(\"http://192.0.2.1\")", "+1+cmd|' /C calc'!A0", "-1+1", "@SUM(1)", "\t=1", "\r=1", "a\r=1", " =1",
    "\u200b=1", "\uff1d1", "\x0b=1", "'=1", "''=1", ";=1", "\n=1",
)  # fmt: skip
# a cell that a spreadsheet works out: at its start or behind a lone carriage return, whatever it skips in front
RUNS = re.compile(r"(?:\A|\r(?!\n))(?:[\t\r]|[\x00-\x20\u200b]*[=+\-@\uff1d\uff0b\uff0d\uff20])")
NUMBER = re.compile(r"[-+]?[0-9.]+(?:e[-+]?[0-9]+)?")
WRITE = {
    "csv_bytes",
    "workbook_bytes",
    "write_table",
    "to_csv",
    "to_excel",
    "to_clipboard",
    "writer",
}


def _sheet(folder: Path) -> Path:
    rows = {"id": FORMULAS, "fibre": ["silk"] * len(FORMULAS), "hem": FORMULAS, "note": FORMULAS, "maker": FORMULAS,
            "note =1": FORMULAS, "asking": ["9"] * len(FORMULAS), "label_text": FORMULAS}  # fmt: skip
    frame = pd.DataFrame({name: list(cells) for name, cells in rows.items()}, dtype=object)
    frame.to_json(folder / "in.json", orient="records")
    return folder / "in.json"


def _command(*verbs: str, ending: str) -> Callable[[Path], list[Path]]:
    def write(folder: Path) -> list[Path]:
        out = folder / f"out{ending}"
        run = CliRunner().invoke(
            cli, [verbs[0], str(_sheet(folder)), *verbs[1:], "--out", str(out)]
        )
        assert out.exists(), run.output
        return [out]

    return write


def _frame(ending: str) -> Callable[[Path], list[Path]]:
    def write(folder: Path) -> list[Path]:
        frame = pd.DataFrame({one: [*FORMULAS] for one in FORMULAS}, dtype=object)
        write_table(frame, folder / f"out{ending}")
        return [folder / f"out{ending}"]

    return write


def _table(folder: Path) -> list[Path]:
    table = scarfdate.Sorting(folder / "stock.csv", as_of=2026)
    for text in FORMULAS:
        table.choose("hem", "hand-rolled")
        table.note("note", text)
        table.to_tray(1)
    return [folder / "stock.csv"]


def _template(folder: Path) -> list[Path]:
    scarfdate.write_template(folder / "out.xlsx", priors=priors_with("=1", "=1"))
    return [folder / "out.xlsx"]


def _simulated(folder: Path) -> list[Path]:
    priors = priors_with("x", "x")
    drawn = scarfdate.simulate(priors, 5, np.random.default_rng(1), as_of=2026).frame()
    write_table(drawn.assign(hem="=1"), folder / "out.csv")
    return [folder / "out.csv"]


def _prices(folder: Path) -> list[Path]:
    from dataclasses import replace

    prices = scarfdate.load_prices()
    of = prices.price
    names = tuple(
        (f"={group}" if at else group, f"={level}")
        for at, (group, level) in enumerate(of.layout.names)
    )
    spoiled = replace(
        prices, price=replace(of, layout=replace(of.layout, names=names)), notes=FORMULAS
    )
    try:
        spoiled.save(folder / "prices")
    except (KeyError, ValueError):  # names of no known group cannot even be told
        names = tuple((group, f"={level}") for group, level in of.layout.names)
        spoiled = replace(prices, price=replace(of, layout=replace(of.layout, names=names)))
        spoiled.save(folder / "prices")
    return [folder / "prices" / "effects.csv"]


def _long(folder: Path) -> list[Path]:
    frame = pd.DataFrame({"fibre": ["silk"] * len(FORMULAS), "note": [*FORMULAS]}, dtype=object)
    frame.to_json(folder / "in.jsonl", orient="records", lines=True)
    scarfdate.date_file(folder / "in.jsonl", folder / "out.csv", as_of=2026)
    return [folder / "out.csv"]


# by the module that makes the file
WRITERS: dict[str, dict[str, Callable[[Path], list[Path]]]] = {
    "reading/written": {"csv": _frame(".csv"), "xlsx": _frame(".xlsx")},
    "cli/date": {"csv": _command("date", ending=".csv"), "xlsx": _command("date", ending=".xlsx")},
    "cli/describe": {
        "csv": _command("describe", ending=".csv"),
        "xlsx": _command("describe", ending=".xlsx"),
    },
    "cli/appraise": {
        "csv": _command("appraise", ending=".csv"),
        "xlsx": _command("appraise", ending=".xlsx"),
    },
    "cli/records": {"csv": _simulated},
    "streaming/parts": {"csv": _long},
    "sorting/sheet_text": {"csv": _table},
    "columns/template": {"xlsx": _template},
    "worth/price_files": {"csv": _prices},
}
# tables of numbers and of words of the tables themselves; the sheet of `shelf` has them from the user's own book, and
# a folder of tables that is upgraded keeps its rows to the letter
TABLES = {
    "tables/older",
    "building/disagreement_table",
    "building/made",
    "building/trade_tables",
    "building/information",
    "cli/shelf",
}
CASES = [
    pytest.param(module, kind, marks=() if module in ("reading/written", "sorting/sheet_text") else pytest.mark.slow)
    for module, kinds in WRITERS.items() for kind in kinds
]  # fmt: skip


def test_every_module_that_writes_cells_is_attacked() -> None:
    found = set()
    for path in PACKAGE.rglob("*.py"):
        if any(called(call) in WRITE for call in calls_of(path)):
            found.add(path.relative_to(PACKAGE).with_suffix("").as_posix())
    assert found - {"files"} == {*WRITERS, *TABLES}


def cells_of(path: Path) -> list[str]:
    """All cells of text; that a workbook has no formula is asserted."""
    if path.suffix == ".csv":
        with path.open(encoding="utf-8-sig", newline="") as stream:
            return [cell for row in csv.reader(stream) for cell in row]
    import openpyxl

    book = openpyxl.load_workbook(path)
    cells = [
        cell for page in book for row in page.iter_rows() for cell in row if cell.value is not None
    ]
    assert {cell.data_type for cell in cells} <= {"s", "n", "b", "d"}
    return []  # text that is text: spreadsheets work out no cell of that type


@pytest.mark.parametrize(("module", "kind"), CASES)
def test_no_cell_that_is_written_is_a_formula(module: str, kind: str, tmp_path: Path) -> None:
    for path in WRITERS[module][kind](tmp_path):
        cells = cells_of(path)
        assert kind == "xlsx" or len(cells) > 5
        runs = [cell for cell in cells if RUNS.match(cell) and not NUMBER.fullmatch(cell)]
        assert runs == []


def test_no_apostrophe_piles_up(tmp_path: Path) -> None:
    written = [_frame(".csv")(tmp_path)[0].read_bytes()]
    for at in range(3):
        path = tmp_path / f"again{at}.csv"
        path.write_bytes(written[-1])
        frame = pd.read_csv(path, dtype=object, keep_default_na=False)
        write_table(frame, path)
        written.append(path.read_bytes())
    assert written[1] == written[2] == written[3]
    assert all(safe_cell(safe_cell(one)) == safe_cell(one) for one in FORMULAS)


def test_what_is_simulated_is_printed_without_formula_or_control(tmp_path: Path) -> None:
    from scarfdate.tables.descriptor import write_descriptor

    priors = priors_with("x", "\x1b]8;;=1\x07")
    for name, content in priors.files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True, parents=True)
        (tmp_path / name).write_bytes(content)
    write_descriptor(tmp_path)
    run = CliRunner().invoke(cli, ["simulate", "20", "--priors", str(tmp_path)])
    assert run.exit_code == 0 and "hand-rolled?" in run.output
    assert all(letter.isprintable() or letter == "\n" for letter in run.output)
    rows = [*csv.reader(io.StringIO(run.output))]
    assert not [
        cell for row in rows for cell in row if RUNS.match(cell) and not NUMBER.fullmatch(cell)
    ]


@pytest.mark.parametrize(
    "text", ["b;=1+1", "A;=HYPERLINK(1)", "x\n=1+1;y", "a\t@SUM(1)", "a;-2+3", "a|=1"]
)
def test_no_formula_begins_behind_another_separator(text: str) -> None:
    """A comma file opened by a spreadsheet that parts cells by semicolons or tabs."""
    written = csv_bytes([["id", safe_cell(text)]]).decode()
    for separator in (";", "\t", "|"):
        for row in csv.reader(io.StringIO(written), delimiter=separator):
            assert not [cell for cell in row if cell[:1] in ("=", "+", "-", "@")]


def test_what_begins_no_formula_stays() -> None:
    for text in ("a; - b", "a\n- a list\n- of words", "1;2", "a-b", "90 x 90 cm; silk"):
        assert safe_cell(text) == text
