"""How a sentence names what was noted: ``wording.csv``.

"the blocks of colour" for the value ``colour-blocks`` of the family ``layout``. Such words can follow "mainly
because of", "look again at" and "without".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from scarfdate.errors import did_you_mean
from scarfdate.tables.checked import Table
from scarfdate.tables.words import Vocabulary

WORDING = "wording.csv"
NONE = "none"  # the word of what has nothing to be named by
_ANY = "*"
_SEVERAL = "several"  # of a family: what was noted, where it may be any of many words
_SMALL = ("of", "and")  # words within a name that are written small


@dataclass(frozen=True)
class Wording:
    """By family and word the phrase, and whether it may be given as a reason."""

    rows: Mapping[tuple[str, str], tuple[str, bool]]

    @cached_property
    def with_no_reasons(self) -> frozenset[str]:
        """The families of which some word may not be given as a reason."""
        return frozenset(family for (family, _), (_, reason) in self.rows.items() if not reason)

    def phrase(self, family: str, word: str, title: str) -> str:
        """What was noted as a sentence names it; ``title``: the family in words, for one without a row."""
        own = self.rows.get((family, word))
        if own is not None:
            return own[0]
        general = self.rows.get((family, _ANY))
        spoken = word.replace("-", " ")
        if general is None:
            return f"the {title} ({spoken})"
        name = " ".join(part if part in _SMALL else part.capitalize() for part in spoken.split())
        return general[0].replace("{word}", word).replace("{name}", name)

    def several(self, family: str, title: str) -> str:
        """What was noted where it may be any of many words, none of which is worth naming."""
        own = self.rows.get((family, _SEVERAL))
        return own[0] if own is not None else f"the {title} as noted"

    def is_reason(self, family: str, word: str) -> bool:
        """Whether a sentence may give the word as the reason for a decade: a missing label never is."""
        own = self.rows.get((family, word)) or self.rows.get((family, _ANY))
        return own is None or own[1]


def read_wording(table: Table, vocabulary: Vocabulary) -> Wording:
    """``wording.csv``; of a family with words of its own a row names one of them."""
    found = {}
    for row in table.rows:
        family, word = row["family"], row["word"]
        words = (*vocabulary.values.get(family, ()), *vocabulary.parents.get(family, {}))
        if words and word not in (_ANY, _SEVERAL, *words):
            step = did_you_mean(word, words)
            table.fault(
                row, "word", f"is neither a value nor a parent word of {family}", word, step
            )
        found[family, word] = (row["phrase"], row["reason"] == "yes")
    return Wording(found)
