"""Tables of the field's libraries in and out: each is answered in its own kind, as the frame of pandas is."""

from __future__ import annotations

import datetime
import decimal
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from scarfdate import ScarfdateError, TableError, date_dataset, date_scarf, date_table

polars = pytest.importorskip("polars")
pyarrow = pytest.importorskip("pyarrow")
duckdb = pytest.importorskip("duckdb")

AS_OF = 2026
STOCK = Path(__file__).parents[2] / "data" / "stock.csv"
PIECES = pd.DataFrame(
    {
        "id": ["a", "b", "c", "d"],
        "fibre": ["silk", None, "silk?", "poly/silk"],
        "hem": ["hand-rolled", "machine-rolled", None, "no such hem"],
        "width_cm": [90.0, None, 45.5, 120.0],
        "stitches_per_inch": pd.array([14, None, 8, 30], dtype="Int64"),
        "note": ["one", None, "<b>", "=1+1"],
    }
)
COLUMNS = ["year_from", "decade", "decade_probability", "not_read", "sentence"]
_RELATIONS = duckdb.connect()


def _relation(frame: pd.DataFrame) -> Any:
    return _RELATIONS.from_arrow(pyarrow.Table.from_pandas(frame))


KINDS: dict[str, tuple[Callable[[pd.DataFrame], Any], Callable[[Any], dict[str, list[Any]]]]] = {
    "polars": (polars.from_pandas, lambda out: out.to_dict(as_series=False)),
    "lazy polars": (
        lambda frame: polars.from_pandas(frame).lazy(),
        lambda out: out.collect().to_dict(as_series=False),
    ),
    "pyarrow": (pyarrow.Table.from_pandas, lambda out: out.to_pydict()),
    "DuckDB": (_relation, lambda out: pyarrow.table(out.to_arrow_table()).to_pydict()),
}


@pytest.mark.parametrize("kind", KINDS)
def test_answered_in_its_own_kind(kind: str) -> None:
    make, read = KINDS[kind]
    given = make(PIECES)
    answer = date_table(given, as_of=AS_OF, columns=COLUMNS)
    assert type(answer) is type(given)
    wanted = date_table(PIECES, as_of=AS_OF, columns=COLUMNS)
    found = read(answer)
    assert list(found) == COLUMNS
    for name in COLUMNS:
        assert found[name] == [None if pd.isna(cell) else cell for cell in wanted[name]], name


def test_a_relation_is_answered_within_its_connection() -> None:
    """So that the answer can be joined to what it was asked of, in the database where that is."""
    with duckdb.connect() as other:
        given = other.from_arrow(pyarrow.Table.from_pandas(PIECES))
        answer = date_table(given, as_of=AS_OF, columns=["median_year"])
        other.register("years", answer)
        assert other.sql("SELECT max(median_year) FROM years").fetchall() == [
            (date_table(PIECES, as_of=AS_OF)["median_year"].max(),)
        ]


def test_a_connection_that_takes_no_answer_is_told() -> None:
    with duckdb.connect(config={"python_enable_replacements": False}) as shut:
        given = shut.from_arrow(pyarrow.Table.from_pandas(PIECES))
        with pytest.raises(TableError, match="does not take the answer"):
            date_table(given, as_of=AS_OF)


@pytest.mark.parametrize("kind", KINDS)
def test_every_year_as_a_list(kind: str) -> None:
    make, read = KINDS[kind]
    answer = date_table(make(PIECES), as_of=AS_OF, columns=["year_probabilities"])
    _, years = date_table(PIECES, as_of=AS_OF, with_years=True, columns=["edtf"])
    assert np.array_equal(np.array(read(answer)["year_probabilities"]), years)


def test_every_year_as_a_list_in_a_file(tmp_path: Any) -> None:
    """Parquet keeps the lists; an open standard that many programs read."""
    answer = date_table(PIECES, as_of=AS_OF, columns=["edtf", "year_probabilities"])
    answer.to_parquet(tmp_path / "years.parquet")
    found = polars.read_parquet(tmp_path / "years.parquet")
    _, years = date_table(PIECES, as_of=AS_OF, with_years=True, columns=["edtf"])
    assert np.array_equal(np.array(found["year_probabilities"].to_list()), years)


def test_a_row_that_is_not_dated_has_no_years() -> None:
    answer = date_table(
        PIECES, as_of=AS_OF, on_error="collect", columns=["year_probabilities", "errors"]
    )
    assert answer["year_probabilities"].isna().tolist() == [False, False, False, True]


DTYPES: dict[str, Callable[[pd.DataFrame], pd.DataFrame]] = {
    "objects": lambda frame: frame.astype(object),
    "nullable": lambda frame: frame.convert_dtypes(),
    "categorical": lambda frame: frame.astype(dict.fromkeys(("fibre", "hem"), "category")),
    "numbers as categories": lambda frame: frame.astype({"width_cm": "category"}),
    "of arrow": lambda frame: frame.convert_dtypes(dtype_backend="pyarrow"),
    "single precision": lambda frame: frame.astype({"width_cm": "float32"}),
    "decimals": lambda frame: frame.assign(
        width_cm=[
            None if pd.isna(side) else decimal.Decimal(str(side)) for side in frame["width_cm"]
        ]
    ),
}


@pytest.mark.parametrize("dtypes", DTYPES)
def test_the_kind_of_a_column_changes_nothing(dtypes: str) -> None:
    wanted, years = date_table(PIECES, as_of=AS_OF, with_years=True)
    found, found_years = date_table(DTYPES[dtypes](PIECES), as_of=AS_OF, with_years=True)
    said = wanted.columns.difference(["sentence"]) if dtypes == "decimals" else wanted.columns
    pd.testing.assert_frame_equal(
        found[said], wanted[said]
    )  # a decimal is quoted as it was written
    assert np.array_equal(found_years, years)


@pytest.mark.parametrize(
    ("kind", "cells"),
    [
        ("categorical", polars.Series(["silk", None, "silk?", "poly/silk"], dtype=polars.Categorical)),
        ("decimals", polars.Series([decimal.Decimal("90.0"), None, decimal.Decimal("45.5"), decimal.Decimal(120)])),
        ("dates", polars.Series([datetime.date(2020, 1, 2), None, None, None])),
    ],
)  # fmt: skip
def test_columns_of_polars(kind: str, cells: Any) -> None:
    name = {"categorical": "fibre", "decimals": "width_cm", "dates": "note"}[kind]
    given = polars.from_pandas(PIECES).with_columns(cells.alias(name))
    answer = date_table(given, as_of=AS_OF)
    wanted = date_table(PIECES, as_of=AS_OF)
    assert answer["edtf"].to_list() == wanted["edtf"].tolist()
    assert (
        answer["not_read"].to_list()
        == wanted["not_read"].astype(object).where(wanted["not_read"].notna(), None).tolist()
    )
    assert answer["errors"].null_count() == 4


def test_what_is_no_table_is_refused() -> None:
    for given in (None, 3, "stock.csv", [1, 2], polars.Series([1])):
        with pytest.raises(TableError, match="relation of DuckDB is allowed, got"):
            date_table(given)  # type: ignore[call-overload]


def test_a_dataset_holds_what_each_piece_by_itself_says() -> None:
    """To the bit for the years of a table; to rounding for one piece, which is multiplied in another order."""
    xarray = pytest.importorskip("xarray")
    stock = pd.read_csv(STOCK, dtype=str, keep_default_na=False).set_index("id")
    found = date_dataset(stock, as_of=AS_OF, joint=True)
    assert isinstance(found, xarray.Dataset)
    _, years = date_table(stock, as_of=AS_OF, with_years=True)
    assert np.array_equal(found["year_probability"].to_numpy(), years)
    assert found["piece"].to_numpy().tolist() == stock.index.tolist()
    for given in ("year", "grade", "market"):
        total = found[f"{given}_probability"].sum(given)
        assert np.allclose(total, 1, rtol=0, atol=1e-12)
    together = found["probability"].sum("grade") - found["year_probability"]
    assert float(abs(together).max()) < 1e-12
    graded = found["probability"].sum("year") - found["grade_probability"]
    assert float(abs(graded).max()) < 1e-12
    one = stock.iloc[0]
    dating = date_scarf({name: cell for name, cell in one.items() if cell}, as_of=AS_OF)
    alone = found.sel(piece=one.name)
    assert np.allclose(alone["year_probability"], dating.probability, rtol=0, atol=1e-12)
    assert np.isclose(1 - alone["revival_probability"], dating.period_probability, atol=1e-12)
    assert found.attrs == {
        "channel": "thrift", "as_of": AS_OF, "priors_hash": dating.priors_hash,
    }  # fmt: skip


def test_a_dataset_of_one_piece_and_of_none() -> None:
    assert date_dataset(PIECES.iloc[:1], as_of=AS_OF).sizes["piece"] == 1
    assert date_dataset(PIECES.iloc[:0], as_of=AS_OF).sizes["piece"] == 0


def test_a_dataset_is_refused_as_a_table_is() -> None:
    with pytest.raises(ScarfdateError, match="is allowed, got"):
        date_dataset(3)
    with pytest.raises(ScarfdateError, match="unit"):
        date_dataset(PIECES, unit="furlong")


def test_of_many_rows_that_cannot_be_read_a_hundred_are_told_and_how_many_more() -> None:
    bad = pd.DataFrame({"fibre": ["silk", *["moonbeams"] * 104, "wool"]})
    with pytest.raises(TableError) as refusal:
        date_table(bad, on_error="raise", as_of=AS_OF)
    first, *rows, last = str(refusal.value).splitlines()
    assert first == "104 rows of 106 cannot be read:" and last == "  and 4 more"
    assert [row.split(":")[0] for row in rows] == [f"  row {number}" for number in range(2, 102)]
    assert all("'moonbeams'" in row for row in rows)
    with pytest.raises(
        ScarfdateError, match="on_error: 'leave-out', 'collect' or 'raise' is allowed, got 'skip'"
    ):
        date_table(bad, on_error="skip", as_of=AS_OF)  # type: ignore[call-overload]


def test_in_a_dataset_a_cell_that_cannot_be_read_costs_itself_alone() -> None:
    """And a column that is nobody's costs nothing."""
    frame = pd.DataFrame({"fibre": ["moonbeams", "silk"], "hem": "overlocked", "paid": [3, 4]})
    found = date_dataset(frame, as_of=AS_OF)["year_probability"].to_numpy()
    alone = date_scarf({"hem": "overlocked"}, as_of=AS_OF).probability
    np.testing.assert_allclose(found[0], alone, atol=1e-12)
    assert np.abs(found[1] - alone).max() > 1e-4
