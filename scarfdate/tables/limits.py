"""Years before, from or until which a value can be met, by dated facts: ``law_limits.csv``.

They explain; a dating does not read them. The shares tables hold what they mean.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from scarfdate.errors import Fault
from scarfdate.tables.families import Family
from scarfdate.tables.sheet import Basis, read_sheet
from scarfdate.tables.vocabulary import Vocabulary

LIMITS = "law_limits.csv"
LIMIT_COLUMNS = (
    "family", "value", "not_before", "usual_from", "until", "allowed", "fact", "status",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Limit:
    """What one fact says of one value of a family. Years are NaN where it gives none.

    ``status``: how the fact is known ("read", "memory", "common-practice").
    """

    family: str
    value: str
    not_before: float
    usual_from: float
    until: float
    fact: str
    status: str
    basis: Basis

    def __str__(self) -> str:
        said = [
            f"{words} {year:.0f}"
            for words, year in (
                ("not before", self.not_before), ("usual from", self.usual_from), ("until", self.until),
            )
            if not math.isnan(year)
        ]  # fmt: skip
        return f"{self.value} {', '.join(said)} (fact {self.fact}, {self.status})"


def read_limits(
    content: bytes, vocabulary: Vocabulary, families: Mapping[str, Family], faults: list[Fault]
) -> tuple[Limit, ...]:
    """The rows of ``law_limits.csv``, in their order."""
    sheet = read_sheet(LIMITS, content, LIMIT_COLUMNS, faults)
    found = []
    for line, row in sheet.rows:
        basis = sheet.basis(line)
        family = sheet.word(line, "family", tuple(families))
        value = sheet.word(line, "value", vocabulary.values.get(family, (row["value"],)))
        not_before, usual, until = (
            float(sheet.year(line, name)) if row[name] else math.nan
            for name in ("not_before", "usual_from", "until")
        )
        found.append(
            Limit(family, value, not_before, usual, until, row["fact"], row["status"], basis)
        )
    return tuple(found)
