"""Inputs that once crashed, never came back, filled the memory, or were let through: each with its smallest form."""

from __future__ import annotations

import io
import json
import math
import os
import re
import shutil
import time
import zipfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import scarfdate
from scarfdate import PriorsError, Scarf, ScarfdateError, TableError, date_scarf, date_table
from scarfdate.errors import RangeError
from scarfdate.files import csv_bytes, safe_cell
from scarfdate.plain import _NeverWaiting
from scarfdate.reading.files import read_table
from scarfdate.words import edtf
from scarfdate.words.edtf_text import interval_text

AS_OF = 2026
VAST = 10**5000  # Python refuses to print a whole number of more than 4300 digits
KEYWORDS = (
    "fibre", "hem", "width_cm", "size", "stitches_per_inch", "printed_year", "known", "acquired", "label_text",
    "id", "note", "maker", "origin",
)  # fmt: skip
A_MESSAGE, OF_FAULTS = (
    3_000,
    20_000,
)  # characters at most; of a table or a map, which has many faults at once
ONE_ROW = pd.DataFrame({"fibre": ["silk"], "note": ["as it came"]})


def refused(call: Callable[[], object], kind: type[ScarfdateError] = ScarfdateError) -> str:
    with pytest.raises(kind) as caught:
        call()
    message = str(caught.value)
    assert 0 < len(message) <= A_MESSAGE
    return message


@pytest.mark.parametrize("name", KEYWORDS)
def test_numbers_that_python_does_not_print(name: str) -> None:
    for value in (VAST, -VAST, [VAST], {"silk": VAST}, {(VAST, "b"): 1}):
        refused(lambda value=value: Scarf(**{name: value}))  # type: ignore[misc]
    frame = pd.DataFrame({name: [VAST, {("a", "b"): 1}, None], "hem": ["raw"] * 3}, dtype=object)
    dated = date_table(frame, as_of=AS_OF)  # whatever a cell holds costs that cell
    assert len(dated) == 3
    if name != "known":  # which makes it a book of sold pieces
        assert str(scarfdate.dry_run(frame))


@pytest.mark.parametrize(
    "call",
    [
        lambda scarf: date_scarf(scarf, as_of=VAST),
        lambda scarf: date_scarf(scarf, channel=VAST),  # type: ignore[arg-type]
        lambda scarf: date_scarf(scarf, level=VAST),
        lambda scarf: date_scarf(scarf).interval(kind=VAST),  # type: ignore[arg-type]
        lambda scarf: scarfdate.explain(scarf, VAST),  # type: ignore[arg-type]
        lambda scarf: scarfdate.explain(scarf, [VAST]),  # type: ignore[arg-type]
        lambda scarf: scarfdate.appraise(scarf, 9, risk=VAST),
        lambda scarf: scarfdate.simulate(None, VAST, None),  # type: ignore[arg-type]
        lambda scarf: scarfdate.load_priors(VAST),  # type: ignore[arg-type]
        lambda scarf: scarfdate.load_priors("a" * 5000),
        lambda scarf: scarfdate.load_priors("a\0b"),
        lambda scarf: scarfdate.load_prices(["x"]),  # type: ignore[arg-type]
        lambda scarf: scarfdate.read_sold("data/sold.csv", admit=3),  # type: ignore[arg-type]
        lambda scarf: scarfdate.read_sold("data/sold.csv", columns={VAST: 3}),
        lambda scarf: scarfdate.read_sold("data/sold.csv", columns={"ignore": None}),
        lambda scarf: scarfdate.dry_run("a" * 100_000),
        lambda scarf: interval_text(2, None),  # type: ignore[arg-type]
        lambda scarf: Scarf(fibre={"silk": 1e308, "wool": 1e308}),
        lambda scarf: Scarf.from_json(0),  # type: ignore[arg-type]
        lambda scarf: scarf.under(None).under("tables"),  # type: ignore[arg-type]
        lambda scarf: date_scarf(scarf).between(VAST, VAST - 1),
        lambda scarf: date_scarf(scarf).interval(kind=np.array(["central", "x"])),  # type: ignore[arg-type]
        lambda scarf: scarfdate.explain(scarf, np.array(3)),
        lambda scarf: scarfdate.explain(scarf, order=None),  # type: ignore[arg-type]
        lambda scarf: scarfdate.explain(scarf, order=[VAST]),  # type: ignore[list-item]
        lambda scarf: scarfdate.conflict(scarf, rng=True),  # type: ignore[arg-type]
        lambda scarf: scarfdate.plot_pile(ONE_ROW, names=math.inf),  # type: ignore[arg-type]
        lambda scarf: scarfdate.plot_pile(ONE_ROW, sort=pd.NA),
        lambda scarf: scarfdate.learn(None, route={"silk": VAST}),  # type: ignore[arg-type]
        lambda scarf: scarfdate.learn_prices("book.csv"),  # type: ignore[arg-type]
        lambda scarf: scarfdate.simulate(None, 1, np.random.default_rng(1), looked_at="a"),  # type: ignore[arg-type]
        lambda scarf: scarfdate.simulate(None, 1, None),  # type: ignore[arg-type]
        lambda scarf: scarfdate.write_template(3),  # type: ignore[arg-type]
        lambda scarf: scarfdate.practice(bet=np.array(["chips"] * 2)),  # type: ignore[arg-type]
        lambda scarf: scarfdate.pocket_card(clues=[VAST]),  # type: ignore[list-item]
        lambda scarf: scarfdate.read_costs({VAST: 1}),
        lambda scarf: scarfdate.read_sold(ONE_ROW, columns={"constants": {VAST: 1}}),
        lambda scarf: scarfdate.read_sold(ONE_ROW, columns={"words": {VAST: 1}}),
        lambda scarf: scarfdate.read_sold(ONE_ROW, columns={"words": {"fibre": {VAST: 1}}}),
        lambda scarf: scarfdate.read_sold(
            ONE_ROW.set_axis(pd.Index([VAST, 1], dtype=object), axis=1)
        ),
        lambda scarf: scarfdate.read_sold(ONE_ROW.set_axis(pd.Index([VAST], dtype=object))),
        lambda scarf: scarfdate.appraise(scarf, 9, channel=pd.NA),
        lambda scarf: scarfdate.appraise(scarf, 9, sale_channel=np.array([1, 2])),  # type: ignore[arg-type]
        lambda scarf: scarfdate.appraise(scarf, 9, season=pd.NA),
        lambda scarf: scarfdate.Condition(np.array(3)),  # type: ignore[arg-type]
        lambda scarf: scarfdate.Condition(stated=pd.NA),
        lambda scarf: scarfdate.Condition(not_read=None),  # type: ignore[arg-type]
        lambda scarf: scarfdate.Fault("stain", degree="faint", mended=pd.NA),
        lambda scarf: scarfdate.Costs(currency=pd.NA),
        lambda scarf: scarfdate.Costs(postage=VAST),
        lambda scarf: scarfdate.load_prices().one_draw(math.nan),
        lambda scarf: edtf.read(VAST),  # type: ignore[arg-type]
        lambda scarf: scarfdate.load_priors().question(pd.NaT),
        lambda scarf: scarfdate.date_file(VAST, "out.csv"),  # type: ignore[arg-type]
    ],
)
def test_arguments_that_cannot_be(call: Callable[[Scarf], object]) -> None:
    refused(lambda: call(Scarf(fibre="silk")))


def _sheet(path: Path, change: Callable[[str], str]) -> Path:
    """A sheet of one piece, its XML changed."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.append(["id", "fibre"])
    book.active.append(["a", "silk"])
    made = io.BytesIO()
    book.save(made)
    with zipfile.ZipFile(made) as had, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in had.namelist():
            text = had.read(name)
            if name.endswith("sheet1.xml"):
                text = change(text.decode()).encode()
            packed.writestr(name, text)
    return path


def test_a_row_that_says_it_is_the_last_of_all(tmp_path: Path) -> None:
    def moved(text: str) -> str:
        return re.sub(r'r="([AB]?)2"', r'r="\g<1>1000000000000"', text)

    path = _sheet(tmp_path / "far.xlsx", moved)
    assert path.stat().st_size < 10_000
    assert "stray cells" in refused(lambda: read_table(path), TableError)


def test_cells_in_the_last_column(tmp_path: Path) -> None:
    cells = '<c r="XFD{0}" t="inlineStr"><is><t>x</t></is></c>'
    rows = "".join(f'<row r="{at}">{cells.format(at)}</row>' for at in range(3, 2003))
    path = _sheet(
        tmp_path / "wide.xlsx", lambda text: text.replace("</sheetData>", rows + "</sheetData>")
    )
    assert "stray cells" in refused(lambda: read_table(path), TableError)


def test_a_merged_cell_over_the_whole_sheet_claims_nothing(tmp_path: Path) -> None:
    merged = '</sheetData><mergeCells count="1"><mergeCell ref="A2:XFD1048576"/></mergeCells>'
    path = _sheet(tmp_path / "merged.xlsx", lambda text: text.replace("</sheetData>", merged))
    assert read_table(path).shape == (1, 2)


def test_one_stray_cell_far_down_is_no_reason_to_refuse(tmp_path: Path) -> None:
    stray = (
        '<row r="200000"><c r="B200000" t="inlineStr"><is><t>wool</t></is></c></row></sheetData>'
    )
    path = _sheet(tmp_path / "stray.xlsx", lambda text: text.replace("</sheetData>", stray))
    assert [*read_table(path).index] == [2, 200_000]


def test_records_that_all_have_names_of_their_own() -> None:
    text = json.dumps([{f"k{at}": 1} for at in range(5_000)])
    assert len(text) < 100_000
    refused(lambda: read_table(io.BytesIO(text.encode()), "json"), TableError)


def test_half_a_letter_in_a_heading() -> None:
    text = b'[{"a\\ud800": "x", "fibre": "silk"}]'
    assert "lone surrogate" in refused(lambda: read_table(io.BytesIO(text), "json"), TableError)


def test_a_parquet_file_that_repeats_one_cell_without_end() -> None:
    pa = pytest.importorskip("pyarrow")
    parquet = pytest.importorskip("pyarrow.parquet")
    made = io.BytesIO()
    parquet.write_table(pa.table({"fibre": pa.nulls(40_000_000, pa.string())}), made)
    assert made.tell() < 200_000
    made.seek(0)
    assert "split the file" in refused(lambda: read_table(made, "parquet"), TableError)


@pytest.mark.parametrize(
    "heading", ["or" * 20_000, " " * 40_000, "\t/" * 20_000, "(" * 40_000 + "0", "," * 40_000]
)
def test_no_heading_costs_more_than_its_length(heading: str) -> None:
    """Once cubic: forty thousand characters never came back."""
    started = time.process_time()
    try:
        scarfdate.dry_run(io.BytesIO(f"{heading}\nx\n".encode()))
    except ScarfdateError as error:
        assert len(str(error)) <= A_MESSAGE
    assert time.process_time() - started < 2


@pytest.mark.parametrize(
    "text", ["=1", "\v=1", "\f=1", "\0=1", "a\r=1", " =1", "\u200b=1", "\uff1d1", "\t1", "-1", "@a"]
)
def test_no_cell_is_a_formula(text: str) -> None:
    """At the start, behind what some spreadsheets skip, and behind a lone carriage return, where some end a row."""
    written = csv_bytes([[safe_cell(text)]]).decode()
    assert "\r" not in written or written.startswith('"')
    for piece in re.split(r"\r", written.strip('"')):
        assert re.match(r"[\x00-\x20\u200b]*[=+\-@\uff1d]", piece) is None
    assert safe_cell("a\r\n- a list\n- of words") == "a\r\n- a list\n- of words"


def test_a_map_of_a_thousand_faults_tells_the_first_ones() -> None:
    wrong = {f"column {'x' * 300} {at}": "a" for at in range(1_000)}
    with pytest.raises(TableError) as caught:
        scarfdate.dry_run(ONE_ROW, columns=wrong)
    assert len(str(caught.value)) < OF_FAULTS
    assert "and 960 more" in str(caught.value)


def test_prices_whose_draws_are_an_empty_file(tmp_path: Path) -> None:
    folder = tmp_path / "prices"
    shutil.copytree(Path(scarfdate.__file__).parents[1] / "data" / "prices", folder)
    (folder / "draws.npz").write_bytes(b"")
    assert "cannot be read as prices" in refused(lambda: scarfdate.load_prices(folder))


def test_a_message_has_a_bound(tmp_path: Path) -> None:
    shipped = Path(scarfdate.__file__).parents[1] / "priors" / "families.csv"
    lines = shipped.read_text(encoding="utf-8").splitlines()
    shuffled = [lines[0], *("x" * 300 + line for line in lines[1:])]
    (tmp_path / "families.csv").write_text("\n".join(shuffled), encoding="utf-8")
    with pytest.raises(PriorsError) as caught:
        scarfdate.load_priors(tmp_path)
    assert len(caught.value.faults) > 40
    assert len(str(caught.value)) < 20_000
    assert f"and {len(caught.value.faults) - 40} more" in str(caught.value)


def test_arguments_of_another_kind_are_refused() -> None:
    """Found by an hour of fuzzing: each ended in an error of Python's own."""
    from scarfdate.lessons.contents import chosen

    read = scarfdate.read_label("MADE IN ITALY")
    for given in ("", 3, None):
        with pytest.raises(ScarfdateError, match="given"):
            read.against(given)  # type: ignore[arg-type]
    for names in (3, "", "a"):
        with pytest.raises(ScarfdateError, match="only"):
            chosen(names)  # type: ignore[arg-type]
    with pytest.raises(ScarfdateError, match="level"):
        scarfdate.Condition.read("a small hole").interval("1/0")  # type: ignore[arg-type]
    for costs in ({pd.NA: 1.0}, {3: 1.0}):
        with pytest.raises(ScarfdateError, match="not known"):
            scarfdate.read_costs(costs)  # type: ignore[arg-type]


def test_the_name_of_a_set_of_tables_is_text() -> None:
    priors = scarfdate.load_priors()
    assert priors.with_set("none such") is priors
    for name in (["name"], None, 3):
        with pytest.raises(ScarfdateError, match="name"):
            priors.with_set(name)  # type: ignore[arg-type]


def test_what_toml_quotes_is_cut_short(tmp_path: Path) -> None:
    """The reader of TOML says again all that it could not read."""
    path = tmp_path / "costs.toml"
    path.write_text(f"a = '{'x' * 30_000}", "utf-8")
    with pytest.raises(ScarfdateError) as refused:
        scarfdate.read_costs(path)
    assert len(str(refused.value)) < 1_000


def test_a_table_of_a_header_alone_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "makers.csv").write_text(
        "maker,form,year_from,year_to,rate,edge_years,what,basis,source,note\n", "utf-8"
    )
    with pytest.raises(ScarfdateError, match="no rows"):
        scarfdate.load_priors(tmp_path)


def test_what_is_typed_is_text(tmp_path: Path) -> None:
    """The table goes on and says what is wrong."""
    from scarfdate.sorting.sorting import Sorting

    table = Sorting(tmp_path / "stock.csv", as_of=2026)
    screen = table.type(3.5)  # type: ignore[arg-type]
    assert any("what was typed" in message for message in screen.messages)


@pytest.mark.parametrize("tails", ["\r\n", [5], 1.5])
def test_tails_are_a_number_above_two(tails: object) -> None:
    with pytest.raises(RangeError, match="tails"):
        scarfdate.learn_prices(None, tails=tails)  # type: ignore[arg-type]


def test_a_round_looks_at_what_its_piece_has() -> None:
    from scarfdate.practising.bet import read_bet
    from scarfdate.practising.history import Played, Step
    from scarfdate.practising.outcome import outcome_of

    steps = tuple(Step(clue, read_bet("1960s", 2026)) for clue in (None, "hem"))
    played = Played(
        seen={"fibre": "silk"}, order=("hem",), steps=steps, known_from=1964, known_to=1964,
        pieces="drawn", channel="thrift", as_of=2026,
    )  # fmt: skip
    with pytest.raises(ScarfdateError, match="hem"):
        outcome_of(played, scarfdate.load_priors())


@pytest.mark.parametrize("shift", [math.inf, math.nan, -math.inf])
def test_a_shift_is_a_number_of_years(shift: float) -> None:
    with pytest.raises(RangeError, match="shift"):
        scarfdate.sensitivity({"hem": "hand-rolled"}, shift=shift, as_of=2026)  # type: ignore[arg-type]


def test_a_map_and_kinds_of_dates_that_are_none() -> None:
    frame = pd.DataFrame({"id": ["a"], "fibre": ["silk"], "known": ["1960s"]})
    with pytest.raises(ScarfdateError, match="not a key"):
        scarfdate.read_sold(frame, columns={pd.NA: 1.0, "ignore": []})
    for admit in (np.array(3), 3, [pd.NA]):
        with pytest.raises(ScarfdateError, match="admit"):
            scarfdate.read_sold(frame, admit=admit)  # type: ignore[arg-type]


def test_half_a_letter_in_a_heading_of_a_frame() -> None:
    """pandas holds headings as UTF-8 where they are all text, from its third version on."""
    half = "\ud800"
    from scarfdate.answer.again import beside

    frame = pd.DataFrame([["silk", "x"]], columns=pd.Index(["fibre", half], dtype=object))
    whole = beside(frame, scarfdate.date_table(frame, as_of=2026))
    assert [*whole.columns[:2]] == ["fibre", half]
    told = scarfdate.dry_run(frame)
    assert [*told.columns["column"]] == ["fibre", "?"] and "silk" in told.to_string()


def test_numbers_without_end_inside_a_cell_and_over_a_column() -> None:
    big = 10**5000
    for cell in ([big], {"a": big}, {big: 1}):
        row = {"fibre": "silk", "note": cell, "known": "1960s", "known_by": "receipt"}
        frame = pd.DataFrame([row])
        assert len(scarfdate.read_sold(frame)) == 1
        assert scarfdate.dry_run(frame).to_string()
    frame = pd.DataFrame([["silk", "x"]], columns=pd.Index(["fibre", big], dtype=object))
    for call in (scarfdate.read_sold, scarfdate.dry_run):
        with pytest.raises(ScarfdateError, match="column names are text"):
            call(frame)


def test_cells_that_repeat_are_read_once() -> None:
    """Of a sheet of many rows that nobody can read the cost is that of its different cells."""
    from scarfdate.clues.shares_field import WordsField

    text = "label;hem\n" + "silkbel;M2aterialv Si~e\nM2a eria;e=p\n" * 2_000
    read, reads = [], WordsField.reads
    with pytest.MonkeyPatch.context() as counted:
        counted.setattr(
            WordsField, "reads", lambda self, *cells: read.append(cells) or reads(self, *cells)
        )
        told = scarfdate.dry_run(io.BytesIO(text.encode()))
    assert len(told.cells) == 8_000 and len(read) <= 8


@pytest.mark.sampled(2)
@pytest.mark.parametrize(
    "path",
    [31, None, ["a"], b"\xff", pd.NA, "a\0b", "x" * 5_000],
    ids=["number", "none", "list", "bytes", "missing", "nul", "long"],
)
def test_a_place_to_write_is_a_path(path: object) -> None:
    from scarfdate.sorting.sorting import Sorting

    card = scarfdate.pocket_card(clues=["hem"], as_of=2026, pieces=1_000)
    for call in (
        scarfdate.draw({"hem": "hand-rolled"}).save, scarfdate.write_lessons, card.save, Sorting,
        scarfdate.write_template, scarfdate.sorting_table,
        lambda out: scarfdate.upgrade_priors(scarfdate.load_priors().folder, out),
        lambda out: scarfdate.date_file(Path(__file__).parents[1] / "data" / "stock.csv", out),
        lambda out: scarfdate.practice(progress=out) if out is not None else card.save(out),
    ):  # fmt: skip
        with pytest.raises(ScarfdateError) as refused:
            call(path)  # type: ignore[arg-type]
        assert len(str(refused.value)) < 1_000


def test_what_ends_for_now_is_refused_and_no_none() -> None:
    """The log of a system gave its last line while it was opened, and Python's reader then gives None."""
    out, into = os.pipe()
    os.set_blocking(out, False)
    with open(into, "wb") as writer, io.BufferedReader(_NeverWaiting(out)) as reader:
        writer.write(b"fibre")
        writer.flush()
        assert reader.read(3) == b"fib"
        assert reader.read1(10) == b"re"
        for read in (
            reader.read,
            partial(reader.read, 3),
            partial(reader.readinto, bytearray(3)),
            reader.readline,
        ):
            with pytest.raises(OSError, match="nothing more to be read now"):
                read()
