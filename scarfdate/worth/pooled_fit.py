"""The quick route: the mode of the coefficients with its curvature; scales and shape by their evidence.

Neither the scales of the pooled groups nor the shape of the law (the residual's scale, its degrees of freedom)
are maximised together with the coefficients, which would make them too small: both are chosen where the evidence
by Laplace's approximation, times their prior, is largest. With normal tails and flat priors of the scales that is
restricted maximum likelihood (REML). Draws take the uncertainty of both along.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scarfdate.conventions import Array
from scarfdate.errors import ScarfdateError
from scarfdate.learning.scales import (
    NormalLikelihood,
    maximised,
    most_evidence,
    prior_precision,
    scale_root,
)
from scarfdate.worth.coefficients import Coefficients
from scarfdate.worth.pooled import Pooled

_ROUNDS = 30
_SLOPE, _TRIALS = 1e-6, 50  # of the evidence of the scales, and steps at most
_SETTLED = 1e-5  # the largest change of a log scale or shape parameter at convergence
_FARTHEST = 5.0  # times as far as the change asked for
_STEP = 2e-3  # of a shape parameter, for differences
_LONGEST = 0.7  # step of a shape parameter in a round
_NEWTON_GAIN = 0.1  # nats that a Newton step could gain: with more, that was no mode
_POLISHED, _POLISHES = 1e-16, 20  # nats, and steps at most
_WIDEST = 5.0  # standard deviation of a shape parameter of which nothing is known


@dataclass(frozen=True, eq=False, kw_only=True)
class Fit:
    """``z`` (size,), the mode, whitened; ``log_scale`` (scales,) and ``parameters`` (of the shape) with the most
    evidence; ``parameter_root``, a root of their covariance; ``response`` (size, names): how the mode moves with
    them; ``normal``: the likelihood there."""

    model: Pooled
    z: Array
    log_scale: Array
    parameters: Array
    parameter_root: Array
    response: Array
    normal: NormalLikelihood

    @property
    def mode(self) -> Array:
        """The coefficients at the mode, (size,)."""
        return self.model.coefficients(self.z)

    @property
    def covariance(self) -> Array:
        """Of theta, given scales and shape, (size, size)."""
        precision = self.normal.information + np.diag(
            prior_precision(self.log_scale, self.normal.scale_of)
        )
        sd = self.model.prior.sd
        return np.asarray(sd[:, None] * np.linalg.inv(precision) * sd)

    def draws(self, n: int, rng: np.random.Generator) -> Coefficients:
        """Draws from the posterior."""
        if len(self.log_scale):
            root = scale_root(
                self.normal.log_marginal_derivatives(self.log_scale)[2], self.normal.log_scale_sd
            )
        else:
            root = np.empty((0, 0))
        z, scales = self.normal.draws(n, rng, self.log_scale, root)
        noise = rng.standard_normal((n, len(self.parameters)))
        away = noise @ self.parameter_root.T
        z = z + away @ self.response.T
        return coefficients_of(self.model, z, scales, self.parameters + away)


def coefficients_of(model: Pooled, z: Array, log_scale: Array, parameters: Array) -> Coefficients:
    """Draws of z (n, size), log scales (n, scales) and shape parameters (n, names), as coefficients."""
    prior = model.prior
    centre = {name: prior.sd[prior.scale_of == place][0] for place, name in enumerate(prior.scales)}
    return Coefficients(
        layout=model.design.layout,
        draws=model.coefficients(z),
        spread={
            name: centre[name] * np.exp(log_scale[:, place])
            for place, name in enumerate(prior.scales)
        },
        shape=model.law.shape(parameters),
    )


def fit(model: Pooled, z: Array, parameters: Array, log_scale: Array | None = None) -> Fit:
    """The mode from a start; ScarfdateError where none is found."""
    prior = model.prior
    many = len(prior.scales)
    at = np.append(np.zeros(many) if log_scale is None else log_scale, parameters)
    information = model.information(z, parameters, expected=True)
    last: tuple[Array, Array] | None = None
    for _ in range(_ROUNDS):
        here, parameters = at[:many], at[many:]
        precision = prior_precision(here, prior.scale_of)
        z, gain, information = _mode(model, z, parameters, information, precision)
        normal = NormalLikelihood(
            information=information,
            gradient=information @ z + precision * z,
            scale_of=prior.scale_of,
            log_scale_sd=prior.log_scale_sd,
        )
        scales = here
        if many:
            scales = most_evidence(normal, here, slope=_SLOPE, steps=_TRIALS)
        precise = prior_precision(scales, prior.scale_of)
        step, root, response = _shape_step(model, z, parameters, information, precise)
        change = np.append(scales - here, step)
        if np.abs(change).max(initial=0.0) < _SETTLED:
            break
        at, last = _next(at, change, last), (at, change)
    if gain > _NEWTON_GAIN:
        raise ScarfdateError(
            f"prices: no most probable coefficients were found ({gain:.2g} nats left); the book may be too small"
        )
    return Fit(
        model=model, z=z, log_scale=here, parameters=parameters, parameter_root=root, response=response,
        normal=normal,
    )  # fmt: skip


def _next(at: Array, change: Array, last: tuple[Array, Array] | None) -> Array:
    """Where to go on from a place that asks for a change, after another place that asked for another.

    Each round takes the mode as given, and the mode moves with what is chosen. The change is taken as linear between
    both places (Anderson 1965, "Iterative procedures for nonlinear integral equations", Journal of the ACM 12,
    547-560; from memory), which ends steps that come back and shortens those that creep.
    """
    if last is None:
        return at + change
    moved, turned = at - last[0], change - last[1]
    share = float(change @ turned) / max(float(turned @ turned), 1e-300)
    share = min(max(share, -_FARTHEST), 1.0)
    return np.asarray(at + change - share * (moved + turned))


def _mode(
    model: Pooled, z: Array, parameters: Array, information: Array, precision: Array
) -> tuple[Array, float, Array]:
    """The mode of z, what a Newton step there promises (nats), and the information there."""

    def at(z: Array) -> tuple[float, Array]:
        return model.value_and_gradient(z, parameters)

    z, value, gradient = maximised(at, z, information, precision)
    value -= float(precision @ z**2) / 2
    for _ in range(_POLISHES):
        information = _positive(model.information(z, parameters))
        step = np.linalg.solve(information + np.diag(precision), gradient)
        gain = float(gradient @ step) / 2
        if gain < _POLISHED:
            break
        new, slope = at(z + step)
        new -= float(precision @ (z + step) ** 2) / 2
        if new < value:  # as far as rounding lets it come
            break
        z, value, gradient = z + step, new, slope - precision * (z + step)
    return z, gain, information


def _positive(information: Array) -> Array:
    """The nearest positive semi-definite matrix: what nearly unknown decades leave open, the prior alone holds."""
    value, vector = np.linalg.eigh(information)
    return (
        information if value[0] >= 0 else np.asarray((vector * np.maximum(value, 0.0)) @ vector.T)
    )


def _shape_step(
    model: Pooled, z: Array, parameters: Array, information: Array, precision: Array
) -> tuple[Array, Array, Array]:
    """A Newton step of the shape parameters towards the most evidence, a root of their covariance, and how the mode
    moves with them, (size, names)."""
    many = len(parameters)
    if not many:
        return np.zeros(0), np.zeros((0, 0)), np.zeros((len(z), 0))
    mean, sd = model.prior.shape.T

    def evidence(p: Array) -> float:
        precise = model.information(z, p, expected=True) + np.diag(precision)
        log_det = np.linalg.slogdet(precise)[1]
        prior = float((((p - mean) / sd) ** 2).sum())
        return model.value(z, p) - float(log_det) / 2 - prior / 2

    steps = _STEP * np.eye(many)
    here = evidence(parameters)
    up = np.array([evidence(parameters + s) for s in steps])
    down = np.array([evidence(parameters - s) for s in steps])
    gradient = (up - down) / (2 * _STEP)
    curvature = np.diag((2 * here - up - down) / _STEP**2)
    for i in range(many):
        for j in range(i):
            both = evidence(parameters + steps[i] + steps[j])
            mixed = (both - up[i] - up[j] + here) / _STEP**2
            curvature[i, j] = curvature[j, i] = -mixed
    slopes = [
        model.value_and_gradient(z, parameters + s)[1]
        - model.value_and_gradient(z, parameters - s)[1]
        for s in steps
    ]
    with_z = np.array(slopes).T / (2 * _STEP)
    response = np.linalg.solve(information + np.diag(precision), with_z)
    curvature -= with_z.T @ response
    value, vector = np.linalg.eigh(curvature)
    value = np.maximum(value, 1 / np.minimum(sd.max(), _WIDEST) ** 2)
    step = vector @ ((vector.T @ gradient) / value)
    longest = np.abs(step).max()
    step = step * min(1.0, _LONGEST / longest) if longest else step
    return np.asarray(step), np.asarray(vector / np.sqrt(value)), np.asarray(response)
