"""Numbers on a label that go with the words about them: percentages, and numbers behind a prefix."""

from __future__ import annotations

import re
from typing import NamedTuple

from scarfdate.reading.label_marks import Printed
from scarfdate.words.date_phrases import roman_number

PER_CENT = frozenset({"%", "percent", "pct", "prozent", "pourcent", "procent"})
LONGEST_NUMBER = 12  # digits
_PER, _CENT = ("per", "por", "pour"), ("cent", "ciento")
_BEHIND = PER_CENT.union(_PER)
_ANY_BEHIND = re.compile("|".join(sorted(_BEHIND)))
_LONGEST_PER_CENT, _LONGEST_DECIMALS = 9, 6  # digits
_DISTRICT = re.compile(r"(xx|x?(?:ix|iv|v?i{1,3}|v)|x)(e|er|eme)?")  # of twenty
_ROMAN = re.compile(r"m{1,2}(?:cm|dc{0,3})?(?:x[lc]|l?x{0,3})(?:i[vx]|v?i{0,3})")
_TOKENS, _THOUSANDS = 4, 3  # tokens of one number, and the digits in each group


class Number(NamedTuple):
    """The digits behind a prefix, "" for none, their end, and the number of tokens they are in."""

    digits: str
    end: int
    tokens: int

    @property
    def value(self) -> int:
        """The number; of too many digits, that of the first."""
        return int(self.digits[:LONGEST_NUMBER])


class Percentage(NamedTuple):
    """A percentage, where it stands, and the number of the token behind it."""

    per_cent: float
    start: int
    end: int
    behind: int


def has_shares(plain: str) -> bool:
    """Whether a sign or word that makes a number a percentage is in a plain text."""
    return _ANY_BEHIND.search(plain) is not None


def number_behind(printed: Printed, at: int) -> Number:
    """The number that begins at a token, groups of thousands joined; "#" or "no" may stand before."""
    digits, stop, count = "", 0, 0
    for token, start, end in printed.tokens[at : at + _TOKENS]:
        if token in ("#", "no") and not digits:
            count += 1
            continue
        between = printed.plain[stop:start]
        joins = len(token) == _THOUSANDS and between in (",", ".", " ")
        if joins and between == " ":  # "RN 82 345", and no "RN 82 345 %"
            joins = len(digits) <= _THOUSANDS and printed.word(at + count + 1) not in PER_CENT
        if not (token.isdecimal() and token.isascii()) or (digits and not joins):
            break
        digits, stop, count = digits + token, end, count + 1
    return Number(digits, stop, count if digits else 0)


def roman_year(token: str) -> str:
    """A year from 1500 on in Roman numerals as digits; "" for any other word."""
    match = _ROMAN.fullmatch(token)
    if match is None:
        return ""
    return str(roman_number(token))


def roman_district(token: str) -> str:
    """The number of a district of Paris in Roman numerals ("viii", "viiie") as digits; "" for any other word."""
    match = _DISTRICT.fullmatch(token)
    if match is None or (len(match[1]) == 1 and not match[2]):  # an "x" alone may be anything
        return ""
    return str(roman_number(match[1]))


def percentage_at(printed: Printed, at: int) -> Percentage | None:
    """The number at a token as a percentage, if a sign or words before or behind it make it one."""
    tokens, plain, word = printed.tokens, printed.plain, printed.word
    token, start, end = tokens[at]
    if at + 1 < len(tokens) and (at == 0 or tokens[at - 1][0] != "%"):
        behind = tokens[at + 1][0]
        # most numbers are none, and a text may be full of them
        if plain[end] not in ",." if behind.isdecimal() else behind not in _BEHIND:
            return None
    value = float(token[:_LONGEST_PER_CENT]) if token.isascii() else 0.0
    last, following = at, word(at + 1)
    parted = plain[end : tokens[at + 1][1]] if following else ""
    if following.isdecimal() and parted in (",", ".") and word(at + 2) in PER_CENT:  # 53,5 %
        value += float(f"0.{following[:_LONGEST_DECIMALS]}")
        last, following = at + 1, word(at + 2)
    elif following == "%" and parted:
        stop = tokens[at + 1][2]
        if plain[stop : stop + 1].isdecimal():
            following = ""  # "10016, %100 silk": the sign belongs to the number behind it
    if following in PER_CENT:
        last += 1
    elif following in _PER and word(last + 2) in _CENT:
        last += 2
    elif at == 0 or tokens[at - 1][0] != "%" or tokens[at - 1][2] != start:
        return None
    return Percentage(value, start, tokens[last][2], last + 1)
