"""What must always hold of prices: samples against plain loops, refusals, saving, and what cannot change a price."""

from __future__ import annotations

import copy
import json
import pickle
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from scarfdate import Priors, RangeError, Scarf, ScarfdateError, WordError, appraise, load_priors
from scarfdate.conventions import GRADES
from scarfdate.worth.condition import Condition
from scarfdate.worth.learn_prices import asked_above, learn_prices, pooling_of, prices_of
from scarfdate.worth.pieces import Pieces, _by_decade, _given_cell
from scarfdate.worth.prices import Prices, load_prices
from scarfdate.worth.reference import Reference
from tests.demo import make_prices
from tests.worth.known_sales import known_pieces, known_sales
from tests.worth.simulated_sales import AS_OF

SEEN = {
    "fibre": "silk",
    "fibre_method": "label",
    "hem": "hand-rolled",
    "width_cm": 85,
    "height_cm": 85,
}


@pytest.fixture(scope="module")
def priors() -> Priors:
    return load_priors()


@pytest.fixture(scope="module")
def shipped() -> Prices:
    return load_prices()


@pytest.fixture(scope="module")
def known() -> Prices:
    effects = {
        ("base", ""): 3.0, ("size", ""): 0.4, ("condition", ""): 1.2, ("fibre", "silk"): 0.5,
        ("fibre", "polyester"): -0.4, ("hem", "hand-rolled"): 0.3, ("form", "shawl"): 0.2,
        ("grade", "fine"): 0.5,
    }  # fmt: skip
    effects |= {
        ("decade", str(year)): 0.6 - abs(year - 1950) / 60 for year in range(1880, 2030, 10)
    }
    days = {("base", ""): 4.0, ("asked", ""): 1.5}
    reference = Reference(currency="EUR", area=(8.5, 0.7), kept=(-0.4, 0.0), loss_spread=0.3)
    return Prices.stated(effects, sigma=0.3, nu=6.0, days=days, reference=reference)


def _samples(prices: Prices, seen: object, condition: object = None, **how: object) -> np.ndarray:
    pieces = Pieces.of(seen, condition, as_of=AS_OF)  # type: ignore[arg-type]
    return prices.samples(pieces, **how).log_price  # type: ignore[arg-type]


def test_the_mixture_over_years_is_that_of_a_plain_monte_carlo(
    known: Prices, priors: Priors
) -> None:
    """Decade and grade, then each value given them, then size, condition and residual: drawn one after the other."""
    pieces = Pieces.of({"palette": "pastel", "motif": "dots"}, None, priors, as_of=AS_OF)
    rng = np.random.default_rng(11)
    drawn = []
    for _ in range(6_000):
        cell = rng.choice(pieces.cells.shape[1], p=pieces.cells[0] / pieces.cells[0].sum())
        price = 3.0 + known.price.of("decade", str(pieces.decades[cell // len(GRADES)]))[0]
        price += known.price.of("grade", GRADES[cell % len(GRADES)])[0]
        for name, value in pieces.values.items():
            chance = value.chances[0, cell]
            price += known.price.of(name, rng.choice(value.words, p=chance / chance.sum()))[0]
        price += 0.4 * 0.7 * rng.normal() + 1.2 * rng.choice([-0.4, 0.0])
        drawn.append(price + 0.3 * rng.standard_t(6))
    ours = known.samples(pieces, n=20_000).log_price[0]
    at = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
    assert np.quantile(ours, at) == pytest.approx(np.quantile(drawn, at), abs=0.06)


def test_cells_are_those_of_the_dating(priors: Priors) -> None:
    from scarfdate import date_scarf

    pieces = Pieces.of(SEEN, None, priors, as_of=AS_OF)
    year = date_scarf(SEEN, priors=priors, as_of=AS_OF)
    decades = pd.Series(year.probability).groupby(np.asarray(year.years) // 10 * 10).sum()
    assert pieces.cells.reshape(-1, len(GRADES)).sum(axis=1) == pytest.approx(decades.to_numpy())
    assert np.exp(pieces.log_area[0]) == pytest.approx(85 * 85, rel=0.06)


def test_values_of_a_decade_are_the_mean_over_its_years_or_even_where_none_can_be() -> None:
    """Two grades, 23 years: three decades, of which the last is not over. By loops."""
    rng = np.random.default_rng(8)
    joint, given = rng.random((2, 2, 23)), rng.dirichlet(np.ones(3), (2, 23)).transpose(2, 0, 1)
    joint[0, 1, 10:20] = 0.0
    found = _by_decade(joint, given)
    assert found.shape == (2, 3 * 2, 3)
    for piece in range(2):
        for decade, years in enumerate((slice(0, 10), slice(10, 20), slice(20, 23))):
            for grade in range(2):
                weight = joint[piece, grade, years]
                weight = weight if weight.any() else np.ones_like(weight)
                expected = given[:, grade, years] @ weight / weight.sum()
                np.testing.assert_allclose(found[piece, decade * 2 + grade], expected)


def test_what_was_noted_where_none_was_made_is_what_it_is_elsewhere() -> None:
    """Three values, two grades, four years. What was noted fits the first in full, the second by half; in the first year
    neither was made: there it is either as often as over all grades and years."""
    shares = np.random.default_rng(3).dirichlet(np.ones(3), (1, 2, 4)).transpose(3, 0, 1, 2)
    shares[:, :, :, 0] = np.array([0, 0, 1.0])[:, None, None]
    fits = np.array([1.0, 0.5, 0.0])[:, None, None, None]
    clue = SimpleNamespace(
        shares=shares, rows=SimpleNamespace(keys=["noted"]), value_fits=lambda key: fits
    )
    found = _given_cell(None, clue, 0, 0)  # type: ignore[arg-type]
    common = np.array([shares[0].mean(), shares[1].mean() / 2, 0.0])
    np.testing.assert_allclose(found[:, :, 0], np.tile(common / common.sum(), (2, 1)).T)
    for year in (1, 2, 3):
        for grade in range(2):
            each = shares[:, 0, grade, year] * [1.0, 0.5, 0.0]
            np.testing.assert_allclose(found[:, grade, year], each / each.sum())


def test_a_worse_condition_lowers_every_sample(known: Prices, shipped: Prices) -> None:
    worse = ["no faults", "pull 3 mm edge", "stain 20 mm centre", "stain 20 mm centre, hole centre"]
    for prices in (known, shipped):
        each = [_samples(prices, SEEN, Condition.read(cell)) for cell in worse]
        for better, less in pairwise(each):
            assert (less <= better + 1e-12).all()
        assert (each[-1] < each[0]).all()


def test_the_order_of_rows_never_matters(shipped: Prices, priors: Priors) -> None:
    frame = pd.DataFrame(
        [SEEN, SEEN, {"fibre": "polyester"}, {"motif": "dots", "palette": "pastel"}, {"maker": "Arventhra"}]
    )  # fmt: skip
    conditions = [None, Condition.read("hole centre"), None, Condition.read("no faults"), None]
    whole = shipped.samples(Pieces.of(frame, conditions, priors, as_of=AS_OF))
    turned = np.array([3, 1, 4, 0, 2])
    mixed = Pieces.of(
        frame.iloc[turned].reset_index(drop=True),
        [conditions[t] for t in turned],
        priors,
        as_of=AS_OF,
    )
    again = shipped.samples(mixed)
    assert (again.log_price == whole.log_price[turned]).all()
    assert (again.cell == whole.cell[turned]).all()
    # the two of which the same was noted are two pieces
    assert np.corrcoef(whole.log_price[:2] - whole.log_fair[:2])[0, 1] < 0.2


def test_learning_does_not_depend_on_the_order_of_rows(priors: Priors) -> None:
    sales, _ = known_sales(80, seed=2)
    order = np.random.default_rng(1).permutation(80)
    one, other = (prices_of(some, pooling_of(priors)) for some in (sales, sales.take(order)))
    assert one.price.layout == other.price.layout
    assert one.price.draws == pytest.approx(other.price.draws, abs=1e-5)


def test_an_uninformative_clue_changes_nothing(known: Prices, priors: Priors) -> None:
    """A maker that no file knows says nothing of the year, and nothing was sold of that name."""
    bare = _samples(known, SEEN)
    note = _samples(known, {**SEEN, "note": "bought in the rain"})
    assert (bare == note).all()
    words = priors.vocabulary.values["uv_glow"]
    weights = dict.fromkeys(words, 1 / len(words))
    pieces = Pieces.of({**SEEN, "uv_glow": weights}, None, priors, as_of=AS_OF)
    assert pieces.cells == pytest.approx(Pieces.of(SEEN, None, priors, as_of=AS_OF).cells, abs=1e-9)
    assert known.samples(pieces).log_price == pytest.approx(bare, abs=1e-9)


def test_more_is_asked_the_longer_it_hangs(shipped: Prices) -> None:
    samples = shipped.samples(Pieces.of(SEEN, as_of=AS_OF))
    assert samples.has_days
    few, many = samples.days(np.log(20.0)), samples.days(np.log(30.0))
    assert (many > few).all() and (few > 0).all()
    assert samples.returned is not None
    assert ((samples.returned > 0) & (samples.returned < 1)).all()


def test_what_is_shared_and_what_is_a_piece_s_own(shipped: Prices, priors: Priors) -> None:
    """Of two unlike pieces the expected prices go together, by tables, channel and season; the residuals do not."""
    frame = pd.DataFrame([SEEN, {"fibre": "cotton", "form": "handkerchief"}])
    samples = shipped.samples(Pieces.of(frame, None, priors, as_of=AS_OF))
    own = samples.log_price - samples.log_fair
    assert abs(np.corrcoef(own)[0, 1]) < 0.1
    fixed = shipped.samples(
        Pieces.of(frame, None, priors, as_of=AS_OF), channel="fair", season="winter"
    )
    assert fixed.log_price.mean() > samples.log_price.mean()


# ------------------------------------------------------------------ refusals


def test_refuses_to_learn_from_next_to_nothing(priors: Priors) -> None:
    least = int(pooling_of(priors)["book"]["least_sales"].centre)
    sales, _ = known_sales(least - 1, seed=1)
    with pytest.raises(RangeError, match=f"from {least - 1} sales with a price: at least {least}"):
        prices_of(sales, pooling_of(priors))


def test_refuses_what_the_book_does_not_know(shipped: Prices) -> None:
    pieces = Pieces.of(SEEN, as_of=AS_OF)
    with pytest.raises(RangeError, match=r"channel: nothing was sold through 'boat'"):
        shipped.samples(pieces, channel="boat")
    with pytest.raises(WordError, match=r"season: winter.*got 'monsoon'"):
        shipped.samples(pieces, season="monsoon")
    with pytest.raises(RangeError, match=r"prices are in EUR.*GBP"):
        shipped.in_currency("GBP")
    assert shipped.in_currency("EUR") is shipped
    with pytest.raises(RangeError, match="pieces: there are none"):
        Pieces.of([])
    with pytest.raises(RangeError, match="conditions: one a piece, 1,"):
        Pieces.of([SEEN], [None, None])


@pytest.mark.parametrize(
    ("how", "fault"),
    [({"route": "magic"}, "route: 'magic'"), ({"draws": 3}, "draws"), ({"tails": 1.5}, "tails")],
)
def test_refuses_arguments_by_name(how: dict[str, object], fault: str) -> None:
    with pytest.raises(ScarfdateError, match=fault):
        learn_prices(None, **how)  # type: ignore[arg-type]


# ------------------------------------------------------------------ saved, shown, carried about


def test_saved_whole_and_read_back_the_same(shipped: Prices, tmp_path) -> None:
    again = shipped.save(tmp_path / "mine")
    assert str(again) == str(shipped)
    assert again.invented and again.currency == "EUR"
    pieces = Pieces.of(SEEN, as_of=AS_OF)
    assert (again.samples(pieces).log_price == shipped.samples(pieces).log_price).all()
    with pytest.raises(ScarfdateError, match="is there already"):
        shipped.save(tmp_path / "mine")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine"]
    (tmp_path / "mine" / "draws.npz").write_bytes(b"no")
    with pytest.raises(ScarfdateError, match="cannot be read as prices"):
        load_prices(tmp_path / "mine")
    with pytest.raises(ScarfdateError, match="is no folder of prices"):
        load_prices(tmp_path)


def _spoiled(folder: Path, name: str, value: object) -> None:
    """A saved folder with one thing changed: an array of draws.npz, or what stands under names of prices.json."""
    if "/" in name or name == "counts":
        with np.load(folder / "draws.npz") as held:
            arrays = {**held}
        changed = value(arrays[name]) if callable(value) else value
        arrays = {k: v for k, v in {**arrays, name: changed}.items() if v is not None}
        np.savez(folder / "draws.npz", **arrays)
        return
    whole = json.loads((folder / "prices.json").read_text())
    *inside, last = name.split(".")
    place = whole
    for one in inside:
        place = place[one]
    place[last] = value
    (folder / "prices.json").write_text(json.dumps(whole))


def _one(value: float) -> Callable[[np.ndarray], np.ndarray]:
    def changed(array: np.ndarray) -> np.ndarray:
        array.flat[3] = value
        return array

    return changed


@pytest.mark.parametrize(
    ("name", "value"),
    [
        *((f"{p}/draws", _one(v)) for p in ("price", "days", "returns") for v in (np.nan, np.inf, 1e4)),
        *((n, _one(0.0)) for n in ("days/shape/shape", "price/shape/sigma", "price/shape/nu")),
        *((n, lambda a: a[:0]) for n in ("price/draws", "days/shape/shape", "price/shape/nu")),
        ("price/draws", lambda a: a.astype("U5")), ("price/draws", None), ("price/shape/nu", None),
        ("days/shape/shape", None), ("price/spread/maker", _one(np.nan)), ("price/spread/maker", _one(-1)),
        ("counts", _one(np.nan)), ("counts", lambda a: a[1:]),
        ("reference", None), ("reference", []), ("reference", {}), ("notes", "a"), ("notes", [1]), ("invented", "no"),
        ("names", None), ("names", {}), ("names.price", None), ("names.price", [["base"]]), ("names.days", [[1, 2]]),
        ("version", "1"),
        *((f"reference.{n}", v)
          for n in ("currency", "n_sold", "n_unsold", "area", "kept", "loss_spread", "channels", "seasons", "year",
                    "largest_residual", "uncertainty")
          for v in (None, float("nan"), "<b>", {"a": "b"}) if (n, v) != ("year", "<b>")),
        ("reference.log_index", "x"), ("reference.log_index", 1e308), ("reference.area", [1e308, 1e308]),
        ("reference.area", [1.0]), ("reference.kept", []), ("reference.n_sold", True), ("reference.n_sold", 10**400),
        ("reference.largest_residual", float("inf")), ("reference.channels", {"fair": 1e308}), ("reference.currenc", 1),
    ],
)  # fmt: skip
def test_what_no_prices_can_be_is_refused_by_its_name(
    shipped: Prices, tmp_path, name: str, value: object
) -> None:
    shipped.save(tmp_path / "mine")
    _spoiled(tmp_path / "mine", name, value)
    with pytest.raises(ScarfdateError) as refused:
        load_prices(tmp_path / "mine")
    assert name.split(".")[-1].split("/")[0] in str(refused.value)


def test_prices_learned_before_a_field_was_there_are_read(shipped: Prices, tmp_path) -> None:
    """Their folders do not say what is paid of what is asked: all of it, as was thought then."""
    shipped.save(tmp_path / "mine")
    path = tmp_path / "mine" / "prices.json"
    whole = json.loads(path.read_text())
    assert 0.8 < whole["reference"].pop("paid_of_asked") < 0.95
    path.write_text(json.dumps(whole))
    assert load_prices(tmp_path / "mine").reference.paid_of_asked == 1


@pytest.mark.parametrize("high", [2.0, 25.0, -25.0])
def test_whatever_is_loaded_gives_amounts_that_are_numbers(
    shipped: Prices, tmp_path, high: float
) -> None:
    """Effects so wide that no sum of them is a number are refused; narrower ones give amounts, however odd."""
    shipped.save(tmp_path / "mine")
    for part in ("price", "returns"):
        _spoiled(tmp_path / "mine", f"{part}/draws", lambda a: np.full_like(a, high))
    if abs(high) > 20:
        _spoiled(tmp_path / "mine", "days/draws", lambda a: np.full_like(a, high))
        with pytest.raises(ScarfdateError, match="effects that add up to 600 at most"):
            load_prices(tmp_path / "mine")
        return
    with np.errstate(over="raise", invalid="raise"):
        said = str(appraise(Scarf(fibre="silk"), asking=12, prices=load_prices(tmp_path / "mine")))
    assert "nan" not in said.split() and "inf" not in said.split()


def test_copied_and_pickled_prices_say_the_same(shipped: Prices) -> None:
    pieces = Pieces.of(SEEN, as_of=AS_OF)
    before = shipped.samples(pieces).log_price
    for other in (pickle.loads(pickle.dumps(shipped)), copy.deepcopy(shipped)):
        assert str(other) == str(shipped)
        assert (other.samples(pieces).log_price == before).all()


def test_says_that_it_is_invented(shipped: Prices) -> None:
    assert str(shipped).startswith("INVENTED")
    assert "INVENTED" in shipped._repr_html_()
    assert "INVENTED" not in str(replace(shipped, invented=False))


@pytest.mark.slow
def test_the_shipped_prices_are_those_of_the_shipped_book(shipped: Prices) -> None:
    made = make_prices.learned()
    assert (made.n_sold, made.n_unsold) == (shipped.n_sold, shipped.n_unsold)
    ours, theirs = made.effects(), shipped.effects()
    assert ours["level"].tolist() == theirs["level"].tolist()
    assert ours["mean"].to_numpy() == pytest.approx(theirs["mean"].to_numpy(), abs=0.02)


def test_effects_are_against_the_average_sale(shipped: Prices) -> None:
    frame = shipped.effects()
    fibre = frame[frame["group"] == "fibre"]
    assert (fibre["mean"] * fibre["sold"]).sum() / fibre["sold"].sum() == pytest.approx(0, abs=1e-6)
    assert fibre["sold"].sum() == pytest.approx(shipped.n_sold, rel=1e-3)
    assert (frame["low"] <= frame["high"]).all()


@pytest.mark.learning
@pytest.mark.slow
def test_the_container_has_all_draws(priors: Priors) -> None:
    sales, _ = known_sales(60, seed=5)
    prices = prices_of(sales, pooling_of(priors), draws=50)
    held = prices.container()
    assert held["posterior"]["fibre"].shape == (1, 50, 3)
    assert held["log_likelihood"]["log_price"].shape == (1, 50, 60)
    assert held["observed_data"]["log_price"].shape == (60,)


# ------------------------------------------------------------------ parts


def test_what_is_asked_above_is_not_what_was_not_known() -> None:
    """Half the difference is noise: the slope on what is left is that on the truth."""
    rng = np.random.default_rng(2)
    true = rng.normal(0.2, 0.3, 20_000)
    noise = np.where(np.arange(20_000) % 2, 0.3, 0.1)
    above, doubt = asked_above(true + noise * rng.normal(size=20_000), noise**2)
    assert np.polyfit(above, true, 1)[0] == pytest.approx(1.0, abs=0.03)
    assert above.mean() == pytest.approx(0.2, abs=0.01)
    assert 0 < doubt < 0.02


def test_an_index_stands_in_the_place_of_the_year(priors: Priors) -> None:
    sales, _ = known_sales(120, seed=6)
    rising = np.where(np.array(sales.offers.year) == "2025", 200.0, 100.0)
    indexed = replace(sales, price=sales.price * rising / 100, price_index=rising)
    plain = prices_of(
        replace(sales, offers=replace(sales.offers, year=("",) * 120)), pooling_of(priors)
    )
    ours = prices_of(indexed, pooling_of(priors))
    assert not ours.price.layout.levels("year")
    assert ours.price.of("fibre", "silk").mean() == pytest.approx(
        plain.price.of("fibre", "silk").mean(), abs=1e-3
    )
    pieces = known_pieces(5, np.random.default_rng(1))
    twice = ours.samples(pieces).log_price.mean() - plain.samples(pieces).log_price.mean()
    assert twice == pytest.approx(np.log(2), abs=0.02)
