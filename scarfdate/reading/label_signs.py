"""What is recognised on a label by its form: codes, numbers, addresses, signs in square brackets.

Every pattern is bounded, begins where nothing of its own kind stands before it, and can match in one
way only, so that the time grows with the length of the text and no faster.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple


class Sign(NamedTuple):
    """``plain[start:end]`` is a mark by its form."""

    start: int
    end: int
    mark: str
    value: str


_WEB = re.compile(
    r"(?<![\w@.-])(?:https?://)?www\.[\w.-]{1,80}"
    r"|(?<![\w@.-])[\w-]{2,60}\.(?:com|net|org|co\.uk|co\.jp|example)(?![\w-])"
)
_ENDS = ("www.", ".com", ".net", ".org", ".co.", ".example")  # one of them is in every address
_MAIL = re.compile(r"(?<![\w.+-])[\w.+-]{1,60}@[\w-]{1,60}\.[\w.]{2,30}")
_HANDLE = re.compile(r"(?<![\w.+-])@[a-z_][\w.]{2,30}")
# behind each pattern, what must stand in a text that it can match: most texts are told at a glance
_DASHED = "digit-digit"
_CODES = (
    ("zip4", _DASHED, re.compile(r"(?<!\d)\d{5}-\d{4}(?!\d)")),
    ("phone-london-0171", "01", re.compile(r"(?<!\d)0(?:171|181)[ )-]{1,2}\d{3}[ -]?\d{4}(?!\d)")),
    ("phone-london-071", "07", re.compile(r"(?<!\d)071[ )-]{1,2}\d{3}[ -]?\d{4}(?!\d)")),
    ("phone-london-071", "08", re.compile(r"(?<!\d)081[ )-]{1,2}\d{3}[ -]?\d{4}(?!\d)")),
    ("phone-london-020", "020", re.compile(r"(?<!\d)020[ )-]{1,2}[378]\d{3}[ -]?\d{4}(?!\d)")),
    ("phone-london-01", "01-", re.compile(r"(?<!\d)01-\d{3}[ -]?\d{4}(?!\d)")),
    ("phone-toll-free", _DASHED, re.compile(r"(?<!\d)(?:1[ -])?\(?8(?:00|88|77)\)?[ -]\d{3}-\d{4}(?!\d)")),
    ("phone-exchange-name", _DASHED, re.compile(r"(?<![a-z])[a-z]{2}(?:[a-z]{2,9}(?: hill)?)? ?\d ?- ?\d{4}(?!\d)")),
    ("price-shillings", "/-", re.compile(r"(?<![\d/])\d{1,3}/-(?!\d)")),
    ("price-shillings", "d", re.compile(r"(?<!\d)\d{1,2}s\.? ?\d{1,2}d(?!\w)")),
    ("price-new-pence", "np", re.compile(r"(?<!\d)\d{1,3} ?np(?![a-z])")),
    ("price-new-pence", "new pence", re.compile(r"(?<!\d)\d{1,3} ?new pence(?![a-z])")),
    ("price-new-pence", "£", re.compile(r"£ ?\d{1,4}\.\d\d(?!\d)")),
)  # fmt: skip
_BEFORE = re.compile(r"[dfih] ?- ?\d")  # a hyphen between a letter of a country and a digit
_EURO = re.compile(r"€ ?\d{1,5}|(?<!\d)\d{1,5}\s?€(?! ?\d)")  # before or behind, on one line
_BETWEEN = re.compile(r"\d ?- ?\d")  # a hyphen between digits
_DIGIT = re.compile(r"\d")
_BESIDE = re.compile(r"[a-z]\d")  # a letter and a digit side by side
_POSTCODES = (
    ("postcode-canada", re.compile(r"(?<![a-z\d])[a-z]\d[a-z] ?\d[a-z]\d(?![a-z\d])")),
    ("postcode-uk", re.compile(r"(?<![a-z\d])[a-z]{1,2}\d[a-z\d]? ?\d[a-z]{2}(?![a-z\d])")),
)
_LONDON = re.compile(
    r"(?<![a-z])london,? (?:[nsew]|[nsew]\.? ?[wec])\.? ?\d{1,2}[a-z]?(?![a-z\d]| \d[a-z]{2}(?![a-z\d]))"
)
_BAR = re.compile(r"(?<!\d)(?<!\d )\d(?: ?\d){11,12}(?! ?\d)")
_ABROAD = re.compile(r"(?<![a-z\d])(d|f|i|ch) ?- ?(\d{4,5})(?!\d)")
_ABROAD_MARKS = {
    ("d", 5): "postcode-germany-5",
    ("d", 4): "postcode-germany-4",
    ("f", 5): "postcode-france",
    ("i", 5): "postcode-italy",
    ("ch", 4): "postcode-switzerland",
}
_JAPAN = re.compile(r"〒 ?\d{3}(?:-\d{2,4})?(?!\d)")
_JAPAN_LONG = 4  # digits behind the hyphen, since there are seven in all
_SHAPES = re.compile(r"[△▲□▢○◯⊗⊠]")  # what Unicode has of the shapes that care signs are made of
_BRACKET = re.compile(r"\[[^\[\]\n]{1,80}\]")


def signs(plain: str) -> list[Sign]:
    """All signs of a plain label text that do not overlap, in order; the earlier pattern goes before."""
    found: list[Sign] = []
    if any(end in plain for end in _ENDS):
        found += (Sign(*m.span(), "web-address", "") for m in _WEB.finditer(plain))
    if "@" in plain:
        found += (Sign(*m.span(), "email", "") for m in _MAIL.finditer(plain))
        found += (Sign(*m.span(), "social-handle", "") for m in _HANDLE.finditer(plain))
    if _DIGIT.search(plain):
        found += _by_digits(plain)
    if len(found) < 2:
        return found
    found.sort(key=lambda sign: (sign.start, -sign.end))
    kept = found[:1]
    for sign in found[1:]:
        if sign.start >= kept[-1].end:
            kept.append(sign)
    return kept


def _by_digits(printed: str) -> Iterator[Sign]:
    plain = printed.replace("\n", " ")  # a code may be broken over two lines, a bar code is not
    dashed = "-" in plain and _BETWEEN.search(plain) is not None
    for mark, needs, pattern in _CODES:
        if dashed if needs is _DASHED else needs in plain:
            for m in pattern.finditer(plain):
                yield Sign(*m.span(), mark, "")
    if _BESIDE.search(plain):
        for mark, pattern in _POSTCODES:
            for m in pattern.finditer(plain):
                yield Sign(*m.span(), mark, "")
    if "london" in plain:
        for m in _LONDON.finditer(plain):
            yield Sign(*m.span(), "district-london", "")
    for m in _EURO.finditer(printed) if "€" in printed else ():
        yield Sign(*m.span(), "price-euro", "")
    for m in _BAR.finditer(printed):
        digits = m.group().replace(" ", "")
        yield Sign(*m.span(), "ean" if len(digits) == 13 else "upc", digits)
    for m in _ABROAD.finditer(plain) if _BEFORE.search(plain) else ():
        abroad = _ABROAD_MARKS.get((m.group(1), len(m.group(2))))
        if abroad:
            yield Sign(*m.span(), abroad, "")
    for m in _JAPAN.finditer(plain) if "〒" in plain else ():
        long = m.group().count("-") and len(m.group().rpartition("-")[2]) == _JAPAN_LONG
        yield Sign(*m.span(), "postcode-japan", "seven-digits" if long else "")


def checks(digits: str) -> bool:
    """The check digit of a 12- or 13-digit article number (GS1 General Specifications, 7.9)."""
    total = sum(
        int(digit) * (3 if place % 2 else 1) for place, digit in enumerate(reversed(digits))
    )
    return total % 10 == 0


def brackets(plain: str) -> Iterator[tuple[int, int, str]]:
    """What stands in square brackets for a printed sign: (start, end, the words inside)."""
    if "[" in plain:
        for m in _BRACKET.finditer(plain):
            yield m.start(), m.end(), m.group()[1:-1].strip()
    if not plain.isascii():
        for m in _SHAPES.finditer(plain):
            yield m.start(), m.end(), m.group()
