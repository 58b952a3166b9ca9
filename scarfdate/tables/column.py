"""One column of a table, as ``priors/schema.toml`` declares it, and the check of one cell of it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

from scarfdate.errors import did_you_mean

NUMBERS = ("number", "whole", "year", "share")
TYPES = ("text", "word", "words", *NUMBERS)
# Python alone reads 1_000, other digits and a bare "inf"; what a table says is for every program
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d+", re.ASCII)
_EXACT = 2**53  # beyond it a float holds not every whole number


class WrongCell(ValueError):
    """A cell that cannot stand in its column: what is wrong, what was got, what to do."""

    def __init__(self, problem: str, got: str = "", step: str = "") -> None:
        super().__init__(problem)
        self.problem, self.got, self.step = problem, got, step


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """What may stand in a column.

    ``words``: those that are allowed, None for any text. ``low``, ``high``: limits of a number, ends
    included. ``form``: ``pattern`` in words. ``blank``: whether a cell, ``optional``: whether the column may
    be missing. ``total``: what all columns of the same ``group`` add up to in a row, None for nothing.
    ``older``: the cell of folders of an older format, which lack the column; None where nobody can say. ``finer``: a
    word that older formats did not know: a row of theirs takes it that says the same as the shipped one but for it.
    ``not_below``: the column of the same row whose number this one is not below, where both are filled.
    """

    name: str
    type: str = "text"
    says: str = ""
    words: tuple[str, ...] | None = None
    low: float | None = None
    high: float | None = None
    pattern: str = ""
    form: str = ""
    blank: bool = False
    optional: bool = False
    total: float | None = None
    group: str = ""
    older: str | None = None
    finer: str = ""
    not_below: str = ""

    def value(self, text: str) -> Any:
        """What a cell says: text, a number (NaN where it is blank), or a tuple of words.

        Raises WrongCell.
        """
        if not text and self.blank:
            return self.nothing
        if self.type in NUMBERS:
            return self._number(text)
        if self.words is not None:
            parts = [part.strip() for part in text.split("|")] if self.type == "words" else [text]
            for part in parts:
                if part not in self.words:
                    step = did_you_mean(part, self.words)
                    raise WrongCell("not an allowed word", part or "an empty cell", step)
            return tuple(parts) if self.type == "words" else text
        if not text:
            raise WrongCell("must not be empty")
        if self.pattern and not re.fullmatch(self.pattern, text):
            raise WrongCell("not of the form that is allowed", text, f"write {self.form}")
        return text

    @property
    def nothing(self) -> Any:
        """What stands for a cell that says nothing."""
        return math.nan if self.type in NUMBERS else () if self.type == "words" else ""

    @property
    def instead(self) -> Any:
        """What stands for a wrong cell while the rest of its file is read."""
        return self.words[0] if self.words and self.type == "word" else self.nothing

    def _number(self, text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        plainly = text.isascii() and "_" not in text and math.isfinite(value)
        if not plainly and not _NUMBER.fullmatch(text):
            raise WrongCell("not a number", text or "an empty cell", "write digits, with a point")
        if self.type in ("whole", "year") and not _WHOLE.fullmatch(text):
            what = "a year" if self.type == "year" else "this"
            raise WrongCell(f"{what} is a whole number", text, "write digits alone")
        low, high = self.low, self.high
        if (low is not None and value < low) or (high is not None and value > high):
            raise WrongCell(_between(low, high), text)
        if not math.isfinite(value) or (self.type == "whole" and abs(value) > _EXACT):
            raise WrongCell("too large for a number", text)
        return int(value) if self.type in ("whole", "year") else value


def _between(low: float | None, high: float | None) -> str:
    if low is not None and high is not None:
        return f"must lie between {low:g} and {high:g}"
    return f"must be {low:g} or more" if low is not None else f"must be {high:g} or less"
