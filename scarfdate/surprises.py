"""Which clue surprises given the others, and what explains it: a slip, or a later piece.

For each clue: P(what was seen | all other clues), its ratio to P(what was seen) by itself, the chance of
something as unlikely or more (where the clue has values to choose from), and the chance that it is a slip
(a re-hemmed edge, a label sewn in later, a slip of the pen): after a slip every value is as likely, so

    P(slip | all) = P(slip) P(seen | slip) / P(seen | the others).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.clues.clue import NOT_LOOKED_AT, Clue
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import CHANNEL, DECIBANS_PER_NAT, METHOD
from scarfdate.evidence import encode
from scarfdate.knots import Array
from scarfdate.model import Codes, Model, compiled
from scarfdate.one_scarf import as_scarf
from scarfdate.posterior import posterior
from scarfdate.reading import Observation
from scarfdate.scarf import Scarf
from scarfdate.show.sentence import percent
from scarfdate.subsets import seen_columns
from scarfdate.summary import Says
from scarfdate.tables.priors import Priors, load_priors

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True)
class Surprise:
    """One clue beside the others.

    ``predicted``: P(what was seen | the others). ``decibans``: 10 log10 of P(seen) by itself over
    ``predicted``; above zero the others make it less likely than it is by itself. ``tail``: the
    chance, given the others, of a value as unlikely as this or more; NaN where the clue has weights, a
    measure or a text. ``slip``: the chance that it is a slip.
    """

    clue: str
    seen: str
    predicted: float
    decibans: float
    tail: float
    slip: float


@dataclass(frozen=True)
class Conflict:
    """All clues, the most surprising first, and the chance of a later piece in an older look."""

    clues: tuple[Surprise, ...]
    later_piece: float

    def to_frame(self) -> pandas.DataFrame:
        """One row a clue."""
        import pandas as pd

        return pd.DataFrame(
            [vars(each) for each in self.clues],
            columns=["clue", "seen", "predicted", "decibans", "tail", "slip"],
        )

    def __str__(self) -> str:
        if not self.clues:
            return "Nothing was looked at: nothing disagrees."
        most = self.clues[0]
        if most.decibans <= 0:
            return "No clue disagrees with the others."
        return (
            f"Least at one with the others: {most.seen} "
            f"({most.decibans:.1f} decibans less likely given them than by itself). "
            f"A slip there: {percent(most.slip)}. A later piece in an older look: {percent(self.later_piece)}."
        )


def conflict(
    scarf: Scarf | Mapping[str, object],
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
) -> Conflict:
    """Weigh every clue of a scarf against the others. Raises as `date_scarf` does."""
    known = priors or load_priors()
    model = compiled(known, channel, as_of)
    codes, _ = encode(model, as_scarf(scarf, known))
    columns = seen_columns(model, codes)
    says = Says(model)
    # all clues; without each; each by itself; none
    rows = [codes, *(_but(codes, c) for c in columns), *(_only(codes, c) for c in columns)]
    found = posterior(model, np.concatenate([*rows, np.zeros_like(codes)]))
    log = found.log_evidence
    clues = []
    for place, column in enumerate(columns):
        without, alone = log[1 + place], log[1 + len(columns) + place]
        predicted = float(np.exp(log[0] - without))
        slip = _slip(model, codes, column, float(log[0]))
        clues.append(
            Surprise(
                model.clues[column].name,
                says.clue(column, int(codes[0, column])),
                predicted,
                float(DECIBANS_PER_NAT * ((alone - log[-1]) - (log[0] - without))),
                _tail(model, codes, column),
                slip,
            )
        )
    clues.sort(key=lambda one: -one.decibans)
    return Conflict(tuple(clues), float(found.revival[0]))


def _but(codes: Codes, column: int) -> Codes:
    left = codes.copy()
    left[0, column] = NOT_LOOKED_AT
    return left


def _only(codes: Codes, column: int) -> Codes:
    only = np.zeros_like(codes)
    only[0, column] = codes[0, column]
    return only


def _slip(model: Model, codes: Codes, column: int, log_all: float) -> float:
    """P(a slip of this clue | everything seen)."""
    clue = model.clues[column]
    key = clue.rows.keys[codes[0, column]]
    chance, rest = clue.slipped(key)
    if chance == 0:
        return 0.0
    # what a slip leaves of the clue: nothing, or what was measured beside the word
    others = codes.copy()
    others[0, column] = clue.index(rest)
    log_slip = float(np.log(chance)) + float(posterior(model, others).log_evidence[0])
    return float(np.exp(min(log_slip - log_all, 0.0)))


def _tail(model: Model, codes: Codes, column: int) -> float:
    """P(a value as unlikely as the one noted, or more | the others); NaN where that has no meaning."""
    clue = model.clues[column]
    key = clue.rows.keys[codes[0, column]]
    if not isinstance(clue, SharesClue) or not _plain_value(clue, key):
        return float("nan")
    seen = key[0]
    chances = predicted_values(model, codes, column, seen.method)
    noted = chances[clue.values.index(seen.word)]
    # values as likely as the noted one but for rounding count as well
    return float(chances[chances <= noted * (1 + 1e-9)].sum())


def _plain_value(clue: Clue, key: object) -> bool:
    if not isinstance(clue, SharesClue) or not isinstance(key, tuple) or key[0] is None:
        return False
    return key[0].word in clue.values and all(cell is None for cell in key[1])


def predicted_values(model: Model, codes: Codes, column: int, method: str = METHOD) -> Array:
    """P(each value would be noted | all other clues), (values,); they sum to one."""
    clue = model.clues[column]
    assert isinstance(clue, SharesClue)
    nothing = (None,) * len(clue.measures)
    many = np.repeat(codes, len(clue.values) + 1, axis=0)
    many[0, column] = NOT_LOOKED_AT
    many[1:, column] = [
        clue.index((Observation(((value, 1.0),), method), nothing)) for value in clue.values
    ]
    log = posterior(model, many).log_evidence
    return np.asarray(np.exp(log[1:] - log[0]))
