"""Weight of evidence and expected information against published worked examples, through the front door.

The examples are those of ``facts/worked_examples.md`` beside the project, sections 1, 2 and 7; the source
that it names is named again beside each check.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import entropy

from scarfdate import (
    Priors,
    RangeError,
    Scarf,
    date_scarf,
    explain,
    load_priors,
    next_checks,
    simulate,
)
from scarfdate.answer.evidence import encode
from scarfdate.answer.one_scarf import as_scarf
from scarfdate.model.model import compiled
from scarfdate.why.explanation import in_odds
from scarfdate.why.predicted import predicted_values
from tests.random_scarves import random_clues
from tests.why.two_states import AS_OF, EARLY, LATE, WITHIN, Chances, noted, two_states

Array = NDArray[np.float64]
NOW = 2026
PRIORS = load_priors()

# the chance of the claim before anything is seen, by the channel of the tables that has it
EARLY_CHANCE = {"thrift": 0.5, "estate": 0.01, "auction": 0.0238, "dealer": 1 / (1 + 10**4)}
PENNY = {"heads": (1.0, 0.5), "tails": (0.0, 0.5)}  # double headed, or fair
DOUBLES = {"heads": (0.8, 0.4), "tails": (0.2, 0.6)}  # any other coin with a factor of 2
SCREENS: dict[str, dict[str, Chances]] = {
    "screen_a": {"plus": (0.80, 0.096), "minus": (0.20, 0.904)},
    "screen_b": {"plus": (0.80, 0.10), "minus": (0.20, 0.90)},
    "screen_c": {"plus": (0.85, 0.05), "minus": (0.15, 0.95)},
}
SIGNALS: dict[str, dict[str, Chances]] = {
    f"wrong_{wrong:02}": {"this": (1 - wrong / 100, wrong / 100), "that": (wrong / 100, 1 - wrong / 100)}
    for wrong in (0, 5, 10, 20)
}  # fmt: skip
IDLE = {"one": (0.2, 0.2), "two": (0.3, 0.3), "three": (0.5, 0.5)}  # the same in both states
TOSSES = [f"toss_{place:02}" for place in range(1, 21)]


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> Priors:
    """Tables of two states that hold every case but the texts of section 1.3."""
    families = dict.fromkeys(TOSSES, PENNY)
    families |= {name.replace("toss", "double"): DOUBLES for name in TOSSES}
    families |= SCREENS | SIGNALS | {"idle": IDLE}
    return two_states(tmp_path_factory.mktemp("states") / "priors", EARLY_CHANCE, families)


def decibans(factor: float) -> float:
    return 10 * math.log10(factor)


def bits_of(chances: Array) -> float:
    return float(entropy(chances, base=2))


def weighed(seen: Mapping[str, object], priors: Priors, channel: str, claim: str = EARLY) -> Any:
    return explain(seen, claim, priors=priors, channel=channel, as_of=AS_OF)


# Weight of evidence: section 1


def test_a_factor_of_two_twenty_times(tables: Priors) -> None:
    """General Report on Tunny (1945), section (g): 20 heads at 3 decibans lift 1 in 10^4 to 100:1 on;
    exactly, 40 down and 60.205999 up make 20.205999, or 104.8576:1."""
    found = weighed({name: "heads" for name in tables.families if name.startswith("double")}, tables, "dealer")  # fmt: skip
    assert len(found.clues) == 20
    assert found.exact
    assert decibans(found.prior_odds) == pytest.approx(-40, abs=1e-9)
    assert found.decibans == pytest.approx(60.205999, abs=1e-6)
    assert found.posterior_odds == pytest.approx(104.8576, abs=1e-6)
    assert in_odds(decibans(found.posterior_odds)) == "about 105 to 1 (20 decibans)"
    # evidence that is independent under both hypotheses adds, whatever came before
    steps = np.diff([0.0, *found.running])
    np.testing.assert_allclose(steps, 3.010300, atol=1e-6)
    for each in (found.share, found.alone, found.left_out):
        np.testing.assert_allclose(list(each.values()), 3.010300, atol=1e-6)


def test_the_double_headed_penny_itself_but_for_a_slip(tables: Priors) -> None:
    """The same page. No table here says "never tails": a slip leaves it as likely as it is common."""
    found = weighed(dict.fromkeys(TOSSES, "heads"), tables, "dealer")
    chances = noted(PENNY)
    a_toss = decibans(chances[0, 0] / chances[1, 0])
    # short by 10 log10 of one less a quarter of a slip (0.000025) and the floor of a share of zero (0.000001)
    assert a_toss == pytest.approx(3.010300, abs=2.5e-4)
    np.testing.assert_allclose(list(found.share.values()), a_toss, atol=1e-9)
    assert found.decibans == pytest.approx(20 * a_toss, abs=1e-8)
    assert found.decibans == pytest.approx(60.205999, abs=20 * 2.5e-4)
    assert found.posterior_odds == pytest.approx(104.8576, rel=1.2e-3)
    # one tails is all but the end of it: a slip alone can save the claim
    tails = weighed({"toss_01": "tails"}, tables, "dealer")
    assert tails.decibans == pytest.approx(decibans(chances[0, 1] / chances[1, 1]), abs=1e-9)
    assert tails.decibans < -39


def test_two_runs_combined() -> None:
    """Fish notes, page 103: 2 decibans up is p = 8/13, -2 as a logarithm; 15 and then 6 on a second run."""
    odds, surely = decibans(8 / 5), decibans(8 / 13)
    assert in_odds(odds) == "about 1.6 to 1 (2.0 decibans)"
    assert round(surely) == -2
    assert in_odds(15 - 2) == "about 20 to 1 (13 decibans)"
    assert in_odds(6 - 2) == "about 2.5 to 1 (4.0 decibans)"  # as read: "about 5:2 on"
    # with -2.109 for the rounded -2
    assert in_odds(15 + surely) == "about 19 to 1 (13 decibans)"
    assert in_odds(6 + surely) == "about 2.4 to 1 (3.9 decibans)"


U = "LITTLE-JACK-HORNER-SAT-IN-THE-CORNER-EATING-A-CHRISTMAS-PIE--HE-PUT-IN-H"
V = "RIDE-A-COCK-HORSE-TO-BANBURY-CROSS-TO-SEE-A-FINE-LADY-UPON-A-WHITE-HORSE"
BLOCK = 4  # letters a clue: 72 clues would be more than the shares are exact for
COUNTS = ("none", "one", "two", "three", "four")


@pytest.mark.parametrize(
    ("alphabet", "match", "other", "total"),
    [(27, 3.121774, -0.179376, 26.698715), (26, 2.957869, -0.172947, 25.117619)],
)
def test_banburismus(
    tmp_path: Any, alphabet: int, match: float, other: float, total: float
) -> None:
    """MacKay, Information Theory, Inference, and Learning Algorithms, section 18.4: a match rate of 0.076.

    A clue is the number of matches in four letters on end; the ways to place them are as many under both
    hypotheses and cancel, so that it weighs what its letters weigh.
    """
    together = [[a == b for a, b in zip(U, V, strict=True)][at : at + BLOCK] for at in range(0, 72, BLOCK)]  # fmt: skip
    counts = [sum(block) for block in together]
    assert sum(counts) == 12
    rates = (0.076, 1 / alphabet)
    block = {
        word: tuple(math.comb(BLOCK, k) * rate**k * (1 - rate) ** (BLOCK - k) for rate in rates)
        for k, word in enumerate(COUNTS)
    }
    families: dict[str, Mapping[str, Any]] = {f"letters_{n:02}": block for n in range(len(counts))}
    priors = two_states(tmp_path / "priors", {}, families)
    seen = {name: COUNTS[k] for name, k in zip(families, counts, strict=True)}
    found = weighed(seen, priors, "thrift")
    assert found.exact
    # four matches by chance are rarer than the least slip: all else is rarer by as little in return
    rounding = 2e-4
    for name, k in zip(families, counts, strict=True):
        letters = k * match + (BLOCK - k) * other
        assert found.share[name] == pytest.approx(letters, abs=rounding)
    assert found.decibans == pytest.approx(total, abs=len(counts) * rounding)
    assert found.posterior_odds == pytest.approx({27: 467.597, 26: 324.909}[alphabet], rel=1e-3)


# Bayes with a table of likelihoods: section 2

CASES = [
    # course exercise (posterior 7.8 per cent from Eddy 1982, memory)
    ("screen_a", "estate", 0.0776398, 9.208188, -6.551384),
    # J. A. Rice, Mathematical Statistics and Data Analysis, 3rd ed., printed 0.075
    ("screen_b", "estate", 0.0747664, 9.030900, -6.532125),
    # solved exercise, printed 0.29301854
    ("screen_c", "auction", 0.29301854, 12.304489, -8.016323),
]


@pytest.mark.parametrize(("name", "channel", "chance", "plus", "minus"), CASES)
def test_screening(
    tables: Priors, name: str, channel: str, chance: float, plus: float, minus: float
) -> None:
    found = weighed({name: "plus"}, tables, channel)
    assert found.chance == pytest.approx(chance, abs=5e-8)
    assert found.decibans == pytest.approx(plus, abs=1e-6)
    assert weighed({name: "minus"}, tables, channel).decibans == pytest.approx(minus, abs=1e-6)
    # Good: the weight is the odds after less the odds before, and against the claim as much less
    prior = decibans(EARLY_CHANCE[channel] / (1 - EARLY_CHANCE[channel]))
    assert decibans(found.prior_odds) == pytest.approx(prior, abs=1e-9)
    assert decibans(found.posterior_odds) == pytest.approx(prior + plus, abs=1e-6)
    assert weighed({name: "plus"}, tables, channel, LATE).decibans == pytest.approx(-plus, abs=1e-6)
    # and a dating has the same chance
    dated = date_scarf({name: "plus"}, priors=tables, channel=channel, as_of=AS_OF)
    assert dated.between(1880, 1952) == pytest.approx(chance, abs=5e-8)


def test_the_odds_form_of_the_first(tables: Priors) -> None:
    """Section 2.1: -19.956352 decibans and 9.208188 make -10.748164."""
    found = weighed({"screen_a": "plus"}, tables, "estate")
    assert decibans(found.prior_odds) == pytest.approx(-19.956352, abs=1e-6)
    assert decibans(found.posterior_odds) == pytest.approx(-10.748164, abs=1e-6)


@pytest.mark.parametrize(
    ("weights", "chance"),
    [((0.5, 0.5), 0.01), ((0.9, 0.1), 0.0074 / (0.0074 + 0.99 * 0.1768)), ((1.0, 0.0), 0.0776398)],
)
def test_soft_evidence(tables: Priors, weights: tuple[float, float], chance: float) -> None:
    """Section 2.2 (computed): likelihoods of 0.74 and 0.1768 for weights 0.9 and 0.1 make 0.040563."""
    seen = {"screen_a": dict(zip(("plus", "minus"), weights, strict=True))}
    found = weighed(seen, tables, "estate")
    assert found.chance == pytest.approx(chance, abs=5e-8)
    if weights[0] == 0.5:
        assert found.decibans == pytest.approx(0, abs=1e-9)


# Expected information: section 7, Lindley (1956), Annals of Mathematical Statistics 27, 986-1005


def promised(priors: Priors, channel: str) -> dict[str, float]:
    found = next_checks({}, priors=priors, channel=channel, as_of=AS_OF)
    return {look.clue: look.bits for look in (*found.looks, *found.too_little)}


@pytest.mark.parametrize(
    ("name", "channel", "bits"),
    [
        ("wrong_05", "thrift", 0.713603), ("wrong_10", "thrift", 0.531004), ("wrong_20", "thrift", 0.278072),
        ("screen_a", "estate", 0.019715), ("screen_b", "estate", 0.019275), ("screen_c", "auction", 0.068236),
    ],
)  # fmt: skip
def test_bits_before_looking(tables: Priors, name: str, channel: str, bits: float) -> None:
    assert promised(tables, channel)[name] == pytest.approx(bits, abs=1e-6)


@pytest.mark.parametrize("channel", list(EARLY_CHANCE))
def test_a_perfect_clue_tells_the_state_but_for_a_slip(tables: Priors, channel: str) -> None:
    chance = EARLY_CHANCE[channel]
    before = bits_of(np.array([chance, 1 - chance]))
    found = promised(tables, channel)
    # mutual information by scipy: the entropy of what is noted, less that of each state
    rows = noted(SIGNALS["wrong_00"])
    exact = bits_of(chance * rows[0] + (1 - chance) * rows[1])
    exact -= chance * bits_of(rows[0]) + (1 - chance) * bits_of(rows[1])
    assert found["wrong_00"] == pytest.approx(exact, abs=1e-9)
    # a slip goes unnoticed half the time: it keeps back no more than the entropy of that
    assert 0 < before - found["wrong_00"] < bits_of(np.array([5.2e-5, 1 - 5.2e-5])) < 1e-3
    assert max(found.values()) <= before


@pytest.mark.parametrize("channel", list(EARLY_CHANCE))
def test_a_clue_that_is_the_same_in_every_year_promises_nothing(
    tables: Priors, channel: str
) -> None:
    found = promised(tables, channel)
    assert found["idle"] == pytest.approx(0, abs=1e-10)
    assert min(found.values()) > -1e-10
    assert {value: weighed({"idle": value}, tables, channel).decibans for value in IDLE} == (
        pytest.approx(dict.fromkeys(IDLE, 0.0), abs=1e-9)
    )


def test_an_answer_may_leave_one_less_sure(tables: Priors) -> None:
    """Section 7: 0.080793 bits of the state before, 0.393808 after a positive result; less on average."""

    def left(seen: Mapping[str, object]) -> float:
        dated = date_scarf(seen, priors=tables, channel="estate", as_of=AS_OF)
        return bits_of(dated.probability) - WITHIN

    before, plus, minus = left({}), left({"screen_a": "plus"}), left({"screen_a": "minus"})
    assert before == pytest.approx(0.080793, abs=1e-6)
    assert plus == pytest.approx(0.393808, abs=1e-6)
    positive = 0.01 * 0.80 + 0.99 * 0.096
    gain = before - positive * plus - (1 - positive) * minus
    assert gain == pytest.approx(0.019715, abs=1e-6)


# Expected weight of evidence: Kullback and Leibler (1951), by hand from the tables and by scipy

YEARS = np.arange(1880, NOW + 1)
SHARED = [name for name, family in PRIORS.families.items() if family.kind == "shares"]
BOTH = np.ones((2, 1), dtype=bool)  # period pieces and later ones
CLAIMS: dict[str, tuple[Any, Any]] = {
    "1960s": (BOTH & (YEARS // 10 == 196), BOTH & (YEARS // 10 != 196)),
    "before 1950": (BOTH & (YEARS < 1950), BOTH & (YEARS >= 1950)),
    "1930s rather than 1950s": (BOTH & (YEARS // 10 == 193), BOTH & (YEARS // 10 == 195)),
    "period piece": (np.array([[True], [False]]), np.array([[False], [True]])),
}


def knots_end(name: str) -> int:
    """The last year that a table of shares speaks of."""
    return int(max(knots[-1] for knots, _ in PRIORS.shares[name].series.values()))


@cache
def joint_by_hand(name: str) -> Array:
    """P(period or later, noted value, year), (2, values, years), from the raw tables."""
    century, channel = PRIORS.century, PRIORS.century.channel("thrift")
    shares = PRIORS.shares[name].every_year(YEARS)  # (values, markets or 1, grades, years)
    shares = np.broadcast_to(shares, (len(shares), 4, 3, len(YEARS)))
    slip = PRIORS.slips[name]
    seen = (1 - slip) * np.einsum("vo,vkgy->okgy", PRIORS.confusion[name].matrix("feel"), shares)
    # after a slip a word as likely as it is common: the mean over years, grades and markets of the table
    every = PRIORS.shares[name].every_year(np.arange(1880, 1 + knots_end(name)))
    seen = seen + slip * every.mean(axis=(1, 2, 3))[:, None, None, None]
    market = century.markets.shares_of(channel.markets, YEARS)
    grade = century.grades.shares_of(channel.grades, YEARS)
    period = np.einsum("okgy,ky,gy->oy", seen, market, grade)
    later = period
    if PRIORS.families[name].reads == "style":
        later = np.einsum("ogs,ys,gy->oy", seen[:, 0], century.looked_back_to(YEARS), grade)
    rho = century.revival_share(YEARS)
    return np.asarray(np.stack([(1 - rho) * period, rho * later]) * century.year(channel, YEARS))


@pytest.mark.parametrize("claim", list(CLAIMS))
@pytest.mark.parametrize("name", SHARED)
def test_the_expected_weight_is_the_divergence(name: str, claim: str) -> None:
    """Sum over the values that may be noted, each as likely as where the claim is true."""
    joint = joint_by_hand(name)
    true, untrue = ((joint * marks[:, None]).sum(axis=(0, 2)) for marks in CLAIMS[claim])
    true, untrue = true / true.sum(), untrue / untrue.sum()
    weights = np.array(
        [explain({name: v}, claim, as_of=NOW).decibans for v in PRIORS.vocabulary.values[name]]
    )
    divergence = 10 * entropy(true, untrue, base=10)
    by_hand = sum(p * decibans(p / q) for p, q in zip(true, untrue, strict=True))
    assert true @ weights == pytest.approx(divergence, abs=1e-9)
    assert true @ weights == pytest.approx(by_hand, abs=1e-9)
    assert divergence > 0
    # where it is not true the evidence goes the other way, and its mean factor is one (Turing)
    assert untrue @ weights == pytest.approx(-10 * entropy(untrue, true, base=10), abs=1e-9)
    assert untrue @ 10 ** (weights / 10) == pytest.approx(1, abs=1e-9)


@settings(
    deadline=None, derandomize=True, max_examples=30, suppress_health_check=[HealthCheck.too_slow]
)
@given(st.integers(0, 2**32 - 1), st.sampled_from(SHARED), st.sampled_from(list(CLAIMS)))
def test_the_truth_can_expect_support_whatever_was_seen(seed: int, name: str, claim: str) -> None:
    """After up to three other clues: what a further one weighs is never against the truth on average."""
    other = random_clues(PRIORS, np.random.default_rng(seed), NOW)
    kept = [n for n in other if n in SHARED and n not in (name, "label", "label_make")][:3]
    if name in ("label_make", "origin"):  # what else is read off the label is one clue with it
        of_label = {n for n, m in other.get("methods", {}).items() if m == "label"} | {"origin"}
        kept = [n for n in kept if n not in of_label]
    assume(kept)
    how = {n: m for n, m in other.get("methods", {}).items() if n in kept}
    seen: dict[str, Any] = {n: other[n] for n in kept} | {f"{n}_method": m for n, m in how.items()}
    model = compiled(PRIORS, "thrift", NOW)
    codes, _ = encode(model, as_scarf(seen, PRIORS))
    before = explain(seen, claim, as_of=NOW)
    after = [explain(seen | {name: v}, claim, as_of=NOW) for v in PRIORS.vocabulary.values[name]]
    weights = np.array([found.left_out[name] for found in after])
    # P(value | claim, seen) by Bayes, with P(value | seen) given that the claim or its denial is true
    odds = np.array([found.posterior_odds for found in after])
    chances = predicted_values(model, codes, model.column[name])
    if claim == "1930s rather than 1950s":
        two = [date_scarf(seen | {name: v}, as_of=NOW).decades() for v in PRIORS.vocabulary.values[name]]  # fmt: skip
        chances = chances * [each[1930] + each[1950] for each in two]
        chances = chances / chances.sum()
    true = chances * odds / (1 + odds) / before.chance
    untrue = chances / (1 + odds) / (1 - before.chance)
    # the mean of the answers to come is the answer now
    assert true.sum() == pytest.approx(1, abs=1e-9)
    assert untrue.sum() == pytest.approx(1, abs=1e-9)
    expected = true @ weights
    assert expected == pytest.approx(10 * entropy(true, untrue, base=10), abs=1e-8)
    assert expected >= -1e-9
    assert untrue @ weights <= 1e-9


# Expected information against simulation

STATES: dict[str, dict[str, str]] = {
    "nothing seen": {},
    "some seen": {"fibre": "silk", "hem": "hand-rolled"},
}


@cache
def simulated() -> Mapping[str, list[object]]:
    return simulate(PRIORS, 60_000, np.random.default_rng(1956), as_of=NOW, looked_at=1.0).seen


@pytest.mark.statistical
@pytest.mark.parametrize("state", list(STATES))
@pytest.mark.parametrize("name", ["motif", "signature", "print_technique", "momme"])
def test_realised_information_averages_to_the_promise(name: str, state: str) -> None:
    """Pieces made up from the tables, of which those are kept that look like the one at hand.

    Four standard errors: one chance in sixteen thousand for each of the eight, under a fixed seed.
    """
    seen, drawn = STATES[state], simulated()
    every = zip(drawn[name], *(drawn[other] for other in seen), strict=True)
    found = [value for value, *others in every if others == list(seen.values())]
    step = PRIORS.families[name].step

    @cache
    def gain(value: Any) -> float:
        dated = date_scarf(seen | {name: value}, as_of=NOW)
        return now - bits_of(dated.probability)

    def read(value: Any) -> Any:
        """A measurement as it is read: a middle of its step that may be written, so that few are dated."""
        if not math.isfinite(step):
            return value
        place = math.log(value) / math.log(step)
        middle = step ** round(place)
        try:
            Scarf(**{name: middle})
        except RangeError:  # at the end of what is allowed
            middle = step ** math.floor(place)
        return middle

    now = bits_of(date_scarf(seen, as_of=NOW).probability)
    gains = np.array([gain(read(value)) for value in found])
    found = next_checks(seen, as_of=NOW)
    bits = next(x for x in (*found.looks, *found.too_little) if (x.clue, x.method) == (name, "feel")).bits  # fmt: skip
    error = gains.std(ddof=1) / math.sqrt(len(gains))
    print(f"{name}, {state}: promised {bits:.4f}, mean of {len(gains)} {gains.mean():.4f} +- {error:.4f}")  # fmt: skip
    assert abs(gains.mean() - bits) < 4 * error
    assert 4 * error < bits / 2  # sharp enough to tell it from half of it, or from none


# Words

# Jeffreys (1939), and Kass and Raftery (1995), JASA 90, 773-795: section 1.5
SCALE = re.compile(
    r"\b(weak|positive|substantial|(very )?strong|decisive|bare mention|barely worth mentioning)\b",
    re.IGNORECASE,
)
CUTS = (5.0, 10.0, 15.0, 20.0)  # decibans, of Jeffreys' five classes


def test_no_words_of_a_scale_stand_for_the_numbers(tables: Priors) -> None:
    """Every class of the scales, for and against: the paragraph gives decibans and odds, and no grade."""
    assert SCALE.search("Decisive evidence") and SCALE.search("worth no more than a bare mention.")
    rng = np.random.default_rng(1939)
    told = [
        weighed({name.replace("toss", "double"): "heads" for name in TOSSES[:n]}, tables, "thrift", claim)
        for n in range(1, 10) for claim in (EARLY, LATE)
    ]  # fmt: skip
    told += [weighed({name: "plus"}, tables, channel) for name, channel, *_ in CASES]
    for claim in CLAIMS:
        for _ in range(5):
            other = random_clues(PRIORS, rng, NOW)
            few = [name for name in other if name in SHARED and name != "label_make"][:6]
            told.append(explain({name: other[name] for name in few}, claim, as_of=NOW))
    classes = {(found.decibans > 0, int(np.digitize(abs(found.decibans), CUTS))) for found in told}
    assert classes == {(side, place) for side in (True, False) for place in range(len(CUTS) + 1)}
    for found in told:
        assert not SCALE.search(str(found)), str(found)
        assert in_odds(found.decibans) in str(found)
