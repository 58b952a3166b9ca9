"""The world in which the invented dealer sold: the shipped tables, moved in a way that is written down.

`moved_priors` gives the tables from which her 400 pieces are drawn (`tests.demo.make_sold`), so that a
test of learning knows what there is to be found. Everything here is a scenario. The numbers are invented
for it and say nothing of scarves.

What differs in her town, with the shipped tables as the start; every other number stays as it is:

1. **Hems.** Hand-rolled hems stay common ten years longer: at each knot their share is that of the same
   year or of ten years before, whichever is larger. Machine-rolled ones come five years earlier: the
   share of the same year or of five years later, whichever is larger. The other hems share what is left
   in their old proportions.
2. **Fibre.** Rayon is twice as common before 1950: its odds are doubled at every knot before 1950 (the
   shares fade back to the shipped ones by the next knot).
3. **Motif.** Geometric patterns are rarer: their odds are halved at every knot.
4. **Size.** Pieces are 4 % larger: the median of the long side times 1.04 at every knot, for every form
   and grade. Slenderness stays, so the short side grows with it.
5. **Years.** Her channel (thrift) holds more of the 1950s: the factor of the channel is 2.5 times as large
   at the knots 1950 and 1955, and fades back on either side by the next knot (1945 and 1960).

The moved tables have the knots of the shipped ones, so a learner whose tables have these knots can find
all of it. Moves 1 to 3 hold for every grade.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from scarfdate import Priors
from scarfdate.conventions import CHANNEL, Array
from scarfdate.files import hash_of
from scarfdate.tables.knots import ANY, KnotTable, SharesTable, interpolate_shares

HAND_ROLLED_LATER = 10  # years
MACHINE_ROLLED_EARLIER = 5  # years
RAYON_ODDS, RAYON_BEFORE = 2.0, 1950
RARER, RARER_ODDS = "geometric", 0.5
LARGER = 1.04  # times
MORE, MORE_AT = 2.5, (1950, 1955)  # times, at these knots

_NUMBERS = repr((
    HAND_ROLLED_LATER, MACHINE_ROLLED_EARLIER, RAYON_ODDS, RAYON_BEFORE, RARER, RARER_ODDS, LARGER, MORE, MORE_AT,
))  # fmt: skip

# knots (n,) and shares (n, values) that sum to one, to other shares
Move = Callable[[Array, Array], Array]


def moved_priors(priors: Priors) -> Priors:
    """The tables of the scenario at the head of this module, made from ``priors`` (which stay).

    The hash differs from that of ``priors``; ``folder`` is theirs. A copy that was pickled would be the
    shipped tables again: make it anew in each process.
    """
    shares = {
        **priors.shares,
        "hem": _each_series(priors.shares["hem"], _hems(priors.shares["hem"])),
        "fibre": _each_series(
            priors.shares["fibre"], _odds(priors.shares["fibre"], "rayon", RAYON_ODDS, RAYON_BEFORE)
        ),
        "motif": _each_series(
            priors.shares["motif"], _odds(priors.shares["motif"], RARER, RARER_ODDS)
        ),
    }
    sides = priors.measured["long_side"]
    larger = {
        key: (knots, values * np.array([LARGER, 1.0])) for key, (knots, values) in sides.series.items()
    }  # fmt: skip
    measured = {**priors.measured, "long_side": replace(sides, series=MappingProxyType(larger))}
    return replace(
        priors,
        shares=MappingProxyType(shares),
        measured=MappingProxyType(measured),
        century=replace(priors.century, factors=_more_of_a_decade(priors)),
        hash=hash_of([("moved", _NUMBERS.encode()), ("priors", priors.hash.encode())]),
        _compiled={},  # what was compiled from the other tables does not hold for these
    )


def _each_series(table: SharesTable, move: Move) -> SharesTable:
    """The table with every series moved at its own knots."""
    series = {}
    for key, (knots, values) in table.series.items():
        other = move(knots, values / values.sum(axis=1, keepdims=True))
        series[key] = (knots, 100 * other / other.sum(axis=1, keepdims=True))
    return replace(table, series=MappingProxyType(series))


def _hems(table: SharesTable) -> Move:
    def move(knots: Array, shares: Array) -> Array:
        other = shares.copy()
        moved = [table.values.index("hand-rolled"), table.values.index("machine-rolled")]
        for place, shift in zip(moved, (-HAND_ROLLED_LATER, MACHINE_ROLLED_EARLIER), strict=True):
            then = interpolate_shares(knots, shares, knots + shift)[place]
            other[:, place] = np.maximum(shares[:, place], then)
        rest = np.setdiff1d(np.arange(len(table.values)), moved)
        left = 1 - other[:, moved].sum(axis=1)
        if left.min() <= 0:
            raise ValueError("the scenario leaves no room for other hems; move less")
        other[:, rest] *= (left / shares[:, rest].sum(axis=1))[:, None]
        return other

    return move


def _odds(table: SharesTable, value: str, times: float, before: float = np.inf) -> Move:
    def move(knots: Array, shares: Array) -> Array:
        other = shares.copy()
        # times as much beside the others, which then shrink alike: the odds are times as large
        other[knots < before, table.values.index(value)] *= times
        return other

    return move


def _more_of_a_decade(priors: Priors) -> KnotTable:
    factors = priors.century.factors
    column = factors.columns.index(priors.century.channel(CHANNEL).years)
    knots, values = factors.series[ANY]
    other = values.copy()
    at = np.isin(knots, MORE_AT)
    if at.sum() != len(MORE_AT):
        raise ValueError(f"the table of channels has no knots at {MORE_AT}")
    other[at, column] *= MORE
    return replace(factors, series=MappingProxyType({**factors.series, ANY: (knots, other)}))
