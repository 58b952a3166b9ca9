"""``descriptions.csv``: which words of the vocabulary count in a description in free words, and what stands around them.

A word in a cell of a clue is of that clue. In a free text it may be of another ("soft", "dark", "company"), so that each
family says how far its words count there, and single words may say otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from scarfdate.tables.checked import Table
from scarfdate.words.phrases import tokens_of

DESCRIPTIONS = "descriptions.csv"
ALONE, PHRASES, NAMED, NEVER = "alone", "phrases", "named", "never"
NAMES, SEVERAL = "names", "several pieces"
_OF_FAMILIES = (ALONE, PHRASES, NAMED, NEVER)

Tokens = tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Descriptions:
    """``families``: how the words of a family count: by themselves (`ALONE`), by themselves where they are two or more
    (`PHRASES`), only where the family is named beside them (`NAMED`, which holds for a family without a row), or not
    at all (`NEVER`). ``words``: the families of which a word counts otherwise, and how. ``names``: the words that name
    a family. ``acts``: what any other word does, as the table has it."""

    families: Mapping[str, str]
    words: Mapping[tuple[Tokens, str], str]
    names: Mapping[Tokens, str]
    acts: Mapping[Tokens, tuple[str, str]]

    def counts_alone(self, word: Tokens, family: str) -> bool | None:
        """Whether the word counts for the family by itself; None where nothing is said of this very word."""
        said = self.words.get((word, family))
        return None if said is None else said == ALONE

    def by_themselves(self, word: Tokens, family: str) -> bool:
        """The same for a word of which nothing is said: as the words of its family."""
        how = self.families.get(family, NAMED)
        return how == ALONE or (how == PHRASES and len(word) > 1)


def read_descriptions(table: Table) -> Descriptions:
    """``descriptions.csv``; a word that would do two things is a fault."""
    families: dict[str, str] = {}
    words: dict[tuple[Tokens, str], str] = {}
    names: dict[Tokens, str] = {}
    acts: dict[Tokens, tuple[str, str]] = {}
    for row in table.rows:
        word, family, says = row["word"], row["family"], row["says"]
        tokens = tokens_of(word)
        of_family = says in _OF_FAMILIES or says == NAMES
        if of_family != bool(family):
            problem = "wants a family" if of_family else "is of no family"
            table.fault(row, "family", f"a row that says {says!r} {problem}", family)
        elif not word:
            if says not in _OF_FAMILIES:
                table.fault(row, "word", "has no letter or sign", word)
            elif families.setdefault(family, says) != says:
                table.fault(row, "says", "the family stands twice", family)
        elif not tokens:
            table.fault(row, "word", "has no letter or sign", word)
        else:
            key: object = (tokens, family) if says in _OF_FAMILIES else tokens
            held: dict[Any, Any] = (
                words if says in _OF_FAMILIES else names if says == NAMES else acts
            )
            if key in held:
                table.fault(row, "word", "the word stands twice", word)
            held[key] = family if says == NAMES else says if says in _OF_FAMILIES else (word, says)
    return Descriptions(
        families=MappingProxyType(families),
        words=MappingProxyType(words),
        names=MappingProxyType(names),
        acts=MappingProxyType(acts),
    )
