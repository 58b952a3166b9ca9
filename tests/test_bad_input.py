"""What people get wrong: an error that names it, never a crash, and the good rows kept."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate import Scarf, date_scarf, date_table, load_priors
from scarfdate.errors import PriorsError, RangeError, ScarfdateError, TableError, WordError
from scarfdate.tables.priors import shipped_folder

HUGE = "x" * 50_000_000
WRONG: list[tuple[dict[str, Any], type[ScarfdateError], str]] = [
    ({"fibre": "slik"}, WordError, "silk"),
    ({"fibre": HUGE}, WordError, "fibre"),
    ({"fibre": 3}, ScarfdateError, "fibre"),
    ({"fibre": {"silk": 0.5, "wool": 0.3}}, RangeError, "sum"),
    ({"fibre": {"silk": -0.5, "wool": 1.5}}, RangeError, "weight"),
    ({"fibre": {"silk": math.inf}}, RangeError, "weight"),
    ({"fibre": {"silk": math.nan, "wool": 1}}, RangeError, "weight"),
    ({"fibre": {}}, RangeError, "sum"),
    ({"fibre": "{"}, ScarfdateError, "read"),
    ({"fibre": '{"silk": 0.5, "silk": 0.5}'}, ScarfdateError, "two weights"),
    ({"width_cm": -90}, RangeError, "width_cm"),
    ({"width_cm": 0}, RangeError, "width_cm"),
    ({"width_cm": 9000, "height_cm": 90}, RangeError, "long_side"),
    ({"width_cm": math.inf}, RangeError, "width_cm"),
    ({"width_cm": 90, "width_in": 36}, RangeError, "twice"),
    ({"width": 90}, RangeError, "unit"),
    ({"size": "large"}, RangeError, "size"),
    ({"stitches_per_inch": 900}, RangeError, "stitches_per_inch"),
    ({"stitches_per_inch": math.inf}, RangeError, "finite"),
    ({"stitches_per_inch": 10, "stitches_per_cm": 4}, RangeError, "twice|given too"),
    ({"momme": -4}, RangeError, "momme"),
    ({"momme": "heavy"}, RangeError, "momme"),
    ({"momme": True}, RangeError, "momme"),
    ({"momme": 10**400}, RangeError, "momme"),
    ({"printed_year": 1958.5}, RangeError, "whole year"),
    ({"printed_year": 12}, RangeError, "printed_year"),
    ({"label": "none-seen", "label_make": "woven"}, ScarfdateError, "label_make"),
    ({"fringe": "maybe"}, WordError, "fringe"),
    ({"depicted_year": 1937, "depicted_announced": "perhaps"}, ScarfdateError, "yes or no"),
    ({"fiber_type": "silk"}, WordError, "did you mean|allowed"),
    ({"fibre": "silk", "methods": {"fibre": "taste"}}, WordError, "method"),
    ({"motif": "dots", "methods": {"motif": "burn"}}, WordError, "motif"),
    ({"methods": 3}, ScarfdateError, "methods"),
    ({"note": "n" * 20_000}, ScarfdateError, "note"),
]  # fmt: skip


@pytest.mark.parametrize(("seen", "kind", "says"), WRONG)
def test_a_wrong_scarf_is_refused_by_name(
    seen: dict[str, Any], kind: type[ScarfdateError], says: str
) -> None:
    with pytest.raises(kind, match=says) as caught:
        Scarf(**seen)
    assert len(str(caught.value)) < 1000


COLUMN_OF = [
    case for case in WRONG
    if not {"methods", "fiber_type", "note"} & set(case[0])
]  # fmt: skip


@pytest.mark.parametrize(("seen", "kind", "says"), COLUMN_OF)
def test_a_wrong_row_is_refused_alone(
    seen: dict[str, Any], kind: type[ScarfdateError], says: str
) -> None:
    names = list(seen)
    blank = dict.fromkeys(names)
    frame = pd.DataFrame([{**blank, "hem": "hand-rolled"}, {**seen, "hem": "raw"}, {**blank, "hem": "raw"}], dtype=object)
    table, p = date_table(frame, with_years=True)
    assert table["errors"].isna().tolist() == [True, False, True]
    assert pd.isna(table["year_from"].iloc[1]) and np.isnan(p[1]).all()
    assert np.isfinite(p[[0, 2]]).all()
    with pytest.raises(TableError, match="row 2"):
        date_table(frame, on_error="raise")


def test_all_bad_rows_are_raised_together() -> None:
    frame = pd.DataFrame({"fibre": ["slik", "silk", "woll-ish"], "momme": [8.0, 9.0, -1.0]})
    with pytest.raises(TableError, match="2 rows of 3") as caught:
        date_table(frame, on_error="raise")
    assert "row 1" in str(caught.value) and "row 3" in str(caught.value)
    assert "momme" in str(caught.value) and "row 2" not in str(caught.value)


def test_repeated_ids_are_refused_but_the_first_kept() -> None:
    table = date_table(pd.DataFrame({"id": ["a", "a", "b", "", None], "fibre": ["silk"] * 5}))
    assert table["errors"].isna().tolist() == [True, False, True, True, True]


@pytest.mark.parametrize("column", ["fabric", 3, "fibre_methd"])
def test_an_unknown_column_is_refused(column: object) -> None:
    with pytest.raises(TableError):
        date_table(pd.DataFrame({column: ["silk"]}))


def test_a_column_that_stands_there_twice_is_refused() -> None:
    with pytest.raises(TableError, match="twice"):
        date_table(pd.DataFrame([["silk", "wool"]], columns=["fibre", "Fibre"]))


def test_columns_that_begin_with_note_are_left_alone() -> None:
    table = date_table(pd.DataFrame({"note_to_self": [object()], "fibre": ["silk"]}))
    assert table["errors"].isna().all()


def test_a_year_after_as_of() -> None:
    with pytest.raises(RangeError, match="as_of"):
        date_scarf(Scarf(printed_year=1958), as_of=1950)
    table = date_table(pd.DataFrame({"printed_year": [1958, 1940]}), as_of=1950)
    assert table["errors"].isna().tolist() == [False, True]
    seen = {"depicted_year": 1951, "depicted_announced": True}
    assert date_scarf(Scarf(**seen), as_of=1950).probability.sum() == pytest.approx(1)
    with pytest.raises(RangeError, match="as_of"):
        date_scarf(Scarf(depicted_year=1951), as_of=1950)


@pytest.mark.parametrize(
    "options",
    [
        {"level": 0}, {"level": 1}, {"level": math.nan}, {"level": "high"}, {"channel": "thrfit"},
        {"channel": None}, {"channel": []}, {"as_of": 1880}, {"as_of": 3000}, {"as_of": 1999.5},
        {"as_of": True}, {"as_of": "now"},
    ],
)  # fmt: skip
def test_options_out_of_range(options: dict[str, Any]) -> None:
    with pytest.raises(ScarfdateError, match=next(iter(options))):
        date_scarf(Scarf(), **options)
    with pytest.raises(ScarfdateError, match=next(iter(options))):
        date_table(pd.DataFrame({"fibre": ["silk"]}), **options)


@pytest.mark.parametrize("thing", [None, 3, "silk", ["silk"], {1: 2}])
def test_what_is_no_scarf_is_refused(thing: Any) -> None:
    with pytest.raises(ScarfdateError):
        date_scarf(thing)
    with pytest.raises(ScarfdateError):
        date_table(thing)


@pytest.mark.parametrize("text", ["", "{", "[]", "3", "null", "[" * 100_000])
def test_what_is_no_json_scarf_is_refused(text: str) -> None:
    with pytest.raises(ScarfdateError):
        Scarf.from_json(text)


def test_an_empty_table_is_no_fault() -> None:
    assert len(date_table(pd.DataFrame({"fibre": []}))) == 0
    assert len(date_table(pd.DataFrame(index=range(3)))) == 3


KNOWN = load_priors()
NAMES = [
    *(n for n in KNOWN.families if n not in ("long_side", "slenderness")), "width_cm", "height_cm",
    "width_in", "width", "unit", "size", "fringe", "depicted_announced", "stitches_per_cm", "id",
    "grams_per_square_metre", "fibre_method",
]  # fmt: skip
garbage = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=30), st.binary(max_size=5),
    st.complex_numbers(), st.dates(), st.decimals(), st.fractions(),
    st.lists(st.integers(), max_size=3), st.tuples(st.text(max_size=3)),
    st.dictionaries(st.one_of(st.text(max_size=5), st.just("silk")), st.floats(), max_size=3),
    st.sampled_from(
        ["silk", "=1+1", "90 x 90 cm", "NaN", "inf", "1e999", "\x00", '{"silk": 1e999}', pd.NA,
         pd.NaT, np.float64("nan"), np.int64(3), object(), "{}", "[]", "-0", "\u0661\u0662"]
    ),
)  # fmt: skip
fuzz = settings(
    deadline=None, derandomize=True, max_examples=300, suppress_health_check=[HealthCheck.too_slow]
)


@fuzz
@given(st.dictionaries(st.sampled_from(NAMES), st.lists(garbage, min_size=3, max_size=3), min_size=1, max_size=5))
def test_garbage_cells_never_stop_a_table(cells: dict[str, list[object]]) -> None:
    frame = pd.DataFrame({name: pd.Series([*cell, None], dtype=object) for name, cell in cells.items()})
    table, p = date_table(frame, with_years=True)
    assert len(table) == 4 and pd.isna(table["errors"].iloc[3])
    assert (np.isnan(p).all(axis=1) == table["errors"].notna()).all()


@fuzz
@given(st.dictionaries(st.sampled_from(NAMES), garbage, min_size=1, max_size=4))
def test_garbage_keywords_raise_only_our_errors(seen: dict[str, Any]) -> None:
    try:
        scarf = Scarf(**seen)
        found = date_scarf(scarf)
    except ScarfdateError:
        return
    assert np.isfinite(found.probability).all()


# --- folders of tables ---------------------------------------------------------------------------

Change = Callable[[Path], None]


def edit(name: str, change: Callable[[list[str]], list[str]]) -> Change:
    """A change to the lines of a file."""

    def do(folder: Path) -> None:
        path = folder / name
        lines = path.read_text(encoding="utf-8").splitlines()
        path.write_text("\n".join(change(lines)) + "\n", encoding="utf-8")

    return do


def cell(line: int, column: str, text: str) -> Callable[[list[str]], list[str]]:
    """One cell replaced; the line's cells before it hold no commas in quotes."""

    def change(lines: list[str]) -> list[str]:
        at = lines[0].split(",").index(column)
        cells = lines[line].split(",")
        cells[at] = text
        return [*lines[:line], ",".join(cells), *lines[line + 1 :]]

    return change


FAULTY: list[tuple[str, Change, str]] = [
    ("a file is missing", lambda f: (f / "slips.csv").unlink(), "slips.csv.*missing"),
    ("a shares file is missing", lambda f: (f / "shares/hem.csv").unlink(), "hem.csv.*missing"),
    ("a row sums to 98", edit("shares/fibre.csv", cell(1, "silk", "50")), "fibre.csv, row 2.*98"),
    ("knots out of order", edit("shares/fibre.csv", cell(2, "year", "1880")), "fibre.csv, row 3.*ascending"),
    ("a cell like a formula", edit("shares/fibre.csv", cell(1, "silk", "=1+1")), "fibre.csv, row 2"),
    ("no basis", edit("shares/fibre.csv", cell(1, "basis", "")), "fibre.csv, row 2, column basis"),
    ("unknown basis", edit("shares/fibre.csv", cell(1, "basis", "hearsay")), "fibre.csv, row 2, column basis"),
    ("a negative number", edit("revivals.csv", cell(1, "share", "-1")), "revivals.csv, row 2, column share"),
    ("not a number", edit("revivals.csv", cell(1, "share", "nan")), "revivals.csv, row 2, column share"),
    ("an unknown word", edit("shares/fibre.csv", cell(1, "grade", "finest")), "fibre.csv, row 2, column grade"),
    ("a column is missing", edit("slips.csv", lambda lines: [lines[0].replace("rate", "rat"), *lines[1:]]), "slips.csv"),
    ("an empty file", edit("slips.csv", lambda lines: []), "slips.csv"),
    ("only a header", edit("slips.csv", lambda lines: lines[:1]), "slips.csv"),
    ("not UTF-8", lambda f: (f / "slips.csv").write_bytes(b"family,rate\n\xff\xfe"), "slips.csv"),
    ("zero bytes", lambda f: (f / "slips.csv").write_bytes(b"\x00" * 100), "slips.csv"),
    ("unknown file", lambda f: shutil.copy(f / "shares/hem.csv", f / "shares/hemm.csv"), "hemm.csv"),
]  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A whole folder of tables that stands alone or lies over the shipped ones."""
    return Path(shutil.copytree(shipped_folder(), tmp_path / "priors"))


def test_the_copy_is_good(folder: Path) -> None:
    assert load_priors(folder).hash == load_priors().hash


@pytest.mark.parametrize(("name", "change", "says"), FAULTY, ids=[case[0] for case in FAULTY])
def test_a_faulty_folder_says_where(folder: Path, name: str, change: Change, says: str) -> None:
    if "missing" in name and "column" not in name and not (folder / "datapackage.json").exists():
        pytest.skip("a folder without a datapackage.json lies over the shipped tables")
    change(folder)
    with pytest.raises(PriorsError, match=f"(?s){says}") as caught:
        load_priors(folder)
    assert caught.value.faults and len(caught.value.to_frame()) == len(caught.value.faults)


def test_every_fault_is_told_at_once(folder: Path) -> None:
    edit("shares/fibre.csv", cell(1, "silk", "50"))(folder)
    edit("revivals.csv", cell(1, "share", "-1"))(folder)
    edit("slips.csv", cell(1, "basis", "hearsay"))(folder)
    with pytest.raises(PriorsError) as caught:
        load_priors(folder)
    assert {fault.file for fault in caught.value.faults} == {"shares/fibre.csv", "revivals.csv", "slips.csv"}


def test_empty_and_absent_folders(tmp_path: Path) -> None:
    with pytest.raises(PriorsError, match="no priors file"):
        load_priors(tmp_path)
    with pytest.raises(PriorsError, match="no such folder"):
        load_priors(tmp_path / "none")


def test_one_file_of_ones_own_lies_over_the_shipped_ones(tmp_path: Path) -> None:
    text = (shipped_folder() / "slips.csv").read_text(encoding="utf-8")
    (tmp_path / "slips.csv").write_text(text.replace("fibre,1.5", "fibre,3"), encoding="utf-8")
    assert load_priors(tmp_path).slips["fibre"] == 0.03
    (tmp_path / "slip.csv").write_text(text, encoding="utf-8")
    with pytest.raises(PriorsError, match=r"slip\.csv.*slips\.csv"):
        load_priors(tmp_path)
