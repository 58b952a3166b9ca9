"""Shapley values of a game whose every coalition is known: the fair parts of a whole.

The value of player i is the mean, over all orders in which the players can come, of what the worth rises
by when i comes (Shapley 1953, "A value for n-person games", Contributions to the Theory of Games II,
307-317). The parts add up to the worth of all less that of none.
"""

from __future__ import annotations

from functools import cache
from math import comb

import numpy as np

from scarfdate.conventions import Array
from scarfdate.errors import RangeError


def shapley(worth: Array) -> Array:
    """The parts (n,) from the worth (2**n,) of every coalition; bit i of its place says that i is in."""
    players = max(len(worth).bit_length() - 1, 0)
    if worth.ndim != 1 or len(worth) != 1 << players:
        raise RangeError(f"shapley: the worth of all 2**n coalitions is needed, got {worth.shape}")
    # of a coalition of s, the share of all orders in which just its members come before one that is not
    # in it; so the part of i is the sum, over those with i, of (weight[s - 1] + weight[s]) worth, less
    # the sum over all of weight[s] worth
    size = members(players)
    weight = np.array([0, *(1 / (players * comb(players - 1, s)) for s in range(players)), 0.0])
    above = worth - worth[0]  # a constant changes nothing, and could cost digits
    with_each = (weight[:-1] + weight[1:])[size] * above
    parts = np.empty(players)
    for i in reversed(range(players)):
        # the coalitions with the last player that is left, then both halves folded into one
        parts[i] = with_each[1 << i :].sum()
        with_each = with_each[: 1 << i] + with_each[1 << i :]
    return np.asarray(parts - weight[1:][size] @ above)


@cache
def members(players: int) -> np.ndarray:
    """The number of members of every coalition, (2**players,)."""
    size = np.zeros(1, dtype=np.int64)
    for _ in range(players):
        size = np.concatenate((size, size + 1))
    size.flags.writeable = False
    return size
