"""The invented dealer's book of 400 sold pieces, and the answers to it; made again by

    python -m tests.demo.make_sold

which writes ``data/sold.csv`` and ``tests/demo/sold_answers.csv``, byte for byte the committed ones. Her
own words come from the map of her columns, ``data/sold_columns/thrackwindle.toml``, written by hand.

Everything is invented. Pieces are drawn by `scarfdate.simulate` from the tables that
`notebooks.moved_tables` describes (thrift, as of 2026, each clue looked at with chance 0.6). How a date
came to be known is by lot among the pieces that can be known so: label law needs a label, a dated event
needs a print that may show one. Dates by label law are circular, so pieces with a label noted are a
little rarer in what can teach than in what she sold. The other reasons for which rows are left out have
nothing to do with what the clues say.

Prices: log-normal about 15 euros for everyday, 21 for better and 33 for fine pieces, 20 % more at a fair
and 10 % less by post, with a spread of a factor 1.6. Days to sell: exponential about 70, half of that
by post. Costs: 15 to 50 % of the price. These numbers are the scenario's.

The answers, one row a row of the book: ``row``; ``year``, ``grade``, ``market``, ``mode``, ``style_year``
and ``true_...`` as `simulate` gives them; ``price`` in ``currency``, ``listed_on``, ``sold_on`` as they
were; ``known_by``, ``known_from``, ``known_to`` as she meant them ("": an open end, or no year);
``missed_by``: years by which the known years miss the truth; ``left_out``: the kind of `read_sold`, ""
where the row can teach; ``messed``: JSON of our name of each cell that is not as the library would write
it, and how it is written.
"""

from __future__ import annotations

import copy
import csv
import datetime
import io
import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from notebooks.moved_tables import moved_priors
from scarfdate import load_priors, simulate
from scarfdate.files import write_whole
from scarfdate.records.sold import read_sold_columns
from tests.demo.sold_hand import Hand, Piece
from tests.demo.sold_slips import COPIES, spoil, take, with_copies

ROOT = Path(__file__).parents[2]
BOOK, ANSWERS = ROOT / "data/sold.csv", ROOT / "tests/demo/sold_answers.csv"
COLUMNS = ROOT / "data/sold_columns/thrackwindle.toml"
SEED, AS_OF, LOOKED_AT, ROWS = 1958, 2026, 0.6, 400
FIRST_SALE, LAST_SALE = datetime.date(2019, 3, 1), datetime.date(2026, 9, 30)

# how many pieces are known by what; all others by a receipt
KNOWN = {
    "dated-event": 22, "printed-date": 26, "museum-record": 4, "own-judgement": 40,
    "maker-archive": 48, "family-history": 92,
}  # fmt: skip
BY_LABEL = {"circular": 18, "contradictory": 2, "": 6}  # by label law: how many can teach or not
SHOWS_EVENTS = (
    "commemorative",
    "patriotic",
    "souvenir-map",
    "historic",
    "figures-scene",
    "lettering",
)
MISREMEMBERED = 11  # family histories that miss the truth
_OF_LABEL = ("label", "label_make", "origin")
_TRUE = ("year", "grade", "market", "mode", "style_year")


def book() -> list[Piece]:
    """Her pieces, row by row; the same in every run."""
    rng = np.random.default_rng(SEED)
    hand = Hand(read_sold_columns(COLUMNS), rng)
    pieces = _drawn(rng)
    _by_lot([pieces[at] for at in rng.permutation(len(pieces))])
    for piece in pieces:
        hand.write(piece)
        for name in piece.not_shown:
            piece.noted.pop(name)
            piece.cells.pop(name)
            piece.messed.pop(name, None)
    spoil(pieces, hand)
    return with_copies(pieces, hand)


def _drawn(rng: np.random.Generator) -> list[Piece]:
    """Pieces in the order of their sale."""
    priors = moved_priors(load_priors())
    how = {"as_of": AS_OF, "looked_at": LOOKED_AT}
    shown = simulate(priors, ROWS - COPIES, copy.deepcopy(rng), **how).seen
    # the same pieces as if every label showed everything: her hand does not hang on what is not there
    made = simulate(replace(priors, checks=(), _compiled={}), ROWS - COPIES, rng, **how)
    pieces = []
    for at in range(len(made)):
        true = {name: values[at] for name, values in made.truth.items()}
        seen = {name: values[at] for name, values in made.seen.items()}
        hidden = [n for n, cell in seen.items() if cell is not None and shown[n][at] is None]
        made_by = datetime.date(min(int(str(true["year"])) + 1, AS_OF), 1, 1)
        start = max(FIRST_SALE, made_by)
        sold_on = start + datetime.timedelta(days=int(rng.integers((LAST_SALE - start).days)))
        noted = {name: value for name, value in seen.items() if value is not None}
        pieces.append(Piece(true, noted, sold_on, not_shown=hidden))
    return sorted(pieces, key=lambda piece: piece.sold_on)


def _by_lot(lot: Sequence[Piece]) -> None:
    """How each date is known: the first in the lot that can be known so."""
    left = list(lot)
    labels = {
        "circular": lambda p: p.noted.get("label") in ("intact", "cut-or-fragment"),
        "contradictory": lambda p: p.noted.get("label") == "none-seen",
        "": lambda p: p.noted.keys().isdisjoint(_OF_LABEL),
    }
    for left_out, count in BY_LABEL.items():
        for piece in take(left, count, labels[left_out]):
            piece.known_by, piece.left_out = "label-law", left_out
    for way, count in KNOWN.items():
        for piece in take(left, count, _shows_an_event if way == "dated-event" else lambda p: True):
            piece.known_by = way
            piece.left_out = "circular" if way == "own-judgement" else ""
    remembered = [piece for piece in lot if piece.known_by == "family-history"]
    for piece in take(remembered, MISREMEMBERED, lambda p: 1890 < p.year < 2015):
        piece.misremembered = True


def _shows_an_event(piece: Piece) -> bool:
    return piece.true["true_motif"] in SHOWS_EVENTS and piece.true["mode"] == "period"


def sold_table(pieces: Sequence[Piece]) -> str:
    """The book as CSV."""
    columns = read_sold_columns(COLUMNS)
    headings = {name: fields[0] for name, fields in columns.columns.items()}
    names = list(headings)
    names.insert(1, "drawer")
    headings["drawer"] = columns.ignore[0]
    rows = ([piece.cells.get(name, "") for name in names] for piece in pieces)
    return _csv([headings[name] for name in names], rows)


def answer_table(pieces: Sequence[Piece]) -> str:
    """The answers as CSV."""
    true = [*_TRUE, *(name for name in pieces[0].true if name.startswith("true_"))]
    header = ["row", *true, "price", "currency", "listed_on", "sold_on", "known_by", "known_from",
              "known_to", "missed_by", "left_out", "messed"]  # fmt: skip
    rows = (
        [number, *(piece.true[name] for name in true), f"{piece.price:.2f}", piece.currency,
         piece.listed_on, piece.sold_on, piece.known_by, _or_blank(piece.first), _or_blank(piece.last),
         piece.missed_by, piece.left_out, json.dumps(piece.messed)]
        for number, piece in enumerate(pieces, 1)
    )  # fmt: skip
    return _csv(header, rows)


def _or_blank(year: int | None) -> object:
    return "" if year is None else year


def _csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()


if __name__ == "__main__":
    pieces = book()
    write_whole(BOOK, sold_table(pieces).encode("utf-8"))
    write_whole(ANSWERS, answer_table(pieces).encode("utf-8"))
