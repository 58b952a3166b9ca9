"""What to look at next: expected information against datings of what may be found."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from scarfdate import RangeError, Scarf, ScarfdateError, date_scarf, load_priors, next_checks
from scarfdate.answer.evidence import encode
from scarfdate.errors import PriorsError
from scarfdate.model.model import compiled
from scarfdate.tables.priors import shipped_folder
from scarfdate.why.asked import Asked
from scarfdate.why.looks import NextLooks
from scarfdate.why.predicted import predicted_values
from scarfdate.why.state import State

NOW = 2026
SEEN = {"fibre": "silk", "hem": "hand-rolled", "width_cm": 78, "height_cm": 78}
PRIORS = load_priors()
CHECKS = {(check.family, check.method): check for check in PRIORS.checks}


def entropy(chance: np.ndarray) -> float:
    positive = chance[chance > 0]
    return float(-(positive * np.log2(positive)).sum())


def state(seen: dict[str, object]) -> State:
    return State.of(Asked.of(seen, PRIORS, "thrift", NOW))


@pytest.mark.parametrize("name", ["origin", "layout", "print_technique", "hem_thread"])
def test_the_promise_is_the_mean_over_datings_of_what_may_be_found(name: str) -> None:
    """Lindley (1956): entropy now less the mean entropy afterwards, through the front door."""
    model = compiled(PRIORS, "thrift", NOW)
    codes, _ = encode(model, Scarf(**SEEN))
    chances = predicted_values(model, codes, model.column[name])
    after = [
        entropy(date_scarf(SEEN | {name: value}, as_of=NOW).probability)
        for value in PRIORS.vocabulary.values[name]
    ]
    expected = entropy(date_scarf(SEEN, as_of=NOW).probability) - chances @ np.array(after)
    look = next(
        x for x in next_checks(SEEN, as_of=NOW).looks if (x.clue, x.method) == (name, "feel")
    )
    assert look.bits == pytest.approx(expected, abs=1e-9)
    assert look.bits > 0


@pytest.mark.parametrize(
    "key", [("origin", "feel"), ("fibre", "burn"), ("fibre", "microscope"), ("hem", "microscope"),
            ("stitches_per_inch", "feel"), ("momme", "feel")],
)  # fmt: skip
def test_what_may_be_found_adds_up_to_one(key: tuple[str, str]) -> None:
    found = list(state(SEEN).outcomes(CHECKS[key]))
    # a measure is cut into steps, and ends at its limits
    slack = 0.01 if key[0] in PRIORS.measured else 1e-9
    assert sum(chance for chance, _ in found) == pytest.approx(1, abs=slack)
    now = state(SEEN).year
    mean = sum(chance * after.year / after.year.sum() for chance, after in found)
    # the mean of the answers to come is the answer now: nobody can foresee in which way to change
    np.testing.assert_allclose(
        mean / mean.sum(), now / now.sum(), atol=2e-3 if slack > 1e-6 else 1e-10
    )


def test_realised_information_averages_to_the_promise() -> None:
    """Simulated answers: the mean of what was gained is the expectation (4 standard errors, seed fixed)."""
    rng = np.random.default_rng(17)
    found = list(state(SEEN).outcomes(CHECKS["origin", "feel"]))
    promised, _, _ = state(SEEN).promise(found)
    chances = np.array([chance for chance, _ in found])
    now = entropy(state(SEEN).year / state(SEEN).year.sum())
    gains = np.array([now - entropy(after.year / after.year.sum()) for _, after in found])
    drawn = gains[rng.choice(len(gains), size=4000, p=chances / chances.sum())]
    assert abs(drawn.mean() - promised) < 4 * drawn.std() / np.sqrt(len(drawn))
    assert drawn.min() < 0  # a single look may leave one less sure


def test_a_surer_method_is_offered_and_a_weaker_is_not() -> None:
    burnt = next_checks(SEEN | {"fibre_method": "burn"}, as_of=NOW, harmless=False)
    offered = {(look.clue, look.method) for look in burnt.looks}
    offered |= {(look.clue, look.method) for look, _ in burnt.held_back}
    felt = next_checks(SEEN, as_of=NOW, harmless=False)
    assert ("fibre", "microscope") in {(look.clue, look.method) for look in felt.looks}
    assert ("fibre", "burn") in {(look.clue, look.method) for look, _ in felt.held_back}
    assert ("fibre", "burn") not in offered
    assert ("fibre", "feel") not in offered
    assert ("origin", "feel") in offered
    assert ("hem", "feel") not in offered  # looked at already


def test_what_harms_is_left_out_unless_asked_for_and_carries_its_caution() -> None:
    """Flame, solvent and ultraviolet: usual cautions (common practice, no source)."""
    gentle, every = (next_checks({}, as_of=NOW, harmless=h) for h in (True, False))
    harmful = {
        (c.family, c.method)
        for c in PRIORS.checks
        if c.harms or c.needs in ("lamp", "flame", "solvent")
    }
    assert harmful >= {("fibre", "burn"), ("uv_glow", "feel"), ("hem_thread", "burn")}
    assert not harmful & {(look.clue, look.method) for look in gentle.looks}
    for look in every.looks:
        if (look.clue, look.method) in harmful:
            assert "local codes" in look.caution or "eyes" in look.caution
    assert ("fibre", "solvent") in harmful
    assert "catches fire" in CHECKS["fibre", "solvent"].caution
    burn = next(look for look in every.looks if look.method == "burn")
    told = str(NextLooks(looks=(burn,), plan=(), plan_bits=0.0, plan_error=0.0))
    assert "(harms the piece)" in told and "take care: destroys cloth" in told


@pytest.mark.slow
def test_harm_is_only_offered_where_what_is_at_stake_pays_for_it() -> None:
    """By hand: offered where the rise of the best decade's chance times the stake is above loss times worth."""
    every = next_checks({}, as_of=NOW, harmless=False)
    burn = next(look for look in every.looks if (look.clue, look.method) == ("fibre", "burn"))
    check = CHECKS["fibre", "burn"]
    assert burn.bits > check.least_bits > 0
    assert burn.surer > 0
    worth = 50.0
    border = check.loss * worth / burn.surer
    for at_stake, offered in ((border * 0.99, False), (border * 1.01, True)):
        found = next_checks({}, as_of=NOW, harmless=False, worth=worth, at_stake=at_stake)
        assert (("fibre", "burn") in {(x.clue, x.method) for x in found.looks}) is offered
        held = {(look.clue, look.method): why for look, why in found.held_back}
        assert (("fibre", "burn") in held) is not offered
        if not offered:
            assert "to cost 1.50 by its harm" in held["fibre", "burn"]
            assert "Not fibre by burn: it can be expected to save" in str(found)
    # what a flame can hardly add is not offered whatever is at stake
    sure = next_checks(SEEN, as_of=NOW, harmless=False, worth=1, at_stake=1e6)
    assert ("fibre", "burn") not in {(look.clue, look.method) for look in sure.looks}
    assert "bits, and 0.1 are asked" in str(sure)
    assert not next_checks({}, as_of=NOW, worth=1, at_stake=1e6).held_back  # nobody asked for harm


def test_the_rise_of_the_best_decade_is_that_of_datings() -> None:
    model = compiled(PRIORS, "thrift", NOW)
    codes, _ = encode(model, Scarf(**SEEN))
    chances = predicted_values(model, codes, model.column["origin"])
    best = [
        max(date_scarf(SEEN | {"origin": value}, as_of=NOW).decades().values())
        for value in PRIORS.vocabulary.values["origin"]
    ]
    rise = chances @ np.array(best) - max(date_scarf(SEEN, as_of=NOW).decades().values())
    look = next(x for x in next_checks(SEEN, as_of=NOW).looks if x.clue == "origin")
    assert look.surer == pytest.approx(rise, abs=1e-9)


@pytest.mark.parametrize(
    ("money", "what"),
    [({"worth": -1, "at_stake": 5}, "worth: a number from 0"), ({"worth": 5}, "give both"),
     ({"at_stake": 5}, "give both"), ({"worth": "5", "at_stake": 5}, "worth: a number"),
     ({"worth": 5, "at_stake": float("nan")}, "at_stake: a number"), ({"worth": True, "at_stake": 5}, "worth")],
)  # fmt: skip
def test_money_that_is_none_is_refused(money: dict[str, object], what: str) -> None:
    with pytest.raises(RangeError, match=what):
        next_checks(SEEN, as_of=NOW, **money)  # type: ignore[arg-type]


def test_without_a_label_nothing_is_read_off_it() -> None:
    found = next_checks({"label": "none-seen"}, as_of=NOW)
    assert not any(look.method == "label" or look.clue == "label_make" for look in found.looks)
    assert any(look.method == "label" for look in next_checks({}, as_of=NOW).looks)


@pytest.mark.slow
def test_the_plan_keeps_to_its_minutes_and_falls_little_short_of_the_best_set() -> None:
    """Exhaustive search over all pairs of half-minute checks is the reference for a one-minute plan."""
    start = state(SEEN)
    able = [c for c in PRIORS.checks if c.minutes == 0.5 and not c.harms]
    exact = {}
    for pair in combinations(able, 2):
        promised = [list(start.outcomes(check)) for check in pair]
        if not all(promised):
            continue
        bits, _, _ = start.promise(promised[0])
        for chance, after in promised[0]:
            bits += chance * after.promise(list(after.outcomes(pair[1])))[0]
        exact[frozenset((c.family, c.method) for c in pair)] = bits
    best = max(exact.values())
    found = next_checks(SEEN, as_of=NOW, minutes=1)
    chosen = frozenset((look.clue, look.method) for look in found.plan)
    assert sum(look.minutes for look in found.plan) <= 1
    print(f"greedy {exact[chosen]:.4f} bits, best pair {best:.4f}, said {found.plan_bits:.4f}")
    assert exact[chosen] > 0.9 * best
    assert abs(found.plan_bits - exact[chosen]) < 4 * found.plan_error + 1e-9


def test_frame_and_words() -> None:
    found = next_checks(SEEN, as_of=NOW)
    frame = found.to_frame()
    assert (frame["bits_per_minute"].diff().dropna() <= 1e-12).all()
    assert str(found).startswith(f"{frame['clue'].iloc[0]}: ")
    assert "print_technique by label: " in str(found)
    assert not found.plan


@pytest.mark.parametrize("minutes", [0, -1, "5", True, float("nan"), float("inf"), 1e9])
def test_minutes_that_are_none_are_refused(minutes: object) -> None:
    with pytest.raises(RangeError, match="minutes"):
        next_checks(SEEN, as_of=NOW, minutes=minutes)  # type: ignore[arg-type]
    with pytest.raises(ScarfdateError):
        next_checks(7, as_of=NOW)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("fibre,burn,5,flame,yes,0,0,care,common practice,,", "stands there twice"),
        ("hem,label,5,flame,no,0,0,,common practice,,", "has a caution"),
        ("hem,sniff,5,,no,0,0,,common practice,,", "column method"),
        ("hemm,feel,5,,no,0,0,,common practice,,", "column family"),
        ("hem,label,0,,no,0,0,,common practice,,", "between 0.1 and 600"),
        ("hem,label,5,magic,no,0,0,,common practice,,", "column needs"),
    ],
)
def test_a_faulty_check_is_named(tmp_path, row: str, said: str) -> None:
    text = (shipped_folder() / "checks.csv").read_text(encoding="utf-8")
    (tmp_path / "checks.csv").write_text(f"{text}{row}\n", encoding="utf-8")
    with pytest.raises(PriorsError, match=said):
        load_priors(tmp_path)
