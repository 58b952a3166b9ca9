"""Copyright notices on a label, with the year that stands near: "© 1953", "1953 ©", "Copr. '52", "© MCMLIII"."""

from __future__ import annotations

from typing import NamedTuple

from scarfdate.reading.label_marks import NOTICE, Draft, Printed
from scarfdate.reading.label_numbers import roman_year
from scarfdate.reading.label_phrases import Phrase
from scarfdate.tables.label import LabelRules

_NEAR = 8  # tokens within which a year belongs to a copyright sign
_YEAR_DIGITS, _SHORT_YEAR, _APOSTROPHES = 4, 2, ("'", "’")


class _Notice(NamedTuple):
    """A copyright sign without its year yet, and the number of tokens up to its end."""

    start: int
    end: int
    at: int


_DATED = _Notice(-1, -1, -1)  # a notice of which the year is read: one is enough for a label


class Notices:
    """The one notice of a label, which waits for its year. ``at`` below: the number of a token."""

    def __init__(self, rules: LabelRules, printed: Printed, draft: Draft) -> None:
        self.rules, self.printed, self.draft = rules, printed, draft
        self.found: _Notice | None = None  # of which the year may be read

    def word(self, token: str, start: int, end: int, at: int) -> bool:
        """Whether a bare c is the sign of a notice, or a word behind one its year in Roman numerals."""
        if self.found is None:
            return self._typed(start, end, at)
        return self._in_letters(token, end, at)

    def _typed(self, start: int, end: int, at: int) -> bool:
        if not self.is_year(self.printed.word(at + 1)) or not self.printed.same_line(
            end, self.printed.tokens[at + 1][1]
        ):
            return False
        self.found = _Notice(start, end, at + 1)
        return True

    def _in_letters(self, token: str, end: int, at: int) -> bool:
        notice = self.found
        if notice is None or notice is _DATED or at - notice.at >= _NEAR:
            return False
        year = roman_year(token)
        if not self.is_year(year):
            return False
        self.draft.add(NOTICE, year, notice.start, end)
        self.found = _DATED
        return True

    def sign(self, phrase: Phrase, at: int) -> None:
        """A sign or word of a notice; the year may stand before it. ``at``: behind it."""
        if self.found is not None:
            return
        self.found = _Notice(phrase.start, phrase.end, at)
        digits = self.draft.digits
        # a number that is used, such as "WPL No. 1944", is no year
        if digits and digits[-1].at == phrase.at - 1:
            before = digits[-1]
            year = self.printed.word(before.at)
            if self.is_year(year):
                digits.pop()
                self.draft.unread.remove((before.start, before.end))
                self.draft.add(NOTICE, year, before.start, phrase.end)
                self.found = _DATED

    def is_year(self, token: str) -> bool:
        """Whether four digits are a year that a notice can bear."""
        low, high = self.rules.printed
        digits = len(token) == _YEAR_DIGITS and token.isdecimal() and token.isascii()
        return digits and low <= float(token) <= high

    def number(self, token: str, end: int, at: int) -> bool:
        """Whether digits are the year of the notice before them."""
        notice = self.found
        if notice is None or notice is _DATED or at - notice.at >= _NEAR:
            return False
        if len(token) == _SHORT_YEAR and at == notice.at:
            sign = self.printed.plain[end - len(token) - 1 : end - len(token)]
            token = f"19{token}" if sign in _APOSTROPHES else token  # "Copr. '52"
        if not self.is_year(token):
            return False
        self.draft.add(NOTICE, token, notice.start, end)
        self.found = _DATED
        return True

    def end(self) -> None:
        """A notice whose year was not found is one without."""
        if self.found is not None and self.found is not _DATED:
            self.draft.add("copyright-no-year", "", self.found.start, self.found.end)
