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
from scarfdate.worth.pooled import Pooled
from scarfdate.worth.pooled_fit import Fit, coefficients_of
from scarfdate.worth.price_container import container_of

_CHAINS, _TUNE, _LEAST_DRAWS = 4, 500, 500
_ACCEPTED = 0.9  # of the proposals
_NAMED = 3


def price_density(model: Pooled, law: StudentT) -> Any:
    """The PyMC model of log prices: whitened effects ``z``, log scales of the groups, and the residual's shape."""
    import pymc as pm
    import pytensor.tensor as pt

    prior = model.prior
    with pm.Model() as density:
        pooled = prior.scale_of < len(prior.scales)
        z = pm.Flat("z", shape=len(prior.sd))
        pm.Potential("prior of z", -0.5 * pt.sum(np.where(prior.flat, 0.0, 1.0) * z**2))
        scale = pt.ones(len(prior.sd))
        if len(prior.scales):
            log_scale = pm.Normal("log_scale", 0.0, prior.log_scale_sd, shape=len(prior.scales))
            scale = pt.where(
                pooled, pt.exp(pt.concatenate([log_scale, [0.0]])[prior.scale_of]), 1.0
            )
        theta = prior.mean + prior.sd * scale * z
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
    scale = np.append(np.exp(found.log_scale), 1.0)[model.prior.scale_of]
    start = {"z": found.z / scale, "log_scale": found.log_scale}
    start |= dict(zip(law.names, found.parameters, strict=True))
    with price_density(model, law) as density:
        names = {variable.name for variable in density.free_RVs}
        trace = pm.sample(
            draws=each, tune=_TUNE, chains=_CHAINS, cores=min(_CHAINS, 2), random_seed=int(rng.integers(2**31)),
            initvals={name: value for name, value in start.items() if name in names},
            init="jitter+adapt_diag", target_accept=_ACCEPTED, progressbar=False, compute_convergence_checks=False,
        )  # fmt: skip
    drawn = {name: np.asarray(trace.posterior[name], np.float64) for name in names}
    flat = {name: values.reshape(-1, *values.shape[2:]) for name, values in drawn.items()}
    log_scale = flat.get("log_scale", np.empty((len(flat["z"]), 0)))
    whole = np.append(np.exp(log_scale), np.ones((len(log_scale), 1)), axis=1)
    parameters = np.stack([flat[name] for name in law.names], axis=1)
    all_draws = coefficients_of(
        model, flat["z"] * whole[:, model.prior.scale_of], log_scale, parameters
    )
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
