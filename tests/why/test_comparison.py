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


def told(one: dict[str, Any], two: dict[str, Any]) -> str:
    return str(compare(*(date_scarf(seen, as_of=NOW) for seen in (one, two))))


@pytest.mark.parametrize(
    ("one", "two", "decides"),
    [
        ({"printed_year": 1953, "motif": "souvenir"}, {"printed_year": 1977, "motif": "souvenir"},
         "the year in the print"),
        ({"printed_year": 1962, "print_technique": "digital"},
         {"printed_year": 1962, "print_technique": "hand-screen"}, "the print technique"),
        ({"fibre": "silk", "momme": 5}, {"fibre": "silk", "momme": 16}, "the weight"),
        ({"hem": "machine-stitched", "stitches_per_inch": 8}, {"hem": "machine-stitched", "stitches_per_inch": 22},
         "the stitching"),
        ({"size": "36 x 36 in"}, {"size": "27 x 27 in"}, "the size"),
        ({"label_text": "RN 17000"}, {"label_text": "RN 90000"}, "the label"),
        ({"acquired": 1950}, {"acquired": 1990}, "the year in which it was acquired"),
        ({"known": "1950s"}, {"known": "1930s"}, "the years known"),
    ],
)  # fmt: skip
def test_what_decides_is_what_differs_under_its_own_name(
    one: dict[str, Any], two: dict[str, Any], decides: str
) -> None:
    text = told(one, two)
    assert f"What decides it most: {decides} (for the " in text
    assert " and " not in text.partition("decides it most:")[2].partition(").")[0]
    assert f"Without {decides} nothing would decide it (" in text
    assert "the what" not in text and "acquired in (" not in text


def test_without_what_decides_it_is_said_which_would_be_older() -> None:
    one, two = (date_scarf(seen, as_of=NOW) for seen in (A, B))
    found = compare(one, two)
    for name, (first, second) in found.without.items():
        rest = tuple(sorted({*A, *B} - {name}))
        assert 10 * math.log10(first / second) == pytest.approx(log_odds(A, B, rest), abs=1e-8)
    first, second = found.without["origin"]
    assert "Without the origin it would still be the first (" in str(found)
    assert f"({round(100 * first)} %)" in str(found) and first > second
    both = ({"hem": "hand-rolled", "print_technique": "digital"},
            {"hem": "overlocked", "print_technique": "block"})  # fmt: skip
    assert "Without the print technique it would be the first (" in told(*both)


def test_numbers_that_no_evidence_bears_out_are_told_in_words() -> None:
    assert "more than a million to one" in told({"known": "1950s"}, {"known": "1930s"})
    near = told({"palette": "brown orange"}, {"palette": "pink grey"})
    assert "hardly likelier older (51 %) than younger (48 %)" in near
    one_year = told({"printed_year": 1962}, {"printed_year": 1962})
    assert "as likely older (" in one_year and "1 years" not in one_year
    many = {"fibre": "silk", "weave": "twill", "hem": "raw", "hem_thread": "silk", "print_technique": "block",
            "uv_glow": "none", "signature": "none", "form": "square", "label": "intact", "label_make": "woven",
            "origin": "italy", "motif": "paisley", "palette": "pastel", "layout": "bordered", "printed_year": 1950,
            "depicted_year": 1950}  # fmt: skip
    # how the label is made and its country are read off one label, and are one of them
    assert "Too many kinds of clues were noted (15)" in told(many, {"fibre": "wool"})
