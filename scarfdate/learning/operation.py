"""The target as one operation of PyTensor, with its exact gradient, in coordinates that suit a sampler."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytensor.tensor as pt
from pytensor.graph import Apply, Op

from scarfdate.knots import Array
from scarfdate.learning.laplace import Mode
from scarfdate.learning.shares_term import added_up
from scarfdate.learning.target import Target


class Coordinates:
    """Standard normals u behind the deviations d, whatever the scales are.

    If the likelihood were the normal of the Laplace route, and each part moved without the others, then d
    of a part under its log scale s would be normal with precision B + exp(-2 s) Q: B what the records say, Q the prior.
    Coordinates z in which Q is one and B is diagonal, with entries b, make that

        z  =  l / k  +  u / sqrt(k)        k = b + exp(-2 s),   l what the records say times where

    with u independent standard normals, for every s: where the records say much, z hardly moves with the
    scale, where they say nothing, it moves in proportion (a deviation may be held or carried, Papaspiliopoulos,
    Roberts and Skoeld 2007, "A general framework for the parametrization of hierarchical models",
    Statistical Science 22, 59-73; from memory). What the posterior is instead of that the sampler finds out.
    """

    def __init__(self, target: Target, mode: Mode) -> None:
        self.target, self.layout = target, target.deviations
        layout, normal = self.layout, mode.normal
        self.scale_of = layout.scale_of()
        self.blocks: list[tuple[slice, Array]] = []
        self.says, self.where = np.empty(layout.size), np.empty(layout.size)
        precision = np.exp(-2 * mode.log_scale)[self.scale_of]
        for start, root in zip(layout.starts, layout.roots, strict=True):
            here = slice(start, start + len(root))
            said, at = normal.bowl[here, here], mode.white[here]
            value, vector = np.linalg.eigh(said)
            self.blocks.append((here, np.asarray(root @ vector, np.float64)))
            self.says[here] = np.maximum(value, 0.0)
            self.where[here] = vector.T @ (said @ at + precision[here] * at)

    def free(self, u: Array, log_scale: Array) -> Array:
        """The deviations."""
        k = self.says + np.exp(-2 * log_scale)[self.scale_of]
        return self._whole(self.where / k + u / np.sqrt(k))

    def _whole(self, z: Array) -> Array:
        found = np.empty_like(z)
        for here, vector in self.blocks:
            found[here] = vector @ z[here]
        return found

    def value_and_gradient(self, u: Array, log_scale: Array) -> tuple[float, Array, Array]:
        """Log likelihood plus the log density of the deviations given the scales, as one of u and the log
        scales, but for a constant; and its gradients by both."""
        # a first step can be far too long: such a place has no chance, and no slope worth knowing
        with np.errstate(all="ignore"):
            t = np.exp(-2 * log_scale)[self.scale_of]
            k = self.says + t
            root = np.sqrt(k)
            mean = self.where / k
            z = mean + u / root
            value, slope = self.target.value_and_gradient(self._whole(z))
            value -= float(t @ z**2 + np.log(k).sum()) / 2 + float(log_scale[self.scale_of].sum())
        if not (np.isfinite(value) and np.isfinite(slope).all()):
            return -np.inf, np.zeros_like(u), np.zeros_like(log_scale)
        by_z = -t * z
        for here, vector in self.blocks:
            by_z[here] += slope[here] @ vector
        by_scale = t / k * (by_z * (mean + z) + 1) + t * z**2 - 1
        return value, by_z / root, added_up(by_scale, self.scale_of, len(log_scale))


class _Gradient(Op):  # type: ignore[misc]  # its package is not read for types
    """The value, and its gradients by u and by the log scales."""

    def __init__(self, place: Coordinates) -> None:
        self.place = place
        super().__init__()

    def make_node(self, u: Any, log_scale: Any) -> Apply:
        inputs = [pt.as_tensor_variable(u), pt.as_tensor_variable(log_scale)]
        return Apply(self, inputs, [pt.dscalar(), pt.dvector(), pt.dvector()])

    def perform(self, node: Apply, inputs: Sequence[Array], outputs: list[list[Any]]) -> None:
        found = self.place.value_and_gradient(inputs[0], inputs[1])
        for output, value in zip(outputs, found, strict=True):
            output[0] = np.asarray(value)


class LogDensity(Op):  # type: ignore[misc]
    """Log likelihood and prior of the deviations, as a function of u and the log scales."""

    def __init__(self, place: Coordinates) -> None:
        self.gradient = _Gradient(place)
        super().__init__()

    def make_node(self, u: Any, log_scale: Any) -> Apply:
        """A node with one number as its output."""
        inputs = [pt.as_tensor_variable(u), pt.as_tensor_variable(log_scale)]
        return Apply(self, inputs, [pt.dscalar()])

    def perform(self, node: Apply, inputs: Sequence[Array], outputs: list[list[Any]]) -> None:
        """The value alone."""
        value, _, _ = self.gradient.place.value_and_gradient(inputs[0], inputs[1])
        outputs[0][0] = np.asarray(value)

    def grad(self, inputs: Sequence[Any], output_gradients: Sequence[Any]) -> list[Any]:
        """The gradients, from the other operation."""
        _, by_u, by_scale = self.gradient(*inputs)
        return [output_gradients[0] * by_u, output_gradients[0] * by_scale]

    def pullback(
        self, inputs: Sequence[Any], outputs: Sequence[Any], cotangents: Sequence[Any]
    ) -> list[Any]:
        """As `grad`, by the name that later versions of PyTensor ask for."""
        return self.grad(inputs, cotangents)
