"""A box at one price: what its pieces share is counted once, and which of them carry it."""

from __future__ import annotations

import copy
import pickle
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scarfdate import LotAppraisal, ScarfdateError, appraise_lot
from tests.worth.stated import REFERENCE, prices
from tests.worth.test_appraise import CHEAP, COSTS

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def box() -> pd.DataFrame:
    return pd.read_csv(ROOT / "data" / "box.csv", dtype=str, keep_default_na=False)


def lot(box: pd.DataFrame, price: object = None, **more: object) -> LotAppraisal:
    return appraise_lot(box, price, **({"costs": COSTS, "prices": prices(), "as_of": 2026} | more))  # type: ignore[arg-type]


def test_the_total_is_the_sum_of_what_is_worth_selling(box: pd.DataFrame) -> None:
    found = lot(box, 100)
    kept = found.gains.mean(axis=1) > 0
    assert 0 < kept.sum() < len(box) == 30
    np.testing.assert_allclose(found.gain.draws, found.gains[kept].sum(axis=0))
    assert found.profit().expected == pytest.approx(found.gain.expected - 100)
    assert found.profit(found.limit).loss_probability <= found.risk
    aside = [name for name, one in zip(found.ids, kept, strict=True) if not one]
    assert aside[0] in str(found).partition("Not worth the cost")[2]


def test_the_pieces_that_carry_it(box: pd.DataFrame) -> None:
    found = lot(box)
    frame = found.to_frame()
    best = frame["id"][: len(found.carried_by)].tolist()
    assert best == list(found.carried_by)
    assert frame["share"].sum() == pytest.approx(1)
    assert frame["share"][: len(best)].sum() >= 0.5 > frame["share"][: len(best) - 1].sum()


def test_what_pieces_share_makes_the_total_less_sure(box: pd.DataFrame) -> None:
    """The channel of sale, drawn for all at once, moves all prices together: a total with a wider spread than as
    many separate pieces have. With the channel stated and nothing else unknown, pieces are separate."""
    shared = {("base", ""): 3.2, ("channel", "fair"): 1.0, ("channel", "online"): -1.0}
    free = prices().stated(shared, sigma=0.3, reference=REFERENCE)
    together = lot(box, prices=free, costs=CHEAP)
    apart = lot(box, prices=free, costs=CHEAP, sale_channel="fair")

    def ratio(found: LotAppraisal) -> float:
        return float(found.gains.sum(axis=0).var() / found.gains.var(axis=1).sum())

    assert ratio(together) > 10 and ratio(apart) == pytest.approx(1, abs=0.35)


def test_like_pieces_of_a_lot_differ_in_what_nobody_noted() -> None:
    """Forty of the same: their residuals are forty, so that the total is surer than forty times one."""
    like = pd.DataFrame([{"fibre": "silk"}] * 40)
    found = lot(
        like, costs=CHEAP, prices=prices(days=None, sigma=0.8), sale_channel="fair", season=1
    )
    assert len(np.unique(found.prices[:, 0])) == 40
    apart = found.gains.var(axis=1).sum()
    assert found.gains.sum(axis=0).var() < 5 * apart < 40 * apart / 2


def test_of_what_is_not_worth_selling_nothing_is_named() -> None:
    found = lot(
        pd.DataFrame([{"fibre": "silk"}, {"fibre": "rayon"}]),
        costs={"currency": "EUR", "postage": 1e4},
    )
    assert found.carried_by == () and found.limit == 0
    assert "Half of that" not in str(found) and "selling costs more" in found.sentence
    assert found.to_frame()["share"].tolist() == [0, 0]


@pytest.mark.parametrize(("many", "ends"), [(6, "e, f."), (7, "f, g."), (8, "e, f and 2 more.")])
def test_six_are_named_or_seven(many: int, ends: str) -> None:
    """Pieces not worth their postage are listed by name: seven take no more room than six "and 1 more"."""
    names = pd.DataFrame({"id": [*"abcdefgh"[:many]], "fibre": "silk"})
    found = lot(names, costs={"currency": "EUR", "postage": 1e4})
    line = next(one for one in str(found).splitlines() if one.startswith("Not worth"))
    assert line.endswith(ends)


def test_the_order_of_rows_does_not_matter(box: pd.DataFrame, rng: np.random.Generator) -> None:
    found, other = lot(box, 90), lot(box.iloc[rng.permutation(len(box))], 90)
    assert str(found) == str(other)
    np.testing.assert_allclose(found.gain.draws, other.gain.draws)
    pd.testing.assert_frame_equal(found.to_frame(), other.to_frame())


def test_what_it_says(box: pd.DataFrame) -> None:
    limit = lot(box).limit
    assert lot(box).sentence.startswith("Bid up to")
    cheap, dear = lot(box, limit / 2), lot(box, limit * 4)
    assert cheap.sentence.startswith("Buy the lot at") and dear.sentence.startswith(
        "Leave the lot at"
    )
    assert "Bid up to" in dear.sentence
    assert "X23" in cheap._repr_html_() and max(map(len, str(cheap).splitlines())) < 250
    assert str(pickle.loads(pickle.dumps(cheap))) == str(copy.deepcopy(cheap)) == str(cheap)
    assert "invented" in str(lot(box, prices=prices(invented=True)))
    for n in (14, 22, 30):  # six are named, or seven: never six "and 1 more"
        some = lot(box.head(n), 100)
        named = str(some).partition("Half of that")[2].splitlines()[0]
        assert all(one in named for one in some.carried_by[:6])
        assert "and 1 more" not in str(some)


def test_a_dearer_sale_lowers_the_bid(box: pd.DataFrame) -> None:
    assert lot(box, costs=replace(COSTS, postage=9)).limit < lot(box).limit
    assert lot(box, risk=0.05).limit < lot(box, risk=0.4).limit


@pytest.mark.parametrize(
    ("price", "rows", "named"),
    [
        (-5, 30, "price: an amount below 0"),
        ("9 USD", 30, "price"),
        (9, 0, "pieces: there are none"),
    ],
)
def test_bad_input_is_refused_by_name(
    box: pd.DataFrame, price: object, rows: int, named: str
) -> None:
    with pytest.raises(ScarfdateError, match=named):
        lot(box[:rows], price)
