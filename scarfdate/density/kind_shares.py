"""Shares of kinds over years: a penalised multinomial logistic model on knots ten years apart.

Smooth by second differences of the logits; cell 0, if it is "all before", has shares of its own.
"""

from __future__ import annotations

import numpy as np

from scarfdate.conventions import Array
from scarfdate.density.mode import log_softmax

_KNOT = 10  # years between knots of the shares


def fit_shares(counts: Array, basis: Array, penalty: Array, logits: Array) -> Array:
    """Logits (kinds, knots) of a penalised multinomial logistic model, by Newton steps.

    Only up to three steps: EM needs a gain, not the maximum. The objective is concave.
    """
    kinds, knots = logits.shape
    total = counts.sum(axis=0)

    def value_at(trial: Array) -> float:
        log_share = log_softmax(trial @ basis, axis=0)
        return float(
            (counts * log_share).sum() - np.einsum("kj,kjl,kl->", trial, penalty, trial) / 2
        )

    value = value_at(logits)
    for _ in range(3):
        share = shares(logits @ basis)
        gradient = (counts - total * share) @ basis.T - np.einsum("kj,kjl->kl", logits, penalty)
        hessian = np.zeros((kinds, knots, kinds, knots))
        for a in range(kinds):
            for b in range(a, kinds):
                curve = total * share[a] * ((a == b) - share[b])
                block = (basis * curve) @ basis.T
                hessian[a, :, b] = block + (penalty[a] if a == b else 0)
                hessian[b, :, a] = hessian[a, :, b].T
        flat = hessian.reshape(kinds * knots, -1)
        step = np.linalg.solve(flat, gradient.ravel()).reshape(kinds, knots)
        gain = float((gradient * step).sum())
        length = 1.0
        while length > 1e-6:
            trial = logits + length * step
            after = value_at(trial)
            if after >= value + 1e-4 * length * gain:
                logits, value = trial, after
                break
            length /= 2
        if gain < 1e-6:
            break
    return logits


def hats(cells: int, free_first: bool) -> Array:
    """Hat functions on knots ten years apart, (knots, cells); cell 0 by itself if it is free."""
    begin = 1 if free_first else 0
    knot = np.linspace(begin, cells - 1, max(4, round((cells - 1 - begin) / _KNOT) + 1))
    every = np.stack([np.interp(np.arange(cells), knot, row) for row in np.eye(len(knot))])
    if not free_first:
        return every
    every[:, 0] = 0
    alone = np.zeros((1, cells))
    alone[0, 0] = 1
    return np.concatenate([alone, every])


def shares(logits: Array) -> Array:
    """The shares of the kinds, (kinds, cells), from logits of the same shape."""
    return np.exp(log_softmax(logits, axis=0))
