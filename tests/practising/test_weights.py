"""What somebody gives each clue: against the exact answer, against `explain`, against `learn`'s trust, at the edges."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate import Priors, RangeError, Scarf, date_scarf, explain, load_priors, simulate
from scarfdate.conventions import FIRST_YEAR
from scarfdate.learning.patterns import patterns_of
from scarfdate.learning.trust import fit_trust
from scarfdate.model.model import compiled
from scarfdate.practising import weights_fit
from scarfdate.practising.believed import Believed
from scarfdate.practising.bet import Bet, read_bet
from scarfdate.practising.history import Played, Step
from scarfdate.practising.piece import cells_of
from scarfdate.practising.weights import RANGE, weights

AS_OF = 2026
PRIORS = load_priors()
DECADES = (AS_OF - FIRST_YEAR) // 10 + 1
TWO_HILLS = {
    "fibre": "silk",
    "hem": "fringed",
    "width_cm": 150,
    "height_cm": 150,
    "motif": "floral",
}
LABELLED = {
    "label_text": "MADE IN CHINA 100% SILK", "hem": "hand-rolled", "stitches_per_inch": 8,
    "palette": "neon", "origin": "italy", "motif": "geometric", "weave": "twill", "momme": 14,
}  # fmt: skip


def played(
    seen: Mapping[str, object], bets: Sequence[object], order: Sequence[str] = (), pieces: str = "drawn"
) -> Played:  # fmt: skip
    """A round that is over; one bet for all steps, or one each."""
    names = tuple(order) or tuple(Scarf(**seen).clues())
    each = list(bets) * (len(names) + 1) if len(bets) == 1 else list(bets)
    steps = zip([None, *names], each, strict=True)
    return Played(
        seen=dict(seen), order=names, known_from=1965, known_to=1965, pieces=pieces, channel="thrift",
        as_of=AS_OF, steps=tuple(Step(clue, read_bet(bet, AS_OF)) for clue, bet in steps),
    )  # fmt: skip


@pytest.mark.parametrize("seen", [TWO_HILLS, LABELLED], ids=["two-hills", "labelled"])
def test_to_the_power_one_it_is_the_exact_answer_after_each_clue(seen: dict[str, object]) -> None:
    """Sides, stitches beside their hem, what a label says for others, looks: all of it adds up to `date_scarf`."""
    scarf = Scarf(**seen)
    names = list(seen) if "label_text" in seen else list(scarf.clues())
    piece = Believed(PRIORS, played(seen, ["1960s"], names))
    year, _ = piece.years(np.ones(len(names)), np.zeros(piece.decades))
    for count in range(len(names) + 1):
        shown = Scarf(**cells_of(scarf, names[:count]))
        expected = date_scarf(shown, as_of=AS_OF).probability
        np.testing.assert_allclose(year[count], expected, atol=1e-9)


@pytest.mark.parametrize("seen", [TWO_HILLS, LABELLED], ids=["two-hills", "labelled"])
def test_slopes_are_those_of_small_differences(
    seen: dict[str, object], rng: np.random.Generator
) -> None:
    names = list(seen) if "label_text" in seen else list(Scarf(**seen).clues())
    piece = Believed(PRIORS, played(seen, ["1960s"], names))
    k = len(names)
    theta = np.concatenate((rng.uniform(-0.5, 2, k), rng.normal(0, 0.5, piece.decades)))
    _, slope = piece.years(theta[:k], theta[k:])
    for place in range(len(theta)):
        step = np.zeros(len(theta))
        step[place] = 1e-5
        ahead, behind = (piece.years(*np.split(theta + by, [k]))[0] for by in (step, -step))
        np.testing.assert_allclose(slope[:, place], (ahead - behind) / 2e-5, atol=1e-6)


def test_what_a_clue_is_worth_is_what_explain_says_of_pairs_of_decades() -> None:
    """The mean over all pairs, weighed by the channel's prior, of the weight of "one rather than the other"."""
    found = weights([played({"hem": "overlocked"}, ["1980s"])], PRIORS)["hem"]
    prior = compiled(PRIORS, "thrift", AS_OF).year_prior
    share = np.bincount((np.arange(FIRST_YEAR, AS_OF + 1) - FIRST_YEAR) // 10, prior)
    total = weight = 0.0
    for one in range(DECADES):
        for other in range(one):
            claim = f"{FIRST_YEAR + 10 * one}s rather than {FIRST_YEAR + 10 * other}s"
            told = explain({"hem": "overlocked"}, claim, priors=PRIORS, as_of=AS_OF).alone["hem"]
            total += share[one] * share[other] * abs(told)
            weight += share[one] * share[other]
    assert found.worth == pytest.approx(total / weight, rel=1e-6)


@pytest.mark.slow
def test_it_is_the_trust_fit_of_learn(
    rng: np.random.Generator, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten chips on the known decade of each record, no prior and no slip: the exponents that `learn` finds."""
    drawn = simulate(PRIORS, 240, rng, as_of=AS_OF, looked_at=1.0)
    threads, fibres = (list(drawn.seen[name]) for name in ("hem_thread", "fibre"))
    threads[:30] = threads[29::-1]  # a careless eye
    fibres[120:180] = fibres[179:119:-1]
    rows = [{"hem_thread": one} for one in threads[:120]] + [{"fibre": one} for one in fibres[120:]]
    first = [max(year - year % 10, FIRST_YEAR) for year in drawn.truth["year"]]
    last = np.minimum(np.array(first) + 9, AS_OF)
    records = SimpleNamespace(clues=pd.DataFrame(rows), known_from=np.array(first), known_to=last)
    model = compiled(PRIORS, "thrift", AS_OF)
    learned = fit_trust(model, patterns_of(model, records))
    monkeypatch.setattr(weights_fit, "SPREAD", 1e4)
    monkeypatch.setattr(weights_fit, "EXPECTED", 1e-6)
    monkeypatch.setattr(weights_fit, "SLIP", 0.0)
    rounds = [played(row, [{year: 10}]) for row, year in zip(rows, first, strict=True)]
    found = weights_fit.fit(
        [Believed(PRIORS, one) for one in rounds],
        [[step.bet for step in one.steps] for one in rounds],
    )
    assert all(0.1 < one < 0.95 for one in learned.exponent.values())  # within the range of both
    np.testing.assert_allclose(
        found.exponent, [learned.exponent[clue] for clue in found.clues], atol=2e-3
    )


def test_a_clue_of_one_piece_has_a_wide_interval_and_no_end() -> None:
    found = weights([played(LABELLED, ["1960s 5, 1970s 5"], list(LABELLED))], PRIORS)
    assert {one.clue for one in found.clues} == set(LABELLED)
    for one in found.clues:
        assert np.isfinite(one.error)
        assert RANGE[0] <= one.low <= one.exponent <= one.high <= RANGE[1]
    assert (
        max(one.error for one in found.clues) > 0.7
    )  # some clue tells nothing here: the prior's is 1


def test_one_who_never_moves_gives_the_clues_nothing(rng: np.random.Generator) -> None:
    """She lays what the prior says, whatever she is shown."""
    drawn = simulate(PRIORS, 20, rng, as_of=AS_OF, looked_at=0.4)
    prior = compiled(PRIORS, "thrift", AS_OF).year_prior
    share = np.bincount((np.arange(FIRST_YEAR, AS_OF + 1) - FIRST_YEAR) // 10, prior)
    bet = Bet(tuple(range(FIRST_YEAR, AS_OF + 1, 10)), tuple(share.tolist()), AS_OF)
    rounds = [played(scarf.to_dict(), [bet]) for scarf in drawn.scarves(PRIORS)]
    for one in weights(rounds, PRIORS).clues:
        assert one.low < 0.25
        assert one.worth < 1 or abs(one.given) < 0.4 * one.worth
        assert one.verdict in ("less than it is worth", "no difference shown", "tells little here")


def test_intervals_are_read_as_ten_chips_too() -> None:
    """One who closes in on what the clue says gives it more than one whose interval stays wide."""
    hem = {"hem": "overlocked"}
    close = weights([played(hem, ["1900-2010", "1975-2020"])] * 12, PRIORS)["hem"]
    wide = weights([played(hem, ["1900-2010"])] * 12, PRIORS)["hem"]
    assert wide.given < 0.3 * wide.worth
    assert close.given > wide.given + 1


def test_a_clue_read_the_wrong_way_round_is_named() -> None:
    polyester = {"fibre": "polyester"}
    found = weights([played(polyester, ["1960s 5, 1980s 5", "1900s 6, 1910s 4"])] * 8, PRIORS)
    assert found["fibre"].given < 0
    assert found["fibre"].verdict == "the wrong way round"
    assert "the wrong way round" in str(found)


@settings(max_examples=8, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, DECADES - 1), st.integers(0, DECADES - 1)), min_size=3, max_size=3
    )
)
def test_any_bets_give_numbers(bets: list[tuple[int, int]]) -> None:
    """However absurd the bets are, nothing is infinite and nothing out of its range."""
    laid: list[object] = [
        {FIRST_YEAR + 10 * one: 5, FIRST_YEAR + 10 * other: 5} if one != other else {FIRST_YEAR + 10 * one: 10}
        for one, other in bets
    ]  # fmt: skip
    found = weights([played({"fibre": "polyester", "hem": "overlocked"}, laid)] * 2, PRIORS)
    assert np.isfinite(found.to_frame().select_dtypes("number").to_numpy()).all()
    assert found.to_frame()["exponent"].between(*RANGE).all()


def test_the_order_of_rounds_does_not_matter() -> None:
    rounds = [played(TWO_HILLS, ["1960s"]), played(LABELLED, ["1990s 7, 2000s 3"], list(LABELLED))]
    frames = [weights(some, PRIORS).to_frame().sort_values("clue", ignore_index=True) for some in (rounds, rounds[::-1])]  # fmt: skip
    pd.testing.assert_frame_equal(*frames, rtol=1e-5)


def test_nothing_played_or_half_of_a_round_is_refused() -> None:
    with pytest.raises(RangeError, match="no round"):
        weights([], PRIORS)
    one = played({"hem": "overlocked"}, ["1960s"])
    with pytest.raises(RangeError, match="one of 1 clues has 1"):
        weights([replace(one, steps=one.steps[:1])], PRIORS)


@pytest.mark.parametrize("channel", ["museum", "thrift"])
def test_rounds_of_several_channels_and_years_are_weighed_together(channel: str) -> None:
    one = played(TWO_HILLS, ["1960s"])
    later = Played(
        seen=one.seen, order=one.order, known_from=1965, known_to=1965, pieces="own", channel=channel,
        as_of=2041, steps=tuple(Step(step.clue, read_bet("1960s", 2041)) for step in one.steps),
    )  # fmt: skip
    found = weights([one, later], PRIORS)
    assert all(row.pieces == 2 for row in found.clues)
    assert found.before[-1][0] == 2040


def test_it_says_the_same_copied_and_pickled_and_is_drawn() -> None:
    found = weights([played(TWO_HILLS, ["1960s"])], PRIORS)
    assert str(pickle.loads(pickle.dumps(found))) == str(copy.deepcopy(found)) == str(found)
    axis = found.plot()
    assert [text.get_text() for text in axis.get_yticklabels()][-1].endswith("(1)")
    assert "hem (1 piece)" in found._repr_html_()
    with pytest.raises(KeyError):
        found["fibre of another"]


def test_priors_of_another_trust_are_the_measure(priors: Priors) -> None:
    """Worth is what the tables at hand give a clue."""
    one = [played({"hem": "overlocked"}, ["1980s"])]
    assert weights(one)["hem"].worth == weights(one, priors)["hem"].worth
