"""Which clue surprises, and what explains it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from scarfdate import Scarf, ScarfdateError, date_scarf, load_priors, simulate
from scarfdate.evidence import encode
from scarfdate.model import compiled
from scarfdate.posterior import posterior
from scarfdate.surprises import conflict, predicted_values
from tests.reference import Reference

NOW = 2026
SEEN = {
    "fibre": "silk", "hem": "hand-rolled", "hem_thread": "monofilament", "print_technique": "block",
    "weave": "crepe", "motif": "geometric",
}  # fmt: skip


def by_name(seen: dict[str, object]) -> dict[str, object]:
    return {one.clue: one for one in conflict(seen, as_of=NOW).clues}


def test_what_is_predicted_is_a_ratio_of_evidence() -> None:
    """P(seen | others) by the plain reference implementation."""
    reference = Reference(load_priors(), "thrift", 1990)
    found = {one.clue: one for one in conflict(SEEN, as_of=1990).clues}
    every = reference.date(Scarf(**SEEN)).log_evidence
    for name in ("hem_thread", "fibre", "motif"):
        rest = {other: word for other, word in SEEN.items() if other != name}
        without = reference.date(Scarf(**rest)).log_evidence
        alone = reference.date(Scarf(**{name: SEEN[name]})).log_evidence
        assert found[name].predicted == pytest.approx(np.exp(every - without), rel=1e-9)
        nats = alone - (every - without)
        assert found[name].decibans == pytest.approx(10 * nats / np.log(10), abs=1e-8)


@pytest.mark.parametrize("name", ["fibre", "hem_thread", "motif", "origin", "label"])
def test_predicted_values_add_up_to_one(name: str) -> None:
    model = compiled(load_priors(), "thrift", NOW)
    rest = {other: word for other, word in SEEN.items() if other != name}
    codes, _ = encode(model, Scarf(**rest))
    chances = predicted_values(model, codes, model.column[name])
    assert chances.sum() == pytest.approx(1, abs=1e-9)
    assert (chances > 0).all()


def test_the_chance_of_a_slip_is_that_of_tables_with_and_without() -> None:
    """Bayes by hand: with slip rate s, P(all) = (1 - s) a + s b; a and b from tables with other rates."""
    found = by_name(SEEN)["hem_thread"]
    priors = load_priors()
    slip = priors.slips["hem_thread"]
    model = compiled(priors, "thrift", NOW)
    codes, _ = encode(model, Scarf(**SEEN))
    others, _ = encode(model, Scarf(**{n: w for n, w in SEEN.items() if n != "hem_thread"}))
    log = posterior(model, np.concatenate((codes, others))).log_evidence
    values = len(priors.vocabulary.values["hem_thread"])
    by_hand = slip / values * np.exp(log[1]) / np.exp(log[0])
    assert found.slip == pytest.approx(by_hand, rel=1e-9)
    assert 0 < found.slip < 1


def test_a_planted_slip_is_the_most_surprising_and_most_likely_a_slip() -> None:
    good = {
        "depicted_year": 1937, "depicted_announced": True, "hem": "hand-rolled", "weave": "crepe",
        "print_technique": "block", "fibre": "silk",
    }  # fmt: skip
    fits, planted = (
        conflict(good, as_of=NOW),
        conflict(good | {"label_text": "RN 60000"}, as_of=NOW),
    )
    assert planted.clues[0].clue == "label_text"
    assert planted.clues[0].decibans > 10
    assert planted.clues[0].slip > 0.05 > max(one.slip for one in fits.clues if one.clue == "fibre")
    assert "Least at one with the others: label with" in str(planted)
    thread = conflict(good | {"hem_thread": "monofilament"}, as_of=NOW)
    assert thread.clues[0].clue == "hem_thread"
    assert thread.clues[0].slip > 0.3  # re-hemmed, rather than a thread before its time


def test_the_later_piece_is_what_a_dating_says() -> None:
    assert conflict(SEEN, as_of=NOW).later_piece == pytest.approx(
        1 - date_scarf(SEEN, as_of=NOW).period_probability, abs=1e-12
    )


def test_nothing_looked_at_disagrees_with_nothing() -> None:
    assert str(conflict({}, as_of=NOW)) == "Nothing was looked at: nothing disagrees."
    one = conflict({"fibre": "silk"}, as_of=NOW)
    assert str(one) == "No clue disagrees with the others."
    assert one.clues[0].predicted > 0
    frame = conflict(SEEN, as_of=NOW).to_frame()
    assert list(frame["clue"]) == [each.clue for each in conflict(SEEN, as_of=NOW).clues]
    with pytest.raises(ScarfdateError, match="a Scarf"):
        conflict("silk")  # type: ignore[arg-type]


@pytest.mark.statistical
def test_under_the_model_a_slip_is_as_likely_as_said() -> None:
    """Of simulated notes with a chance of slip near p, about p are slips (600 pieces, seed fixed).

    The simulation draws a slip as a value at random, so some slips note the true value; those count.
    """
    priors = load_priors()
    rng = np.random.default_rng(5)
    made = simulate(priors, 600, rng, as_of=NOW, looked_at=0.8)
    frame, truth = made.frame(), made.truth_frame()
    said, wrong = [], []
    for row, true in zip(frame.to_dict("records"), truth.to_dict("records"), strict=True):
        seen = {name: value for name, value in row.items() if not pd.isna(value)}
        for one in conflict(seen, as_of=NOW).clues:
            # confused by nobody: what is noted other than true was a slip
            if one.clue in ("origin", "layout", "palette", "motif") and not np.isnan(one.tail):
                values = len(priors.vocabulary.values[one.clue])
                said.append(one.slip * (values - 1) / values)
                wrong.append(seen[one.clue] != true[f"true_{one.clue}"])
    expected, found = sum(said), sum(wrong)
    error = np.sqrt(sum(p * (1 - p) for p in said))
    print(f"{found} slips to another value among {len(said)} notes, {expected:.1f} expected")
    assert abs(found - expected) < 3 * error  # 0.3 % of seeds
