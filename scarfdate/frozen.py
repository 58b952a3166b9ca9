"""Mappings that nobody changes, and that can still be copied and pickled.

Python's own read-only view of a dictionary can be neither; here it is told how: as what it is, made anew.
"""

from __future__ import annotations

import copyreg
from collections.abc import Mapping
from types import MappingProxyType
from typing import TypeVar

K = TypeVar("K")
V = TypeVar("V")


def frozen(items: Mapping[K, V]) -> MappingProxyType[K, V]:
    """A read-only copy, in the same order."""
    return MappingProxyType(dict(items))


copyreg.pickle(MappingProxyType, lambda view: (frozen, (dict(view),)))
