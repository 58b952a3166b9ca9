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

from scarfdate.conventions import Array
from scarfdate.errors import ScarfdateError
from scarfdate.learning.deviations import LAG, Deviations
from scarfdate.learning.information import complete_data_information, observed_information
from scarfdate.learning.likelihood import Likelihood
from scarfdate.learning.scales import (
    NormalLikelihood,
    maximised,
    most_evidence,
    regularised,
    scale_root,
)

_ROUNDS = 10
_NEWTON_GAIN = 0.1  # nats that a Newton step could gain: with more, that was no mode
_LAGS, _TURNS = (-15, -10, -5, 0, 5, 10, 15), 3  # years that are tried at first, and how often
_SETTLED = 0.05  # the largest change of a log scale at convergence
_FEW = 3_000  # patterns, of twice as many or more, on which a search begins


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
        """theta (n, size) and log scales (n, scales), as `NormalLikelihood.draws` draws them."""
        z, log_scale = self.normal.draws(n, rng, self.log_scale, self.scale_root)
        one = np.zeros(len(self.log_scale))
        return np.stack([self.layout.unwhitened(each, one) for each in z]), log_scale


def laplace(likelihood: Likelihood) -> Mode:
    """The mode, the normal approximation there, and the scales. ScarfdateError where no mode is found.

    Of many records the search begins at the mode of some of them, which stand for all: near it, bent as they are, it
    is short, and it ends by the same criteria.
    """
    layout = likelihood.deviations
    log_scale: Array = np.zeros(len(layout.scales))
    one = np.ones(layout.size)  # the prior precision with these scales
    z, few = _start(likelihood), _some_of(likelihood)
    # nearly positive semi-definite, which the observed information far from the mode need not be
    complete = complete_data_information(few, layout.unwhitened(z, log_scale))
    information = regularised(layout.whitened_hessian(complete), z, one)
    if few is not likelihood:
        z, *_, observed = _climbed(few, z, information, one)
        information = regularised(observed, z, one)
    return _checked(likelihood, _searched(likelihood, z, information, log_scale))


@dataclass(frozen=True, eq=False, kw_only=True)
class _Found:
    """Where a search ended: ``z`` with the log likelihood and the gradient of the log posterior there, the information
    ``observed`` and made sound (``normal``), and the scales of which it is the mode."""

    z: Array
    value: float
    gradient: Array
    observed: Array
    normal: NormalLikelihood
    log_scale: Array


def _some_of(likelihood: Likelihood) -> Likelihood:
    """The likelihood of a few thousand patterns that stand for all; all of them where they are not many more."""
    if len(likelihood.patterns) < 2 * _FEW:
        return likelihood
    few = Likelihood(likelihood.model, likelihood.patterns.thinned(_FEW), tiers=likelihood.tiers)
    # a clue that hardly any record has may be in none of them
    return few if few.families == likelihood.families else likelihood


def _climbed(
    likelihood: Likelihood, z: Array, information: Array, precision: Array
) -> tuple[Array, float, Array, Array]:
    """`maximised` from a start, and the observed information where it ends, whitened."""
    layout, one = likelihood.deviations, np.zeros(len(likelihood.deviations.scales))

    def at(z: Array) -> tuple[float, Array]:
        value, gradient = likelihood.value_and_gradient(layout.unwhitened(z, one))
        return value, layout.whitened_gradient(gradient, one)

    z, value, gradient = maximised(at, z, information, precision)
    observed = observed_information(likelihood, layout.unwhitened(z, one))
    return z, value, gradient, layout.whitened_hessian(observed)


def _searched(likelihood: Likelihood, z: Array, information: Array, log_scale: Array) -> _Found:
    """Mode and scales in turns, from a start, until the scales settle."""
    layout = likelihood.deviations
    scale_of = layout.scale_of()
    for _ in range(_ROUNDS):
        precision = np.exp(-2 * log_scale)[scale_of]
        z, value, gradient, observed = _climbed(likelihood, z, information, precision)
        information = regularised(observed, z, precision)
        normal = NormalLikelihood(
            information=information,
            gradient=information @ z + precision * z,
            scale_of=scale_of,
            log_scale_sd=layout.log_scale_sd,
        )
        before, log_scale = log_scale, most_evidence(normal, log_scale)
        if np.abs(log_scale - before).max() < _SETTLED:
            break
    return _Found(
        z=z, value=value, gradient=gradient, observed=observed, normal=normal,
        log_scale=before,  # of which this is the mode
    )  # fmt: skip


def _checked(likelihood: Likelihood, found: _Found) -> Mode:
    """A mode that is one."""
    layout, z, log_scale, normal = likelihood.deviations, found.z, found.log_scale, found.normal
    precision = np.exp(-2 * log_scale)[normal.scale_of]
    hessian = normal.log_marginal_derivatives(log_scale)[2]
    try:
        root = np.linalg.cholesky(found.observed + np.diag(precision))
        newton_gain = float(((np.linalg.solve(root, found.gradient)) ** 2).sum() / 2)
    except np.linalg.LinAlgError:  # at a mode it is positive definite
        root, newton_gain = np.zeros_like(found.observed), np.inf
    if newton_gain > _NEWTON_GAIN:
        raise ScarfdateError(
            f"learning: no most probable tables were found ({newton_gain:.2g} nats left); try route='counts', or "
            "fewer clues"
        )
    log_evidence = found.value - precision @ z**2 / 2 + np.log(precision).sum() / 2
    log_evidence -= np.log(np.diag(root)).sum()
    return Mode(
        theta=layout.unwhitened(z, np.zeros_like(log_scale)),
        z=z,
        log_scale=log_scale,
        scale_root=scale_root(hessian, layout.log_scale_sd),
        log_evidence=float(log_evidence),
        log_likelihood=found.value,
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
