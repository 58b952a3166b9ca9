"""Plain lists: dated facts about values, how often papers are wrong, what can be looked at next, and what people ask.

The first years of values hold in every shares table (`SharesTable.first`); the other years explain, and the
shares tables hold what they mean.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.errors import did_you_mean
from scarfdate.tables.checked import Row, Table
from scarfdate.tables.knots import read_series
from scarfdate.tables.sheet import Basis
from scarfdate.tables.words import Vocabulary, plain

LIMITS = "law_limits.csv"
FASHIONS = "fashions.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What one fact says of one value of a family. Years are NaN where it gives none.

    ``allowed``: the share, in per cent, that may stand before ``not_before`` all the same: 0 where the fact
    admits no exception. ``status``: how the fact is known ("read", "memory", "common-practice").
    """

    family: str
    value: str
    not_before: float
    usual_from: float
    until: float
    allowed: float
    fact: str
    status: str
    basis: Basis

    def sets(self, family: str, value: str) -> bool:
        """Whether it says that there was none at all of a value before ``not_before``."""
        same = (self.family, self.value) == (family, value)
        return same and not math.isnan(self.not_before) and self.allowed == 0

    def __str__(self) -> str:
        said = [
            f"{words} {year:.0f}"
            for words, year in (
                ("not before", self.not_before), ("usual from", self.usual_from), ("until", self.until),
            )
            if not math.isnan(year)
        ]  # fmt: skip
        return f"{self.value} {', '.join(said)} (fact {self.fact}, {self.status})"


def read_limits(table: Table, vocabulary: Vocabulary) -> tuple[Limit, ...]:
    """The rows of ``law_limits.csv``, in their order."""
    found = []
    for row in table.rows:
        family, value = row["family"], row["value"]
        words = (*vocabulary.values.get(family, ()), *vocabulary.narrower.get(family, ()))
        if words and value not in words:
            step = did_you_mean(value, words)
            table.fault(
                row, "value", f"not a value or narrower word of family {family}", value, step
            )
        found.append(row.read_as(Limit))
    return tuple(found)


def read_fashions(
    table: Table, vocabulary: Vocabulary
) -> Mapping[tuple[str, str], tuple[Array, Array]]:
    """``fashions.csv``: by family and narrower word knots (n,) and levels (n, 1), above 0 and at most 1."""
    keys = [*zip(table.column("family"), table.column("word"), strict=True)]
    for row in table.rows:
        words = vocabulary.narrower.get(row["family"], frozenset())
        if words and row["word"] not in words:
            problem = f"not a narrower word of family {row['family']}"
            table.fault(row, "word", problem, row["word"], did_you_mean(row["word"], sorted(words)))
    series, _ = read_series(table, ["level"], keys, first=FIRST_YEAR)
    return MappingProxyType({key: (knots, levels / 100) for key, (knots, levels) in series.items()})


def first_years(
    limits: Sequence[Limit], vocabulary: Vocabulary
) -> dict[str, dict[str, tuple[float, float]]]:
    """By family and value: the latest first year that a fact sets, and the share allowed before it."""
    found: dict[str, dict[str, tuple[float, float]]] = {}
    for limit in sorted(limits, key=lambda limit: limit.not_before):
        is_value = limit.value in vocabulary.values.get(limit.family, ())
        if is_value and not math.isnan(limit.not_before):
            found.setdefault(limit.family, {})[limit.value] = (
                limit.not_before,
                limit.allowed / 100,
            )
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownBy:
    """How often years that are known in one way are wrong, 0 to 1."""

    wrong: float
    basis: Basis


def read_known_by(table: Table) -> Mapping[str, KnownBy]:
    """``known_by.csv``: every way of knowing years has its row."""
    found = {row["how"]: KnownBy(wrong=row["wrong"] / 100, basis=row.basis) for row in table.rows}
    for how in table.words("how") if table.whole else ():
        if how not in found:
            table.fault(None, "how", "a row is missing", how)
    return MappingProxyType(found)


_HURT = ("lamp", "flame", "solvent")


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Looking at one family by one method: minutes, what is needed, whether it harms the piece, cautions.

    ``words``: what to do, as one says it. ``not_where``: families, each with a word of it that a piece must
    not be noted with, or with "" for anything noted: the look cannot be taken there. ``least_bits``: what it
    has to promise before it is offered. ``loss``: the part of the piece's worth that the harm costs, 0 to 1.
    """

    family: str
    method: str
    words: str
    not_where: tuple[tuple[str, str], ...]
    minutes: float
    needs: str
    harms: bool
    least_bits: float
    loss: float
    caution: str


def read_checks(
    table: Table, families: Collection[str], vocabulary: Vocabulary
) -> tuple[Check, ...]:
    """The rows of ``checks.csv``, in their order."""
    found: list[Check] = []
    for row in table.rows:
        check = row.read_as(
            Check,
            harms=row["harms"] == "yes",
            loss=row["loss"] / 100,
            not_where=tuple(not_where(table, row, families, vocabulary)),
        )
        if (check.harms or check.needs in _HURT) and not check.caution:
            table.fault(row, "caution", "what harms or can hurt has a caution")
        found.append(check)
    return tuple(found)


def caution_of(checks: Iterable[Check], family: str, method: str) -> str:
    """What to take care of in looking at a family by a method that can harm the piece or hurt; "" for any other."""
    for check in checks:
        if (check.family, check.method) == (family, method):
            return check.caution if check.harms or check.needs in _HURT else ""
    return ""


def cautions(checks: Iterable[Check], method: str) -> tuple[str, ...]:
    """The same of a method, for whatever is looked at by it, each once."""
    every = [check for check in checks if check.method == method]
    found = dict.fromkeys(caution_of(every, check.family, method) for check in every)
    return tuple(one for one in found if one)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What people ask for that is no clue: what it is ``about``, what to say, and what to ``type`` ("": nothing)."""

    about: str
    says: str
    type: str

    def __str__(self) -> str:
        return f"{self.about}: {self.says}" + (f" Type: {self.type}" if self.type else "")


def read_questions(table: Table, names: Collection[str]) -> Mapping[str, Question]:
    """``questions.csv`` by the words that each is asked in; ``names``: what is a clue, and so no question."""
    found: dict[str, Question] = {}
    for row in table.rows:
        for words in row["asked"].split("|"):
            asked = plain(words)
            if not asked or asked in found or asked.replace(" ", "_") in names:
                problem = (
                    "two questions, or a clue, are asked for by these words" if asked else "no word"
                )
                table.fault(row, "asked", problem, words.strip())
            found[asked] = row.read_as(Question)
    return MappingProxyType(found)


def not_where(
    table: Table, row: Row, families: Collection[str], vocabulary: Vocabulary
) -> Iterator[tuple[str, str]]:
    """The parts of one cell ``not_where``; a family or a word that is not known is a fault."""
    for part in filter(None, map(str.strip, row["not_where"].split(";"))):
        family, _, word = part.partition(" ")
        if family not in families:
            step = did_you_mean(family, sorted(families))
            table.fault(row, "not_where", "no family of clues", family, step)
            continue
        words = [*vocabulary.values.get(family, ()), *vocabulary.parents.get(family, {})]
        if word and word not in words:
            step = did_you_mean(word, words)
            table.fault(row, "not_where", f"not a word of family {family}", word, step)
            continue
        yield family, word
