"""On what terms pieces are appraised: what selling costs, the prices, and the chance of a loss that is accepted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from scarfdate.errors import RangeError, TableError, shown
from scarfdate.reading.cells import as_float
from scarfdate.show.sentence import capital
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.worth.amounts import one_currency
from scarfdate.worth.costs import Costs, counted_as_zero, read_costs
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.price_samples import PriceSamples
from scarfdate.worth.prices import Prices, load_prices
from scarfdate.worth.reference import SEASONS, season_of
from scarfdate.years import checked_as_of

RISK = 0.2  # the chance of a loss that is accepted when nobody says
DRAWS = 600
INVENTED = (
    "These prices are invented, to try things out: learn them from your own book (learn-prices at the prompt, "
    "learn_prices in Python) before you spend money."
)
GivenCosts = Costs | Mapping[str, Any] | str | Path | None
GivenPrices = Prices | str | Path | None


@dataclass(frozen=True, eq=False, kw_only=True)
class Terms:
    """What `appraise`, `appraise_lot` and `appraise_table` share, checked.

    ``channel``: where the pieces turned up; ``sale_channel``, ``season``: where and when they are to be sold, None:
    as the book's sales were; ``risk``: the accepted chance of a loss, 0 to 1.
    """

    costs: Costs
    prices: Prices
    currency: str
    priors: Priors
    channel: str
    as_of: int
    sale_channel: str | None
    season: str | None
    risk: float

    @classmethod
    def of(
        cls, costs: GivenCosts, prices: GivenPrices, *, priors: Priors | None, channel: str, as_of: int | None,
        sale_channel: str | None, season: str | int | None, risk: float,
    ) -> Terms:  # fmt: skip
        """``costs``: as `read_costs`, None states none; ``prices``: learned ones, their folder, or None for the
        invented ones that come along. Raises TableError where costs and prices are of two currencies."""
        known = Costs() if costs is None else read_costs(costs)
        if prices is None or isinstance(prices, (str, Path)):
            prices = load_prices(prices)
        if not isinstance(prices, Prices):
            raise TableError(
                f"prices: what learn_prices gives, or its folder, is allowed, got {shown(prices)}"
            )
        return cls(
            costs=known,
            prices=prices,
            currency=one_currency(known, prices.currency),
            priors=checked_priors(priors),
            channel=channel,
            as_of=checked_as_of(as_of),
            sale_channel=sale_channel,
            season=None if season is None else season_of(season),
            risk=checked_risk(risk),
        )

    def deciding(self, what: str) -> float:
        """A number of ``worth/deciding.csv``: of the shipped tables, where the priors have no such file."""
        own = self.priors.deciding or checked_priors(None).deciding
        assert own is not None  # of the shipped tables
        return own[what]

    @property
    def notes(self) -> tuple[str, ...]:
        """What should be known of every answer on these terms, as sentences."""
        nothing = counted_as_zero(self.costs.not_stated)
        learned = [f"{capital(note)}." for note in self.prices.notes]
        return (*learned, *filter(None, [nothing]), *([INVENTED] if self.prices.invented else []))

    def turned_up(self, channel: str) -> Terms:
        """The same for pieces that turned up elsewhere."""
        return self if channel is self.channel else replace(self, channel=channel)

    def samples(self, pieces: Pieces, *, alone: bool = True) -> PriceSamples:
        """What the pieces may bring, `DRAWS` equally likely draws each; ``alone``: each by itself, not as a lot."""
        return self.prices.samples(
            pieces, channel=self.sale_channel, season=self.season, n=DRAWS, alone=alone
        )

    def later(self) -> Iterator[tuple[str, Terms]]:
        """The seasons after the one stated, in their order, with the terms of each; none where none is stated."""
        if self.season is not None:
            first = SEASONS.index(self.season) + 1
            for name in (*SEASONS[first:], *SEASONS[: first - 1]):
                yield name, replace(self, season=name)


def checked_risk(risk: object) -> float:
    """A chance of a loss, 0 to 1; RangeError for anything else."""
    chance = as_float(risk)
    if chance is None or not 0 <= chance <= 1:
        raise RangeError(f"risk: a chance of a loss from 0 to 1 is allowed, got {shown(risk)}")
    return chance
