"""Grade, market, central intervals and clue surprises of simulated pieces, against what was said.

The seed is fixed; each tolerance is in standard errors of the test itself, and stated.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from scarfdate import date_table, load_priors, simulate, years
from scarfdate.answer.frame import Columns
from scarfdate.conventions import FIRST_YEAR, GRADES, MARKETS
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.model.posterior import Posterior, posterior
from scarfdate.model.weighing import weigh

pytestmark = pytest.mark.statistical

N, AS_OF = 5000, 2026
SIGMAS = 4.5  # some 40 two-sided comparisons: a right model fails one of them with 3 in 10,000


class Drawn:
    """Simulated pieces, what is true of them, and their posteriors."""

    model: Model
    codes: Codes
    truth: dict[str, NDArray[np.object_]]
    found: Posterior

    def __init__(self, channel: str, dated_as: str) -> None:
        drawn = simulate(load_priors(), N, np.random.default_rng(77), channel=channel, as_of=AS_OF)
        self.model = compiled(load_priors(), dated_as, AS_OF)
        # first the table: it may start the rows of the model anew, and row numbers given before are void
        _, chance = date_table(drawn.frame(), channel=dated_as, as_of=AS_OF, with_years=True)
        self.codes = Columns(self.model, drawn.frame()).block(0, N).codes
        self.truth = {name: np.array(cells) for name, cells in drawn.truth.items()}
        self.found = posterior(self.model, self.codes, keep_joint=np.float64)
        np.testing.assert_allclose(self.found.year, chance, atol=1e-12)


@pytest.fixture(scope="module")
def right() -> Drawn:
    return Drawn("thrift", "thrift")


def farthest(chance: NDArray[np.float64], true: NDArray[np.bool_], parts: int = 5) -> float:
    """The farthest that counts lie from what was said, in standard errors, over groups alike."""
    gaps = []
    for part in np.array_split(np.argsort(chance), parts):
        error = np.sqrt((chance[part] * (1 - chance[part])).sum())
        gaps.append(abs(true[part].sum() - chance[part].sum()) / error)
    return float(max(gaps))


def test_grade_and_market_are_reliable(right: Drawn) -> None:
    for place, grade in enumerate(GRADES):
        assert farthest(right.found.grade[:, place], right.truth["grade"] == grade) < SIGMAS
    for place, market in enumerate(MARKETS):
        assert farthest(right.found.market[:, place], right.truth["market"] == market) < SIGMAS


def test_the_alarm_rings_for_grades_of_another_channel() -> None:
    """Pieces from auctions, dated as from a thrift shop, are finer than is said."""
    wrong = Drawn("auction", "thrift")
    assert farthest(wrong.found.grade[:, 0], wrong.truth["grade"] == "fine") > 3 * SIGMAS


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95])
def test_central_intervals_cover_what_they_hold(right: Drawn, level: float) -> None:
    total = years.cumulative(right.found.year)
    first, last = years.central_interval(total, level)
    each = np.arange(N)
    mass = total[each, last + 1] - total[each, first]
    true = right.truth["year"].astype(int) - FIRST_YEAR
    covered = (true >= first) & (true <= last)
    error = np.sqrt((mass * (1 - mass)).sum()) / N
    print(f"\ncentral {level}: covered {covered.mean():.4f}, held {mass.mean():.4f} +- {error:.4f}")
    assert mass.min() >= level - 1e-9
    assert abs(covered.mean() - mass.mean()) < SIGMAS * error


def test_the_mean_surprise_of_every_clue_is_one(right: Drawn) -> None:
    """r = P(clue) / P(clue | others) is an e-value: E[r] = 1 under the model, whatever the others.

    Over the pieces where a clue was looked at. The tails are heavy, so that the standard error is an
    estimate too; the tolerance is wide for it.
    """
    total = years.cumulative(right.found.year)
    assert right.found.joint is not None
    interval = years.shortest_interval(total, 0.8)
    weighed = weigh(right.model, right.codes, right.found.joint, *interval)
    checked = 0
    for place, columns in enumerate(right.model.units):
        looked = (right.codes[:, columns] != 0).any(axis=1)
        r = weighed.surprise[looked, place]
        if len(r) < 1000:
            continue
        error = r.std(ddof=1) / np.sqrt(len(r))
        name = "+".join(right.model.clues[column].name for column in columns)
        print(f"\n{name}: mean r {r.mean():.4f} +- {error:.4f} of {len(r)}", end="")
        assert abs(r.mean() - 1) < SIGMAS * error, name
        checked += 1
    assert checked >= 10
