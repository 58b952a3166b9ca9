"""The target as one operation of PyTensor, with its exact gradient, in coordinates that suit a sampler."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytensor.tensor as pt
from pytensor.graph import Apply, Op

from scarfdate.knots import Array
from scarfdate.learning.laplace import Mode
from scarfdate.learning.likelihood import Target
from scarfdate.learning.prior import LATE, SHARES
from scarfdate.learning.shares_term import added_up


class Coordinates:
    """Standard normals x = (u, v) behind the deviations d and the log scales s, (size + scales,).

    s is the Laplace route's, plus a root of its covariance times v. If the likelihood were the normal of
    that route, and each part moved without the others, then d of a part under its s would be normal with
    precision B + exp(-2 s) Q: B what the records say, Q the prior. Coordinates z in which Q is one and B is
    diagonal, with entries b, make that

        z  =  l / k  +  u / sqrt(k)        k = b + exp(-2 s),   l what the records say times where

    with u independent standard normals, for every s. The lag of a table comes first, and what the records say
    of its shares depends on it: l is less by c times what the lag is off the mode, c the bend between them.
    Where the records say much, z hardly moves with the scale; where they say nothing, it moves in proportion
    (a deviation may be held or carried, Papaspiliopoulos, Roberts and Skoeld 2007, "A general framework for
    the parametrization of hierarchical models", Statistical Science 22, 59-73; from memory). What the
    posterior is instead of that the sampler finds out.
    """

    def __init__(self, target: Target, mode: Mode) -> None:
        self.target, self.layout, self.mode = target, target.deviations, mode
        layout, normal = self.layout, mode.normal
        self.size = layout.size + len(layout.scales)
        self.last: tuple[Array, tuple[float, Array]] | None = None
        self.scale_of, self.scale_spread = layout.scale_of(), layout.scale_spread
        self.blocks: list[tuple[slice, Array]] = []
        self.says, self.where = np.empty(layout.size), np.empty(layout.size)
        precision = np.exp(-2 * mode.log_scale)[self.scale_of]
        vectors = []
        for start, root in zip(layout.starts, layout.roots, strict=True):
            here = slice(start, start + len(root))
            said, at = normal.bowl[here, here], mode.white[here]
            value, vector = np.linalg.eigh(said)
            vectors.append(np.asarray(vector, np.float64))
            self.blocks.append((here, np.asarray(root @ vector, np.float64)))
            self.says[here] = np.maximum(value, 0.0)
            self.where[here] = vector.T @ (said @ at + precision[here] * at)
        self._lags(precision, vectors)

    def _lags(self, precision: Array, vectors: Sequence[Array]) -> None:
        """The place of each share's lag, and c; and what the records say of a lag whatever the shares are."""
        layout, bowl, white = self.layout, self.mode.normal.bowl, self.mode.white
        self.lag_of, self.with_lag = np.zeros(layout.size, dtype=np.intp), np.zeros(layout.size)
        lags = {
            part.family: start
            for part, start in zip(layout.parts, layout.starts, strict=True)
            if part.kind == LATE
        }
        for part, start, vector in zip(layout.parts, layout.starts, vectors, strict=True):
            if part.kind != SHARES:
                continue
            here, lag = slice(start, start + len(vector)), lags[part.family]
            self.lag_of[here] = lag
            self.with_lag[here] = vector.T @ bowl[here, lag]
            k = self.says[here] + precision[here]
            said = max(self.says[lag] - float((self.with_lag[here] ** 2 / k).sum()), 0.0)
            self.says[lag] = said
            self.where[lag] = (said + precision[lag]) * white[lag]

    def parts(self, x: Array) -> tuple[Array, Array]:
        """The deviations and the log scales."""
        u, log_scale = x[: self.layout.size], self._log_scale(x)
        k = self.says + np.exp(-2 * log_scale)[self.scale_of]
        return self._whole(self._mean(u, k) + u / np.sqrt(k)), log_scale

    def _mean(self, u: Array, k: Array) -> Array:
        """Where z would be most probable, given the lags."""
        lags = self.where / k + u / np.sqrt(k)  # of shares this is not used
        off = (lags - self.mode.white)[self.lag_of]
        return np.asarray((self.where - self.with_lag * off) / k)

    def _log_scale(self, x: Array) -> Array:
        return self.mode.log_scale + self.mode.scale_root @ x[self.layout.size :]

    def _whole(self, z: Array) -> Array:
        found = np.empty_like(z)
        for here, vector in self.blocks:
            found[here] = vector @ z[here]
        return found

    def value_and_gradient(self, x: Array) -> tuple[float, Array]:
        """The log density of deviations and scales given the records, as one of x, but for a constant; and its
        gradient."""
        # a sampler asks for the value and for the gradient of a place one after the other
        if self.last is None or not np.array_equal(x, self.last[0]):
            self.last = x.copy(), self._value_and_gradient(x)
        return self.last[1]

    def _value_and_gradient(self, x: Array) -> tuple[float, Array]:
        # a first step can be far too long: such a place has no chance, and no slope worth knowing
        with np.errstate(all="ignore"):
            log_scale = self._log_scale(x)
            t = np.exp(-2 * log_scale)[self.scale_of]
            k = self.says + t
            root = np.sqrt(k)
            mean = self._mean(x[: self.layout.size], k)
            z = mean + x[: self.layout.size] / root
            value, slope = self.target.value_and_gradient(self._whole(z))
            value -= float(t @ z**2 + np.log(k).sum()) / 2 + float(log_scale[self.scale_of].sum())
            value -= float(((log_scale / self.scale_spread) ** 2).sum()) / 2
        if not (np.isfinite(value) and np.isfinite(slope).all()):
            return -np.inf, np.zeros_like(x)
        by_z = -t * z
        for here, vector in self.blocks:
            by_z[here] += slope[here] @ vector
        by_z -= added_up(by_z * self.with_lag / k, self.lag_of, len(z))
        each = t / k * (by_z * (mean + z) + 1) + t * z**2 - 1
        by_scale = added_up(each, self.scale_of, len(log_scale)) - log_scale / self.scale_spread**2
        return value, np.concatenate((by_z / root, by_scale @ self.mode.scale_root))


class _Gradient(Op):  # type: ignore[misc]  # its package is not read for types
    """The value, and its gradient."""

    def __init__(self, place: Coordinates) -> None:
        self.place = place
        super().__init__()

    def make_node(self, x: Any) -> Apply:
        return Apply(self, [pt.as_tensor_variable(x)], [pt.dscalar(), pt.dvector()])

    def perform(self, node: Apply, inputs: Sequence[Array], outputs: list[list[Any]]) -> None:
        for output, value in zip(outputs, self.place.value_and_gradient(inputs[0]), strict=True):
            output[0] = np.asarray(value)


class LogDensity(Op):  # type: ignore[misc]
    """The log density of deviations and scales, as a function of x."""

    def __init__(self, place: Coordinates) -> None:
        self.gradient = _Gradient(place)
        super().__init__()

    def make_node(self, x: Any) -> Apply:
        """A node with one number as its output."""
        return Apply(self, [pt.as_tensor_variable(x)], [pt.dscalar()])

    def perform(self, node: Apply, inputs: Sequence[Array], outputs: list[list[Any]]) -> None:
        """The value alone."""
        outputs[0][0] = np.asarray(self.gradient.place.value_and_gradient(inputs[0])[0])

    def grad(self, inputs: Sequence[Any], output_gradients: Sequence[Any]) -> list[Any]:
        """The gradient, from the other operation."""
        return [output_gradients[0] * self.gradient(*inputs)[1]]

    def pullback(
        self, inputs: Sequence[Any], outputs: Sequence[Any], cotangents: Sequence[Any]
    ) -> list[Any]:
        """As `grad`, by the name that later versions of PyTensor ask for."""
        return self.grad(inputs, cotangents)
