"""Two pieces side by side, against datings of both with kinds of clues left out."""

from __future__ import annotations

import math
from itertools import combinations
from typing import Any

import numpy as np
import pytest

from scarfdate import compare, date_scarf, load_priors
from tests.random_scarves import random_clues

NOW = 2026
A = {"fibre": "silk", "hem": "hand-rolled", "motif": "geometric", "layout": "colour-blocks",
     "label": "intact"}  # fmt: skip
B = A | {"hem": "overlocked", "origin": "china"}


def log_odds(a: dict[str, Any], b: dict[str, Any], some: tuple[str, ...]) -> float:
    """Decibans of "a before b" against "b before a", from datings with just these clues."""
    one, two = (
        date_scarf({name: seen[name] for name in some if name in seen}, as_of=NOW).probability
        for seen in (a, b)
    )
    before = sum(one[y] * two[y + 1 :].sum() for y in range(len(one)))
    after = sum(two[y] * one[y + 1 :].sum() for y in range(len(one)))
    return 10 * math.log10(before / after)


def test_shares_by_their_definition_over_all_subsets() -> None:
    names = tuple(sorted({*A, *B}))
    found = compare(date_scarf(A, as_of=NOW), date_scarf(B, as_of=NOW))
    assert set(found.share) == set(names)
    odds = {
        some: log_odds(A, B, some)
        for size in range(len(names) + 1)
        for some in combinations(names, size)
    }
    for name in names:
        rest = tuple(other for other in names if other != name)
        part = sum(
            (odds[tuple(sorted((*some, name)))] - odds[some])
            / (len(names) * math.comb(len(rest), size))
            for size in range(len(names))
            for some in combinations(rest, size)
        )
        assert found.share[name] == pytest.approx(part, abs=1e-8)
    # nothing known of either: as likely one way as the other
    assert odds[()] == pytest.approx(0, abs=1e-12)
    assert found.decibans == pytest.approx(odds[names], abs=1e-9)
    whole = 10 * math.log10(found.first_before / found.second_before)
    assert found.decibans == pytest.approx(whole, abs=1e-9)


def test_two_hems_held_up_are_decided_by_the_hem() -> None:
    """The teacher's gesture (common practice, no source): the same piece but for the hem."""
    a, b = (date_scarf(A | {"hem": hem}, as_of=NOW) for hem in ("hand-rolled", "overlocked"))
    found = compare(a, b)
    assert max(found.share, key=lambda name: abs(found.share[name])) == "hem"
    assert found.share["hem"] > 3
    assert "What decides it most: the hem (for the first being older" in str(found)
    turned = compare(b, a)
    for name, weight in found.share.items():
        assert turned.share[name] == pytest.approx(-weight, abs=1e-9)


def test_the_same_piece_twice_has_no_difference() -> None:
    one = date_scarf(A, as_of=NOW)
    found = compare(one, date_scarf(A, as_of=NOW))
    assert all(abs(weight) < 1e-9 for weight in found.share.values())
    assert "decides" not in str(found)


@pytest.mark.slow
def test_under_different_priors_or_with_many_clues_nothing_is_shared_out() -> None:
    assert not compare(date_scarf(A, as_of=NOW), date_scarf(A, as_of=NOW, channel="estate")).share
    rng = np.random.default_rng(3)
    many = [date_scarf(random_clues(load_priors(), rng, NOW), as_of=NOW) for _ in range(6)]
    for one, two in combinations(many, 2):
        found = compare(one, two)
        assert len(found.share) <= 14
        assert found.first_before + found.same_year + found.second_before == pytest.approx(1)
        if found.share:
            assert found.decibans == pytest.approx(sum(found.share.values()), abs=1e-9)
