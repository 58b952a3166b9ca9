"""Years within words: "calendar 1972", "Expo 67", "roses, 1953".

What is dated by itself, or an event of a year, gives the year a column of its own. Of any other year nobody can tell
whether it stands on the piece or was somebody's guess, so that it is not weighed.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

_YEAR = re.compile(r"(?:1[89]|20)\d\d")
_SHORT = re.compile(r"[2-9]\d")  # "Expo 67", right behind the event
_STOPS = (".", ";")
_DECADE = "s"  # behind "1950" a word by itself
_CENTURY = 1900  # of a year in two digits


class CellYears:
    """The years of a text, and the words that give them a column, as they are met one after another.

    ``within``: how many words behind such a word its year may stand at most, or right before it; in a cell, which is
    short and about one thing, anywhere.
    """

    def __init__(self, within: float = math.inf) -> None:
        self.within, self.doubted = within, False
        self._at = 0
        self._columns: list[tuple[int, str]] = []
        self._years: list[tuple[int, int]] = []

    def column(self, name: str) -> None:
        """The word at hand gives a year its column."""
        self._columns.append((self._at, name))

    def word(self, token: str) -> None:
        """The next word."""
        if token == _DECADE and self._years and self._years[-1][0] == self._at:
            self._years.pop()
        if token in _STOPS and math.isfinite(self.within):
            self._at += int(self.within) + 1
        self._at += token[:1].isalnum()  # other signs do not count: "Olympics '72"
        if _YEAR.fullmatch(token):
            self._years.append((self._at, int(token)))
        elif _SHORT.fullmatch(token) and self._columns and self._columns[-1][0] == self._at - 1:
            self._years.append((self._at, _CENTURY + int(token)))

    def cells(self) -> Mapping[str, int]:
        """The year by its column, where the words say for certain which."""
        near = [
            (name, year)
            for place, name in self._columns
            for at, year in self._years
            if math.isinf(self.within) or -1 <= at - place <= self.within
        ]
        one = len({year for _, year in near}) == 1 and not self.doubted
        return {near[0][0]: near[0][1]} if one else {}

    def remark(self) -> str:
        """What a person is to be told of years that are not weighed; "" where there are none."""
        left = () if self.cells() else dict.fromkeys(str(year) for _, year in self._years)
        if not left:
            return ""
        are, it = ("are", "them") if len(left) > 1 else ("is", "it")
        return (
            f"{' and '.join(left)} {are} not weighed; write {it} under printed_year where the print says so, "
            "under depicted_year where what is shown is of that year"
        )
