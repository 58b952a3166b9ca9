"""What a piece brings once it is owned: every drawn price and wait, less what selling costs.

For one draw, of a piece that is sold for p after t days:

    gain = exp(-interest * t) * (net(p) - returns) - shelf(t) - cleaning - minutes at their rate
    net(p) = p * (1 - fee) - fixed fee - postage - packing, 0 at least
    shelf(t) = shelf cost a day * (1 - exp(-interest * t)) / interest, which is cost * t where there is none

All of it in money of the day of buying, so that the profit is the gain less the price paid. A sale that would
not even pay its postage is not made. A piece that is sent back costs what a return costs, and sells after as
many days again. Where a last day is stated, what stands until then is cleared for its share of the price.

She is taken to ask what brings the usual price, the middle of what is known of it, after the haggling that the book
shows: the usual price over the share of what is asked that is paid.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.conventions import Array
from scarfdate.worth.costs import Costs

if TYPE_CHECKING:
    from scarfdate.worth.price_samples import PriceSamples


@dataclass(frozen=True, eq=False, kw_only=True)
class Sales:
    """Drawn sales of n pieces, (n, S) each: the ``price`` a buyer pays in the end, the ``days`` until then
    (None where nothing is known of days) and the ``gain``: what owning the piece is worth, in money of today."""

    price: Array
    days: Array | None
    gain: Array


def sales(samples: PriceSamples, costs: Costs) -> Sales:
    """Every draw, sold."""
    price, back = np.exp(samples.log_price), _sent_back(samples)
    asked = samples.log_fair.mean(axis=1) - np.log(samples.paid_of_asked)
    days = samples.days(asked) if samples.has_days else None
    if days is not None:
        days = (1 + back) * days
        if costs.days_at_most is not None:
            cleared = days > costs.days_at_most
            price = np.where(cleared, price * (costs.cleared_at or 0.0), price)
            days = np.minimum(days, costs.days_at_most)
    return Sales(price=price, days=days, gain=gains(price, days, back, costs))


def gains(price: Array, days: Array | None, back: Array, costs: Costs) -> Array:
    """What each sale is worth today to whoever owns the piece; arrays of one shape.

    ``price``: money, what the last buyer pays; ``days``: until then, None if not known; ``back``: 1 where a
    buyer sent it back before, 0 where none did, or the chance of it.
    """
    left = np.maximum(costs.net(price), 0.0) - back * (costs.return_costs or 0.0)
    if days is None:
        return left - costs.a_piece
    interest, a_day = costs.interest, costs.shelf_cost_per_day or 0.0
    if interest == 0:
        return left - a_day * days - costs.a_piece
    later = np.expm1(-interest * days)
    return np.asarray(left * (1 + later) + a_day / interest * later - costs.a_piece)


def _sent_back(samples: PriceSamples) -> Array:
    """1 where a drawn sale is sent back, 0 where not, (n, S); the chance of it where no days are drawn.

    The uniform numbers of days stand one in each S-th of the unit interval: where within its S-th one stands is
    a uniform number of its own.
    """
    if samples.returned is None:
        return np.zeros(samples.log_price.shape)
    if samples.days_uniform is None:
        return samples.returned
    within = samples.days_uniform * samples.days_uniform.shape[1] % 1
    return np.asarray(within < samples.returned, dtype=np.float64)
