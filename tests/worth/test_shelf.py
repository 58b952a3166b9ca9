"""What sells: numbers, days and margins by kind, and the pieces that have hung too long."""

from __future__ import annotations

import copy
import math
import pickle

import matplotlib
import numpy as np
import pandas as pd
import pytest

from scarfdate import Book, ScarfdateError, Shelf, date_table, load_priors, read_book, shelf
from scarfdate.worth.kinds import by_fibre
from scarfdate.worth.margin import margin
from scarfdate.worth.waiting import waiting
from tests.demo import make_book

matplotlib.use("Agg")
BY = ("decade", "fibre", "maker", "price")


@pytest.fixture(scope="module")
def book() -> Book:
    return read_book(make_book.BOOK, closed_on=make_book.CLOSED, as_of=make_book.AS_OF)


@pytest.fixture(scope="module")
def sells(book: Book) -> Shelf:
    return shelf(book, as_of=make_book.AS_OF)


def small(**changed: object) -> Book:
    rows = {
        "id": list("abcdef"), "fibre": ["silk"] * 4 + ["wool"] * 2, "maker": ["Perriquelle", "perriquelle"] + [None] * 4,
        "costs": [4, 5, 15, 2, 1, 1], "asked_price": [12, 20, 30, 9, 5, 6],
        "sold_price": [10, 20, 30, None, 5, None], "listed_on": ["2024-01-01"] * 6,
        "sold_on": ["2024-01-11", "2024-01-31", "2024-03-01", None, "2024-02-01", None],
    }  # fmt: skip
    return read_book(pd.DataFrame(rows | changed, dtype=object), as_of=2026)


# ------------------------------------------------------------------------------ by hand


def test_numbers_margin_and_days_by_hand() -> None:
    """Silk: 60 taken, 24 paid: 60 % is left. The residuals of the ratio are 0, 3 and -3, so that its standard error
    is sqrt(3/2 * 18) / 60 = 0.0866, and t of 2 degrees of freedom at 0.9 is 1.8856: 0.4367 to 0.7633."""
    silk = shelf(small()).by("fibre").iloc[0]
    assert (silk["kind"], silk["bought"], silk["sold"], silk["unsold"]) == ("silk", 4, 3, 1)
    assert silk["margin"] == pytest.approx(0.6)
    assert (silk["margin_from"], silk["margin_to"]) == pytest.approx((0.4367, 0.7633), abs=1e-4)
    # sold after 10, 30 and 60 days, one unsold at 60: three quarters, a half, then a quarter left
    assert silk["days"] == 30


def test_a_margin_of_one_piece_has_no_interval_and_of_none_is_none() -> None:
    assert margin(np.array([10.0]), np.array([4.0])) == pytest.approx(0.6)
    assert math.isnan(margin(np.array([10.0]), np.array([4.0]), 0.1))
    assert math.isnan(margin(np.zeros(0), np.zeros(0)))
    two = [margin(np.array([10.0, 20.0]), np.array([4.0, 5.0]), sure) for sure in (0.1, 0.5, 0.9)]
    # residuals of -1 and 1, so that the standard error is 2 / 30; t of one degree of freedom at 0.9 is 3.0777
    assert two == pytest.approx([0.7 - 3.0777 * 2 / 30, 0.7, 0.7 + 3.0777 * 2 / 30], abs=1e-4)


def test_what_came_back_is_neither_sold_nor_counted_in_the_margin() -> None:
    table = shelf(small(returned=["yes", "no", "no", None, "no", None])).by("fibre")
    silk = table.iloc[0]
    assert (silk["sold"], silk["returned"], silk["unsold"]) == (2, 1, 1)
    assert silk["margin"] == pytest.approx(1 - 20 / 50)
    assert silk["days"] == 30  # it did sell, and after as many days


def test_a_fibre_in_doubt_is_shared_out_over_what_it_may_be() -> None:
    priors = load_priors()
    noted = ["silk or wool", "silk?", "not silk", "gzorp", None, "silk"]
    found = by_fibre(small(fibre=noted), priors)
    of = {name: found.shares[:, place] for place, name in enumerate(found.names)}
    np.testing.assert_allclose(of["silk"], [0.5, 0.7, 0, 0, 0, 1])
    others = len(found.names) - 2
    np.testing.assert_allclose(of["wool"][:2], [0.5, 0.3 / others])
    np.testing.assert_allclose(of["not noted"], [0, 0, 0, 1, 1, 0])
    np.testing.assert_allclose(found.shares.sum(axis=1), 1)
    # by a wider word, as usual as each of them is
    usual = dict(zip(priors.vocabulary.values["fibre"], priors.usual_shares["fibre"], strict=True))
    assert of["wool"][2] == pytest.approx(usual["wool"] / (sum(usual.values()) - usual["silk"]))
    assert found.largest == ["silk", "silk", found.largest[2], "not noted", "not noted", "silk"]


def test_too_few_are_said_to_be_too_few() -> None:
    wool = shelf(small()).by("fibre").iloc[1]
    assert (wool["bought"], wool["sold"]) == (2, 1)
    assert math.isnan(wool["days"])
    assert math.isnan(wool["margin"])
    assert "too few to say" in str(shelf(small()))


def test_spellings_of_a_maker_are_one() -> None:
    makers = shelf(small()).by("maker")
    assert dict(zip(makers["kind"], makers["bought"], strict=True)) == {
        "Perriquelle": 2,
        "no name on it": 4,
    }


def test_a_fibre_in_doubt_is_shared_out() -> None:
    table = (
        shelf(small(fibre=['{"silk": 0.75, "wool": 0.25}'] * 4 + ["wool", None]))
        .by("fibre")
        .set_index("kind")
    )
    assert table.loc["silk", "bought"] == pytest.approx(3)
    assert table.loc["wool", "bought"] == pytest.approx(2)
    assert table.loc["not noted", "bought"] == 1


# ----------------------------------------------------------------------- the demonstration book


def test_every_piece_is_counted_once_in_each_way(book: Book, sells: Shelf) -> None:
    for by in BY:
        table = sells.by(by)
        assert table["bought"].sum() == pytest.approx(
            len(book), abs=2
        )  # kinds of less than half a piece
        np.testing.assert_allclose(
            table["bought"], table["sold"] + table["returned"] + table["unsold"]
        )
    assert sells.by("maker")["bought"].sum() == len(book)


def test_decades_share_pieces_as_their_datings_do(book: Book, sells: Shelf) -> None:
    _, chance = date_table(book.clues, as_of=make_book.AS_OF, columns=["edtf"], with_years=True)
    decades = sells.by("decade").set_index("kind")
    sixties = chance[:, 1960 - 1880 : 1970 - 1880].sum(axis=1)
    assert decades.loc["1960s", "bought"] == pytest.approx(sixties.sum())
    unsold = ~book.sales["sold"].to_numpy()
    assert decades.loc["1960s", "unsold"] == pytest.approx(sixties[unsold].sum())


def test_days_of_a_whole_kind_are_those_of_kaplan_and_meier(book: Book, sells: Shelf) -> None:
    unnamed = book.clues["maker"].isna().to_numpy()
    curve = waiting(book.sales["days"].to_numpy()[unnamed], book.sales["sold"].to_numpy()[unnamed])
    row = sells.by("maker").set_index("kind").loc["no name on it"]
    assert (row["days"], row["days_from"], row["days_to"]) == (
        curve.day(),
        curve.day(sure=0.1),
        curve.day(sure=0.9),
    )


def test_intervals_hold_the_middle_and_widen_with_the_level(book: Book, sells: Shelf) -> None:
    table = sells.table.dropna(subset=["days", "margin"])
    assert (table["days_from"] <= table["days"]).all()
    assert (table["days"] <= table["days_to"]).all()
    assert table["margin"].between(table["margin_from"], table["margin_to"]).all()
    some = book.take(np.arange(80))
    wide, narrow = (
        shelf(some, as_of=make_book.AS_OF, level=level).by("price") for level in (0.95, 0.8)
    )
    assert (
        wide["margin_to"] - wide["margin_from"] > narrow["margin_to"] - narrow["margin_from"]
    ).all()
    assert (wide["days_to"] >= narrow["days_to"]).all()


def test_dear_pieces_hang_longer_as_they_were_made_to(sells: Shelf) -> None:
    """In the scenario what is asked above its worth hangs longer; asked more is often that."""
    price = sells.by("price").set_index("kind").drop("not noted", errors="ignore")
    assert price["days"].iloc[-1] > price["days_to"].iloc[0]


def test_what_has_hung_too_long_has_outlasted_nine_in_ten(book: Book, sells: Shelf) -> None:
    hung = sells.hung
    assert 3 <= len(hung) <= 30
    assert (hung["longer_than"] >= 0.9).all()
    assert (hung["longer_from"] <= hung["longer_than"]).all()
    assert (hung["longer_than"] <= hung["longer_to"]).all()
    assert hung["days"].is_monotonic_decreasing
    assert (hung["pieces"] >= 20).all()
    unsold = book.sales[~book.sales["sold"]].set_index("id")
    assert set(hung["id"]) <= set(unsold.index)
    one = hung[hung["kind"] == "asked up to 8.50"].iloc[0]
    # the band is that of the price asked, or else got
    price = book.sales["asked"].fillna(book.sales["price"])
    like = ((price <= 8.50) & book.sales["days"].notna()).to_numpy()
    assert like.sum() == one["pieces"]
    curve = waiting(book.sales["days"].to_numpy()[like], book.sales["sold"].to_numpy()[like])
    assert one["longer_than"] == pytest.approx(1 - curve.left(one["days"]))


def test_the_order_of_rows_never_matters(book: Book) -> None:
    order = np.random.default_rng(3).permutation(80)
    one, other = (
        shelf(book.take(places), as_of=make_book.AS_OF) for places in (np.arange(80), order)
    )
    pd.testing.assert_frame_equal(one.table, other.table)
    pd.testing.assert_frame_equal(one.hung, other.hung)


# -------------------------------------------------------------------------------- how it is shown


def test_it_prints_and_says_the_same_after_a_copy(sells: Shelf) -> None:
    text = str(sells)
    assert "597 pieces: 473 sold (27 came back), 124 unsold on 2026-09-30; money in EUR" in text
    assert "half sold after" in text
    assert "hung longer than nine in ten of their kind" in text
    for again in (pickle.loads(pickle.dumps(sells)), copy.deepcopy(sells)):
        assert str(again) == text
        assert again._repr_html_() == sells._repr_html_()
    assert max(map(len, text.splitlines())) <= 100


def test_names_that_people_wrote_are_escaped() -> None:
    html = shelf(small(maker=["<script>alert(1)</script>"] * 6))._repr_html_()
    assert "<script" not in html


@pytest.mark.parametrize("by", ["decade", "price"])
def test_the_plot_shows_each_kind(sells: Shelf, by: str) -> None:
    import matplotlib.pyplot as plt

    ax = sells.plot(by)
    kinds = [label.get_text() for label in ax.get_yticklabels()]
    assert kinds == sells.by(by)["kind"].tolist()
    dots = [line for line in ax.lines if line.get_marker() == "o"]
    assert len(dots) == np.isfinite(sells.by(by)["days"]).sum()
    _, own = plt.subplots()
    assert sells.plot(by, ax=own) is own
    plt.close("all")


def test_what_is_no_book_or_no_way_is_refused(sells: Shelf) -> None:
    with pytest.raises(ScarfdateError, match="read_book"):
        shelf(pd.DataFrame())  # type: ignore[arg-type]
    with pytest.raises(ScarfdateError, match="did you mean 'decade'"):
        sells.by("decades")
    with pytest.raises(ScarfdateError, match="level"):
        shelf(small(), level=2)


def test_a_book_without_clues_or_days_is_still_a_shelf() -> None:
    bare = pd.DataFrame({"sold_price": ["5 EUR", "7 EUR"]})
    sells = shelf(read_book(bare, as_of=2026))
    assert sells.by("fibre")["kind"].tolist() == ["not noted"]
    assert sells.by("decade").empty  # of no decade is there half a piece
    assert not len(sells.hung)
    assert "too few to say" in str(sells)


@pytest.mark.statistical
def test_four_in_five_intervals_hold_the_true_margin() -> None:
    """4000 books of 40 sold pieces: prices log-normal, 40 % of them paid on average, with a spread."""
    rng = np.random.default_rng(11)
    price = np.exp(rng.normal(3, 0.6, (4000, 40)))
    paid = price * rng.uniform(0.1, 0.7, (4000, 40))
    ends = [(margin(a, b, 0.1), margin(a, b, 0.9)) for a, b in zip(price, paid, strict=True)]
    assert 0.78 <= np.mean([low <= 0.6 <= high for low, high in ends]) <= 0.82


@pytest.mark.statistical
def test_intervals_of_shared_pieces_hold_the_true_days() -> None:
    """Twenty books of 60 pieces, each silk or wool by even chances, with exponential days of mean 100 counted at 250:
    what is not known of the kind widens the 80 % intervals, and 4 in 5 or more hold the median of 69 days."""
    rng, true, hits = np.random.default_rng(5), 100 * math.log(2), []
    for _ in range(20):
        days = rng.exponential(100, 60).round()
        rows = pd.DataFrame(
            {
                "fibre": ['{"silk": 0.5, "wool": 0.5}'] * 60,
                "listed_on": "2024-01-01",
                "sold_on": [pd.Timestamp("2024-01-01") + pd.Timedelta(days=d) if d < 250 else None for d in days],
                "sold_price": [10 if d < 250 else None for d in days],
            }
        )  # fmt: skip
        found = shelf(read_book(rows, currency="EUR", closed_on="2024-09-07", as_of=2026)).by(
            "fibre"
        )
        assert found["bought"].tolist() == pytest.approx([30, 30])
        hits += [
            low <= true <= high
            for low, high in zip(found["days_from"], found["days_to"], strict=True)
        ]
    assert np.mean(hits) >= 0.75
