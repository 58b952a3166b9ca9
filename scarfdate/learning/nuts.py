"""The long route: the same target sampled by NUTS, with the scales sampled, too.

The deviations are a root of their prior covariance times standard normals, times a scale a family; PyMC
samples these normals, turned so that they would be independent if the posterior were the normal of the
Laplace route (which only makes the steps longer), and the scales. The likelihood and its gradient are those of `Target`: exact sums in
NumPy, wrapped as one operation. Convergence is checked as usual (Vehtari, Gelman, Simpson, Carpenter and
Buerkner 2021, "Rank-normalization, folding, and localization: an improved R-hat", Bayesian Analysis 16,
667-718), for every share at every knot, and a bad one is refused.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from scarfdate.errors import ScarfdateError
from scarfdate.knots import Array
from scarfdate.learning.deviations import SCALE_SPREAD
from scarfdate.learning.groups import container, named
from scarfdate.learning.laplace import laplace
from scarfdate.learning.target import Target

# the largest of a thousand R-hats is below 1.01 only where each chain has some hundred effective draws
_CHAINS, _TUNE, _LEAST_DRAWS = 4, 400, 750
R_HAT, ESS = 1.01, 400.0  # the usual limits (the paper above)
_TAILS = (0.05, 0.95)  # as usual
DIVERGING = (
    0.005  # of the draws: more, and a corner of the posterior was not reached (common practice)
)
_NAMED = 3


def sampled(target: Target, draws: int, rng: np.random.Generator) -> tuple[Array, Array, Any]:
    """Deviations (draws, size) and log scales (draws, scales) thinned from all chains, and the container.

    Raises ScarfdateError where PyMC is not installed, or where the chains have not come together.
    """
    try:
        import pymc as pm
    except ImportError:
        raise ScarfdateError(
            "route 'hierarchical' needs PyMC and ArviZ: pip install 'scarfdate[learn]'"
        ) from None
    from scarfdate.learning.operation import Coordinates, LogDensity

    layout = target.deviations
    mode = laplace(target)
    place = Coordinates(target, mode)
    each = max(_LEAST_DRAWS, -(-draws // _CHAINS))
    with pm.Model():
        u = pm.Flat("u", shape=layout.size)
        scale = pm.Normal("log_scale", 0, SCALE_SPREAD, shape=len(layout.scales))
        pm.Potential("records", LogDensity(place)(u, scale))
        trace = pm.sample(
            draws=each, tune=_TUNE, chains=_CHAINS, cores=min(_CHAINS, 2), random_seed=int(rng.integers(2**31)),
            initvals={"u": np.zeros(layout.size), "log_scale": mode.log_scale}, init="jitter+adapt_diag",
            progressbar=False, compute_convergence_checks=False, target_accept=0.9,
        )  # fmt: skip
    log_scale = np.asarray(trace.posterior["log_scale"])
    free = np.stack(
        [
            [place.free(one, s) for one, s in zip(chain, scales, strict=True)]
            for chain, scales in zip(np.asarray(trace.posterior["u"]), log_scale, strict=True)
        ]
    )
    diverging = np.asarray(trace.sample_stats["diverging"])
    checked(named(target, free, log_scale), float(diverging.mean()))
    stats = {
        name: np.asarray(trace.sample_stats[name])
        for name in ("diverging", "step_size", "n_steps", "acceptance_rate")
        if name in trace.sample_stats
    }
    kept = np.linspace(0, free.shape[0] * free.shape[1] - 1, draws).astype(int)
    return (
        free.reshape(-1, layout.size)[kept],
        log_scale.reshape(-1, log_scale.shape[-1])[kept],
        container(target, free, log_scale, stats),
    )


def diagnosed(found: dict[str, Array]) -> dict[str, tuple[Array, Array, Array]]:
    """R-hat, bulk and tail ESS of every entry of every named array (chains, draws, ...)."""
    import arviz

    out = {}
    for name, value in found.items():
        flat = value.reshape(*value.shape[:2], -1)
        # an impossible value has a share of nothing in every draw
        moving = np.flatnonzero(flat.std(axis=(0, 1)) > 0)
        if not moving.size:
            continue
        rows = [np.ascontiguousarray(flat[:, :, place]) for place in moving.tolist()]
        out[name] = (
            np.array([float(arviz.rhat(row)) for row in rows]),
            np.array([float(arviz.ess(row, method="bulk")) for row in rows]),
            np.array([float(arviz.ess(row, method="tail", prob=_TAILS)) for row in rows]),
        )
    return out


def checked(found: dict[str, Array], diverging: float) -> None:
    """ScarfdateError where chains disagree, have too few effective draws, or diverge: which, and what to do.

    ``diverging``: the share of draws, 0 to 1, whose step diverged.
    """
    bad = []
    for name, (hat, bulk, tail) in diagnosed(found).items():
        if hat.max() > R_HAT or min(bulk.min(), tail.min()) < ESS:
            bad.append(
                (hat.max(), f"{name}: R-hat {hat.max():.3f}, ESS {min(bulk.min(), tail.min()):.0f}")
            )
    if bad or diverging > DIVERGING:
        worst = "; ".join(text for _, text in sorted(bad, reverse=True)[:_NAMED])
        lost = f"{100 * diverging:.1f} % divergent steps; " if diverging > DIVERGING else ""
        raise ScarfdateError(
            f"learning: the chains cannot be trusted ({lost}{worst}). Ask for more draws, leave out the clue "
            "named first, or use route='laplace'"
        )
