"""The engine of prices against published estimates and other people's programs.

Dyestuff: yields of five preparations from each of six batches (Davies and Goldsmith 1972, "Statistical methods in
research and production", section 6.4; Box and Tiao 1973, section 5.1.2), the first example of partial pooling in the
paper of lme4 and its book. With normal tails and flat priors of the scales our route is restricted maximum likelihood.
The published analysis: standard deviations 42.00 between batches and 49.51 within, mean 1527.5 with a standard error
of 19.38, batch effects as below. For a balanced table they follow from the analysis of variance, which is done
here, too.
"""

from __future__ import annotations

import numpy as np
import pytest

from scarfdate.tables.worth_pooling import Pool
from scarfdate.worth.coefficients import Layout
from scarfdate.worth.laws import StudentT, Weibull
from scarfdate.worth.pooled import FLAT, Design, Pooled, Prior
from scarfdate.worth.pooled_fit import fit

YIELDS = np.array(
    [[1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
     [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445]], float
)  # fmt: skip
BATCH_EFFECTS = [-17.6, 0.4, 28.6, -23.1, 56.7, -45.0]


def test_dyestuff_as_published() -> None:
    layout = Layout.of({"base": [""], "batch": list("ABCDEF")})
    rows = np.hstack([np.ones((30, 1)), np.kron(np.eye(6), np.ones((5, 1)))])
    law = StudentT(YIELDS.reshape(-1), np.zeros(30), np.inf)
    pools = {"base": FLAT, "batch": Pool(50.0, 1e3, pooled=True), "log_sigma": FLAT}
    model = Pooled(Design(layout=layout, rows=rows), law, Prior.of(layout, pools, law))
    found = fit(model, np.append(1500.0, np.zeros(6)), np.array([4.0]))
    between = YIELDS.mean(axis=1).var(ddof=1) * 5
    within = YIELDS.var(axis=1, ddof=1).mean()
    spread = 50 * np.exp(found.log_scale[0])
    assert spread == pytest.approx(np.sqrt((between - within) / 5), rel=1e-4)
    assert spread == pytest.approx(42.00, abs=0.01)
    assert np.exp(found.parameters[0]) == pytest.approx(49.51, abs=0.01)
    assert found.mode[0] == pytest.approx(1527.5, abs=1e-6)
    assert np.sqrt(found.covariance[0, 0]) == pytest.approx(19.38, abs=0.01)
    assert found.mode[1:] == pytest.approx(BATCH_EFFECTS, abs=0.06)


@pytest.mark.peers
def test_days_against_a_parametric_survival_fit() -> None:
    lifelines = pytest.importorskip("lifelines", reason="is of the extra `peers`, below pandas 3")
    import pandas as pd

    rng = np.random.default_rng(3)
    n = 400
    x = np.column_stack([rng.normal(size=n), rng.integers(0, 2, n).astype(float)])
    days = np.exp(4.0 + x @ [0.7, -0.4]) * rng.weibull(1.3, n)
    until = rng.uniform(20, 300, n)
    ended, seen = days < until, np.minimum(days, until)
    assert 0.2 < ended.mean() < 0.9
    layout = Layout.of({"base": [""], "a": [""], "b": [""]})
    law = Weibull(np.log(seen), ended)
    pools = dict.fromkeys(("base", "a", "b", "log_shape"), FLAT)
    design = Design(layout=layout, rows=np.column_stack([np.ones(n), x]))
    model = Pooled(design, law, Prior.of(layout, pools, law))
    frame = pd.DataFrame({"a": x[:, 0], "b": x[:, 1], "days": seen, "ended": ended})
    theirs = lifelines.WeibullAFTFitter().fit(frame, "days", "ended")
    shape = float(np.exp(theirs.params_["rho_", "Intercept"]))
    # at their shape, which is the maximum of the likelihood and not of the evidence, the effects are the same
    at = np.array([np.log(shape)])
    z = np.array([4.0, 0.0, 0.0])
    for _ in range(30):
        z = z + np.linalg.solve(model.information(z, at), model.value_and_gradient(z, at)[1])
    names = ("Intercept", "a", "b")
    assert z == pytest.approx([theirs.params_["lambda_", name] for name in names], abs=1e-4)
    ours = fit(model, np.array([4.0, 0.0, 0.0]), np.array([0.0]))
    assert np.exp(ours.parameters[0]) == pytest.approx(shape, rel=0.02)
    assert ours.mode == pytest.approx(z, abs=0.02)
    # so is what the likelihood says of their uncertainty, the shape's part included
    draws = ours.draws(4000, np.random.default_rng(1))
    errors = theirs.standard_errors_["lambda_"][list(names)].to_numpy()
    assert draws.draws.std(axis=0) == pytest.approx(errors, rel=0.08)


@pytest.mark.peers
def test_elasticities_without_pooling_are_those_of_least_squares() -> None:
    import statsmodels.api as sm

    from tests.worth.known_sales import known_sales, learned_flat

    sales, rows = known_sales(150, seed=4)
    design, found = learned_flat(sales)
    theirs = sm.OLS(np.log(sales.price), design.rows).fit()
    assert design.rows.shape[1] == np.linalg.matrix_rank(rows)
    assert found.mode == pytest.approx(theirs.params, abs=1e-6)
    errors = np.sqrt(np.diag(found.covariance))
    where = [place for place, (group, _) in enumerate(design.layout.names) if group != "condition"]
    assert errors[where] == pytest.approx(theirs.bse[where], rel=1e-4)
    assert np.exp(found.parameters[0]) == pytest.approx(np.sqrt(theirs.scale), rel=1e-4)
