"""What to ask, what offer to take, and what owning a piece is worth: the price of waiting for its buyer.

A piece stands at an asking price A. Buyers who would take it come one by one, in a short time dt with the
chance h(A) dt, and pay s A after some haggling: s is the share of what is asked that is paid, as the book has it.
A sale at p brings net(p) = (1 - f) p - k: f the fee's share of the price, k what every sale
costs. Waiting costs c a day, and money d days off is worth exp(-delta d) of itself today. With the chance r a
buyer sends the piece back: that costs g, and she owns it again. Let V be what owning it is worth today. Within
dt she pays c dt, sells with the chance h dt, and else goes on owning it, one step nearer:

    V = -c dt + h dt [(1 - r) net(s A) + r (V - g)] + (1 - h dt) (1 - delta dt) V

To first order in dt, with H = h (1 - r) for sales that last and n(A) = net(s A) - g r / (1 - r):

    delta V = H(A) (n(A) - V) - c          so          V(A) = (H(A) n(A) - c) / (H(A) + delta)

Where the piece is cleared after D days for what nets m, the same is earned up to then, and m if it still stands:

    V(A) = (1 - e) (H(A) n(A) - c) / (H(A) + delta) + e m,          e = exp(-(H(A) + delta) D)

Buyers are fewer the more is asked: h(A) = h (A / F)^-b, where F is the usual price, h the rate of buyers there
(one over the mean days to sell) and b how strongly days grow with the price, as the book has it. That is a
Weibull law of days with shape one and the same mean. The price to ask is the one with the greatest V(A). Without
a last day, and for b > 1, it has a form of its own: V(A) stands still in A where (1 - f) s A = b (n(A) - V), so

    A* = b / (b - 1) * (V + k + g r / (1 - r)) / ((1 - f) s)

a markup on what is given up by selling: the piece itself (V) and the costs of a sale. (For b <= 1 dearer is
always better.)

An offer p ends the waiting. It is to be taken if net(p) >= V, that is at or above the reservation price R with
net(R) = V (McCall 1970, "Economics of Information and Job Search", Quarterly Journal of Economics 84, 113-126:
accept from the price on at which selling is as good as to go on looking).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from scarfdate.conventions import Array
from scarfdate.worth.costs import Costs

_TRIED = 41  # prices tried at once, over a range that shrinks around the best
_ROUNDS = 5  # to a part in ten million


@dataclass(frozen=True, kw_only=True)
class Demand:
    """How a piece meets its buyers: at the ``usual`` price (money, above 0) it stands ``days`` (above 0, a
    mean); days grow as the price to the power ``elasticity`` (0 or more). ``returned``: the chance, 0 to below
    1, that a buyer sends it back; ``paid``: the share, above 0, of what is asked that is paid."""

    usual: float
    days: float
    elasticity: float
    returned: float = 0.0
    paid: float = 1.0

    def days_at(self, asking: Array) -> Array:
        """Mean days until a buyer comes at an asking price."""
        return self.days * (asking / self.usual) ** self.elasticity


@dataclass(frozen=True, kw_only=True)
class Waiting:
    """The best price to ask, the least offer to take (``reserve``), mean ``days`` until a buyer pays what is
    asked, and the ``value`` of owning the piece, today, in money, 0 at least: it can be thrown away.
    ``at_limit``: a price beyond what was tried would be better still."""

    asking: float
    reserve: float
    days: float
    value: float
    at_limit: bool


def value_at(asking: Array, demand: Demand, costs: Costs) -> Array:
    """V(A), money: what owning a piece is worth that stands at one price until it is sold or cleared."""
    rate = (1 - demand.returned) / demand.days_at(asking)
    back = demand.returned / (1 - demand.returned) * (costs.return_costs or 0.0)
    a_day, total = costs.shelf_cost_per_day or 0.0, rate + costs.interest
    waited = (rate * (costs.net(demand.paid * asking) - back) - a_day) / total
    if costs.days_at_most is None:
        return waited
    stands = np.exp(-total * costs.days_at_most)
    return (1 - stands) * waited + stands * cleared(demand, costs)


def cleared(demand: Demand, costs: Costs) -> float:
    """What clearing a piece nets: 0 at least."""
    return max(float(costs.net(np.array(demand.usual * (costs.cleared_at or 0.0)))), 0.0)


def best_waiting(demand: Demand, costs: Costs, widest: float) -> Waiting:
    """The price to ask and the least offer to take; the price lies within ``widest`` times the usual one and its
    inverse, above 1."""
    low, high = -math.log(widest), math.log(widest)
    tried = np.linspace(low, high, _TRIED)
    for _ in range(_ROUNDS):
        best = int(np.argmax(value_at(demand.usual * np.exp(tried), demand, costs)))
        around = tried[max(best - 1, 0)], tried[min(best + 1, _TRIED - 1)]
        log_asked, tried = float(tried[best]), np.linspace(*around, _TRIED)
    asking = np.array(demand.usual * math.exp(log_asked))
    value = max(float(value_at(asking, demand, costs)), 0.0)
    return Waiting(
        asking=float(asking),
        reserve=reserve(value, costs),
        days=float(demand.days_at(asking)),
        value=value,
        at_limit=log_asked in (low, high),
    )


def reserve(value: float, costs: Costs) -> float:
    """The price whose net is a value; infinite where a fee of 100 % leaves nothing."""
    return (value + costs.a_sale) / (1 - costs.fee) if costs.fee < 1 else math.inf
