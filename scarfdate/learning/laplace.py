"""The quick route: a Laplace approximation at the posterior mode, the hyperparameters by empirical Bayes.

    log posterior(z | s)  =  log likelihood(z)  -  sum of exp(-2 s) z squared / 2,   s the log scale of each

in whitened coordinates z, in which the prior at scale one is standard normal. The scales, hyperparameters of
the prior, are not maximised together with z: the joint density has no useful mode (all scales run to
zero). They are chosen where the marginal likelihood (evidence) by Laplace's approximation, times their
hyperprior, is largest (MacKay 1992, "Bayesian interpolation", Neural Computation 4, 415-447; from memory):
with the likelihood as a normal around the mode, and again around the new mode until they settle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.errors import ScarfdateError
from scarfdate.learning.deviations import LAG, Deviations
from scarfdate.learning.information import complete_data_information, observed_information
from scarfdate.learning.likelihood import Likelihood

_ROUNDS, _STEPS = 10, 500
_MEMORY = 20  # corrections that L-BFGS keeps
_SLOPE = (
    2e-3  # of the log posterior by one posterior standard deviation: the largest one at convergence
)
_NEWTON_GAIN = 0.1  # nats that a Newton step could gain: with more, that was no mode
_LAGS, _TURNS = (-15, -10, -5, 0, 5, 10, 15), 3  # years that are tried at first, and how often
_SETTLED = 0.05  # the largest change of a log scale at convergence
_LOG_SCALES = (-3.0, 3.0)
_LEAST_INFORMATION = 0.25  # of the prior's precision, along directions in which the records pull
_RADIUS = 2.0  # of a step of the log scales: the normal approximation is that of the mode before
# proposals of the scales in importance resampling, fewer where theta is longer than the last
_FEW, _MANY, _LARGE = 100, 400, 400
_INFINITE = 1e12  # nats: the loss where the likelihood cannot be worked out
_INFLATED = 1.05  # standard deviations of the proposals, so that their tails cover the target's


@dataclass(frozen=True, eq=False, kw_only=True)
class NormalLikelihood:
    """A normal approximation of the likelihood in whitened coordinates: its ``information`` (size, size),
    minus the Hessian, and ``gradient`` (size,) at z = 0; ``scale_of`` (size,) the scale of each entry;
    ``log_scale_sd`` (scales,) of the hyperprior."""

    information: Array
    gradient: Array
    scale_of: NDArray[np.intp]
    log_scale_sd: Array

    def root(self, log_scale: Array) -> Array:
        """The Cholesky factor of the posterior precision given the scales, (size, size)."""
        precision = self.information.copy()
        precision[np.diag_indices_from(precision)] += np.exp(-2 * log_scale)[self.scale_of]
        return np.asarray(np.linalg.cholesky(precision), np.float64)

    def log_marginal(self, log_scale: Array) -> tuple[float, Array, Array]:
        """The log of evidence times hyperprior of the scales, up to a constant; the Cholesky factor of the
        posterior precision H, and its solution for the gradient.

        With m the posterior mean it is m' H m / 2 - log det H / 2 - the sum of the log scales of all entries.
        """
        from scipy.linalg import solve_triangular

        root = self.root(log_scale)
        half = solve_triangular(root, self.gradient, lower=True)
        value = half @ half / 2 - np.log(np.diag(root)).sum() - log_scale[self.scale_of].sum()
        return float(value - ((log_scale / self.log_scale_sd) ** 2).sum() / 2), root, half

    def log_marginal_derivatives(self, log_scale: Array) -> tuple[float, Array, Array]:
        """`log_marginal`, its gradient and its Hessian.

        With C the inverse of H and t = exp(-2 s), of which H changes by -2 t with s, the derivative by a
        scale is the sum over its entries of t (m squared + C) - 1.
        """
        from scipy.linalg.lapack import dpotri

        value, root, _ = self.log_marginal(log_scale)
        half, _ = dpotri(root, lower=1)
        covariance = np.tril(half) + np.tril(half, -1).T
        mean = covariance @ self.gradient
        t = np.exp(-2 * log_scale)
        second_moment = t * self._by_scale(mean**2 + np.diag(covariance))
        gradient = second_moment - self._by_scale(np.ones(len(mean)))
        gradient -= log_scale / self.log_scale_sd**2
        pairs = covariance * (covariance + 2 * mean[:, None] * mean)
        hessian = 2 * t[:, None] * t * self._by_scale(self._by_scale(pairs).T)
        hessian -= np.diag(2 * second_moment + 1 / self.log_scale_sd**2)
        return value, gradient, hessian

    def _by_scale(self, rows: Array) -> Array:
        """Rows added up by their scale."""
        one = np.zeros((len(self.log_scale_sd), len(rows)))
        one[self.scale_of, np.arange(len(rows))] = 1.0
        return np.asarray(one @ rows)


@dataclass(frozen=True, eq=False, kw_only=True)
class Mode:
    """``theta`` (size,), the posterior mode; ``z``, the same whitened; ``log_scale``, the scales with the most
    evidence times hyperprior, and ``scale_root``, a root of their posterior covariance; ``log_evidence``, log
    P(records) under those scales; ``log_likelihood`` at the mode; ``newton_gain``, what a Newton step promises,
    nats; ``normal``, the likelihood there."""

    theta: Array
    z: Array
    log_scale: Array
    scale_root: Array
    log_evidence: float
    log_likelihood: float
    newton_gain: float
    normal: NormalLikelihood
    layout: Deviations

    def draws(self, n: int, rng: np.random.Generator) -> tuple[Array, Array]:
        """theta (n, size) and log scales (n, scales): scales by importance resampling, from a normal around
        those with the most evidence, and theta from its normal posterior given each of them."""
        from scipy.linalg import solve_triangular

        proposals = _FEW if len(self.theta) > _LARGE else _MANY
        noise = rng.standard_normal((proposals, len(self.log_scale)))
        scales = np.clip(self.log_scale + _INFLATED * noise @ self.scale_root.T, *_LOG_SCALES)
        marginals = [self.normal.log_marginal(scale) for scale in scales]
        log = np.array([value for value, *_ in marginals]) + (noise**2).sum(axis=1) / 2
        weight = np.exp(log - log.max())
        times = rng.multinomial(n, weight / weight.sum())
        drawn = []
        for (_, root, half), many in zip(marginals, times.tolist(), strict=True):
            around = half[:, None] + rng.standard_normal((len(self.theta), many))
            drawn.append(solve_triangular(root.T, around, lower=False).T)
        order = rng.permutation(n)  # so that any stretch of them is a fair sample
        z = np.concatenate(drawn)[order]
        one = np.zeros(len(self.log_scale))
        theta = np.stack([self.layout.unwhitened(each, one) for each in z])
        return theta, np.repeat(scales, times, axis=0)[order]


def laplace(likelihood: Likelihood) -> Mode:
    """The mode, the normal approximation there, and the scales. ScarfdateError where no mode is found."""
    layout = likelihood.deviations
    scale_of = layout.scale_of()
    log_scale: Array = np.zeros(len(layout.scales))
    z = _start(likelihood)
    # positive semi-definite, which the observed information far from the mode need not be
    complete = complete_data_information(likelihood, layout.unwhitened(z, log_scale))
    information = _regularised(layout.whitened_hessian(complete), z, np.ones(layout.size))
    for _ in range(_ROUNDS):
        z, value, gradient = _maximised(likelihood, z, information, log_scale)
        theta = layout.unwhitened(z, np.zeros_like(log_scale))
        observed = layout.whitened_hessian(observed_information(likelihood, theta))
        precision = np.exp(-2 * log_scale)[scale_of]
        information = _regularised(observed, z, precision)
        normal = NormalLikelihood(
            information=information,
            gradient=information @ z + precision * z,
            scale_of=scale_of,
            log_scale_sd=layout.log_scale_sd,
        )
        before, log_scale = log_scale, _most_evidence(normal, log_scale)
        if np.abs(log_scale - before).max() < _SETTLED:
            break
    log_scale = before  # of which this is the mode
    hessian = normal.log_marginal_derivatives(log_scale)[2]
    try:
        root = np.linalg.cholesky(observed + np.diag(precision))
        newton_gain = float(((np.linalg.solve(root, gradient)) ** 2).sum() / 2)
    except np.linalg.LinAlgError:  # at a mode it is positive definite
        root, newton_gain = np.zeros_like(observed), np.inf
    if newton_gain > _NEWTON_GAIN:
        raise ScarfdateError(
            f"learning: no most probable tables were found ({newton_gain:.2g} nats left); try route='counts', or "
            "fewer clues"
        )
    log_evidence = value - precision @ z**2 / 2 + np.log(precision).sum() / 2
    log_evidence -= np.log(np.diag(root)).sum()
    return Mode(
        theta=theta,
        z=z,
        log_scale=log_scale,
        scale_root=_scale_root(hessian, layout.log_scale_sd),
        log_evidence=float(log_evidence),
        log_likelihood=value,
        newton_gain=newton_gain,
        normal=normal,
        layout=layout,
    )


def _start(likelihood: Likelihood) -> Array:
    """The parent's tables but for their lags, each of which is tried at some years before and after, in turns
    until none changes: near a wrong lag the shares can make up for it, and a search would not come back."""
    layout = likelihood.deviations
    z, one = np.zeros(layout.size), np.zeros(len(layout.scales))
    lags = [
        (here.start, float(root[0, 0]))
        for part, here, root in layout.stretches()
        if part.kind == LAG
    ]

    def log_posterior(z: Array) -> float:
        return likelihood.value(layout.unwhitened(z, one)) - float(z @ z) / 2

    best = log_posterior(z)
    for _ in range(_TURNS):
        before = z.copy()
        for place, sd in lags:
            for lag in _LAGS:
                other = z.copy()
                other[place] = lag / sd
                if (now := log_posterior(other)) > best:
                    z, best = other, now
        if np.array_equal(z, before):
            break
    return z


def _scale_root(hessian: Array, sd: Array) -> Array:
    """A root of the posterior covariance of the log scales, no wider than their hyperprior with ``sd``."""
    value, vector = np.linalg.eigh(-hessian * sd[:, None] * sd)
    return np.asarray(sd[:, None] * vector / np.sqrt(np.maximum(value, 1.0)))


def _maximised(
    likelihood: Likelihood, z: Array, information: Array, log_scale: Array
) -> tuple[Array, float, Array]:
    """The mode from a start; the log likelihood there, and the gradient of the log posterior.

    By L-BFGS, preconditioned by the posterior precision with the ``information`` at hand: a step costs little,
    a Hessian much.
    """
    from scipy.linalg import solve_triangular
    from scipy.optimize import minimize

    layout = likelihood.deviations
    one = np.zeros_like(log_scale)
    precision = np.exp(-2 * log_scale)[layout.scale_of()]
    root = np.linalg.cholesky(information + np.diag(precision))

    def at(x: Array) -> Array:
        return np.asarray(z + solve_triangular(root, x, lower=True, trans=1))

    def loss(x: Array) -> tuple[float, Array]:
        here = at(x)
        # a first step can be far too long
        with np.errstate(all="ignore"):
            value, gradient = likelihood.value_and_gradient(layout.unwhitened(here, one))
        if not (np.isfinite(value) and np.isfinite(gradient).all()):
            return _INFINITE, np.zeros_like(x)
        by_z = layout.whitened_gradient(gradient, one) - precision * here
        return (
            float(precision @ here**2) / 2 - value,
            -np.asarray(solve_triangular(root, by_z, lower=True)),
        )

    best = minimize(
        loss, np.zeros_like(z), jac=True, method="L-BFGS-B",
        options={"maxiter": _STEPS, "maxcor": _MEMORY, "gtol": _SLOPE, "ftol": 0.0},
    )  # fmt: skip
    here = at(best.x)
    value, gradient = likelihood.value_and_gradient(layout.unwhitened(here, one))
    return here, value, layout.whitened_gradient(gradient, one) - precision * here


def _regularised(information: Array, z: Array, precision: Array) -> Array:
    """The nearest positive semi-definite information.

    Wide intervals, and lags, leave directions in which only the prior makes the posterior concave. Negative
    eigenvalues there become zero; and where the records pull away from the tables all the same, as a
    straight line would without end, a little above zero.
    """
    value, vector = np.linalg.eigh(information)
    prior = precision @ vector**2
    pull = prior * (z @ vector) ** 2  # squared prior standard deviations that they have pulled
    least = _LEAST_INFORMATION * prior * pull / (1 + pull)
    return np.asarray((vector * np.maximum(value, least)) @ vector.T)


def _most_evidence(normal: NormalLikelihood, start: Array) -> Array:
    """The log scales with the most evidence times hyperprior, the likelihood held as a normal."""
    from scipy.optimize import minimize

    known: dict[bytes, tuple[float, Array, Array]] = {}

    def at(log_scale: Array) -> tuple[float, Array, Array]:
        key = log_scale.tobytes()
        if key not in known:
            known[key] = normal.log_marginal_derivatives(np.clip(log_scale, *_LOG_SCALES))
        return known[key]

    best = minimize(
        lambda x: -at(x)[0], start, jac=lambda x: -at(x)[1], hess=lambda x: -at(x)[2], method="trust-exact",
        options={"initial_trust_radius": _RADIUS / 2, "max_trust_radius": _RADIUS, "gtol": 1e-2, "maxiter": 12},
    )  # fmt: skip
    return np.asarray(np.clip(best.x, *_LOG_SCALES), np.float64)
