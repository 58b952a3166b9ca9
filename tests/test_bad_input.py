"""Bad input, each a clear error naming the place, the value and the nearest allowed words."""

from __future__ import annotations

import math
import shutil
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate import (
    PriorsError,
    RangeError,
    Scarf,
    ScarfdateError,
    TableError,
    WordError,
    compare,
    date_scarf,
    date_table,
    load_priors,
)
from scarfdate.clues.kinds import keywords
from scarfdate.clues.sides import DERIVED
from scarfdate.tables.priors import shipped_folder

AS_OF = 2020
LONG = "x" * 50_000_000

# what was seen; the kind of error; words that its message must hold: place, value, what is allowed
ONE: list[tuple[dict[str, Any], type[ScarfdateError], list[str]]] = [
    ({"fibre": "slik"}, WordError, ["fibre", "'slik'", "did you mean 'silk'"]),
    ({"hem": "hand rolld"}, WordError, ["hem", "'hand rolld'", "hand-rolled"]),
    ({"fibre": "qqqq"}, WordError, ["fibre", "'qqqq'", "allowed: silk, wool"]),
    ({"fibr": "silk"}, WordError, ["'fibr'", "did you mean 'fibre'"]),
    ({"motif": {"floral": 0.5, "paisly": 0.5}}, WordError, ["motif", "'paisly'", "paisley"]),
    ({"fibre": "silk", "fibre_method": "burnt"}, WordError, ["method", "'burnt'", "burn"]),
    ({"methods": {"fibr": "burn"}}, WordError, ["methods", "'fibr'", "'fibre'"]),
    ({"motif": "plain", "methods": {"motif": "burn"}}, WordError, ["motif", "'burn'", "feel"]),
    ({"fringe": "withn", "width_cm": 90}, WordError, ["fringe", "'withn'", "within"]),
    ({"width_cm": -3}, RangeError, ["width_cm", "-3", "greater than 0"]),
    ({"width_cm": 0}, RangeError, ["width_cm", "got 0", "greater than 0"]),
    ({"width_cm": 9_000, "height_cm": 90}, RangeError, ["long_side", "9000", "between 5 and 600"]),
    ({"width_cm": 1}, RangeError, ["long_side", "got 1", "between 5 and 600"]),
    ({"width_cm": 590, "height_cm": 6}, RangeError, ["slenderness", "98.3", "between 1 and 60"]),
    ({"stitches_per_inch": -3}, RangeError, ["stitches_per_inch", "-3", "between 0.8 and 60"]),
    ({"stitches_per_inch": 0}, RangeError, ["stitches_per_inch", "got 0", "between 0.8 and 60"]),
    ({"stitches_per_inch": 500}, RangeError, ["stitches_per_inch", "500", "between 0.8 and 60"]),
    ({"stitches_per_cm": -1}, RangeError, ["stitches_per_cm", "-1", "above 0|greater than 0"]),
    ({"momme": 1e9}, RangeError, ["momme", "1e+09", "between 0.5 and 300"]),
    ({"momme": "heavy"}, RangeError, ["momme", "'heavy'", "a number is allowed"]),
    ({"momme": True}, RangeError, ["momme", "'True'", "a number is allowed"]),
    ({"momme": math.inf}, RangeError, ["momme", "'inf'", "finite"]),
    ({"momme": "nan"}, RangeError, ["momme", "'nan'", "finite"]),
    ({"momme": 10**400}, RangeError, ["momme", "finite"]),
    ({"width_cm": math.inf}, RangeError, ["width_cm", "inf", "finite"]),
    ({"width_cm": 10**400}, RangeError, ["width_cm", "finite"]),
    ({"printed_year": 19.5}, RangeError, ["printed_year", "'19.5'", "whole year"]),
    ({"printed_year": 196}, RangeError, ["printed_year", "'196'", "from 1700 to"]),
    ({"printed_year": AS_OF + 1}, RangeError, ["printed_year", "2021", "as_of"]),
    ({"depicted_year": AS_OF + 1}, RangeError, ["depicted_year", "2021", "as_of"]),
    ({"depicted_year": AS_OF + 9, "depicted_announced": "yes"}, RangeError, ["2029", "as_of"]),
    ({"depicted_year": 1937, "depicted_announced": "perhaps"}, ScarfdateError, ["'perhaps'", "yes"]),
    ({"fibre": {"silk": 0.5}}, RangeError, ["fibre", "sum to 1", "0.5"]),
    ({"fibre": {"silk": 0.9, "wool": 0.9}}, RangeError, ["fibre", "sum to 1", "1.8"]),
    ({"fibre": {"silk": 1.5, "wool": -0.5}}, RangeError, ["fibre", "'wool'", "between 0 and 1", "-0.5"]),
    ({"fibre": {"silk": math.nan}}, RangeError, ["fibre", "'silk'", "nan"]),
    ({"fibre": {"silk": 10**400}}, RangeError, ["fibre", "'silk'", "between 0 and 1"]),
    ({"fibre": {"silk": "a lot"}}, RangeError, ["fibre", "'silk'", "'a lot'"]),
    ({"fibre": {}}, RangeError, ["fibre", "sum to 1", "got 0"]),
    ({"fibre": '{"silk": 0.5, "silk": 0.5}'}, ScarfdateError, ["fibre", "two weights"]),
    ({"fibre": '{"silk": 0.5,'}, ScarfdateError, ["fibre", "cannot be read", "polyester"]),
    ({"fibre": 7}, ScarfdateError, ["fibre", "'7'", "a word or weights"]),
    ({"width_cm": 90, "width_in": 35}, RangeError, ["width_in", "width_cm", "give it once"]),
    ({"size": "90 x 90 cm", "width_cm": 90}, RangeError, ["width_cm", "size", "give it once"]),
    ({"stitches_per_inch": 9, "stitches_per_cm": 4}, ScarfdateError, ["stitches_per", "give it once"]),
    ({"momme": 9, "grams_per_square_metre": 40}, ScarfdateError, ["momme", "give it once"]),
    ({"width": 90}, RangeError, ["width", "without a unit", "cm"]),
    ({"width": 90, "unit": "furlong"}, RangeError, ["'furlong'", "allowed: mm", "cm"]),
    ({"size": "90 x"}, RangeError, ["size", "'90 x'"]),
    ({"label": "none-seen", "label_make": "woven"}, ScarfdateError, ["label_make", "none-seen", "leave"]),
    ({"fibre": "=1+1"}, WordError, ["fibre", "'=1+1'", "silk"]),
    ({"momme": "=A1*2"}, RangeError, ["momme", "'=A1*2'", "a number"]),
    ({"fibre": LONG}, WordError, ["fibre", "xxx…", "silk"]),
    ({"momme": LONG}, RangeError, ["momme", "xxx…", "a number"]),
    ({"size": LONG}, RangeError, ["size", "xxx…", "100 characters"]),
    ({"fibre": '{"silk": ' + LONG}, ScarfdateError, ["fibre", "characters"]),
]  # fmt: skip


def words_of(message: str, wanted: list[str]) -> None:
    for word in wanted:
        assert any(part in message for part in word.split("|")), f"{word!r} is not in: {message}"
    assert len(message) < 1500


def named(case: object) -> str:
    return ", ".join(case)[:50] if isinstance(case, dict) else ""


@pytest.mark.parametrize(("seen", "kind", "wanted"), ONE, ids=named)
def test_one_scarf(seen: dict[str, Any], kind: type[ScarfdateError], wanted: list[str]) -> None:
    with pytest.raises(kind) as caught:
        date_scarf(Scarf(**seen), as_of=AS_OF)
    words_of(str(caught.value), wanted)


# in a table these two are columns that nobody knows: tested apart
IN_A_ROW = [case for case in ONE if "fibr" not in case[0] and "methods" not in case[0]]


@pytest.mark.parametrize(("seen", "kind", "wanted"), IN_A_ROW, ids=named)
def test_the_same_in_a_table_loses_no_good_row(
    seen: dict[str, Any], kind: type[ScarfdateError], wanted: list[str]
) -> None:
    """What is one error for a scarf is that error in its row, between two rows that are dated; or else it
    is left out and named, and the row dated from the rest."""
    good = {"fibre": "silk", "hem": "hand-rolled"}
    frame = pd.DataFrame([good, {**seen, "note": "bad"}, good], dtype=object)
    left_out, finite = date_table(frame, as_of=AS_OF, with_years=True)
    assert left_out["errors"].isna().all()
    assert left_out["not_read"].notna().tolist() == [False, True, False]
    assert np.isfinite(finite).all()
    table, years = date_table(frame, as_of=AS_OF, with_years=True, on_error="collect")
    assert table["not_read"].isna().all()
    words_of(table["errors"].iloc[1], wanted)
    assert table.drop(columns=["errors", "warnings"]).iloc[1].isna().all()
    assert np.isnan(years[1]).all()
    alone = date_scarf(Scarf(**good), as_of=AS_OF)
    for row in (0, 2):
        assert pd.isna(table["errors"].iloc[row])
        np.testing.assert_allclose(years[row], alone.probability, atol=1e-12)


@pytest.mark.parametrize("column", ["stitches_per_inch", "momme", "width_cm", "printed_year"])
@pytest.mark.parametrize("kind", ["int64", "float64", "Int64", "Float64", "string", "object"])
def test_impossible_numbers_in_a_column_of_any_type(column: str, kind: str) -> None:
    cells = pd.Series([-2, 0, 10**6]).astype(kind)  # type: ignore[call-overload]
    frame = pd.DataFrame({column: cells})
    table = date_table(frame, as_of=AS_OF, on_error="collect")
    assert table["errors"].notna().all()
    assert table["year_from"].isna().all()
    table = date_table(frame, as_of=AS_OF)
    assert table["not_read"].notna().all()
    assert table["year_from"].nunique() == 1  # dated from nothing, all alike


def test_columns_nobody_knows() -> None:
    for frame, wanted in (
        (pd.DataFrame({"fibr": ["silk"]}), ["'fibr'", "did you mean 'fibre'", "note"]),
        (pd.DataFrame({"methods": ["{}"], "colour_of_box": [1]}), ["'colour_of_box'"]),
        (pd.DataFrame({3: ["silk"]}), ["'3'", "text"]),
        (pd.DataFrame([["silk", "wool"]], columns=["fibre", "Fibre"]), ["'Fibre'", "twice"]),
        (pd.DataFrame({"long_side": [90]}), ["'long_side'"]),
    ):
        with pytest.raises(TableError) as caught:
            date_table(frame, on_error="raise")
        words_of(str(caught.value), wanted)


def test_duplicate_ids() -> None:
    frame = pd.DataFrame({"id": ["a", "b", "a ", None, None], "fibre": ["silk"] * 5})
    table = date_table(frame)
    assert table["errors"].isna().all()
    assert table["warnings"].notna().tolist() == [False, False, True, False, False]
    words_of(table["warnings"].iloc[2], ["id", "'a", "earlier row"])
    assert table["year_from"].nunique() == 1


def test_raise_reports_all_rows() -> None:
    frame = pd.DataFrame({"fibre": ["silk", "slik", "wool"], "momme": [8.0, -3.0, 900.0]})
    with pytest.raises(TableError) as caught:
        date_table(frame, on_error="raise")
    words_of(str(caught.value), ["2 rows of 3", "row 2: ", "'slik'", "-3", "row 3: ", "900"])
    assert date_table(frame.iloc[[0]], on_error="raise")["errors"].isna().all()
    with pytest.raises(ScarfdateError, match="on_error.*'collect' or 'raise'.*'ignore'"):
        date_table(frame, on_error="ignore")


@pytest.mark.parametrize("level", [0, 1, -0.1, 80, math.nan, math.inf, "a", None, [0.5]])
def test_level_out_of_range(level: Any) -> None:
    dating = date_scarf(Scarf(fibre="silk"))
    for ask in (
        lambda: date_scarf(Scarf(), level=level),
        lambda: date_table(pd.DataFrame({"fibre": ["silk"]}), level=level),
        lambda: compare(dating, dating, level=level),
    ):
        with pytest.raises(RangeError, match="level must lie between 0 and 1"):
            ask()


@pytest.mark.parametrize("as_of", [1880, 2200, -5, 1990.0, "1990", True, math.nan])
def test_as_of_out_of_range(as_of: Any) -> None:
    with pytest.raises(RangeError, match="as_of: a whole year from 1881 to 2199"):
        date_scarf(Scarf(), as_of=as_of)
    with pytest.raises(RangeError, match="as_of: a whole year from 1881 to 2199"):
        date_table(pd.DataFrame({"fibre": ["silk"]}), as_of=as_of)


@pytest.mark.parametrize("channel", ["thirft", "", None, 3, ["thrift"], {}, LONG])
def test_unknown_channel(channel: Any) -> None:
    for ask in (
        lambda: date_scarf(Scarf(), channel=channel),
        lambda: date_table(pd.DataFrame({"fibre": ["silk"]}), channel=channel),
    ):
        with pytest.raises(WordError, match="channel: no channel .* is known; .*thrift"):
            ask()


def test_questions_that_cannot_be_asked() -> None:
    dating = date_scarf(Scarf(fibre="silk"))
    for ask, kind, match in (
        (lambda: date_scarf("silk"), ScarfdateError, "a Scarf .*'silk'"),  # type: ignore[arg-type]
        (lambda: date_scarf({3: 4}), ScarfdateError, "names and values"),  # type: ignore[dict-item]
        (lambda: date_table("x"), TableError, "DataFrame.*'str'"),  # type: ignore[call-overload]
        (lambda: Scarf.from_json("{"), ScarfdateError, "not JSON"),
        (lambda: Scarf.from_json("[1]"), ScarfdateError, "names and values"),
        (lambda: dating.interval(kind="short"), RangeError, "'shortest' or 'central'.*'short'"),
        (lambda: dating.between(1990, 1980), RangeError, "1990 and 1980"),
        (lambda: dating.between("a", "b"), RangeError, "a and b"),  # type: ignore[arg-type]
        (lambda: dating.at_least_years_old("x"), RangeError, "'x'"),  # type: ignore[arg-type]
        (lambda: date_table(None), TableError, "DataFrame.*NoneType"),  # type: ignore[call-overload]
        (lambda: compare(dating, 3), RangeError, "two datings.*int"),  # type: ignore[arg-type]
        (lambda: compare(dating, date_scarf(Scarf(), as_of=1990)), RangeError, "as_of.*1990"),
    ):
        with pytest.raises(kind, match=match):
            ask()


def test_an_unlikely_number_is_a_warning_that_is_carried() -> None:
    seen = {"momme": 200.0, "width_cm": 320.0, "height_cm": 10.0}
    dating = date_scarf(Scarf(**seen))
    assert len(dating.warnings) == 3
    assert all("unusual" in warning for warning in dating.warnings)
    table = date_table(pd.DataFrame([seen]))
    assert sorted(table["warnings"].iloc[0].split("; ")) == sorted(dating.warnings)
    assert table["errors"].isna().all()


def test_a_maker_nobody_knows_is_a_warning_and_no_evidence() -> None:
    dating = date_scarf(Scarf(maker="Quorvele"))
    np.testing.assert_array_equal(dating.probability, date_scarf(Scarf()).probability)
    words_of(dating.warnings[0], ["'Quorvele'", "did you mean Quorvelle"])


# ------------------------------------------------------------------ a priors folder with faults


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(shipped_folder(), tmp_path / "priors"))


def change(path: Path, old: str, new: str, count: int = 1) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, count), encoding="utf-8")


def edit(path: Path, row: int, column: str, cell: str) -> None:
    """Write ``cell`` into line ``row`` of a file, the header being line 1."""
    frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    frame.loc[row - 2, column] = cell
    frame.to_csv(path, index=False)


def faults_of(folder: Path) -> tuple[str, PriorsError]:
    with pytest.raises(PriorsError) as caught:
        load_priors(folder)
    return str(caught.value), caught.value


def test_a_good_copy_has_no_faults_and_the_same_hash(folder: Path) -> None:
    assert load_priors(folder).hash == load_priors().hash
    edit(folder / "slips.csv", 2, "rate", "1.6")
    assert load_priors(folder).hash != load_priors().hash


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    ["medium_rules.csv", "medium_together.csv",
     "shares/hem.csv", "measured/momme.csv", "slips.csv", "vocabulary.csv", "families.csv",
     "channels.csv", "year_museum.csv", "lookback_lag.csv", "makers.csv", "confusion/fibre.csv"],
)  # fmt: skip
def test_a_file_missing(folder: Path, name: str) -> None:
    assert (folder / "datapackage.json").exists()  # without it a folder only overrides
    (folder / name).unlink()
    message, _ = faults_of(folder)
    words_of(message, [name, "missing"])


CELLS = [
    ("shares/hem.csv", 2, "hand-rolled", "0.1", ["row 2", "add up to 100"]),
    ("shares/fibre.csv", 3, "silk", "sixty", ["row 3, column silk", "'sixty'", "not a number"]),
    ("shares/fibre.csv", 3, "silk", "-1", ["row 3, column silk", "'-1'", "between 0 and 100"]),
    ("shares/fibre.csv", 3, "silk", "nan", ["row 3, column silk", "'nan'"]),
    ("shares/fibre.csv", 3, "silk", "=60+3", ["row 3, column silk", "'=60+3'", "not a number"]),
    ("shares/fibre.csv", 3, "silk", "", ["row 3, column silk", "an empty cell"]),
    ("shares/fibre.csv", 4, "year", "1880", ["row 4, column year", "stands there twice", "1880"]),
    ("shares/fibre.csv", 4, "year", "1920", ["row 5, column year", "rises", "1917 after 1920"]),
    ("shares/fibre.csv", 2, "year", "1881", ["row 2, column year", "1880 or earlier", "1881"]),
    ("shares/fibre.csv", 4, "year", "1908.5", ["row 4, column year", "whole number"]),
    ("shares/fibre.csv", 2, "grade", "finest", ["row 2, column grade", "'finest'", "'fine'"]),
    ("shares/fibre.csv", 2, "basis", "", ["row 2, column basis", "an empty cell", "memory"]),
    ("shares/fibre.csv", 2, "basis", "rumour", ["row 2, column basis", "'rumour'"]),
    ("shares/signature.csv", 2, "basis", "statute", ["row 2, column source", "names its source"]),
    ("grades.csv", 2, "fine", "18", ["row 2", "add up to 100", "'98'"]),
    ("measured/momme.csv", 2, "spread", "0.9", ["row 2, column spread", "'0.9'"]),
    ("measured/momme.csv", 2, "median", "0", ["row 2, column median", "'0'"]),
    ("measured/momme.csv", 2, "given", "plaine", ["row 2, column given", "'plaine'", "'plain'"]),
    ("confusion/fibre.csv", 2, "silk", "2", ["row 2", "add up to 100"]),
    ("slips.csv", 2, "rate", "0", ["row 2, column rate", "'0'", "between 0.01 and 50"]),
    ("slips.csv", 2, "not_where", "label none-seen", ["row 2, column not_where", "in the row of label_text"]),
    ("slips.csv", 10, "not_where", "label_make stampd", ["row 10, column not_where", "stamped-on-cloth"]),
    ("slips.csv", 2, "family", "fibr", ["row 2, column family", "'fibr'", "'fibre'"]),
    ("families.csv", 2, "kind", "share", ["row 2, column kind", "'share'", "'shares'"]),
    ("channels.csv", 2, "years", "thirft", ["row 2, column years", "'thirft'", "'thrift'"]),
    ("makers.csv", 2, "year_to", "1900", ["row 2, column year_to", "ends before it begins"]),
    ("vocabulary.csv", 2, "reading", "vlaue", ["row 2, column reading", "'vlaue'", "'value'"]),
]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize(("name", "row", "column", "cell", "wanted"), CELLS)
def test_a_wrong_cell(
    folder: Path, name: str, row: int, column: str, cell: str, wanted: list[str]
) -> None:
    edit(folder / name, row, column, cell)
    message, error = faults_of(folder)
    words_of(message[:1400], [name, *wanted])
    assert {"file", "row", "column", "problem"} <= set(error.to_frame().columns)
    assert name in set(error.to_frame()["file"])


def test_a_share_row_that_sums_to_98(folder: Path) -> None:
    path = folder / "shares/fibre.csv"
    frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    edit(path, 2, "silk", str(float(frame.loc[0, "silk"]) - 2))
    message, error = faults_of(folder)
    words_of(message, ["shares/fibre.csv, row 2", "add up to 100", "'98'"])
    assert len(error.faults) == 1


def test_text_that_is_not_utf8(folder: Path) -> None:
    path = folder / "shares/hem.csv"
    change(path, "common practice", "common practïce")
    path.write_bytes(path.read_text(encoding="utf-8").encode("latin-1"))
    message, _ = faults_of(folder)
    words_of(message, ["shares/hem.csv", "not UTF-8", "save it as UTF-8"])


def test_a_file_of_an_unknown_family(folder: Path) -> None:
    shutil.copy(folder / "shares/hem.csv", folder / "shares/hemm.csv")
    message, _ = faults_of(folder)
    words_of(message, ["shares/hemm.csv", "did you mean 'hem'"])


def test_an_empty_file_and_a_torn_one(folder: Path) -> None:
    (folder / "shares/hem.csv").write_text("")
    change(folder / "shares/fibre.csv", "common practice", '"common practice')
    message, _ = faults_of(folder)
    words_of(message, ["shares/hem.csv", "shares/fibre.csv", "column is missing|no rows"])


def test_every_fault_is_reported_at_once(folder: Path) -> None:
    edit(folder / "shares/fibre.csv", 2, "silk", "x")
    edit(folder / "slips.csv", 3, "rate", "-1")
    edit(folder / "grades.csv", 4, "basis", "hearsay")
    _, error = faults_of(folder)
    places = {(fault.file, fault.row, fault.column) for fault in error.faults}
    assert {
        ("shares/fibre.csv", 2, "silk"), ("slips.csv", 3, "rate"), ("grades.csv", 4, "basis"),
    } <= places  # fmt: skip


def test_folders_that_are_none(tmp_path: Path) -> None:
    message, _ = faults_of(tmp_path / "nowhere")
    words_of(message, ["no such folder", "check the path"])
    message, _ = faults_of(tmp_path)
    words_of(message, ["holds no priors file"])
    (tmp_path / "slip.csv").write_text("family,rate,basis,source,note\n")
    message, _ = faults_of(tmp_path)
    words_of(message, ["slip.csv", "did you mean 'slips.csv'"])
    (tmp_path / "slip.csv").rename(tmp_path / "hem.csv")
    message, _ = faults_of(tmp_path)
    assert message.count("'shares/hem.csv'") == message.count("'trade/hem.csv'") == 1, message
    message, _ = faults_of(tmp_path / "hem.csv")
    words_of(message, ["hem.csv", "this is a file", "name the folder"])


def test_a_single_file_of_ones_own_overrides_the_shipped_one(tmp_path: Path) -> None:
    shutil.copy(shipped_folder() / "slips.csv", tmp_path / "slips.csv")
    assert load_priors(tmp_path).hash == load_priors().hash
    edit(tmp_path / "slips.csv", 2, "rate", "40")
    mine = load_priors(tmp_path)
    assert mine.slips["fibre"] == pytest.approx(0.4)
    seen = Scarf(fibre="polyester")
    assert date_scarf(seen, priors=mine).priors_hash != date_scarf(seen).priors_hash
    early = [date_scarf(seen, priors=p).between(1880, 1945) for p in (mine, None)]
    assert early[0] > 1.5 * early[1]


# ------------------------------------------------------------------------- cells of any kind


class Odd:
    pass


GARBAGE: list[Any] = [
    None, "", "zzz", "=1+1", '{"silk":1}', "{", "[1]", '"x"', '{"silk": 1e400}', '{"a":' * 900,
    "[" * 900, 0, 1, -1, 1.5, math.inf, -math.inf, math.nan, 10**400, True, np.float64(3),
    np.float32(3), np.int64(3), np.bool_(True), pd.NA, pd.NaT, pd.Timestamp("2020-01-01"),
    date(2020, 1, 1), Decimal(3), Decimal("NaN"), Decimal("sNaN"), Fraction(1, 3), 1j, b"silk", [],
    ["silk"], ("silk",), {"silk": 1}, {}, {1: 2}, {None: 1}, {"silk": None}, {"silk": 10**400},
    set(), {"a"}, Odd(), Odd, len, np.array([1, 2]), np.array("silk"), np.timedelta64(3, "D"),
    pd.Series([1]), "9" * 5000, "\x00", "\ud800", "٣", "²", "1e999", "-5", "0", "90 x 90", "35½ in",
    "nan", "1_000", range(3), ..., {"fibre": 3}, {5: "burn"},
]  # fmt: skip
NAMES = [name for name in keywords(load_priors()) if name not in DERIVED]


def cell_of(value: Any) -> pd.Series:
    """A column of two cells, ``value`` and nothing, whatever ``value`` is."""
    cells = np.full(2, None, dtype=object)
    cells[0] = value
    return pd.Series(cells, dtype=object)


@pytest.mark.parametrize("name", [*NAMES, "fibre_method", "hem_method"])
def test_garbage_for_one_scarf_is_dated_or_refused(name: str) -> None:
    for value in GARBAGE:
        try:
            dating = date_scarf(Scarf(**{name: value}), as_of=AS_OF)
        except ScarfdateError as error:
            assert len(str(error)) < 1500
        else:
            assert dating.probability.sum() == pytest.approx(1)


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", [n for n in NAMES if n not in ("methods", "palette")] + ["fibre_method", "hem_method"]
)
def test_garbage_in_a_table_never_loses_the_other_row(name: str) -> None:
    for value in GARBAGE:
        frame = pd.DataFrame({name: cell_of(value), "palette": ["pastel", "pastel"]})
        table, years = date_table(frame, as_of=AS_OF, with_years=True)
        assert pd.isna(table["errors"].iloc[1]), value
        assert np.isfinite(years[1]).all()
        assert pd.isna(table["errors"].iloc[0]) == np.isfinite(years[0]).all()


def test_random_tables_of_garbage(rng: np.random.Generator) -> None:
    """Rows of garbage in many columns at once: nothing but errors in their rows."""
    names = [name for name in NAMES if name != "methods"]
    good = {"fibre": "silk", "width_cm": 90.0, "height_cm": 90.0}
    alone = date_scarf(Scarf(**good), as_of=AS_OF).probability
    for _ in range(20):
        rows: list[dict[str, Any]] = []
        for _ in range(8):
            some = rng.choice(names, size=rng.integers(1, 8), replace=False)
            rows.append({name: GARBAGE[rng.integers(len(GARBAGE))] for name in some})
        frame = pd.DataFrame([*rows, good], dtype=object)
        table, years = date_table(frame, as_of=AS_OF, with_years=True)
        assert pd.isna(table["errors"].iloc[-1])
        np.testing.assert_allclose(years[-1], alone, atol=1e-12)
        assert (table["errors"].isna() == np.isfinite(years).all(axis=1)).all()


@pytest.mark.parametrize("text", ["", "{", "[]", "3", "null", '"silk"', "[" * 100_000])
def test_what_is_no_json_scarf(text: str) -> None:
    with pytest.raises(ScarfdateError):
        Scarf.from_json(text)


ANYTHING = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=30), st.binary(max_size=5),
    st.complex_numbers(), st.dates(), st.decimals(), st.fractions(), st.sampled_from(GARBAGE),
    st.dictionaries(st.one_of(st.text(max_size=5), st.just("silk")), st.floats(), max_size=3),
)  # fmt: skip
FUZZ = settings(
    deadline=None, derandomize=True, max_examples=200, suppress_health_check=[HealthCheck.too_slow]
)


@pytest.mark.slow
@FUZZ
@given(st.dictionaries(st.sampled_from(NAMES), ANYTHING, min_size=1, max_size=4))
def test_anything_for_one_scarf_is_dated_or_refused(seen: dict[str, Any]) -> None:
    try:
        found = date_scarf(Scarf(**seen), as_of=AS_OF)
    except ScarfdateError:
        return
    assert np.isfinite(found.probability).all()


@FUZZ
@given(
    st.dictionaries(
        st.sampled_from([name for name in NAMES if name != "methods"]),
        st.lists(ANYTHING, min_size=3, max_size=3),
        min_size=1,
        max_size=5,
    )
)
def test_anything_in_a_table_is_dated_or_refused(cells: dict[str, list[Any]]) -> None:
    rows = [{name: three[place] for name, three in cells.items()} for place in range(3)]
    frame = pd.DataFrame(np.full((4, len(cells)), None, dtype=object), columns=list(cells))
    for place, name in enumerate(cells):
        column = np.full(4, None, dtype=object)
        for row in range(3):
            column[row] = rows[row][name]
        frame.isetitem(place, pd.Series(column, dtype=object))
    table, years = date_table(frame, as_of=AS_OF, with_years=True)
    assert pd.isna(table["errors"].iloc[3])
    assert (table["errors"].isna() == np.isfinite(years).all(axis=1)).all()


def test_empty_tables() -> None:
    for frame in (pd.DataFrame(), pd.DataFrame({"fibre": []}), pd.DataFrame(index=[1, 2])):
        table, years = date_table(frame, as_of=AS_OF, with_years=True)
        assert len(table) == len(frame) == len(years)
        assert table.index.equals(frame.index)
        assert table["errors"].isna().all()


def test_every_empty_file_of_priors_is_named(tmp_path: Path) -> None:
    """All of them at once, but those that only tell what the others were built from."""
    shipped = shipped_folder()
    names = [path.relative_to(shipped).as_posix() for path in shipped.rglob("*.csv")]
    for name in names:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    with pytest.raises(PriorsError) as raised:
        load_priors(tmp_path)
    missed = {*names} - {fault.file for fault in raised.value.faults}
    assert missed == set(), missed


def test_an_unknown_basis_is_one_fault_not_two(tmp_path: Path) -> None:
    text = (shipped_folder() / "slips.csv").read_text(encoding="utf-8")
    (tmp_path / "slips.csv").write_text(
        text.replace("common practice", "hearsay", 1), encoding="utf-8"
    )
    with pytest.raises(PriorsError) as raised:
        load_priors(tmp_path)
    assert [fault.column for fault in raised.value.faults] == ["basis"]
