"""Scarves drawn from the model itself, with their true state: for tests and for teaching."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from numbers import Real
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import drawn
from scarfdate.clues.kinds import fields_of
from scarfdate.clues.label import LabelClue, shown_on_label
from scarfdate.clues.on_label import hung_on_label
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares import SharesClue
from scarfdate.clues.shares_field import LABEL
from scarfdate.conventions import CHANNEL, FIRST_YEAR, GRADES, MARKETS, METHOD
from scarfdate.errors import RangeError, shown
from scarfdate.model.model import Model, compiled
from scarfdate.tables.priors import Priors, checked_priors

if TYPE_CHECKING:
    import pandas as pd


_MOST = 1_000_000  # pieces drawn at once, all of which are in memory


@dataclass(frozen=True)
class Simulated:
    """Scarves and what is true of them, row by row.

    ``seen``: columns as a dealer's frame has them, blank where not looked at; ``truth``: year, grade,
    market, mode ("period" or "revival"), style_year, and for each family of shares what it truly is
    (``true_fibre`` and so on).
    """

    seen: Mapping[str, list[object]] = field(repr=False)
    truth: Mapping[str, list[object]] = field(repr=False)

    def __len__(self) -> int:
        return len(self.truth["year"])

    def scarves(self, priors: Priors | None = None) -> list[Scarf]:
        """The scarves as `Scarf` values."""
        names = list(self.seen)
        return [
            Scarf(priors=priors, **dict(zip(names, row, strict=True)))
            for row in zip(*self.seen.values(), strict=True)
        ]

    def frame(self) -> pd.DataFrame:
        """What was seen, as a frame for `date_table`."""
        import pandas as pd

        return pd.DataFrame(dict(self.seen))

    def truth_frame(self) -> pd.DataFrame:
        """What is true, as a frame with the same index."""
        import pandas as pd

        return pd.DataFrame(dict(self.truth))


def simulate(
    priors: Priors | None,
    n: int,
    rng: np.random.Generator,
    *,
    channel: str = CHANNEL,
    as_of: int | None = None,
    looked_at: float = 0.6,
) -> Simulated:
    """Draw ``n`` scarves from the tables, with missing and misread clues.

    ``rng`` is the only source of chance; ``looked_at``, between 0 and 1, is the chance that a clue
    was looked at, each for itself. Confusions and slips happen as often as the tables say; a label of another piece
    brings all that is read off it, of any year. A country name and the make of a label are noted only where there
    truly is a label, and where it shows them, as often as ``label_shown.csv`` says. Makers and dated prints are not
    drawn: the tables do not say how many pieces have them. All pieces are held in memory at once, some three
    kilobytes each, so ``n`` is at most a million; RangeError for more.
    """
    if isinstance(n, bool) or not isinstance(n, (int, np.integer)) or not 0 <= n <= _MOST:
        raise RangeError(
            f"n: a whole number from 0 to {_MOST} is allowed, got {shown(n)}; "
            "draw more in several parts, each with a seed of its own"
        )
    if not isinstance(looked_at, Real) or not 0 <= looked_at <= 1:
        raise RangeError(f"looked_at: must lie between 0 and 1, got {shown(looked_at)}")
    if not isinstance(rng, np.random.Generator):
        raise RangeError(
            f"rng: a numpy Generator is allowed, got {shown(rng)}; write np.random.default_rng(1)"
        )
    model = compiled(checked_priors(priors), channel, as_of)
    year = rng.choice(len(model.years), size=n, p=model.year_prior)
    grade = drawn((model.prior / model.year_prior)[:, year], rng)
    market = drawn(model.market[:, year], rng)
    revival = rng.random(n) < model.revival_share[year]
    looked_back = drawn(model.looked_back_to[year].T, rng)
    style = np.where(revival, looked_back, year)
    truth: dict[str, list[object]] = {
        "year": (year + FIRST_YEAR).tolist(),
        "grade": [GRADES[place] for place in grade],
        "market": [MARKETS[place] for place in market],
        "mode": np.where(revival, "revival", "period").tolist(),
        "style_year": (style + FIRST_YEAR).tolist(),
    }
    seen: dict[str, list[object]] = {}
    # streams of their own: what is drawn next does not hang on what labels show, and whose they are
    label = _Labels(model, year, grade, market, rng=_aside(rng, 2))
    for clue in model.clues:
        if clue.name in label.clues:
            made = label.clues[clue.name].drawn(*label.states, looked_at, rng)
        else:
            at = style if clue.reads == "style" else year
            made = clue.drawn(at, grade, market, looked_at, rng)
        seen |= made.seen
        truth |= made.truth
    aside = _aside(rng, 1)
    _only_on_labels(model, seen, truth, market, year, aside)
    _without_contradictions(model.priors, seen)
    return Simulated(seen, truth)


def _aside(rng: np.random.Generator, jumps: int) -> np.random.Generator:
    """Another stream, so many jumps ahead, of a generator that can do so; else the same."""
    jumped = getattr(rng.bit_generator, "jumped", None)
    return rng if jumped is None else np.random.Generator(jumped(jumps))


class _Labels:
    """Whose labels they are: ``states``, year, grade and market of the piece that each label was made for, (n,) each, and
    by family the ``clues`` of what is read off it."""

    def __init__(self, model: Model, *own: NDArray[np.intp], rng: np.random.Generator) -> None:
        of_labels = next((clue for clue in model.clues if isinstance(clue, LabelClue)), None)
        self.states, self.clues = own, dict[str, SharesClue]()
        if of_labels is None:
            return
        foreign = rng.random(len(own[0])) < of_labels.foreign
        sizes = (len(model.years), len(GRADES), len(MARKETS))
        self.states = tuple(
            np.where(foreign, rng.integers(size, size=len(foreign)), of_piece)
            for of_piece, size in zip(own, sizes, strict=True)
        )
        methods = of_labels.off.methods.items()
        self.clues = {name: of_labels.off.clue(name) for name, how in methods if how == METHOD}


def _only_on_labels(
    model: Model, seen: dict[str, list[object]], truth: Mapping[str, list[object]],
    market: NDArray[np.intp], year: NDArray[np.intp], rng: np.random.Generator,
) -> None:  # fmt: skip
    """Blank what is read off a label where there truly is none, or none that shows it; and where none was noted."""
    for (name, method), states in hung_on_label(model.priors).items():
        if method != METHOD:  # others are not drawn
            continue
        state = dict(zip(model.priors.vocabulary.values[LABEL], states.tolist(), strict=True))
        chance = np.broadcast_to(shown_on_label(model.clues, name), model.market.shape)
        shown = rng.random(len(year)) < chance[market, year]
        each = zip(seen[name], truth[f"true_{LABEL}"], seen[LABEL], shown, strict=True)
        seen[name] = [
            cell if there and state[str(true)] and state.get(str(noted), True) else None
            for cell, true, noted, there in each
        ]


def _without_contradictions(priors: Priors, seen: dict[str, list[object]]) -> None:
    """Blank what nobody notes beside the other clues, such as the make of a label that is not there."""
    for one in fields_of(priors):
        if one.never is not None and one.name in seen and one.never[0] in seen:
            other, value = one.never
            beside = zip(seen[other], seen[one.name], strict=True)
            seen[one.name] = [None if word == value else cell for word, cell in beside]
