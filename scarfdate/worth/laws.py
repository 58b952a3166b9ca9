"""Laws of what is observed, given a linear predictor: log density and its first two derivatives by the predictor.

Each holds its observations, one a row of the design, and has shape parameters as unbounded numbers (``names``), of
which `shape` makes those that people know.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array

LEAST_NU = 2.0  # degrees of freedom, below which the residual has no variance
_HALF_LOG_TWO_PI = 0.5 * float(np.log(2 * np.pi))


class Terms(NamedTuple):
    """Log densities (rows,), their first and second derivatives by the linear predictor, and ``expected``, minus the
    expectation of the second (Fisher's information)."""

    log: Array
    first: Array
    second: Array
    expected: Array


class Law(Protocol):
    """What a fit asks of a law."""

    @property
    def names(self) -> tuple[str, ...]:
        """The shape parameters that are learned."""
        ...

    def terms(self, predictor: Array, parameters: Array) -> Terms:
        """Of every row, given the predictor (rows,) and the parameters (names,)."""
        ...

    def shape(self, parameters: Array) -> Mapping[str, Array]:
        """The shape as people know it, of parameters (..., names)."""
        ...


@dataclass(frozen=True, eq=False)
class StudentT:
    """``y`` (rows,) with Student-t residuals; ``variance`` (rows,): known, added to that of the scale.

    ``nu``: the degrees of freedom, above 2; None where they are learned (log sigma, log (nu - 2)), infinity for a
    normal law.
    """

    y: Array
    variance: Array
    nu: float | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """Log scale, and the degrees of freedom where they are learned."""
        return ("log_sigma", "log_nu") if self.nu is None else ("log_sigma",)

    def shape(self, parameters: Array) -> Mapping[str, Array]:
        """Scale and degrees of freedom."""
        sigma = np.exp(parameters[..., 0])
        if self.nu is not None:
            return {"sigma": sigma, "nu": np.full_like(sigma, self.nu)}
        return {"sigma": sigma, "nu": LEAST_NU + np.exp(parameters[..., 1])}

    def terms(self, predictor: Array, parameters: Array) -> Terms:
        """Of every row."""
        from scipy.special import gammaln

        shape = self.shape(parameters)
        nu = float(shape["nu"])
        square = float(shape["sigma"]) ** 2 + self.variance
        error = self.y - predictor
        constant = -0.5 * np.log(square)
        if np.isinf(nu):
            log = constant - _HALF_LOG_TWO_PI - 0.5 * error**2 / square
            return Terms(log, error / square, -1 / square, 1 / square)
        constant = (
            constant + float(gammaln((nu + 1) / 2) - gammaln(nu / 2)) - 0.5 * np.log(nu * np.pi)
        )
        whole = nu * square + error**2
        log = constant - (nu + 1) / 2 * np.log1p(error**2 / (nu * square))
        first = (nu + 1) * error / whole
        second = (nu + 1) * (error**2 - nu * square) / whole**2
        return Terms(log, first, second, (nu + 1) / ((nu + 3) * square))


@dataclass(frozen=True, eq=False)
class Weibull:
    """Log times, (rows,), with the predictor as the log of their scale; ``ended`` (rows,): False where the time
    is censored on the right."""

    log_time: Array
    ended: NDArray[np.bool_]
    names: tuple[str, ...] = field(default=("log_shape",), init=False)

    def shape(self, parameters: Array) -> Mapping[str, Array]:
        """The Weibull shape."""
        return {"shape": np.exp(parameters[..., 0])}

    def terms(self, predictor: Array, parameters: Array) -> Terms:
        """Of every row: the density of the log of the time, or the chance that it is longer."""
        k = float(np.exp(parameters[0]))
        z = k * (self.log_time - predictor)
        hazard = np.exp(z)
        log = np.where(self.ended, np.log(k) + z, 0.0) - hazard
        curved = k**2 * hazard
        return Terms(log, k * hazard - np.where(self.ended, k, 0.0), -curved, curved)


@dataclass(frozen=True, eq=False)
class Bernoulli:
    """``happened`` (rows,), 0 or 1, with the predictor as log odds."""

    happened: Array
    names: tuple[str, ...] = field(default=(), init=False)

    def shape(self, parameters: Array) -> Mapping[str, Array]:
        """There is none."""
        return {}

    def terms(self, predictor: Array, parameters: Array) -> Terms:
        """Of every row."""
        from scipy.special import expit

        chance = np.asarray(expit(predictor))
        log = self.happened * predictor - np.logaddexp(0.0, predictor)
        curved = chance * (1 - chance)
        return Terms(log, self.happened - chance, -curved, curved)
