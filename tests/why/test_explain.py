"""Why: through the front door, against datings of the same scarf with clues left out."""

from __future__ import annotations

import math
import re
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate import RangeError, Scarf, ScarfdateError, WordError, date_scarf, explain, load_priors
from scarfdate.model.subsets import seen_columns
from scarfdate.why.asked import Asked
from scarfdate.why.explain import _sampled
from scarfdate.why.explanation import in_odds, to_one
from tests.random_scarves import random_clues

NOW = 2026
SEEN = {
    "fibre": "silk", "hem": "hand-rolled", "motif": "geometric", "layout": "colour-blocks",
    "origin": "italy", "label": "intact", "print_technique": "hand-screen",
}  # fmt: skip


def decibans(chance: float) -> float:
    return 10 * math.log10(chance / (1 - chance))


def test_good_s_penny_and_the_dice_of_the_deciban() -> None:
    """A factor of 2 is 3.010300 decibans, of 10 is 10, odds from evens to 5:4 are 0.969100 (General Report
    on Tunny, 1945, section g; Good 1985): odds are said beside decibans."""
    assert in_odds(10 * math.log10(2)) == "about 2 to 1 (3.0 decibans)"
    assert in_odds(-20) == "about 100 to 1 (20 decibans)"
    assert in_odds(12) == "about 16 to 1 (12 decibans)"
    assert in_odds(0.969100) == "about 1.2 to 1 (1.0 deciban)"


def test_every_subset_is_what_a_dating_says() -> None:
    """Alone, left out, prior and posterior are datings of the same piece with fewer clues."""
    first, last = 1955, 1972
    found = explain(Scarf(**SEEN), (first, last), as_of=NOW)

    def weight(some: tuple[str, ...]) -> float:
        scarf = Scarf(**{name: SEEN[name] for name in some})
        return decibans(date_scarf(scarf, as_of=NOW).between(first, last))

    names = tuple(SEEN)
    none, every = weight(()), weight(names)
    assert 10 * math.log10(found.prior_odds) == pytest.approx(none, abs=1e-9)
    assert 10 * math.log10(found.posterior_odds) == pytest.approx(every, abs=1e-9)
    assert found.decibans == pytest.approx(every - none, abs=1e-9)
    for name in names:
        rest = tuple(other for other in names if other != name)
        assert found.alone[name] == pytest.approx(weight((name,)) - none, abs=1e-9)
        assert found.left_out[name] == pytest.approx(every - weight(rest), abs=1e-9)
        # Shapley by its definition, over all subsets of the others
        part = sum(
            (weight((*some, name)) - weight(some)) / (len(names) * math.comb(len(names) - 1, size))
            for size in range(len(names))
            for some in combinations(rest, size)
        )
        assert found.share[name] == pytest.approx(part, abs=1e-8)


def test_a_period_piece_is_what_the_dating_says() -> None:
    dating = date_scarf(Scarf(**SEEN), as_of=NOW)
    found = explain(Scarf(**SEEN), "period piece", as_of=NOW)
    assert found.chance == pytest.approx(dating.period_probability, abs=1e-9)
    later = explain(Scarf(**SEEN), "later piece", as_of=NOW)
    assert later.decibans == pytest.approx(-found.decibans, abs=1e-9)


usual = settings(
    deadline=None, derandomize=True, max_examples=25, suppress_health_check=[HealthCheck.too_slow]
)
PRIORS = load_priors()
clues = st.integers(0, 2**32 - 1).map(
    lambda seed: random_clues(PRIORS, np.random.default_rng(seed), NOW)
)
CLAIMS = st.sampled_from(
    ["1960s", "before 1950", "1970 or later", "period piece", "1930s rather than 1950s", (1944, 1946),
     "at least 20 years old", 1962]
)  # fmt: skip


@usual
@given(clues, CLAIMS, st.randoms(use_true_random=False))
def test_parts_add_up_whatever_the_order(seen: dict[str, Any], claim: object, chance: Any) -> None:
    scarf = Scarf(**seen)
    found = explain(scarf, claim, as_of=NOW)
    assert math.fsum(found.share.values()) == pytest.approx(found.decibans, abs=1e-9)
    if not found.clues:
        return
    assert found.running[-1] == pytest.approx(found.decibans, abs=1e-9)
    order = list(found.clues)
    chance.shuffle(order)
    other = explain(scarf, claim, as_of=NOW, order=order)
    assert list(other.clues) == order
    assert other.running[-1] == pytest.approx(found.decibans, abs=1e-9)
    for name in order:
        assert other.share[name] == pytest.approx(found.share[name], abs=1e-9)
    assert str(found)


def test_by_default_its_own_interval_and_no_clue_no_weight() -> None:
    scarf = Scarf(**SEEN)
    first, last = date_scarf(scarf, as_of=NOW).interval()
    assert explain(scarf, as_of=NOW).claim == f"made {first}-{last}"
    blank = explain(Scarf(), "1960s", as_of=NOW)
    assert blank.decibans == pytest.approx(0, abs=1e-12)
    assert not blank.clues and "Nothing was looked at" in str(blank)


def test_one_against_another_is_the_ratio_of_the_two() -> None:
    dating = date_scarf(Scarf(**SEEN), as_of=NOW)
    found = explain(Scarf(**SEEN), ("1960s", "1970s"), as_of=NOW)
    assert found.posterior_odds == pytest.approx(
        dating.decades()[1960] / dating.decades()[1970], rel=1e-9
    )
    assert found == explain(SEEN, "1960s rather than 1970s", as_of=NOW)


def test_the_sampled_shares_are_the_exact_ones_within_their_error() -> None:
    """Beyond twenty clues: drawn orders; held here to the exact shares of seven."""
    asked = Asked.of(SEEN, None, "thrift", NOW)
    columns = seen_columns(asked.model, asked.codes)
    exact = explain(SEEN, "1960s", as_of=NOW)
    drawn = _sampled(asked, asked.claim("1960s"), columns, list(exact.clues))
    assert not drawn.exact and exact.exact
    assert "estimates" in str(drawn) and "estimates" not in str(exact)
    for name in exact.clues:
        # four standard errors: about one in ten thousand for each, under a fixed seed
        assert abs(drawn.share[name] - exact.share[name]) < 4 * drawn.standard_error[name] + 1e-9
        assert drawn.alone[name] == pytest.approx(exact.alone[name], abs=1e-9)
        assert drawn.left_out[name] == pytest.approx(exact.left_out[name], abs=1e-9)


@pytest.mark.parametrize(
    ("claim", "kind"),
    [
        ("sixties", WordError), ("", WordError), (None.__class__, WordError), (3.5, WordError),
        ([], WordError), ("1960-1950", RangeError), ("before 1700", RangeError), ("after 3000", RangeError),
        ("before 3000", RangeError), ((1970, 1960), RangeError), ("1960s rather than 1960", RangeError),
        ("x" * 10_000, WordError), ("at least 999 years old", RangeError), (("1960s", 7.5), WordError),
    ],
)  # fmt: skip
def test_a_claim_that_says_nothing_is_refused(claim: object, kind: type[ScarfdateError]) -> None:
    with pytest.raises(kind, match="claim"):
        explain(Scarf(**SEEN), claim, as_of=NOW)


@pytest.mark.parametrize(
    ("claim", "same"),
    [
        ("antique", "at least 100 years old"), ("Vintage", "at least 20 years old"),
        ("19th century", "before 1900"), ("mid 20th century", (1925, 1975)), ("late 1960s", (1965, 1969)),
        ("1960s or 1970s", (1960, 1979)), ("1950s or 1960s?", (1950, 1969)), ("1958-69", (1958, 1969)),
        ("before 1950 or 1970s", [*range(1880, 1950), *range(1970, 1980)]),
        ("1950s or 1960s rather than 1970s", ((1950, 1969), (1970, 1979))),
    ],
)  # fmt: skip
def test_a_claim_is_read_as_a_shop_asks(claim: str, same: object) -> None:
    asked, plain = (explain(Scarf(**SEEN), one, as_of=NOW) for one in (claim, same))
    assert asked.decibans == pytest.approx(plain.decibans, abs=1e-9)


def test_what_is_no_year_is_refused_with_what_can_be_asked() -> None:
    for claim in ("pre-war", "mid century", "1960s or so", "old or 1950s"):
        with pytest.raises(WordError, match='allowed: "1960s".*"1960s or 1970s"'):
            explain(Scarf(**SEEN), claim, as_of=NOW)


def test_clues_that_hardly_move_it_keep_their_direction() -> None:
    text = str(explain(Scarf(fibre="silk"), "1950s or 1960s", as_of=NOW))
    assert re.search(r"hardly move it, about 1\.\d to 1 \(0\.\d decibans\) for it", text)
    assert to_one(121.0) == "more than a million to one" and to_one(59.0).startswith("about 794")


def test_wrong_use_is_named() -> None:
    with pytest.raises(WordError, match="no clue that was looked at.*'hem'"):
        explain(Scarf(**SEEN), "1960s", as_of=NOW, order=["hemm"])
    with pytest.raises(ScarfdateError, match="a Scarf"):
        explain("silk", "1960s")  # type: ignore[arg-type]


def test_the_paragraph_says_what_the_numbers_say() -> None:
    found = explain(Scarf(**SEEN), "1960s", as_of=NOW)
    text = str(found)
    heaviest = max(found.clues, key=lambda name: abs(found.share[name]))
    assert found.says[heaviest] in text
    assert to_one(found.share[heaviest]) in text
    assert in_odds(found.decibans) in text
    frame = found.to_frame()
    assert frame["clue"].iloc[0] == heaviest
    assert frame["share"].sum() == pytest.approx(found.decibans, abs=1e-9)


def test_the_plot_has_a_bar_a_clue() -> None:
    pyplot = pytest.importorskip("matplotlib.pyplot")
    found = explain(Scarf(**SEEN), "1960s", as_of=NOW)
    ax = found.plot()
    assert len(ax.patches) == len(found.clues)
    widths = sorted(patch.get_width() for patch in ax.patches)
    np.testing.assert_allclose(widths, sorted(found.share.values()))
    pyplot.close(ax.figure)
