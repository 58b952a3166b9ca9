"""Scarves drawn from the model itself, with their true state: for tests and for teaching."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.shares import Measure, SharesClue
from scarfdate.conventions import CHANNEL, FIRST_YEAR, GRADES, MARKETS, METHOD
from scarfdate.errors import RangeError
from scarfdate.knots import Array
from scarfdate.model.model import Model, compiled
from scarfdate.reading.scarf import DERIVED, Scarf
from scarfdate.tables.priors import Priors, load_priors

if TYPE_CHECKING:
    import pandas as pd

Places = NDArray[np.intp]


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
    dated prints are not drawn: the tables do not say how many pieces have them.
    """
    if isinstance(n, bool) or not isinstance(n, (int, np.integer)) or n < 0:
        raise RangeError(f"n: a whole number from 0 is allowed, got {n!r}")
    if not 0 <= looked_at <= 1:
        raise RangeError(f"looked_at: must lie between 0 and 1, got {looked_at!r}")
    model = compiled(priors or load_priors(), channel, as_of)
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
        if isinstance(clue, SharesClue):
            at = style if clue.reads == "style" else year
            _shares(clue, at, grade, market, looked_at, rng, seen, truth)
    _without_label(model, seen)
    return Simulated(seen, truth)


def drawn(chances: Array, rng: np.random.Generator) -> Places:
    """One place for each column of (places, n) chances, whose columns sum to one."""
    total = np.cumsum(chances, axis=0)
    return np.asarray(
        (rng.random(chances.shape[1]) * total[-1] >= total).sum(axis=0), dtype=np.intp
    )


def _shares(
    clue: SharesClue,
    at: Places,
    grade: Places,
    market: Places,
    looked_at: float,
    rng: np.random.Generator,
    seen: dict[str, list[object]],
    truth: dict[str, list[object]],
) -> None:
    n = len(at)
    true = drawn(
        clue.shares[:, market if clue.by_market else np.zeros(n, dtype=np.intp), grade, at], rng
    )
    noted = drawn(clue.noted(METHOD)[true].T, rng)
    truth[f"true_{clue.name}"] = [clue.values[place] for place in true]
    looked = rng.random(n) < looked_at
    seen[clue.name] = [
        clue.values[place] if see else None for place, see in zip(noted, looked, strict=True)
    ]
    sizes = {
        measure.family.name: measured(measure, true, grade, at, rng) for measure in clue.measures
    }
    looked = rng.random(n) < looked_at
    if "long_side" in sizes:
        long = sizes.pop("long_side")
        # a side too short to be one would be refused: a slip does not make the impossible
        least = next(m.family.low for m in clue.measures if m.family.name == "long_side")
        short = np.maximum(long / sizes.pop("slenderness", np.ones(n)), least)
        sizes |= {"width_cm": long, "height_cm": short}
    for name, values in sizes.items():
        if name not in DERIVED:
            shown = np.where(looked, values, np.nan)
            seen[name] = [None if np.isnan(value) else float(value) for value in shown]
            if name != "height_cm" and name != "width_cm":
                looked = rng.random(n) < looked_at


def measured(
    measure: Measure, true: Places, grade: Places, at: Places, rng: np.random.Generator
) -> Array:
    """A measurement of each piece, within what is possible."""
    family = measure.family
    usual = rng.normal(measure.centre[true, grade, at], measure.spread[true, grade, at])
    slip = rng.uniform(np.log(family.low), np.log(family.high), len(at))
    logs = np.where(rng.random(len(at)) < measure.slip, slip, usual)
    if measure.folded:
        logs = np.abs(logs)
    return np.clip(np.exp(logs), family.low * 1.0001, family.high * 0.9999)


def _without_label(model: Model, seen: dict[str, list[object]]) -> None:
    """Nobody notes how a label is made where none was seen."""
    if "label" in seen and "label_make" in seen:
        seen["label_make"] = [
            None if label == "none-seen" else make
            for label, make in zip(seen["label"], seen["label_make"], strict=True)
        ]
