"""Priors made ready for one channel and one ``as_of``: arrays over market, grade and year.

    P(y | clues) ∝ P(y) Σ_g Σ_k P(g|y) P(k|y) M(y,g,k) [ (1−ρ(y)) S(y,g) + ρ(y) Σ_s K(s|y) S(s,g) ]

y is the year of making, from 1880, which stands for all before it, to ``as_of``; g the price tier, k the market of
first sale. M is the product of the making clues' likelihoods, S of the style clues' (each to the power of its trust,
1 in the shipped tables); ρ(y) is the share of pieces made in an older look, K(s|y) of which year s that look is.

Clues fall into three kinds. *Style* clues are multiplied and mixed over revivals once for each
combination of them, together with the prior. Clues that *depend on the market* are multiplied and
the market summed out once for each combination. All other making clues are rows over grade and year
as they are. What is left for each scarf is a product of a few rows.
"""

from __future__ import annotations

import copy
from collections.abc import Hashable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import GROWING, NOT_LOOKED_AT, Bound, Clue, Rows, Slip
from scarfdate.clues.kinds import CLUE_KINDS
from scarfdate.conventions import FIRST_YEAR, GRADES, MARKETS, Array
from scarfdate.errors import ScarfdateError
from scarfdate.model.numbered import distinct
from scarfdate.tables.priors import Priors
from scarfdate.years import checked_as_of

_ROWS_KEPT = (
    16_000  # rows of one table (just below a power of two) before it starts again: about 60 MB
)
_SHARED_ROWS = 1_000  # clues are multiplied beforehand while their combinations stay below this

Codes = NDArray[np.int32]


class Combined:
    """Rows for combinations of several clues: made once, found by the clues' row numbers."""

    def __init__(self, columns: Sequence[int], cells: int) -> None:
        self.columns = tuple(columns)
        self.rows = Rows(cells)

    def indices(self, model: Model, codes: Codes) -> NDArray[np.intp]:
        """The row of each scarf, from the row numbers (n, clues) of its clues."""
        if len(codes) == 1:
            return np.array([self.index(model, codes[0].tolist())])
        own = codes[:, self.columns]
        if not self.columns:
            return np.full(len(own), self._index(model, ()), dtype=np.intp)
        first, numbers = distinct(*own.T)
        found = [self._index(model, tuple(kind)) for kind in own[first].tolist()]
        return np.asarray(found, dtype=np.intp)[numbers]

    def index(self, model: Model, row: Sequence[int]) -> int:
        """The row of one scarf."""
        return self._index(model, tuple([row[column] for column in self.columns]))

    def _index(self, model: Model, key: tuple[int, ...]) -> int:
        at = self.rows.ids.get(key)
        if at is None:
            with GROWING:  # what is kept beside the row must be complete before its index is known
                at = self.rows.ids.get(key)
                if at is None:
                    at = self._make(model, key)
        return at

    def _make(self, model: Model, key: tuple[int, ...]) -> int:
        row, scale = model.product(self.columns, key)
        return self.rows.add(key, row.reshape(-1), scale)


class Single(Combined):
    """One clue that is multiplied with no other beforehand: its own rows, found by their own numbers."""

    def __init__(self, column: int, rows: Rows) -> None:
        self.columns, self.rows = (column,), rows

    def indices(self, model: Model, codes: Codes) -> NDArray[np.intp]:
        """The row of each scarf."""
        return codes[:, self.columns[0]].astype(np.intp)

    def index(self, model: Model, row: Sequence[int]) -> int:
        """The row of one scarf."""
        return row[self.columns[0]]


class StyleRows(Combined):
    """Style clues, mixed over revivals and times the prior; ``revival`` is the later-piece part."""

    def __init__(self, columns: Sequence[int], cells: int) -> None:
        super().__init__(columns, cells)
        self.revival = Rows(cells)

    def _make(self, model: Model, key: tuple[int, ...]) -> int:
        style, scale = model.product(self.columns, key)
        style = np.broadcast_to(style, (1, len(GRADES), len(model.years)))[0]
        later = model.prior * model.revival_share * (style @ model.looked_back_to.T)
        whole = model.prior * (1 - model.revival_share) * style + later
        # both on the scale of `whole`, so that their ratio is the chance of a revival
        self.revival.add(key, later.reshape(-1), top=float(whole.max()))
        return self.rows.add(key, whole.reshape(-1), scale)


class MarketRows(Combined):
    """Clues that depend on the market, with the market summed out; ``parts`` keeps its shares."""

    def __init__(self, columns: Sequence[int], cells: int) -> None:
        super().__init__(columns, cells)
        self.parts: list[Array] = [np.empty(0)]  # row 0 is never asked for

    def _make(self, model: Model, key: tuple[int, ...]) -> int:
        row, scale = model.product(self.columns, key)
        each = model.market[:, None, :] * np.broadcast_to(row, model.shape)
        # where nobody looked, ones to the last bit: the row may as well have been left out
        summed = each.sum(axis=0) if any(key) else np.ones(each.shape[1:])
        self.parts.append((each / summed).reshape(len(MARKETS), -1))
        return self.rows.add(key, summed.reshape(-1), scale)


class Gather(NamedTuple):
    """Rows of a table, ``which`` of them (n,) for n scarves."""

    rows: Rows
    which: NDArray[np.intp]


class Gathered(NamedTuple):
    """What makes up n scarves: the style row, the row of the market, and all rows of making clues.

    That of the market is among ``making`` where anybody looked at a clue that depends on it.
    """

    style: Gather
    market: Gather
    making: list[Gather]

    def at(self, places: NDArray[np.intp]) -> Gathered:
        """The same of some of the scarves."""
        style, market, *making = (
            Gather(rows, which[places]) for rows, which in (self.style, self.market, *self.making)
        )
        return Gathered(style, market, making)


class Model:
    """Everything that dating needs, for one channel and one ``as_of``. Its arrays are shared and not to be written to.

    ``years`` (years,); ``prior`` P(g, y) (grades, years); ``market`` P(k | y) (markets, years);
    ``revival_share`` ρ (years,); ``looked_back_to`` K (year made, style year). ``units``: the places of
    clues that are weighed as one: each clue, and all that depend on the market together.
    """

    def __init__(self, priors: Priors, channel: str, as_of: int) -> None:
        self.priors, self.as_of = priors.in_channel(channel), as_of
        self.channel = priors.century.channel(channel)
        self.years = np.arange(FIRST_YEAR, as_of + 1)
        self.shape = (len(MARKETS), len(GRADES), len(self.years))
        self.cells = len(GRADES) * len(self.years)
        century = priors.century
        self.year_prior = century.year(self.channel, self.years)
        self.prior = self.year_prior * century.grades.shares_of(self.channel.grades, self.years)
        self.market = century.markets.shares_of(self.channel.markets, self.years)
        self.revival_share = century.revival_share(self.years)
        self.looked_back_to = century.looked_back_to(self.years)
        self.clues: tuple[Clue, ...] = tuple(
            CLUE_KINDS[family.kind](self.priors, family.name, self.years)
            for family in priors.families.values()
            if family.kind in CLUE_KINDS
        )
        self.column = {clue.name: place for place, clue in enumerate(self.clues)}
        style, market, plain = self._kinds()
        if any(self.clues[i].by_market for i in style):
            raise ScarfdateError("a style family cannot depend on the market: take the column out")
        together = [tuple(market)] if market else []
        self.units = sorted([*together, *((i,) for i in [*style, *plain])])
        self._start_rows(style, market, self._grouped(plain))

    def _kinds(self) -> tuple[list[int], list[int], list[int]]:
        """The places of style clues, of making clues that depend on the market, and of all others."""
        places = range(len(self.clues))
        style = [i for i in places if self.clues[i].reads == "style"]
        market = [i for i in places if i not in style and self.clues[i].by_market]
        return style, market, [i for i in places if i not in style and i not in market]

    def _start_rows(
        self, style: Sequence[int], market: Sequence[int], plain: Sequence[Sequence[int]]
    ) -> None:
        """Tables of combinations, empty; clues have their own."""
        self.style = StyleRows(style, self.cells)
        self.by_market = MarketRows(market, self.cells)
        self.plain = tuple(
            Combined(group, self.cells)
            if len(group) > 1
            else Single(group[0], self.clues[group[0]].rows)
            for group in plain
        )
        self.said: dict[tuple[int, int], str] = {}  # rows in words
        self.bounds: dict[tuple[int, int], Bound | None] = {}  # first years of rows
        # by column, for each row: its first year, the year that it can be of alone, and the row of its first
        # printing; below 0: not known yet
        self.first_years: dict[int, NDArray[np.int64]] = {}
        self.design_years: dict[int, NDArray[np.int64]] = {}
        self.first_printings: dict[int, NDArray[np.int64]] = {}
        self.parts: dict[tuple[int, int], tuple[Slip, ...]] = {}  # what can be a slip in rows
        self.can_be_amiss: dict[object, Any] = {}  # what can be amiss in rows of units
        self.marginals: dict[tuple[int, ...], Any] = {}  # what weighing keeps of each unit
        self.doublings = 0  # of all tables, when this model was last asked whether it is full

    def _grouped(self, columns: Sequence[int]) -> list[list[int]]:
        """Clues to be multiplied beforehand: small ones together, so that fewer rows are gathered."""
        groups: list[list[int]] = []
        sizes: list[float] = []
        for column in sorted(columns, key=self._usual_rows, reverse=True):
            rows = self._usual_rows(column)
            for place, size in enumerate(sizes):
                if size * rows <= _SHARED_ROWS:
                    groups[place].append(column)
                    sizes[place] = size * rows
                    break
            else:
                groups.append([column])
                sizes.append(rows)
        return groups

    def gathered(self, codes: Codes) -> Gathered:
        """The rows that make up each of a table of scarves, (n, clues).

        They are multiplied in the same order whatever stands beside a scarf, so that its answer is the same
        to the bit in every table, block and partition; what nobody looked at is left out, for its ones
        change no bit.
        """
        market = Gather(self.by_market.rows, self.by_market.indices(self, codes))
        style = Gather(self.style.rows, self.style.indices(self, codes))
        looked = codes[0].tolist() if len(codes) == 1 else np.any(codes, axis=0).tolist()
        making = [
            Gather(group.rows, group.indices(self, codes))
            for group in self.plain
            if any(looked[c] for c in group.columns)
        ]
        if any(looked[c] for c in self.by_market.columns):
            making.insert(0, market)
        return Gathered(style, market, making)

    def gathered_one(self, codes: NDArray[np.int32]) -> tuple[int, int, list[tuple[Rows, int]]]:
        """The same for one scarf, (clues,): the style row, that of the market, and tables with their rows."""
        row = codes.tolist()
        making = [
            (group.rows, group.index(self, row))
            for group in self.plain
            if any(map(row.__getitem__, group.columns))
        ]
        market = self.by_market.index(self, row)
        if any(map(row.__getitem__, self.by_market.columns)):
            making.insert(0, (self.by_market.rows, market))
        return self.style.index(self, row), market, making

    def _usual_rows(self, column: int) -> float:
        # open-ended: measurements, names, years
        return float(min(self.clues[column].usual_rows, _SHARED_ROWS))

    def product(self, columns: Sequence[int], key: Sequence[int]) -> tuple[Array, float]:
        """The product of the rows ``key`` of some clues, (markets or 1, grades, years), and its log scale."""
        row: Array = np.ones((1, len(GRADES), len(self.years)))
        scale = 0.0
        for column, index in zip(columns, key, strict=True):
            if index != NOT_LOOKED_AT:
                clue = self.clues[column]
                row = row * clue.rows.table[index].reshape(clue.shape)
                scale += float(clue.rows.log_scale[index])
        return row, scale

    def index(self, name: str, key: Hashable) -> int:
        """The row number of an observation of a clue."""
        return self.clues[self.column[name]].index(key)

    def codes_of(self, keys: Mapping[str, Hashable]) -> Codes:
        """The row numbers (1, clues) of observations by clue; clues left out were not looked at."""
        codes = np.zeros((1, len(self.clues)), dtype=np.int32)
        for name, key in keys.items():
            codes[0, self.column[name]] = self.index(name, key)
        return codes

    def keys_of(self, codes: Codes) -> dict[str, Hashable]:
        """The observations behind the row numbers (1, clues) of one scarf, by clue."""
        return {
            clue.name: clue.rows.keys[row]
            for clue, row in zip(self.clues, codes[0].tolist(), strict=True)
            if row
        }

    def apart(self, codes: Codes) -> Codes:
        """Row numbers (n, clues) in which what one clue takes in of others, as a label does, stands by itself."""
        found = codes.copy()
        for column, clue in enumerate(self.clues):
            for row in np.unique(codes[:, column]).tolist():
                for name, key in clue.apart(clue.rows.keys[row]).items() if row else ():
                    found[codes[:, column] == row, self.column[name]] = self.index(name, key)
        return found

    @property
    def full(self) -> bool:
        """Whether some table holds so many rows that it is time to start again."""
        tables = [clue.rows for clue in self.clues]
        tables += [group.rows for group in (*self.plain, self.style, self.by_market)]
        return max(rows.count * rows.cells for rows in tables) > _ROWS_KEPT * self.cells

    def started_again(self) -> Model:
        """The same model with no rows yet. Row numbers of this one go on to mean what they meant, here."""
        fresh = copy.copy(self)
        fresh.clues = tuple(clue.started_again() for clue in self.clues)
        style, market, _ = self._kinds()
        fresh._start_rows(style, market, [group.columns for group in self.plain])
        return fresh


def compiled(priors: Priors, channel: str, as_of: object) -> Model:
    """The model for a channel and a year, kept with the priors until its tables are full.

    Row numbers belong to the model that gave them, so a call asks once and goes on with that one;
    what outlives the call keeps observations (`Model.keys_of`), not row numbers.
    """
    year = checked_as_of(as_of)
    key = (channel, year) if isinstance(channel, str) else None
    with GROWING:
        model = priors._compiled.get(key)
        if not isinstance(model, Model):
            model = priors._compiled[key] = Model(priors, channel, year)
        elif model.doublings != Rows.doublings:
            model.doublings = Rows.doublings
            if model.full:
                model = priors._compiled[key] = model.started_again()
    return model
