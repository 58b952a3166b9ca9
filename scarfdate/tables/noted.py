"""How people write down what they see: ``doubt.csv`` and ``headings.csv``.

The first has the words and signs of doubt in a cell ("silk?", "maybe", "or", "not"), the second the
headings that people write over a column ("Material", "Saum") and the column each is read as.
"""

from __future__ import annotations

import json
import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.tables.checked import Row, Table
from scarfdate.tables.medium import Act
from scarfdate.words.phrases import medium_tokens

NOTHING, QUOTE, LIKE = "nothing", "quote", "like-next"
YEARS = ("printed_year", "depicted_year")  # the columns that a word gives a year beside it
ACTS = ("or", "and", "not", "skip", QUOTE, NOTHING, *YEARS)
_DOUBTS = ("doubt-next", "doubt-last", LIKE)
_WORDS = re.compile(r"[^\W_]+|[°º]")
_LONGEST_HEADING = 120
_OF_MONEY = {"sold_on": "sold_price", "bought_on": "costs", "listed_on": "asked_price"}


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtWord:
    """A word of doubt: what it does (`Act`), in whose cells ("" for all), and what a person is told."""

    word: str
    family: str
    act: Act
    remark: str


@dataclass(frozen=True, kw_only=True)
class Headings:
    """The columns that headings are read as; keys are plain headings (`plain_heading`)."""

    columns: Mapping[str, str]

    def column(self, heading: str) -> str:
        """The column a heading is read as; "" where it is none of the table. Under one with the sign of a currency
        stands money: "Sold £" is no day."""
        column = self.columns.get(plain_heading(heading), "")
        if column in _OF_MONEY and any(unicodedata.category(sign) == "Sc" for sign in heading):
            return _OF_MONEY[column]
        return column


def plain_heading(heading: str) -> str:
    """A heading as it is compared: without case, accents and signs, one blank between words; "(s)" is an s."""
    letters = unicodedata.normalize(
        "NFKD", heading[:_LONGEST_HEADING].casefold().replace("(s)", "s")
    )
    return " ".join(_WORDS.findall("".join(x for x in letters if not unicodedata.combining(x))))


def read_headings(table: Table) -> Headings:
    """``headings.csv``; a heading that would be read as two columns is a fault."""
    found: dict[str, str] = {}
    for row in table.rows:
        plain = plain_heading(row["heading"])
        if not plain:
            table.fault(row, "heading", "has no letter or digit", row["heading"])
        elif plain in found:
            table.fault(row, "heading", "the heading stands twice", row["heading"])
        else:
            found[plain] = row["column"]
    return Headings(columns=MappingProxyType(found))


def read_doubt(table: Table) -> tuple[DoubtWord, ...]:
    """``doubt.csv``; a word that would do two things in one family is a fault."""
    found: list[DoubtWord] = []
    seen: set[tuple[tuple[str, ...], str]] = set()
    for row in table.rows:
        key = tuple(token for token, _, _ in medium_tokens(row["word"])), row["family"]
        if not key[0] or key in seen:
            problem = "the word stands twice" if key[0] else "has no letter or sign"
            table.fault(row, "word", problem, row["word"])
            continue
        seen.add(key)
        act = _act(table, row)
        if act is not None:
            word, family, remark = row["word"], row["family"], row["remark"]
            found.append(DoubtWord(word=word, family=family, act=act, remark=remark))
    return tuple(found)


def _act(table: Table, row: Row) -> Act | None:
    means = row["means"]
    if means in ACTS:
        return Act(name=means, amount=math.nan, family="", basis=row.basis)
    try:
        parsed = json.loads(means)
    except (ValueError, RecursionError):
        parsed = None
    if isinstance(parsed, dict) and len(parsed) == 1:
        ((name, amount),) = parsed.items()
        number = isinstance(amount, int | float) and not isinstance(amount, bool)
        if name in _DOUBTS and number and 0 < amount <= 1:
            return Act(name=name, amount=float(amount), family="", basis=row.basis)
    step = f'write {", ".join(ACTS)}, or a weight from 0 to 1 such as {{"doubt-next": 0.5}}'
    table.fault(row, "means", "is nothing that a word of doubt can mean", means, step)
    return None
