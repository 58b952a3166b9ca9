"""Letters that were typed for digits, and digits for letters: "S1LK", "10O%".

Only a known word, a percentage, or a number behind RN or WPL is mended; a code in which letters and digits stand together is left.
"""

from __future__ import annotations

import re
from collections.abc import Set

_MIXED = re.compile(r"(?<![^\W_])(?:[a-z]+[015]|[015]+[a-z])[a-z015]*(?![^\W_])")
_SHARE = re.compile(r"(?<![^\W_])(?=[oil]*\d|\d*[oil])[oil\d]{2,3}(?= ?%)")
_NUMBER = re.compile(r"(?<![^\W_])((?:rn|wpl)[ #:.-]{0,3})(?=[oil\d]*\d)([oil\d]{3,6})(?![^\W_])")
_HAS_BOTH = re.compile(r"\d(?:(?<=[a-z].)|(?=[a-z]))")
_AS_LETTERS = [str.maketrans("015", letters) for letters in ("ois", "ols")]
_AS_DIGITS = str.maketrans("oil", "011")
_SHORTEST = 4  # letters of a word: of shorter ones too many codes are like
_WHOLE = 100  # per cent


def mended_letters(words: Set[str], plain: str) -> tuple[str, frozenset[int]]:
    """The plain text with what was mistyped, of the same length, and where each mended word starts."""
    places: set[int] = set()

    def word(match: re.Match[str]) -> str:
        token = match[0]
        known = {token.translate(letters) for letters in _AS_LETTERS} & words
        if len(token) < _SHORTEST or len(known) != 1:
            return token
        places.add(match.start())
        return known.pop()

    def share(match: re.Match[str]) -> str:
        digits = match[0].translate(_AS_DIGITS)
        if match[0].isdecimal() or not 0 < int(digits) <= _WHOLE:
            return match[0]
        places.add(match.start())
        return digits

    def number(match: re.Match[str]) -> str:
        if match[2].isdecimal():
            return match[0]
        places.add(match.start())
        return f"{match[1]}{match[2].translate(_AS_DIGITS)}"

    if _HAS_BOTH.search(plain) is None:
        return plain, frozenset()
    if "rn" in plain or "wpl" in plain:
        plain = _NUMBER.sub(number, plain)
    if "%" in plain:
        plain = _SHARE.sub(share, plain)
    return _MIXED.sub(word, plain), frozenset(places)
