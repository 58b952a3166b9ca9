"""Years within a cell of words: "calendar 1972", "Expo 67", "roses, 1953".

What is dated by itself, or an event of a year, gives the year a column of its own. Of any other year nobody can tell
whether it stands on the piece or was somebody's guess, so that it is not weighed, and a person is told where it belongs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

_YEAR = re.compile(r"(?:1[89]|20)\d\d")
_SHORT = re.compile(r"[2-9]\d")  # "Expo 67", right behind the event
_CENTURY = 1900  # of a year in two digits


class CellYears:
    """The years of one cell, and the columns that its words give them, as they are met."""

    def __init__(self) -> None:
        self.columns: list[str] = []  # as words gave them
        self.years: list[int] = []
        self.doubted = False
        self._behind = False  # a word that gives a year a column stands just before

    def word(self, column: str) -> None:
        """A word that gives the year of the cell a column."""
        self.columns.append(column)
        self._behind = True

    def past(self) -> None:
        """Another word."""
        self._behind = False

    def number(self, token: str) -> None:
        """A word that begins with a digit."""
        if _YEAR.fullmatch(token):
            self.years.append(int(token))
        elif self._behind and _SHORT.fullmatch(token):
            self.years.append(_CENTURY + int(token))
        self._behind = False

    def cells(self) -> Mapping[str, int]:
        """The year by its column, where the cell says for certain which."""
        certain = len(set(self.years)) == 1 and not self.doubted
        return {self.columns[0]: self.years[0]} if certain and self.columns else {}

    def remark(self) -> str:
        """What a person is to be told of years that are not weighed; "" where there are none."""
        left = dict.fromkeys(map(str, self.years)) if not self.cells() else ()
        if not left:
            return ""
        are, it = ("are", "them") if len(left) > 1 else ("is", "it")
        return (
            f"{' and '.join(left)} {are} not weighed; write {it} under printed_year where the print says so, "
            "under depicted_year where what is shown is of that year"
        )
