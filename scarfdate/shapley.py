"""Shapley values of a game whose every coalition is known: the fair parts of a whole.

The value of player i is the mean, over all orders in which the players can come, of what the worth rises
by when i comes (Shapley 1953, "A value for n-person games", Contributions to the Theory of Games II,
307-317). The parts add up to the worth of all less that of none.
"""

from __future__ import annotations

from math import comb

import numpy as np

from scarfdate.errors import RangeError
from scarfdate.knots import Array


def shapley(worth: Array) -> Array:
    """The parts (n,) from the worth (2**n,) of every coalition; bit i of its place says that i is in."""
    players = max(len(worth).bit_length() - 1, 0)
    if worth.ndim != 1 or len(worth) != 1 << players:
        raise RangeError(f"shapley: the worth of all 2**n coalitions is needed, got {worth.shape}")
    size = members(players)
    # of a coalition without i with s members, the share of all orders in which just these come before i
    weight = np.array([1 / (players * comb(players - 1, s)) for s in range(players)])
    parts = np.empty(players)
    for i in range(players):
        both = worth.reshape(-1, 2, 1 << i)
        before = size.reshape(-1, 2, 1 << i)[:, 0]
        parts[i] = np.sum(weight[before] * (both[:, 1] - both[:, 0]))
    return parts


def members(players: int) -> np.ndarray:
    """The number of members of every coalition, (2**players,)."""
    size = np.zeros(1, dtype=np.int64)
    for _ in range(players):
        size = np.concatenate((size, size + 1))
    return size
