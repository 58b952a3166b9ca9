"""The words of a listing, in the languages that people sell in: ``listing.csv`` for a line, ``worth/phrases.csv``
for a whole description.

``worth/not_said.csv`` holds what neither may say: no table can make a listing call a piece what nobody can know.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.tables.checked import Table
from scarfdate.tables.words import Vocabulary

PHRASE_FILES = ("worth/phrases.csv", "worth/not_said.csv", "worth/caution_when.csv")
OF_CONDITION = ("worth/fault_phrases.csv", "worth/condition_cautions.csv")  # said in listings, too
LANGUAGES = ("en", "de", "fr", "it")
PHRASE, METHOD, FAMILY = "phrase", "method", "family"
HEADING, PHOTOGRAPH = "heading", "photograph"
Fields = Mapping[str, Mapping[str, tuple[str, ...]]]
# every phrase of a line, and what is put into it
OF_A_LINE: Fields = {PHRASE: {
    "piece": (), "perhaps": ("word",), "two sides": ("first", "second"), "one side": ("first",),
    "decade": ("from",), "decades": ("from", "to"), "before": ("to",), "not dated": (),
    "vintage": ("age", "sure"), "antique": ("age", "sure"), "older style": (),
    "shown year": ("n",), "printed year": ("n",),
}}  # fmt: skip
# the same of a description
OF_A_DESCRIPTION: Fields = {
    HEADING: dict.fromkeys(
        ("seen", "size", "age", "for", "against", "doubt", "condition", "care", "basis", "photographs"), ()
    ),
    PHOTOGRAPH: dict.fromkeys(
        ("front", "back", "cloth", "hem", "size", "label", "signature", "printed year", "faults", "doubt"), ()
    ),
    PHRASE: {
        "between": ("from", "to"), "in": ("from",), "until": ("to",), "from on": ("from",),
        "under": ("n",), "over": ("n",),
        "made": ("span", "sure"), "age open": ("span", "sure"), "most likely decade": ("from", "chance"),
        "hill": ("span", "chance"), "later": ("chance",), "reissue": ("chance",), "earliest": ("year", "word"),
        "reason": ("word", "odds"), "strong reason": ("word", "odds"), "doubted": ("word", "chance"), "basis": ("n",), "number": ("text",),
        "both units": ("size", "inches"), "fringe within": ("size",), "fringe without": ("size",),
        "stitches": ("n",), "momme": ("n",), "known": ("span",), "stretch": ("span", "chance"), "or": ("first", "second"), "valley": ("stretches",),
        "label text": ("text",), "as written": ("text",), "not looked over": (), "no fault": (),
    },
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


@dataclass(frozen=True, kw_only=True)
class NotSaid:
    """``stems``: by language how the words begin that no listing may say; case does not count."""

    stems: Mapping[str, tuple[str, ...]]

    def in_text(self, text: str, language: str | None = None) -> str:
        """The first such word of a text, in one language or in any; "" where there is none."""
        some = [language] if language is not None else [*self.stems]
        stems = "|".join(re.escape(stem) for name in some for stem in self.stems.get(name, ()))
        found = re.search(rf"\b(?:{stems})\w*", text, re.IGNORECASE) if stems else None
        return found[0] if found else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionWhen:
    """A caution that holds for a fibre of before a year, whatever its condition."""

    caution: str
    fibre: str
    before: float


def read_not_said(table: Table) -> NotSaid:
    """The stems of ``worth/not_said.csv``."""
    stems = {
        name: tuple(row["stem"] for row in table.rows if row["language"] == name)
        for name in LANGUAGES
    }
    return NotSaid(stems=MappingProxyType(stems))


def check_said(table: Table, not_said: NotSaid) -> None:
    """A phrase of a table that says what no listing may say is a fault."""
    for row in table.rows:
        for language in LANGUAGES:
            if bad := not_said.in_text(row[language], language):
                table.fault(row, language, "a listing may not say this", bad, "say it otherwise")


def read_listing(
    table: Table,
    vocabulary: Vocabulary,
    not_said: NotSaid,
    phrases: Fields = OF_A_LINE,
    families: Collection[str] = (),
) -> ListingWords:
    """The words of a table of phrases.

    ``phrases``: which it has to have, and the fields of each. A phrase that is missing, that has other fields, or
    that says what no listing may say, is a fault.
    """
    check_said(table, not_said)
    rows = {}
    for row in table.rows:
        family, word = row["family"], row["word"]
        own = phrases.get(family)
        if own is not None:
            known: Collection[str] = tuple(own)
        elif family == FAMILY:
            known = families
        else:
            known = (*vocabulary.values.get(family, ()), *vocabulary.parents.get(family, {}))
        if word not in known:
            table.fault(
                row, "word", f"not a word of {family}", word, did_you_mean(word, tuple(known))
            )
            continue
        fields = own[word] if own is not None else ("word",) if family == METHOD else ()
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
    for family, own in phrases.items() if table.whole else ():
        for name in own:
            if (family, name) not in rows:
                table.fault(None, "word", f"a {family} is missing", name)
    return ListingWords(rows=MappingProxyType(rows))
