"""The quick route: the mode of the target, its curvature as the spread, the scales by evidence.

    log posterior(d | scales)  =  log likelihood(d)  -  d' Q d / 2,   Q of each part over its scale squared

The scales, one a family, are not maximised together with the deviations: that pair has no mode worth
having (all scales run to nothing). They are chosen where the Laplace evidence, times their own prior, is
largest (MacKay 1992, "Bayesian interpolation", Neural Computation 4, 415-447; from memory): with the
likelihood as a normal around the mode, and again around the new mode until nothing moves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.errors import ScarfdateError
from scarfdate.knots import Array
from scarfdate.learning.curvature import curvature
from scarfdate.learning.deviations import SCALE_SPREAD
from scarfdate.learning.target import Target

_ROUNDS, _STEPS, _HALVINGS = 10, 40, 30
_SLOW = 4.0  # a step that leaves more than this part of what was to gain wants a fresh second derivative
_FLAT = 1e-3  # nats that another step could gain: less is no gain
_NEAR = 1.0  # nats: a second derivative from as near as this will do
_NEARLY = 0.1  # and with no more than this left, the last of all steps will do
_STILL = 0.02  # the largest change of a log scale at which it rests
_LOG_SCALES = (-3.0, 3.0)
_STRIDE = 0.7  # by how much a log scale moves in one round: the normal is that of the mode before
_FEW, _MANY, _LARGE = (
    100,
    400,
    400,
)  # sets of scales: few where there are more entries than the last
_WIDER = 1.05  # than the normal about the largest evidence: more, and in many dimensions few are drawn again
_SCALE_STEP = 0.05

Tell = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class Mode:
    """``free`` (size,), the most probable deviations; ``root`` (size, size), the lower root of their
    precision; ``log_scale``, and ``scale_root``, a root of the covariance of the scales where evidence times
    prior is largest; ``evidence``, log P(records) under those scales; ``value``, the log likelihood at the
    mode; ``gain_left``, what a further Newton step promises, nats."""

    free: Array
    root: Array
    log_scale: Array
    scale_root: Array
    evidence: float
    value: float
    gain_left: float
    _normal: _Normal

    def draws(self, n: int, rng: np.random.Generator) -> tuple[Array, Array]:
        """Deviations (n, size) and log scales (n, scales): sets of scales drawn about the largest evidence and
        drawn again by their evidence, and deviations from the normal under each of them."""
        from scipy.linalg import solve_triangular

        sets = _FEW if len(self.free) > _LARGE else _MANY
        white = rng.standard_normal((sets, len(self.log_scale)))
        scales = np.clip(self.log_scale + _WIDER * white @ self.scale_root.T, *_LOG_SCALES)
        normal = self._normal
        roots, log = [], np.empty(len(scales))
        for place, scale in enumerate(scales):
            prior = normal.prior(scale)
            root = np.linalg.cholesky(normal.bowl + prior)
            half = solve_triangular(root, normal.linear, lower=True)
            sizes = np.bincount(normal.scale_of, minlength=len(scale))
            evidence = half @ half / 2 - np.log(np.diag(root)).sum() - sizes @ scale
            evidence -= (scale**2).sum() / (2 * SCALE_SPREAD**2)
            log[place] = evidence + (white[place] ** 2).sum() / 2
            roots.append((root, half))
        weight = np.exp(log - log.max())
        often = rng.multinomial(n, weight / weight.sum())
        found = []
        for (root, half), many in zip(roots, often.tolist(), strict=True):
            noise = rng.standard_normal((len(self.free), many))
            found.append(solve_triangular(root.T, half[:, None] + noise, lower=False).T)
        order = rng.permutation(n)  # so that any stretch of them is a fair sample
        return np.concatenate(found)[order], np.repeat(scales, often, axis=0)[order]


@dataclass(frozen=True, eq=False)
class _Normal:
    """The likelihood as a normal: ``bowl`` minus its second derivative, ``linear`` its slope at no deviation;
    and the layout of the prior."""

    bowl: Array
    linear: Array
    starts: tuple[int, ...]
    inner: list[Array]
    scale_of: NDArray[np.intp]

    def prior(self, log_scale: Array) -> Array:
        """The precision of the deviations under some scales, (size, size)."""
        return _prior(self.starts, self.inner, log_scale, self.scale_of)


def laplace(target: Target, tell: Tell = lambda _: None) -> Mode:
    """The mode, its spread and the scales. ScarfdateError where no mode is found."""
    layout = target.deviations
    scale_of = layout.scale_of()
    inner = layout.precision()
    log_scale: Array = np.zeros(len(layout.scales))
    free: Array = np.zeros(layout.size)
    bent: Array | None = None
    for step in range(_ROUNDS):
        prior = _prior(layout.starts, inner, log_scale, scale_of)
        free, bent, value, left = _mode(target, free, prior, bent)
        tell(f"round {step + 1}: log likelihood {value:.2f}, {left:.1e} nats left")
        # the likelihood as a normal with this mode and bend, and flat where it does not bend down: wide
        # intervals leave directions in which the prior alone makes a mode
        bowl = _bending_down(bent)
        normal = _Normal(bowl, bowl @ free + prior @ free, layout.starts, inner, scale_of)
        before, log_scale = log_scale, _scales(normal, log_scale)
        if np.abs(log_scale - before).max() < _STILL:
            log_scale = before
            break
    else:
        prior = _prior(layout.starts, inner, log_scale, scale_of)
        free, bent, value, left = _mode(target, free, prior, bent)
    prior = _prior(layout.starts, inner, log_scale, scale_of)
    # a second derivative from nearby need not be a bowl with the prior, though that of the mode is
    root = np.asarray(np.linalg.cholesky(_bowl(bent, prior)), dtype=np.float64)
    half = np.linalg.slogdet(prior)[1] / 2 - np.log(np.diag(root)).sum()
    evidence = value - free @ prior @ free / 2 + half
    bowl = _bending_down(bent)
    normal = _Normal(bowl, bowl @ free + prior @ free, layout.starts, inner, scale_of)
    return Mode(
        free, root, log_scale, _scale_root(normal, log_scale), float(evidence), value, left, normal
    )


def _scale_root(normal: _Normal, log_scale: Array) -> Array:
    """A root of the covariance of the log scales: from differences of the slope of the evidence."""
    n, here = len(log_scale), _evidence(normal, log_scale)[1]
    bend = np.empty((n, n))
    for place in range(n):
        step = np.zeros(n)
        step[place] = _SCALE_STEP
        bend[place] = (_evidence(normal, log_scale + step)[1] - here) / _SCALE_STEP
    value, vector = np.linalg.eigh((bend + bend.T) / 2)
    # no less sure than before the records
    return np.asarray(vector / np.sqrt(np.maximum(value, 1 / SCALE_SPREAD**2)))


def _prior(
    starts: tuple[int, ...], inner: list[Array], log_scale: Array, scale_of: NDArray[np.intp]
) -> Array:
    """The precision of the deviations under some scales, (size, size)."""
    whole = np.zeros((len(scale_of), len(scale_of)))
    for start, block in zip(starts, inner, strict=True):
        if len(block):
            here = slice(start, start + len(block))
            whole[here, here] = block * np.exp(-2 * log_scale[scale_of[start]])
    return whole


def _mode(
    target: Target, free: Array, prior: Array, bent: Array | None
) -> tuple[Array, Array, float, float]:
    """The mode by Newton's method from a start: it, minus the second derivative there, the value, what is left.

    ``bent``: a second derivative from nearby, if there is one. It is used as long as steps with it go on
    gaining fast, since a step costs little and a second derivative much.
    """
    from scipy.linalg import cho_factor, cho_solve

    value, slope = target.value_and_gradient(free)
    posterior = value - free @ prior @ free / 2
    left = before = np.inf
    fresh, moved = False, 0.0
    for _ in range(_STEPS):
        if bent is None:
            bent, fresh, moved = curvature(target, free), True, 0.0
        factor = cho_factor(_bowl(bent, prior), lower=True)
        step = cho_solve(factor, slope - prior @ free)
        left = float((slope - prior @ free) @ step / 2)
        if left < _FLAT:
            if moved > _NEAR:
                bent = curvature(target, free)
            return free, bent, value, left
        if left > before / _SLOW and not fresh:
            bent, before = None, np.inf
            continue
        before, fresh, moved = left, False, moved + left
        size = 1.0
        for _ in range(_HALVINGS):
            ahead = free + size * step
            new_value, new_slope = target.value_and_gradient(ahead)
            new = new_value - ahead @ prior @ ahead / 2
            if new > posterior + 1e-4 * size * left:
                break
            size /= 2
        else:
            raise ScarfdateError(
                "learning: no step leads to more probable tables; try route='counts', or fewer clues"
            )
        free, value, slope, posterior = ahead, new_value, new_slope, new
    if left < _NEARLY:
        return free, curvature(target, free), value, left
    raise ScarfdateError(
        f"learning: no mode after {_STEPS} steps ({left:.2g} nats left); try route='counts', or fewer clues"
    )


def _bending_down(bent: Array) -> Array:
    value, vector = np.linalg.eigh(bent)
    return np.asarray((vector * np.maximum(value, 0.0)) @ vector.T)


def _bowl(bent: Array, prior: Array) -> Array:
    """The sum, or away from the mode, where it may not be a bowl, the nearest that is one."""
    whole = bent + prior
    try:
        np.linalg.cholesky(whole)
    except np.linalg.LinAlgError:
        value, vector = np.linalg.eigh(whole)
        least = np.linalg.eigvalsh(prior)[0]
        whole = (vector * np.maximum(np.abs(value), least)) @ vector.T
    return whole


def _scales(normal: _Normal, start: Array) -> Array:
    """The log scales where evidence times prior is largest, the likelihood held as a normal."""
    from scipy.optimize import minimize

    low, high = _LOG_SCALES
    found = minimize(
        lambda log_scale: _evidence(normal, log_scale), start, jac=True, method="L-BFGS-B",
        bounds=[(max(low, one - _STRIDE), min(high, one + _STRIDE)) for one in start.tolist()],
        options={"maxiter": 12, "ftol": 1e-6},
    )  # fmt: skip
    return np.asarray(found.x)


def _evidence(normal: _Normal, log_scale: Array) -> tuple[float, Array]:
    """Minus the log of evidence times prior under some log scales, but for a constant, with its slope."""
    from scipy.linalg import cho_factor, cho_solve

    sizes = np.bincount(normal.scale_of, minlength=len(log_scale))
    whole = normal.bowl + normal.prior(log_scale)
    factor = cho_factor(whole, lower=True)
    mean = cho_solve(factor, normal.linear)
    cover = cho_solve(factor, np.eye(len(whole)))
    half = np.log(np.diag(factor[0])).sum()
    gain = normal.linear @ mean / 2 - half - sizes @ log_scale
    slope = -sizes.astype(float)
    for begin, block in zip(normal.starts, normal.inner, strict=True):
        if len(block):
            here = slice(begin, begin + len(block))
            scale = normal.scale_of[begin]
            moved = block * np.exp(-2 * log_scale[scale])
            slope[scale] += mean[here] @ moved @ mean[here] + (moved * cover[here, here]).sum()
    gain -= (log_scale**2).sum() / (2 * SCALE_SPREAD**2)
    slope -= log_scale / SCALE_SPREAD**2
    return -float(gain), -slope
