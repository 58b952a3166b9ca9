"""The layout of theta, the parameters that are learned, and the whitening of its prior."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import ZERO_SHARE, Array

_LAG_STEP = 5  # years between the lags at which a shifted table is worked out
_MOST_LAG = 30.0  # years: a longer lag has the effect of this one
_LAGS = np.arange(-_MOST_LAG, _MOST_LAG + 1, _LAG_STEP)
IMPOSSIBLE = 10 * ZERO_SHARE  # a share up to here counts as none, and no parameter moves it
SHARES, LAG, CENTRE, SPREAD, SLIP, TIER = "shares", "lag", "centre", "spread", "slip", "tier"

Places = NDArray[np.intp]


@dataclass(frozen=True, eq=False, kw_only=True)
class Part:
    """A stretch of theta: ``kind`` of deviation of ``family``; ``shape`` (values, knots) or (1, knots)
    or (1, 1); ``sd`` of that shape, the prior standard deviations at scale one, 0 where an entry is fixed.
    ``scale``: the number of its scale."""

    kind: str
    family: str
    shape: tuple[int, int]
    sd: Array
    scale: int


@dataclass(frozen=True, eq=False, kw_only=True)
class Deviations:
    """The layout of theta (size,), its prior, and the whitening of that prior.

    ``knots`` years; ``basis`` (years, knots), the weight of each knot in each year; ``scales``: the names
    of the scales, and ``log_scale_sd`` (scales,), the hyperprior's standard deviations. Fixed entries,
    those of impossible values, are not in theta. Of each part: ``roots``, the Cholesky factor of its prior
    covariance at scale one, (free, free); ``free``, which of its entries are free; ``starts``, where these
    begin in theta. ``lags``: by family what a lag does.
    """

    parts: tuple[Part, ...]
    knots: NDArray[np.int64]
    basis: Array
    scales: tuple[str, ...]
    log_scale_sd: Array
    roots: tuple[Array, ...]
    free: tuple[Places, ...]
    starts: tuple[int, ...]
    size: int
    lags: Mapping[str, LagEffect]

    def stretches(self) -> Iterator[tuple[Part, slice, Array]]:
        """Every part, where it lies in theta, and its Cholesky factor."""
        for part, start, root in zip(self.parts, self.starts, self.roots, strict=True):
            yield part, slice(start, start + len(root)), root

    def log_share_shift(self, family: str, parts: Mapping[tuple[str, str], Array]) -> Array:
        """What is added to the log shares of a family by parts of full shape, (values, years)."""
        lag = float(parts[LAG, family][0, 0])
        return parts[SHARES, family] @ self.basis.T + self.lags[family].at(lag)[0]

    def named(self, theta: Array) -> dict[tuple[str, str], Array]:
        """`split`, by kind and family."""
        return {
            (part.kind, part.family): values
            for part, values in zip(self.parts, self.split(theta), strict=True)
        }

    def split(self, theta: Array) -> list[Array]:
        """Each part in its full shape, zeros where it is fixed."""
        values = []
        for (part, here, _), free in zip(self.stretches(), self.free, strict=True):
            whole = np.zeros(part.shape[0] * part.shape[1])
            whole[free] = theta[here]
            values.append(whole.reshape(part.shape))
        return values

    def joined(self, parts: Sequence[Array]) -> Array:
        """theta from parts in their full shape: the inverse of `split`."""
        some = [part.reshape(-1)[free] for part, free in zip(parts, self.free, strict=True)]
        return np.concatenate([np.zeros(0), *some])

    def scale_of(self) -> Places:
        """The number of the scale of every entry, (size,)."""
        return np.concatenate(
            [
                np.full(len(free), part.scale)
                for part, free in zip(self.parts, self.free, strict=True)
            ]
        ).astype(np.intp)

    def unwhitened(self, z: Array, log_scale: Array) -> Array:
        """theta from z (size,), which is standard normal under the prior with these scales."""
        theta = np.empty(self.size)
        for part, here, root in self.stretches():
            theta[here] = np.exp(log_scale[part.scale]) * (root @ z[here])
        return theta

    def whitened_gradient(self, gradient: Array, log_scale: Array) -> Array:
        """The gradient with respect to z from that with respect to theta."""
        whitened = np.empty(self.size)
        for part, here, root in self.stretches():
            whitened[here] = np.exp(log_scale[part.scale]) * (gradient[here] @ root)
        return whitened

    def whitened_hessian(self, hessian: Array) -> Array:
        """The Hessian with respect to z, at scale one, from that with respect to theta, (size, size)."""
        half, whole = np.empty_like(hessian), np.empty_like(hessian)
        for _, here, root in self.stretches():
            half[:, here] = hessian[:, here] @ root
        for _, here, root in self.stretches():
            whole[here] = root.T @ half[here]
        return (whole + whole.T) / 2


@dataclass(frozen=True, eq=False)
class LagEffect:
    """What a lag adds to the log shares of a table: log share(v, y - lag) - log share(v, y).

    A cubic spline over lags, of which every few years one is worked out. A value that is impossible in a
    year stays so whatever the lag: nylon was not made before nylon because a table of fibres is late.
    ``coefficients`` (4, lags - 1, values, years): of the cubics between lags, the highest power first.
    """

    coefficients: Array

    def at(self, lag: float) -> tuple[Array, Array]:
        """What a lag in years adds, and its derivative by the lag, each (values, years)."""
        inside = min(max(lag, -_MOST_LAG), _MOST_LAG)
        piece = min(int((inside + _MOST_LAG) // _LAG_STEP), len(_LAGS) - 2)
        a, b, c, d = self.coefficients[:, piece]
        x = inside - float(_LAGS[piece])
        slope = (3 * a * x + 2 * b) * x + c if inside == lag else np.zeros_like(a)
        return ((a * x + b) * x + c) * x + d, slope

    def only(self, years: NDArray[np.intp]) -> LagEffect:
        """The same at some years, by their place."""
        return LagEffect(self.coefficients[..., years])


def lag_effect_of(shares: Array) -> LagEffect:
    """Of shares (values, years), one column a year."""
    from scipy.interpolate import CubicSpline

    years = np.arange(shares.shape[1])
    log = np.log(np.maximum(shares, IMPOSSIBLE))
    earlier = np.clip(years - _LAGS[:, None].astype(int), 0, years[-1])  # (lags, years)
    moved = log[:, earlier].transpose(1, 0, 2) - log
    moved[:, shares <= IMPOSSIBLE] = 0.0
    return LagEffect(np.asarray(CubicSpline(_LAGS, moved, bc_type="natural").c, np.float64))
