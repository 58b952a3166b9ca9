"""The long route: the posterior of theta and of the scales, sampled by NUTS.

PyMC samples standard normals x in the reparametrisation of `Coordinates`, which only makes the steps longer. The
likelihood and its gradient are those of `Likelihood`: exact sums in NumPy, wrapped as one operation of
PyTensor. Convergence is checked as usual (Vehtari, Gelman, Simpson, Carpenter and Buerkner 2021,
"Rank-normalization, folding, and localization: an improved R-hat", Bayesian Analysis 16, 667-718) for
every share at every knot and every slip rate, and chains that have not converged are refused. Scales, lags and
measures, which have long tails where few pieces were measured, are refused beyond wider limits, and a note
names them beyond the usual ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from scarfdate.conventions import Array
from scarfdate.errors import ScarfdateError
from scarfdate.learning.clue_likelihood import sum_by_group
from scarfdate.learning.container import container
from scarfdate.learning.deviations import LAG, SHARES
from scarfdate.learning.laplace import Mode, laplace
from scarfdate.learning.likelihood import Likelihood

# the largest of a thousand R-hats is below 1.01 only where each chain has some hundred effective draws
_CHAINS, _TUNE, _LEAST_DRAWS = 4, 300, 750
# with fewer entries than the second a draw costs next to nothing
_MANY_DRAWS, _SMALL = 1500, 400
R_HAT, ESS = 1.01, 400.0  # the usual limits (the paper above)
WIDER_R_HAT, WIDER_ESS = 1.05, 100.0  # of scales, lags and measures (common practice)
STRICT = ("share_", "slip_")
_TAILS = (0.05, 0.95)  # as usual
# of the draws: more, and a corner of the posterior was not reached (common practice)
DIVERGING = 0.005
_NAMED = 3


class Coordinates:
    """A reparametrisation: standard normals x = (u, v) behind theta and the log scales s, (size + scales,).

    s is that of the Laplace approximation plus a root of its covariance times v. If the likelihood were the
    normal of that approximation, and the parts of theta were independent, then a part of theta given s would
    be normal with precision B + exp(-2 s) Q: B the information of the records, Q the prior precision. In
    coordinates z in which Q is the identity and B diagonal, with entries b, that is

        z  =  l / k  +  u / sqrt(k)        k = b + exp(-2 s),   l the gradient of the likelihood at z = 0

    with u independent standard normals, for every s. The lag of a table comes first, and l of its shares depends
    on it: l is less by c times the lag's distance from its mode, c the information that both share. Where the
    records are informative z hardly moves with the scale (centred); where they are not it moves in proportion
    (non-centred; Papaspiliopoulos, Roberts and Skoeld 2007, "A general framework for the parametrization
    of hierarchical models", Statistical Science 22, 59-73; from memory). How the posterior differs from that
    normal the sampler finds out.
    """

    def __init__(self, likelihood: Likelihood, mode: Mode) -> None:
        self.likelihood, self.layout, self.mode = likelihood, likelihood.deviations, mode
        layout, normal = self.layout, mode.normal
        self.size = layout.size + len(layout.scales)
        self.last: tuple[Array, tuple[float, Array]] | None = None
        self.scale_of, self.log_scale_sd = layout.scale_of(), layout.log_scale_sd
        self.blocks: list[tuple[slice, Array]] = []
        self.information, self.gradient = np.empty(layout.size), np.empty(layout.size)
        precision = np.exp(-2 * mode.log_scale)[self.scale_of]
        vectors = []
        for _, here, root in layout.stretches():
            information, at = normal.information[here, here], mode.z[here]
            value, vector = np.linalg.eigh(information)
            vectors.append(np.asarray(vector, np.float64))
            self.blocks.append((here, np.asarray(root @ vector, np.float64)))
            self.information[here] = np.maximum(value, 0.0)
            self.gradient[here] = vector.T @ (information @ at + precision[here] * at)
        self._lags(precision, vectors)

    def _lags(self, precision: Array, vectors: Sequence[Array]) -> None:
        """The place of each share's lag, and c; and the information on a lag with the shares marginalised."""
        layout, whole, z = self.layout, self.mode.normal.information, self.mode.z
        self.lag_of, self.with_lag = np.zeros(layout.size, dtype=np.intp), np.zeros(layout.size)
        lags = {part.family: here.start for part, here, _ in layout.stretches() if part.kind == LAG}
        for (part, here, _), vector in zip(layout.stretches(), vectors, strict=True):
            if part.kind != SHARES:
                continue
            lag = lags[part.family]
            self.lag_of[here] = lag
            self.with_lag[here] = vector.T @ whole[here, lag]
            k = self.information[here] + precision[here]
            marginal = self.information[lag] - float((self.with_lag[here] ** 2 / k).sum())
            self.information[lag] = max(marginal, 0.0)
            self.gradient[lag] = (self.information[lag] + precision[lag]) * z[lag]

    def parts(self, x: Array) -> tuple[Array, Array]:
        """theta and the log scales."""
        u, log_scale = x[: self.layout.size], self._log_scale(x)
        k = self.information + np.exp(-2 * log_scale)[self.scale_of]
        return self._theta(self._mean(u, k) + u / np.sqrt(k)), log_scale

    def _mean(self, u: Array, k: Array) -> Array:
        """The mean of z given the lags and scales."""
        lags = self.gradient / k + u / np.sqrt(k)  # of shares this is not used
        off = (lags - self.mode.z)[self.lag_of]
        return np.asarray((self.gradient - self.with_lag * off) / k)

    def _log_scale(self, x: Array) -> Array:
        return self.mode.log_scale + self.mode.scale_root @ x[self.layout.size :]

    def _theta(self, z: Array) -> Array:
        theta = np.empty_like(z)
        for here, vector in self.blocks:
            theta[here] = vector @ z[here]
        return theta

    def value_and_gradient(self, x: Array) -> tuple[float, Array]:
        """The log posterior density of theta and scales as one of x, up to a constant; and its gradient."""
        # a sampler asks for the value and for the gradient of a place one after the other
        if self.last is None or not np.array_equal(x, self.last[0]):
            self.last = x.copy(), self._value_and_gradient(x)
        return self.last[1]

    def _value_and_gradient(self, x: Array) -> tuple[float, Array]:
        # a first step can be far too long: such a place has no chance, and no slope worth knowing
        with np.errstate(all="ignore"):
            log_scale = self._log_scale(x)
            t = np.exp(-2 * log_scale)[self.scale_of]
            k = self.information + t
            root = np.sqrt(k)
            mean = self._mean(x[: self.layout.size], k)
            z = mean + x[: self.layout.size] / root
            value, gradient = self.likelihood.value_and_gradient(self._theta(z))
            value -= float(t @ z**2 + np.log(k).sum()) / 2 + float(log_scale[self.scale_of].sum())
            value -= float(((log_scale / self.log_scale_sd) ** 2).sum()) / 2
        if not (np.isfinite(value) and np.isfinite(gradient).all()):
            return -np.inf, np.zeros_like(x)
        by_z = -t * z
        for here, vector in self.blocks:
            by_z[here] += gradient[here] @ vector
        by_z -= sum_by_group(by_z * self.with_lag / k, self.lag_of, len(z))
        each = t / k * (by_z * (mean + z) + 1) + t * z**2 - 1
        by_scale = sum_by_group(each, self.scale_of, len(log_scale))
        by_scale -= log_scale / self.log_scale_sd**2
        return value, np.concatenate((by_z / root, by_scale @ self.mode.scale_root))


def log_density(place: Coordinates) -> Any:
    """`Coordinates.value_and_gradient` as an operation of PyTensor, from x to the value, with its gradient."""
    import pytensor.tensor as pt
    from pytensor.graph import Apply, Op

    class ValueAndGradient(Op):  # type: ignore[misc]  # its package is not read for types
        """The value and the gradient."""

        def make_node(self, x: Any) -> Any:
            return Apply(self, [pt.as_tensor_variable(x)], [pt.dscalar(), pt.dvector()])

        def perform(self, node: Any, inputs: Sequence[Array], outputs: list[list[Any]]) -> None:
            for output, value in zip(outputs, place.value_and_gradient(inputs[0]), strict=True):
                output[0] = np.asarray(value)

    class Value(Op):  # type: ignore[misc]
        """The value alone, which PyTensor can differentiate."""

        def make_node(self, x: Any) -> Any:
            return Apply(self, [pt.as_tensor_variable(x)], [pt.dscalar()])

        def perform(self, node: Any, inputs: Sequence[Array], outputs: list[list[Any]]) -> None:
            outputs[0][0] = np.asarray(place.value_and_gradient(inputs[0])[0])

        def grad(self, inputs: Sequence[Any], output_gradients: Sequence[Any]) -> list[Any]:
            return [output_gradients[0] * both(*inputs)[1]]

        def pullback(
            self, inputs: Sequence[Any], outputs: Sequence[Any], cotangents: Sequence[Any]
        ) -> list[Any]:
            # as `grad`, by the name that later versions of PyTensor ask for
            return self.grad(inputs, cotangents)

    both = ValueAndGradient()
    return Value()


def sampled(
    likelihood: Likelihood, draws: int, rng: np.random.Generator
) -> tuple[Array, Array, Any, str]:
    """theta (draws, size) and log scales (draws, scales) thinned from all chains, the container of all draws, and
    a note on the chains, or "".

    Raises ScarfdateError where PyMC is not installed, or where the chains have not converged.
    """
    try:
        import pymc as pm
    except ImportError:
        raise ScarfdateError(
            "route 'hierarchical' needs PyMC and ArviZ: pip install 'scarfdate[learn]'"
        ) from None
    layout = likelihood.deviations
    place = Coordinates(likelihood, laplace(likelihood))
    least = _MANY_DRAWS if layout.size < _SMALL else _LEAST_DRAWS
    each = max(least, -(-draws // _CHAINS))
    with pm.Model():
        x = pm.Flat("x", shape=place.size)
        pm.Potential("records", log_density(place)(x))
        trace = pm.sample(
            draws=each, tune=_TUNE, chains=_CHAINS, cores=min(_CHAINS, 2), random_seed=int(rng.integers(2**31)),
            initvals={"x": np.zeros(place.size)}, init="jitter+adapt_diag", progressbar=False,
            compute_convergence_checks=False,
            # the density is one operation of NumPy: a compiler around it costs more than it saves
            compile_kwargs={"mode": "FAST_COMPILE"},
        )  # fmt: skip
    x_drawn = np.asarray(trace.posterior["x"])
    shape = x_drawn.shape[:2]
    if shape != (_CHAINS, each):  # an interrupted run comes back with what it has
        raise ScarfdateError(
            f"learning: the run was interrupted after {shape[1]} of {each} draws a chain and is not kept; "
            "run it again with an rng of the same seed"
        )
    both = [place.parts(one) for one in x_drawn.reshape(-1, place.size)]
    theta, log_scale = (np.stack(some) for some in zip(*both, strict=True))
    stats = {
        name: np.asarray(trace.sample_stats[name])
        for name in ("diverging", "step_size", "n_steps", "acceptance_rate")
        if name in trace.sample_stats
    }
    held = container(likelihood, theta.reshape(*shape, -1), log_scale.reshape(*shape, -1), stats)
    note = checked(held["posterior"], float(stats["diverging"].mean()))
    kept = np.linspace(0, len(theta) - 1, draws).astype(int)
    return theta[kept], log_scale[kept], held, note


def diagnostics(posterior: Any) -> dict[str, tuple[float, float]]:
    """Of every variable of a container's posterior: the largest R-hat of its entries, and the smallest
    effective sample size, bulk or tail."""
    import arviz

    with np.errstate(invalid="ignore"):  # an impossible value never moves, and has no R-hat
        hats, bulks, tails = (
            {str(name): np.asarray(values) for name, values in each.data_vars.items()}
            for each in (
                arviz.rhat(posterior),
                arviz.ess(posterior, method="bulk"),
                arviz.ess(posterior, method="tail", prob=_TAILS),
            )
        )
    return {
        name: (float(np.nanmax(hat)), float(min(np.nanmin(bulks[name]), np.nanmin(tails[name]))))
        for name, hat in hats.items()
        if not np.isnan(hat).all()
    }


def checked(posterior: Any, diverging: float) -> str:
    """ScarfdateError where chains disagree, have too few effective draws, or diverge: which, and what to do.

    ``diverging``: the share of draws, 0 to 1, whose step diverged. Returns a note that names those scales, lags
    and measures that are within their wider limits only, or "".
    """
    bad, thin = [], []
    for name, (r_hat, ess) in diagnostics(posterior).items():
        strict = name.startswith(STRICT)
        line = r_hat, f"{name}: R-hat {r_hat:.3f}, ESS {ess:.0f}"
        if r_hat > (R_HAT if strict else WIDER_R_HAT) or ess < (ESS if strict else WIDER_ESS):
            bad.append(line)
        elif r_hat > R_HAT or ess < ESS:
            thin.append(line)
    if bad or diverging > DIVERGING:
        diverged = f"{100 * diverging:.1f} % divergent steps; " if diverging > DIVERGING else ""
        raise ScarfdateError(
            f"learning: the chains cannot be trusted ({diverged}{_worst(bad)}). Ask for more draws, leave out the "
            "clue named first, or use route='laplace'"
        )
    return f"the chains are thin in the tails of {_worst(thin)}" if thin else ""


def _worst(lines: list[tuple[float, str]]) -> str:
    return "; ".join(text for _, text in sorted(lines, reverse=True)[:_NAMED])
