"""The mode of a penalised likelihood over year cells, by damped Newton steps on the log density."""

from __future__ import annotations

import numpy as np

from scarfdate.conventions import Array
from scarfdate.density.likelihood import MatrixRows
from scarfdate.errors import RangeError

_WEAK = 1e-4  # precision of first differences: keeps an end without records from running away
_DECREMENT = 1e-9  # Newton stops when it expects to gain less than this in log-likelihood
_STEPS = 200


def roughness(cells: int, free_first: bool) -> tuple[Array, Array]:
    """Penalty matrices (cells, cells): second differences, and the weak one of first differences."""
    second = np.diff(np.eye(cells), n=2, axis=0)
    if free_first:
        second = second[1:]
    first = np.diff(np.eye(cells), axis=0)
    return second.T @ second, _WEAK * first.T @ first


def mode(rows: MatrixRows, weight: Array, penalty: Array, start: Array) -> Array:
    """The log density (cells,) at the mode of likelihood and penalty, by damped Newton steps.

    The likelihood of intervals is not concave in eta. Where the exact Hessian is not definite, the
    missing information is taken back by halves: without it the matrix is that of complete data,
    which is always definite.
    """
    from scipy.linalg import (
        LinAlgError,
        cho_factor,
        cho_solve,
    )

    total = float(weight.sum())
    shift = total / len(start) ** 2
    used = weight > 0

    def value_at(eta: Array) -> tuple[float, Array]:
        fitted = np.maximum(rows.fitted(np.exp(eta)), 1e-300)
        return float(weight @ np.log(fitted) - eta @ penalty @ eta / 2), fitted

    eta = log_softmax(start)
    value, fitted = value_at(eta)
    for _ in range(_STEPS):
        density = np.exp(eta)
        load = np.where(used, weight / fitted, 0)
        expected = density * rows.pull(load)  # records expected in each cell
        gradient = expected - total * density - penalty @ eta
        complete = np.diag(total * density) - total * np.outer(density, density) + penalty + shift
        missing = np.diag(expected) - np.outer(density, density) * rows.cross(load / fitted)
        share = 1.0
        while True:
            try:
                factor = cho_factor(complete - share * missing, check_finite=False)
                break
            except LinAlgError:
                if share == 0.0:  # nothing is left to take off: numbers too far apart for a step
                    raise RangeError(
                        "the records do not determine a density on these years; give more records, "
                        "or more smoothing"
                    ) from None
                share = share / 2 if share > 0.05 else 0.0
        step = cho_solve(factor, gradient, check_finite=False)
        gain = float(gradient @ step)
        if gain < _DECREMENT:
            break
        length = min(1.0, 8 / float(np.abs(step - step.mean()).max()))
        while length > 1e-10:
            trial = log_softmax(eta + length * step)
            after, fitted_there = value_at(trial)
            if after >= value + 1e-4 * length * gain:
                break
            length /= 2
        else:
            break  # rounding: nothing more to gain
        eta, value, fitted = trial, after, fitted_there
    return eta


def spread_out(rows: MatrixRows, weight: Array) -> Array:
    """Each record spread over its row, and a little over all cells, as a log density."""
    each = weight / rows.fitted(np.ones(rows.shape[1]))
    spread = rows.pull(each) / weight.sum()
    return np.asarray(np.log(0.9 * spread + 0.1 / len(spread)))


def observed_information(rows: MatrixRows, weight: Array, density: Array) -> Array:
    """Observed information of eta in the likelihood alone, (cells, cells)."""
    total = weight.sum()
    fitted = np.maximum(rows.fitted(density), 1e-300)
    load = np.where(weight > 0, weight / fitted, 0)
    outer = np.outer(density, density)
    return np.asarray(
        np.diag(total * density - density * rows.pull(load))
        - outer * (total - rows.cross(load / fitted))
    )


def log_softmax(eta: Array, axis: int = -1) -> Array:
    """``eta`` scaled so that its exponentials add up to one along an axis."""
    top = eta.max(axis=axis, keepdims=True)
    return np.asarray(eta - top - np.log(np.exp(eta - top).sum(axis=axis, keepdims=True)))
