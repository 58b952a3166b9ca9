"""The words of a condition as a dealer writes it, one by one: lengths, numbers, words, doubts, signs that part.

What they come to together is made of them in `scarfdate.worth.fault_words`.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from scarfdate.tables.noted import LIKE, NOTHING
from scarfdate.tables.priors import Priors
from scarfdate.tables.worth_condition import FaultWord
from scarfdate.words.phrases import Phrases, Token, medium_tokens
from scarfdate.words.units import read_length

LENGTH, NUMBER, DOUBT_NEXT, DOUBT_LAST, PART, UNREAD = (
    "length", "number", "doubt-next", "doubt-last", "part", "unread",
)  # fmt: skip
AND, OR, BUT, COMMA, STOP = "and", "or", "but", ",", ";"
_SIGNS = dict.fromkeys(",/+&", COMMA) | dict.fromkeys(";|•·", STOP)
_ENDS = re.compile(
    r"[\r\n]+|(?<=[^\W\d_]{4})[.!](?=\s|$)"
)  # "in." and "approx" do not end a sentence
_TIMES = re.compile(r"\bx(?=\d)", re.IGNORECASE)  # "stain x2"
_ELIDED = re.compile(r"\b(?:[dlns]|qu|un|all|dell|nell|sull)['’](?=[^\W\d_])", re.IGNORECASE)
# nothing in it can match in two ways, so that a length is looked for in one run over the text
_NUMBER = r"(?:\d++[ -])?\d++/\d++|\d++(?:[.,]\d++)?|\.\d++"
_MM_PER_CM = 10.0
_DIGITS = 6  # behind the point of a length in mm: 0.3 cm are 3 mm, and nothing beside
_IN = "in"  # means an inch, or a place: "2 in corner"


class Item(NamedTuple):
    """One thing that a cell says: what it gives (as in ``fault_words.csv``, or one of the names above), its
    word or number, the text behind it, and how a listing calls it ("" as its kind)."""

    gives: str
    means: str
    number: float
    text: str
    named: str = ""


class ConditionWords:
    """The words of ``fault_words.csv`` and ``doubt.csv``, made ready; one for each `Priors`."""

    def __init__(self, priors: Priors, words: Iterable[FaultWord]) -> None:
        units: dict[str, str] = {}
        self.tree: Phrases[Item] = Phrases()
        for one in words:
            if one.gives == "unit":
                units[one.word] = one.means
            else:
                text = _ELIDED.sub("", one.word)
                self.tree.add(
                    medium_tokens(text), Item(one.gives, one.means, 1.0, one.word, one.named)
                )
        for doubt in priors.doubt:
            name = doubt.act.name
            if doubt.family or doubt.word in _SIGNS:
                continue
            gives = PART if name in (AND, OR) else "skip" if name in ("skip", NOTHING) else name
            gives = DOUBT_NEXT if name == LIKE else gives
            item = Item(gives, name, doubt.act.amount, doubt.word)
            self.tree.add(medium_tokens(doubt.word), item)
        self._units = units
        longest_first = sorted(units, key=len, reverse=True)
        unit = "|".join(re.escape(word) for word in longest_first)
        self._length = re.compile(
            rf"(?<!\d)(?:({_NUMBER}) ?(?:-|–|to|x|×|by|bis|à|a|auf) ?)?({_NUMBER}) ?({unit})(?![^\W\d_])",
            re.IGNORECASE | re.ASCII,
        )

    def items(self, text: str) -> Iterator[Item]:
        """Everything that a text says, in order."""
        text = _plain(text)
        tokens: list[Token] = []
        lengths: dict[int, Item] = {}
        start = 0
        for match in self._length.finditer(text):
            if self._is_place(text, match):
                continue
            tokens += _tokens(text, start, match.start())
            lengths[len(tokens)] = self._of_length(match)
            tokens.append(("", match.start(), match.end()))
            start = match.end()
        tokens += _tokens(text, start, len(text))
        at = 0
        while at < len(tokens):
            if at in lengths:
                yield lengths[at]
                at += 1
                continue
            found = self.tree.longest(tokens, at)
            if found is None:
                yield _alone(tokens[at][0])
                at += 1
            else:
                item, count, _ = found
                words = text[tokens[at][1] : tokens[at + count - 1][2]]
                yield item._replace(text=words)
                at += count

    def _is_place(self, text: str, match: re.Match[str]) -> bool:
        """Whether "2 in corner" goes on after "in", which then is no unit."""
        if match[3].casefold() != _IN:
            return False
        after = list(medium_tokens(text[match.end() : match.end() + 60]))
        found = self.tree.longest(after, 0) if after else None
        return found is not None and found[0].gives in ("place", "skip", "count")

    def _of_length(self, match: re.Match[str]) -> Item:
        """The longest stretch of "3 mm", "2-3 mm" or "2 x 3 cm"."""
        unit = self._units[match[3].casefold()]
        sides = [_value(side) for side in match.groups()[:2] if side]
        longest = max(sides)
        known = 0 < longest < math.inf
        mm = round(_MM_PER_CM * read_length(longest, unit), _DIGITS) if known else 0.0
        return Item(LENGTH, "", mm, match[0])


def _plain(text: str) -> str:
    """One sign for each kind of quote, fraction and end of a line."""
    if not text.isascii():
        text = unicodedata.normalize("NFC", text).translate(_SIGNS_AS_TYPED)
    text = _TIMES.sub("", _ENDS.sub(" ; ", text.replace("''", '"')))
    return _ELIDED.sub("", text)


_FRACTIONS = map(chr, (*range(0xBC, 0xBF), *range(0x2150, 0x215F)))  # ¼ to ¾ and their like
_SIGNS_AS_TYPED = str.maketrans(
    {sign: " " + unicodedata.normalize("NFKC", sign).replace("\u2044", "/") for sign in _FRACTIONS}
    | dict.fromkeys("\u201c\u201d\u201e\u201f\u2033\u02ba\uff02", '"')
    | dict.fromkeys("\u2018\u2019\u2032\u02b9\u00b4`\uff07", "'")
    | {"\u2044": "/"}
)


def _tokens(text: str, start: int, end: int) -> Iterator[Token]:
    return (
        (token, start + first, start + last)
        for token, first, last in medium_tokens(text[start:end])
    )


def _value(number: str) -> float:
    whole, _, fraction = number.replace("-", " ").rpartition(" ")
    above, slash, below = fraction.partition("/")
    if not slash:
        return float(number.replace(",", "."))
    return float(whole or 0) + (float(above) / float(below) if float(below) else 0.0)


def _alone(token: str) -> Item:
    """A token that is no word of the tables."""
    if token in _SIGNS:
        return Item(PART, _SIGNS[token], 1.0, token)
    if token.isascii() and token.isdigit():
        return Item(NUMBER, "", float(token), token)
    return Item(UNREAD if any(map(str.isalnum, token)) else "skip", "", 1.0, token)
