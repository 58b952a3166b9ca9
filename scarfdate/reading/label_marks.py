"""A label's text on its way into marks: the text as it is compared, and what is read of it so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from scarfdate.words.phrases import Token

AS_PRINTED, ONE_OFF, GUESSED, CUT_OFF = "as printed", "one letter off", "letters guessed", "cut off"
_LINE = 120  # characters: no line of a label is longer

NOTICE, STANDARD, MADE = "copyright-year", "standard", "made-year"
DATE, EVENT = "printed-date", "event-year"
DATED = (
    NOTICE,
    STANDARD,
    MADE,
    DATE,
    EVENT,
)  # marks whose value is a year that they bound from below

Span = tuple[int, int]


class Mark(NamedTuple):
    """A mark of a label: ``text[start:end]``, and how it was read (as printed, cut off, ...)."""

    mark: str
    value: str
    start: int
    end: int
    how: str = AS_PRINTED


class Content(NamedTuple):
    """A fibre in a language, or a percentage with an empty ``fibre``, where it stands."""

    fibre: str
    language: str
    per_cent: float
    start: int
    end: int


class Bare(NamedTuple):
    """A country or fibre that stands alone, where it may be a part of a name: its mark, and the tokens it is in."""

    mark: Mark
    at: int
    behind: int


class Digits(NamedTuple):
    """Four or five digits that may be a postal code: where they stand, and the number of the token."""

    start: int
    end: int
    at: int


@dataclass(frozen=True, slots=True)
class Printed:
    """What is printed: the text, the same in plain letters, and its tokens outside of signs."""

    text: str
    plain: str
    tokens: Sequence[Token]
    mended: frozenset[int]  # where words begin of which a digit is read as a letter, or the reverse

    def word(self, at: int) -> str:
        """The token of this number; "" behind the end."""
        return self.tokens[at][0] if at < len(self.tokens) else ""

    def same_line(self, start: int, end: int) -> bool:
        """Whether two places of the text are on one line."""
        return end - start <= _LINE and "\n" not in self.plain[start:end]


@dataclass(slots=True)
class Draft:
    """What is read of a label so far.

    ``homes``: the markets of phrases that are at home in some only; ``wording``: those of phrases whose
    mark is at home anywhere. ``parts``: whether parts, as shell and fringe, are named. ``symbols``: printed care signs.
    ``anybodys``: patents of which no country is said. ``known``: words that are known and are no mark.
    ``bare``: countries without an opening, and fibres.
    ``shares``: per cent by fibre. ``cut``: whether anything is cut or illegible.
    """

    marks: list[Mark] = field(default_factory=list)
    unread: list[Span] = field(default_factory=list)
    flags: list[str] = field(default_factory=list)
    content: list[Content] = field(default_factory=list)
    shares: dict[str, float] = field(default_factory=dict)
    digits: list[Digits] = field(default_factory=list)
    homes: list[tuple[str, ...]] = field(default_factory=list)
    wording: list[tuple[str, ...]] = field(default_factory=list)
    parts: bool = False
    symbols: list[Mark] = field(default_factory=list)
    anybodys: list[Mark] = field(default_factory=list)
    known: list[Span] = field(default_factory=list)
    bare: list[Bare] = field(default_factory=list)
    cut: bool = False

    def add(self, mark: str, value: str, start: int, end: int, how: str = AS_PRINTED) -> None:
        """Note a mark."""
        self.marks.append(Mark(mark, value, start, end, how))

    def values(self, mark: str) -> list[str]:
        """The different values of all marks of this name, in order."""
        return list(dict.fromkeys([one.value for one in self.marks if one.mark == mark]))
