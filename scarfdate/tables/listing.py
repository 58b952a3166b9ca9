"""The words of a line for a listing, in the languages that people sell in: ``listing.csv``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.tables.checked import Table
from scarfdate.tables.words import Vocabulary

LANGUAGES = ("en", "de", "fr", "it")
PHRASE, METHOD = "phrase", "method"
# every phrase, and what is put into it
_PHRASES = {
    "piece": (), "perhaps": ("word",), "two sides": ("first", "second"), "one side": ("first",),
    "decade": ("from",), "decades": ("from", "to"), "before": ("to",), "not dated": (),
    "vintage": ("age", "sure"), "antique": ("age", "sure"), "older style": (),
}  # fmt: skip
_FIELD = re.compile(r"\{(\w*)\}")


@dataclass(frozen=True, kw_only=True)
class ListingWords:
    """``rows``: by family and word what is said, by language."""

    rows: Mapping[tuple[str, str], Mapping[str, str]]

    def say(self, language: str, family: str, name: str, /, **put_in: object) -> str:
        """A word or phrase with what is put in; "" where the table has none."""
        text = self.rows.get((family, name), {}).get(language, "")
        return _FIELD.sub(lambda field: str(put_in[field[1]]), text)


def checked_language(language: object) -> str:
    """A language that listings are written in; WordError for any other."""
    if isinstance(language, str) and language in LANGUAGES:
        return language
    hint = did_you_mean(language if isinstance(language, str) else "", LANGUAGES)
    raise WordError(f"language: {shown(language)} is none that listings are written in; {hint}")


def read_listing(table: Table, vocabulary: Vocabulary) -> ListingWords:
    """The words of ``listing.csv``; a phrase that is missing, or has other fields than it is to have, is a fault."""
    rows = {}
    for row in table.rows:
        family, word = row["family"], row["word"]
        fields = _PHRASES.get(word) if family == PHRASE else ("word",) if family == METHOD else ()
        known = (*vocabulary.values.get(family, ()), *vocabulary.parents.get(family, {}))
        if fields is None or (family != PHRASE and word not in known):
            step = did_you_mean(word, tuple(_PHRASES) if family == PHRASE else known)
            table.fault(row, "word", f"not a word of {family}", word, step)
            continue
        for language in LANGUAGES:
            if sorted(_FIELD.findall(row[language])) != sorted(fields):
                wanted = " and ".join(f"{{{name}}}" for name in fields) or "none"
                table.fault(
                    row,
                    language,
                    "has other braces than it needs",
                    row[language],
                    f"needed: {wanted}",
                )
        rows[family, word] = MappingProxyType({name: row[name] for name in LANGUAGES})
    for name in _PHRASES if table.whole else ():
        if (PHRASE, name) not in rows:
            table.fault(None, "word", "a phrase is missing", name)
    return ListingWords(rows=MappingProxyType(rows))
