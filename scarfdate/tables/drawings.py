"""What a drawing of a clue shows, at what scale, and why a thing is not drawn: ``drawings.csv``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.errors import did_you_mean
from scarfdate.strokes.shown import EVERY_WORD, Shown
from scarfdate.tables.checked import Table
from scarfdate.tables.sheet import Basis
from scarfdate.tables.words import Vocabulary

DRAWINGS = "drawings.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingRow(Shown):
    """A row of ``drawings.csv``: what is shown, and how that is known."""

    basis: Basis


def read_drawings(table: Table, vocabulary: Vocabulary) -> Mapping[tuple[str, str], DrawingRow]:
    """``drawings.csv`` by family and word; a row has a picture in words with a scale, or a reason, never both."""
    found = {}
    for row in table.rows:
        family, word = row["family"], row["word"]
        words = vocabulary.values.get(family, ())
        if word not in (EVERY_WORD, *words):
            step = did_you_mean(word, words)
            table.fault(row, "word", f"is not a value of {family}", word, step)
        if bool(row["alt"]) == bool(row["reason"]):
            table.fault(row, "reason", "either alt or reason is to be given", row["reason"])
        elif row["alt"] and row["times"] != row["times"]:
            table.fault(row, "times", "a drawing needs its scale")
        found[family, word] = row.read_as(DrawingRow)
    return MappingProxyType(found)
