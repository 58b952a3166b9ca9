"""From pieces and their sales to design rows: a row for every decade and grade that a piece may be of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import GRADES, Array
from scarfdate.worth.coefficients import (
    ALONE,
    ASKED,
    BASE,
    CHANNEL,
    CONDITION,
    DECADE,
    GRADE,
    MAKER,
    SEASON,
    SIZE,
    YEAR,
    Layout,
)
from scarfdate.worth.pieces import VALUED, Pieces
from scarfdate.worth.pooled import Design
from scarfdate.worth.reference import Reference

_LEFT_OUT = 1e-3  # chance of all decades and grades together that get no row of their own
_NO_CHANCE = 2e-3  # of a value, which then stands in no row
_NONE = -1

Texts = Sequence[str]


@dataclass(frozen=True, eq=False, kw_only=True)
class Offers:
    """n pieces as they were offered: ``pieces``; ``channel``, ``season``, ``year`` (n,), "" where not stated."""

    pieces: Pieces
    channel: Texts
    season: Texts
    year: Texts

    def __len__(self) -> int:
        return len(self.pieces)

    def take(self, places: NDArray[np.intp]) -> Offers:
        """Those at some places, (k,)."""
        each = {
            name: tuple(getattr(self, name)[place] for place in places.tolist())
            for name in (CHANNEL, SEASON, YEAR)
        }
        return replace(self, pieces=self.pieces.take(places), **each)

    def levels(self, groups: Sequence[str], *, measured: bool = True) -> dict[str, Texts]:
        """The levels of each group that these pieces have, or of words may have; groups without any left out."""
        pieces = self.pieces
        own: dict[str, Texts] = {
            BASE: ("",),
            SIZE: ("",) if measured and np.isfinite(pieces.log_area).any() else (),
            CONDITION: ("",) if measured and (pieces.log_kept < 0).any() else (),
            MAKER: sorted(set(pieces.maker)) if any(pieces.maker) else (),
            CHANNEL: sorted({*self.channel} - {""}),
            SEASON: sorted({*self.season} - {""}),
            YEAR: sorted({*self.year} - {""}),
            DECADE: tuple(map(str, pieces.decades.tolist())),
            GRADE: GRADES,
            **{name: value.words for name, value in pieces.values.items()},
        }
        return {group: own[group] for group in groups if own.get(group)}


PRICE = (BASE, SIZE, CONDITION, *VALUED, MAKER, CHANNEL, SEASON, DECADE, GRADE, YEAR)
DAYS = (BASE, ASKED, CHANNEL, SEASON, DECADE, VALUED[0])
RETURNS = (BASE, CHANNEL)


def price_design(offers: Offers, layout: Layout, reference: Reference) -> Design:
    """Design rows of log prices; what no coefficient stands for is left out of a row."""
    which, cell, log_weight = _rows(offers.pieces)
    parts = _Parts(layout, which)
    pieces = offers.pieces
    parts.number(BASE, np.ones(len(pieces)))
    parts.number(SIZE, np.nan_to_num(pieces.log_area - reference.area[0]))
    usual = float(np.mean(reference.kept))
    parts.number(CONDITION, np.where(np.isnan(pieces.log_kept), usual, pieces.log_kept))
    _common(parts, offers, cell)
    parts.named(GRADE, [GRADES[k] for k in (cell % len(GRADES)).tolist()], each_row=True)
    for name in VALUED:
        parts.valued(name, pieces, cell)
    parts.named(MAKER, pieces.maker)
    parts.named(YEAR, offers.year)
    return parts.design(log_weight)


def unknown_variance(
    design: Design, offers: Offers, reference: Reference, coefficients: Array
) -> Array:
    """What adds to the variance of the log price of each row, (rows,): a value, a size, a condition that is not
    known, and how uncertain the loss by a fault is."""
    pieces, layout = offers.pieces, design.layout
    by_group = {group: coefficients[layout.places(group)] for group in (SIZE, CONDITION)}
    size, elasticity = (float(by.sum()) for by in by_group.values())
    unknown = np.where(np.isnan(pieces.log_area), (size * reference.area[1]) ** 2, 0.0)
    loss = elasticity * reference.loss_spread * np.nan_to_num(pieces.log_kept)
    usual = elasticity**2 * float(np.var(reference.kept))
    unknown = unknown + np.where(np.isnan(pieces.log_kept), usual, loss**2)
    found = unknown[design.observation]
    for name in VALUED:
        places = layout.places(name)
        rows, b = design.rows[:, places], coefficients[places]
        found = found + np.maximum(rows @ b**2 - (rows @ b) ** 2, 0.0)
    return np.asarray(found)


def days_design(offers: Offers, layout: Layout, log_asked: Array, fair: Array) -> Design:
    """Design rows of log days; ``log_asked`` (n,), NaN where not stated; ``fair`` (rows,): the log price expected, of
    the rows of `price_design` of the same pieces."""
    which, cell, log_weight = _rows(offers.pieces)
    parts = _Parts(layout, which)
    parts.number(BASE, np.ones(len(offers)))
    more = log_asked[which] - fair
    usual = float(np.nanmean(more)) if np.isfinite(more).any() else 0.0
    parts.number(ASKED, np.where(np.isnan(more), usual, more), each_row=True)
    _common(parts, offers, cell)
    parts.valued(VALUED[0], offers.pieces, cell)
    return parts.design(log_weight)


def returns_design(offers: Offers, layout: Layout) -> Design:
    """Design rows of the log odds of a return: one a piece."""
    parts = _Parts(layout, np.arange(len(offers)))
    parts.number(BASE, np.ones(len(offers)))
    parts.named(CHANNEL, offers.channel)
    return parts.design(np.zeros(len(offers)))


def without_reference(design: Design) -> Design:
    """For flat priors: the design without the commonest level of each group, nor levels that no piece has."""
    weight = design.mean_rows.sum(axis=0)
    drop = []
    for group in design.layout.groups:
        if group in ALONE:
            continue
        places = design.layout.places(group)
        drop += [int(places[weight[places].argmax()])]
        drop += [place for place in places.tolist() if weight[place] <= 0]
    keep = np.setdiff1d(np.arange(len(design.layout)), drop)
    layout = Layout(tuple(design.layout.names[place] for place in keep.tolist()))
    return Design(
        layout=layout, rows=design.rows[:, keep], start=design.start, log_weight=design.log_weight
    )


def _rows(pieces: Pieces) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """The piece, the cell and the log chance of every row: the likeliest cells of a piece, all but a thousandth."""
    order = np.argsort(-pieces.cells, axis=1, kind="stable")
    chance = np.take_along_axis(pieces.cells, order, axis=1)
    before = np.cumsum(chance, axis=1) - chance
    kept = np.zeros_like(pieces.cells, dtype=bool)
    np.put_along_axis(kept, order, (before < 1 - _LEFT_OUT) & (chance > 0), axis=1)
    which, cell = np.nonzero(kept)
    weight = np.where(kept, pieces.cells, 0.0)
    weight /= weight.sum(axis=1, keepdims=True)
    return which, cell, np.log(weight[which, cell])


def _common(parts: _Parts, offers: Offers, cell: NDArray[np.intp]) -> None:
    """What prices and days both depend on."""
    decades = [str(year) for year in offers.pieces.decades.tolist()]
    parts.named(CHANNEL, offers.channel)
    parts.named(SEASON, offers.season)
    parts.named(DECADE, [decades[k] for k in (cell // len(GRADES)).tolist()], each_row=True)


class _Parts:
    """Entries of a sparse design, gathered group by group; ``which`` (rows,): the piece of each row."""

    def __init__(self, layout: Layout, which: NDArray[np.intp]) -> None:
        self.layout, self.which = layout, which
        self.entries: list[tuple[NDArray[np.intp], NDArray[np.intp], Array]] = []

    def number(self, group: str, values: Array, *, each_row: bool = False) -> None:
        """A number of each piece, or of each row."""
        place = self.layout.place.get((group, ""))
        if place is not None:
            rows = np.arange(len(self.which))
            here = values if each_row else values[self.which]
            self.entries.append((rows, np.full(len(rows), place), here))

    def named(self, group: str, levels: Texts, *, each_row: bool = False) -> None:
        """One in the column of the level of each piece, or of each row; nothing for a level without a column."""
        known: Mapping[tuple[str, str], int] = self.layout.place
        column = np.array([known.get((group, level), _NONE) for level in levels], np.intp)
        column = column if each_row else column[self.which]
        rows = np.flatnonzero(column != _NONE)
        self.entries.append((rows, column[rows], np.ones(len(rows))))

    def valued(self, name: str, pieces: Pieces, cell: NDArray[np.intp]) -> None:
        """The chances of all values in the row's decade and grade."""
        value, group = pieces.values.get(name), self.layout.places(name)
        if value is None or not len(group):
            return
        chance = value.chances[self.which, cell]
        chance = np.where(chance > _NO_CHANCE, chance, 0.0)
        chance /= chance.sum(axis=1, keepdims=True)
        rows, place = np.nonzero(chance)
        columns = np.array([self.layout.place[name, word] for word in value.words], np.intp)
        self.entries.append((rows, columns[place], chance[rows, place]))

    def design(self, log_weight: Array) -> Design:
        """All of it as a sparse matrix."""
        from scipy.sparse import coo_array

        rows, columns, values = (np.concatenate(part) for part in zip(*self.entries, strict=True))
        shape = (len(self.which), len(self.layout))
        held: Any = coo_array((values, (rows, columns)), shape=shape).tocsr()
        start = np.flatnonzero(np.diff(self.which, prepend=-1))
        return Design(layout=self.layout, rows=held, start=start, log_weight=log_weight)
