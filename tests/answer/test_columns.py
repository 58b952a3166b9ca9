"""`date_table(columns=[...])`: just what is asked for, the same as among all the rest."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from scarfdate import TableError, date_table
from scarfdate.answer import date as date_module
from scarfdate.answer.date import COLUMNS

STOCK = pd.read_csv(Path(__file__).parents[2] / "data" / "stock.csv")
AS_OF = 2026


@pytest.mark.parametrize("name", COLUMNS)
def test_one_column_is_that_of_the_whole_answer(name: str) -> None:
    whole = date_table(STOCK, as_of=AS_OF)
    one = date_table(STOCK, as_of=AS_OF, columns=[name])
    assert list(one) == [name]
    pd.testing.assert_series_equal(one[name], whole[name], rtol=1e-9)


def test_in_the_order_asked_for_and_with_the_years() -> None:
    wanted = ["decade", "year_to", "year_from"]
    one, years = date_table(STOCK, as_of=AS_OF, columns=wanted, with_years=True)
    assert list(one) == wanted and years.shape == (len(STOCK), 147)
    pd.testing.assert_frame_equal(one, date_table(STOCK, as_of=AS_OF)[wanted])


def test_what_nobody_asked_for_is_not_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    def no(*_: object, **__: object) -> None:
        raise AssertionError("the whole posterior was worked out")

    monkeypatch.setattr(date_module, "posterior", no)
    date_table(STOCK, as_of=AS_OF, columns=["year_from", "median_year", "edtf"])
    with pytest.raises(AssertionError, match="whole posterior"):
        date_table(STOCK, as_of=AS_OF, columns=["sentence"])


def test_a_bad_row_is_blank_and_can_still_be_raised() -> None:
    bad = pd.DataFrame({"fibre": ["silk", "moonbeams"]})
    assert date_table(bad, columns=["decade"])["decade"].notna().all()
    blank = date_table(bad, columns=["decade"], on_error="collect")
    assert blank["decade"].isna().tolist() == [False, True]
    with pytest.raises(TableError, match="moonbeams"):
        date_table(bad, columns=["decade"], on_error="raise")


@pytest.mark.parametrize("columns", ["decade", ["decad"], [7], 3])
def test_no_such_column(columns: object) -> None:
    with pytest.raises(TableError, match="columns: "):
        date_table(STOCK, columns=columns)  # type: ignore[arg-type]
