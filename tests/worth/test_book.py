"""A book of bought and sold pieces is read as it was written, and what cannot be true is refused by name."""

from __future__ import annotations

import copy
import datetime
import io
import math
import pickle
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate import Book, Condition, RangeError, ScarfdateError, TableError, date_table, read_book
from scarfdate.columns.names import SOLD

AS_OF = 2026
ROWS: dict[str, list[Any]] = {
    "id": ["a", "b", "c", "d"],
    "fibre": ["silk", "silk?", "cotton", None],
    "width_cm": [90, None, 60, 70],
    "height_cm": [90, None, 60, 70],
    "condition": ["2 small pulls near edge", None, None, "hole centre"],
    "bought_on": ["2024-01-01", "2024-01-02", "2024-02-01", None],
    "costs": ["5 €", "0 €", "6 €", None],
    "listed_on": ["2024-01-05", "2024-01-10", "2024-02-10", None],
    "asked_price": ["20 €", "30 €", "12 EUR", "9 EUR"],
    "sold_on": ["2024-02-01", None, "2024-03-05", None],
    "sold_price": ["18 €", None, "10 €", None],
    "sold_channel": ["stall", "shop", "stall", None],
    "returned": ["no", None, "yes", None],
    "price_index": [101.5, None, "102", None],
}


def frame(**changed: object) -> pd.DataFrame:
    return pd.DataFrame(ROWS | changed, dtype=object)


def read(**changed: object) -> Book:
    return read_book(frame(**changed), as_of=AS_OF)


def reasons(**changed: object) -> dict[int, str]:
    left_out = read(**changed).left_out
    return dict(zip(left_out["row"].tolist(), left_out["reason"].tolist(), strict=True))


# ------------------------------------------------------------------------- what is read


def test_a_book_says_what_its_rows_say() -> None:
    book = read()
    sales = book.sales
    assert (len(book), book.currency, book.closed_on) == (4, "EUR", datetime.date(2024, 3, 5))
    assert sales["id"].tolist() == ["a", "b", "c", "d"]
    assert sales["sold"].tolist() == [True, False, True, False]
    np.testing.assert_array_equal(sales["paid"], [5, 0, 6, math.nan])
    np.testing.assert_array_equal(sales["asked"], [20, 30, 12, 9])
    np.testing.assert_array_equal(sales["price"], [18, math.nan, 10, math.nan])
    # to the sale; to the latest day of the book where it is unsold; not known
    np.testing.assert_array_equal(sales["days"], [27, 55, 24, math.nan])
    assert sales["returned"].tolist()[:3:2] == [False, True]
    assert np.isnan(sales["returned"].tolist()[1])
    np.testing.assert_array_equal(sales["price_index"], [101.5, math.nan, 102, math.nan])
    assert sales["channel"].tolist() == ["stall", "shop", "stall", ""]
    assert book.conditions[1:3] == (None, None)
    assert book.conditions[0] == Condition(["2 small pulls near edge"])
    assert book.conditions[3] == Condition(["hole centre"])
    assert not len(book.left_out)


def test_clues_are_those_that_a_dating_takes() -> None:
    book = read(known=["1965", None, None, None], known_by=["receipt", None, None, None])
    assert set(book.clues) == {"fibre", "width_cm", "height_cm", "known", "known_by"}
    dated, without = (
        date_table(clues, as_of=AS_OF)
        for clues in (book.clues, book.clues.drop(columns=["known", "known_by"]))
    )
    assert dated["not_read"].isna().all()
    width = dated["year_to"] - dated["year_from"]
    assert width[0] < (without["year_to"] - without["year_from"])[0] / 2  # a known year is used


def test_a_book_is_read_from_files_streams_and_mapped_columns(tmp_path: Any) -> None:
    path = tmp_path / "book.csv"
    frame().to_csv(path, index=False)
    from_file = read_book(path, as_of=AS_OF)
    from_stream = read_book(io.BytesIO(path.read_bytes()), as_of=AS_OF)
    theirs = frame().rename(columns={"costs": "Ausgabe", "sold_price": "Einnahme"})
    mapped = {name: name for name in ROWS} | {"costs": "Ausgabe", "sold_price": "Einnahme"}
    from_map = read_book(theirs, columns=mapped, as_of=AS_OF)
    for book in (from_file, from_stream, from_map):
        pd.testing.assert_frame_equal(book.sales, read().sales)
    assert from_file.file_hash == from_stream.file_hash


def test_conditions_stand_in_words_or_in_columns_of_their_own() -> None:
    book = read(
        condition=["no faults", None, "gorgonzola", None],
        holes=[None, 2, None, None],
        Stains=[None, None, "no", None],
    )
    assert book.conditions[0] == Condition()
    assert [(one.kind, one.count) for one in book.conditions[1].faults] == [("hole", 2)]
    assert book.conditions[3] is None
    assert any("'gorgonzola' is not understood" in note for note in book.notes)
    assert not any("holes" in note or "Stains" in note for note in book.notes)


def test_usual_headings_are_read_without_a_map() -> None:
    headed = frame().rename(
        columns={
            "bought_on": "Date bought", "costs": "Paid", "listed_on": "Put out", "asked_price": "Asking price",
            "sold_on": "Sold", "sold_price": "Sold for", "sold_channel": "Channel", "condition": "Faults",
            "returned": "Came back",
        }
    )  # fmt: skip
    pd.testing.assert_frame_equal(read_book(headed, as_of=AS_OF).sales, read().sales)


def test_days_are_counted_to_the_day_of_the_count() -> None:
    book = read_book(frame(), closed_on="2024-04-01", as_of=AS_OF)
    np.testing.assert_array_equal(book.sales["days"], [27, 82, 24, math.nan])
    same = read_book(frame(), closed_on=datetime.date(2024, 4, 1), as_of=AS_OF)
    pd.testing.assert_frame_equal(book.sales, same.sales)


def test_days_that_are_stated_stand_where_no_day_is() -> None:
    book = read(days_to_sell=[None, "12", None, None], listed_on=[None, None, "2024-02-10", None],
                sold_price=["18 €", "25 €", "10 €", None])  # fmt: skip
    np.testing.assert_array_equal(book.sales["days"], [math.nan, 12, 24, math.nan])


def test_only_pieces_that_came_back_need_be_marked() -> None:
    book = read(returned=[None, None, "yes", None])
    assert book.sales["returned"].tolist()[0] is False
    assert np.isnan(book.sales["returned"].tolist()[1])  # unsold: nothing can have come back
    assert any("returned says yes and never no" in note for note in book.notes)


def test_a_bare_sign_is_the_currency_that_is_stated() -> None:
    amounts = {
        "costs": ["$5", None, "$6", None],
        "asked_price": [None] * 4,
        "sold_price": ["$18", None, "$10", None],
    }
    assert read(**amounts).currency == "$"
    assert read_book(frame(**amounts), currency="USD", as_of=AS_OF).currency == "USD"
    assert read(**amounts, sold_currency=["USD", None, None, None]).currency == "USD"


def test_money_that_states_no_currency_is_in_the_one_that_is_stated() -> None:
    book = read(sold_price=["18 €", None, "10", None])
    assert book.currency == "EUR" and book.sales["price"].tolist()[2] == 10
    assert any("without a currency (1 row, such as index 2) is taken to be in EUR" in note
               for note in book.notes)  # fmt: skip


@pytest.mark.parametrize(
    ("cell", "amount"),
    [("30,69 €", 30.69), ("1.250,00 €", 1250), ("£1,250.50", 1250.5), ("£6 + p&p", 6), ("6 £ plus postage", 6),
     ("12,50 zzgl. Versand", 12.5), ("18 € VB", 18), ("15 € hors port", 15), ("8,- € + sped.", 8)],
)  # fmt: skip
def test_money_as_people_write_it(cell: str, amount: float) -> None:
    money = {"costs": [None] * 4, "asked_price": [None] * 4, "sold_price": [cell, None, None, None]}
    book = read(**money)
    assert book.sales["price"][0] == amount
    assert not any("was not read" in note for note in book.notes)


@pytest.mark.parametrize(
    ("cell", "day"),
    [("24/12/2023", (2023, 12, 24)), ("12/24/2023", (2023, 12, 24)), ("26-01-2024", (2024, 1, 26)),
     ("17.09.2023", (2023, 9, 17)), ("01.12.23", (2023, 12, 1)), ("19. Mai 2023", (2023, 5, 19)),
     ("3. März 2023", (2023, 3, 3)), ("1er août 2023", (2023, 8, 1)), ("5 dicembre 2023", (2023, 12, 5)),
     ("Jun 2023", (2023, 6, 15)), ("Dezember 2023", (2023, 12, 15)), ("28/02/99", (1999, 2, 28))],
)  # fmt: skip
def test_days_as_people_write_them(cell: str, day: tuple[int, int, int]) -> None:
    blank = [None] * 4
    book = read(bought_on=[cell, *blank[1:]], listed_on=blank, sold_on=blank)
    assert book.sales["bought_on"][0] == pd.Timestamp(*day)
    assert any("no more than a month" in note for note in book.notes) == (day[2] == 15)


def test_one_day_above_12_shows_the_order_of_the_others() -> None:
    days = {"bought_on": ["3/4/2023", None, "24/12/2023", None], "listed_on": [None] * 4}
    book = read(**days)
    assert book.sales["bought_on"][0] == pd.Timestamp(2023, 4, 3)
    assert any("are read as day-month-year" in note for note in book.notes)
    split = read(**days | {"listed_on": [None, None, "12/25/2023", None]})  # they do not agree
    assert pd.isna(split.sales["bought_on"][0]) and split.sales["bought_on"][2] == pd.Timestamp(
        2023, 12, 24
    )


def test_a_month_alone_does_not_contradict_a_day_in_it() -> None:
    book = read(
        bought_on=["Jan 2024", None, None, None], listed_on=["2024-01-05", None, None, None]
    )
    assert len(book) == 4 and book.sales["bought_on"][0] == pd.Timestamp(2024, 1, 5)


def test_what_was_sold_stays_sold_where_its_day_and_price_cannot_be_read() -> None:
    cells = {"sold_on": ["3/4/2024", None, "2024-03-05", "in stock"],
             "sold_price": ["abt 20 the two", "verkauft", "10 €", "unverkauft"]}  # fmt: skip
    book = read(**cells)
    assert book.sales["sold"].tolist() == [True, True, True, False]
    assert any("counted as sold" in note and "(rows 1, 2" in note for note in book.notes)
    assert any("sold_price was not read" in note and "(row 1;" in note for note in book.notes)
    assert str(book).startswith("4 pieces: 3 sold, 1 unsold")


def test_a_row_of_totals_is_no_piece(tmp_path: Any) -> None:
    file = tmp_path / "book.csv"
    total = {"id": "Total", "costs": "11 €", "sold_price": "28 €", "sold_channel": "4 pieces"}
    pd.concat([frame(), pd.DataFrame([total])]).to_csv(file, index=False)
    book = read_book(file, as_of=AS_OF)
    assert len(book) == 4 and book.sales["price"].max() == 18
    assert any("line 6 holds totals, and is passed over" in note for note in book.notes)


# -------------------------------------------------------------------- what is refused, and how


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"sold_price": ["18 €", None, "10 GBP", None]}, "EUR .* and GBP .*index 2.*nothing is converted"),
        ({"costs": ["5 €", "0 €", "6 £", None]}, "EUR .* and £"),
        ({"sold_price": [None] * 4}, "no piece has the price of its sale; wanted is a column sold_price"),
        ({"sold_price": ["a cake"] * 4}, "no cell of sold_price is an amount above 0, such as 'a cake'"),
        ({"costs": [-5, -5, -5, -5]}, "no piece can be used: 4 contradictory"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_whole_book_is_named(changed: dict[str, object], named: str) -> None:
    with pytest.raises(TableError, match=named):
        read(**changed)


def test_a_currency_that_is_stated_stands_against_another_in_the_cells() -> None:
    with pytest.raises(TableError, match="EUR .* and GBP .stated for all"):
        read_book(frame(), currency="GBP", as_of=AS_OF)


@pytest.mark.parametrize(
    ("changed", "row", "named"),
    [
        ({"sold_price": ["-18 €", None, "10 €", None]}, 1, "sold_price is '-18 €', an amount below 0"),
        ({"costs": ["5 €", "0 €", "-6 €", None]}, 3, "costs is '-6 €', an amount below 0"),
        ({"asked_price": ["20 €", "-30 €", None, None]}, 2, "asked_price is '-30 €', an amount below 0"),
        ({"sold_on": ["2024-01-03", None, None, None]}, 1, "sold on 2024-01-03, before it was listed on 2024-01-05"),
        ({"listed_on": [None] * 4, "sold_on": ["2023-12-31", None, None, None]}, 1,
         "sold on 2023-12-31, before it was bought on 2024-01-01"),
        ({"listed_on": ["2023-06-01", None, None, None]}, 1, "listed on 2023-06-01, before it was bought"),
        ({"sold_on": ["2024-02-01", None, "2204-03-05", None]}, 3, "sold on 2204-03-05, which lies after"),
        ({"returned": ["no", "yes", "no", None]}, 2, "returned, but neither a day nor a price says"),
    ],
)  # fmt: skip
def test_a_contradiction_costs_its_row_and_is_named(
    changed: dict[str, object], row: int, named: str
) -> None:
    found = reasons(**changed)
    assert [*found] == [row]
    assert named in found[row]


def test_a_row_after_the_day_of_the_count_is_left_out() -> None:
    book = read_book(frame(), closed_on="2024-02-15", as_of=AS_OF)
    assert book.left_out["row"].tolist() == [3]
    assert "lies after 2024-02-15" in book.left_out["reason"][0]


@pytest.mark.parametrize(
    ("changed", "blank"),
    [
        ({"sold_price": ["a song", None, "10 €", None]}, "price"),
        ({"sold_on": ["3/4/2024", None, "2024-03-05", None]}, "sold_on"),
        ({"price_index": [-1, None, 102, None]}, "price_index"),
    ],
)  # fmt: skip
def test_a_cell_that_cannot_be_read_costs_the_cell(changed: dict[str, object], blank: str) -> None:
    book = read(**changed)
    assert len(book) == 4
    assert pd.isna(book.sales[blank][0])
    assert any(f"{next(iter(changed))} was not read" in note for note in book.notes)


def test_a_clue_that_cannot_be_read_is_named_and_costs_nothing_else() -> None:
    book = read(fibre=["silk", "unobtainium", "cotton", None])
    assert len(book) == 4
    assert any("unobtainium" in note and "left out" in note for note in book.notes)


def test_one_piece_is_one_row_unless_it_came_back() -> None:
    twice = pd.concat([frame(), frame().iloc[[1]]])
    book = read_book(twice, as_of=AS_OF)
    assert book.left_out["kind"].tolist() == ["duplicate"]
    nameless = read_book(
        twice.drop(columns="id"), as_of=AS_OF
    )  # two that were bought together, perhaps
    assert len(nameless) == 5
    assert any("counted as a piece of its own (row 5)" in note for note in nameless.notes)
    differ = reasons(id=["a", "a", "c", "d"])
    assert set(differ) == {1, 2}
    assert "id 'a' stands in rows 1, 2" in differ[1]
    again = read(id=["a", "c", "c", "d"])  # row 3 came back, and hangs again as row 2
    assert len(again) == 4


@pytest.mark.parametrize(
    ("more", "named"),
    [
        ({"currency": "euros"}, "currency: an ISO 4217 code"),
        ({"currency": 3}, "currency: an ISO 4217 code"),
        ({"closed_on": "3/4/2024"}, "closed_on: a date in a local order"),
        ({"closed_on": 7}, "closed_on: not a date"),
        ({"as_of": "now"}, "as_of"),
        ({"columns": {"sold_prize": "x"}}, "none of our columns"),
    ],
)  # fmt: skip
def test_arguments_are_refused_by_name(more: dict[str, Any], named: str) -> None:
    with pytest.raises(ScarfdateError, match=named):
        read_book(frame(), **more)


# --------------------------------------------------------------------------- what always holds


def test_the_order_of_rows_never_matters() -> None:
    rows = pd.concat([frame(), frame().iloc[[1]], frame(id=["e", "a", "f", "f"])])
    backwards = rows.iloc[::-1]
    one, other = (read_book(each, as_of=AS_OF) for each in (rows, backwards))
    first, second = (
        book.to_frame().drop(columns="row").sort_values(["id", "listed_on"], ignore_index=True)
        for book in (one, other)
    )
    pd.testing.assert_frame_equal(first, second)
    assert sorted(one.left_out["kind"]) == sorted(other.left_out["kind"])


def test_pieces_are_taken_by_place_or_mask() -> None:
    book = read()
    some = book.take([2, 0])
    assert some.sales["id"].tolist() == ["c", "a"]
    assert some.source_row.tolist() == [3, 1]
    assert some.conditions == (book.conditions[2], book.conditions[0])
    assert book.take(book.sales["sold"].to_numpy()).sales["id"].tolist() == ["a", "c"]
    assert book.take(np.zeros(4, dtype=bool)).sales.empty
    for wrong in ([4], [[0]], [0.5], np.zeros(3, dtype=bool)):
        with pytest.raises(RangeError, match="places"):
            book.take(wrong)


def test_a_book_says_the_same_after_a_copy() -> None:
    book = read()
    for again in (pickle.loads(pickle.dumps(book)), copy.deepcopy(book)):
        assert str(again) == str(book)
        pd.testing.assert_frame_equal(again.to_frame(), book.to_frame())
    assert str(book).startswith("4 pieces: 2 sold, 2 unsold on 2024-03-05; money in EUR")


CELLS = st.one_of(
    st.none(), st.floats(), st.integers(), st.booleans(), st.text(max_size=12), st.dates(), st.datetimes(),
    st.sampled_from(["5 €", "-3", "£4", "2024-01-01", "yes", "silk", "{", "nan", "1e999", "USD 7"]),
)  # fmt: skip


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(st.lists(CELLS, min_size=6, max_size=6), min_size=1, max_size=4),
    st.permutations([*SOLD, "fibre", "known"]),
)
def test_nothing_that_a_cell_can_hold_crashes(rows: list[list[object]], names: list[str]) -> None:
    table = pd.DataFrame(rows, columns=names[:6], dtype=object)
    try:
        book = read_book(table, as_of=AS_OF)
    except ScarfdateError as refusal:
        assert str(refusal)
        return
    sales = book.sales
    assert str(book)
    assert not (sales[["paid", "asked", "price", "days", "price_index"]] < 0).any(axis=None)
    assert sales["price"].notna().any()
