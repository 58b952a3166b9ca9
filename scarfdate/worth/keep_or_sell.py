"""Of a piece that is hers: sell it now, ask a price and wait, or keep it for a better season."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import gamma

from scarfdate.show.sentence import capital
from scarfdate.worth.amounts import amount
from scarfdate.worth.costs import DAYS_A_YEAR, Costs
from scarfdate.worth.price_samples import PriceSamples
from scarfdate.worth.waiting_rule import Demand, Waiting, best_waiting, cleared

A_SEASON = DAYS_A_YEAR / 4  # days
_FOR_SURE = 0.999  # a chance of a return from which on a piece is taken never to be sold for good

Does = Literal["take the offer", "sell now", "ask", "keep"]


@dataclass(frozen=True, kw_only=True)
class Keeping:
    """What to do with a piece that is hers. ``does``: "take the offer", "sell now" (waiting costs more than it
    brings), "ask" a price and wait, or "keep" it ``until`` a season.

    ``waiting``: the price to ask and the least offer to take, now; ``later``: what it is worth today to wait for
    the best other season, None where no season was stated; ``offer``: money that is offered, or None.
    """

    does: Does
    waiting: Waiting
    currency: str
    until: str = ""
    later: float | None = None
    offer: float | None = None

    def __str__(self) -> str:
        least = amount(self.waiting.reserve, self.currency)
        asking = amount(self.waiting.asking, self.currency)
        stands = f"(it then stands for {self.waiting.days:.0f} days on average)"
        ask = f"ask {asking} {stands} and take no less than {least}"
        if asking == least:
            ask = f"ask {asking} and hold to it {stands}"
        if self.does == "take the offer":
            return f"Take the {amount(self.offer or 0.0, self.currency)}: waiting is worth no more than {least}."
        if self.does == "sell now":
            return f"Sell it now, for {least} or more: waiting costs more than it brings."
        if self.does == "keep":
            return f"Keep it until {self.until}: it brings more then, even after the wait. To sell it now, {ask}."
        refuse = "" if self.offer is None else f"Refuse the {amount(self.offer, self.currency)}: "
        return f"{refuse}{ask if refuse else capital(ask)}."


def demand(samples: PriceSamples) -> Demand | None:
    """How one piece meets its buyers, at the middle of what is known; None where no days were learned."""
    if samples.days_location is None or samples.days_slope is None or samples.days_shape is None:
        return None
    usual = float(samples.log_fair[0].mean())
    location = samples.days_location[0] + samples.days_slope * (usual - samples.log_fair[0])
    mean_days = np.exp(location) * gamma(1 + 1 / samples.days_shape)
    returned = 0.0 if samples.returned is None else float(samples.returned[0].mean())
    return Demand(
        usual=math.exp(usual),
        days=float(np.median(mean_days)),
        elasticity=float(np.median(samples.days_slope)),
        returned=min(returned, _FOR_SURE),
        paid=samples.paid_of_asked,
    )


def keep_or_sell(
    now: Demand,
    costs: Costs,
    currency: str,
    widest: float,
    offer: float | None = None,
    seasons: tuple[tuple[str, Demand], ...] = (),
) -> Keeping:
    """What to do. ``widest``: as in `best_waiting`; ``seasons``: those after this one, in their order, with the demand in each."""
    waiting = best_waiting(now, costs, widest)
    value, until, later = waiting.value, "", None
    for place, (name, then) in enumerate(seasons, 1):
        worth = _today(best_waiting(then, costs, widest).value, place * A_SEASON, costs)
        if later is None or worth > later:
            until, later = name, worth
    keeps = later is not None and later > value
    does: Does = "ask"
    if offer is not None and costs.net(np.array(offer)) >= max(value, later or 0.0):
        does = "take the offer"
    elif keeps:
        does = "keep"
    elif value <= cleared(now, costs):
        does = "sell now"
    return Keeping(
        does=does, waiting=waiting, currency=currency, until=until if keeps else "", later=later, offer=offer
    )  # fmt: skip


def _today(value: float, days: float, costs: Costs) -> float:
    """A value that is had after so many days on the shelf, in money of today."""
    a_day, interest = costs.shelf_cost_per_day or 0.0, costs.interest
    shelf = a_day * days if interest == 0 else -a_day / interest * math.expm1(-interest * days)
    return value * math.exp(-interest * days) - shelf
