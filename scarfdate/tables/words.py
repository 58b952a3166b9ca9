"""The words a person may write, and the families of clues that they tell of.

The words are data (``vocabulary.csv``): values, their synonyms, parent words, which are read as *one of*
their children, and *narrower* words, which are a value of some kind ("lyocell" among rayons) and may have years of
their own. Case, accents, hyphens and spare blanks make no difference. The families are what
``families.csv`` declares; a new one needs a row and a table.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import NamedTuple

from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.tables.checked import Table

_LONGEST_WORD = 120  # letters; anything longer is a note in the wrong cell
_JOINTS = re.compile(r"[\s\-_/‐‑–—]+")
_COLUMNS = ("family", "word", "reading", "means")  # of ``vocabulary.csv``
ANY_FAMILY = "any"  # words read alike in every family: "?", "not looked at"


def plain(text: str) -> str:
    """``text`` as words are compared: lower case, no accents, one blank for hyphens and blanks."""
    letters = text.casefold()
    if letters.isascii():
        if letters.isalnum():  # most words, at once
            return letters
    else:
        letters = unicodedata.normalize("NFKD", letters)
        letters = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return _JOINTS.sub(" ", letters).strip(" .")


class Written(NamedTuple):
    """One row of the vocabulary: the word as written, its reading, what it means, its language ("": unsaid)."""

    word: str
    reading: str
    means: str
    language: str


@dataclass(frozen=True, kw_only=True)
class Vocabulary:
    """Every family's values (in their written order) and the words read as them; ``rows``: as written.

    ``parents``: the values that a wider or narrower word stands for; ``narrower``: which of them are narrower.
    """

    values: Mapping[str, tuple[str, ...]]
    meanings: Mapping[str, Mapping[str, str]]
    parents: Mapping[str, Mapping[str, tuple[str, ...]]]
    narrower: Mapping[str, frozenset[str]]
    rows: Mapping[str, tuple[Written, ...]]
    _read: Mapping[str, Mapping[str, str]]  # family -> plain word -> the word written

    def canonical(self, family: str, text: str) -> str:
        """The value or parent word that ``text`` is read as; "" where it says "not looked at".

        Raises WordError, naming the nearest known words.
        """
        known = self.known(family, text)
        if known is not None:
            return known
        hint = did_you_mean(plain(text[:_LONGEST_WORD]), self._writable[family])
        raise WordError(
            f"{family}: no word {shown(text)} is known; {hint} (scarfdate words {family} lists them)"
        )

    def known(self, family: str, text: str) -> str | None:
        """As `canonical`, and None where no word is known."""
        if len(text) > _LONGEST_WORD:
            return None
        word = plain(text)
        own = self._read.get(family, {}).get(word)
        nothing = not word or word in self._read.get(ANY_FAMILY, {})
        return "" if own is None and nothing else own

    def says_nothing(self, family: str, cell: object) -> bool:
        """Whether a word means that nobody looked, such as "?"."""
        if not isinstance(cell, str):
            return False
        # points alone are the sign of a cut on a label
        return self.known(family, cell) == "" and not cell.strip().startswith(".")

    def words(self, family: str) -> Iterable[tuple[str, str]]:
        """Every word that is read in a family, as compared, and the value or parent it is read as."""
        return self._read.get(family, {}).items()

    def children(self, family: str, word: str) -> tuple[str, ...]:
        """The values that a canonical word stands for: itself, or the children of a parent word."""
        return self.parents[family].get(word) or (word,)

    def wider(self, family: str) -> tuple[str, ...]:
        """The words that are read as one of several values."""
        known = self.parents.get(family, {})
        return tuple(word for word in known if word not in self.narrower[family])

    @cached_property
    def _writable(self) -> dict[str, tuple[str, ...]]:
        return {family: (*values, *self.parents[family]) for family, values in self.values.items()}


def read_vocabulary(table: Table, languages: Table | None = None) -> Vocabulary:
    """The vocabulary from ``vocabulary.csv``, and from ``word_languages.csv`` what language a word is of."""
    values: dict[str, list[str]] = {}
    meanings: dict[str, dict[str, str]] = {}
    parents: dict[str, dict[str, tuple[str, ...]]] = {}
    narrower: dict[str, set[str]] = {}
    read: dict[str, dict[str, str]] = {}
    rows: dict[str, list[Written]] = {}
    later = []
    spoken = (
        {(row["family"], row["word"]): row["language"] for row in languages.rows}
        if languages
        else {}
    )
    # rows with a fault, too: a value lost would be a fault in every table of its family; by columns, for they are many
    cells = zip(*(table.cells.get(name, ()) for name in _COLUMNS), strict=True)
    for place, (family, word, reading, means) in enumerate(cells):
        known, compared = read.setdefault(family, {}), plain(word)
        of_word = Written(word, reading, means, spoken.get((family, word), ""))
        rows.setdefault(family, []).append(of_word)
        if compared in known and place not in table.broken:
            row = table.every[place]
            table.fault(row, "word", f"the word stands twice in family {family}", word)
        if reading == "value":
            values.setdefault(family, []).append(word)
            meanings.setdefault(family, {})[word] = means
            known[compared] = word
        elif reading == "missing":
            known[compared] = ""
        else:
            later.append((place, family, word, compared, reading, means))
            known.setdefault(compared, word)
    for place, family, word, _, reading, means in later:
        if reading in ("one-of", "narrower"):
            children = tuple(child.strip() for child in means.split("|"))
            if reading == "narrower":
                narrower.setdefault(family, set()).add(word)
            for child in children:
                if child not in values.get(family, []):
                    hint = did_you_mean(child, values.get(family, []))
                    row = table.every[place]
                    table.fault(row, "means", f"not a value of family {family}", child, hint)
            parents.setdefault(family, {})[word] = children
    for place, family, _, compared, reading, means in later:
        if reading == "synonym":
            if means not in values.get(family, []) and means not in parents.get(family, {}):
                hint = did_you_mean(means, [*values.get(family, []), *parents.get(family, {})])
                row = table.every[place]
                table.fault(row, "means", f"neither a value nor a parent of {family}", means, hint)
            read[family][compared] = means
    return Vocabulary(
        values=MappingProxyType({family: tuple(words) for family, words in values.items()}),
        meanings=MappingProxyType({f: MappingProxyType(words) for f, words in meanings.items()}),
        parents=MappingProxyType({f: MappingProxyType(parents.get(f, {})) for f in values}),
        narrower=MappingProxyType({f: frozenset(narrower.get(f, ())) for f in values}),
        rows=MappingProxyType({family: tuple(words) for family, words in rows.items()}),
        _read=MappingProxyType({family: MappingProxyType(words) for family, words in read.items()}),
    )
