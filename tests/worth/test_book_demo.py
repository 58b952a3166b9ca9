"""The invented dealer's book and box: made again, read, and held against the answers."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from notebooks import book_world as world
from scarfdate import Book, date_table, read_book
from tests.demo import make_book


@pytest.fixture(scope="module")
def book() -> Book:
    return read_book(make_book.BOOK, closed_on=make_book.CLOSED, as_of=make_book.AS_OF)


@pytest.fixture(scope="module")
def answers() -> pd.DataFrame:
    return pd.read_csv(make_book.BOOK_ANSWERS, keep_default_na=False).set_index("id")


def test_the_files_are_those_that_the_maker_makes() -> None:
    """If tables or drawing were changed on purpose: ``python -m tests.demo.make_book`` makes them anew."""
    pieces, boxed = make_book.book(), make_book.box()
    for file, text in (
        (make_book.BOOK, make_book.book_table(pieces)), (make_book.BOOK_ANSWERS, make_book.answer_table(pieces)),
        (make_book.BOX, make_book.box_table(boxed)), (make_book.BOX_ANSWERS, make_book.answer_table(boxed)),
    ):  # fmt: skip
        assert file.read_bytes() == text.encode("utf-8"), file.name


def test_all_of_it_is_read_but_the_slips(book: Book) -> None:
    assert len(book) + len(book.left_out) == make_book.ROWS
    assert (
        book.left_out["kind"].tolist() == ["contradictory"] * 3
    )  # days of putting out and of sale exchanged
    assert book.currency == "EUR"
    assert book.closed_on == make_book.CLOSED
    assert (book.sales["sold"] & book.sales["price"].isna()).sum() == 3  # prices in words
    readme = (make_book.ROOT / "data/README.md").read_text(encoding="utf-8")
    assert f"{len(book)} pieces, sold and unsold" in readme
    assert f"for {make_book.BOX_PRICE} euros" in readme


def test_prices_and_days_are_those_of_the_scenario(book: Book, answers: pd.DataFrame) -> None:
    sales = book.sales.set_index("id")
    true = answers.loc[sales.index]
    sold = sales["sold"] & sales["price"].notna() & (true["worth"] > 3)
    off = np.log(sales["price"][sold] / true["worth"][sold].astype(float))
    assert off.max() < 0.09  # to half a euro
    assert off.median() == pytest.approx(0, abs=0.01)
    assert (sales["price"][sold] <= sales["asked"][sold].fillna(math.inf)).all()
    luck = np.log(true["worth"][sold].astype(float)) - true["log_fair"][sold]
    expected = world.SPREAD * math.sqrt(world.TAILS / (world.TAILS - 2))
    assert luck.std() == pytest.approx(expected, rel=0.15)
    timed = sales["sold"] & sales["days"].notna()
    np.testing.assert_array_equal(sales["days"][timed], true["days"][timed].astype(float))
    waits = ~sales["sold"] & sales["days"].notna()
    assert (sales["days"][waits] < true["days"][waits].astype(float)).all()


def test_the_datings_do_not_know_the_answers_and_yet_hold_them(
    book: Book, answers: pd.DataFrame
) -> None:
    dated = date_table(book.clues, as_of=make_book.AS_OF, columns=["year_from", "year_to"])
    year = answers.loc[book.sales["id"], "year"].to_numpy()
    inside = (dated["year_from"].to_numpy() <= year) & (year <= dated["year_to"].to_numpy())
    assert 0.74 <= inside.mean() <= 0.87  # 80 % intervals


def test_the_box_has_thirty_pieces_with_what_is_asked_for_each() -> None:
    box = pd.read_csv(make_book.BOX, dtype=str, keep_default_na=False)
    assert len(box) == make_book.IN_BOX == 30
    assert (box["asked_price"].astype(float) > 0).all()
    assert set(box["sold_currency"]) == {"EUR"}
    assert box["condition"].ne("").sum() >= 20
    dated = date_table(
        box.drop(columns=["condition", "asked_price", "sold_currency"]), as_of=make_book.AS_OF
    )
    assert dated["not_read"].isna().all()
