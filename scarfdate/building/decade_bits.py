"""Mutual information of the decade made and what is noted, in bits, for one table or many drawn ones."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import GRADES, Array
from scarfdate.model.exact import onto_style_years
from scarfdate.model.model import Model
from scarfdate.tables.knots import Key

LEAST_WORTH = 1.0  # a table worth less than one record is drawn as if it were worth one
EACH = range(len(GRADES))
TARGETS: tuple[tuple[int, ...], ...] = (*((g,) for g in EACH), tuple(EACH))
# drawn tables are worked out in single precision, at half the time: they are uncertain in the second
# digit; the table as it is in double
Real = NDArray[np.floating[Any]]


def made_and_read(model: Model, reads: str) -> Array:
    """P(grade, decade made, year whose shares are read), (grades, decades, years).

    For a making clue the shares are those of the year made; for a style clue those of the year made
    or, of a revival, of the year looked back to.
    """
    decade = model.years // 10 - model.years[0] // 10
    inside = (np.arange(decade[-1] + 1)[:, None] == decade).astype(float)
    made = inside * model.prior[:, None, :]
    return onto_style_years(model, made) if reads == "style" else np.asarray(made)


def _xlogx(x: Real) -> Real:
    logs = np.maximum(x, np.finfo(x.dtype).tiny)
    np.log2(logs, out=logs)
    logs *= x
    return logs


def weighed(joint: Real) -> Array:
    """Mutual information in bits times the total mass: joint (..., noted, decades, n) to (..., n)."""
    decades, noted = joint.sum(axis=-3, dtype=float), joint.sum(axis=-2, dtype=float)
    bits = (
        _xlogx(joint).sum(axis=(-3, -2), dtype=float)
        - _xlogx(decades).sum(axis=-2)
        - _xlogx(noted).sum(axis=-2)
        + _xlogx(decades.sum(axis=-2))
    )
    return np.asarray(np.maximum(bits, 0.0))  # never below zero but for rounding


def targets(each: Real) -> Real:
    """Every grade by itself, and their sum: (grades, ...) to (targets, ...)."""
    return np.concatenate([each, each.sum(axis=0, keepdims=True)])


def knot_weights(series: Mapping[Key, tuple[Array, Array]], model: Model) -> dict[Key, Array]:
    """The weight of each knot in each year, (years, knots): linear between, flat outside."""
    return {
        key: np.stack([np.interp(model.years, knots, unit) for unit in np.eye(len(knots))], axis=1)
        for key, (knots, _) in series.items()
    }
