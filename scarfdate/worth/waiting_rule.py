"""What to ask, what offer to take, and what owning a piece is worth: the price of waiting for its buyer.

A piece stands at an asking price A. Buyers who would pay it come one by one, in a short time dt with the
chance h(A) dt. A sale at A brings net(A) = (1 - f) A - k: f the fee's share of the price, k what every sale
costs. Waiting costs c a day, and money d days off is worth exp(-delta d) of itself today. With the chance r a
buyer sends the piece back: that costs g, and she owns it again. Let V be what owning it is worth today. Within
dt she pays c dt, sells with the chance h dt, and else goes on owning it, one step nearer:

    V = -c dt + h dt [(1 - r) net(A) + r (V - g)] + (1 - h dt) (1 - delta dt) V

To first order in dt, with H = h (1 - r) for sales that last and n(A) = net(A) - g r / (1 - r):

    delta V = H(A) (n(A) - V) - c          so          V(A) = (H(A) n(A) - c) / (H(A) + delta)

Buyers are fewer the more is asked: h(A) = h (A / F)^-b, where F is the usual price, h the rate of buyers there
(one over the mean days to sell) and b how strongly days grow with the price, as the book has it. That is a
Weibull law of days with shape one and the same mean. The best price makes the right side of the first form
greatest, V being given; its derivative in A vanishes where (1 - f) A = b (n(A) - V), so that for b > 1

    A* = b / (b - 1) * (V + k + g r / (1 - r)) / (1 - f)

a markup on what is given up by selling: the piece itself (V), and the costs of a sale. (For b <= 1 dearer is
always better, and A* is the end of the range below.) V and A* belong to each other: from some V the best A,
from that A its V, and so on, where V only rises and soon stands still (Howard 1960, "Dynamic Programming and
Markov Processes": policy iteration). Since nothing in it depends on how long she has waited, neither does A*.

An offer p ends the waiting. It is to be taken if net(p) >= V, that is at or above the reservation price R with
net(R) = V (McCall 1970, "Economics of Information and Job Search", Quarterly Journal of Economics 84, 113-126:
accept from the price on at which selling is as good as to go on looking).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scarfdate.worth.costs import Costs

WIDEST = 2.0  # times the usual price, and its part: beyond, no book says how long a piece would stand
_ROUNDS = 100
_SAME = 1e-12


@dataclass(frozen=True, kw_only=True)
class Demand:
    """How a piece meets its buyers: at the ``usual`` price (money, above 0) it stands ``days`` (above 0, a
    mean); days grow as the price to the power ``elasticity`` (0 or more). ``returned``: the chance, 0 to below
    1, that a buyer sends it back."""

    usual: float
    days: float
    elasticity: float
    returned: float = 0.0

    def days_at(self, asking: float) -> float:
        """Mean days until a buyer pays a price."""
        return self.days * (asking / self.usual) ** self.elasticity


@dataclass(frozen=True, kw_only=True)
class Waiting:
    """The best price to ask, the least offer to take (``reserve``), mean ``days`` until it is sold at the price
    asked, and the ``value`` of owning the piece, today, in money. ``at_limit``: the best price would lie beyond
    twice or half the usual one, and is cut off there."""

    asking: float
    reserve: float
    days: float
    value: float
    at_limit: bool


def value_at(asking: float, demand: Demand, costs: Costs) -> float:
    """V(A): what owning a piece is worth that stands at one price until it is sold; money, can be below 0."""
    rate = (1 - demand.returned) / demand.days_at(asking)
    lasting = (1 - costs.fee) * asking - _of_a_sale(demand, costs)
    return (rate * lasting - (costs.shelf_cost_per_day or 0.0)) / (rate + costs.interest)


def best_waiting(demand: Demand, costs: Costs) -> Waiting:
    """The price to ask and the least offer to take; the price between half and twice the usual one."""
    low, high = demand.usual / WIDEST, demand.usual * WIDEST
    asking, value = demand.usual, value_at(demand.usual, demand, costs)
    for _ in range(_ROUNDS):
        best = max(
            (low, min(max(_markup(value, demand, costs), low), high), high),
            key=lambda price: _gain(price, value, demand, costs),
        )
        better = value_at(best, demand, costs)
        if better <= value + _SAME * abs(value):
            break
        asking, value = best, better
    return Waiting(
        asking=asking,
        reserve=reserve(value, costs),
        days=demand.days_at(asking),
        value=value,
        at_limit=asking in (low, high),
    )


def reserve(value: float, costs: Costs) -> float:
    """The price whose net is a value, 0 at least; infinite where a fee of 100 % leaves nothing."""
    kept = 1 - costs.fee
    wanted = max(value, 0.0) + costs.a_sale
    return wanted / kept if kept > 0 else math.inf


def _of_a_sale(demand: Demand, costs: Costs) -> float:
    """k + g r / (1 - r): what a sale costs that lasts."""
    returns = demand.returned / (1 - demand.returned)
    return costs.a_sale + returns * (costs.return_costs or 0.0)


def _markup(value: float, demand: Demand, costs: Costs) -> float:
    """A*, without the limits of the range."""
    if demand.elasticity <= 1 or costs.fee == 1:
        return math.inf
    over = demand.elasticity / (demand.elasticity - 1)
    return over * (value + _of_a_sale(demand, costs)) / (1 - costs.fee)


def _gain(asking: float, value: float, demand: Demand, costs: Costs) -> float:
    """H(A) (n(A) - V): what asking this price brings a day, over going on as before."""
    lasting = (1 - costs.fee) * asking - _of_a_sale(demand, costs)
    return (1 - demand.returned) / demand.days_at(asking) * (lasting - value)
