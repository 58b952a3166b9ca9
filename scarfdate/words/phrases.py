"""Phrases in a text: tokens, a tree of phrases, the longest match, and words that are misspelt.

Labels and museums' medium texts are both read by it. What a phrase means is no matter here.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Generic, TypeVar

T = TypeVar("T")
Part = TypeVar("Part", bound=Hashable)
Token = tuple[str, int, int]  # as it is compared, start, end
CUT = "…"

_SHORTEST_PART = 3  # letters by which a word can be known
_SHORTEST_MISPRINT = 5  # letters: of shorter words too many others are one letter off
_LONGEST_WORD = 24  # letters of a word that may be misspelt


# --- tokens


_ENCIRCLED = {ord(letter): sign for letter, sign in zip("ⒸⓒⓇⓡ", "©©®®", strict=True)}


def _plain_letters() -> dict[int, str]:
    """Each letter without its accent, in lower case and of usual width, one character for one."""
    plain = {code: unicodedata.normalize("NFD", chr(code))[0] for code in range(0x41, 0x250)}
    plain = {code: letter.lower() for code, letter in plain.items() if letter.isalpha()}
    for code in range(0x370, 0x530):  # Greek and Cyrillic
        letter = unicodedata.normalize("NFD", chr(code).lower())[0]
        if letter.isalpha():
            plain[code] = letter
    for code in range(0xFF01, 0xFF9E):  # of double and half width
        plain[code] = unicodedata.normalize("NFKC", chr(code)).lower()
    # Unicode takes the first of these for letters of their own
    return (
        plain
        | dict(zip(map(ord, "ØøŒœÆæß’`´\u3000\xa0–‐‑—"), "ooooaas'''  ----", strict=True))
        | _ENCIRCLED
    )


_PLAIN = _plain_letters()
# An abbreviation with points, a word (with letters guessed as ?), digits, a Japanese character, a cut,
# a sign, a word in other letters, or pictures. Nothing in it can match in two ways, so that it runs once over the text;
# where the point is missing, the engine need not look back.
_LABEL_TOKEN = re.compile(
    r"[a-z](?=\.)(?<![a-z].)(?:\.[a-z]{1,3}(?![a-z]))++\.?"
    r"|[a-z?]+(?:'[a-z?]+)*|\d+|[\u3040-\u30ff\u3400-\u9fff]|\.{2,}|…|[®©™&/%#]"
    r"|[^\W\d_a-z\u3040-\u30ff\u3400-\u9fff]+|[\u2600-\u27bf\U0001f000-\U0001faff]+"
)
# A number, a word (with its own apostrophes and combining accents), or one other sign; no way back.
_MEDIUM_TOKEN = re.compile(
    r"\d+(?:[.,]\d+)?|[^\W\d_][\w\u0300-\u036f]*(?:['’][\w\u0300-\u036f]+)*|[^\w\s]|_"
)
_HYPHENS = frozenset("-‐‑_")


def plain_label(text: str) -> str:
    """A label text in lower case, without accents, of the same length."""
    plain = text.lower().replace("`", "'") if text.isascii() else text.translate(_PLAIN)
    if "(" in plain:  # as they are typed
        plain = plain.replace("(c)", " © ").replace("(r)", " ® ")
    return plain


def label_tokens(plain: str) -> list[Token]:
    """The tokens of a plain text in order, without their points and apostrophes."""
    tokens = [(each[0], each.start(), each.end()) for each in _LABEL_TOKEN.finditer(plain)]
    if "." in plain or "'" in plain:
        return [(_bare(token), start, end) for token, start, end in tokens]
    return tokens


def _bare(token: str) -> str:
    if "." in token:  # two points or more are a cut
        return CUT if token.startswith("..") else token.replace(".", "")
    return token.replace("'", "")


def medium_tokens(text: str) -> Iterator[Token]:
    """The tokens of a text in order, in lower case and without accents. A hyphen joins, and is none."""
    ascii_only = text.isascii()
    for match in _MEDIUM_TOKEN.finditer(text.lower() if ascii_only else text):
        token = match.group() if ascii_only else _folded(match.group())
        if token and token not in _HYPHENS:
            yield token, match.start(), match.end()


def tokens_of(text: str) -> tuple[str, ...]:
    """The tokens of `medium_tokens` without their places."""
    return tuple(token for token, _, _ in medium_tokens(text))


def _folded(token: str) -> str:
    if token.isascii():
        return token.lower()
    letters = unicodedata.normalize("NFKD", token.casefold())
    return "".join(each for each in letters if not unicodedata.combining(each)).replace("’", "'")


# --- phrases


@dataclass(slots=True)
class Step(Generic[T]):
    """One step into the phrases: what may follow, and the meaning of the phrase that ends here."""

    after: dict[str, Step[T]] = field(default_factory=dict)
    meaning: T | None = None


class Phrases(Generic[T]):
    """A tree of phrases, one token a step.

    ``misprints``: a word of a phrase, other than the first, is known with one letter off, too.
    """

    def __init__(self, *, misprints: bool = False) -> None:
        self.first: dict[str, Step[T]] = {}
        self.misprints = misprints

    def add(self, tokens: Iterable[Token], meaning: T) -> bool:
        """Put in a phrase; False where it is there already, or has no token."""
        after, step = self.first, None
        for token, _, _ in tokens:
            step = after.setdefault(token, Step())
            after = step.after
        if step is None or step.meaning is not None:
            return False
        step.meaning = meaning
        return True

    def longest(
        self,
        tokens: Sequence[Token],
        at: int,
        instead: str = "",
        wanted: Callable[[T], bool] | None = None,
    ) -> tuple[T, int, bool] | None:
        """The longest phrase from token ``at`` on, with the word ``instead`` in its place if given.

        Returns what it means, its number of tokens, and whether a word is one letter off, which none
        beside the word put in may be. ``wanted``: phrases with other meanings do not count.
        """
        step = self.first.get(instead or tokens[at][0])
        match, place, misprinted = None, at, False
        while step is not None:
            place += 1
            meaning = step.meaning
            if meaning is not None and (wanted is None or wanted(meaning)):
                match = meaning, place - at, misprinted
            if not step.after or place == len(tokens):
                break
            after, token = step.after, tokens[place][0]
            step = after.get(token)
            if step is None and self.misprints and (not instead or place > at + 1):
                step, misprinted = self._misprint(token, after), True
        return match

    def _misprint(self, token: str, after: dict[str, Step[T]]) -> Step[T] | None:
        """The one step that a misprinted word can mean; a word that is known is no misprint."""
        if not _SHORTEST_MISPRINT <= len(token) <= _LONGEST_WORD or token in self.spelling.words:
            return None
        near = [word for word in after if _is_misprint(token, word)]
        return after[near[0]] if len(near) == 1 else None

    @cached_property
    def spelling(self) -> Spelling:
        """All words of three letters or more."""
        words, steps = set(), [*self.first.items()]
        while steps:
            token, step = steps.pop()
            if len(token) >= _SHORTEST_PART and token.isalpha() and token.isascii():
                words.add(token)
            steps += step.after.items()
        return Spelling(frozenset(words))


# --- misspelt words


@dataclass(frozen=True)
class Spelling:
    """Known words, looked up by a part of them, or with one letter wrong."""

    words: frozenset[str]

    def ending_in(self, part: str) -> Sequence[str]:
        """Words of which only the end is left, on a text that is cut on the left."""
        return self._by_end.get(part, ())

    def beginning_with(self, part: str) -> Sequence[str]:
        """Words of which only the beginning, three letters or more, is left."""
        return self._by_beginning.get(part, ())

    def fitting(self, token: str) -> Sequence[str]:
        """Words that fit one with ``?`` for letters; two thirds of them, three at least, are known."""
        length = len(token)
        letters = [(length, at, each) for at, each in enumerate(token) if each != "?"]
        if length > _LONGEST_WORD or len(letters) < max(_SHORTEST_PART, 2 * length / 3):
            return ()
        # the letter that fewest words have in its place leaves the fewest to look at
        fewest = min((self._by_letter.get(key, ()) for key in letters), key=len)
        return [word for word in fewest if all(word[at] == each for _, at, each in letters)]

    def misprinted(self, token: str) -> Sequence[str]:
        """Words with one letter changed, left out, put in, or two letters swapped."""
        index, parts = self._by_letters_but_one, _with_one_letter_less(token)
        if index.keys().isdisjoint(parts):  # a name, as most words that are not known
            return ()
        near = {word for part in parts for word in index.get(part, ())}
        return sorted(word for word in near if _is_misprint(token, word))

    @cached_property
    def _by_end(self) -> dict[str, list[str]]:
        return self._by(lambda word: [word[at:] for at in range(1, len(word) - 1)])

    @cached_property
    def _by_beginning(self) -> dict[str, list[str]]:
        return self._by(lambda word: [word[:at] for at in range(_SHORTEST_PART, len(word))])

    @cached_property
    def _by_letter(self) -> dict[tuple[int, int, str], list[str]]:
        return self._by(lambda word: [(len(word), at, each) for at, each in enumerate(word)])

    @cached_property
    def _by_letters_but_one(self) -> dict[str, list[str]]:
        return self._by(_with_one_letter_less)

    def _by(self, parts: Callable[[str], Iterable[Part]]) -> dict[Part, list[str]]:
        found: dict[Part, list[str]] = {}
        for word in sorted(self.words):
            for part in dict.fromkeys(parts(word)):
                found.setdefault(part, []).append(word)
        return found


def _with_one_letter_less(word: str) -> list[str]:
    """The word itself and with each letter taken out."""
    return [word, *(word[:at] + word[at + 1 :] for at in range(len(word)))]


def _is_misprint(a: str, b: str) -> bool:
    """Whether two words of five letters or more are the same but for one slip."""
    if len(b) < _SHORTEST_MISPRINT or abs(len(a) - len(b)) > 1:
        return False
    at = 0
    while at < min(len(a), len(b)) and a[at] == b[at]:
        at += 1
    changed = a[at + 1 :] == b[at + 1 :]
    swapped = a[at : at + 2] == b[at : at + 2][::-1] and a[at + 2 :] == b[at + 2 :]
    return changed or swapped or a[at + 1 :] == b[at:] or a[at:] == b[at + 1 :]
