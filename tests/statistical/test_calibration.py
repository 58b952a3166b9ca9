"""Simulation-based calibration (Talts and others 2018, arXiv 1804.06788), exact and discrete.

A scarf is drawn with its true year y and dated. With U even on (0, 1), F(y - 1) + U p(y) is then
even on (0, 1) if and only if the posterior is right on average. The chance that a right model fails
one of the tests here is stated with each; the seed is fixed, so that a pass stays a pass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from scarfdate import date_table, load_priors, simulate, years
from scarfdate.conventions import FIRST_YEAR

pytestmark = pytest.mark.statistical

N, AS_OF, BINS = 4000, 2026, 20
ERROR = 1e-3  # chance that a right model fails a test of evenness
SIGMAS = 4.0  # two-sided error of a coverage test about 6e-5


@dataclass
class Drawn:
    """Simulated scarves: their true cells, P(year), P(period), agreement."""

    true: NDArray[np.intp]
    p: NDArray[np.float64]
    revival: NDArray[np.bool_]
    period: NDArray[np.float64]
    predictive_p: NDArray[np.float64]
    seed: int

    def pit(self) -> NDArray[np.float64]:
        """F(y - 1) + U p(y)."""
        u = np.random.default_rng(self.seed + 1).random(len(self.true))
        total = years.cumulative(self.p)
        each = np.arange(len(self.true))
        return total[each, self.true] + u * self.p[each, self.true]


def draw(channel: str, dated_as: str, seed: int = 2026) -> Drawn:
    known = load_priors()
    scarves = simulate(known, N, np.random.default_rng(seed), channel=channel, as_of=AS_OF)
    table, p = date_table(scarves.frame(), channel=dated_as, as_of=AS_OF, with_years=True)
    assert table["errors"].isna().all()
    truth = scarves.truth_frame()
    return Drawn(
        truth["year"].to_numpy() - FIRST_YEAR,
        p,
        (truth["mode"] == "revival").to_numpy(),
        table["period_probability"].to_numpy(float),
        table["predictive_p"].to_numpy(float),
        seed,
    )


@pytest.fixture(scope="module")
def right() -> Drawn:
    return draw("thrift", "thrift")


def evenness(values: NDArray[np.float64]) -> float:
    """p-value of a chi-square test over equal bins."""
    counts, _ = np.histogram(values, bins=BINS, range=(0, 1))
    return float(stats.chisquare(counts).pvalue)


def test_ranks_are_even(right: Drawn) -> None:
    assert evenness(right.pit()) > ERROR


@pytest.mark.parametrize("channel", ["estate", "auction"])
def test_ranks_are_even_in_other_channels(channel: str) -> None:
    assert evenness(draw(channel, channel).pit()) > ERROR


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95])
def test_intervals_cover_what_they_say(right: Drawn, level: float) -> None:
    total = years.cumulative(right.p)
    first, last = years.shortest_interval(total, level)
    each = np.arange(N)
    mass = total[each, last + 1] - total[each, first]
    covered = (right.true >= first) & (right.true <= last)
    # of whole years an interval holds a little more than asked for: its own mass is what counts
    error = np.sqrt((mass * (1 - mass)).sum()) / N
    assert mass.min() >= level - 1e-9
    assert abs(covered.mean() - mass.mean()) < SIGMAS * error


def test_four_in_five_by_the_decade_that_is_said_and_not_by_the_true_one(right: Drawn) -> None:
    """What 80 % sure means, and what it does not: of rare decades fewer pieces are found, of common ones more.

    The shares by true decade are those that README tells; run with -s to see them.
    """
    total = years.cumulative(right.p)
    first, last = years.shortest_interval(total, 0.8)
    held = (right.true >= first) & (right.true <= last)
    start = np.arange(0, right.p.shape[1], 10)
    said = np.add.reduceat(right.p, start, axis=1).argmax(axis=1) * 10 + FIRST_YEAR
    true = right.true // 10 * 10 + FIRST_YEAR
    for decade in np.unique(said):
        some = held[said == decade]
        assert abs(some.mean() - 0.82) < SIGMAS * np.sqrt(0.82 * 0.18 / len(some))
    share = {int(decade): held[true == decade].mean() for decade in np.unique(true)}
    print({decade: round(float(each), 2) for decade, each in share.items()})
    assert 0.3 < share[1930] < 0.6 and share[1970] > 0.85 and share[2010] < 0.8


def test_revivals_are_as_many_as_said(right: Drawn) -> None:
    chance = 1 - right.period
    error = np.sqrt((chance * right.period).sum()) / N
    assert abs(right.revival.mean() - chance.mean()) < SIGMAS * error
    order = np.argsort(chance)
    for part in np.array_split(order, 5):
        error = np.sqrt((chance[part] * right.period[part]).sum()) / len(part)
        assert abs(right.revival[part].mean() - chance[part].mean()) < SIGMAS * error


@pytest.mark.parametrize("a", [0.01, 0.05, 0.1, 0.2])
def test_agreement_is_a_valid_p_value(right: Drawn, a: float) -> None:
    assert np.mean(right.predictive_p <= a) <= a + 3 * np.sqrt(a * (1 - a) / N)


def test_the_alarm_rings_for_the_wrong_channel() -> None:
    assert evenness(draw("auction", "thrift").pit()) < ERROR


def test_the_alarm_rings_for_too_sure_a_posterior(right: Drawn) -> None:
    sharper = right.p**1.5
    wrong = Drawn(
        right.true,
        sharper / sharper.sum(axis=1, keepdims=True),
        right.revival,
        right.period,
        right.predictive_p,
        2026,
    )
    assert evenness(wrong.pit()) < ERROR
