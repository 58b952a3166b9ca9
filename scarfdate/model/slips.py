"""Every part of an observation against all the rest: what it is likely to be, and whether it is a slip.

A part is a word noted, a measurement, a label's text, a name, or a dated thing. With s the chance of a
slip there and Q what a slip leaves to chance (a word as likely as it is common, any size within the limits),

    P(seen | the rest)  = (1 - s) P(seen | the rest, no slip) + s Q
    P(slip | all)       = s Q / P(seen | the rest)
    weight of evidence  = 10 log10 of Q / P(seen | the rest, no slip), in decibans (Good)

The weight of evidence finds the wrong observation better than its surprise does: of two clues that
disagree each makes the other rarer, but only one of them disagrees with all others, too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scarfdate.clues.clue import Slip
from scarfdate.conventions import DECIBANS_PER_NAT
from scarfdate.model.model import Codes, Model
from scarfdate.model.posterior import posterior

_LEAST = (
    1e-9  # of what was predicted: what is left of it without a slip is no smaller than rounding
)


@dataclass(frozen=True)
class Part:
    """One part beside the rest of the same scarf.

    ``scarf``: its row in the codes; ``column``: of its clue; ``predicted``: P(seen | the rest), of a
    measurement that of its step; ``decibans``: the weight of evidence for a slip; ``slip``: its chance.
    """

    scarf: int
    column: int
    part: Slip
    predicted: float
    decibans: float
    slip: float


def parts_beside_the_rest(model: Model, codes: Codes) -> tuple[list[Part], Codes]:
    """All parts of the scarves ``codes`` (n, clues), scarf by scarf; and the codes without each of them."""
    parts = parts_of(model, codes)
    rest = codes[[scarf for scarf, _, _ in parts]]
    for place, (_, column, slip) in enumerate(parts):
        rest[place, column] = model.clues[column].index(slip.rest)
    if not parts:
        return [], rest
    log = posterior(model, np.concatenate((codes, rest))).log_evidence
    found = []
    for (scarf, column, slip), without in zip(parts, log[len(codes) :].tolist(), strict=True):
        seen = float(np.exp(log[scarf] - without))
        as_usual = max(seen - slip.chance * slip.seen, _LEAST * seen) / (1 - slip.chance)
        weight = DECIBANS_PER_NAT * float(np.log(slip.seen / as_usual))
        by_slip = min(slip.chance * slip.seen / seen, 1.0)
        found.append(Part(scarf, column, slip, seen * slip.step, weight, by_slip))
    return found, rest


def parts_of(model: Model, codes: Codes) -> list[tuple[int, int, Slip]]:
    """The parts of scarves, scarf by scarf: the row in the codes, the column of the clue, and the part."""
    parts: list[tuple[int, int, Slip]] = []
    known = model.parts
    for scarf, row in enumerate(codes.tolist()):
        for column, index in enumerate(row):
            if index:
                slips = known.get((column, index))
                if slips is None:
                    clue = model.clues[column]
                    slips = known[column, index] = clue.slips(clue.rows.keys[index])
                parts += [(scarf, column, slip) for slip in slips]
    return parts


def at_fault(model: Model, codes: Codes) -> list[Part | None]:
    """For each scarf the part with the most weight for a slip; None where no part has any."""
    most: list[Part | None] = [None] * len(codes)
    for part in parts_beside_the_rest(model, codes)[0]:
        before = most[part.scarf]
        if part.decibans > (0.0 if before is None else before.decibans):
            most[part.scarf] = part
    return most
