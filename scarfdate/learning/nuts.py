"""The long route: the same target sampled by NUTS, with the scales sampled, too.

PyMC samples standard normals behind the deviations and the scales (`Coordinates`), which only makes the
steps longer. The likelihood and its gradient are those of `Target`: exact sums in NumPy, wrapped as one
operation. Convergence is checked as usual (Vehtari, Gelman, Simpson, Carpenter and Buerkner 2021,
"Rank-normalization, folding, and localization: an improved R-hat", Bayesian Analysis 16, 667-718), for
every share at every knot and every slip, and a bad one is refused. Scales, lags and measures, which have long
tails where few pieces were measured, are refused by wider limits, and told where they miss the usual ones.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from scarfdate.errors import ScarfdateError
from scarfdate.knots import Array
from scarfdate.learning.groups import container, named
from scarfdate.learning.laplace import laplace
from scarfdate.learning.likelihood import Target

# the largest of a thousand R-hats is below 1.01 only where each chain has some hundred effective draws
_CHAINS, _TUNE, _LEAST_DRAWS = 4, 300, 750
# with fewer entries than the second a draw costs next to nothing
_MANY_DRAWS, _SMALL = 1500, 400
R_HAT, ESS = 1.01, 400.0  # the usual limits (the paper above)
WIDER_R_HAT, WIDER_ESS = 1.05, 100.0  # of scales, lags and measures (common practice)
STRICT = ("share_", "slip_")
_TAILS = (0.05, 0.95)  # as usual
DIVERGING = (
    0.005  # of the draws: more, and a corner of the posterior was not reached (common practice)
)
_NAMED = 3


def sampled(target: Target, draws: int, rng: np.random.Generator) -> tuple[Array, Array, Any, str]:
    """Deviations (draws, size) and log scales (draws, scales) thinned from all chains, the container, and
    what is to be told of the chains, if anything.

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
    least = _MANY_DRAWS if layout.size < _SMALL else _LEAST_DRAWS
    each = max(least, -(-draws // _CHAINS))
    with pm.Model():
        x = pm.Flat("x", shape=place.size)
        pm.Potential("records", LogDensity(place)(x))
        trace = pm.sample(
            draws=each, tune=_TUNE, chains=_CHAINS, cores=min(_CHAINS, 2), random_seed=int(rng.integers(2**31)),
            initvals={"x": np.zeros(place.size)}, init="jitter+adapt_diag", progressbar=False,
            compute_convergence_checks=False,
        )  # fmt: skip
    x_drawn = np.asarray(trace.posterior["x"])
    if x_drawn.shape[:2] != (_CHAINS, each):  # an interrupted run comes back with what it has
        raise ScarfdateError(
            f"learning: the run was interrupted after {x_drawn.shape[1]} of {each} draws a chain and is not kept; "
            "run it again with an rng of the same seed"
        )
    both = [place.parts(one) for one in x_drawn.reshape(-1, place.size)]
    free = np.stack([one for one, _ in both]).reshape(*x_drawn.shape[:2], -1)
    log_scale = np.stack([one for _, one in both]).reshape(*x_drawn.shape[:2], -1)
    diverging = np.asarray(trace.sample_stats["diverging"])
    told = checked(named(target, free, log_scale), float(diverging.mean()))
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
        told,
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


def checked(found: dict[str, Array], diverging: float) -> str:
    """ScarfdateError where chains disagree, have too few effective draws, or diverge: which, and what to do.

    ``diverging``: the share of draws, 0 to 1, whose step diverged. Returns what is told of those scales and
    measures that are within their wider limits only, or nothing.
    """
    bad, thin = [], []
    for name, (hat, bulk, tail) in diagnosed(found).items():
        strict, most, few = name.startswith(STRICT), float(hat.max()), min(bulk.min(), tail.min())
        said = most, f"{name}: R-hat {most:.3f}, ESS {few:.0f}"
        if most > (R_HAT if strict else WIDER_R_HAT) or few < (ESS if strict else WIDER_ESS):
            bad.append(said)
        elif most > R_HAT or few < ESS:
            thin.append(said)
    if bad or diverging > DIVERGING:
        lost = f"{100 * diverging:.1f} % divergent steps; " if diverging > DIVERGING else ""
        raise ScarfdateError(
            f"learning: the chains cannot be trusted ({lost}{_worst(bad)}). Ask for more draws, leave out the "
            "clue named first, or use route='laplace'"
        )
    return f"the chains are thin in the tails of {_worst(thin)}" if thin else ""


def _worst(said: list[tuple[float, str]]) -> str:
    return "; ".join(text for _, text in sorted(said, reverse=True)[:_NAMED])
