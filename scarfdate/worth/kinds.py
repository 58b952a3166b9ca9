"""The pieces of a book told apart by decade, fibre, maker and price; a piece may belong to several in shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from scarfdate.answer.date import date_table
from scarfdate.clues.field import Field
from scarfdate.clues.kinds import fields_of
from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.errors import ScarfdateError
from scarfdate.reading.cells import as_typed, is_blank
from scarfdate.reading.observation import Observation
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain
from scarfdate.worth.book import Book

NOT_NOTED, NO_NAME = "not noted", "no name on it"
_FIBRE, _MAKER = "fibre", "maker"
_QUARTERS = (0.25, 0.5, 0.75)
_FIGURES = 2  # of the edges of price bands


@dataclass(frozen=True, eq=False)
class Kinds:
    """``by``: what tells the kinds apart; ``names`` of the k kinds; ``shares`` (n, k): how much of each piece
    belongs to each, rows sum to one."""

    by: str
    names: tuple[str, ...]
    shares: Array

    @property
    def largest(self) -> list[str]:
        """The name of the kind to which most of each piece belongs."""
        return [self.names[place] for place in self.shares.argmax(axis=1)]


def by_decade(book: Book, priors: Priors, channel: str, as_of: int | None) -> Kinds:
    """Each piece shared out over decades by its dating; the first stands for all before it."""
    _, years = date_table(
        book.clues, priors=priors, channel=channel, as_of=as_of, columns=["median_year"], with_years=True
    )  # fmt: skip
    starts = np.arange(0, years.shape[1], 10)
    names = [f"{FIRST_YEAR + start}s" for start in starts.tolist()]
    names[0] = f"{FIRST_YEAR + 9} or earlier"
    shares = np.add.reduceat(years, starts, axis=1)
    return Kinds("decade", tuple(names), shares / shares.sum(axis=1, keepdims=True))


def by_fibre(book: Book, priors: Priors) -> Kinds:
    """By the fibre as it was noted; a piece noted in doubt, or by a wider word, is shared out over what it can be
    by how well each fits and how usual it is."""
    values = priors.vocabulary.values[_FIBRE]
    usual = priors.usual_shares[_FIBRE]
    field = fields_of(priors).by_name[_FIBRE]
    held = [_column(book.clues, name) for name in field.columns]
    shares = np.zeros((len(book), len(values) + 1))
    for row, cells in enumerate(zip(*held, strict=True)):
        seen = _seen(field, cells)
        if seen is None:
            shares[row, -1] = 1.0
            continue
        for word, weight in seen.terms:
            at = [values.index(value) for value in priors.vocabulary.children(_FIBRE, word)]
            shares[row, at] += weight * usual[at] / usual[at].sum()
    return Kinds("fibre", (*values, NOT_NOTED), shares)


def _column(clues: pd.DataFrame, name: str) -> list[object]:
    return clues[name].tolist() if name in clues else [None] * len(clues)


def _seen(field: Field, cells: Sequence[object]) -> Observation | None:
    """What some cells say, plainly or in doubt; None where they are blank or cannot be read."""
    try:
        seen, _ = field.reads(*cells)
    except ScarfdateError:
        try:
            noted = field.as_noted(*cells)
        except ScarfdateError:
            return None
        seen = noted.value if noted is not None else None
    return seen if isinstance(seen, Observation) else None


def by_maker(book: Book, priors: Priors) -> Kinds:
    """By the name read on the piece, as the file of makers writes it where it knows it."""
    known = priors.makers.names
    written = [
        None if is_blank(cell) else as_typed(cell).strip() for cell in _column(book.clues, _MAKER)
    ]
    first: dict[str, str] = {}
    for name in sorted(
        filter(None, written)
    ):  # of several spellings one, whatever the order of rows
        first.setdefault(plain(name), known.get(plain(name), name))
    return _told_apart("maker", [NO_NAME if w is None else first[plain(w)] for w in written],
                       [*sorted(first.values(), key=str.casefold), NO_NAME])  # fmt: skip


def by_price(book: Book) -> Kinds:
    """Four bands of the price asked (or else got), each of about a quarter of the book."""
    sales = book.sales
    price = sales["asked"].fillna(sales["price"]).to_numpy(dtype=np.float64)
    noted = price[~np.isnan(price)]
    quarters = np.quantile(noted, _QUARTERS).tolist() if noted.size else []
    edges = sorted({float(f"{edge:.{_FIGURES}g}") for edge in quarters})
    ends = [amount(edge) for edge in edges]
    names = [f"up to {ends[0]}", *(f"{a} to {b}" for a, b in pairwise(ends)),
             f"over {ends[-1]}"] if ends else []  # fmt: skip
    names.append(NOT_NOTED)
    bands = np.searchsorted(edges, price)  # NaN is behind all of them
    return _told_apart("price", [NOT_NOTED if np.isnan(p) else names[b] for p, b in zip(price, bands, strict=True)],
                       names)  # fmt: skip


def amount(money: float) -> str:
    """An amount of money as a person writes it: 12 or 12.50."""
    return f"{money:.2f}".removesuffix(".00")


def _told_apart(by: str, of_each: Sequence[str], names: Sequence[str]) -> Kinds:
    names = tuple(dict.fromkeys(names))
    place = {name: at for at, name in enumerate(names)}
    return Kinds(by, names, np.eye(len(names))[[place[name] for name in of_each]])
