"""Which clue surprises given the others, and what explains it: a slip, an altered piece, or a later one.

Each word, measurement, label text, name and dated thing is held against all the rest (`scarfdate.model.slips`).
How well they agree altogether is a p-value: pieces are drawn from the model with the same things looked
at, and the piece at hand is ranked among them by its largest weight for a slip. Under the model every
rank is as likely (a conditional predictive check: given what has no table to draw from).
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.answer.evidence import encode
from scarfdate.answer.one_scarf import as_scarf
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import CHANNEL, METHOD, Array
from scarfdate.errors import RangeError, shown
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.model.posterior import posterior
from scarfdate.model.replicas import replicas
from scarfdate.model.slips import Part, parts_beside_the_rest
from scarfdate.reading.observation import Observation
from scarfdate.show.sentence import percent
from scarfdate.tables.priors import Priors, load_priors

if TYPE_CHECKING:
    import pandas

DRAWS = 400  # pieces drawn for the p-value
_MOST_DRAWS = 100_000
_SEED = 7
_SAME = 1e-9  # values as likely but for rounding


@dataclass(frozen=True)
class Surprise:
    """One thing noted, beside all the rest.

    ``clue``: its family. ``predicted``: P(what was seen | the rest), of a measurement that of its step.
    ``decibans``: the weight of evidence that it is a slip, noted at random. ``tail``: the chance, given
    the rest, of a value or a step as unlikely as this or more; NaN for weights, texts, names and dated
    things. ``slip``: the chance that it is a slip. ``altered``: of that, the chance that the piece was
    altered: re-hemmed, cut down, a label sewn in.
    """

    clue: str
    seen: str
    predicted: float
    decibans: float
    tail: float
    slip: float
    altered: float


@dataclass(frozen=True)
class Conflict:
    """Everything noted, the most surprising first, and what explains that first one.

    ``as_noted``, ``slip``, ``altered``, ``later_piece``: the chances that the first one is as it was
    noted on a piece of its period; that it is a slip of the eye or the pen; that the piece was altered;
    and that it is as noted on a later piece in an older look. They sum to one. ``predictive_p``: the
    share of pieces drawn from the model whose clues fit as badly or worse, 0 to 1 (of ties, half); NaN
    where none were drawn. A prior predictive p-value (Box 1980).
    """

    clues: tuple[Surprise, ...]
    as_noted: float
    slip: float
    altered: float
    later_piece: float
    predictive_p: float

    def to_frame(self) -> pandas.DataFrame:
        """One row a thing noted."""
        import pandas as pd

        return pd.DataFrame([vars(each) for each in self.clues], columns=list(_FIELDS))

    def __str__(self) -> str:
        if not self.clues:
            return "Nothing was looked at, so nothing can disagree."
        most = self.clues[0]
        text = ""
        if not np.isnan(self.predictive_p):
            text = (
                f" Of simulated pieces {percent(self.predictive_p)} have clues that fit as badly."
            )
        if most.decibans <= 0:
            return f"Nothing here looks like a slip.{text}"
        return (
            f"Fits the other clues worst: {most.seen} ({most.decibans:.1f} decibans for a slip). "
            f"As noted, on a piece of its period: {percent(self.as_noted)}; a slip of the eye or the pen: "
            f"{percent(self.slip)}; altered since it was made: {percent(self.altered)}; a later piece in "
            f"an older look: {percent(self.later_piece)}.{text}"
        )


_FIELDS = tuple(Surprise.__dataclass_fields__)


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
    known = priors or load_priors()
    model = compiled(known, channel, as_of)
    codes, _ = encode(model, as_scarf(scarf, known))
    parts, rest = parts_beside_the_rest(model, codes)
    order = sorted(range(len(parts)), key=lambda place: -parts[place].decibans)
    clues = tuple(_surprise(model, codes, rest[[place]], parts[place]) for place in order)
    later = posterior(model, codes).revival[0]
    as_noted, slip, altered, later_piece = 1.0 - later, 0.0, 0.0, later
    if order:
        first = parts[order[0]]
        # what is a slip is none of the others: a later piece with a slip counts as a slip
        later_piece = later - first.slip * posterior(model, rest[[order[0]]]).revival[0]
        altered = clues[0].altered
        slip = first.slip - altered
        as_noted = 1.0 - first.slip - later_piece
    predictive_p = float("nan")
    if draws:
        like = replicas(model, codes, int(draws), rng or np.random.default_rng(_SEED))
        predictive_p = _rank(_largest(model, codes)[0], _largest(model, like))
    return Conflict(
        clues,
        float(max(as_noted, 0.0)),
        float(slip),
        float(altered),
        float(max(later_piece, 0.0)),
        predictive_p,
    )


def _surprise(model: Model, codes: Codes, rest: Codes, part: Part) -> Surprise:
    return Surprise(
        part.part.part,
        part.part.says,
        part.predicted,
        part.decibans,
        _tail(model, codes, rest, part),
        part.slip,
        part.slip * model.priors.altered[part.part.part],
    )


def _largest(model: Model, codes: Codes) -> Array:
    """The largest weight for a slip on each piece, (n,); 0 where nothing was noted."""
    found = np.full(len(codes), -np.inf)
    for part in parts_beside_the_rest(model, codes)[0]:
        found[part.scarf] = max(found[part.scarf], part.decibans)
    return np.where(np.isfinite(found), found, 0.0)


def _rank(own: float, others: Array) -> float:
    """The part of all pieces, this one among them, with as large a value or a larger; of ties, half."""
    same = np.abs(others - own) <= _SAME * max(abs(own), 1.0)
    larger = np.count_nonzero((others > own) & ~same)
    return float((larger + (np.count_nonzero(same) + 1) / 2) / (len(others) + 1))


def _tail(model: Model, codes: Codes, rest: Codes, part: Part) -> float:
    """P(a value or step as unlikely as the one noted, or more | the rest); NaN where that has no meaning."""
    clue = model.clues[part.column]
    key = clue.rows.keys[codes[0, part.column]]
    if not isinstance(clue, SharesClue) or not isinstance(key, tuple):
        return float("nan")
    seen, cells = key
    if part.part.part == clue.name:
        if seen.word not in clue.values:
            return float("nan")
        chances = predicted_values(model, rest, part.column, seen.method)
    else:
        place = [one.family.name for one in clue.measures].index(part.part.part)
        measure = clue.measures[place]
        steps = range(measure.cell(measure.family.low), measure.cell(measure.family.high) + 1)
        keys = [(seen, (*cells[:place], step, *cells[place + 1 :])) for step in steps]
        chances = _chances(model, rest, part.column, keys) * part.part.step
        chances /= chances.sum()  # sizes outside the limits are refused: these are all there is
    return float(min(chances[chances <= part.predicted * (1 + _SAME)].sum(), 1.0))


def predicted_values(model: Model, rest: Codes, column: int, method: str = METHOD) -> Array:
    """P(each value would be noted | the rest), (values,); they sum to one.

    ``rest`` (1, clues): of the clue itself it may hold what was measured, and no word.
    """
    clue = model.clues[column]
    assert isinstance(clue, SharesClue)
    held = clue.rows.keys[rest[0, column]]
    cells = held[1] if isinstance(held, tuple) else (None,) * len(clue.measures)
    keys = [(Observation(((value, 1.0),), method), cells) for value in clue.values]
    return _chances(model, rest, column, keys)


def _chances(model: Model, rest: Codes, column: int, keys: Sequence[Hashable]) -> Array:
    """P(each observation of a clue | the rest), or its density, (keys,)."""
    many = np.repeat(rest, len(keys) + 1, axis=0)
    many[1:, column] = [model.clues[column].index(key) for key in keys]
    log = posterior(model, many).log_evidence
    return np.asarray(np.exp(log[1:] - log[0]))
