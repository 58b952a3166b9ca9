"""Dates in words, as museums write them: "late 1960s", "2. Hälfte 20. Jh.", "vers 1935", "Meiji period".

The words are data (`DateWords`, made of ``date_words.csv``); here is the grammar, the same for all languages. A text is
cut into words and numbers, each word has one letter for every role that it can have, and the letters of a whole text
are held against patterns: "um 1900" is ``aY``, "20. Jh., 2. Hälfte" is ``NcNF``. A text that fits none is refused.
"""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain, islice, product
from types import MappingProxyType
from typing import NamedTuple

from scarfdate.words.date_years import Years, hull, refusal
from scarfdate.words.phrases import Phrases

# the letter by which a role stands in the patterns
ROLES: Mapping[str, str] = MappingProxyType({
    "about": "a", "up-to": "u", "from": "f", "or-earlier": "e", "or-later": "l", "between": "b", "to": "t",
    "and": "x", "made": "m", "design": "d", "altered": "z", "skip": "", "month": "M", "ordinal": "O", "last": "L",
    "fraction": "F", "part-of-decade": "P", "part-of-century": "Q", "decade": "S", "decade-or-century": "C",
    "decade-before": "A", "century": "c", "century-before": "B", "mark": "o", "period": "p",
})  # fmt: skip
_LONGEST_PHRASE = 100  # a phrase in words; EDTF sets may be of any length
_MOST_READINGS = 512  # of one text whose words have several roles each
_DASHES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212", "-"))
# whole days, whose year says all that is wanted; numbers; words; single signs but points
_TOKEN = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[t ][0-9]{2}:[0-9]{2}[0-9:.z+-]*)?|[0-9]{1,2}(?P<by>[./])[0-9]{1,2}(?P=by)[0-9]{4}"
    r"|[0-9]+|[^\W\d_]+|[^\w\s.]"
)
_ROMAN_WORD = re.compile(r"(x{0,2}(?:ix|iv|v?i{0,3}))(e|es|er|eme|o)?")
_ROMAN = {"i": 1, "v": 5, "x": 10, "l": 50, "c": 100, "d": 500, "m": 1000}
_MASKED_SEASONS = ("21", "22", "23", "24")


def _with_part(core: str, part: str) -> re.Pattern[str]:
    """A decade or a century with a part of it before or behind: "first half", "late"."""
    before, behind = (
        f"(?:(?P<nth{side}>[OLN])o?(?P<parts{side}>F)|(?P<part{side}>{part}))?" for side in "12"
    )
    return re.compile(before + core + behind)


# Y: a year, N: a number of one or two digits, R: a Roman number; the others as in ROLES
_DAY = re.compile(r"(?:No?M|MNo?|M)?(?P<year>Y)")
_DECADE = _with_part(r"(?:(?P<before>A)(?P<of>[YN])S?|(?P<number>[YN])(?P<behind>[SC]))", "P")
_CENTURY = _with_part(r"(?:B(?P<before>[NR])o?|(?P<number>[NR])(?P<mark>o?)c|(?P<roman>R)o)", "Q")
_PERIOD = re.compile(r"[PQ]?(?P<period>p)")
_LACKS_CENTURY = re.compile(r"a*(?:[OLN]o?F|Q)?[NR]o?")  # late 19th - early 20th century
_EVENTS = re.compile(r"(?P<first>[mdz]*)(?P<date>[^mdz]+)(?P<last>[mdz]*)")


class _Item(NamedTuple):
    """One word or number in one of its roles: its letter, the numbers of its row, and of how many digits it is."""

    letter: str
    first: int = 0
    last: int = 0
    digits: int = 0


Items = Sequence[_Item]


@dataclass(frozen=True, eq=False)
class DateWords:
    """The words of dates: each row has a phrase, its role (`ROLES`), and two whole numbers, 0 where it has none."""

    rows: tuple[tuple[str, str, int, int], ...]
    _tree: Phrases[list[Items]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        found: dict[tuple[str, ...], dict[str, Items]] = {}
        for phrase, role, first, last in self.rows:
            letter = ROLES[role]
            item = [_Item(letter, first, last)] if letter else []
            found.setdefault(words_of(phrase), {}).setdefault(role, item)
        tree: Phrases[list[Items]] = Phrases()
        for words, roles in found.items():
            tree.add([(word, 0, 0) for word in words], [*roles.values()])
        object.__setattr__(self, "_tree", tree)

    @cached_property
    def months(self) -> Mapping[str, int]:
        """Each name of a month, its words as `words_of` has them with blanks between, and its number, 1 to 12."""
        named = {
            " ".join(words_of(phrase)): first
            for phrase, role, first, _ in self.rows
            if role == "month"
        }
        return MappingProxyType(named)

    def read(self, bare: str, text: str) -> Years:
        """The years of ``bare``, a date in words; ``text``: as it was given, for a refusal."""
        if len(bare) > _LONGEST_PHRASE:
            raise refusal(text, f"it is longer than {_LONGEST_PHRASE} characters")
        if len(bare) == 7 and bare[4] == "-" and bare[5:] in _MASKED_SEASONS:
            raise refusal(text, "it can be a season or a span of years (write 1920/1921)")
        years = self._made(bare, text)
        parts = [part for part in re.split("[,;]", bare) if part.strip()]
        if years is None and len(parts) > 1:
            years = _made_of([self._event(part, text) for part in parts])
        outer, opened, inner = bare.partition("(")
        if years is None and opened and inner.endswith(")"):  # Taisho (1912-1926)
            whole, within = self._made(outer, text), self._made(inner[:-1], text)
            years = within if whole and within and _lies_in(within, whole) else None
        if years is None:
            raise refusal(text, "these words are not known")
        return years

    def _made(self, bare: str, text: str) -> Years | None:
        """The years in which a text says that a piece was made; None where it is no one statement of that."""
        return _made_of([self._event(bare, text)])

    def _event(self, bare: str, text: str) -> tuple[str, Years | None]:
        """What happened in the years of one statement ("" for made), and these; None where they are not known."""
        for items in islice(self._readings(bare), _MOST_READINGS):
            letters = "".join(item.letter for item in items)
            parts = _EVENTS.fullmatch(letters)
            if parts is None:
                continue
            told = parts["first"] + parts["last"]
            years = _statement(items[slice(*parts.span("date"))], text)
            if years is not None:
                return "z" if "z" in told else "d" if "d" in told else "", years
        return "", None

    def _readings(self, bare: str) -> Iterator[list[_Item]]:
        """Every choice of roles for the words of a text; none where a word is not known."""
        tokens = [(word, 0, 0) for word in words_of(bare)]
        if tokens and tokens[0][0] == "-":
            return  # a year before the common era
        choices: list[list[Items]] = []
        at = 0
        while at < len(tokens):
            match = self._tree.longest(tokens, at)
            choices.append(match[0] if match else _number(tokens[at][0]))
            at += match[1] if match else 1
        for chosen in product(*choices):
            yield [*chain.from_iterable(chosen)]


def words_of(text: str) -> tuple[str, ...]:
    """The words, numbers and signs of a text, without points and accents, in lower case."""
    plain = text.casefold().translate(_DASHES).replace("\u2019", "'")
    letters = unicodedata.normalize("NFD", plain)
    bare = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return tuple(match[0] for match in _TOKEN.finditer(bare))


def _number(token: str) -> list[Items]:
    """What a word that stands in no row can be: a number, a Roman number; nothing."""
    if token.isascii() and token.isdecimal():
        letter = {1: "N", 2: "N", 4: "Y"}.get(len(token))
        return (
            [[_Item(letter, int(token), int(token), len(token))]] if letter and int(token) else []
        )
    if token[0].isdecimal():
        year = _year_of_day(token)
        return [[_Item("Y", year, year, 4)]] if year else []
    roman = _ROMAN_WORD.fullmatch(token)
    if roman is None or not roman[1]:
        return []
    value = roman_number(roman[1])
    return [[_Item("R", value, value), *([_Item("o")] if roman[2] else [])]]


def roman_number(letters: str) -> int:
    """The number that small Roman numerals mean; whether they are well written is not asked."""
    values = [_ROMAN[letter] for letter in letters]
    return sum(-a if a < b else a for a, b in zip(values, [*values[1:], 0], strict=True))


def _year_of_day(token: str) -> int | None:
    """The year of a whole day, whichever of day and month stands first; None for a day of no calendar."""
    one, two, three = (int(part) for part in re.split("[-./]", token[:10].split("t")[0]))
    orders = (
        [(one, two, three)] if token[:4].isdecimal() else [(three, two, one), (three, one, two)]
    )
    for year, month, day in orders:
        with suppress(ValueError):
            return datetime.date(year, month, day).year
    return None


def _made_of(events: Sequence[tuple[str, Years | None]]) -> Years | None:
    """The one year of making of several statements; of a design alone, from that year on."""
    told = [(event, years) for event, years in events if event != "z"]
    if any(years is None for _, years in told):
        return None
    made = [years for event, years in told if event == ""]
    found = made or [
        Years(years.first, None, years.approximate) for _, years in told if years and years.first
    ]
    return found[0] if len(found) == 1 else None


def _lies_in(within: Years, whole: Years) -> bool:
    """Whether all years of one lie in the other."""
    early = whole.first is None or (within.first is not None and within.first >= whole.first)
    late = whole.last is None or (within.last is not None and within.last <= whole.last)
    return early and late


# --- the grammar


def _statement(items: Items, text: str) -> Years | None:
    """An interval, a side of one, or a single date; None where these are no words of a date."""
    bare, about = _without_about(items)
    letters = _letters(bare)
    found: Years | None = None
    if letters[-1:] in ("e", "l"):
        found = _one_sided(bare[:-1], text, up_to=letters[-1] == "e")
    elif letters[:1] == "b":
        found = _span(bare[1:], "xt", text)
    elif letters[:1] in ("u", "f"):
        found = _span(bare[1:], "t", text) if letters[0] == "f" else None
        found = found or _one_sided(bare[1:], text, up_to=letters[0] == "u")
    else:
        found = _span(bare, "t", text) or _point(bare, text)
    return found and found._replace(approximate=found.approximate or about)


def _one_sided(items: Items, text: str, *, up_to: bool) -> Years | None:
    point = _point(items, text)
    if point is None:
        return None
    return point._replace(first=None) if up_to else point._replace(last=None)


def _span(items: Items, joints: str, text: str) -> Years | None:
    """Two dates with a joint between them; what the first leaves out (19th - 20th century) the second says."""
    for at, item in enumerate(items):
        if item.letter not in joints or not 0 < at < len(items) - 1:
            continue
        start, end = items[:at], items[at + 1 :]
        if _LACKS_CENTURY.fullmatch(_letters(start)):
            start = [*start, *(one for one in end if one.letter == "c")]
        elif _letters(start) == _letters(end)[:1] and start[0].letter in "PQ":
            start = [*start, *end[1:]]  # early to mid 20th century
        low = _point(start, text)
        if low is None:
            continue
        high = _end_of_span(end, low, text)
        if high is not None:
            return hull(low, high, text)
    return None


def _end_of_span(items: Items, low: Years, text: str) -> Years | None:
    """The second date of a span, of which two digits are of the century of the first: 1958-69, 1940s-60s."""
    bare, about = _without_about(items)
    hundred = low.first and low.first // 100 * 100
    if hundred and _letters(bare) == "N" and bare[0].digits == 2:
        year = hundred + bare[0].first
        if year == low.first:
            raise refusal(text, "it starts and ends in the same year")
        return Years(year, year, about)
    return _point(items, text, hundred)


def _point(items: Items, text: str, hundred: int | None = None) -> Years | None:
    """A year, decade, century or period; ``hundred``: the century that a decade of two digits is of."""
    bare, about = _without_about(items)
    letters = _letters(bare)
    if match := _DAY.fullmatch(letters):
        year = bare[match.start("year")].first
        return Years(year, year, about)
    if match := _DECADE.fullmatch(letters):
        first = _decade(match, bare, text, hundred)
        return None if first is None else _part(match, bare, first, 10, about)
    if match := _CENTURY.fullmatch(letters):
        first = _century(match, bare)
        return None if first is None else _part(match, bare, first, 100, about)
    if match := _PERIOD.fullmatch(letters):
        item = bare[match.start("period")]
        return Years(item.first, item.last, about)
    return None


def _decade(match: re.Match[str], items: Items, text: str, hundred: int | None) -> int | None:
    """First year of a decade."""
    word = items[match.start("before" if match["before"] else "behind")]
    number = items[match.start("of" if match["before"] else "number")]
    if number.first % 10 or (number.letter == "N" and number.digits != 2):
        return None
    if number.letter == "N":
        if number.first < 20 and hundred is None:
            raise refusal(text, "it can be of two centuries (write 1910s or 2010s)")
        return (hundred or word.first) + number.first
    if word.letter == "C" and number.first % 100 == 0:
        century = f"{number.first // 100:02d}"
        raise refusal(text, f"it can be a decade or a century (write {century}0X or {century}XX)")
    return number.first


def _century(match: re.Match[str], items: Items) -> int | None:
    """First year of a century ("20th century" begins in 1900)."""
    group = next(name for name in ("before", "number", "roman") if match[name])
    number = items[match.start(group)].first
    mark = items[match.start("mark")] if match["mark"] else None
    if number < 1 or (
        mark is not None and mark.last and not mark.first <= _ending(number) <= mark.last
    ):
        return None
    return (number - 1) * 100


def _ending(number: int) -> int:
    """By what an English number is written: 1st, 2nd, 3rd, 4th to 20th."""
    return 10 if 10 <= number % 100 <= 20 else number % 10 or 10


def _part(match: re.Match[str], items: Items, first: int, years: int, about: bool) -> Years | None:
    """A decade or a century, or a part of it."""
    low, high = 0, years - 1
    sides = [side for side in "12" if match[f"part{side}"] or match[f"parts{side}"]]
    if len(sides) > 1:
        return None
    for side in sides:
        if match[f"part{side}"]:
            item = items[match.start(f"part{side}")]
            low, high = item.first, item.last
            continue
        parts = items[match.start(f"parts{side}")].first
        ordinal = items[match.start(f"nth{side}")]
        nth = parts if ordinal.letter == "L" else ordinal.first
        if not 1 <= nth <= parts:
            return None
        low, high = (nth - 1) * years // parts, nth * years // parts - 1
    return Years(first + low, first + high, about)


def _letters(items: Items) -> str:
    return "".join(item.letter for item in items)


def _without_about(items: Items) -> tuple[Items, bool]:
    """Without words such as "ca." before and behind; and whether there were any."""
    letters = _letters(items)
    start, stop = len(letters) - len(letters.lstrip("a")), len(letters.rstrip("a"))
    return items[start:stop], start > 0 or stop < len(letters)
