"""The long route: the same density of the log prices, sampled by NUTS, as PyMC states it.

What is not known of a piece adds the same variance as in the quick route, worked out at its effects. Convergence is
checked as in `scarfdate.learning.nuts`, whose limits hold for every effect, spread and shape.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from scarfdate.errors import ScarfdateError, needed
from scarfdate.learning.nuts import DIVERGING, WIDER_ESS, WIDER_R_HAT, diagnostics
from scarfdate.worth.coefficients import Coefficients
from scarfdate.worth.laws import LEAST_NU, StudentT
from scarfdate.worth.pooled_fit import Fit, coefficients_of
from scarfdate.worth.price_container import container_of

_CHAINS, _TUNE, _LEAST_DRAWS = 4, 250, 250
_ACCEPTED = 0.85  # of the proposals
_NAMED = 3


def price_density(found: Fit, law: StudentT) -> Any:
    """The PyMC model of log prices.

    The prior of whitened effects z is normal with standard deviation exp(log scale), and flat or standard normal for
    those without a scale. The sampler moves in coordinates x, z = mean(scale) + root(scale) x, with the mean and a
    root of the covariance that z has given the scales if the likelihood is the normal of the quick route. They
    only make its steps longer: the last potential is the logarithm of what they stretch.
    """
    import pymc as pm
    import pytensor.tensor as pt

    model, prior, normal = found.model, found.model.prior, found.normal
    with pm.Model() as density:
        log_scale = pm.Normal("log_scale", 0.0, prior.log_scale_sd, shape=len(prior.scales))
        each = pt.concatenate([log_scale, [0.0]])[prior.scale_of]
        has_scale = prior.scale_of < len(prior.scales)
        precision = pt.where(has_scale, pt.exp(-2 * each), 0.0)
        x = pm.Flat("x", shape=len(prior.sd))
        root = pt.linalg.cholesky(normal.information + pt.diag(precision))
        half = pt.linalg.solve_triangular(root, normal.gradient, lower=True)
        z = pm.Deterministic("z", pt.linalg.solve_triangular(root.T, half + x, lower=False))
        pm.Potential(
            "prior of z", -0.5 * pt.sum((precision + prior.own_precision) * z**2) - pt.sum(each)
        )
        pm.Potential("stretched", -pt.sum(pt.log(pt.diag(root))))
        theta = prior.mean + prior.sd * z
        effect = pt.where(model.positive, pt.exp(pt.where(model.positive, theta, 0.0)), theta)
        log_sigma = pm.Normal("log_sigma", *prior.shape[0])
        sigma = pt.sqrt(pt.exp(2 * log_sigma) + law.variance)
        mean = pt.dot(model.design.rows, effect)
        if law.nu is None:
            nu = LEAST_NU + pt.exp(pm.Normal("log_nu", *prior.shape[1]))
            pm.StudentT("log_price", nu=nu, mu=mean, sigma=sigma, observed=law.y)
        elif np.isinf(law.nu):
            pm.Normal("log_price", mu=mean, sigma=sigma, observed=law.y)
        else:
            pm.StudentT("log_price", nu=law.nu, mu=mean, sigma=sigma, observed=law.y)
    return density


def nuts(found: Fit, draws: int, rng: np.random.Generator) -> tuple[Coefficients, Any]:
    """Coefficients thinned from all chains, and the container of all draws.

    Raises ScarfdateError where PyMC is not installed, or where the chains have not converged.
    """
    pm = needed("pymc", "learn", "route 'hierarchical'")
    model, law = found.model, found.model.law
    assert isinstance(law, StudentT)
    each = max(_LEAST_DRAWS, -(-draws // _CHAINS))
    start = {"x": np.zeros(len(found.z)), "log_scale": found.log_scale}
    start |= dict(zip(law.names, found.parameters, strict=True))
    with price_density(found, law):
        trace = pm.sample(
            draws=each, tune=_TUNE, chains=_CHAINS, cores=1, random_seed=int(rng.integers(2**31)),
            initvals=start,
            init="jitter+adapt_diag", target_accept=_ACCEPTED, progressbar=False, compute_convergence_checks=False,
        )  # fmt: skip
    held = {name: np.asarray(trace.posterior[name]) for name in ("z", "log_scale", *law.names)}
    flat = {name: values.reshape(_CHAINS * each, -1) for name, values in held.items()}
    log_scale = flat["log_scale"]
    parameters = np.concatenate([flat[name] for name in law.names], axis=1)
    all_draws = coefficients_of(model, flat["z"], log_scale, parameters)
    diverging = np.asarray(trace.sample_stats["diverging"])
    container = container_of(
        all_draws, model, chains=_CHAINS, sample_stats={"diverging": diverging}
    )
    checked(container["posterior"], float(diverging.mean()))
    kept = np.linspace(0, len(log_scale) - 1, draws).astype(int)
    return all_draws.take(kept), container


def checked(posterior: Any, diverging: float) -> None:
    """ScarfdateError where chains disagree, have too few effective draws, or diverge."""
    bad = [
        (r_hat, f"{name}: R-hat {r_hat:.3f}, ESS {ess:.0f}")
        for name, (r_hat, ess) in diagnostics(posterior).items()
        if r_hat > WIDER_R_HAT or ess < WIDER_ESS
    ]
    if bad or diverging > DIVERGING:
        worst = "; ".join(text for _, text in sorted(bad, reverse=True)[:_NAMED])
        raise ScarfdateError(
            f"prices: the chains cannot be trusted ({100 * diverging:.1f} % divergent steps; {worst}). Ask for "
            "more draws, or use route='laplace'"
        )
