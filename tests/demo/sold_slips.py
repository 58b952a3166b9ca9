"""What goes wrong in the invented dealer's book, for `tests.demo.make_sold`.

`FAULTS` keep a row out of what can teach; `SLIPS` cost it a price, a date of sale or the right size.
A row has one of either at most, and only rows without are written twice.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Sequence

from tests.demo.sold_hand import Hand, Piece
from tests.demo.sold_words import (
    PRICE_WORDS,
    TYPING,
    UNREADABLE,
    UNREADABLE_WAYS,
    UNREADABLE_YEARS,
)

COPIES = 2  # rows written a second time, a few rows below
# of each kind of `read_sold`, how many rows
FAULTS = {
    "no year": 9, "a shrug": 3, "no way": 2, "a year to come": 3, "a sale to come": 3,
    "sold before made": 5,
}  # fmt: skip
SLIPS = {
    "price in words": 6, "full stop in a price": 6, "sale without its century": 5,
    "dates exchanged": 3, "inches forgotten": 2,
}  # fmt: skip
EXCHANGED = (("fibre", "weave"), ("hem", "hem_thread"), ("motif", "palette"))
_LONG = 40.0  # cm
_TYPED = 0.1  # share of words typed oddly


def take(left: list[Piece], count: int, fits: Callable[[Piece], bool]) -> list[Piece]:
    """The first ``count`` pieces that fit, taken out of ``left``."""
    found = [piece for piece in left if fits(piece)][:count]
    if len(found) < count:
        raise ValueError(f"only {len(found)} of {count} pieces fit; ask for fewer")
    left[:] = [piece for piece in left if piece not in found]
    return found


def spoil(pieces: Sequence[Piece], hand: Hand) -> None:
    """All faults and slips, and odd typing."""
    left = [pieces[at] for at in hand.rng.permutation(len(pieces))]
    left = [piece for piece in left if not piece.left_out and not piece.misremembered]
    _unreadable(left)
    _faults(left)
    _slips(left)
    for piece in pieces:
        _mistype(piece, hand)


def _change(piece: Piece, name: str, text: str, how: str, left_out: str = "") -> None:
    piece.cells[name] = text
    piece.mess(name, how)
    piece.left_out, piece.spoilt = left_out, True
    if name == "known" and left_out:
        piece.first = piece.last = None


def _unreadable(left: list[Piece]) -> None:
    for name, word in UNREADABLE.items():
        [piece] = take(left, 1, _noted(name))
        _change(piece, name, word, "no word that can be read")
    for text in UNREADABLE_YEARS:
        [piece] = take(left, 1, _by("family-history"))
        _change(piece, "known", text, "no year that can be read", "unreadable")
    for text in UNREADABLE_WAYS:
        [piece] = take(left, 1, _by("family-history"))
        _change(piece, "known_by", text, "no way that is known", "unreadable")
    for one, other in EXCHANGED:
        [piece] = take(left, 1, _noted(one, other))
        cells = piece.cells[one], piece.cells[other]
        _change(piece, one, cells[1], f"exchanged with {other}")
        _change(piece, other, cells[0], f"exchanged with {one}")


def _faults(left: list[Piece]) -> None:
    for piece in take(left, FAULTS["no year"], lambda p: p.known_by != "label-law"):
        _change(piece, "known", "", "forgotten", "no-date")
    for piece in take(left, FAULTS["a shrug"], _by("family-history")):
        _change(piece, "known", "no idea", "a shrug", "no-date")
    for piece in take(left, FAULTS["no way"], _by("receipt")):
        _change(piece, "known_by", "", "forgotten", "no-date")
    for piece in take(left, FAULTS["a year to come"], lambda p: _exact(p) and p.year >= 1950):
        _change(piece, "known", str(piece.year + 100), "in the wrong century", "future")
    # 2025 typed as 2052
    for piece in take(left, FAULTS["a sale to come"], _late):
        tens, ones = divmod(piece.sold_on.year % 100, 10)
        day = f"{piece.sold_on.day:02d}.{piece.sold_on.month:02d}.20{ones}{tens}"
        _change(piece, "sold_on", day, "digits exchanged", "future")
    # 2025 typed as 1925
    for piece in take(left, FAULTS["sold before made"], lambda p: _exact(p) and p.year >= 1930):
        day = f"{piece.sold_on.day:02d}.{piece.sold_on.month:02d}.{piece.sold_on.year - 100}"
        _change(piece, "sold_on", day, "in the wrong century", "contradictory")


def _late(piece: Piece) -> bool:
    """Sold in one of the last years, on a day that a year with exchanged digits has, too."""
    return piece.sold_on.year >= 2024 and (piece.sold_on.month, piece.sold_on.day) != (2, 29)


def _slips(left: list[Piece]) -> None:
    for piece, words in zip(take(left, SLIPS["price in words"], _any), PRICE_WORDS, strict=True):
        _change(piece, "sold_price", words, "in words: no price is read")
    for piece in take(left, SLIPS["full stop in a price"], _any):
        _change(piece, "sold_price", f"{piece.price:.2f}", "full stop: no price is read")
    old = [piece for piece in left if piece.last is not None and piece.last < 2010]
    for piece in take(old, SLIPS["sale without its century"], _any):
        day = f"{piece.sold_on.day}.{piece.sold_on.month}.{piece.sold_on.year % 100}"
        _change(piece, "sold_on", day, "no century")
        left.remove(piece)
    for piece in take(old, SLIPS["dates exchanged"], _any):
        cells = piece.cells["sold_on"], piece.cells["listed_on"]
        _change(
            piece, "sold_on", cells[1], "exchanged with listed_on: the day it was put out is read"
        )
        _change(piece, "listed_on", cells[0], "exchanged with sold_on")
        left.remove(piece)
    for piece in take(left, SLIPS["inches forgotten"], _long_in_inches):
        bare = piece.cells["size"].replace('"', "")
        _change(piece, "size", bare, "unit forgotten: read as centimetres")


def _mistype(piece: Piece, hand: Hand) -> None:
    for name, text in list(piece.cells.items()):
        words = name in piece.noted or name == "known_by" or (name == "known" and "X" not in text)
        if words and any(letter.isalpha() for letter in text) and hand.chance(_TYPED):
            how = hand.one(list(TYPING))
            piece.cells[name] = TYPING[how](text)
            piece.mess(name, how)


def with_copies(pieces: list[Piece], hand: Hand) -> list[Piece]:
    """The book with some rows written twice, and its numbers; one number stands there twice."""
    sound = [at for at, piece in enumerate(pieces) if _sound(piece)]
    for at in sorted(hand.rng.choice(sound, COPIES, replace=False).tolist(), reverse=True):
        again = copy.deepcopy(pieces[at])
        again.left_out = "duplicate"
        again.mess("id", f"a copy of the row {(below := int(hand.rng.integers(1, 4)))} above")
        pieces.insert(at + below, again)
    for number, piece in enumerate(pieces, 1):
        piece.cells["id"] = f"T{number:03d}"
    # a row that was copied must stay the one that counts
    alike = [piece.true for piece in pieces if "id" in piece.messed]
    good = [_sound(piece) and piece.true not in alike for piece in pieces]
    pairs = [at for at in range(1, len(pieces)) if good[at - 1] and good[at]]
    at = int(hand.rng.choice(pairs))
    _change(
        pieces[at], "id", pieces[at - 1].cells["id"], "the number of the row above", "duplicate"
    )
    return pieces


def _sound(piece: Piece) -> bool:
    return not (piece.left_out or piece.spoilt or piece.misremembered)


def _any(piece: Piece) -> bool:
    return True


def _exact(piece: Piece) -> bool:
    return piece.known_by == "receipt"


def _by(way: str) -> Callable[[Piece], bool]:
    return lambda piece: piece.known_by == way


def _long_in_inches(piece: Piece) -> bool:
    """Long enough for its inches to pass as centimetres."""
    long = '"' in piece.cells.get("size", "") and piece.number("height_cm") > _LONG
    return long and piece.number("width_cm") > _LONG


def _noted(*names: str) -> Callable[[Piece], bool]:
    return lambda piece: piece.noted.keys() >= {*names}
