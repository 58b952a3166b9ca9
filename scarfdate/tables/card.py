"""What the card for the pocket goes by: its eras, and the values that have a row of their own."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

from scarfdate.errors import did_you_mean
from scarfdate.tables.checked import Table
from scarfdate.tables.families import Family
from scarfdate.tables.words import Vocabulary

_NUMBER = re.compile(r"\d+(\.\d+)?")


class CardEra(NamedTuple):
    """The first year of an era, and the first of its later half."""

    first: int
    half: int


@dataclass(frozen=True, kw_only=True)
class CardTables:
    """``eras`` in their order; ``own``: family and value of each row that is joined with no other; ``borders``:
    of a measured family the numbers between its rows."""

    eras: tuple[CardEra, ...]
    own: frozenset[tuple[str, str]]
    borders: Mapping[str, tuple[float, ...]]


def read_card(
    eras: Table, rows: Table, vocabulary: Vocabulary, families: Mapping[str, Family]
) -> CardTables:
    """``card_eras.csv`` and ``card_rows.csv``; a half outside its era, or a value that is none, is a fault."""
    found = [CardEra(int(row["from"]), int(row["half"])) for row in eras.rows]
    for at, row in enumerate(eras.rows):
        after = found[at + 1].first if at + 1 < len(found) else found[at].half + 1
        if not found[at].first < found[at].half < after:
            eras.fault(row, "half", "does not lie within the era", row["half"])
    own, borders = [], dict[str, list[float]]()
    for row in rows.rows:
        family, value = row["family"], row["value"]
        known = vocabulary.values.get(family, ())
        if families[family].kind == "measured":
            if not _NUMBER.fullmatch(value):
                rows.fault(row, "value", "the border of a measured family is a number", value)
            else:
                borders.setdefault(family, []).append(float(value))
        elif value in known:
            own.append((family, value))
        else:
            step = did_you_mean(value, known)
            rows.fault(row, "value", f"not a value of {family}", value, step)
    cut = {family: tuple(sorted(numbers)) for family, numbers in borders.items()}
    return CardTables(eras=tuple(found), own=frozenset(own), borders=MappingProxyType(cut))
