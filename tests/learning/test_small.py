"""Learning in small: its likelihood, slope, bend, mode and evidence on a dozen pieces up to 1950, in seconds.

References: the engine that dates, on tables changed by the same deviations; differences; SciPy's densities.
The same at full size: `tests.learning.test_likelihood` and `tests.learning.test_nuts`.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from scarfdate import Priors
from scarfdate.conventions import CHANNEL, Array
from scarfdate.errors import ScarfdateError
from scarfdate.learning import information
from scarfdate.learning import laplace as rounds
from scarfdate.learning.deviations import CENTRE, LAG, SHARES, SLIP, SPREAD, TIER, Deviations
from scarfdate.learning.laplace import Mode, laplace
from scarfdate.learning.likelihood import Likelihood
from scarfdate.learning.scales import (
    NormalLikelihood,
    maximised,
    most_evidence,
    regularised,
    scale_root,
)
from tests.learning.test_likelihood import (
    by_engine,
    each_of,
    lifted,
    likelihood_of,
    moved,
    of_rows,
    somewhere,
)

pytestmark = pytest.mark.learning

UNTIL = 1950
PIECES: list[tuple[dict[str, Any], int, int]] = [
    ({"fibre": "silk", "hem": "machine-stitched", "stitches_per_inch": 12.0}, 1936, 1938),
    ({"fibre": {"silk": 0.7, "rayon": 0.3}, "hem": "hand-rolled", "methods": {"fibre": "burn"}}, 1930, 1930),
    ({"stitches_per_inch": 22.0, "hem": "hand-rolled"}, 1946, 1946),
    ({"stitches_per_inch": 11.0}, 1924, 1931),
    ({"width_cm": 90.0, "height_cm": 86.0, "momme": 12.0}, 1940, 1944),
    ({"width_cm": 140.0, "height_cm": 30.0, "form": "oblong"}, 1948, 1948),
    ({"width_cm": 30.0, "height_cm": 140.0}, 1933, 1934),
    ({"motif": "geometric", "palette": "earth", "fibre": "silk"}, 1938, 1945),
    ({"motif": "dots"}, 1950, 1950),
    ({"motif": "dots"}, 1950, 1950),
    ({"origin": "japan", "label": "intact", "fibre": "silk"}, 1935, 1945),
    ({"origin": "italy", "printed_year": 1938}, 1937, 1948),
]  # fmt: skip


@pytest.fixture(scope="module")
def tables(priors: Priors) -> Priors:
    return lifted(priors)


@pytest.fixture(scope="module")
def small(tables: Priors) -> Likelihood:
    return likelihood_of(tables, of_rows(*zip(*PIECES, strict=True)), as_of=UNTIL)


def test_each_piece_is_as_likely_as_the_engine_says_on_tables_moved_alike(
    tables: Priors, small: Likelihood
) -> None:
    """At no deviation and at one of every kind; the hidden years too."""
    records, layout = of_rows(*zip(*PIECES, strict=True)), small.deviations
    assert {part.kind for part in layout.parts} == {SHARES, LAG, CENTRE, SPREAD, SLIP, TIER}
    assert len(small.patterns) == len(PIECES) - 1 and small.patterns.count.sum() == len(PIECES)
    for theta in (np.zeros(layout.size), somewhere(layout, 5)):
        found = each_of(small, theta)
        log, year, _ = by_engine(moved(tables, layout, theta), records, CHANNEL, UNTIL)
        np.testing.assert_allclose(found, log, atol=1e-9, rtol=0)
        assert small.value(theta) == pytest.approx(log.sum(), abs=1e-9)
        by_year = np.zeros((len(small.patterns), len(small.model.years)))
        np.add.at(by_year, (small.pattern, small.year), small.responsibility)
        years = small.model.years
        within = (years >= records.known_from[:, None]) & (years <= records.known_to[:, None])
        expected = year * within / (year * within).sum(axis=1, keepdims=True)
        np.testing.assert_allclose(by_year[small.patterns.pattern_of], expected, atol=1e-9)


def test_its_slope_and_bend_are_those_of_differences(
    small: Likelihood, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The slope along every part by itself, the bend in random directions, every hidden state kept."""
    layout, step = small.deviations, 1e-3  # of a prior standard deviation
    theta = somewhere(layout, 3, 0.5)
    value, slope = small.value_and_gradient(theta)
    assert value == pytest.approx(small.value(theta), abs=1e-12)

    def rise(way: Array) -> float:
        near, far = (
            small.value(theta + by * way) - small.value(theta - by * way) for by in (step, 2 * step)
        )
        return (8 * near - far) / (12 * step)

    for part, start, free in zip(layout.parts, layout.starts, layout.free, strict=True):
        way = np.zeros(layout.size)
        own = slice(start, start + len(free))
        way[own] = somewhere(layout, 4, 1)[own]
        assert slope @ way == pytest.approx(rise(way), rel=1e-6, abs=1e-7), (part.kind, part.family)
    monkeypatch.setattr(information, "_RARE", 0.0)
    exact = information.observed_information(small, theta)
    np.testing.assert_allclose(exact, exact.T, atol=1e-9)
    for seed in range(6):
        way = somewhere(layout, seed, 1)
        near, far = (
            small.value_and_gradient(theta - by * way)[1]
            - small.value_and_gradient(theta + by * way)[1]
            for by in (step, 2 * step)
        )
        expected = (8 * near - far) / (12 * step)
        np.testing.assert_allclose(exact @ way, expected, rtol=1e-5, atol=2e-4)
    complete = information.complete_data_information(small, theta)
    # what is hidden is lacking: never more is seen than with the states known
    by_knot = np.flatnonzero(complete.any(axis=0))
    lacking = (complete - exact)[np.ix_(by_knot, by_knot)]
    assert np.linalg.eigvalsh(lacking).min() > -1e-8


def test_states_that_are_rare_are_left_out_and_nothing_else(
    small: Likelihood, monkeypatch: pytest.MonkeyPatch
) -> None:
    theta = somewhere(small.deviations, 3, 0.5)
    whole = information.observed_information(small, theta)
    monkeypatch.setattr(information, "_CHUNK", 7)  # records by few at a time: the same
    np.testing.assert_allclose(information.observed_information(small, theta), whole, atol=1e-9)
    monkeypatch.setattr(information, "_RARE", 0.0)
    exact = information.observed_information(small, theta)
    rare = small.responsibility[small.responsibility <= 1e-3].sum()
    assert 0 < np.abs(whole - exact).max() <= 2 * rare + 1e-9


def test_what_is_thought_before_reaches_to_the_last_year(priors: Priors, tables: Priors) -> None:
    """Knots over all years; of a word's share at two knots the normal prior of the module's head, by hand."""
    some = [{"motif": "dots"}, {"hem": "hand-rolled", "stitches_per_inch": 12.0}]
    small = likelihood_of(tables, of_rows(some, [1940, 1941], [1940, 1941]), as_of=UNTIL)
    layout, apart = small.deviations, priors.allowances["table_knots"]
    assert layout.knots[0] == 1880 and UNTIL - apart < layout.knots[-1] <= UNTIL
    assert (np.diff(layout.knots) == apart).all()
    last = int(layout.knots[-1])  # where the last year is a knot itself
    ending = likelihood_of(tables, of_rows([{"motif": "dots"}], [1940], [1940]), as_of=last)
    assert ending.deviations.knots.tolist() == layout.knots.tolist()
    place = [(part.kind, part.family) for part in layout.parts].index((SHARES, "motif"))
    root, free, sd = layout.roots[place], layout.free[place], layout.parts[place].sd
    cover = np.zeros((sd.size, sd.size))
    cover[np.ix_(free, free)] = root @ root.T
    cover = cover.reshape(*sd.shape, *sd.shape)
    falls = np.exp(-apart / priors.allowances["table_error_length"])
    assert cover[0, 1, 0, 2] == pytest.approx(falls * sd[0, 1] * sd[0, 2])
    assert cover[0, 1, 0, 1] == pytest.approx(sd[0, 1] ** 2) and cover[0, 1, 1, 1] == 0
    # W records, of which a share q is of the word: the variance of its logarithm is 1 / (W q + 1/2)
    records = (1 / sd**2 - 0.5).sum(axis=0)
    np.testing.assert_allclose(records, priors.families["motif"].worth, rtol=0.02)
    # of a measure the standard errors of a mean and of a logarithm of a spread from so many records
    worth = priors.families["stitches_per_inch"].worth
    sds = {part.kind: part.sd for part in layout.parts if part.family == "stitches_per_inch"}
    np.testing.assert_allclose(sds[SPREAD], 1 / np.sqrt(2 * worth))
    clue = next(clue for clue in small.clues() if clue.name == "hem")
    spread = np.concatenate([one.spread.ravel() for one in clue.measured]).mean()
    np.testing.assert_allclose(sds[CENTRE], spread / np.sqrt(worth), rtol=0.3)


ROUNDS: list[Array] = []  # the scales at the beginning of each


@pytest.fixture(scope="module")
def mode(small: Likelihood) -> Iterator[Mode]:
    def counted(normal: NormalLikelihood, start: Array) -> Array:
        ROUNDS.append(start)
        return most_evidence(normal, start)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(rounds, "most_evidence", counted)
        yield laplace(small)


def test_the_mode_is_one_and_its_evidence_that_of_the_normal_there(
    small: Likelihood, mode: Mode
) -> None:
    """Log likelihood + SciPy's prior densities + the volume of the normal with the bend that is there."""
    layout = small.deviations
    assert mode.log_likelihood == pytest.approx(small.value(mode.theta), abs=1e-9)
    log = mode.log_likelihood
    inverse = np.zeros((layout.size, layout.size))
    for part, here, root in layout.stretches():
        wide = np.exp(mode.log_scale[part.scale]) * root
        log += multivariate_normal(cov=wide @ wide.T).logpdf(mode.theta[here])
        inverse[here, here] = np.linalg.inv(wide @ wide.T)
    slope = small.value_and_gradient(mode.theta)[1] - inverse @ mode.theta
    bend = information.observed_information(small, mode.theta) + inverse
    assert slope @ np.linalg.solve(bend, slope) / 2 == pytest.approx(mode.newton_gain, abs=1e-9)
    assert mode.newton_gain < 1e-3
    precision = np.exp(-2 * mode.log_scale)[mode.normal.scale_of]
    mean = np.linalg.solve(mode.normal.information + np.diag(precision), mode.normal.gradient)
    np.testing.assert_allclose(mean, mode.z, atol=1e-8)  # of the normal that is drawn from
    sign, size = np.linalg.slogdet(bend / (2 * np.pi))
    assert sign == 1 and mode.log_evidence == pytest.approx(log - size / 2, abs=1e-6)


def test_no_scales_near_the_chosen_ones_have_more_evidence(mode: Mode) -> None:
    best = mode.normal.log_marginal(mode.log_scale)[0]
    for step in 0.3 * np.eye(len(mode.log_scale)):
        assert mode.normal.log_marginal(mode.log_scale + step)[0] < best + 1e-3
        assert mode.normal.log_marginal(mode.log_scale - step)[0] < best + 1e-3


def test_its_rounds_end_once_the_scales_have_settled(small: Likelihood, mode: Mode) -> None:
    """A round more would change them by less than it would take to notice, and the last but one changed them more."""
    assert 2 <= len(ROUNDS) < 10
    changed = [np.abs(after - before).max() for before, after in pairwise(ROUNDS)]
    assert min(changed) >= 0.05
    np.testing.assert_array_equal(mode.log_scale, ROUNDS[-1])
    assert np.abs(most_evidence(mode.normal, mode.log_scale) - mode.log_scale).max() < 0.05
    # and around the mode it is that tables are drawn
    theta, scales = mode.draws(300, np.random.default_rng(4))
    assert theta.shape == (300, small.deviations.size) and scales.shape == (
        300,
        len(mode.log_scale),
    )
    away = (theta.mean(axis=0) - mode.theta) / theta.std(axis=0)
    assert np.abs(away).max() < 5 / np.sqrt(300) + 0.2


class Shifted:
    """A likelihood that knows nothing but how late one table is, to half a year; how often it was asked."""

    def __init__(self, layout: Deviations, lag: float) -> None:
        self.deviations, self.lag, self.asked = layout, lag, 0
        part = next(place for place, one in enumerate(layout.parts) if one.kind == LAG)
        self.place = layout.starts[part]

    def value(self, theta: Array) -> float:
        self.asked += 1
        return -2 * float(theta[self.place] - self.lag) ** 2


@pytest.mark.parametrize("lag", [*range(-17, 18), -17.5, 17.5])
def test_a_search_begins_near_any_lag(small: Likelihood, lag: float) -> None:
    """Within two and a half years of it, where it is no more than seventeen and a half; another table's is left alone."""
    layout = small.deviations
    late = Shifted(layout, lag)
    theta = layout.unwhitened(rounds._start(late), np.zeros(len(layout.scales)))
    assert abs(theta[late.place] - lag) <= 2.5
    assert np.flatnonzero(theta).tolist() in ([late.place], [])


def test_what_a_search_begins_with_is_tried_no_oftener_than_it_changes(small: Likelihood) -> None:
    """Each of seven lags of every table once, and once more to see that none changes."""
    layout = small.deviations
    tables = sum(part.kind == LAG for part in layout.parts)
    still, late = Shifted(layout, 0), Shifted(layout, 10)
    for one, turns in ((still, 1), (late, 2)):
        rounds._start(one)
        assert one.asked == 1 + turns * 7 * tables


# ------------------------------------------------- scales, on a linear model whose evidence SciPy knows

SCALE_OF = np.array([0, 0, 0, 1, 1, 1, 1, 2, 0])
SD = np.array([1.0, 0.25, 0.7])


@pytest.fixture
def linear() -> tuple[Array, Array, NormalLikelihood]:
    """y = A w + noise, w normal by its scales."""
    rng = np.random.default_rng(4)
    a, y = rng.normal(size=(7, 9)), 2 * rng.normal(size=7)
    normal = NormalLikelihood(
        information=a.T @ a, gradient=a.T @ y, scale_of=SCALE_OF, log_scale_sd=SD
    )
    return a, y, normal


def log_evidence(a: Array, y: Array, scale: Array) -> float:
    cover = np.eye(7) + (a * np.exp(2 * scale)[SCALE_OF]) @ a.T
    return float(multivariate_normal(cov=cover).logpdf(y) + norm(0, SD).logpdf(scale).sum())


def test_the_evidence_of_scales_its_slope_and_bend(
    linear: tuple[Array, Array, NormalLikelihood],
) -> None:
    a, y, normal = linear
    apart = []
    for scale in np.random.default_rng(5).normal(size=(4, 3)):
        gain, slope, bend = normal.log_marginal_derivatives(scale)
        apart.append(gain - log_evidence(a, y, scale))
        for place, step in enumerate(1e-5 * np.eye(3)):
            ahead, back = (normal.log_marginal_derivatives(scale + by * step) for by in (1, -1))
            assert slope[place] == pytest.approx((ahead[0] - back[0]) / 2e-5, abs=1e-6)
            np.testing.assert_allclose(bend[place], (ahead[1] - back[1]) / 2e-5, atol=1e-6)
    np.testing.assert_allclose(apart, apart[0], atol=1e-9)


def test_the_scales_with_the_most_evidence(linear: tuple[Array, Array, NormalLikelihood]) -> None:
    from scipy.optimize import minimize

    a, y, normal = linear
    found = most_evidence(normal, np.zeros(3), slope=1e-6, steps=50)
    best = minimize(lambda scale: -log_evidence(a, y, scale), np.zeros(3), tol=1e-10)
    np.testing.assert_allclose(found, best.x, atol=1e-4)
    # a first step goes no farther than one: the normal is that of the place it begins at
    far = most_evidence(normal, np.full(3, -2.5), slope=1e-6, steps=1)
    assert 0.9 < np.linalg.norm(far + 2.5) <= 1 + 1e-9
    # as wide as the evidence bends, and never wider than was thought before
    bend = normal.log_marginal_derivatives(found)[2]
    root = scale_root(bend, SD)
    value, _ = np.linalg.eigh(-bend * np.outer(SD, SD))
    assert (value > 1).all()
    np.testing.assert_allclose(root @ root.T, np.linalg.inv(-bend), atol=1e-9)
    wide = scale_root(-1e-9 * np.eye(3), SD)
    np.testing.assert_allclose(wide @ wide.T, np.diag(SD**2), atol=1e-9)


def test_draws_are_of_the_normal_posterior(linear: tuple[Array, Array, NormalLikelihood]) -> None:
    """Scales nearly known: 20,000 draws have the mean and cover of the ridge regression, to 5 standard errors."""
    a, y, normal = linear
    n, scale = 20_000, np.array([0.2, -0.3, 0.5])
    z, scales = normal.draws(n, np.random.default_rng(8), scale, 1e-6 * np.eye(3))
    np.testing.assert_allclose(scales, np.broadcast_to(scale, (n, 3)), atol=1e-4)
    cover = np.linalg.inv(a.T @ a + np.diag(np.exp(-2 * scale)[SCALE_OF]))
    error = np.sqrt(np.diag(cover) / n)
    assert (np.abs(z.mean(axis=0) - cover @ a.T @ y) < 5 * error).all()
    off = np.cov(z.T) - cover
    wide = np.sqrt((np.outer(np.diag(cover), np.diag(cover)) + cover**2) / n)
    assert (np.abs(off) < 5 * wide).all()
    # a run of draws that stand together is a fair sample: the order says nothing
    assert (np.abs(z[: n // 2].mean(axis=0) - cover @ a.T @ y) < 5 * np.sqrt(2) * error).all()


def test_scales_are_drawn_as_likely_as_they_are(
    linear: tuple[Array, Array, NormalLikelihood],
) -> None:
    """Importance resampling of 400, beside SciPy's evidence of 40,000 drawn from the hyperprior: means and spreads to
    a fifth of a spread, four standard errors."""
    a, y, normal = linear
    mode = most_evidence(normal, np.zeros(3), slope=1e-6, steps=50)
    root = scale_root(normal.log_marginal_derivatives(mode)[2], SD)
    _, scales = normal.draws(4000, np.random.default_rng(3), mode, root)
    assert 200 < len(np.unique(scales[:, 0])) <= 400
    every = SD * np.random.default_rng(9).standard_normal((40_000, 3))
    cover = np.eye(7) + np.einsum("ik,nk,jk->nij", a, np.exp(2 * every)[:, SCALE_OF], a)
    log = -(np.linalg.solve(cover, y[:, None])[..., 0] @ y + np.linalg.slogdet(cover)[1]) / 2
    chance = np.exp(log - log.max()) / np.exp(log - log.max()).sum()
    mean = chance @ every
    spread = np.sqrt(chance @ (every - mean) ** 2)
    assert (np.abs(scales.mean(axis=0) - mean) < 0.2 * spread).all()
    np.testing.assert_allclose(scales.std(axis=0), spread, rtol=0.2)


def test_a_search_ends_at_the_mode_of_a_quadratic(
    linear: tuple[Array, Array, NormalLikelihood],
) -> None:
    a, y, _ = linear
    precision = np.linspace(0.5, 2, 9)

    def quadratic(z: Array) -> tuple[float, Array]:
        off = y - a @ z
        return -float(off @ off) / 2, a.T @ off

    z, value, slope = maximised(quadratic, np.ones(9), np.eye(9), precision)
    expected = np.linalg.solve(a.T @ a + np.diag(precision), a.T @ y)
    np.testing.assert_allclose(z, expected, atol=5e-3)
    assert value == pytest.approx(quadratic(z)[0])
    np.testing.assert_allclose(slope, quadratic(z)[1] - precision * z, atol=1e-9)


@pytest.mark.parametrize("lost", [(np.nan, 1.0), (1.0, np.nan), (-np.inf, 1.0)])
def test_a_search_comes_back_from_where_nothing_can_be_worked_out(
    lost: tuple[float, float],
) -> None:
    """A first step of thousands, to where the likelihood or its slope is no number."""
    at = np.array([0.5, -0.2])

    def near(z: Array) -> tuple[float, Array]:
        of_value, of_slope = lost if np.abs(z).max() > 3 else (1.0, 1.0)
        return -float((z - at) @ (z - at)) / 2 * of_value, (at - z) * of_slope

    z, _, _ = maximised(near, np.zeros(2), 1e-8 * np.eye(2), np.full(2, 1e-8))
    np.testing.assert_allclose(z, at, atol=1e-3)


def test_an_information_is_made_no_less_than_nothing_and_kept_where_it_is_sound() -> None:
    rng = np.random.default_rng(2)
    turn = np.linalg.qr(rng.normal(size=(4, 4)))[0]
    sound = turn * np.array([0.5, 1.0, 2.0, 3.0]) @ turn.T
    ones = np.ones(4)
    np.testing.assert_allclose(regularised(sound, np.zeros(4), ones), sound, atol=1e-12)
    broken = turn * np.array([-0.5, 1.0, 2.0, 3.0]) @ turn.T
    still = regularised(broken, np.zeros(4), ones)
    np.testing.assert_allclose(turn.T @ still @ turn, np.diag([0, 1, 2, 3.0]), atol=1e-12)
    # pulled two standard deviations that way: a quarter of the prior, four fifths of it
    pulled = regularised(broken, 2 * turn[:, 0], ones)
    np.testing.assert_allclose(
        turn.T @ pulled @ turn, np.diag([0.25 * 4 / 5, 1, 2, 3.0]), atol=1e-12
    )


def test_a_precision_that_is_none_is_refused() -> None:
    normal = NormalLikelihood(
        information=-9 * np.eye(2), gradient=np.ones(2), scale_of=np.zeros(2, np.intp), log_scale_sd=np.ones(1)
    )  # fmt: skip
    with pytest.raises(np.linalg.LinAlgError):
        normal.root(np.zeros(1))


def test_an_allowance_of_nothing_is_refused(priors: Priors) -> None:
    from dataclasses import replace
    from types import MappingProxyType

    none = MappingProxyType({**priors.allowances, "table_error_length": 0.0})
    with pytest.raises(ScarfdateError, match=r"table_error_length must be above 0"):
        likelihood_of(
            replace(priors, allowances=none, _compiled={}),
            of_rows([{"fibre": "silk"}], [1940], [1940]),
        )
