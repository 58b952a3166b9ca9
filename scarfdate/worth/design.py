"""From pieces and their sales to design rows, and to the variance of what is not known of a piece.

Which decade and grade a piece is of, and its true fibre, hem and form, are known by chances only (`Pieces`). Its row
has their expectations, and what they may differ by is a variance of its log price: by the law of total variance
that over decades and grades, and within each that over the values. So the whole distribution of the dating enters,
by its first two moments. The likelihood of the mixture itself would let the shape of the residuals tell decades
apart, which no residual is known well enough for: on simulated books its 80 % intervals of decades held 57 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

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

PRICE = (BASE, SIZE, CONDITION, *VALUED, MAKER, CHANNEL, SEASON, DECADE, GRADE, YEAR)
DAYS = (BASE, ASKED, CHANNEL, SEASON, DECADE, VALUED[0])
RETURNS = (BASE, CHANNEL)

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

    def layout(self, groups: Sequence[str]) -> Layout:
        """The coefficients of some groups: of each level that these pieces have, or by their words may have."""
        pieces = self.pieces
        own: dict[str, Texts] = {
            BASE: ("",),
            ASKED: ("",),
            SIZE: ("",) if np.isfinite(pieces.log_area).any() else (),
            CONDITION: ("",) if (pieces.log_kept < 0).any() else (),
            MAKER: sorted(set(pieces.maker)) if any(pieces.maker) else (),
            CHANNEL: sorted({*self.channel} - {""}),
            SEASON: sorted({*self.season} - {""}),
            YEAR: sorted({*self.year} - {""}),
            DECADE: _decades(pieces),
            GRADE: GRADES,
            **{name: value.words for name, value in pieces.values.items()},
        }
        return Layout.of({group: own[group] for group in groups if own.get(group)})


def price_design(offers: Offers, layout: Layout, reference: Reference) -> Design:
    """Design rows of log prices; what no coefficient stands for is left out of a row."""
    pieces, rows = offers.pieces, _Rows(layout, len(offers))
    usual = float(np.mean(reference.kept))
    rows.number(SIZE, np.nan_to_num(pieces.log_area - reference.area[0]))
    rows.number(CONDITION, np.where(np.isnan(pieces.log_kept), usual, pieces.log_kept))
    _common(rows, offers)
    rows.chances(GRADE, GRADES, _by_cell(pieces).sum(axis=1))
    for name in VALUED:
        rows.value(name, pieces)
    rows.named(MAKER, pieces.maker)
    rows.named(YEAR, offers.year)
    return Design(layout=layout, rows=rows.held)


def days_design(offers: Offers, layout: Layout, above: Array) -> Design:
    """Design rows of log days; ``above`` (n,): log price asked less the log price expected."""
    rows = _Rows(layout, len(offers))
    rows.number(ASKED, above)
    _common(rows, offers)
    rows.value(VALUED[0], offers.pieces)
    return Design(layout=layout, rows=rows.held)


def returns_design(offers: Offers, layout: Layout) -> Design:
    """Design rows of the log odds of a return."""
    rows = _Rows(layout, len(offers))
    rows.named(CHANNEL, offers.channel)
    return Design(layout=layout, rows=rows.held)


def without_reference(design: Design) -> Design:
    """For flat priors: the design without the commonest level of each group, nor levels that no piece has."""
    weight, drop = design.counts, []
    for group in design.layout.groups:
        if group not in ALONE:
            places = design.layout.places(group)
            drop += [int(places[weight[places].argmax()])]
            drop += [place for place in places.tolist() if weight[place] <= 0]
    keep = np.setdiff1d(np.arange(len(design.layout)), drop)
    layout = Layout(tuple(design.layout.names[place] for place in keep.tolist()))
    return Design(layout=layout, rows=design.rows[:, keep])


def unknown_variance(
    layout: Layout, offers: Offers, reference: Reference, coefficients: Array
) -> Array:
    """What is added to the variance of each log price, (n,), by what is not known of the piece: its decade and
    grade, its values, its size, its condition, and how uncertain the loss by a fault is."""
    pieces = offers.pieces

    def of(group: str, levels: Texts) -> Array:
        places = [layout.place.get((group, level)) for level in levels]
        return np.array([0.0 if place is None else coefficients[place] for place in places])

    (size,), (elasticity,) = of(SIZE, ("",)), of(CONDITION, ("",))
    known = of(DECADE, _decades(pieces))[:, None] + of(GRADE, GRADES)
    mean = np.broadcast_to(known.reshape(-1), pieces.cells.shape)
    within = np.zeros(pieces.cells.shape)
    for name, value in pieces.values.items():
        effects = of(name, value.words)
        expected = value.chances @ effects
        mean, within = mean + expected, within + value.chances @ effects**2 - expected**2
    found = (pieces.cells * (within + mean**2)).sum(axis=1) - (pieces.cells * mean).sum(axis=1) ** 2
    found += np.where(np.isnan(pieces.log_area), (size * reference.area[1]) ** 2, 0.0)
    loss = (elasticity * np.nan_to_num(pieces.log_kept)) ** 2 * np.expm1(reference.loss_spread**2)
    usual = elasticity**2 * float(np.var(reference.kept))
    return np.asarray(np.maximum(found, 0.0) + np.where(np.isnan(pieces.log_kept), usual, loss))


def _decades(pieces: Pieces) -> tuple[str, ...]:
    return tuple(map(str, pieces.decades.tolist()))


def _by_cell(pieces: Pieces) -> Array:
    """P(decade, grade), (n, decades, grades)."""
    return pieces.cells.reshape(len(pieces), -1, len(GRADES))


def _common(rows: _Rows, offers: Offers) -> None:
    """What prices and days both depend on."""
    rows.named(CHANNEL, offers.channel)
    rows.named(SEASON, offers.season)
    rows.chances(DECADE, _decades(offers.pieces), _by_cell(offers.pieces).sum(axis=2))


class _Rows:
    """Design rows that are filled group by group; a group without coefficients is passed over."""

    def __init__(self, layout: Layout, n: int) -> None:
        self.layout, self.held = layout, np.zeros((n, len(layout)))
        self.number(BASE, np.ones(n))

    def number(self, group: str, values: Array) -> None:
        """A number of each piece."""
        self.chances(group, ("",), values[:, None])

    def named(self, group: str, levels: Texts) -> None:
        """One in the column of the level of each piece; nothing for a level without a column."""
        for row, level in enumerate(levels):
            place = self.layout.place.get((group, level))
            if place is not None:
                self.held[row, place] = 1.0

    def chances(self, group: str, levels: Texts, chances: Array) -> None:
        """The chance of each level, (n, levels)."""
        for place, level in enumerate(levels):
            column = self.layout.place.get((group, level))
            if column is not None:
                self.held[:, column] = chances[:, place]

    def value(self, name: str, pieces: Pieces) -> None:
        """The chances of a family's values, over all decades and grades."""
        if name in pieces.values:
            value = pieces.values[name]
            self.chances(name, value.words, np.einsum("nc,ncv->nv", pieces.cells, value.chances))
