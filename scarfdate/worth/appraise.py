"""`appraise`: one piece, from what was seen and what is asked to what to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scarfdate.answer.kind import channel_for
from scarfdate.answer.one_scarf import as_scarf
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import CHANNEL
from scarfdate.tables.priors import Priors
from scarfdate.worth.amounts import read_amount
from scarfdate.worth.appraisal import Appraisal
from scarfdate.worth.condition import Condition
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.profit import sales
from scarfdate.worth.spread import Spread
from scarfdate.worth.terms import RISK, GivenCosts, GivenPrices, Terms


def appraise(
    scarf: Scarf | Mapping[str, object],
    asking: object = None,
    costs: GivenCosts = None,
    prices: GivenPrices = None,
    *,
    condition: Condition | Sequence[Any] | None = None,
    risk: float = RISK,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    sale_channel: str | None = None,
    season: str | int | None = None,
    as_of: int | None = None,
    offer: object = None,
) -> Appraisal:
    """What a piece may bring, what to pay for it at most, and whether to buy, keep or sell it.

    ``scarf``: what was seen, as `date_scarf` takes it; ``asking``: the price asked, money as a number or as text
    ("12.50", "EUR 12"), None if none is; ``costs``: what selling costs, as `read_costs` takes it, None states
    nothing; ``prices``: what `learn_prices` learned from one's own book, or its folder; None: the invented ones
    that come along, which say so. ``condition``: a `Condition`, or its faults (text, or a list); None: not looked at.
    ``risk``: the chance of a loss that is accepted, 0 to 1. ``channel``: where the piece turned up;
    ``sale_channel``, ``season`` ("Oct-Dec", or a month from 1 to 12): where and when it is to be sold, None: as the
    book's sales were. ``offer``: what a buyer offers for it now, if it is hers.

    Raises ScarfdateError, naming it, for what is no price (negative, another currency), no risk, or no piece, and
    where costs and prices are not in one currency.
    """
    terms = Terms.of(
        costs, prices, priors=priors, channel=channel, as_of=as_of, sale_channel=sale_channel,
        season=season, risk=risk,
    )  # fmt: skip
    seen = as_scarf(scarf, terms.priors)
    return appraised(
        seen,
        terms.turned_up(channel_for(terms.priors, channel, seen)),
        state=_condition(condition, terms.priors),
        asking=read_amount("asking", asking, terms.currency),
        offer=read_amount("offer", offer, terms.currency),
    )


def appraised(
    seen: Scarf,
    terms: Terms,
    *,
    state: Condition | None,
    asking: float | None,
    offer: float | None = None,
) -> Appraisal:
    """The same of a scarf, its condition and its money as they were read."""
    pieces = Pieces.of(
        seen, state, terms.priors, channel=terms.channel, as_of=terms.as_of
    )  # fmt: skip
    samples = terms.samples(pieces)
    sold = sales(samples, terms.costs)
    return Appraisal(
        price=Spread(sold.price[0]),
        gain=Spread(sold.gain[0]),
        days=None if sold.days is None else Spread(sold.days[0]),
        asking=asking,
        offer=offer,
        risk=terms.risk,
        currency=terms.currency,
        costs=terms.costs,
        invented=samples.invented,
        notes=(*terms.notes, *(() if state is None else state.cautions)),
        _scarf=seen,
        _terms=terms,
        _pieces=pieces,
        _samples=samples,
    )


def _condition(given: Any, priors: Priors) -> Condition | None:
    """A condition as it was given, or read from its faults; None where nobody looked."""
    if given is None or isinstance(given, Condition):
        return given
    return None if isinstance(given, str) and not given.strip() else Condition(given, priors=priors)
