"""A bet on when a piece was made: ten chips on decades, or an interval of years; read as people type it.

Both become shares of the decades that sum to one, none of them zero, so that no log score is infinite:

- *Chips.* Ten are hers to lay. Half a chip more, which is nobody's, is spread evenly over all decades, so
  that a decade with c chips of D decades has the share (c + 1 / (2 D)) / 10.5.
- *An interval.* It is taken to hold the level of all intervals here (80 %), evenly over its years; the rest
  is spread evenly over the years outside. An interval of all years holds everything.

So the same opinion holds more as chips than as an interval: all ten on the 1960s and 1970s leave less for the
others than "1960-1979" does. Each is scored as it was laid. But whoever changes from one to the other has not
changed her mind; `alike` brings both to the level of an interval before one bet is held against the next.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from numbers import Integral

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, LEVEL, Array
from scarfdate.errors import RangeError, ScarfdateError, WordError, shown
from scarfdate.tables.priors import load_priors
from scarfdate.words import edtf

CHIPS = 10  # each stands for a tenth, which is as fine as people say such chances
_NOBODYS = (
    0.5  # chips spread over all decades: all ten laid wrong then cost 5.7 nats, and not infinity
)
_DECADE = 10
_LONGEST = 200  # characters of a bet that are read
EXAMPLES = '"1960s 6, 1970s 4" (ten chips) or "1955-1972" (the years between which it was made)'
_IN_PYTHON = f"{EXAMPLES}, {{1960: 6, 1970: 4}} or (1955, 1972)"

_TOKEN = re.compile(
    r"(?P<decade>[0-9]{4}'?s?|[0-9]0'?s)(?![0-9])|(?P<count>[0-9]{1,3})(?![0-9])"
    r"|[\s,;:=×*]|(?<![0-9])x|(?<=s)-|(?:and|on|in|the|all|chips?)\b"
)
_DECADES = re.compile(r"(?:the )?([0-9]{3}0)'?s(?: ?(?:-|to) ?(?:the )?([0-9]{3}0)'?s)?")
_PLAIN = str.maketrans({"’": "'"} | dict.fromkeys("‐‑‒–—―−", "-"))


@dataclass(frozen=True)
class Bet:
    """Shares of the decades, in order and without a gap; they sum to one and none of them is zero.

    ``decades``: first years (1880, 1890 ...), the first of which stands for everything before it too.
    ``chips``: as she laid them, (decades,) and ten in all, where she laid chips. ``interval``: her first
    and last year, where she gave an interval. ``last``: the last year that a piece can have.
    """

    decades: tuple[int, ...]
    shares: tuple[float, ...]
    last: int
    chips: tuple[int, ...] | None = None
    interval: tuple[int, int] | None = None

    @staticmethod
    def of_chips(chips: Mapping[int, int], last: int) -> Bet:
        """Ten chips on decades, by first year. RangeError where they are not ten or lie on no decade."""
        decades = _decades_to(last)
        for decade, count in chips.items():
            if decade not in decades:
                raise RangeError(_no_decade(decade, decades, last))
            if not 0 <= count <= CHIPS:
                raise RangeError(
                    f"bet: {count} chips on the {decade}s; from 0 to {CHIPS} are allowed"
                )
        if sum(chips.values()) != CHIPS:
            raise RangeError(_not_ten(sum(chips.values())))
        laid = tuple(int(chips.get(decade, 0)) for decade in decades)
        shares = (np.array(laid) + _NOBODYS / len(decades)) / (CHIPS + _NOBODYS)
        return Bet(decades, tuple(shares.tolist()), last, chips=laid)

    @staticmethod
    def of_interval(first: int, last: int, as_of: int) -> Bet:
        """An interval, cut at the ends of the years that are known here. RangeError where it has none of them."""
        if first > as_of:
            raise RangeError(
                f"bet: {first} lies after {as_of}, the last year that a piece can have"
            )
        if first > last:
            raise RangeError(
                f"bet: the first year, {first}, lies after the last, {last}; exchange them"
            )
        low, high = max(first, FIRST_YEAR), max(min(last, as_of), FIRST_YEAR)
        by_year = _over_years_of_interval(low, high, as_of)
        decades = _decades_to(as_of)
        place = (np.arange(FIRST_YEAR, as_of + 1) - FIRST_YEAR) // _DECADE
        shares = np.bincount(place, by_year, len(decades))
        return Bet(decades, tuple(shares.tolist()), as_of, interval=(low, high))

    @staticmethod
    def of_shares(shares: Sequence[float], last: int) -> Bet:
        """Shares of all decades from the 1880s to that of ``last``. RangeError where they are no such shares."""
        decades, given = _decades_to(last), np.asarray(shares, dtype=float)
        if given.shape != (len(decades),) or not (given > 0).all() or abs(given.sum() - 1) > 1e-6:
            raise RangeError(
                f"bet: {len(decades)} shares above 0 that sum to one are needed, from the {decades[0]}s to "
                f"the {decades[-1]}s, got {shown(shares)}"
            )
        return Bet(decades, tuple(given.tolist()), last)

    def over_years(self) -> Array:
        """Chances of the years 1880 to ``last``, summing to one: chips lie evenly on the years of a decade."""
        if self.interval is not None:
            return _over_years_of_interval(*self.interval, self.last)
        place = decade_places(self.last)
        return np.asarray((np.array(self.shares) / np.bincount(place))[place])

    def as_interval(self) -> Array:
        """The shares of the decades, (decades,), chips being taken to hold as much together as an interval."""
        laid = np.array(self.chips or (), dtype=float)
        if not (laid == 0).any():  # no chips, or on every decade
            return np.array(self.shares)
        rest = np.where(laid > 0, 0, np.bincount(decade_places(self.last)))
        return np.asarray(LEVEL * laid / laid.sum() + (1 - LEVEL) * rest / rest.sum())

    def __str__(self) -> str:
        if self.interval is not None:
            first, last = self.interval
            return f"{first}-{last}" if first < last else f"{first}"
        if self.chips is None:
            pairs = zip(self.decades, self.shares, strict=True)
            return ", ".join(f"{decade}s {100 * share:.0f} %" for decade, share in pairs if share)
        laid = zip(self.decades, self.chips, strict=True)
        return ", ".join(f"{decade}s {count}" for decade, count in laid if count)


def read_bet(bet: object, last: int) -> Bet:
    """A bet from what a person types, a mapping of decades to chips, or a first and a last year.

    ``last``: the last year that a piece can have. Raises WordError where a text is not understood and
    RangeError where it cannot be a bet, each with what is allowed.
    """
    if isinstance(bet, Bet):
        if bet.last != last:
            raise RangeError(f"bet: it is for pieces up to {bet.last}; these go up to {last}")
        return bet
    if isinstance(bet, Mapping):
        return Bet.of_chips(_added(_from_mapping(bet)), last)
    if isinstance(bet, (tuple, list)) and len(bet) == 2 and all(map(_is_whole, bet)):
        return Bet.of_interval(int(bet[0]), int(bet[1]), last)
    if isinstance(bet, str):
        return _from_text(bet, last)
    raise WordError(f"bet: {shown(bet)} is not understood; allowed: {_IN_PYTHON}")


def alike(bets: Sequence[Bet]) -> list[Array]:
    """The shares of the decades, (decades,) each, of bets on one piece that are held against each other.

    Where some are chips and some are intervals, the decades with chips hold together what an interval does, in the proportion of their chips, and the other years the rest, evenly.
    """
    kinds = {(bet.chips is None, bet.interval is None) for bet in bets}
    return [bet.as_interval() if len(kinds) > 1 else np.array(bet.shares) for bet in bets]


def decade_places(last: int) -> NDArray[np.intp]:
    """The place of its decade for each year from 1880 to ``last``, from 0."""
    return np.asarray((np.arange(FIRST_YEAR, last + 1) - FIRST_YEAR) // _DECADE, dtype=np.intp)


def _decades_to(last: int) -> tuple[int, ...]:
    return tuple(range(FIRST_YEAR, last + 1, _DECADE))


def _over_years_of_interval(low: int, high: int, last: int) -> Array:
    years = np.arange(FIRST_YEAR, last + 1)
    inside = (low <= years) & (years <= high)
    if inside.all():
        return np.full(len(years), 1 / len(years))
    spread = np.where(inside, LEVEL / inside.sum(), (1 - LEVEL) / (~inside).sum())
    return np.asarray(spread)


def _from_text(text: str, last: int) -> Bet:
    plain = " ".join(text[: _LONGEST + 1].casefold().translate(_PLAIN).split())
    if not plain or len(plain) > _LONGEST:
        what = "nothing was typed" if not plain else f"{shown(text)} is too long to be read"
        raise WordError(f"bet: {what}; allowed: {EXAMPLES}")
    pairs = _chips_in(plain)
    if pairs is not None:
        return Bet.of_chips(_added(pairs), last)
    if decades := _DECADES.fullmatch(plain):
        return Bet.of_interval(int(decades[1]), int(decades[2] or decades[1]) + _DECADE - 1, last)
    tables = load_priors()
    try:
        years = edtf.read_years(text.strip(), tables.date_words)
    except ScarfdateError:
        raise WordError(f"bet: {shown(text)} is not understood; allowed: {EXAMPLES}") from None
    start, end = years.first, years.last
    off = int(tables.allowances["known_about"]) if years.approximate else 0  # "about 1965"
    return Bet.of_interval(
        min(FIRST_YEAR, end or FIRST_YEAR) if start is None else start - off,
        max(last, start or last) if end is None else end + off,
        last,
    )


def _chips_in(plain: str) -> list[tuple[int, int]] | None:
    """Decades with their chips, in either order; None where the text is no list of such pairs."""
    numbers: list[tuple[str, str]] = []
    at = 0
    while at < len(plain):
        match = _TOKEN.match(plain, at)
        if match is None:
            return None
        if match.lastgroup is not None:
            numbers.append((match.lastgroup, match[0]))
        at = match.end()
    kinds = [kind for kind, _ in numbers]
    if "count" not in kinds:
        return None
    pairs = list(zip(numbers[::2], numbers[1::2], strict=False))
    if len(numbers) % 2 or any(a[0] == b[0] for a, b in pairs):
        raise WordError(
            f"bet: each decade needs its number of chips beside it; allowed: {EXAMPLES}"
        )
    ordered = [(a[1], b[1]) if a[0] == "decade" else (b[1], a[1]) for a, b in pairs]
    return [(_decade(decade), int(count)) for decade, count in ordered]


def _from_mapping(bet: Mapping[object, object]) -> Iterator[tuple[int, int]]:
    for key, count in bet.items():
        if not _is_whole(count):
            raise RangeError(f"bet: chips are whole numbers, got {shown(count)}")
        if _is_whole(key):
            yield _decade(str(key)), int(count)  # type: ignore[call-overload]
        elif isinstance(key, str) and re.fullmatch(r"[0-9]{4}'?s?|[0-9]0'?s", key.strip()):
            yield _decade(key.strip()), int(count)  # type: ignore[call-overload]
        else:
            raise WordError(f"bet: {shown(key)} is no decade; write 1960 or 1960s")


def _decade(word: str) -> int:
    """The first year of a decade as written; a two-digit one is of the 1900s where that is clear."""
    digits = word.rstrip("s").rstrip("'")
    if len(digits) == 2:
        if int(digits) < 30:
            raise WordError(f"bet: {word} can be 19{digits}s or 20{digits}s; write all four digits")
        digits = f"19{digits}"
    return int(digits)


def _added(pairs: Iterator[tuple[int, int]] | list[tuple[int, int]]) -> dict[int, int]:
    """Chips by decade, those that a person laid on one in two places added up."""
    chips: dict[int, int] = {}
    for decade, count in pairs:
        chips[decade] = chips.get(decade, 0) + count
    return chips


def _not_ten(count: int) -> str:
    lacking = CHIPS - count
    step = f"lay {lacking} more" if lacking > 0 else f"take {-lacking} back"
    laid = "1 chip is laid" if count == 1 else f"{count} chips are laid"
    return f"bet: {laid}, and {CHIPS} are to be laid: {step}"


def _no_decade(decade: int, decades: tuple[int, ...], last: int) -> str:
    if decade % _DECADE:
        start = decade - decade % _DECADE
        return f"bet: {decade} is a year; chips lie on decades, such as {start}s"
    if decade > last:
        return f"bet: the {decade}s lie after {last}, the last year that a piece can have"
    return (
        f"bet: chips lie on the decades from {decades[0]}s to {decades[-1]}s, got {decade}; "
        f"what is older goes with the {decades[0]}s"
    )


def _is_whole(value: object) -> bool:
    return isinstance(value, Integral) and not isinstance(value, bool)
