"""What is known before anything is seen: the year, the grade, the market, and later pieces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import GRADES, LEVEL, MARKETS, Array
from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.tables.checked import Table
from scarfdate.tables.knots import ANY, KnotTable, read_knot_table
from scarfdate.tables.sheet import Basis

# all records, either kind of object, and what the factors of the shops hold for
MUSEUM_KINDS = ("density", "scarf_like", "textile", "shops")
_BAND = ("lower", "upper")
_MUSEUM_COLUMNS = (
    "density", *_BAND,
    *(f"{kind}{end}" for kind in MUSEUM_KINDS[1:] for end in ("", *(f"_{b}" for b in _BAND))),
    "records",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """Where pieces turn up: which columns and keys of the tables hold for it."""

    name: str
    years: str
    grades: str
    markets: str
    records: str  # the column of year_museum.csv: which records
    tables: str  # the folder of its own tables of clues, or ""
    description: str
    basis: Basis


@dataclass(frozen=True, kw_only=True)
class Century:
    """The tables behind P(year), P(grade | year), P(market | year), and revivals."""

    museum: KnotTable
    factors: KnotTable
    grades: KnotTable
    markets: KnotTable
    revivals: KnotTable
    lookback_lag: KnotTable
    lookback_appeal: KnotTable
    survival: KnotTable
    channels: Mapping[str, Channel]
    of_kind: Mapping[
        str, Mapping[str, str]
    ]  # by channel: form noted (or any) to the channel that holds

    def channel(self, name: object) -> Channel:
        """A channel by its name; WordError naming the nearest."""
        if isinstance(name, str) and name in self.channels:
            return self.channels[name]
        hint = did_you_mean(name if isinstance(name, str) else "", sorted(self.channels))
        raise WordError(f"channel: no channel {shown(name)} is known; {hint}")

    def year_factors(self, channel: Channel, years: NDArray[np.int64]) -> tuple[Array, Array]:
        """What museums record, and how the channel differs: two (years,) factors of any scale."""
        at = years.astype(float)
        return (
            self.museum.values_of(channel.records, at),
            self.factors.values_of(channel.years, at),
        )

    def year_band(self, channel: Channel, years: NDArray[np.int64]) -> tuple[Array, Array]:
        """Lower and upper 80 % ends of what museums record, (years,), on the scale of `year_factors`."""
        prefix = "" if channel.records == MUSEUM_KINDS[0] else f"{channel.records}_"
        at = years.astype(float)
        return (
            self.museum.values_of(f"{prefix}lower", at),
            self.museum.values_of(f"{prefix}upper", at),
        )

    def year(self, channel: Channel, years: NDArray[np.int64]) -> Array:
        """P(year) in a channel, (years,): the product of the two factors, summing to one."""
        museum, differs = self.year_factors(channel, years)
        return np.asarray(museum * differs / (museum * differs).sum())

    def year_table(self, channel: Channel, years: NDArray[np.int64]) -> dict[str, Array]:
        """Both factors of P(year) and their product with 80 % intervals, each (years,).

        ``museum`` with ``museum_lower`` and ``museum_upper``, the density of what museums record;
        ``channel``, the factor, scaled so that the product sums to one, with its own ends;
        ``prior`` with its ends; ``survival``, the share of pieces made that is still about, weighed
        by grade. Ends hold for each year by itself. The factor's uncertainty is read as one
        standard deviation of its logarithm; the two are taken as independent.
        """
        at = years.astype(float)
        museum, differs = self.year_factors(channel, years)
        low, high = self.year_band(channel, years)
        scale = museum.sum()
        museum, low, high = museum / scale, low / scale, high / scale
        differs = differs / (museum * differs).sum()
        prior = museum * differs
        from statistics import NormalDist  # takes ten milliseconds, and dating never asks

        one = NormalDist().inv_cdf(0.5 + LEVEL / 2)
        # a factor of one all along is no opinion: there is nothing to be unsure of
        certain = bool(np.ptp(self.factors.values_of(channel.years, at)) == 0)
        off = np.zeros(len(at)) if certain else np.log(self.factors.values_of("uncertainty", at))
        record = np.log(high / low) / (2 * one)
        both = one * np.hypot(off, record)
        grades = self.grades.shares_of(channel.grades, years)
        survival = np.stack([self.survival.values_of(grade, at) for grade in GRADES])
        return {
            "museum": museum, "museum_lower": low, "museum_upper": high,
            "channel": differs, "channel_lower": differs * np.exp(-one * off),
            "channel_upper": differs * np.exp(one * off),
            "prior": prior, "prior_lower": prior * np.exp(-both), "prior_upper": prior * np.exp(both),
            "survival": (grades * survival).sum(axis=0) / 100,
        }  # fmt: skip

    def offered_in(self, market: str, channel: Channel) -> Century:
        """The same for pieces first sold in one of `MARKETS`, in a channel: P(year | market), and no other market.

        P(market | year) goes into the factor of the years, so that a dating is that of the whole
        given the market.
        """
        knots = [self.factors.series[ANY][0], self.markets.series[channel.markets][0]]
        years = np.arange(min(each[0] for each in knots), max(each[-1] for each in knots) + 1)
        place = MARKETS.index(market)
        share = self.markets.shares_of(channel.markets, years.astype(np.int64))[place]
        factors = np.stack([self.factors.values_of(c, years) for c in self.factors.columns], axis=1)
        factors[:, self.factors.columns.index(channel.years)] *= share
        alone = np.zeros((1, len(MARKETS)))
        alone[0, place] = 1.0
        return replace(
            self,
            factors=replace(self.factors, series={ANY: (years, factors)}),
            markets=replace(
                self.markets, series={**self.markets.series, channel.markets: (years[:1], alone)}
            ),
        )

    def revival_share(self, years: NDArray[np.int64]) -> Array:
        """P(revival | year made), (years,). Nothing can look back beyond the first year."""
        share = self.revivals.values_of("share", years.astype(float)) / 100
        share[0] = 0.0
        return share

    def looked_back_to(self, years: NDArray[np.int64]) -> Array:
        """P(style year | year made, revival), (year made, style year), rows summing to one.

        How long ago times how much that year is looked back to. The row of the first year, from
        which nothing can be looked back to, is the first year itself; its revival share is zero.
        """
        at = years.astype(float)
        back = at[:, None] - at[None, :]
        weight = self.lookback_lag.values_of("weight", back.ravel()).reshape(back.shape)
        # an outermost knot is held flat, but nobody looks back to this year or to the future
        weight = np.where(back > 0, weight, 0.0) * self.lookback_appeal.values_of("weight", at)
        weight[0, 0] = 1.0
        return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def read_century(tables: Mapping[str, Table]) -> Century:
    """All tables of the prior."""
    century = Century(
        museum=_knots(tables, "year_museum", _MUSEUM_COLUMNS),
        factors=_knots(tables, "year_channel", [*tables["year_channel.csv"].names("*"), "uncertainty"]),
        grades=_knots(tables, "grades", GRADES, key="channel"),
        markets=_knots(tables, "markets", MARKETS, key="channel"),
        revivals=_knots(tables, "revivals", ["share"]),
        lookback_lag=_knots(tables, "lookback_lag", ["weight"], knot="lag"),
        lookback_appeal=_knots(tables, "lookback_appeal", ["weight"]),
        survival=_knots(tables, "survival", GRADES),
        channels=MappingProxyType(_channels(tables["channels.csv"])),
        of_kind=MappingProxyType(_of_kind(tables["kind_channels.csv"])),
    )  # fmt: skip
    for known, column in ((century.museum, "density"), (century.lookback_lag, "weight")):
        for _, values in known.series.values():
            if not values[:, known.columns.index(column)].sum() > 0:
                tables[known.name].fault(None, column, "needs a number above zero")
    return century


def _knots(
    tables: Mapping[str, Table], name: str, columns: Sequence[str], *, key: str = "", knot: str = "year"
) -> KnotTable:  # fmt: skip
    return read_knot_table(tables[f"{name}.csv"], columns, key=key, knot=knot)


def _channels(table: Table) -> dict[str, Channel]:
    return {
        row["channel"]: row.read_as(
            Channel,
            name=row["channel"],
            records=row.get("records", "") or MUSEUM_KINDS[0],
            tables=row.get("tables", ""),
        )
        for row in table.rows
    }


def _of_kind(table: Table) -> dict[str, Mapping[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for row in table.rows:
        found.setdefault(row["channel"], {})[row["form"]] = row["holds"]
    return {channel: MappingProxyType(forms) for channel, forms in found.items()}
