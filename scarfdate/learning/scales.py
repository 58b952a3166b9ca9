"""A posterior with a normal likelihood, or one held as normal around its mode, and a prior whose scales are learned.

    log posterior(z | s)  =  log likelihood(z)  -  sum of exp(-2 s) z squared / 2,   s the log scale of each

in whitened coordinates z, in which the prior at scale one is standard normal. An entry of z may have no scale: its
prior, if it has one, is part of the likelihood. The scales, hyperparameters of the prior, are chosen where the
marginal likelihood (evidence) times their hyperprior is largest (MacKay 1992, "Bayesian interpolation", Neural
Computation 4, 415-447; from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array

_STEPS = 500
_MEMORY = 20  # corrections that L-BFGS keeps
_SLOPE = (
    2e-3  # of the log posterior by one posterior standard deviation: the largest one at convergence
)
_LOG_SCALES = (-3.0, 3.0)
_EVIDENCE_SLOPE, _TRIALS = 1e-2, 12
_LEAST_INFORMATION = 0.25  # of the prior's precision, along directions in which the records pull
_RADIUS = 2.0  # of a step of the log scales: the normal approximation is that of the mode before
# proposals of the scales in importance resampling, fewer where z is longer than the last
_FEW, _MANY, _LARGE = 100, 400, 400
_INFINITE = 1e12  # nats: the loss where the likelihood cannot be worked out
_INFLATED = 1.05  # standard deviations of the proposals, so that their tails cover the target's


def prior_precision(log_scale: Array, scale_of: NDArray[np.intp]) -> Array:
    """The prior precision of each entry, (size,): 0 for one without a scale."""
    return np.asarray(np.append(np.exp(-2 * log_scale), 0.0)[scale_of])


@dataclass(frozen=True, eq=False, kw_only=True)
class NormalLikelihood:
    """A normal approximation of the likelihood in whitened coordinates: its ``information`` (size, size),
    minus the Hessian, and ``gradient`` (size,) at z = 0; ``scale_of`` (size,) the scale of each entry, or the
    number of scales for one that has none; ``log_scale_sd`` (scales,) of the hyperprior."""

    information: Array
    gradient: Array
    scale_of: NDArray[np.intp]
    log_scale_sd: Array

    def root(self, log_scale: Array) -> Array:
        """The Cholesky factor of the posterior precision given the scales, (size, size)."""
        from scipy.linalg.lapack import dpotrf

        precision = self.information.copy()
        precision[np.diag_indices_from(precision)] += prior_precision(log_scale, self.scale_of)
        # a symmetric matrix is its own transpose, and lies in memory as LAPACK wants it: nothing is copied
        root, failed = dpotrf(precision.T, lower=1, overwrite_a=1)
        if failed:
            raise np.linalg.LinAlgError("the posterior precision is not positive definite")
        return np.asarray(root, np.float64)

    def log_marginal(self, log_scale: Array) -> tuple[float, Array, Array]:
        """The log of evidence times hyperprior of the scales, up to a constant; the Cholesky factor of the
        posterior precision H, and its solution for the gradient.

        With m the posterior mean it is m' H m / 2 - log det H / 2 - the sum of the log scales of all entries.
        """
        from scipy.linalg import solve_triangular

        root = self.root(log_scale)
        half = solve_triangular(root, self.gradient, lower=True)
        value = (
            half @ half / 2
            - np.log(np.diag(root)).sum()
            - np.append(log_scale, 0.0)[self.scale_of].sum()
        )
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
        one = np.zeros((len(self.log_scale_sd) + 1, len(rows)))
        one[self.scale_of, np.arange(len(rows))] = 1.0
        return np.asarray(one[:-1] @ rows)

    def draws(
        self, n: int, rng: np.random.Generator, log_scale: Array, scale_root: Array
    ) -> tuple[Array, Array]:
        """z (n, size) and log scales (n, scales): scales by importance resampling, from a normal around
        those with the most evidence, and z from its normal posterior given each of them."""
        from scipy.linalg import solve_triangular

        size = len(self.gradient)
        proposals = _FEW if size > _LARGE else _MANY
        noise = rng.standard_normal((proposals, len(log_scale)))
        scales = np.clip(log_scale + _INFLATED * noise @ scale_root.T, *_LOG_SCALES)
        log = np.array([self.log_marginal(scale)[0] for scale in scales])
        log += (noise**2).sum(axis=1) / 2
        weight = np.exp(log - log.max())
        times = rng.multinomial(n, weight / weight.sum())
        drawn = []
        for place in np.flatnonzero(times).tolist():
            # the root is worked out again: those of all proposals at once are a gigabyte
            _, root, half = self.log_marginal(scales[place])
            around = half[:, None] + rng.standard_normal((size, times[place]))
            drawn.append(solve_triangular(root.T, around, lower=False).T)
        order = rng.permutation(n)  # so that any stretch of them is a fair sample
        return np.concatenate(drawn)[order], np.repeat(scales, times, axis=0)[order]


def scale_root(hessian: Array, sd: Array) -> Array:
    """A root of the posterior covariance of the log scales, no wider than their hyperprior with ``sd``."""
    value, vector = np.linalg.eigh(-hessian * sd[:, None] * sd)
    return np.asarray(sd[:, None] * vector / np.sqrt(np.maximum(value, 1.0)))


def maximised(
    value_and_gradient: Callable[[Array], tuple[float, Array]],
    z: Array,
    information: Array,
    precision: Array,
) -> tuple[Array, float, Array]:
    """The mode from a start ``z``; the log likelihood there, and the gradient of the log posterior.

    ``value_and_gradient``: of the log likelihood; ``precision``: of the prior, (size,). By L-BFGS, preconditioned
    by the posterior precision with the ``information`` at hand: a step costs little, a Hessian much.
    """
    from scipy.linalg import solve_triangular
    from scipy.optimize import minimize

    root = np.linalg.cholesky(information + np.diag(precision))

    def at(x: Array) -> Array:
        return np.asarray(z + solve_triangular(root, x, lower=True, trans=1))

    def loss(x: Array) -> tuple[float, Array]:
        here = at(x)
        # a first step can be far too long
        with np.errstate(all="ignore"):
            value, gradient = value_and_gradient(here)
        if not (np.isfinite(value) and np.isfinite(gradient).all()):
            return _INFINITE, np.zeros_like(x)
        by_z = gradient - precision * here
        return (
            float(precision @ here**2) / 2 - value,
            -np.asarray(solve_triangular(root, by_z, lower=True)),
        )

    best = minimize(
        loss, np.zeros_like(z), jac=True, method="L-BFGS-B",
        options={"maxiter": _STEPS, "maxcor": _MEMORY, "gtol": _SLOPE, "ftol": 0.0},
    )  # fmt: skip
    here = at(best.x)
    value, gradient = value_and_gradient(here)
    return here, value, gradient - precision * here


def regularised(information: Array, z: Array, precision: Array) -> Array:
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


def most_evidence(
    normal: NormalLikelihood, start: Array, *, slope: float = _EVIDENCE_SLOPE, steps: int = _TRIALS
) -> Array:
    """The log scales with the most evidence times hyperprior, the likelihood held as a normal.

    ``slope``: of the log evidence at convergence; ``steps``, at most."""
    from scipy.optimize import minimize

    known: dict[bytes, tuple[float, Array, Array]] = {}

    def at(log_scale: Array) -> tuple[float, Array, Array]:
        key = log_scale.tobytes()
        if key not in known:
            known[key] = normal.log_marginal_derivatives(np.clip(log_scale, *_LOG_SCALES))
        return known[key]

    best = minimize(
        lambda x: -at(x)[0], start, jac=lambda x: -at(x)[1], hess=lambda x: -at(x)[2], method="trust-exact",
        options={"initial_trust_radius": _RADIUS / 2, "max_trust_radius": _RADIUS, "gtol": slope, "maxiter": steps},
    )  # fmt: skip
    return np.asarray(np.clip(best.x, *_LOG_SCALES), np.float64)
