"""A mapping that nobody changes: can be copied and pickled, which a view of a dictionary cannot."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TypeVar

K = TypeVar("K")
V = TypeVar("V")


class Frozen(Mapping[K, V]):
    """A read-only mapping, in the order of what it was made from; equal to any mapping of the same items."""

    __slots__ = ("_items",)

    def __init__(self, items: Mapping[K, V]) -> None:
        self._items = dict(items)

    def __getitem__(self, key: K) -> V:
        return self._items[key]

    def __iter__(self) -> Iterator[K]:
        return iter(self._items)

    def __len__(self) -> int:
        return len(self._items)

    def __repr__(self) -> str:
        return repr(self._items)
