"""The keys of the sorting table: which key is which clue, and within a clue which word: ``sorting_keys.csv``."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

from scarfdate.errors import did_you_mean
from scarfdate.tables.checked import Table
from scarfdate.tables.words import Vocabulary

SORTING_KEYS = "sorting_keys.csv"
ITSELF = "*"  # in the place of a word: the key of the clue
Keys = Mapping[tuple[str, str], str]  # by clue, and word or ITSELF


def read_sorting_keys(table: Table, vocabulary: Vocabulary) -> Keys:
    """``sorting_keys.csv``; a key that means two things in one place, or a word that is none, is a fault."""
    found: dict[tuple[str, str], str] = {}
    used: dict[tuple[str, str], str] = {}
    for row in table.rows:
        clue, word, key = row["family"], row["word"], row["key"]
        known = vocabulary.values.get(clue, ())
        own = word == ITSELF
        if not own and word not in known:
            step = did_you_mean(word, known)
            table.fault(row, "word", f"not a value of {clue}", word, step)
        place, name = ("", clue) if own else (clue, word)
        other = used.setdefault((place, key), name)
        if other != name:
            table.fault(row, "key", f"the key is that of {other} already", key)
        if own and key.isdigit():
            table.fault(row, "key", "numbers are of the trays; a clue has a letter", key)
        found[clue, word] = key
    return MappingProxyType(found)


def key_of_each(names: Sequence[str], stated: Mapping[str, str]) -> dict[str, str]:
    """The key of each name: as stated, or its initial where no other name has that; "" where there is none."""
    taken = {stated[name] for name in names if name in stated}
    rest = [name for name in names if name not in stated]
    return {name: stated.get(name) or _initial(name, rest, taken) for name in names}


def _initial(name: str, rest: Collection[str], taken: Collection[str]) -> str:
    letter = name[:1].casefold()
    alone = sum(other[:1].casefold() == letter for other in rest) == 1
    return letter if alone and letter.isalnum() and letter not in taken else ""
