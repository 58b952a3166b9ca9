"""The quick route: the mode of the target, its curvature as the spread, the scales by evidence.

    log posterior(w | scales)  =  log likelihood(w)  -  sum of w squared exp(-2 s) / 2,   s the log scale of each

in coordinates w in which the prior at scale one is independent standard normals. The scales, one a family,
are not maximised together with the deviations: that pair has no mode worth having (all scales run to
nothing). They are chosen where the Laplace evidence, times their own prior, is largest (MacKay 1992,
"Bayesian interpolation", Neural Computation 4, 415-447; from memory): with the likelihood as a normal
around the mode, and again around the new mode until nothing moves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.errors import ScarfdateError
from scarfdate.knots import Array
from scarfdate.learning.curvature import curvature
from scarfdate.learning.likelihood import Target
from scarfdate.learning.prior import LATE, Deviations

_ROUNDS, _STEPS = 10, 500
_KEPT = 20  # steps that the search for the mode remembers
_SLOPE = 2e-3  # of the log posterior by one posterior standard deviation: the largest one at rest
_LEFT = 0.1  # nats that another step could gain: with more, that was no mode
_LAGS, _TURNS = (-15, -10, -5, 0, 5, 10, 15), 3  # years that are tried at first, and how often
_STILL = 0.05  # the largest change of a log scale at which it rests
_LOG_SCALES = (-3.0, 3.0)
_BENDS = 0.25  # of the prior's precision: the least bend of what pulls
_STRIDE = 2.0  # by how much the log scales move in one step: the normal is that of the mode before
# sets of scales that are tried, the fewer where there are more entries than the last
_FEW, _MANY, _LARGE = 100, 400, 400
_FAR = 1e12  # nats: what a place without a likelihood is worth
_WIDER = 1.05  # than the normal about the largest evidence: more, and in many dimensions few are drawn again

Tell = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class Normal:
    """The likelihood as a normal, in white coordinates: ``bowl`` (size, size), minus its second derivative,
    ``linear`` (size,), its slope at none; the scale of each entry; and the spread of the scales."""

    bowl: Array
    linear: Array
    scale_of: NDArray[np.intp]
    scale_spread: Array

    def root(self, log_scale: Array) -> Array:
        """The lower root of the precision under some scales, (size, size)."""
        whole = self.bowl.copy()
        whole[np.diag_indices_from(whole)] += np.exp(-2 * log_scale)[self.scale_of]
        return np.asarray(np.linalg.cholesky(whole), np.float64)

    def gain(self, log_scale: Array) -> tuple[float, Array, Array]:
        """The log of evidence times prior of the scales, but for a constant; the root of the precision H, and
        that root's solution for the linear part.

        With m the mean it is m' H m / 2 - log det H / 2 - the sum of all log scales, one an entry.
        """
        from scipy.linalg import solve_triangular

        root = self.root(log_scale)
        half = solve_triangular(root, self.linear, lower=True)
        found = half @ half / 2 - np.log(np.diag(root)).sum() - log_scale[self.scale_of].sum()
        return float(found - ((log_scale / self.scale_spread) ** 2).sum() / 2), root, half

    def evidence(self, log_scale: Array) -> tuple[float, Array, Array]:
        """`gain`, its slope and its second derivative.

        With C the inverse of H and t = exp(-2 s), of which H changes by -2 t with s, the slope by a scale is
        the sum over its entries of t (m squared + C) - 1.
        """
        from scipy.linalg.lapack import dpotri

        gain, root, _ = self.gain(log_scale)
        half, _ = dpotri(root, lower=1)
        cover = np.tril(half) + np.tril(half, -1).T
        mean = cover @ self.linear
        t = np.exp(-2 * log_scale)
        held = t * self._by_scale(mean**2 + np.diag(cover))
        slope = held - self._by_scale(np.ones(len(mean))) - log_scale / self.scale_spread**2
        pairs = cover * (cover + 2 * mean[:, None] * mean)
        bend = 2 * t[:, None] * t * self._by_scale(self._by_scale(pairs).T)
        bend -= np.diag(2 * held + 1 / self.scale_spread**2)
        return gain, slope, bend

    def _by_scale(self, rows: Array) -> Array:
        """Rows added up by their scale."""
        one = np.zeros((len(self.scale_spread), len(rows)))
        one[self.scale_of, np.arange(len(rows))] = 1.0
        return np.asarray(one @ rows)


@dataclass(frozen=True, eq=False)
class Mode:
    """``free`` (size,), the most probable deviations; ``white``, the same in white coordinates; ``log_scale``,
    and ``scale_root``, a root of the covariance of the scales where evidence times prior is largest;
    ``evidence``, log P(records) under those scales; ``value``, the log likelihood at the mode; ``gain_left``,
    what a further step promises, nats; ``normal``, the likelihood there."""

    free: Array
    white: Array
    log_scale: Array
    scale_root: Array
    evidence: float
    value: float
    gain_left: float
    normal: Normal
    _layout: Deviations

    def draws(self, n: int, rng: np.random.Generator) -> tuple[Array, Array]:
        """Deviations (n, size) and log scales (n, scales): sets of scales drawn about the largest evidence and
        drawn again by their evidence, and deviations from the normal under each of them."""
        from scipy.linalg import solve_triangular

        sets = _FEW if len(self.free) > _LARGE else _MANY
        noise = rng.standard_normal((sets, len(self.log_scale)))
        scales = np.clip(self.log_scale + _WIDER * noise @ self.scale_root.T, *_LOG_SCALES)
        found = [self.normal.gain(scale) for scale in scales]
        log = np.array([gain for gain, *_ in found]) + (noise**2).sum(axis=1) / 2
        weight = np.exp(log - log.max())
        often = rng.multinomial(n, weight / weight.sum())
        drawn = []
        for (_, root, half), many in zip(found, often.tolist(), strict=True):
            about = half[:, None] + rng.standard_normal((len(self.free), many))
            drawn.append(solve_triangular(root.T, about, lower=False).T)
        order = rng.permutation(n)  # so that any stretch of them is a fair sample
        white = np.concatenate(drawn)[order]
        none = np.zeros(len(self.log_scale))
        free = np.stack([self._layout.from_white(one, none) for one in white])
        return free, np.repeat(scales, often, axis=0)[order]


def laplace(target: Target, tell: Tell = lambda _: None) -> Mode:
    """The mode, its spread and the scales. ScarfdateError where no mode is found."""
    layout = target.deviations
    scale_of = layout.scale_of()
    log_scale: Array = np.zeros(len(layout.scales))
    white = _start(target)
    # what the records would say if each had told all: a bowl, where what they do say need not be one
    told = curvature(target, layout.from_white(white, log_scale), told=True)
    bowl = _bending_down(_whitened(layout, told), white, np.ones(layout.size))
    for step in range(_ROUNDS):
        white, value, slope = _mode(target, white, bowl, log_scale)
        free = layout.from_white(white, np.zeros_like(log_scale))
        bent = _whitened(layout, curvature(target, free))
        precision = np.exp(-2 * log_scale)[scale_of]
        bowl = _bending_down(bent, white, precision)
        normal = Normal(bowl, bowl @ white + precision * white, scale_of, layout.scale_spread)
        tell(f"round {step + 1}: log likelihood {value:.2f}")
        before, log_scale = log_scale, _scales(normal, log_scale)
        if np.abs(log_scale - before).max() < _STILL:
            break
    log_scale = before  # of which this is the mode
    bend = normal.evidence(log_scale)[2]
    try:
        root = np.linalg.cholesky(bent + np.diag(precision))
        left = float(((np.linalg.solve(root, slope)) ** 2).sum() / 2)
    except np.linalg.LinAlgError:  # at a mode it is a bowl
        root, left = np.zeros_like(bent), np.inf
    if left > _LEFT:
        raise ScarfdateError(
            f"learning: no most probable tables were found ({left:.2g} nats left); try route='counts', or fewer "
            "clues"
        )
    evidence = value - precision @ white**2 / 2 + np.log(precision).sum() / 2
    evidence -= np.log(np.diag(root)).sum()
    return Mode(
        free,
        white,
        log_scale,
        _scale_root(bend, layout.scale_spread),
        float(evidence),
        value,
        left,
        normal,
        layout,
    )


def _start(target: Target) -> Array:
    """The tables as they are but for their lags, each tried at some years before and after, in turns until
    none is moved: near a wrong lag the shares can make up for it, and a search would not come back."""
    layout = target.deviations
    white, none = np.zeros(layout.size), np.zeros(len(layout.scales))
    lags = [
        (start, float(root[0, 0]))
        for part, root, start in zip(layout.parts, layout.roots, layout.starts, strict=True)
        if part.kind == LATE
    ]

    def worth(white: Array) -> float:
        return target.value(layout.from_white(white, none)) - float(white @ white) / 2

    best = worth(white)
    for _ in range(_TURNS):
        before = white.copy()
        for place, spread in lags:
            for lag in _LAGS:
                other = white.copy()
                other[place] = lag / spread
                if (now := worth(other)) > best:
                    white, best = other, now
        if np.array_equal(white, before):
            break
    return white


def _whitened(layout: Deviations, bent: Array) -> Array:
    """A second derivative by the deviations as one by the white coordinates, (size, size)."""
    half = np.empty_like(bent)
    for root, start in zip(layout.roots, layout.starts, strict=True):
        here = slice(start, start + len(root))
        half[:, here] = bent[:, here] @ root
    whole = np.empty_like(bent)
    for root, start in zip(layout.roots, layout.starts, strict=True):
        here = slice(start, start + len(root))
        whole[here] = root.T @ half[here]
    return (whole + whole.T) / 2


def _scale_root(bend: Array, spread: Array) -> Array:
    """A root of the covariance of the log scales, no less sure than their ``spread`` before the records."""
    value, vector = np.linalg.eigh(-bend * spread[:, None] * spread)
    return np.asarray(spread[:, None] * vector / np.sqrt(np.maximum(value, 1.0)))


def _mode(
    target: Target, white: Array, bowl: Array, log_scale: Array
) -> tuple[Array, float, Array]:
    """The mode from a start; the log likelihood there, and the slope of the log posterior.

    A search of quasi-Newton kind in coordinates in which the posterior would be round if the records said
    what they did nearby (``bowl``): a step costs little, a second derivative much.
    """
    from scipy.linalg import solve_triangular
    from scipy.optimize import minimize

    layout = target.deviations
    none = np.zeros_like(log_scale)
    precision = np.exp(-2 * log_scale)[layout.scale_of()]
    root = np.linalg.cholesky(bowl + np.diag(precision))

    def at(x: Array) -> Array:
        return np.asarray(white + solve_triangular(root, x, lower=True, trans=1))

    def falling(x: Array) -> tuple[float, Array]:
        here = at(x)
        # a first step can be far too long
        with np.errstate(all="ignore"):
            value, slope = target.value_and_gradient(layout.from_white(here, none))
        if not (np.isfinite(value) and np.isfinite(slope).all()):
            return _FAR, np.zeros_like(x)
        by_white = layout.to_white(slope, none) - precision * here
        return (
            float(precision @ here**2) / 2 - value,
            -np.asarray(solve_triangular(root, by_white, lower=True)),
        )

    found = minimize(
        falling, np.zeros_like(white), jac=True, method="L-BFGS-B",
        options={"maxiter": _STEPS, "maxcor": _KEPT, "gtol": _SLOPE, "ftol": 0.0},
    )  # fmt: skip
    here = at(found.x)
    value, slope = target.value_and_gradient(layout.from_white(here, none))
    return here, value, layout.to_white(slope, none) - precision * here


def _bending_down(bent: Array, white: Array, precision: Array) -> Array:
    """The nearest bowl that can stand for a likelihood, which has its greatest value somewhere.

    Wide intervals, and tables that may be late, leave directions in which the prior alone makes a mode. Where
    the records do not bend down there they are held flat; and where they pull away from the tables all
    the same, as a straight line would without end, they bend a little.
    """
    value, vector = np.linalg.eigh(bent)
    own = precision @ vector**2
    pull = own * (white @ vector) ** 2  # squared prior standard deviations that they have pulled
    least = _BENDS * own * pull / (1 + pull)
    return np.asarray((vector * np.maximum(value, least)) @ vector.T)


def _scales(normal: Normal, start: Array) -> Array:
    """The log scales where evidence times prior is largest, the likelihood held as a normal."""
    from scipy.optimize import minimize

    known: dict[bytes, tuple[float, Array, Array]] = {}

    def at(log_scale: Array) -> tuple[float, Array, Array]:
        key = log_scale.tobytes()
        if key not in known:
            known[key] = normal.evidence(np.clip(log_scale, *_LOG_SCALES))
        return known[key]

    found = minimize(
        lambda x: -at(x)[0], start, jac=lambda x: -at(x)[1], hess=lambda x: -at(x)[2], method="trust-exact",
        options={"initial_trust_radius": _STRIDE / 2, "max_trust_radius": _STRIDE, "gtol": 1e-2, "maxiter": 12},
    )  # fmt: skip
    return np.asarray(np.clip(found.x, *_LOG_SCALES), np.float64)
