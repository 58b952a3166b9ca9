"""The words a person may write, and the families of clues that they tell of.

The words are data (``vocabulary.csv``): values, their synonyms, and parent words, which are read as
*one of* their children. Case, accents, hyphens and spare blanks make no difference. The families are what
``families.csv`` declares; a new one needs a row and a table.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.tables.schema import Row, Table

_LONGEST_WORD = 120  # letters; anything longer is a note in the wrong cell
_JOINTS = re.compile(r"[\s\-_/‐‑–—]+")
ANY_FAMILY = "any"  # words read alike in every family: "?", "not looked at"


def plain(text: str) -> str:
    """``text`` as words are compared: lower case, no accents, one blank for hyphens and blanks."""
    letters = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return _JOINTS.sub(" ", letters).strip(" .")


@dataclass(frozen=True, kw_only=True)
class Vocabulary:
    """Every family's values (in their written order) and the words read as them."""

    values: Mapping[str, tuple[str, ...]]
    meanings: Mapping[str, Mapping[str, str]]
    parents: Mapping[str, Mapping[str, tuple[str, ...]]]
    _read: Mapping[str, Mapping[str, str]]  # family -> plain word -> the word written

    def canonical(self, family: str, text: str) -> str:
        """The value or parent word that ``text`` is read as; "" where it says "not looked at".

        Raises WordError, naming the nearest known words.
        """
        if len(text) <= _LONGEST_WORD:
            word = plain(text)
            known = self._read[family].get(word)
            if known is not None:
                return known
            if not word or word in self._read.get(ANY_FAMILY, {}):
                return ""
        hint = did_you_mean(plain(text[:_LONGEST_WORD]), self._writable[family])
        raise WordError(f"{family}: no word {shown(text)} is known; {hint}")

    def says_nothing(self, family: str, cell: object) -> bool:
        """Whether a word means that nobody looked, such as "?"."""
        if not isinstance(cell, str) or len(cell) > _LONGEST_WORD:
            return False
        word = plain(cell)
        if self._read[family].get(word) == "":
            return True
        return word in self._read.get(ANY_FAMILY, {}) and word not in self._read[family]

    def words(self, family: str) -> Iterable[tuple[str, str]]:
        """Every word that is read in a family, as compared, and the value or parent it is read as."""
        return self._read.get(family, {}).items()

    def children(self, family: str, word: str) -> tuple[str, ...]:
        """The values that a canonical word stands for: itself, or the children of a parent word."""
        return self.parents[family].get(word) or (word,)

    @cached_property
    def _writable(self) -> dict[str, tuple[str, ...]]:
        return {family: (*values, *self.parents[family]) for family, values in self.values.items()}


def read_vocabulary(table: Table) -> Vocabulary:
    """The vocabulary from ``vocabulary.csv``: family, word, reading, means, note."""
    values: dict[str, list[str]] = {}
    meanings: dict[str, dict[str, str]] = {}
    parents: dict[str, dict[str, tuple[str, ...]]] = {}
    read: dict[str, dict[str, str]] = {}
    later = []
    # rows with a fault, too: a value lost would be a fault in every table of its family
    for row in table.every:
        family, word = row["family"], row["word"]
        known = read.setdefault(family, {})
        if row.whole and plain(word) in known:
            table.fault(row, "word", f"the word stands twice in family {family}", word)
        if row["reading"] == "value":
            values.setdefault(family, []).append(word)
            meanings.setdefault(family, {})[word] = row["means"]
            known[plain(word)] = word
        elif row["reading"] == "missing":
            known[plain(word)] = ""
        else:
            later.append(row)
            known.setdefault(plain(word), word)
    for row in later:
        family, means = row["family"], row["means"]
        if row["reading"] == "one-of":
            children = tuple(child.strip() for child in means.split("|"))
            for child in children:
                if child not in values.get(family, []):
                    hint = did_you_mean(child, values.get(family, []))
                    table.fault(row, "means", f"not a value of family {family}", child, hint)
            parents.setdefault(family, {})[row["word"]] = children
    for row in later:
        family, means = row["family"], row["means"]
        if row["reading"] == "synonym":
            if means not in values.get(family, []) and means not in parents.get(family, {}):
                hint = did_you_mean(means, [*values.get(family, []), *parents.get(family, {})])
                table.fault(row, "means", f"neither a value nor a parent of {family}", means, hint)
            read[family][plain(row["word"])] = means
    return Vocabulary(
        values=MappingProxyType({family: tuple(words) for family, words in values.items()}),
        meanings=MappingProxyType({f: MappingProxyType(words) for f, words in meanings.items()}),
        parents=MappingProxyType({f: MappingProxyType(parents.get(f, {})) for f in values}),
        _read=MappingProxyType({family: MappingProxyType(words) for family, words in read.items()}),
    )


_ONE_TABLE = {"maker": "makers.csv", "label": "label_*.csv"}  # kinds whose tables are of one family
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_OTHER_KEYWORDS = (
    "size", "width", "height", "width_cm", "height_cm", "width_in", "height_in", "unit", "fringe",
    "stitches_per_cm", "grams_per_square_metre", "methods", "method", "priors", "id", "note", "any",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """One family of clues.

    ``low`` to ``high`` is what can be at all, ``usual_low`` to ``usual_high`` what passes without a
    warning (NaN where there is no number); ``step`` is the ratio between neighbouring cells on which
    measurements are read; ``worth`` how many records the table counts for. ``unstated``: values that records pass over in
    silence, so that how seldom they are named says nothing. ``trust``, 0 to 1: the power to which what a
    shares family says is raised, 1 unless a dealer's records say less (`scarfdate.learning.trust`).
    """

    name: str
    kind: str
    reads: str
    parent: str
    title: str
    unit: str
    low: float
    high: float
    usual_low: float
    usual_high: float
    step: float
    worth: float
    unstated: tuple[str, ...] = ()
    trust: float = 1.0


def read_families(table: Table) -> Mapping[str, Family]:
    """All families, in the order of the file (the order in which a dealer looks)."""
    families: dict[str, Family] = {}
    for row in table.every:
        families[row["family"]] = Family(
            name=row["family"],
            kind=row["kind"],
            reads=row["reads"],
            parent=row["parent"],
            title=row["name"],
            unit=row["unit"],
            low=row["low"],
            high=row["high"],
            usual_low=row["usual_low"],
            usual_high=row["usual_high"],
            step=row["step"],
            worth=row["worth"],
            unstated=tuple(filter(None, map(str.strip, row["unstated"].split("|")))),
            trust=_or(row.get("trust", math.nan), 1.0),
        )
    kinds: dict[str, str] = {}
    for row in table.rows:
        _check_name(table, row, kinds)
        _check_measured(table, row, families)
    return MappingProxyType(families)


def _check_name(table: Table, row: Row, kinds: dict[str, str]) -> None:
    """A family that could not be written down, or that would share the tables of another."""
    name, kind = row["family"], row["kind"]
    if not _NAME.fullmatch(name) or name.startswith("note") or name.endswith("_method"):
        table.fault(row, "family", "not a keyword: small letters, digits and _ are", name)
    elif name in _OTHER_KEYWORDS:
        table.fault(row, "family", "the name is a keyword of another thing", name)
    if kind in _ONE_TABLE and kinds.setdefault(kind, name) != name:
        only = f"{_ONE_TABLE[kind]} is the table of one family, {kinds[kind]}"
        table.fault(row, "kind", only, kind)


def _check_measured(table: Table, row: Row, families: Mapping[str, Family]) -> None:
    """What a measured family needs, and no other has."""
    own = families[row["family"]]
    parent = families.get(own.parent)
    if own.kind != "measured":
        if own.parent:
            table.fault(row, "parent", "only a measured family has a parent", own.parent)
        return
    limits = (own.low, own.high, own.usual_low, own.usual_high, own.step)
    if any(map(math.isnan, limits)) or own.low <= 0 or own.step <= 1:
        problem = "a measured family has low > 0, high, usual range and a step > 1"
        table.fault(row, None, problem)
    if parent is None or parent.kind != "shares":
        problem = "a measured family names the shares family it depends on"
        table.fault(row, "parent", problem, own.parent)
    elif parent.reads != own.reads:
        table.fault(row, "reads", "a measured family is read as its parent is", own.reads)


def _or(number: float, otherwise: float) -> float:
    return otherwise if math.isnan(number) else number
