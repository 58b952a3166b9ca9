"""German compounds of words that the vocabulary has: "Seidenchiffon" is silk and chiffon, "Wolltuch" wool and a cloth.

A word is taken apart only where no phrase begins with it, or where that phrase says no more than the second half, and where
both halves are words of the tree: the first a fibre or a weave, with or without the letters that join it, the second of
another family, or one that says nothing ("stoff").
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

from scarfdate.tables.medium import Phrase
from scarfdate.words.phrases import Phrases, Token

_CLOTH = frozenset({"fibre", "weave"})
_SHORTEST, _LONGEST = 4, 60  # letters of a half, and of a compound
_JOINTS = ("", "n", "en", "s")  # between the halves
_DROPPED = ("", "e")  # of the end of the first: Wolle, Wolltuch
_SILENT = ("skip", "passed over")  # what a word does that says nothing by itself
_KEPT = 4096  # compounds that are remembered


class Compounds:
    """Takes the compounds of one tree of phrases apart."""

    def __init__(self, tree: Phrases[Phrase]) -> None:
        self.tree = tree
        self._halves = lru_cache(_KEPT)(self._taken_apart)

    def apart(self, tokens: Sequence[Token]) -> list[Token]:
        """The tokens, with the two halves in the place of each compound."""
        found: list[Token] = []
        for token, start, end in tokens:
            parts = self._halves(token)
            if not parts:
                found.append((token, start, end))
                continue
            first, second = parts
            # where letters are folded the places are those of the text no more, and both halves have those of the whole
            cut = end - len(second) if end - start == len(token) else end
            found += [(first, start, cut), (second, min(cut, end), end)]
        return found

    def _taken_apart(self, token: str) -> tuple[str, ...]:
        if not 2 * _SHORTEST <= len(token) <= _LONGEST or not token.isalpha():
            return ()
        known = self.tree.first.get(token)
        if known is not None and known.after:
            return ()
        for at in range(_SHORTEST, len(token) - _SHORTEST + 1):  # the longest second half first
            second = self._phrase(token[at:])
            if second is None:
                continue
            for word in _as_words(token[:at]):
                first = self._phrase(word)
                if first is not None and _fit(
                    first, second, None if known is None else known.meaning
                ):
                    return word, token[at:]
        return ()

    def _phrase(self, word: str) -> Phrase | None:
        step = self.tree.first.get(word)
        return None if step is None else step.meaning


def _as_words(half: str) -> Iterator[str]:
    """What the first half of a compound may be by itself."""
    for joint in _JOINTS:
        if half.endswith(joint):
            for dropped in _DROPPED:
                yield half[: len(half) - len(joint)] + dropped


def _fit(first: Phrase, second: Phrase, known: Phrase | None) -> bool:
    """Whether two words are the halves of a compound, of which ``known`` is what a table says."""
    if known is not None and known.gives != second.gives:
        return False
    of_first = {one.family for one in first.readings}
    if not of_first or not of_first <= _CLOTH:
        return False
    if second.act is not None:
        return second.act.name in _SILENT
    # in a description a word such as "tuch" only names its clue
    return not of_first & {one.family for one in second.readings}
