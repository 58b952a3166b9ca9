"""The long route: the same density of the log prices, sampled by NUTS, as PyMC states it.

What is not known of a piece adds the same variance as in the quick route, worked out at its effects. Convergence is
checked as in `scarfdate.learning.nuts`, whose limits hold for every effect, spread and shape.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from scarfdate.conventions import Array
from scarfdate.errors import ScarfdateError, needed
from scarfdate.learning.nuts import DIVERGING, WIDER_ESS, WIDER_R_HAT, diagnostics
from scarfdate.worth.coefficients import Coefficients
from scarfdate.worth.laws import LEAST_NU, StudentT
from scarfdate.worth.pooled_fit import Fit, coefficients_of
from scarfdate.worth.price_container import container_of

_CHAINS, _TUNE, _LEAST_DRAWS = 4, 500, 500
_ACCEPTED = 0.9  # of the proposals
_NAMED = 3


def price_density(found: Fit, law: StudentT) -> Any:
    """The PyMC model of log prices.

    Effects are mean + sd exp(log scale) u with u standard normal (flat where the prior is). The sampler moves in
    coordinates x, u = centre + root x, which only make its steps longer: centre and root are those of the quick
    route.
    """
    import pymc as pm
    import pytensor.tensor as pt

    model, prior = found.model, found.model.prior
    centre, root = _coordinates(found)
    with pm.Model() as density:
        x = pm.Flat("x", shape=len(centre))
        u = pm.Deterministic("u", centre + pt.dot(root, x))
        pm.Potential("prior of u", -0.5 * pt.sum(np.where(prior.flat, 0.0, 1.0) * u**2))
        log_scale = pm.Normal("log_scale", 0.0, prior.log_scale_sd, shape=len(prior.scales))
        scale = pt.exp(pt.concatenate([log_scale, [0.0]])[prior.scale_of])
        theta = prior.mean + prior.sd * scale * u
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


def _coordinates(found: Fit) -> tuple[Array, Array]:
    """The mode of u, and a root of its covariance given the scales."""
    scale = np.append(np.exp(found.log_scale), 1.0)[found.model.prior.scale_of]
    covariance = np.linalg.inv(
        found.normal.root(found.log_scale) @ found.normal.root(found.log_scale).T
    )
    return found.z / scale, np.linalg.cholesky(covariance / (scale[:, None] * scale))


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
            draws=each, tune=_TUNE, chains=_CHAINS, cores=min(_CHAINS, 2), random_seed=int(rng.integers(2**31)),
            initvals=start,
            init="jitter+adapt_diag", target_accept=_ACCEPTED, progressbar=False, compute_convergence_checks=False,
        )  # fmt: skip
    held = {name: np.asarray(trace.posterior[name]) for name in ("u", "log_scale", *law.names)}
    flat = {name: values.reshape(_CHAINS * each, -1) for name, values in held.items()}
    log_scale = flat["log_scale"]
    scale = np.append(np.exp(log_scale), np.ones((len(log_scale), 1)), axis=1)
    parameters = np.concatenate([flat[name] for name in law.names], axis=1)
    z = flat["u"] * scale[:, model.prior.scale_of]
    all_draws = coefficients_of(model, z, log_scale, parameters)
    diverging = np.asarray(trace.sample_stats["diverging"])
    container = container_of(
        all_draws, model, chains=_CHAINS, sample_stats={"diverging": diverging}
    )
    _check(container["posterior"], float(diverging.mean()))
    kept = np.linspace(0, len(log_scale) - 1, draws).astype(int)
    return all_draws.take(kept), container


def _check(posterior: Any, diverging: float) -> None:
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
