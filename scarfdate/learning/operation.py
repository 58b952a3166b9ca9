"""The target as one operation of PyTensor, with its exact gradient, in coordinates that suit a sampler."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytensor.tensor as pt
from pytensor.graph import Apply, Op

from scarfdate.knots import Array
from scarfdate.learning.laplace import Mode
from scarfdate.learning.target import Target


class Coordinates:
    """Standard normals behind the deviations, seen from the mode: ``white = at + turn @ u``.

    If the posterior were the normal of the Laplace route, u would be independent standard normals; what it
    is instead the sampler finds out. ``turn`` (size, size) is upper triangular.
    """

    def __init__(self, target: Target, mode: Mode) -> None:
        from scipy.linalg import solve_triangular

        self.target, self.layout = target, target.deviations
        layout = self.layout
        size = layout.size
        roots = np.zeros((size, size))
        for part, root, start in zip(layout.parts, layout.roots, layout.starts, strict=True):
            here = slice(start, start + len(root))
            roots[here, here] = np.exp(mode.log_scale[part.scale]) * root
        # the precision of the white coordinates is roots' (precision of the deviations) roots
        turned = mode.root.T @ roots
        lower = np.linalg.cholesky(turned.T @ turned)
        self.turn = solve_triangular(lower.T, np.eye(size), lower=False)
        self.at = np.linalg.solve(roots, mode.free)

    def white(self, u: Array) -> Array:
        """The standard normals of the prior."""
        return np.asarray(self.at + self.turn @ u)

    def free(self, u: Array, log_scale: Array) -> Array:
        """The deviations."""
        return self.layout.from_white(self.white(u), log_scale)

    def value_and_gradient(self, u: Array, log_scale: Array) -> tuple[float, Array, Array]:
        """Log likelihood plus the log density of the standard normals, and its gradients by u and scales."""
        white = self.white(u)
        free = self.layout.from_white(white, log_scale)
        # a first step can be far too long: such a place has no chance, and no slope worth knowing
        with np.errstate(all="ignore"):
            value, slope = self.target.value_and_gradient(free)
        if not (np.isfinite(value) and np.isfinite(slope).all()):
            return -np.inf, np.zeros_like(u), np.zeros_like(log_scale)
        by_white = self.layout.to_white(slope, log_scale) - white
        # the deviations are in proportion to their scale
        by_scale = np.bincount(self.layout.scale_of(), slope * free, len(log_scale))
        return (
            value - float(white @ white) / 2,
            by_white @ self.turn,
            np.asarray(by_scale, np.float64),
        )


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
