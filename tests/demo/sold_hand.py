"""One piece as the invented dealer writes it down, for `tests.demo.make_sold`."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from scarfdate.records.sold import ColumnsMap
from scarfdate.words.lengths import CM_PER_INCH
from tests.demo.sold_words import COARSER, REMARKS, SYNONYMS

_PRICE = {"everyday": 15.0, "better": 21.0, "fine": 33.0}  # euros, the middle one
_PLACES = {"stall": (1.0, 70), "shop": (1.0, 70), "fair": (1.2, 70), "by post": (0.9, 35)}
_PRICE_SPREAD = 1.6
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_LAST_SEASON = 41  # ISO 8601-2: 21 to 41 in the place of a month are parts of a year (from memory)
_SIGNS = {"EUR": "€", "GBP": "£"}
_PARTS = {"early": (0, 4), "mid": (3, 7), "late": (5, 9)}  # as `scarfdate.words.edtf` reads them
MARKS = ("motif", "palette", "hem", "weave")  # where she writes a sign for "not looked"


@dataclass(eq=False)
class Piece:
    """One sold piece, under our names: ``true`` and ``noted`` as `simulate` gives them, ``cells`` as she
    writes them, ``messed`` what is not as the library would write it. ``first``, ``last``: the known
    years that she means, None for an open end. ``not_shown``: what she would have noted, had a label shown it.
    """

    true: Mapping[str, object]
    noted: dict[str, object]
    sold_on: datetime.date
    listed_on: datetime.date = datetime.date.max
    known_by: str = "receipt"
    misremembered: bool = False
    first: int | None = None
    last: int | None = None
    price: float = 0.0
    currency: str = "EUR"
    left_out: str = ""
    spoilt: bool = False
    cells: dict[str, str] = field(default_factory=dict)
    messed: dict[str, str] = field(default_factory=dict)
    not_shown: Sequence[str] = ()

    @property
    def year(self) -> int:
        return int(str(self.true["year"]))

    @property
    def missed_by(self) -> int:
        """Years by which the known years miss the true one; 0 where they hold it or none is known."""
        before = 0 if self.first is None else max(self.first - self.year, 0)
        return before + (0 if self.last is None else max(self.year - self.last, 0))

    def number(self, name: str) -> float:
        return float(str(self.noted[name]))

    def mess(self, name: str, how: str) -> None:
        self.messed[name] = f"{self.messed[name]}, {how}" if name in self.messed else how


class Hand:
    """Her hand. ``columns``: the map of her columns; ``rng`` is the only source of chance."""

    def __init__(self, columns: ColumnsMap, rng: np.random.Generator) -> None:
        self.rng = rng
        self.headings = {name: fields[0] for name, fields in columns.columns.items()}
        self.own = {
            name: {ours: hers for hers, ours in words.items() if ours}
            for name, words in columns.words.items()
        }

    def write(self, piece: Piece) -> None:
        self._clues(piece)
        self._known(piece)
        self._way(piece)
        self._sale(piece)

    def one(self, words: Sequence[str], chances: Sequence[float] | None = None) -> str:
        return words[int(self.rng.choice(len(words), p=chances))]

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    # ----------------------------------------------------------------------------- the clues

    def _clues(self, piece: Piece) -> None:
        for name, value in piece.noted.items():
            if isinstance(value, str):
                piece.cells[name] = self._word(piece, name, value)
        for name in MARKS:
            if name not in piece.cells and self.chance(0.1):
                piece.cells[name] = "?"
                piece.mess(name, "a sign for not looked")
        if "stitches_per_inch" in piece.noted:
            piece.cells["stitches_per_inch"] = str(max(round(piece.number("stitches_per_inch")), 1))
        if "momme" in piece.noted:
            piece.cells["momme"] = f"{max(round(2 * piece.number('momme')), 2) / 2:g}"
        if "width_cm" in piece.noted:
            piece.cells["size"] = self._size(piece)

    def _word(self, piece: Piece, name: str, value: str) -> str:
        values, wider, share = COARSER.get(name, ((), "", 0.0))
        if value in values and self.chance(share):
            piece.mess(name, "a wider word")
            return wider
        hers, known = self.own.get(name, {}).get(value), SYNONYMS.get(name, {}).get(value)
        lot = self.rng.random()
        if hers and lot < 0.35:
            piece.mess(name, "her own word")
            return hers
        if known and lot > 0.75:
            piece.mess(name, "a synonym")
            return known
        return value.replace("-", " ").title() if name == "origin" else value

    def _size(self, piece: Piece) -> str:
        sides = [piece.number("width_cm"), piece.number("height_cm")]
        if self.chance(0.5):
            sides.reverse()
        if self.chance(0.45):
            a, b = (_halves(max(round(2 * side / CM_PER_INCH), 2)) for side in sides)
            piece.mess("size", "inches")
            if a == b and self.chance(0.4):
                return f"{a} in square"
            form = self.one(('{} x {}"', "{} x {} in", "{} x {} inches", "{}x{} ins"))
            return form.format(a, b)
        if self.chance(0.3):
            halves = [f"{round(2 * side) / 2:g}" for side in sides]
            if any("." in half for half in halves):
                piece.mess("size", "decimal comma")
            return f"{halves[0]} x {halves[1]} cm".replace(".", ",")
        a, b = (f"{round(side)}" for side in sides)
        if self.chance(0.3):
            piece.mess("size", "no unit")
            return f"{a} x {b}"
        return self.one(("{} x {} cm", "{}x{}cm", "{} × {} cm")).format(a, b)

    # ------------------------------------------------------------------------- known, and how

    def _known(self, piece: Piece) -> None:
        year, end = piece.year, piece.sold_on.year
        if piece.known_by in ("receipt", "printed-date", "dated-event"):
            piece.first = piece.last = year
            form = self.one(("{}", "c. {}", "ca. {}", "{}?"), (0.86, 0.05, 0.05, 0.04))
            text = form.format(year)
            of_print = {"printed-date": "printed_year", "dated-event": "depicted_year"}
            if piece.known_by in of_print:
                piece.cells[of_print[piece.known_by]] = str(year)
        elif piece.known_by in ("maker-archive", "museum-record"):
            width = int(self.rng.integers(1, 6)) if piece.known_by == "maker-archive" else 10
            first = year - int(self.rng.integers(width))
            text = self._span(piece, first, min(first + width - 1, end))
        elif piece.known_by == "label-law":
            first = year - int(self.rng.integers(16))
            if self.chance(0.4):
                piece.first, text = first, f"after {first}"
            else:
                text = self._span(piece, first, min(year + int(self.rng.integers(16)), end))
        elif piece.known_by == "own-judgement":
            text = self._judged(piece, min(year + round(self.rng.normal(0, 6)), end))
        elif piece.misremembered:
            # the ten years before or after, whichever is nearer: off by one to five years
            text = self._decade(piece, year - 10 if year % 10 <= 4 else year + 10)
        else:
            text = self._remembered(piece, year)
        piece.cells["known"] = text
        if text != str(year):
            piece.mess("known", "an interval or a year in words")

    def _judged(self, piece: Piece, guess: int) -> str:
        seen = [name for name in self.headings if name in piece.cells and name in piece.noted]
        if seen and self.chance(0.75):
            named = self.rng.permutation(seen)[: int(self.rng.integers(1, 4))]
            piece.cells["judged_by"] = "; ".join(self.headings[str(name)] for name in named)
        if self.chance(0.6):
            return self._remembered(piece, guess)
        piece.first = piece.last = guess
        return f"c. {guess}"

    def _span(self, piece: Piece, first: int, last: int) -> str:
        piece.first, piece.last = first, last
        if first == last:
            return str(first)
        # 2004-06 is a month of 2004 to everybody else, and 2004-24 a season in EDTF
        clear = first // 100 == last // 100 and last % 100 > _LAST_SEASON
        short = f"{first}-{last % 100:02d}" if clear else f"{first}-{last}"
        forms = ("{}-{}", "{}/{}", "{} to {}", "between {} and {}", short)
        return self.one(forms, (0.4, 0.15, 0.15, 0.1, 0.2)).format(first, last)

    def _decade(self, piece: Piece, year: int) -> str:
        """The ten years around a year, in one of her ways."""
        start = year // 10 * 10
        piece.first, piece.last = start, start + 9
        plain = f"{start}s" if start % 100 else f"{start // 10}X"  # "1900s" alone may be a century
        return self.one((self.own["known"].get(plain, plain), plain), (0.4, 0.6))

    def _remembered(self, piece: Piece, year: int) -> str:
        """An interval around a year, as people remember one."""
        start, digit = year // 10 * 10, year % 10
        if start < 1890:
            piece.last = year
            return f"before {year}"
        lot = self.rng.random()
        if lot < 0.3 and start % 100 and start + 9 <= piece.sold_on.year:
            part = self.one([p for p, (low, high) in _PARTS.items() if low <= digit <= high])
            piece.first, piece.last = start + _PARTS[part][0], start + _PARTS[part][1]
            return f"{part} {start}s"
        if lot < 0.4:
            first = year - int(self.rng.integers(8))
            last = first + 8 + int(self.rng.integers(5))
            return self._span(piece, first, max(min(last, piece.sold_on.year), year))
        if lot < 0.5 and start % 100 and (start + 10) % 100 and start + 10 <= piece.sold_on.year:
            piece.first, piece.last = start, start + 19
            return f"{start}s or {start + 10}s"
        return self._decade(piece, year)

    def _way(self, piece: Piece) -> None:
        way = piece.known_by
        if self.chance(0.7):
            piece.mess("known_by", "her own word")
            way = self.own["known_by"][way]
        piece.cells["known_by"] = way

    # ------------------------------------------------------------------------------ the sale

    def _sale(self, piece: Piece) -> None:
        place = self.one(list(_PLACES), (0.45, 0.25, 0.2, 0.1))
        times, days = _PLACES[place]
        luck = float(np.exp(self.rng.normal(0, np.log(_PRICE_SPREAD))))
        piece.price = max(round(2 * _PRICE[str(piece.true["grade"])] * times * luck) / 2, 1.0)
        on_shelf = datetime.timedelta(days=1 + int(self.rng.exponential(days)))
        piece.listed_on = piece.sold_on - on_shelf
        piece.cells |= {
            "sold_channel": place,
            "listed_on": self._day(piece.listed_on),
            "sold_on": self._day(piece.sold_on),
        }
        if place == "fair" and self.chance(0.25):
            piece.currency = "GBP"
            piece.cells["sold_currency"] = self.one(("GBP", "pounds"))
        elif self.chance(0.06):
            piece.cells["sold_currency"] = self.one(("EUR", "euros"))
        piece.cells["sold_price"] = self._money(piece.price, piece.currency)
        if self.chance(0.6):
            cost = max(round(2 * piece.price * self.rng.uniform(0.15, 0.5)) / 2, 0.5)
            piece.cells["costs"] = f"{cost:.2f}".replace(".", ",")
        piece.cells["drawer"] = f"{self.one('ABCDEF')}{int(self.rng.integers(1, 9))}"
        if self.chance(0.35):
            piece.cells["note"] = self.one(REMARKS)

    def _day(self, day: datetime.date) -> str:
        forms = (
            f"{day.day:02d}.{day.month:02d}.{day.year}", f"{day.day}/{day.month}/{day.year}",
            f"{day.day} {_MONTHS[day.month - 1]} {day.year}", day.isoformat(),
        )  # fmt: skip
        return self.one(forms, (0.6, 0.2, 0.12, 0.08))

    def _money(self, amount: float, currency: str) -> str:
        text, sign = f"{amount:.2f}".replace(".", ","), _SIGNS[currency]
        if currency != "EUR":
            return self.one((text, f"{sign}{text}"))
        forms = [f"{text} {sign}", text, f"{sign} {text}"]
        if amount == round(amount):
            forms += [f"{amount:.0f}", f"{amount:.0f},- {sign}", f"{amount:.0f} {sign}"]
        return self.one(forms)


def _halves(count: int) -> str:
    """A number of half inches as she writes inches."""
    whole, half = divmod(count, 2)
    return f"{whole} 1/2" if half else str(whole)
