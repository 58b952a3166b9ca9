"""The tables of clues by the folder that they lie in: the usual ones, and those of a channel of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from scarfdate.tables.checked import Table
from scarfdate.tables.families import Family
from scarfdate.tables.folder import KINDS
from scarfdate.tables.knots import MeasuredTable, SharesTable, read_measured, read_shares
from scarfdate.tables.noting import ConfusionTable, certain, read_confusion
from scarfdate.tables.words import Vocabulary


@dataclass(frozen=True, kw_only=True)
class TableSet:
    """Tables of some families that hold in certain channels instead of the usual ones."""

    shares: Mapping[str, SharesTable]
    measured: Mapping[str, MeasuredTable]
    confusion: Mapping[str, ConfusionTable]


def of_kind(kind: str) -> str:
    """The kind of the families that have tables in a folder of this name."""
    return "shares" if kind == "confusion" else kind


def folders_of(tables: Iterable[str]) -> list[str]:
    """The folders with tables of clues that a channel has of its own."""
    return sorted({name.rsplit("/", 2)[0] for name in tables if name.count("/") == 2})


def of_clues(
    tables: Mapping[str, Table],
    folder: str,
    vocabulary: Vocabulary,
    families: Mapping[str, Family],
    first: Mapping[str, Mapping[str, tuple[float, float]]],
) -> TableSet:
    """The tables of clues in one of `folders_of`, or for "" the usual ones.

    ``first``: by family the first years of values, which hold in every folder.
    """
    place = f"{folder}/" if folder else ""
    read: dict[str, dict[str, Any]] = {kind: {} for kind in KINDS}
    for family in families.values():
        for kind, reader in _READERS.items():
            table = tables.get(f"{place}{kind}/{family.name}.csv")
            words = vocabulary.values.get(family.parent or family.name)
            if not words or family.kind != of_kind(kind):
                continue
            if table is not None:
                read[kind][family.name] = reader(family.name, table)
            elif kind == "confusion" and not folder:
                read[kind][family.name] = certain(family.name, words)
    read["shares"] = {
        name: replace(table, first=MappingProxyType(dict(first.get(name, {}))))
        for name, table in read["shares"].items()
    }
    return TableSet(**{kind: MappingProxyType(own) for kind, own in read.items()})


_READERS: Mapping[str, Callable[[str, Table], Any]] = {
    "shares": read_shares,
    "measured": read_measured,
    "confusion": read_confusion,
}
