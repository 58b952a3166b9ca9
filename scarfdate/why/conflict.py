"""Which clue surprises given the others, and what explains it: a slip, an altered piece, or a later one.

Each word, measurement, label text, name and dated thing is held against all the rest (`scarfdate.model.slips`).
How well they agree altogether is a p-value: pieces are drawn from the model with the same things looked
at, and the piece at hand is ranked among them by its largest weight for a slip (a conditional predictive check:
given what has no table to draw from). Of ties half count (a mid-p): on average over pieces of the model it is one
half, and where much was noted every rank is as likely; with few clues, and so with many ties, a low one is met
somewhat more often than it says.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from scarfdate.answer.reasons import Says
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import CHANNEL, Array
from scarfdate.errors import RangeError, shown
from scarfdate.frozen import frozen
from scarfdate.model.model import Codes, Model
from scarfdate.model.posterior import posterior
from scarfdate.model.replicas import replicas
from scarfdate.model.slips import Part, parts_beside_the_rest
from scarfdate.tables.priors import Priors
from scarfdate.why.asked import Asked
from scarfdate.why.predicted import SAME, tail
from scarfdate.why.surprises import Conflict, Surprise

DRAWS = 400  # pieces drawn for the p-value
_MOST_DRAWS = 100_000
_SEED = 7


def conflict(
    scarf: Scarf | Mapping[str, object],
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
    draws: int = DRAWS,
    rng: np.random.Generator | None = None,
) -> Conflict:
    """Weigh everything noted of a scarf against the rest.

    ``draws``: pieces drawn for the p-value, 0 to 100,000; ``rng``: what draws them, one with a fixed
    seed unless given. Raises RangeError for draws that are no such number, and as `date_scarf` does.
    """
    if (
        isinstance(draws, bool)
        or not isinstance(draws, (int, np.integer))
        or not 0 <= draws <= _MOST_DRAWS
    ):
        raise RangeError(
            f"draws: a whole number from 0 to {_MOST_DRAWS:,} is allowed, got {shown(draws)}"
        )
    if rng is not None and not isinstance(rng, np.random.Generator):
        raise RangeError(f"rng: a numpy Generator is allowed, got {shown(rng)}")
    asked = Asked.of(scarf, priors, channel, as_of)
    model, codes = asked.model, asked.codes
    parts, rest = parts_beside_the_rest(model, codes)
    order = sorted(range(len(parts)), key=lambda place: -parts[place].decibans)
    clues = tuple(_surprise(asked, rest[[place]], parts[place]) for place in order)
    later = posterior(model, codes).revival[0]
    as_noted, slip, altered, later_piece = 1.0 - later, 0.0, 0.0, later
    if order:
        first = parts[order[0]]
        # what is a slip is none of the others: a later piece with a slip counts as a slip
        later_piece = later - first.slip * posterior(model, rest[[order[0]]]).revival[0]
        altered = clues[0].altered
        slip = first.slip - altered
        as_noted = 1.0 - first.slip - later_piece
    doubted = asked.dated().misreadings
    wrong = {doubt.clue: doubt.chance for doubt in reversed(doubted)}  # of two, the larger
    predictive_p = float("nan")
    if draws:
        like = replicas(model, codes, int(draws), rng or np.random.default_rng(_SEED))
        predictive_p = _rank(_largest(model, codes)[0], _largest(model, like))
    return Conflict(
        clues=clues,
        as_noted=float(max(as_noted, 0.0)),
        slip=float(slip),
        altered=float(altered),
        later_piece=float(max(later_piece, 0.0)),
        predictive_p=predictive_p,
        misread=next((doubt for doubt in doubted if doubt.likely), None),
        amiss=wrong.get(clues[0].clue, 0.0) if order else 0.0,
        wrong=frozen(wrong),
    )


def _surprise(asked: Asked, rest: Codes, part: Part) -> Surprise:
    model, codes = asked.model, asked.codes
    return Surprise(
        clue=part.part.part,
        seen=Says(model).part(part.part, asked.measured),
        predicted=part.predicted,
        decibans=part.decibans,
        tail=tail(model, codes, rest, part),
        slip=part.slip,
        altered=part.slip * model.priors.altered.get(part.part.part, 0.0),
    )


def _largest(model: Model, codes: Codes) -> Array:
    """The largest weight for a slip on each piece, (n,); 0 where nothing was noted."""
    found = np.full(len(codes), -np.inf)
    for part in parts_beside_the_rest(model, codes)[0]:
        found[part.scarf] = max(found[part.scarf], part.decibans)
    return np.where(np.isfinite(found), found, 0.0)


def _rank(own: float, others: Array) -> float:
    """The part of all pieces, this one among them, with as large a value or a larger; of ties, half."""
    same = np.abs(others - own) <= SAME * max(abs(own), 1.0)
    larger = np.count_nonzero((others > own) & ~same)
    return float((larger + (np.count_nonzero(same) + 1) / 2) / (len(others) + 1))
