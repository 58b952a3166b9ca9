"""Where the pieces of practice come from: drawn from the tables, the demo stock, the demo labels, or her own.

Pieces that are *drawn* have every clue noted; a clue is as often misread as the tables say. Those of the
*stock* are of no known year, so a bet on one is scored by what is expected under the exact posterior. Of
her *own* pieces the years are those of her records.
"""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.clues.readable import readable, rows_of_cells
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import ScarfdateError, TableError
from scarfdate.files import hash_of
from scarfdate.model.drawing import simulate
from scarfdate.model.model import compiled
from scarfdate.practising.piece import LABEL_TEXT, Piece, cells_of, families_of
from scarfdate.practising.together import findable, form_fits
from scarfdate.tables.practice import Pair
from scarfdate.tables.priors import Priors
from scarfdate.tables.schema import shipped_folder
from scarfdate.why.asked import Asked

if TYPE_CHECKING:
    import pandas as pd

DRAWN, STOCK, LABELS, OWN = "drawn", "stock", "labels", "own"
_AT_ONCE, _TRIES = 500, 20  # pieces drawn at a time, and times, until one has the word of a pair
_RETURNS = 16  # pieces kept for the returns of one: after so many others the first may come again
_HELD = 0.99  # of the chances of a label: a year among the rest of them is no year to learn it by


@dataclass(frozen=True)
class Wanted:
    """Which piece is wanted: one with the word of a pair, or any where that is None.

    Of a list it is the ``place``-th of those with the word, in the order that the seed ``series`` gives them, or
    without a pair the ``again``-th like that; a drawn one is drawn by the seed ``own``.
    """

    pair: Pair | None
    word: str
    series: tuple[int, ...]
    place: int
    own: tuple[int, ...]
    again: int = 0


class Deck(ABC):
    """``name``: one of four; ``identity``: what a progress file knows it by; ``says``: in words; ``note``: what
    else is to be said of it, or ""."""

    name: str
    identity: str
    says: str
    note: str = ""

    @abstractmethod
    def has(self, pair: Pair) -> bool:
        """Whether there may be pieces with either word."""

    @abstractmethod
    def piece(self, wanted: Wanted) -> Piece:
        """The piece, the same whenever it is asked for."""


class DrawnDeck(Deck):
    """Pieces drawn from the tables, with their true years."""

    name = identity = DRAWN

    def __init__(self, priors: Priors, channel: str, as_of: int) -> None:
        self.priors, self.channel, self.as_of = priors, channel, as_of
        self.says = f"drawn from the tables (channel {channel})"

    def has(self, pair: Pair) -> bool:
        """Any word can be drawn; one that turns out to be too rare is passed over when it is wanted."""
        return True

    def piece(self, wanted: Wanted) -> Piece:
        """The first drawn piece that has the word."""
        rng = np.random.default_rng(wanted.own)
        for _ in range(_TRIES):
            made = simulate(
                self.priors, _AT_ONCE, rng, channel=self.channel, as_of=self.as_of, looked_at=1.0
            )
            fits = range(len(made))
            if wanted.pair is not None:
                column = made.seen.get(wanted.pair.family, [])
                fits = [row for row, cell in enumerate(column) if cell == wanted.word]  # type: ignore[assignment]
            for row in fits:
                year = int(made.truth["year"][row])  # type: ignore[call-overload]
                seen = {name: _as_noted(cells[row]) for name, cells in made.seen.items()}
                cells = {name: cell for name, cell in seen.items() if cell is not None}
                cells = findable(cells, self.priors)
                about = wanted.pair is None or wanted.pair.family in cells
                if about and form_fits(cells, self.priors, self.channel, self.as_of):
                    return Piece(seen=cells, known=(year, year))
        return self.piece(replace(wanted, pair=None))


def _as_noted(cell: object) -> object:
    """A measurement as a person would write it down; None where there is nothing."""
    if isinstance(cell, float):
        return None if cell != cell else round(cell, 1)
    return cell


class ListedDeck(Deck):
    """Pieces of a list, each with what is known of its years.

    Without a pair, what comes back is another piece, and the most like the one that was lost. New pieces are
    dealt from the front of an order by chance, returns from its back half, each to one new piece alone.
    """

    def __init__(
        self, name: str, identity: str, says: str, pieces: Sequence[Piece], note: str = ""
    ) -> None:
        self.name, self.identity, self.says, self.pieces = name, identity, says, tuple(pieces)
        self.note = note

    def has(self, pair: Pair) -> bool:
        """Whether a piece has the one word, and a piece the other."""
        return bool(self._with(pair.family, pair.one) and self._with(pair.family, pair.other))

    def piece(self, wanted: Wanted) -> Piece:
        """The next of those that have the word, in an order by chance; the first again after the last."""
        some: Sequence[int] = range(len(self.pieces))
        if wanted.pair is not None:
            some = self._with(wanted.pair.family, wanted.word)
        order: list[int] = np.random.default_rng(wanted.series).permutation(len(some)).tolist()
        if wanted.pair is None and wanted.again and len(some) > 1:
            return self.pieces[self._like(order, wanted.place, wanted.again)]
        return self.pieces[some[order[wanted.place % len(some)]]]

    def _like(self, order: list[int], place: int, again: int) -> int:
        """The ``again``-th return of the piece that is ``place``-th as a new one."""
        left: list[int] = []
        own: list[int] = []
        for at in range(place + 1):
            new = order[at % len(order)]
            left = left if len(left) >= _RETURNS else order[len(order) // 2 :]
            own = sorted((one for one in left if one != new), key=partial(self._unlike, new))
            own = own[:_RETURNS]
            left = [one for one in left if one not in own]
        return own[(again - 1) % len(own)]

    def _unlike(self, one: int, other: int) -> float:
        """From 0, all that is noted of two pieces being the same, to 1, nothing."""
        a, b = self.pieces[one].traits, self.pieces[other].traits
        return 1 - len(a & b) / max(len(a | b), 1)

    def _with(self, family: str, word: str) -> list[int]:
        return [place for place, one in enumerate(self.pieces) if one.seen.get(family) == word]


def deck_of(
    pieces: object, families: Sequence[str], priors: Priors, channel: str, as_of: int
) -> Deck:
    """The deck that is meant: "drawn", "stock", "labels", or a dealer's own dated pieces.

    ``families``: those of which a piece has to have one, all where empty; a label is always shown. Raises
    ScarfdateError where it cannot be read or has no such piece.
    """
    if isinstance(pieces, str) and pieces == DRAWN:
        return DrawnDeck(priors, channel, as_of)
    if isinstance(pieces, str) and pieces == LABELS:
        labels, left_out = _labels(priors, channel, as_of)
        return ListedDeck(
            LABELS,
            LABELS,
            "of which only the label is there (invented; its year is by lot: each is as likely, other than at a "
            "stall, and the library reckons with that, too)",
            labels,
            _without(left_out),
        )
    if isinstance(pieces, str) and pieces == STOCK:
        found = [Piece(seen=seen, known=None) for seen in _scarves(_demo("stock.csv"), priors)]
        name, identity, says = STOCK, STOCK, "of the invented stock, whose year nobody knows"
    else:
        found = _own(pieces, priors, as_of)
        text = json.dumps([[dict(one.seen), one.known] for one in found], default=str)
        name, identity = OWN, f"{OWN} {hash_of([('pieces', text.encode())])[:16]}"
        says = "of your own"
    fit = [
        one
        for one in found
        if _has_one(one, families, priors) and _can_be_dated(one, priors, channel, as_of)
    ]
    if not fit:
        wanted = f"a clue of {', '.join(families)}" if families else "a clue"
        raise TableError(
            f"pieces: none of them has {wanted} and a year; practice needs at least one"
        )
    return ListedDeck(name, identity, says, fit)


def _has_one(piece: Piece, families: Sequence[str], priors: Priors) -> bool:
    noted = families_of(Scarf.from_dict(piece.seen, priors=priors), priors)
    return bool(noted) and (not families or not set(noted).isdisjoint(families))


def _can_be_dated(piece: Piece, priors: Priors, channel: str, as_of: int) -> bool:
    """Not where a year stands on it that lies after ``as_of``."""
    try:
        Asked.of(piece.seen, priors, channel, as_of)
    except ScarfdateError:
        return False
    return True


def _demo(name: str) -> pd.DataFrame:
    from scarfdate.reading.files import read_table

    return read_table(shipped_folder().parent / "data" / name)


def _labels(priors: Priors, channel: str, as_of: int) -> tuple[list[Piece], int]:
    """The demo labels that teach, and how many are left out, their year being one that the label all but rules out.

    They were composed by lot from marks that are possible in a year, however rare; what is left out lies outside
    the likeliest years that hold 99 % of the chances of the label, all years being as likely before it is read.
    """
    from scarfdate.answer.date import date_table

    frame = _demo("labels.csv")
    made = np.maximum(frame["year"].astype(int).to_numpy(), FIRST_YEAR)
    frame, made = frame[made <= as_of], made[made <= as_of]
    _, chances = date_table(
        frame[["text"]].set_axis([LABEL_TEXT], axis=1),
        priors=priors, channel=channel, as_of=as_of, with_years=True,
    )  # fmt: skip
    by_label = chances / compiled(priors, channel, as_of).year_prior
    by_label /= by_label.sum(axis=1, keepdims=True)
    of_year = by_label[np.arange(len(made)), made - FIRST_YEAR]
    teaches = (by_label * (by_label > of_year[:, None])).sum(axis=1) < _HELD
    rows = zip(frame["text"].tolist(), made.tolist(), frame["marks"].tolist(), strict=True)
    pieces = [
        Piece(seen={LABEL_TEXT: text}, known=(year, year), kind=_marks_of(marks))
        for (text, year, marks), fits in zip(rows, teaches.tolist(), strict=True)
        if fits
    ]
    return pieces, int((~teaches).sum())


def _marks_of(cell: str) -> frozenset[object]:
    """The marks of a label, whatever their number or wording."""
    return frozenset(mark for mark, _ in json.loads(cell))


def _without(left_out: int) -> str:
    labels = "1 label is" if left_out == 1 else f"{left_out} labels are"
    return (
        f"{labels} left out: their wording all but rules out the year that they were composed for."
    )


def _own(source: object, priors: Priors, as_of: int) -> list[Piece]:
    """Her own pieces, as `read_sold` reads them."""
    from scarfdate.records.known import KnownRecords
    from scarfdate.records.sold import read_sold

    records = source if isinstance(source, KnownRecords) else read_sold(source, priors=priors)
    years = zip(records.known_from.tolist(), records.known_to.tolist(), strict=True)
    return [
        Piece(seen=seen, known=(max(first, FIRST_YEAR), max(min(last, as_of), FIRST_YEAR)))
        for seen, (first, last) in zip(_scarves(records.clues, priors), years, strict=True)
        if first <= as_of
    ]


def _scarves(frame: pd.DataFrame, priors: Priors) -> Iterator[Mapping[str, object]]:
    """What can be shown of each row, as keywords of `Scarf`; empty where nothing can."""
    for cells in rows_of_cells(frame, priors):
        try:
            scarf, _ = readable(cells, priors)
        except ScarfdateError:
            scarf = Scarf(priors=priors)
        yield cells_of(scarf, families_of(scarf, priors))
