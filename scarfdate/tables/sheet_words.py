"""``sheet_words.csv``: words of a dealer's sheet that say nothing of a piece: totals, what stands beside a price."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.tables.checked import Table

SHEET_WORDS = "sheet_words.csv"
_LONGEST = 80
# one number with what can stand beside it: a sum of money, a count of pieces
_AMOUNT = re.compile(r"([^\d\s]{0,4})\s?-?\d[\d.,'’\s]*(?:[.,]-{1,2})?\s?([^\d]{0,12})")
_JOINED = re.compile(r"(?<=\w)-(?=\w)")
_SIGNS = re.compile(r"[A-Z]{3}|[A-Za-z]{0,3}[^\w\s]|")


def folded(text: str) -> str:
    """A word as it is compared: without case, accents, and a full stop or colon behind it."""
    words = " ".join(_JOINED.sub(" ", text[:_LONGEST]).split())
    letters = unicodedata.normalize("NFKD", words.casefold())
    plain = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return plain.rstrip(" .:;=") or plain


@dataclass(frozen=True, kw_only=True)
class SheetWords:
    """``words``: what a word says to the words that say it, all `folded`."""

    words: Mapping[str, frozenset[str]]

    def says(self, what: str, cell: object) -> bool:
        """Whether a cell is one of the words that say ``what``: "sold", "unsold", "free", "total"."""
        return isinstance(cell, str) and folded(cell) in self.words.get(what, ())

    def price_alone(self, text: str) -> str:
        """A price without the words beside it that leave it as it is: "6 + p&p" is "6"."""
        for word in self.words.get("beside a price", ()):
            if folded(text).endswith(f" {word}"):
                bare = text.rstrip(" .:;=").rstrip()
                return bare[: len(bare) - len(word)].rstrip(" ,;(")
        return text

    def is_total(self, cells: Iterable[str]) -> bool:
        """Whether a row is one of totals: a word for them, and beside it sums and counts alone."""
        told = False
        for text in (cell.strip() for cell in cells):
            if not text:
                continue
            if self.says("total", text):
                told = True
            elif not self._is_amount(text):
                return False
        return told

    def _is_amount(self, text: str) -> bool:
        if text.startswith("="):  # a sum that the spreadsheet has not worked out
            return True
        match = _AMOUNT.fullmatch(text) if len(text) <= _LONGEST else None
        return match is not None and all(
            _SIGNS.fullmatch(part.strip()) or self.says("piece", part) for part in match.groups()
        )


def read_sheet_words(table: Table) -> SheetWords:
    """``sheet_words.csv``; a word that would say two things is a fault."""
    words: dict[str, set[str]] = {}
    for row in table.rows:
        word, says = folded(row["word"]), row["says"]
        if word in words.setdefault(says, set()):
            table.fault(row, "word", "the word stands twice", row["word"])
        words[says].add(word)
    clash = words.get("sold", set()) & words.get("unsold", set())
    for word in sorted(clash):
        table.fault(None, "word", "says that a piece is sold and that it is not", word)
    return SheetWords(
        words=MappingProxyType({says: frozenset(some) for says, some in words.items()})
    )
