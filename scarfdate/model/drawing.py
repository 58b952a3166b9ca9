"""Scarves drawn from the model itself, with their true state: for tests and for teaching."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from numbers import Real
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.clues.clue import drawn
from scarfdate.clues.kinds import fields_of
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import CHANNEL, FIRST_YEAR, GRADES, MARKETS
from scarfdate.errors import RangeError, shown
from scarfdate.model.model import compiled
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
    was looked at, each for itself. Confusions and slips happen as often as the tables say. Makers and
    dated prints are not drawn: the tables do not say how many pieces have them. All pieces are held in memory at
    once, some three kilobytes each, so ``n`` is at most a million; RangeError for more.
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
    for clue in model.clues:
        made = clue.drawn(style if clue.reads == "style" else year, grade, market, looked_at, rng)
        seen |= made.seen
        truth |= made.truth
    _without_contradictions(model.priors, seen)
    return Simulated(seen, truth)


def _without_contradictions(priors: Priors, seen: dict[str, list[object]]) -> None:
    """Blank what nobody notes beside the other clues, such as the make of a label that is not there."""
    for one in fields_of(priors):
        if one.never is not None and one.name in seen and one.never[0] in seen:
            other, value = one.never
            beside = zip(seen[other], seen[one.name], strict=True)
            seen[one.name] = [None if word == value else cell for word, cell in beside]
