"""Intervals, medians, regions and comparisons against plain loops over every run of years."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from scarfdate import Scarf, compare, date_scarf, years
from scarfdate.errors import RangeError

LEVELS = (0.05, 0.5, 0.8, 0.95, 0.999)
SLACK = 1e-12


def distributions(rng: np.random.Generator) -> list[NDArray[np.float64]]:
    """Flat, peaked, two-humped and nearly certain ones, some with ties and zeros."""
    found = [rng.dirichlet(np.full(n, a)) for n in (1, 2, 5, 23, 40) for a in (0.1, 1.0, 20.0)]
    found += [np.full(10, 0.1), np.array([0.0, 0.5, 0.0, 0.5]), np.array([0.25, 0.25, 0.25, 0.25])]
    return [p / p.sum() for p in found]


def brute_shortest(p: NDArray[np.float64], level: float) -> tuple[int, float]:
    """Length of the shortest run that holds ``level``, and the most that such a run holds."""
    for length in range(1, len(p) + 1):
        held = max(math.fsum(p[i : i + length]) for i in range(len(p) - length + 1))
        if held >= level - SLACK:
            return length, held
    raise AssertionError("the whole always holds the level")


@pytest.mark.parametrize("level", LEVELS)
def test_shortest_interval(rng: np.random.Generator, level: float) -> None:
    for p in distributions(rng):
        first, last = years.shortest_interval(years.cumulative(p[None, :]), level)
        length, held = brute_shortest(p, level)
        assert last[0] - first[0] + 1 == length
        assert math.fsum(p[first[0] : last[0] + 1]) == pytest.approx(held, abs=1e-12)


@pytest.mark.parametrize("level", LEVELS)
def test_many_rows_at_once_are_the_rows_one_by_one(rng: np.random.Generator, level: float) -> None:
    many = rng.dirichlet(np.full(60, 0.3), size=50)
    first, last = years.shortest_interval(years.cumulative(many), level)
    for place, p in enumerate(many):
        one = years.shortest_interval(years.cumulative(p[None, :]), level)
        assert (first[place], last[place]) == (one[0][0], one[1][0])


@pytest.mark.parametrize("level", LEVELS)
def test_central_interval_and_median(rng: np.random.Generator, level: float) -> None:
    tail = (1 - level) / 2
    for p in distributions(rng):
        total = years.cumulative(p[None, :])
        first, last = (int(side[0]) for side in years.central_interval(total, level))
        assert math.fsum(p[:first]) <= tail + 1e-9
        assert math.fsum(p[last + 1 :]) <= tail + 1e-9
        assert first == last or math.fsum(p[: first + 1]) > tail
        running, median = 0.0, 0
        for median, chance in enumerate(p):  # noqa: B007
            running += chance
            if running >= 0.5 - SLACK:
                break
        assert years.quantile(total, 0.5)[0] == median


@pytest.mark.parametrize("level", LEVELS)
def test_region_is_the_fewest_years(rng: np.random.Generator, level: float) -> None:
    for _ in range(20):
        p = rng.dirichlet(np.full(31, 0.5))
        inside = years.densest_cells(p[None, :], level)[0]
        ranked, held = sorted(p, reverse=True), 0.0
        fewest = next(n + 1 for n, c in enumerate(ranked) if (held := held + c) >= level - SLACK)
        assert inside.sum() == fewest
        assert p[inside].min() >= max(p[~inside], default=0.0)
        cells = [cell for a, b in years.stretches(inside) for cell in range(a, b + 1)]
        assert cells == np.flatnonzero(inside).tolist()


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (Scarf(fibre="silk", hem="hand-rolled"), Scarf(fibre="polyester")),
        (Scarf(motif="paisley"), Scarf(printed_year=1958)),
        (Scarf(), Scarf()),
    ],
)
def test_compare_is_the_double_loop(a: Scarf, b: Scarf) -> None:
    one, two = date_scarf(a, as_of=2000), date_scarf(b, as_of=2000)
    before = same = 0.0
    apart: dict[int, float] = {}
    for i, p in enumerate(one.probability.tolist()):
        for j, q in enumerate(two.probability.tolist()):
            before += p * q if i < j else 0.0
            same += p * q if i == j else 0.0
            apart[j - i] = apart.get(j - i, 0.0) + p * q
    found = compare(one, two, 0.8)
    assert found.first_before == pytest.approx(before, abs=1e-12)
    assert found.same_year == pytest.approx(same, abs=1e-12)
    assert found.first_before + found.same_year + found.second_before == pytest.approx(1)
    p = np.array([apart[gap] for gap in sorted(apart)])
    length, held = brute_shortest(p, 0.8)
    low, high = found.years_apart
    assert high - low + 1 == length
    assert math.fsum(apart[gap] for gap in range(low, high + 1)) == pytest.approx(held, abs=1e-12)


def test_compare_refuses_two_calendars() -> None:
    with pytest.raises(RangeError, match="as_of"):
        compare(date_scarf(Scarf(), as_of=2000), date_scarf(Scarf(), as_of=2001))


@pytest.mark.parametrize("level", [0, 1, -0.1, 1.1, math.nan, math.inf, "much", None])
def test_levels_out_of_range(level: object) -> None:
    with pytest.raises(RangeError, match="level"):
        years.checked_level(level)  # type: ignore[arg-type]
