"""All findings of a look at once, against one finding after another in plain loops."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product
from time import perf_counter

import numpy as np
import pytest

from scarfdate import Priors, Scarf, load_priors, next_checks
from scarfdate.answer.evidence import encode
from scarfdate.clues.label import LabelClue
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import MARKETS
from scarfdate.frozen import frozen
from scarfdate.model.exact import joint_of, products_of, revival_parts, rows_of
from scarfdate.model.model import Model, compiled
from scarfdate.model.posterior import posterior
from scarfdate.why.asked import Asked
from scarfdate.why.state import OnLabel, Outcomes, State, promises
from tests.random_scarves import random_clues

NOW = 2026


@pytest.fixture(scope="module")
def priors() -> Priors:
    return load_priors()


@pytest.fixture(scope="module")
def trusting_less(priors: Priors) -> Priors:
    """Every table raised to a power, as `learn` leaves them."""
    families = {
        name: replace(family, trust=0.4 + 0.1 * (place % 5))
        for place, (name, family) in enumerate(priors.families.items())
    }
    return replace(priors, families=frozen(families), _compiled={})


def looks(priors: Priors, clues: dict[str, object]) -> tuple[State, list[Outcomes]]:
    state = State.of(Asked.of(clues, priors, "thrift", NOW))
    found = [state.outcomes(check) for check in priors.checks]
    return state, [outcomes for outcomes in found if outcomes is not None]


def plain_joint(outcomes: Outcomes, place: int) -> np.ndarray:
    """One finding by the formula at the head of ``clues/shares.py``, value by value, and the exact sum over it."""
    state, clue = outcomes.state, outcomes.clue
    assert isinstance(clue, SharesClue)
    row = np.zeros(clue.shape)
    fits = state.fits.get(clue.name, np.ones((len(clue.values), 1, 1, 1)))
    for value in range(len(clue.values)):
        each = fits[value] * clue.shares[value]
        for measure in clue.measures:
            cell = state.cells.get(measure.family.name)
            if measure is outcomes.measure:
                cell = measure.steps[place]
            if cell is not None:
                each = each * measure.density(cell)[value]
        if outcomes.measure is None:
            each = each * clue.noted(outcomes.method)[value, place]
        row += each
    period, later = joint_of(state.model, {**state.rows, outcomes.column: row**clue.trust})
    return np.asarray(period + later)


def plain_promise(outcomes: Outcomes) -> tuple[float, float, float]:
    """Bits, years and the rise of the best decade, one finding after another."""
    now, total = _told(outcomes.state.joint), 0.0
    mean = np.zeros(3)
    for place in range(len(outcomes) - isinstance(outcomes, OnLabel)):
        joint = plain_joint(outcomes, place)
        total += joint.sum()
        mean += joint.sum() * np.array(_told(joint))
    bits, years, surer = (mean / total - now) * outcomes.there
    # an expected information is never below zero, nor is what a look adds to the best decade's chance
    return max(-bits, 0.0), -years, max(surer, 0.0)


def _told(joint: np.ndarray) -> tuple[float, int, float]:
    """Entropy in bits, length of the shortest run of years that holds 80 %, chance of the best decade."""
    year = joint.sum(axis=0) / joint.sum()
    entropy = -sum(p * math.log2(p) for p in year.tolist() if p > 0)
    total = np.concatenate(([0.0], np.cumsum(year)))
    length = next(
        n for n in range(1, len(year) + 1) if (total[n:] - total[:-n]).max() >= 0.8 - 1e-12
    )
    return entropy, length, max(year[at : at + 10].sum() for at in range(0, len(year), 10))


@pytest.mark.parametrize("tables", ["priors", "trusting_less"])
def test_every_finding_is_that_of_the_plain_sum(
    tables: str, request: pytest.FixtureRequest
) -> None:
    priors = request.getfixturevalue(tables)
    rng = np.random.default_rng(16)
    kinds = set()
    for clues in ({}, random_clues(priors, rng, NOW)):
        for outcomes in looks(priors, clues)[1]:
            measured = outcomes.measure is not None
            kinds.add((measured, outcomes.clue.name))
            found = len(outcomes) - isinstance(
                outcomes, OnLabel
            )  # the last of these is that nothing is there
            for place in {0, found // 2, found - 1}:
                expected = plain_joint(outcomes, place)
                there = outcomes._branches[0][0] if isinstance(outcomes, OnLabel) else 1.0
                np.testing.assert_allclose(outcomes.joint[place], there * expected, rtol=1e-10)
                chance, then = outcomes[place]
                np.testing.assert_allclose(then.joint, expected, rtol=1e-10)
                step = outcomes.measure.family.step if outcomes.measure else math.e
                by_hand = expected.sum() * math.log(step) / outcomes.state.evidence
                by_hand *= there
                assert chance == pytest.approx(by_hand, rel=1e-10)
    # style, market and measured clues were among them
    assert {(False, "motif"), (False, "label"), (True, "hem"), (True, "form")} <= kinds


@pytest.mark.slow
@pytest.mark.parametrize("tables", ["priors", "trusting_less"])
def test_every_promise_is_that_of_one_finding_after_another(
    tables: str, request: pytest.FixtureRequest
) -> None:
    priors = request.getfixturevalue(tables)
    rng = np.random.default_rng(17)
    for clues in ({"fibre": "silk"}, random_clues(priors, rng, NOW)):
        state, every = looks(priors, clues)
        for outcomes, promised in zip(every, promises(state, every), strict=True):
            assert promised == pytest.approx(plain_promise(outcomes), abs=1e-9)


def shown_by_hand(model: Model, known: dict[str, object], name: str, states: list[str]) -> float:
    """P(the label is truly in one of these states and shows a thing | what is noted), state by state."""
    label, text = (model.clues[model.column[each]] for each in ("label", "label_text"))
    assert isinstance(label, SharesClue) and isinstance(text, LabelClue)
    codes, _ = encode(model, Scarf(**{n: cell for n, cell in known.items() if n != "label"}))
    making, style = products_of(model, rows_of(model, codes))
    period, later = revival_parts(model, style)
    noted = label.values.index(str(known["label"]))
    there = every = 0.0
    for place in range(len(MARKETS)):
        rows = (
            making[min(place, len(making) - 1)]
            * model.prior
            * (period + later)
            * model.market[place]
        )
        levels = text.chances.level(name)[:, place] if name != "label_make" else np.ones((2, 1))
        shown = text.style * levels[0] + (1 - text.style) * levels[1]
        for value, word in enumerate(label.values):
            own = rows * label.shares[value, place] * label.noted("feel")[value, noted]
            every += own.sum()
            there += (own * shown).sum() if word in states else 0.0
    return float(there / every)


def test_to_look_for_a_label_and_read_it_is_the_mean_over_datings_of_all_it_may_show(
    priors: Priors,
) -> None:
    """Through the front door: no label; a stub, and how it is made; a whole one, and what it shows."""
    seen: dict[str, object] = {"hem": "hand-rolled", "form": "square"}
    model = compiled(priors, "thrift", NOW)
    rows, weights = [], []
    for word in priors.vocabulary.values["label"]:
        noted = seen | {"label": word}
        make = shown_by_hand(model, noted, "label_make", ["cut-or-fragment", "intact"])
        name, cloth = (shown_by_hand(model, noted, of, ["intact"]) for of in ("origin", "fibre"))
        makes = [*priors.vocabulary.values["label_make"]] if word != "none-seen" else []
        names, fibres = (
            [*priors.vocabulary.values[of]] if word == "intact" else []
            for of in ("origin", "fibre")
        )
        for label_make, origin, fibre in product((None, *makes), (None, *names), (None, *fibres)):
            told = {"label_make": label_make, "origin": origin, "fibre": fibre}
            rows.append(noted | told | {"fibre_method": "label" if fibre else None})
            chance = (make if label_make else 1 - make) if makes else 1.0
            chance *= (name if origin else 1 - name) if names else 1.0
            weights.append(chance * ((cloth if fibre else 1 - cloth) if fibres else 1.0))
    scarves = [Scarf(**row) for row in (seen, *rows)]
    codes = np.concatenate([encode(model, scarf)[0] for scarf in scarves])
    found = posterior(model, codes)
    chances = np.array(weights) * np.exp(found.log_evidence[1:] - found.log_evidence[0])
    assert chances.sum() == pytest.approx(1, abs=1e-9)
    np.testing.assert_allclose(chances @ found.year[1:], found.year[0], atol=1e-9)
    entropy = -(found.year * np.log2(np.maximum(found.year, 1e-300))).sum(axis=1)
    looks = next_checks(seen, priors=priors, as_of=NOW)
    look = next(one for one in (*looks.looks, *looks.too_little) if one.clue == "label")
    # what is rarer than one in a million is not told apart: that can only promise less
    expected = entropy[0] - chances @ entropy[1:]
    assert expected - 5e-4 < look.bits <= expected + 1e-9
    some = np.array([bool(row["label_make"] or row["origin"] or row["fibre"]) for row in rows])
    assert look.there == pytest.approx(chances[some].sum(), abs=1e-9)


def test_a_whole_label_read_by_state_and_chance_is_what_it_promises(priors: Priors) -> None:
    """Every finding's chance and the state then, against the years it was promised with."""
    state = State.of(Asked.of({"fibre": "silk"}, priors, "thrift", NOW))
    by_key = {(check.family, check.method): check for check in priors.checks}
    read = [by_key["label_make", "feel"], by_key["origin", "feel"], by_key["fibre", "label"]]
    outcomes = state.outcomes(by_key["label", "feel"], read)
    assert outcomes is not None and outcomes.chance.sum() == pytest.approx(1, abs=1e-9)
    np.testing.assert_allclose(outcomes.joint.sum(axis=(1, 2)), outcomes.evidence, rtol=1e-9)
    for place in (0, 700, len(outcomes) // 2, len(outcomes) - 1):
        then = outcomes[place][1]
        np.testing.assert_allclose(then.year / then.evidence, outcomes.year[place], atol=1e-12)
    with pytest.raises(IndexError):
        outcomes[len(outcomes)]


@pytest.mark.slow
def test_it_is_at_least_three_times_as_fast_as_one_after_another(priors: Priors) -> None:
    """The least of several runs each; measured on a quiet machine it is some ten times as fast."""
    clues = {"fibre": "silk", "hem": "hand-rolled"}
    at_once = [_seconds(lambda: promises(*looks(priors, clues))) for _ in range(5)]

    def one_by_one() -> None:
        _, every = looks(priors, clues)
        for outcomes in every:
            for place in range(len(outcomes)):
                assert outcomes.then(place).joint.any()

    assert 3 * min(at_once) < min(_seconds(one_by_one) for _ in range(2))


def _seconds(call) -> float:  # type: ignore[no-untyped-def]
    start = perf_counter()
    call()
    return perf_counter() - start
