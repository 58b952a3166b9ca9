"""A sheet with asking prices as a buying list."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scarfdate import (
    ScarfdateError,
    TableError,
    appraise,
    appraise_lot,
    appraise_table,
    load_priors,
    read_book,
    simulate,
)
from tests.worth.stated import REFERENCE, prices
from tests.worth.test_appraise import COSTS, PRICES

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def box() -> pd.DataFrame:
    return pd.read_csv(ROOT / "data" / "box.csv", dtype=str, keep_default_na=False)


def listed(frame: pd.DataFrame, **more: object) -> pd.DataFrame:
    return appraise_table(frame, **({"costs": COSTS, "prices": PRICES, "as_of": 2026} | more))  # type: ignore[arg-type]


@pytest.mark.parametrize("cell", ["12 GBP", "£12", "$12"])
def test_money_of_another_currency_costs_its_cell(cell: str) -> None:
    found = listed(
        pd.DataFrame({"id": ["a", "b"], "fibre": ["silk"] * 2, "asked_price": ["9 EUR", cell]})
    )
    found = found.set_index("id")
    assert found["asked"]["a"] == 9 and np.isnan(found["asked"]["b"])
    assert found["advice"]["b"] == "offer" and "nothing is converted" in found["not_read"]["b"]


def test_a_sheet_in_another_currency_is_refused_by_both_names() -> None:
    """By the sign in the cell or by the column beside it; prices of no stated currency say that."""
    in_words = pd.DataFrame({"fibre": ["silk", "silk"], "asked_price": ["", "12 GBP"]})
    beside = pd.DataFrame({"fibre": ["silk"], "asked_price": [9], "sold_currency": ["GBP"]})
    for frame, row in ((in_words, 2), (beside, 1)):
        with pytest.raises(
            TableError, match=f"row {row}: a price in GBP, .* learned are in EUR; nothing"
        ):
            listed(frame)
    unsaid = prices(reference=replace(REFERENCE, currency=""))
    with pytest.raises(TableError, match="in GBP, .* learned are in no currency that is stated"):
        listed(beside, prices=unsaid, costs=None)


def test_a_row_of_several_pieces_is_counted_or_told() -> None:
    frame = pd.DataFrame({"id": ["a", "b"], "fibre": ["polyester", "silk"], "qty": ["10", "1"]})
    lot = appraise_lot(frame, 35, prices=prices(), as_of=2026)
    assert len(lot.ids) == 11 and lot.ids.count("a") == 10
    assert (
        lot.gains.sum()
        > 5 * appraise_lot(frame[["id", "fibre"]], 35, prices=prices(), as_of=2026).gains[0].sum()
    )
    assert "1 row is more than one piece, by quantity: 11 pieces in all." in str(lot)
    told = listed(frame.assign(asked_price=3)).set_index("id")["not_read"]
    assert "10 pieces in one row" in told["a"] and pd.isna(told["b"])
    named = appraise_lot(
        frame.assign(id=["poly x3", "silk 90 x 90"]).drop(columns="qty"),
        prices=prices(),
        as_of=2026,
    )
    assert [*named.not_read] == [0] and "may be several pieces" in named.not_read[0][0]
    bad = appraise_lot(frame.assign(qty=["some", ""]), prices=prices(), as_of=2026)
    assert len(bad.ids) == 2 and "quantity: a number of pieces" in bad.not_read[0][0]
    sold = frame.assign(sold_price="5 EUR")
    assert "a row of a book is one piece" in read_book(sold, as_of=2026).left_out["reason"][0]


def test_what_cannot_be_read_of_a_row_is_left_out_and_named() -> None:
    """A word that no clue knows, a price below nothing and a fault nobody knows: the rest of the row is appraised."""
    frame = pd.DataFrame(
        {
            "id": ["a", "b"], "fibre": ["silk", "gzorp"], "motif": ["granite", "dots"], "asked_price": [-3, 9],
            "condition": ["hole, gzorp", ""],
        }
    )  # fmt: skip
    found = listed(frame).set_index("id")
    assert found["advice"]["a"] == "offer" != found["advice"]["b"]
    left = found["not_read"]["a"]
    assert "asked_price: " in left and "condition: " in left and "gzorp" in left
    alone = listed(pd.DataFrame({"id": ["b"], "motif": ["dots"], "asked_price": [9]}))
    assert found["sells_for"]["b"] == alone["sells_for"][0]


def test_one_more_look_is_asked_of_each_piece_as_of_one_alone(box: pd.DataFrame) -> None:
    """The advice and the words of the look are those of `appraise`; of what is not asked of all it is told."""
    found = listed(box)
    for place, row in zip(found.index, found.to_dict("records"), strict=True):
        cells = {n: c for n, c in box.iloc[place].items() if c and n not in ("condition", "asked_price", "sold_currency")}  # fmt: skip
        one = appraise(cells, row["asked"], COSTS, PRICES, condition=box.iloc[place]["condition"], as_of=2026)  # fmt: skip
        assert one.advice == row["advice"], row["id"]
        assert pd.isna(row["look"]) == (one.look is None)
        assert one.look is None or row["look"] in str(one)
    assert "look first" in set(found["advice"])
    many = listed(pd.concat([box] * 4, ignore_index=True).assign(id=[f"p{n}" for n in range(120)]))
    assert any("the first 100 pieces only" in note for note in many.attrs["notes"])
    assert not any("one more look" in note for note in found.attrs["notes"])


def test_it_is_sorted_by_expected_profit_and_says_what_one_piece_says(box: pd.DataFrame) -> None:
    found = listed(box)
    assert found["expected_profit"].is_monotonic_decreasing and len(found) == 30
    for place in (0, 7, 29):
        row = found.iloc[place]
        cells = box.iloc[found.index[place]]
        clues = {
            n: c
            for n, c in cells.items()
            if c and n not in ("condition", "asked_price", "sold_currency")
        }
        one = appraise(clues, row["asked"], COSTS, PRICES, condition=cells["condition"], as_of=2026)
        assert row["pay_at_most"] == pytest.approx(one.limit)
        low, high = one.profit().interval()
        assert (row["profit_low"], row["profit_high"]) == pytest.approx((low, high))
        low, high = one.price.interval()
        assert (row["sells_for_low"], row["sells_for_high"]) == pytest.approx((low, high))
        assert row["sells_for"] == pytest.approx(one.price.median)
        assert row["expected_profit"] == pytest.approx(one.profit().expected)
        assert row["loss_probability"] == one.profit().loss_probability
        assert row["sells_for"] == pytest.approx(one.price.median)
    assert list(found) == [
        "id", "advice", "asked", "pay_at_most", "sells_for", "sells_for_low", "sells_for_high",
        "expected_profit", "profit_low", "profit_high", "loss_probability", "not_read", "look",
    ]  # fmt: skip
    buys = found["advice"] == "buy"
    assert (found["asked"] <= found["pay_at_most"])[buys].all()


def test_the_order_of_rows_and_twins_does_not_matter(
    box: pd.DataFrame, rng: np.random.Generator
) -> None:
    twins = pd.concat([box, box.assign(id="Y" + box["id"])], ignore_index=True)
    found = listed(twins)
    again = listed(twins.iloc[rng.permutation(len(twins))])
    pd.testing.assert_frame_equal(found, again)
    half = len(found[found["id"].str.startswith("Y")])
    assert (
        half == 30
        and found["expected_profit"].nunique() == listed(box)["expected_profit"].nunique()
    )


def test_pieces_without_a_price_come_last_and_bad_cells_are_named(box: pd.DataFrame) -> None:
    frame = box.copy()
    frame.loc[[3, 4, 5], "asked_price"] = ["", "-7", "ask me"]
    frame.loc[6, "condition"] = "gremlins everywhere"
    found = listed(frame)
    assert set(found.index[-3:]) == {3, 4, 5} and (found["advice"][-3:] == "offer").all()
    assert found["expected_profit"][-3:].isna().all() and found["pay_at_most"].notna().all()
    left = found["not_read"]
    assert (
        pd.isna(left[3])
        and "amount below 0" in left[4]
        and "not a price" in left[5]
        and "gremlins" in left[6]
    )
    assert left.notna().sum() == 3


def test_notes_say_what_holds_for_every_row(box: pd.DataFrame) -> None:
    found = listed(box, prices=prices(invented=True), costs=None)
    assert len(found.attrs["notes"]) == 2 and "invented" in found.attrs["notes"][1]
    assert listed(box).attrs["notes"] == []


def test_other_libraries_get_their_own(box: pd.DataFrame) -> None:
    polars = pytest.importorskip("polars")
    found = listed(polars.from_pandas(box))
    assert (
        isinstance(found, polars.DataFrame) and found["id"].to_list() == listed(box)["id"].tolist()
    )


@pytest.mark.parametrize("how", ["currency", "none"])
def test_what_holds_for_no_row_is_refused(box: pd.DataFrame, how: str) -> None:
    frame = box.assign(sold_currency="USD") if how == "currency" else box[:0]
    with pytest.raises(
        ScarfdateError, match="pieces: there are none" if how == "none" else "a price in USD"
    ):
        listed(frame)


@pytest.mark.slow
def test_ten_thousand_in_twenty_seconds_and_one_in_five_milliseconds() -> None:
    """On one core; by the time the process worked, for others may be at work beside it."""
    frame = simulate(load_priors(), 10_000, np.random.default_rng(1), as_of=2026).frame()
    frame["asked_price"] = "10"
    started = time.process_time()
    assert len(listed(frame)) == 10_000
    assert time.process_time() - started < 20
    scarves = [{"hem": "hand-rolled", "fibre": "silk", "width_cm": 60 + n} for n in range(40)]
    each = []
    for _ in range(5):
        started = time.process_time()
        for scarf in scarves:
            appraise(scarf, 9, COSTS, PRICES, as_of=2026)
        each.append((time.process_time() - started) / len(scarves))
    assert min(each) < 0.005
