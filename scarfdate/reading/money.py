"""Cells of a dealer's book: prices and currencies.

What a cell says in a local form (1.234) is read only where the form is stated, or where cells show it: 30,69 and
1.234,50 can be read in one way alone. Every reader gives what it read, or a problem in words; none raises for
anything a cell can hold.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import NamedTuple

from scarfdate.reading.cells import as_float
from scarfdate.reading.days import BLANKS, LONGEST
from scarfdate.tables.words import plain

DECIMALS = (".", ",")
BELOW_ZERO = "an amount below 0"
_LOCAL = "a number in a local form, which is never guessed; "
_MOST_DIGITS = 12  # of a price: a float holds them all, and no scarf costs more

_PRICE = re.compile(
    r"([^\d+-]*?) ?([+-]?)(\d[\d.,'’ ]*?)(?:([.,])-{1,2})? ?([^\d.,'’-]*(?:\.)?)", re.ASCII
)
# digits that can be read with one decimal sign alone: 30,69 and 1.234,50; 30.69 and 1,234.50
_SHOWS = {
    ",": re.compile(r"(?:\d+|\d{1,3}(?:([.'’ ])\d{3})(?:\1\d{3})*),\d{1,2}", re.ASCII),
    ".": re.compile(r"(?:\d+|\d{1,3}(?:([,'’ ])\d{3})(?:\1\d{3})*)\.\d{1,2}", re.ASCII),
}
_CODE = re.compile(r"[A-Z]{3}")  # the form of ISO 4217; which codes are in use is not looked up
_SIGNED = re.compile(r"[A-Za-z]{0,3} ?[^\w\s]", re.ASCII)
# signs and the currencies that write them: common practice; a sign not listed fits every code
_WRITTEN_BY = {
    "€": ("EUR",),
    "£": ("GBP", "EGP", "FKP", "GIP", "LBP", "SHP", "SSP", "SYP"),
    "¥": ("JPY", "CNY"),
    "$": (
        "USD", "ARS", "AUD", "BBD", "BMD", "BND", "BSD", "BZD", "CAD", "CLP", "COP", "DOP", "FJD",
        "GYD", "HKD", "JMD", "MXN", "NAD", "NZD", "SGD", "SRD", "TTD", "TWD", "UYU", "XCD",
    ),
}  # fmt: skip


class Money(NamedTuple):
    """An amount, its currency as far as the cell says it ("" if not), and what is wrong with it."""

    amount: float
    currency: str = ""
    problem: str = ""


def is_code(text: str) -> bool:
    """Whether a text has the form of an ISO 4217 code: three capital letters."""
    return _CODE.fullmatch(text) is not None


def writes(code: str, sign: str) -> bool:
    """Whether a currency is written with this sign; a sign that is not listed fits every code."""
    return code in _WRITTEN_BY.get(sign, (code,))


def price(
    cell: object,
    decimal: str | None,
    words: Mapping[str, str],
    stated: str = "",
    *,
    free: bool = False,
) -> Money:
    """The money in a cell that is not blank.

    ``decimal``: the decimal sign, "." or ","; None: not stated, then only digits are read that can be read
    in one way alone (40, 40.50, 40,50, 1.234,50; not 1.234). With it, the other sign, a blank or an apostrophe
    may part groups of three. ``words``: what the currency is called (as compared by `plain`) to its code. ``stated``:
    the code that holds where a cell has no currency, or a sign that this code is written with.
    ``free``: 0 is allowed, as for costs. A sign of several currencies stays as it is.
    """
    nothing = math.nan
    if isinstance(cell, Decimal):
        cell = float(cell) if cell.is_finite() else nothing
    if not isinstance(cell, str):
        number = as_float(cell)
        if number is None or not math.isfinite(number):
            return Money(nothing, "", "not a price; write digits, such as 40.50")
        return _amount(number, stated, free)
    text = " ".join(cell.translate(BLANKS).split())
    match = _PRICE.fullmatch(text) if len(text) <= LONGEST else None
    if match is None:
        return Money(nothing, "", "not a price; write digits, such as 40.50")
    before, minus, digits, _, after = match.groups()
    currency, problem = _currency(before.strip(), after.strip(), words, stated)
    if problem:
        return Money(nothing, "", problem)
    number, problem = _number(digits.strip(), decimal)
    if problem:
        return Money(nothing, "", problem)
    return _amount(-number if minus == "-" else number, currency, free)


def typed_price(cell: object, stated: str = "") -> Money:
    """The money that is asked or offered for one piece, 0 allowed: as `price` where no decimal sign is stated."""
    found = price(cell, None, {}, stated, free=True)
    if found.problem.startswith(_LOCAL):
        return found._replace(problem=f"{_LOCAL}write 1250, 12.50 or 12,50")
    return found


def _amount(number: float, currency: str, free: bool) -> Money:
    if number < 0 or (number == 0 and not free):
        return Money(math.nan, "", BELOW_ZERO if number < 0 else "a price of 0 is no sale")
    if number >= 10**_MOST_DIGITS:
        return Money(math.nan, "", "more than any scarf can cost")
    return Money(number, currency)


def _number(digits: str, decimal: str | None) -> tuple[float, str]:
    if len(digits) > 2 * _MOST_DIGITS:
        return math.nan, "more than any scarf can cost"
    decimal = decimal or _shown(digits)
    if decimal is None:
        if digits.isdigit():
            return float(digits), ""
        return math.nan, _LOCAL + 'state decimal in the map of columns ("." or ",")'
    parting = "'’ " + ("," if decimal == "." else ".")
    whole = rf"\d{{1,3}}([{parting}])\d{{3}}(?:\1\d{{3}})*|\d+"
    if not re.fullmatch(rf"(?:{whole})(?:{re.escape(decimal)}\d{{1,4}})?", digits, re.ASCII):
        return math.nan, f'not a number whose decimal sign is "{decimal}"'
    for sign in parting:
        digits = digits.replace(sign, "")
    return float(digits.replace(",", ".")), ""


def _shown(digits: str) -> str | None:
    """The decimal sign with which alone digits are a number; None where there is none, or either would do."""
    return next((sign for sign, alone in _SHOWS.items() if alone.fullmatch(digits)), None)


def decimal_of(cells: Iterable[object]) -> tuple[str | None, bool]:
    """The decimal sign of the money in one table, as far as its cells show it and agree; and whether any cell needs
    it."""
    shown = set()
    needed = False
    for cell in cells:
        text = " ".join(cell.translate(BLANKS).split()) if isinstance(cell, str) else ""
        match = _PRICE.fullmatch(text) if len(text) <= LONGEST else None
        if match is not None:
            digits = match[3].strip()
            sign = _shown(digits)
            needed = needed or (sign is None and not digits.isdigit())
            shown |= {sign} - {None}
    return (shown.pop() if len(shown) == 1 else None), needed


def currency_of(text: str, words: Mapping[str, str]) -> tuple[str, str]:
    """A cell of currency alone: its code, or its sign as it stands; and what is wrong with it."""
    named = words.get(plain(text))
    if named is not None:
        return named, ""
    bare = text.strip()
    if is_code(bare.upper()):
        return bare.upper(), ""
    if _is_sign(bare):
        only = _WRITTEN_BY.get(bare, ())
        return (only[0] if len(only) == 1 else bare.replace(" ", "")), ""
    return "", (
        "a currency that is not known; write its ISO 4217 code (three letters), "
        "or say under [words.sold_currency] which it is"
    )


def _is_sign(text: str) -> bool:
    return _SIGNED.fullmatch(text) is not None and unicodedata.category(text[-1]) == "Sc"


def _currency(before: str, after: str, words: Mapping[str, str], stated: str) -> tuple[str, str]:
    """The currency of the texts around a number, with what is stated for all of them."""
    currencies = []
    for text in filter(None, (before, after)):
        if not (plain(text) in words or is_code(text) or _is_sign(text)):
            return "", (
                "not a price; write digits, such as 40.50, with an ISO 4217 code or a currency sign "
                "(other words for a currency are stated under [words.sold_currency])"
            )
        currencies.append(currency_of(text, words)[0])
    codes = list(dict.fromkeys([*filter(is_code, currencies), *filter(None, [stated])]))
    signs = [text for text in currencies if not is_code(text)]
    if len(codes) > 1:
        return "", f"a price in {codes[0]} and in {codes[1]}"
    if not codes:
        return (signs[0] if signs else ""), ""
    for sign in signs:
        if not writes(codes[0], sign):
            return "", f"a sign that {codes[0]} is not written with; nothing is converted"
    return codes[0], ""
