"""Which clue surprises, and what explains it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import kstest

from scarfdate import Scarf, ScarfdateError, date_scarf, load_priors, simulate
from scarfdate.answer.evidence import encode
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior
from scarfdate.model.replicas import replicas
from scarfdate.why.conflict import conflict
from scarfdate.why.predicted import predicted_values
from tests.reference import Reference

NOW = 2026
SEEN = {
    "fibre": "silk", "hem": "hand-rolled", "hem_thread": "monofilament", "print_technique": "block",
    "weave": "crepe", "motif": "geometric",
}  # fmt: skip


def by_name(seen: dict[str, object]) -> dict[str, object]:
    return {one.clue: one for one in conflict(seen, as_of=NOW).clues}


def test_what_is_predicted_is_a_ratio_of_evidence() -> None:
    """P(seen | the rest), and the weight for a slip, by the plain reference implementation.

    The weight is the log odds of a slip after all, less those before (Good's definition).
    """
    priors = load_priors()
    reference = Reference(priors, "thrift", 1990)
    found = {one.clue: one for one in conflict(SEEN, as_of=1990, draws=0).clues}
    every = reference.date(Scarf(**SEEN)).log_evidence
    for name in ("hem_thread", "fibre", "motif"):
        rest = {other: word for other, word in SEEN.items() if other != name}
        without = reference.date(Scarf(**rest)).log_evidence
        one = found[name]
        assert one.predicted == pytest.approx(np.exp(every - without), rel=1e-9)
        rate = priors.slips[name]
        weight = np.log10(one.slip / (1 - one.slip)) - np.log10(rate / (1 - rate))
        assert one.decibans == pytest.approx(10 * weight, abs=1e-7)


def test_a_measurement_is_held_against_the_word_beside_it() -> None:
    """Its density given the rest, by the reference; the hem counts among the rest."""
    seen = {"hem": "hand-rolled", "stitches_per_inch": 10.0, "fibre": "silk"}
    reference = Reference(load_priors(), "thrift", 1990)
    found = {one.clue: one for one in conflict(seen, as_of=1990, draws=0).clues}
    assert set(found) == {"hem", "stitches_per_inch", "fibre"}
    every = reference.date(Scarf(**seen)).log_evidence
    without = reference.date(Scarf(hem="hand-rolled", fibre="silk")).log_evidence
    step = np.log(load_priors().families["stitches_per_inch"].step)
    assert found["stitches_per_inch"].predicted == pytest.approx(
        step * np.exp(every - without), rel=1e-9
    )
    word = reference.date(Scarf(stitches_per_inch=10.0, fibre="silk")).log_evidence
    assert found["hem"].predicted == pytest.approx(np.exp(every - word), rel=1e-9)
    rolled = conflict(seen | {"stitches_per_inch": 26.0}, as_of=1990, draws=0).clues[0]
    assert rolled.clue == "stitches_per_inch"
    assert rolled.tail < 0.05 < found["stitches_per_inch"].tail


@pytest.mark.parametrize("name", ["fibre", "hem_thread", "motif", "origin", "label"])
def test_predicted_values_add_up_to_one(name: str) -> None:
    model = compiled(load_priors(), "thrift", NOW)
    rest = {other: word for other, word in SEEN.items() if other != name}
    codes, _ = encode(model, Scarf(**rest))
    chances = predicted_values(model, codes, model.column[name])
    assert chances.sum() == pytest.approx(1, abs=1e-9)
    assert (chances > 0).all()


def test_the_chance_of_a_slip_is_that_of_tables_with_and_without() -> None:
    """Bayes by hand: a slip notes a value as often as it is common, s c P(the rest) of P(all).

    How common it is by the plain reference: its share over all years, grades and markets.
    """
    found = by_name(SEEN)["hem_thread"]
    priors = load_priors()
    slip = priors.slips["hem_thread"]
    model = compiled(priors, "thrift", NOW)
    codes, _ = encode(model, Scarf(**SEEN))
    others, _ = encode(model, Scarf(**{n: w for n, w in SEEN.items() if n != "hem_thread"}))
    log = posterior(model, np.concatenate((codes, others))).log_evidence
    values = list(priors.vocabulary.values["hem_thread"])
    common = Reference(priors, "thrift", NOW).common("hem_thread")[values.index("monofilament")]
    by_hand = slip * common * np.exp(log[1]) / np.exp(log[0])
    assert found.slip == pytest.approx(by_hand, rel=1e-9)
    assert 0 < found.altered < found.slip < 1


def test_what_explains_it_adds_up() -> None:
    """The four explanations are all there are; slips and later pieces as tables without them have it."""
    for seen in (SEEN, SEEN | {"motif": "psychedelic", "hem": "overlocked"}, {"fibre": "silk"}):
        found = conflict(seen, as_of=NOW, draws=0)
        parts = (found.as_noted, found.slip, found.altered, found.later_piece)
        assert sum(parts) == pytest.approx(1, abs=1e-9)
        assert min(parts) >= 0
        first = found.clues[0]
        assert found.slip + found.altered == pytest.approx(first.slip, abs=1e-12)
        dated = date_scarf(seen, as_of=NOW)
        rest = {name: word for name, word in seen.items() if name != first.clue}
        without = date_scarf(rest, as_of=NOW)
        later = 1 - dated.period_probability - first.slip * (1 - without.period_probability)
        assert found.later_piece == pytest.approx(later, abs=1e-9)


def test_a_planted_slip_is_the_most_surprising_and_most_likely_a_slip() -> None:
    """A piece of 1937 by seven things noted, from an estate: in a thrift shop, where most pieces are younger,
    the year shown and the number are about as likely to be the wrong one."""
    good = {
        "depicted_year": 1937, "depicted_announced": True, "hem": "hand-rolled", "weave": "crepe",
        "print_technique": "block", "fibre": "silk", "hem_thread": "silk", "uv_glow": "none",
    }  # fmt: skip
    fits, planted = (
        conflict(good, channel="estate", as_of=NOW),
        conflict(good | {"label_text": "RN 60000"}, channel="estate", as_of=NOW),
    )
    assert planted.clues[0].clue == "label_text"
    assert planted.clues[0].decibans > 10
    assert planted.clues[0].slip > 0.05 > max(one.slip for one in fits.clues if one.clue == "fibre")
    assert (
        "What fits worst with the other clues: the label (registration number 60000, given about 1979)"
        in str(planted)
    )
    assert planted.predictive_p < 0.1 < fits.predictive_p
    thread = conflict(good | {"hem_thread": "monofilament"}, channel="estate", as_of=NOW)
    assert thread.clues[0].clue == "hem_thread"
    # a slip notes a thread as often as it is common, and this one is rare: suspect, yet not proven
    assert thread.clues[0].decibans > 5
    assert thread.clues[0].slip > 0.1 > max(one.slip for one in thread.clues[1:])
    assert thread.altered > thread.slip  # re-hemmed rather than misread


def test_nothing_looked_at_disagrees_with_nothing() -> None:
    assert str(conflict({}, as_of=NOW)) == "Nothing was looked at, so nothing can disagree."
    one = conflict({"motif": "geometric"}, as_of=NOW)
    assert str(one).startswith("Nothing here looks like a slip.")
    assert one.clues[0].predicted > 0
    # rarer in this channel than everywhere, so a slip is likelier than it was: but no clue disagrees
    silk = conflict({"fibre": "silk"}, as_of=NOW)
    assert silk.clues[0].decibans > 0
    assert str(silk).startswith("Rare here, with no other clue to check it by: the silk.")
    assert "the other clues" not in str(silk)
    frame = conflict(SEEN, as_of=NOW).to_frame()
    assert list(frame["clue"]) == [each.clue for each in conflict(SEEN, as_of=NOW).clues]
    with pytest.raises(ScarfdateError, match="a Scarf"):
        conflict("silk")  # type: ignore[arg-type]
    for bad in (-1, 1.5, True, "many", 10**9):
        with pytest.raises(ScarfdateError, match="draws: a whole number"):
            conflict(SEEN, draws=bad)  # type: ignore[arg-type]


def test_texts_names_and_dates_are_held_as_seen() -> None:
    """What has no table to draw from is in every drawn piece as it was; the rest differs."""
    seen = SEEN | {
        "label": "intact", "label_text": "100% silk RN 60000", "depicted_year": 1953,
        "layout": {"all-over": 0.5, "border": 0.5},
    }  # fmt: skip
    model = compiled(load_priors(), "thrift", NOW)
    codes, _ = encode(model, Scarf(**seen))
    drawn = replicas(model, codes, 300, np.random.default_rng(1))
    assert ((drawn != 0) == (codes != 0)).all()
    for name in ("label_text", "depicted_year", "layout"):
        assert (drawn[:, model.column[name]] == codes[0, model.column[name]]).all()
    # the fibre is read off the label, and held with it
    for name in ("hem", "motif", "label"):
        assert len(np.unique(drawn[:, model.column[name]])) > 1, name


def test_drawn_pieces_are_those_of_the_model() -> None:
    """Shares of drawn hems given a label text: the exact predictive chances, within 4 standard errors."""
    seen = {"hem": "hand-rolled", "fibre": "silk", "label_text": "RN 60000", "label": "intact"}
    model = compiled(load_priors(), "thrift", NOW)
    codes, _ = encode(model, Scarf(**seen))
    n = 20_000
    drawn = replicas(model, codes, n, np.random.default_rng(2))
    held, _ = encode(model, Scarf(label_text="RN 60000"))
    text = model.column["label_text"]
    held[0, text] = codes[0, text]  # read beside an intact label, which itself is drawn
    held[0, model.column["label"]] = 0
    for name in ("hem", "fibre", "label"):
        clue = model.clues[model.column[name]]
        found = [clue.rows.keys[row][0].word for row in drawn[:, model.column[name]].tolist()]
        expected = predicted_values(model, held, model.column[name])
        for value, chance in zip(clue.values, expected, strict=True):
            error = np.sqrt(chance * (1 - chance) / n) + 1e-4
            assert abs(found.count(value) / n - chance) < 4 * error, value


@pytest.mark.long
@pytest.mark.statistical
def test_under_the_model_a_slip_is_as_likely_as_said() -> None:
    """Of simulated notes with a chance of slip near p, about p are slips (600 pieces, seed fixed).

    After a slip a value is noted as often as it is common, whatever is true, so some slips note the true
    value: of a slip that noted v, those of P(true is v | all the rest) = (P(v noted | rest) - s c) / (1 - s).
    """
    priors = load_priors()
    rng = np.random.default_rng(5)
    made = simulate(priors, 600, rng, as_of=NOW, looked_at=0.8)
    frame, truth = made.frame(), made.truth_frame()
    said, wrong = [], []
    for row, true in zip(frame.to_dict("records"), truth.to_dict("records"), strict=True):
        seen = {name: value for name, value in row.items() if not pd.isna(value)}
        for one in conflict(seen, as_of=NOW, draws=0).clues:
            # confused by nobody: what is noted other than true was a slip
            if one.clue in ("origin", "layout", "palette", "motif"):
                noted, rate = seen[one.clue], priors.slips[one.clue]
                common = priors.usual_shares[one.clue][priors.shares[one.clue].values.index(noted)]
                true_too = (one.predicted - rate * common) / (1 - rate)
                said.append(one.slip * (1 - true_too))
                wrong.append(seen[one.clue] != true[f"true_{one.clue}"])
    expected, found = sum(said), sum(wrong)
    error = np.sqrt(sum(p * (1 - p) for p in said))
    print(f"{found} slips to another value among {len(said)} notes, {expected:.1f} expected")
    assert abs(found - expected) < 3 * error  # 0.3 % of seeds


@pytest.mark.long
@pytest.mark.statistical
def test_agreement_is_uniform_under_the_model() -> None:
    """300 pieces drawn from the model, ranked among 99 each: Kolmogorov-Smirnov, p above 0.001 (the
    chance of a false alarm); with one planted slip it must ring.

    Every rank is as likely by exchangeability, whatever the statistic (Bayarri and Berger 2000, "P values
    for composite null models", JASA 95, 1127-1142, on conditional predictive checks; from memory).
    """
    priors = load_priors()
    made = simulate(priors, 300, np.random.default_rng(17), as_of=NOW, looked_at=0.7)
    rng = np.random.default_rng(18)
    found, spoilt = [], []
    for row in made.frame().to_dict("records"):
        seen = {name: value for name, value in row.items() if not pd.isna(value)}
        if len(seen) < 3:
            continue
        found.append(conflict(seen, as_of=NOW, draws=99, rng=rng).predictive_p)
        if seen.get("hem"):
            wrong = seen | {"hem": "raw", "hem_thread": "monofilament", "fibre": "wool"}
            spoilt.append(conflict(wrong, as_of=NOW, draws=99, rng=rng).predictive_p)
    p_value = kstest(found, "uniform").pvalue
    print(f"{len(found)} pieces, KS p {p_value:.3f}; spoilt median {np.median(spoilt):.3f}")
    assert p_value > 0.001
    assert kstest(spoilt, "uniform").pvalue < 1e-6
