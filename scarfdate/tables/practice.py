"""What practice is about: its levels, and the pairs of words to be told apart (``practice_*.csv``)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.tables.checked import Table
from scarfdate.tables.sheet import Basis
from scarfdate.tables.words import Vocabulary

LEVELS, PAIRS = "practice_levels.csv", "practice_pairs.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """``about``: families whose pairs take turns; ``beside``: families that are shown with them; all families
    where empty. ``clues``: how many are shown, at most. ``pairs``: "near" and "clear", or one of them."""

    level: str
    about: tuple[str, ...]
    beside: tuple[str, ...]
    clues: int
    pairs: tuple[str, ...]
    says: str
    basis: Basis


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two words of a family, and what tells them apart; ``pairs``: whether they are "near" or "clear"; ``test``: the
    way of looking of which this speaks where it can hurt or harm, "" where it cannot."""

    family: str
    one: str
    other: str
    pairs: str
    says: str
    test: str
    basis: Basis


@dataclass(frozen=True, kw_only=True)
class PracticeTables:
    """Levels by name, and all pairs in the order of the file."""

    levels: Mapping[str, Level]
    pairs: tuple[Pair, ...]

    def level(self, name: object) -> Level:
        """The level of this name. Raises WordError with the names that there are."""
        if not isinstance(name, str) or name not in self.levels:
            hint = did_you_mean(name if isinstance(name, str) else "", [*self.levels])
            raise WordError(f"level: {shown(name)} is not known; {hint}")
        return self.levels[name]

    def pairs_of(self, level: Level) -> tuple[Pair, ...]:
        """The pairs that take turns on a level."""
        return tuple(
            pair
            for pair in self.pairs
            if pair.pairs in level.pairs and (not level.about or pair.family in level.about)
        )


def read_practice(levels: Table, pairs: Table, vocabulary: Vocabulary) -> PracticeTables:
    """Both tables; a pair has two different values of its family, and every level has a pair."""
    found = PracticeTables(
        levels=MappingProxyType({row["level"]: row.read_as(Level) for row in levels.rows}),
        pairs=tuple(row.read_as(Pair, test=row.get("test", "")) for row in pairs.rows),
    )
    for row in pairs.rows:
        words = vocabulary.values.get(row["family"], ())
        for column in ("one", "other"):
            if row[column] not in words:
                step = did_you_mean(row[column], words)
                problem = f"is not a value of {row['family']}"
                pairs.fault(row, column, problem, row[column], step)
        if row["one"] == row["other"]:
            pairs.fault(row, "other", "is the same word as one", row["other"])
    for row in levels.rows:
        if not found.pairs_of(found.levels[row["level"]]):
            levels.fault(row, "about", f"no pair of {PAIRS} is of this level", row["about"])
    return found
