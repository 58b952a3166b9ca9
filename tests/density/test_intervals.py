"""Counting distinct intervals, parts for held-out scores, one-sided dates."""

from __future__ import annotations

import numpy as np
import pytest

from notebooks.turnbull import bounded
from scarfdate.density.intervals import compressed, fold_numbers, split_weights
from scarfdate.errors import RangeError

NAN = float("nan")


def test_distinct_intervals_are_sorted_and_counted() -> None:
    found = compressed([3, 0, 3, 0], [5, 9, 5, 2], [1, 2, 0.5, 0])
    assert found.first.tolist() == [0, 3]
    assert found.last.tolist() == [9, 5]
    assert found.weight.tolist() == [2, 1.5]


def test_counting_and_sorting_give_the_same(rng: np.random.Generator) -> None:
    first = rng.integers(0, 140, 500)
    last = first + rng.integers(0, 30, 500)
    fold = rng.integers(0, 4, 500)
    small = compressed(first, last, fold=fold)
    large = compressed(first * 1000, last * 1000, fold=fold)  # too wide a grid to count on
    assert (small.first * 1000 == large.first).all()
    assert (small.last * 1000 == large.last).all()
    assert (small.weight == large.weight).all()
    assert small.fold_weight is not None
    assert large.fold_weight is not None
    assert (small.fold_weight == large.fold_weight).all()
    assert (small.fold_weight.sum(axis=1) == small.weight).all()


@pytest.mark.parametrize(
    ("first", "last", "weight"),
    [
        ([3], [2], None),
        ([-1], [2], None),
        ([0.5], [2], None),
        ([NAN], [2], None),
        ([0, 1], [2], None),
        ([], [], None),
        ([0], [1], [-1]),
        ([0], [1], [NAN]),
        ([0], [1], [0]),
    ],
)
def test_what_cannot_be_is_refused(
    first: list[float], last: list[float], weight: list[float] | None
) -> None:
    with pytest.raises(RangeError):
        compressed(first, last, weight)


def test_a_group_is_never_split_and_parts_are_alike(rng: np.random.Generator) -> None:
    group = np.repeat(np.arange(60), rng.integers(1, 12, 60))
    part = fold_numbers(group, rng, 5)
    assert all(len(set(part[group == name])) == 1 for name in range(60))
    sizes = np.bincount(part)
    assert len(sizes) == 5
    assert sizes.max() - sizes.min() <= 12


def test_split_weights_loses_nothing(rng: np.random.Generator) -> None:
    weight = np.array([200, 1, 0.4, 3.7])
    table = split_weights(weight, 4, rng)
    assert table.sum(axis=1) == pytest.approx(weight)
    assert (table >= 0).all()
    assert (table[0] > 25).all()  # 200 records fall on all four parts


def test_one_sided_dates() -> None:
    first = [1933, 1933, NAN, NAN, 1950, 1850, 1960, 2030, 1955]
    last = [NAN, NAN, 1941, NAN, 1960, 1870, 1950, 2031, 1965]
    acquired = [1970, NAN, NAN, 1950, 1956, NAN, NAN, NAN, 1940]
    begin, end, kept = bounded(first, last, acquired, start=1880, stop=2025)
    assert kept.tolist() == [True, True, True, False, True, True, False, False, False]
    assert (begin + 1880)[kept].tolist() == [1933, 1933, 1880, 1950, 1880]
    assert (end + 1880)[kept].tolist() == [1970, 2025, 1941, 1956, 1880]
