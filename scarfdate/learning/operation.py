"""The target as one operation of PyTensor, with its exact gradient."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytensor.tensor as pt
from pytensor.graph import Apply, Op

from scarfdate.knots import Array
from scarfdate.learning.target import Target


class _Gradient(Op):  # type: ignore[misc]  # its package is not read for types
    """Log likelihood, and its gradient by the normals and by the log scales."""

    def __init__(self, target: Target) -> None:
        self.target = target
        super().__init__()

    def make_node(self, white: Any, log_scale: Any) -> Apply:
        inputs = [pt.as_tensor_variable(white), pt.as_tensor_variable(log_scale)]
        return Apply(self, inputs, [pt.dscalar(), pt.dvector(), pt.dvector()])

    def perform(self, node: Apply, inputs: list[Array], outputs: list[list[Any]]) -> None:
        white, log_scale = inputs
        layout = self.target.deviations
        free = layout.from_white(white, log_scale)
        value, slope = self.target.value_and_gradient(free)
        outputs[0][0] = np.asarray(value)
        outputs[1][0] = layout.to_white(slope, log_scale)
        # the deviations are in proportion to the scale
        by_scale = np.bincount(layout.scale_of(), slope * free, len(log_scale))
        outputs[2][0] = np.asarray(by_scale, dtype=np.float64)


class _Likelihood(Op):  # type: ignore[misc]
    """The log likelihood alone, whose gradient is the other operation."""

    def __init__(self, target: Target) -> None:
        self.gradient = _Gradient(target)
        super().__init__()

    def make_node(self, white: Any, log_scale: Any) -> Apply:
        inputs = [pt.as_tensor_variable(white), pt.as_tensor_variable(log_scale)]
        return Apply(self, inputs, [pt.dscalar()])

    def perform(self, node: Apply, inputs: list[Array], outputs: list[list[Any]]) -> None:
        target = self.gradient.target
        free = target.deviations.from_white(inputs[0], inputs[1])
        outputs[0][0] = np.asarray(target.value(free))

    def grad(self, inputs: list[Any], output_gradients: list[Any]) -> list[Any]:
        _, by_white, by_scale = self.gradient(*inputs)
        return [output_gradients[0] * by_white, output_gradients[0] * by_scale]

    def pullback(self, inputs: list[Any], outputs: list[Any], cotangents: list[Any]) -> list[Any]:
        """As `grad`; the name that later versions of PyTensor ask for."""
        return self.grad(inputs, cotangents)


def log_likelihood(target: Target) -> Callable[[Any, Any], Any]:
    """The log likelihood of the records as a function of the normals and the log scales."""
    return _Likelihood(target)
