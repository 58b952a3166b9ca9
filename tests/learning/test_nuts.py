"""The long route: the same posterior by NUTS, its diagnostics, ArviZ's container, and calibration.

The small version has two or three clues and some sixty records, so that a run takes seconds. References:
R-hat and ESS as in Vehtari and others (2021); simulation-based calibration as in Talts, Betancourt, Simpson,
Vehtari and Gelman (2018, arXiv 1804.06788), bands of worked_examples.md, section 6.
"""

from __future__ import annotations

import importlib.util
import re

import numpy as np
import pytest

from scarfdate import ScarfdateError, learn, load_priors, simulate
from scarfdate.learning.clue_shares import shares_at_knots
from scarfdate.learning.deviations import SHARES
from scarfdate.learning.laplace import laplace
from scarfdate.learning.learned import Learned
from scarfdate.learning.likelihood import Likelihood
from scarfdate.learning.patterns import patterns_of
from scarfdate.learning.write import learned_files
from scarfdate.model.model import compiled
from scarfdate.records.sold import SoldRecords, read_sold
from scarfdate.tables.priors import Priors, folder_files, priors_of_files

pytestmark = [pytest.mark.learning, pytest.mark.slow]

NOW = 2026
FEW = ("fibre", "hem_thread")


def sold(
    n: int, seed: int, names: tuple[str, ...] = FEW, priors: Priors | None = None
) -> SoldRecords:
    """Simulated records of exact years with some clues, as they come from `read_sold`."""
    made = simulate(
        priors or load_priors(), n, np.random.default_rng(seed), as_of=NOW, looked_at=0.9
    )
    frame = made.frame()[list(names)]
    frame["known"] = [str(max(int(str(year)), 1881)) for year in made.truth["year"]]
    frame["known_by"] = "receipt"
    return read_sold(frame, as_of=NOW, copies=True, priors=priors)


def likelihood_of(records: SoldRecords, priors: Priors | None = None) -> Likelihood:
    model = compiled(priors or load_priors(), "thrift", NOW)
    return Likelihood(model, patterns_of(model, records))


def test_the_gradient_in_the_coordinates_of_the_sampler_is_that_of_differences() -> None:
    from scarfdate.learning.nuts import Coordinates

    likelihood = likelihood_of(sold(60, 1))
    place = Coordinates(likelihood, laplace(likelihood))
    rng = np.random.default_rng(2)
    x = 0.3 * rng.standard_normal(place.size)
    slope = place.value_and_gradient(x)[1]
    step = 1e-4
    scales = range(likelihood.deviations.size, place.size)
    for at in [*rng.choice(likelihood.deviations.size, 12, replace=False).tolist(), *scales]:
        ahead, back = x.copy(), x.copy()
        ahead[at] += step
        back[at] -= step
        rise = place.value_and_gradient(ahead)[0] - place.value_and_gradient(back)[0]
        assert slope[at] == pytest.approx(rise / (2 * step), abs=1e-5)


def test_the_sampled_density_is_that_of_the_deviations_and_scales() -> None:
    """Likelihood times the normal prior under the scales times that of the scales, times the volume that
    the coordinates stretch (from differences of the map): SciPy's densities, up to one constant."""
    from scipy.stats import multivariate_normal, norm

    from scarfdate.learning.nuts import Coordinates

    likelihood = likelihood_of(sold(60, 1))
    layout = likelihood.deviations
    place = Coordinates(likelihood, laplace(likelihood))
    rng = np.random.default_rng(6)
    found = []
    for spread in (0.0, 0.4, 0.8, 1.2):
        x = spread * rng.standard_normal(place.size)
        theta, log_scale = place.parts(x)
        expected = likelihood.value(theta) + norm(0, layout.log_scale_sd).logpdf(log_scale).sum()
        for part, here, root in layout.stretches():
            wide = np.exp(log_scale[part.scale]) * root
            expected += multivariate_normal(cov=wide @ wide.T).logpdf(theta[here])
        map_of = np.empty((place.size, place.size))
        for at in range(place.size):
            step = np.zeros(place.size)
            step[at] = 1e-5
            ends = [np.concatenate(place.parts(x + by * step)) for by in (1, -1)]
            map_of[:, at] = (ends[0] - ends[1]) / 2e-5
        expected += np.linalg.slogdet(map_of)[1]
        found.append(place.value_and_gradient(x)[0] - expected)
    np.testing.assert_allclose(found, found[0], atol=1e-5)


def test_the_operation_hands_pytensor_the_same_numbers() -> None:
    import pytensor
    import pytensor.tensor as pt

    from scarfdate.learning.nuts import Coordinates, log_density

    likelihood = likelihood_of(sold(60, 1))
    place = Coordinates(likelihood, laplace(likelihood))
    x = pt.dvector("x")
    value = log_density(place)(x)
    run = pytensor.function([x], [value, pytensor.grad(value, x)])
    rng = np.random.default_rng(3)
    for _ in range(3):  # the operation keeps the last place it saw
        at = 0.2 * rng.standard_normal(place.size)
        fresh = Coordinates(likelihood, place.mode).value_and_gradient(at)
        for found, expected in zip(run(at), fresh, strict=True):
            np.testing.assert_allclose(found, expected, atol=1e-10)


def test_laplace_sits_at_the_mode_of_the_sampled_density() -> None:
    """Under the scales it chose: no slope there, and a bend of one along every axis of a deviation."""
    from scarfdate.learning.nuts import Coordinates

    likelihood = likelihood_of(sold(60, 1))
    mode = laplace(likelihood)
    place = Coordinates(likelihood, mode)
    size = likelihood.deviations.size
    none = np.zeros(place.size)
    np.testing.assert_allclose(place.parts(none)[0], mode.theta, atol=1e-9)
    np.testing.assert_allclose(place.parts(none)[1], mode.log_scale, atol=1e-12)
    slope = place.value_and_gradient(none)[1]
    assert np.abs(slope[:size]).max() < 0.05  # in units of posterior standard deviations
    for at in range(0, size, 25):
        ahead = none.copy()
        ahead[at] = 1e-3
        bend = (slope - place.value_and_gradient(ahead)[1])[at] / 1e-3
        assert bend == pytest.approx(1, abs=0.02)


@pytest.fixture(
    scope="module",
    params=[(60, ("hem_thread",)), pytest.param((80, FEW), marks=pytest.mark.long)],
    ids=["one clue", "two clues"],
)
def both(request: pytest.FixtureRequest) -> tuple[Learned, Learned]:
    n, names = request.param
    records = sold(n, 5, names)
    return (
        learn(records, as_of=NOW, draws=4000),
        learn(records, as_of=NOW, route="hierarchical", draws=3200, rng=np.random.default_rng(8)),
    )


def test_both_routes_give_the_same_tables(both: tuple[Learned, Learned]) -> None:
    """Means within 0.2 posterior standard deviations on average; spreads within 10 % (median) is what is wanted,
    and with all clues and 300 records found (`pytest -m long -s`); with two clues and 80 records,
    most of whose shares are of values nobody saw, it is 14 % (a normal of the logarithm has too long a tail)."""
    quick, long = both
    off, wide = [], []
    for family in {part.family for part in quick.layout.parts if part.kind == SHARES}:
        a, b = quick.shares(family), long.shares(family)
        moving = b.std(axis=0) > 1e-5
        off.append(np.abs(a.mean(axis=0) - b.mean(axis=0))[moving] / b.std(axis=0)[moving])
        wide.append(a.std(axis=0)[moving] / b.std(axis=0)[moving])
    apart, spread = np.concatenate(off).mean(), np.median(np.concatenate(wide))
    print(f"\nmeans {apart:.3f} standard deviations apart, spreads {spread:.3f} times")
    assert apart < 0.2
    assert abs(spread - 1) < 0.2


def test_the_container_has_named_dimensions_and_every_group(both: tuple[Learned, Learned]) -> None:
    import arviz

    for learned in both:
        held = learned.container()
        kind = "InferenceData" if arviz.__version__.startswith("0.") else "DataTree"
        assert type(held).__name__ == kind
        share = held["posterior"]["share_hem_thread"]
        assert share.dims == ("chain", "draw", "knot", "value_hem_thread")
        assert list(share.coords["value_hem_thread"].values) == list(
            load_priors().vocabulary.values["hem_thread"]
        )
        np.testing.assert_allclose(share.sum("value_hem_thread").values, 1, atol=1e-9)
        for group in (
            "prior",
            "log_likelihood",
            "posterior_predictive",
            "prior_predictive",
            "observed_data",
        ):
            assert len(held[group].data_vars) > 0, group
        told = held["log_likelihood"]["clues"].sizes["record"]
        assert 0.9 * learned.records < told <= learned.records  # of a blank record there is none
        loo = arviz.loo(held)
        assert np.isfinite(loo.elpd if hasattr(loo, "elpd") else loo.elpd_loo)


def test_the_chains_have_come_together(both: tuple[Learned, Learned]) -> None:
    from scarfdate.learning.nuts import ESS, R_HAT, diagnostics

    found = diagnostics(both[1].container()["posterior"])
    assert found
    for r_hat, ess in found.values():
        assert r_hat <= R_HAT
        assert ess >= ESS


def test_the_diagnostics_are_those_of_each_entry_by_itself() -> None:
    """ArviZ asked for one entry after the other; an entry that never moves has none."""
    import arviz

    from scarfdate.learning.container import arviz_container
    from scarfdate.learning.nuts import diagnostics

    rng = np.random.default_rng(3)
    share = rng.normal(size=(4, 300, 2, 3)).cumsum(axis=1)
    share[:, :, 0, 1] = 1e-6
    held = arviz_container({"posterior": {"share_hem": share, "fixed": np.ones((4, 300))}}, {}, {})
    r_hat, ess = diagnostics(held["posterior"])["share_hem"]
    assert "fixed" not in diagnostics(held["posterior"])
    rows = [share[:, :, i, j] for i in range(2) for j in range(3) if (i, j) != (0, 1)]
    assert r_hat == pytest.approx(max(float(arviz.rhat(row)) for row in rows))
    each = [
        float(arviz.ess(row, **how))
        for row in rows
        for how in ({"method": "bulk"}, {"method": "tail", "prob": (0.05, 0.95)})
    ]
    assert ess == pytest.approx(min(each))


@pytest.mark.long
def test_a_run_repeats_from_the_seed() -> None:
    """What was killed half-way is run again: the same draws, whichever process drew them."""
    records = sold(40, 5, ("hem_thread",))
    one, again = (
        learn(records, as_of=NOW, route="hierarchical", rng=np.random.default_rng(8))
        for _ in range(2)
    )
    np.testing.assert_array_equal(again.draws, one.draws)
    np.testing.assert_array_equal(again.log_scale, one.log_scale)


def test_bad_chains_are_refused_by_name() -> None:
    from scarfdate.learning import nuts
    from scarfdate.learning.container import arviz_container

    def checked(posterior: dict[str, np.ndarray], diverging: float) -> str:
        held = arviz_container({"posterior": posterior}, {}, {})
        return nuts.checked(held["posterior"], diverging)

    rng = np.random.default_rng(1)
    good = rng.normal(size=(4, 500, 2))
    checked({"share_hem": good}, 0.001)
    apart = good + np.arange(4)[:, None, None]
    with pytest.raises(ScarfdateError, match=r"share_motif: R-hat .*use route='laplace'"):
        checked({"share_hem": good, "share_motif": apart}, 0)
    with pytest.raises(ScarfdateError, match=r"2\.0 % divergent steps"):
        checked({"share_hem": good}, 0.02)
    # scales and measures have wider limits, within which they are told
    thin = np.repeat(rng.normal(size=(4, 50, 1)), 10, axis=1)
    assert checked({"share_hem": good}, 0) == ""
    assert re.search(
        r"thin in the tails of log_scale: R-hat 1\.0\d\d, ESS 1", checked({"log_scale": thin}, 0)
    )
    with pytest.raises(ScarfdateError, match="log_scale"):
        checked({"log_scale": apart}, 0)
    slow = np.cumsum(rng.normal(size=(4, 500, 1)), axis=1)
    with pytest.raises(ScarfdateError, match="share_fibre"):
        checked({"share_fibre": slow}, 0)


def test_an_interrupted_run_is_not_taken_for_a_whole_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """PyMC hands back what it has when somebody stops it: here five draws a chain."""
    import pymc as pm

    sample = pm.sample
    monkeypatch.setattr(pm, "sample", lambda **how: sample(**(how | {"draws": 5, "tune": 5})))
    with pytest.raises(ScarfdateError, match="interrupted after 5 of 1500 draws a chain"):
        learn(sold(30, 2, ("fibre",)), as_of=NOW, route="hierarchical")


def test_without_pymc_the_route_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "pymc", None)
    with pytest.raises(ScarfdateError, match=r"pip install 'scarfdate\[learn\]'"):
        learn(sold(40, 2), as_of=NOW, route="hierarchical")


@pytest.mark.parametrize(
    ("route", "runs"),
    [
        pytest.param("laplace", 40, marks=pytest.mark.statistical),
        pytest.param("hierarchical", 60, marks=[pytest.mark.long, pytest.mark.slow]),
    ],
)
def test_each_route_is_calibrated_on_tables_drawn_from_its_prior(route: str, runs: int) -> None:
    """Tables drawn from the prior (deviations and scales), records from those tables, and the rank of the
    true share among 99 draws, as Talts and others: shares of one run hang together, so that each run gives
    two numbers, how many of its shares lie below half of their draws, and how many in the outer fifth, and
    those must average to a half and a fifth within 4 standard errors over runs. Of a run whose chains are
    refused there is no rank: they are counted, and must be few (a table drawn from the prior can be off by any
    factor, and chains on it slow).
    """
    parent = load_priors()
    model = compiled(parent, "thrift", NOW)
    files = folder_files(parent)
    rng = np.random.default_rng(41)
    below, tails, refused = [], [], 0
    for run in range(runs):
        layout = likelihood_of(sold(30, 1)).deviations
        scale = rng.normal(0, layout.log_scale_sd)
        true = layout.unwhitened(rng.standard_normal(layout.size), scale)
        drawn = learned_files(model, files, layout, true[None], "a draw from the prior", False)
        tables = priors_of_files({**files, **drawn}, "drawn")
        records = sold(150, 1000 + run, priors=tables)
        if likelihood_of(records).deviations.size != layout.size:
            continue
        try:
            learned = learn(records, as_of=NOW, draws=99, rng=rng, route=route)
        except ScarfdateError:
            refused += 1
            continue
        ranks = []
        for family in FEW:
            found = learned.shares(family)
            truth = shares_at_knots(model, layout, family, [layout.named(true)])[0]
            moving = found.std(axis=0) > 1e-5
            ranks.append((found < truth).sum(axis=0)[moving])
        rank = np.concatenate(ranks)
        below.append(np.mean(rank < 50))
        tails.append(np.mean((rank < 10) | (rank >= 90)))
    n = len(below)
    error, tail_error = (np.std(some, ddof=1) / np.sqrt(n) for some in (below, tails))
    print(
        f"\n{route}, {n} runs, {refused} refused: below half {np.mean(below):.3f} +- {error:.3f}; in the outer "
        f"fifth {np.mean(tails):.3f} +- {tail_error:.3f}"
    )
    assert n >= 0.8 * runs
    assert abs(np.mean(below) - 0.5) < 4 * error
    assert abs(np.mean(tails) - 0.2) < 4 * tail_error


def test_the_packages_are_those_of_this_python() -> None:
    """3.11 has PyMC 5 with ArviZ 0.x, 3.12 and newer PyMC 6 with ArviZ 1.x."""
    import sys
    from importlib.metadata import version

    assert importlib.util.find_spec("pymc") is not None
    newer = sys.version_info >= (3, 12)
    assert int(version("pymc").split(".")[0]) >= (6 if newer else 5)
    assert (int(version("arviz").split(".")[0]) >= 1) is newer
