"""How prices are learned, in small: what a book says of itself, design rows, likelihood, mode and evidence, each beside
plain arithmetic; and what cannot change what is learned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.linalg import inv, slogdet
from scipy.optimize import minimize

from scarfdate import Priors, load_priors
from scarfdate.conventions import GRADES, Array
from scarfdate.tables.worth_pooling import Pool
from scarfdate.worth import pooled_fit
from scarfdate.worth.coefficients import Layout
from scarfdate.worth.design import DAYS, PRICE, days_design, price_design, returns_design
from scarfdate.worth.laws import Law, StudentT, Weibull
from scarfdate.worth.learn_prices import (
    Sales,
    asked_above,
    pooling_of,
    price_fit,
    prices_of,
    reference_of,
)
from scarfdate.worth.pooled import FLAT, Design, Pooled, Prior
from scarfdate.worth.pooled_fit import Fit, _mode, _next, fit
from scarfdate.worth.prices import Prices
from tests.worth.known_sales import FIBRES, known_sales


@pytest.fixture(scope="module")
def priors() -> Priors:
    return load_priors()


# ------------------------------------------------------------------ what the book says of itself


MANY = 60  # pieces in a book


@pytest.fixture(scope="module")
def book() -> Sales:
    """Sixty pieces: most are sold, with days and returns; some of all is not known."""
    sales, _ = known_sales(MANY, seed=9)
    rng = np.random.default_rng(3)
    pieces = sales.offers.pieces
    kept_sd = np.where(pieces.log_kept < 0, 0.2, 0.0)
    unknown = rng.random(MANY) < 0.1
    pieces = replace(
        pieces,
        log_area=np.where(rng.random(MANY) < 0.1, np.nan, pieces.log_area),
        log_kept=np.where(unknown, np.nan, pieces.log_kept),
        log_kept_sd=np.where(unknown, np.nan, kept_sd),
    )
    sold = rng.random(MANY) < 0.8
    asked = sales.price * np.exp(rng.normal(0.1, 0.2, MANY))
    days = np.floor(np.exp(3 + rng.normal(0, 1, MANY)))
    days[:3], sold[:3] = 0.0, True  # sold on the day of their listing
    return replace(
        sales,
        offers=replace(sales.offers, pieces=pieces),
        price=np.where(sold, sales.price, np.nan),
        sold=sold,
        asked=np.where(rng.random(MANY) < 0.1, np.nan, asked),
        days=days,
        returned=np.where(sold, (rng.random(MANY) < 0.2).astype(float), np.nan),
        listed_season=sales.offers.season,
        currency="EUR",
    )


@pytest.fixture(scope="module")
def learned(book: Sales, priors: Priors) -> Prices:
    return prices_of(book, pooling_of(priors), draws=60)


def test_what_the_book_says_as_a_whole(book: Sales, priors: Priors) -> None:
    index = np.linspace(100, 130, MANY)
    sales = replace(book, price_index=index)
    priced = np.flatnonzero(book.sold)
    pieces, offers = book.offers.pieces, book.offers
    for some, has_index in ((book, False), (sales, True)):
        found = reference_of(some, priced, pooling_of(priors))
        assert (found.currency, found.n_sold, found.n_unsold) == (
            "EUR",
            len(priced),
            MANY - len(priced),
        )
        assert found.area == pytest.approx(
            (np.nanmean(pieces.log_area), np.nanstd(pieces.log_area))
        )
        kept = pieces.log_kept[~np.isnan(pieces.log_kept)]
        np.testing.assert_allclose(found.kept, np.percentile(kept, np.arange(101)))
        # a loss whose factor is log-normal has this part of its squared mean for a variance
        worn = kept[kept < 0]
        share = 0.2**2 * len(worn) / (worn**2).sum()
        assert np.expm1(found.loss_spread**2) == pytest.approx(share)
        fair = [offers.channel[place] == "fair" for place in priced.tolist()]
        assert found.channels == pytest.approx({"fair": np.mean(fair), "shop": 1 - np.mean(fair)})
        summer = np.mean([offers.season[place] == "summer" for place in priced.tolist()])
        assert found.seasons == pytest.approx({"summer": summer, "winter": 1 - summer})
        last = [place for place in priced.tolist() if offers.year[place] == "2025"]
        assert found.year == ("" if has_index else "2025")
        assert found.log_index == (pytest.approx(np.log(index[last]).mean()) if has_index else None)
        assert found.largest_residual == 4
        both = priced[~np.isnan(book.asked[priced])]
        share = book.price[both].sum() / book.asked[both].sum()
        assert found.paid_of_asked == pytest.approx(share) and share < 1
    unsaid = replace(
        book,
        offers=replace(offers, channel=("",) * MANY, year=("",) * MANY),
        asked=book.asked * np.nan,
    )
    found = reference_of(unsaid, priced, pooling_of(priors))
    assert (dict(found.channels), found.year, found.paid_of_asked) == ({}, "", 1)
    new = replace(pieces, log_area=np.full(MANY, np.nan), log_kept=np.full(MANY, np.nan))
    bare = reference_of(
        replace(book, offers=replace(offers, pieces=new)), priced, pooling_of(priors)
    )
    assert (bare.area, bare.kept, bare.loss_spread) == ((0.0, 0.0), (0.0,), 0.0)


def test_how_uncertain_prices_are_is_said_by_its_parts(learned: Prices, book: Sales) -> None:
    """Means over sales: of the variance over draws, of what is not known of a piece, of Student-t residuals."""
    sold = book.offers.take(np.flatnonzero(book.sold))
    rows = price_design(sold, learned.price.layout, learned.reference).rows
    sigma, nu = learned.price.shape["sigma"], learned.price.shape["nu"]
    effects, unknown, like = learned.reference.uncertainty
    assert effects == pytest.approx((learned.price.draws @ rows.T).var(axis=0).mean(), rel=1e-4)
    assert like == pytest.approx((sigma**2 * nu / (nu - 2)).mean(), rel=1e-4)
    assert 0 < unknown < like


def test_with_normal_tails_like_pieces_differ_by_the_scale(book: Sales, priors: Priors) -> None:
    normal = prices_of(book, pooling_of(priors), draws=10, tails=np.inf)
    sigma = normal.price.shape["sigma"]
    assert normal.reference.uncertainty[2] == pytest.approx((sigma**2).mean(), rel=1e-4)
    assert "times as high as it begins" in str(normal)


def test_what_is_not_learned_is_said(learned: Prices, book: Sales, priors: Priors) -> None:
    assert learned.notes == () and learned.days is not None and learned.returns is not None
    assert not learned.invented
    least = pooling_of(priors)["book"]["least_days"].centre
    assert least == pooling_of(priors)["book"]["least_returns"].centre == 20
    known = np.flatnonzero(book.sold)
    for many, says in ((20, False), (19, True)):
        days, returned = np.full(MANY, np.nan), np.full(MANY, np.nan)
        days[known[:many]] = book.days[known[:many]]
        days[~book.sold] = 50.0  # hangs still: of no sale
        returned[known[:many]] = 0.0
        some = prices_of(replace(book, days=days, returned=returned), pooling_of(priors), draws=10)
        assert [note.split()[0] for note in some.notes] == (["days", "returns"] if says else [])
        assert (some.days is None) == (some.returns is None) == says
        assert ("days to sell are not learned" in str(some)) == says


def test_what_is_not_known_tells_nothing(learned: Prices, book: Sales, priors: Priors) -> None:
    """Five pieces more that are not sold, of which nobody knows the days, size or condition. And what is sold on the day
    of its listing counts as half a day."""
    more = book.take(np.append(np.arange(MANY), np.flatnonzero(~book.sold)[:5]))
    new = np.arange(MANY + 5) >= MANY
    pieces = more.offers.pieces
    pieces = replace(
        pieces,
        log_area=np.where(new, np.nan, pieces.log_area),
        log_kept=np.where(new, np.nan, pieces.log_kept),
    )
    days = np.where(more.days == 0, 0.5, more.days)
    assert (days == 0.5).sum() >= 3
    more = replace(
        more, offers=replace(more.offers, pieces=pieces), days=np.where(new, np.nan, days)
    )
    found = prices_of(more, pooling_of(priors), draws=60)
    assert found.n_unsold == learned.n_unsold + 5
    for part in ("price", "days", "returns"):
        ours, theirs = getattr(found, part), getattr(learned, part)
        np.testing.assert_allclose(ours.draws, theirs.draws, rtol=1e-5, atol=1e-5)


def test_days_follow_what_is_asked_above_the_expected_price(priors: Priors) -> None:
    """Days of a Weibull law with slope 2 on log asked less log fair, some of them unsold still; a third as many come back
    from a shop as from a fair. 400 sales: to some three standard errors."""
    sales, _ = known_sales(400, seed=12)
    rng = np.random.default_rng(4)
    above = rng.normal(0.1, 0.3, 400)
    fibre = sales.offers.pieces.values["fibre"].chances[:, 0].argmax(axis=1)
    fair = 3 + 0.4 * (sales.offers.pieces.log_area - 8.5) + 1.2 * sales.offers.pieces.log_kept
    fair += np.array([0.3, 0.0, -0.3])[fibre] + 0.2 * (np.array(sales.offers.channel) == "fair")
    fair += 0.1 * sales.offers.pieces.cells.argmax(axis=1) // len(GRADES)
    days = np.exp(4.0 + 2.0 * above) * rng.weibull(1.4, 400)
    sold = days < 150
    often = np.where(np.array(sales.offers.channel) == "fair", 0.3, 0.1)
    some = replace(
        sales,
        price=np.where(sold, sales.price, np.nan),
        asked=np.exp(fair + above),
        days=np.minimum(days, 150.0),
        sold=sold,
        returned=np.where(sold, rng.random(400) < often, np.nan),
        listed_season=sales.offers.season,
    )
    found = prices_of(some, pooling_of(priors), draws=200)
    assert found.days is not None and found.returns is not None
    assert np.median(found.days.of("asked")) == pytest.approx(2.0, abs=0.5)
    assert np.median(found.days.shape["shape"]) == pytest.approx(1.4, abs=0.2)
    usual = found.days.of("base") + found.days.of("channel", "fair")
    assert usual.mean() == pytest.approx(4.0, abs=0.4)
    odds = found.returns.of("base")[:, None] + found.returns.group("channel")
    back = dict(
        zip(found.returns.layout.levels("channel"), (1 / (1 + np.exp(-odds))).T, strict=True)
    )
    assert back["fair"].mean() == pytest.approx(0.3, abs=0.1)
    assert back["shop"].mean() == pytest.approx(0.1, abs=0.08)


def test_a_price_is_compared_with_the_index_of_its_day(book: Sales, priors: Priors) -> None:
    """All money times five, prices, what is asked and index: the same prices learned, and the same days."""
    one = replace(book, price_index=np.linspace(1.0, 1.3, MANY))
    other = replace(one, price=5 * one.price, asked=5 * one.asked, price_index=5 * one.price_index)
    ours, theirs = (prices_of(some, pooling_of(priors), draws=20) for some in (one, other))
    np.testing.assert_allclose(ours.price.draws, theirs.price.draws, atol=1e-4)
    assert ours.days is not None and theirs.days is not None
    np.testing.assert_allclose(ours.days.draws, theirs.days.draws, atol=1e-4)
    assert theirs.reference.log_index == pytest.approx(ours.reference.log_index + np.log(5))


def test_how_uncertain_what_is_asked_above_leaves_a_slope() -> None:
    """Noise of one and the same variance: its share of all, by the relative error of a variance."""
    rng = np.random.default_rng(5)
    above, doubt = asked_above(rng.normal(0.2, 0.5, 5000), np.full(5000, 0.05))
    assert doubt == pytest.approx(np.sqrt(2 / 5000) * 0.05 / (0.25 - 0.05), rel=0.1)
    assert above.std() == pytest.approx(0.2 / 0.25 * 0.5, rel=0.05)
    nothing, none = asked_above(np.full(3, np.nan), np.ones(3))
    assert (nothing == 0).all() and none == 0
    gaps, _ = asked_above(np.array([0.1, np.nan, 0.3]), np.zeros(3))
    np.testing.assert_allclose(gaps, [0.1, 0.2, 0.3])  # of what is not known, the mean


# ------------------------------------------------------------------ rows of the design


def test_a_row_holds_what_is_known_of_a_piece(book: Sales, priors: Priors) -> None:
    """Row by row, level by level; a level that the layout has not is passed over."""
    offers = book.offers
    reference = reference_of(book, np.flatnonzero(book.sold), pooling_of(priors))
    above = np.linspace(-1, 1, MANY)
    designs = [
        price_design(offers, offers.layout(PRICE), reference),
        days_design(offers, offers.layout(DAYS), above),
        returns_design(offers, Layout.of({"base": [""], "channel": ["fair"]})),
    ]
    pieces = offers.pieces
    assert set(designs[0].layout.groups) == {*PRICE} - {"hem", "form"}
    assert designs[0].layout.levels("maker") == ("", "a", "b")
    for row in range(MANY):
        area, kept = pieces.log_area[row], pieces.log_kept[row]
        decade, grade = divmod(int(pieces.cells[row].argmax()), len(GRADES))
        fibre = int(pieces.values["fibre"].chances[row, 0].argmax())
        known = {
            ("base", ""): 1.0,
            ("size", ""): 0.0 if np.isnan(area) else area - reference.area[0],
            ("condition", ""): np.mean(reference.kept) if np.isnan(kept) else kept,
            ("asked", ""): above[row],
            ("fibre", FIBRES[fibre]): 1.0,
            ("maker", pieces.maker[row]): 1.0,
            ("channel", offers.channel[row]): 1.0,
            ("season", offers.season[row]): 1.0,
            ("decade", str(pieces.decades[decade])): 1.0,
            ("grade", GRADES[grade]): 1.0,
            ("year", offers.year[row]): 1.0,
        }
        for design in designs:
            expected = [known.get(name, 0.0) for name in design.layout.names]
            np.testing.assert_allclose(design.rows[row], expected)
    alone = designs[0].layout.place["size", ""]
    assert designs[0].counts[alone] == np.isfinite(pieces.log_area).sum()
    grade = designs[0].layout.places("grade")
    assert designs[0].counts[grade].sum() == pytest.approx(MANY)


# ------------------------------------------------------------------ likelihood, prior, mode, evidence

LAYOUT = Layout.of({"base": [""], "asked": [""], "size": [""], "channel": ["a", "b", "c"]})
POOLS = {
    "base": FLAT, "asked": Pool(0.4, 0.3), "size": Pool(0.5, 0.8), "channel": Pool(0.3, 0.7, pooled=True),
    "log_sigma": Pool(-0.5, 0.7), "log_nu": Pool(1.5, 0.8), "log_shape": Pool(0.0, 0.4),
}  # fmt: skip


def small(law: str = "t") -> Pooled:
    """Forty observations with a coefficient of each kind: flat, above zero, with a prior of its own, pooled."""
    rng = np.random.default_rng(6)
    channel = np.eye(3)[rng.integers(0, 3, 40)]
    rows = np.column_stack([np.ones(40), rng.normal(size=(40, 2)), channel])
    y = rows @ np.array([2.0, 1.5, 0.3, 0.4, 0.0, -0.4]) + 0.6 * rng.standard_t(4, 40)
    of: Law = StudentT(y, np.full(40, 0.05)) if law == "t" else Weibull(y, rng.random(40) < 0.7)
    return Pooled(Design(layout=LAYOUT, rows=rows), of, Prior.of(LAYOUT, POOLS, of))


def test_the_prior_is_that_of_each_group() -> None:
    prior = small().prior
    np.testing.assert_allclose(prior.mean, [0, 0.4, 0.5, 0, 0, 0])
    np.testing.assert_allclose(prior.sd, [1, 0.3, 0.8, 0.3, 0.3, 0.3])
    assert prior.scales == ("channel",) and prior.scale_of.tolist() == [1, 1, 1, 0, 0, 0]
    assert prior.flat.tolist() == [True, *[False] * 5]
    np.testing.assert_allclose(prior.own_precision, [0, 1, 1, 0, 0, 0])
    np.testing.assert_allclose(prior.log_scale_sd, [0.7])
    np.testing.assert_allclose(prior.shape, [[-0.5, 0.7], [1.5, 0.8]])


@pytest.mark.parametrize("law", ["t", "Weibull"])
def test_slope_and_bend_are_those_of_differences(law: str) -> None:
    model, rng, step = small(law), np.random.default_rng(7), 1e-5
    z, at = rng.normal(size=6), np.array([-0.3, 1.2])[: 2 if law == "t" else 1]
    theta = model.prior.mean + model.prior.sd * z
    np.testing.assert_allclose(model.coefficients(z), [theta[0], np.exp(theta[1]), *theta[2:]])
    terms = model.law.terms(model.design.rows @ model.coefficients(z), at)
    assert model.value(z, at) == pytest.approx(terms.log.sum() - (z[1] ** 2 + z[2] ** 2) / 2)
    value, slope = model.value_and_gradient(z, at)
    assert value == pytest.approx(model.value(z, at))
    bend = model.information(z, at)
    for place, way in enumerate(step * np.eye(6)):
        rise = (model.value(z + way, at) - model.value(z - way, at)) / (2 * step)
        assert slope[place] == pytest.approx(rise, abs=1e-5)
        ahead, back = (model.value_and_gradient(z + by * way, at)[1] for by in (1, -1))
        np.testing.assert_allclose(bend[place], (back - ahead) / (2 * step), atol=1e-5)
    expected = model.information(z, at, expected=True)
    by_z = model.design.rows * model.prior.sd * np.array([1, np.exp(theta[1]), 1, 1, 1, 1])
    plain = (by_z.T * terms.expected) @ by_z + np.diag([0, 1, 1, 0, 0, 0])
    np.testing.assert_allclose(expected, plain)


@pytest.fixture(scope="module")
def found() -> Fit:
    return fit(small(), np.zeros(6), np.array([-0.5, 1.5]))


def profile(model: Pooled, p: Array, scale: Array) -> tuple[float, Array]:
    """The log evidence of shape parameters by Laplace's approximation with Fisher's information, times their prior; the
    mode by SciPy's search."""
    precision = np.append(np.exp(-2 * scale), 0.0)[model.prior.scale_of]

    def loss(z: Array) -> tuple[float, Array]:
        value, slope = model.value_and_gradient(z, p)
        return precision @ z**2 / 2 - value, precision * z - slope

    z = minimize(loss, np.zeros(6), jac=True, method="BFGS", options={"gtol": 1e-9}).x
    curved = model.information(z, p, expected=True) + np.diag(precision)
    mean, sd = model.prior.shape.T
    return -loss(z)[0] - slogdet(curved)[1] / 2 - (((p - mean) / sd) ** 2).sum() / 2, z


def test_the_mode_is_one_and_scales_and_shape_have_the_most_evidence(found: Fit) -> None:
    model, p, scale = found.model, found.parameters, found.log_scale
    precision = np.append(np.exp(-2 * scale), 0.0)[model.prior.scale_of]
    slope = model.value_and_gradient(found.z, p)[1] - precision * found.z
    np.testing.assert_allclose(slope, 0, atol=1e-6)
    bend = model.information(found.z, p)
    np.testing.assert_allclose(found.normal.information, bend, atol=1e-9)
    sd = model.prior.sd
    np.testing.assert_allclose(found.covariance, np.outer(sd, sd) * inv(bend + np.diag(precision)))
    # of the scale: the normal around the mode, integrated
    half = bend @ found.z + precision * found.z

    def of_scale(s: float) -> float:
        precise = bend + np.diag(np.append(np.exp(-2 * s), 0.0)[model.prior.scale_of])
        inside = half @ np.linalg.solve(precise, half) - slogdet(precise)[1]
        return float(inside / 2 - 3 * s - (s / 0.7) ** 2 / 2)

    assert of_scale(scale[0]) >= max(of_scale(scale[0] + by) for by in (-1e-2, 1e-2))
    rise = (of_scale(scale[0] + 1e-4) - of_scale(scale[0] - 1e-4)) / 2e-4
    assert rise == pytest.approx(0, abs=1e-4)


def test_the_shape_is_as_uncertain_as_its_evidence_bends_and_moves_the_mode(found: Fit) -> None:
    """Differences of the evidence, the mode found anew at each place: beside the curvature that is worked out at one."""
    model, p, scale, step = found.model, found.parameters, found.log_scale, 5e-3
    np.testing.assert_allclose(profile(model, p, scale)[1], found.z, atol=1e-5)
    steps = step * np.eye(2)
    at = {
        (i, j): profile(model, p + i * steps[0] + j * steps[1], scale)
        for i in (-1, 0, 1)
        for j in (-1, 0, 1)
    }
    slope = np.array([at[1, 0][0] - at[-1, 0][0], at[0, 1][0] - at[0, -1][0]]) / (2 * step)
    # but for how Fisher's information moves with the mode: of a coefficient above zero alone
    np.testing.assert_allclose(slope, 0, atol=0.02)
    bend = (
        np.array(
            [
                [2 * at[0, 0][0] - at[1, 0][0] - at[-1, 0][0]],
                [2 * at[0, 0][0] - at[0, 1][0] - at[0, -1][0]],
            ]
        ).ravel()
        / step**2
    )
    mixed = -(at[1, 1][0] - at[1, -1][0] - at[-1, 1][0] + at[-1, -1][0]) / (4 * step**2)
    curvature = np.array([[bend[0], mixed], [mixed, bend[1]]])
    cover = found.parameter_root @ found.parameter_root.T
    np.testing.assert_allclose(
        inv(cover), curvature, rtol=0.02, atol=0.02 * np.abs(curvature).max()
    )
    moves = np.column_stack([at[1, 0][1] - at[-1, 0][1], at[0, 1][1] - at[0, -1][1]]) / (2 * step)
    np.testing.assert_allclose(found.response, moves, atol=5e-3)


def test_a_search_ends_once_nothing_moves(found: Fit, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the place where it ended it ends at once; from far off in a few rounds, at the same place."""
    rounds = []

    def counted(*of: object) -> object:
        rounds.append(of)
        return _mode(*of)  # type: ignore[arg-type]

    monkeypatch.setattr(pooled_fit, "_mode", counted)
    for start, most in ((found.parameters, 1), (np.array([0.5, 0.5]), 15)):
        rounds.clear()
        again = fit(found.model, found.z, start, found.log_scale)
        assert 1 <= len(rounds) <= most
        np.testing.assert_allclose(again.parameters, found.parameters, atol=1e-4)
        np.testing.assert_allclose(again.z, found.z, atol=1e-4)


def test_a_shape_of_which_nothing_is_known_is_no_wider_than_five() -> None:
    """Degrees of freedom of normal residuals, without a prior: the more, the better, by less and less."""
    rng = np.random.default_rng(1)
    law = StudentT(rng.uniform(-1, 1, 50), np.zeros(50))
    layout = Layout.of({"base": [""]})
    prior = Prior.of(layout, {**POOLS, "log_sigma": FLAT, "log_nu": FLAT}, law)
    found = fit(
        Pooled(Design(layout=layout, rows=np.ones((50, 1))), law, prior),
        np.zeros(1),
        np.array([-0.5, 1.5]),
    )
    cover = found.parameter_root @ found.parameter_root.T
    assert np.sqrt(np.linalg.eigvalsh(cover)[-1]) == pytest.approx(5, rel=1e-6)
    assert np.exp(found.parameters[1]) > 100


def test_draws_spread_as_the_curvature_says(found: Fit) -> None:
    """4,000 draws: means and spreads to some four standard errors."""
    drawn = found.draws(4000, np.random.default_rng(2))
    shape = np.column_stack([np.log(drawn.shape["sigma"]), np.log(drawn.shape["nu"] - 2)])
    cover = found.parameter_root @ found.parameter_root.T
    np.testing.assert_allclose(shape.mean(axis=0), found.parameters, atol=0.08)
    np.testing.assert_allclose(np.cov(shape.T), cover, rtol=0.15, atol=0.02)
    assert drawn.draws[:, 0].mean() == pytest.approx(found.mode[0], abs=0.08)
    assert np.log(drawn.draws[:, 1]).mean() == pytest.approx(np.log(found.mode[1]), abs=0.02)
    assert (drawn.spread["channel"] > 0).all() and len(np.unique(drawn.spread["channel"])) > 50
    wide = np.median(drawn.spread["channel"])
    assert wide == pytest.approx(0.3 * np.exp(found.log_scale[0]), rel=0.3)


@pytest.mark.parametrize(
    ("before", "change", "now", "then", "expected"),
    [
        (0.0, 0.3, 0.3, 0.21, 1.0),  # creeps to one: there at once
        (0.0, 1.5, 1.5, -0.75, 1.0),  # comes back by half: there at once
        (
            0.0,
            0.1,
            0.1,
            0.09,
            0.1 + 0.09 + 5 * 0.09,
        ),  # no farther than five times what is asked for
        (0.0, 0.1, 0.1, 0.3, 0.1 + 0.3 - (0.1 + 0.2)),  # and never back behind the place before
        (0.0, 0.1, 0.1, 0.1, 0.2),  # asks for the same again
    ],
)
def test_a_search_goes_on_by_what_both_places_asked_for(
    before: float, change: float, now: float, then: float, expected: float
) -> None:
    of = [np.array([value]) for value in (before, change, now, then)]
    assert _next(of[2], of[3], (of[0], of[1])) == pytest.approx(expected)
    assert _next(of[2], of[3], None) == pytest.approx(now + then)


def test_effects_are_fitted_as_if_what_is_not_known_were_noise(priors: Priors) -> None:
    """Of a third of the pieces the fibre is not known: what it may differ by adds to the variance of their prices."""
    sales, _ = known_sales(120, seed=21)
    pieces = sales.offers.pieces
    fibre = pieces.values["fibre"]
    blind = np.where((np.arange(120) % 3 == 0)[:, None, None], 1 / 3, fibre.chances)
    pieces = replace(pieces, values={"fibre": replace(fibre, chances=blind)})
    sales = replace(sales, offers=replace(sales.offers, pieces=pieces))
    reference = reference_of(sales, np.arange(120), pooling_of(priors))
    found = price_fit(sales, pooling_of(priors), reference, pooled=True, tails=np.inf)
    law = found.model.law
    assert isinstance(law, StudentT)
    effects = found.mode[found.model.design.layout.places("fibre")]
    expected = np.where(np.arange(120) % 3 == 0, effects.var(), 0.0)
    np.testing.assert_allclose(law.variance, expected, atol=2e-3)
