"""``date_words.csv``: the words of dates, in six languages."""

from __future__ import annotations

import math

from scarfdate.tables.checked import Table
from scarfdate.words.date_phrases import DateWords, words_of

DATE_WORDS = "date_words.csv"
_NUMBERED = ("month", "ordinal", "fraction", "part-of-decade", "part-of-century", "decade", "decade-or-century",
             "decade-before", "period")  # fmt: skip


def read_date_words(table: Table) -> DateWords:
    """The words with their roles; one whose role needs numbers and has none, or that would mean two things in one, is a
    fault."""
    found: dict[tuple[tuple[str, ...], str], tuple[str, str, int, int]] = {}
    for row in table.rows:
        phrase, role, first, last = (row[name] for name in ("phrase", "role", "first", "last"))
        numbers = (0, 0) if math.isnan(first) or math.isnan(last) else (int(first), int(last))
        if role in _NUMBERED and numbers[1] < max(numbers[0], 1):
            table.fault(
                row,
                "last",
                f"a {role} has two numbers, the second no less",
                f"{first:g} to {last:g}",
            )
            continue
        key = words_of(phrase), role
        if not key[0]:
            table.fault(row, "phrase", "has no letter or sign", phrase)
        elif found.setdefault(key, (phrase, role, *numbers))[2:] != numbers:
            table.fault(row, "first", f"the phrase stands above as another {role}", phrase)
    return DateWords(tuple(found.values()))
