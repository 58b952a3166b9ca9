"""Which ids were there before, in a file of any length: eight bytes an id."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

_Hashes = NDArray[np.int64]


class Ids:
    """The ids met so far, as sorted lists of their hashes, each at least twice as long as the next.

    Two ids of ten million have one hash with a chance of three in a million, and one piece would then be told of
    an earlier one that there is not.
    """

    def __init__(self) -> None:
        self._lists: list[_Hashes] = []

    def met(self, ids: Sequence[str]) -> NDArray[np.bool_]:
        """Whether each of these was among those given at an earlier call; from now on they are. "" is no id."""
        hashes = np.array([hash(one) for one in ids], dtype=np.int64)
        there = np.array([one != "" for one in ids], dtype=bool)
        found = np.zeros(len(ids), dtype=bool)
        for known in self._lists:
            at = np.minimum(np.searchsorted(known, hashes), len(known) - 1)
            found |= known[at] == hashes
        self._add(np.unique(hashes[there]))
        return np.asarray(found & there)

    def _add(self, hashes: _Hashes) -> None:
        while self._lists and len(self._lists[-1]) < 2 * len(hashes):
            # in place, and one twice is no harm: of the longest list nothing is copied more than once
            hashes = np.concatenate((self._lists.pop(), hashes))
            hashes.sort()
        if len(hashes):
            self._lists.append(hashes)
