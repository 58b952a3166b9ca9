"""What to look at next: expected information against datings of what may be found."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scarfdate import RangeError, Scarf, ScarfdateError, date_scarf, load_priors, next_checks
from scarfdate.answer.evidence import encode
from scarfdate.errors import PriorsError
from scarfdate.model.model import compiled
from scarfdate.reading.files import read_table
from scarfdate.tables.priors import shipped_folder
from scarfdate.why.asked import Asked
from scarfdate.why.looks import Look, NextLooks
from scarfdate.why.predicted import predicted_values
from scarfdate.why.state import Outcomes, State, promises
from tests.random_scarves import random_clues

NOW = 2026
SEEN = {"fibre": "silk", "hem": "hand-rolled", "width_cm": 78, "height_cm": 78}
PRIORS = load_priors()
CHECKS = {(check.family, check.method): check for check in PRIORS.checks}


def entropy(chance: np.ndarray) -> float:
    positive = chance[chance > 0]
    return float(-(positive * np.log2(positive)).sum())


def every(found: NextLooks) -> tuple[Look, ...]:
    """What was worked out, whether it is proposed or not."""
    return (*found.looks, *found.too_little, *(look for look, _ in found.held_back))


def state(seen: dict[str, object]) -> State:
    return State.of(Asked.of(seen, PRIORS, "thrift", NOW))


def outcomes_of(known: State, key: tuple[str, str]) -> Outcomes:
    outcomes = known.outcomes(CHECKS[key])
    assert outcomes is not None
    return outcomes


def bits(known: State, family: str, method: str) -> float:
    return promises(known, [outcomes_of(known, (family, method))])[0][0]


@pytest.mark.parametrize("name", ["origin", "layout", "print_technique", "hem_thread"])
def test_the_promise_is_the_mean_over_datings_of_what_may_be_found(name: str) -> None:
    """Lindley (1956): entropy now less the mean entropy afterwards, through the front door."""
    # a country name is looked for where there is a label, and is not on every one
    piece = SEEN | ({"label_make": "woven"} if name == "origin" else {})
    model = compiled(PRIORS, "thrift", NOW)
    codes, _ = encode(model, Scarf(**piece))
    chances = predicted_values(model, codes, model.column[name])
    after = [
        entropy(date_scarf(piece | {name: value}, as_of=NOW).probability)
        for value in PRIORS.vocabulary.values[name]
    ]
    expected = entropy(date_scarf(piece, as_of=NOW).probability) - chances @ np.array(after)
    look = next(
        x for x in every(next_checks(piece, as_of=NOW)) if (x.clue, x.method) == (name, "feel")
    )
    # of a look at a label of which something was read, slips are taken as independent: that is nearly so
    slack = {"rel": 0.01} if name == "origin" else {"abs": 1e-9}
    assert look.bits == pytest.approx(look.there * expected, **slack)
    assert look.bits > 0 and (0.1 < look.there < 0.9 if name == "origin" else look.there == 1)


@pytest.mark.parametrize(
    "key", [("origin", "feel"), ("fibre", "burn"), ("fibre", "microscope"), ("hem", "microscope"),
            ("stitches_per_inch", "feel"), ("momme", "feel")],
)  # fmt: skip
def test_what_may_be_found_adds_up_to_one(key: tuple[str, str]) -> None:
    found = outcomes_of(state(SEEN), key)
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
    found = outcomes_of(state(SEEN), ("origin", "feel"))
    promised = bits(state(SEEN), "origin", "feel")
    chances = np.array([chance for chance, _ in found])
    now = entropy(state(SEEN).year / state(SEEN).year.sum())
    gains = np.array([now - entropy(after.year / after.year.sum()) for _, after in found])
    drawn = gains[rng.choice(len(gains), size=4000, p=chances / chances.sum())]
    assert abs(drawn.mean() - promised) < 4 * drawn.std() / np.sqrt(len(drawn))
    assert drawn.min() < 0  # a single look may leave one less sure


def test_a_surer_method_is_offered_and_a_weaker_is_not() -> None:
    burnt = next_checks(SEEN | {"fibre_method": "burn"}, as_of=NOW, harmless=False)
    offered = {(look.clue, look.method) for look in every(burnt)}
    felt = next_checks(SEEN, as_of=NOW, harmless=False)
    assert ("fibre", "microscope") in {(look.clue, look.method) for look in every(felt)}
    assert ("fibre", "burn") in {(look.clue, look.method) for look, _ in felt.held_back}
    assert ("fibre", "burn") not in offered
    assert ("fibre", "feel") not in offered
    assert ("label", "feel") in offered
    assert ("hem", "feel") not in offered  # looked at already


def test_what_harms_is_left_out_unless_asked_for_and_carries_its_caution() -> None:
    """Flame, solvent and ultraviolet: usual cautions (common practice, no source)."""
    gentle, harming = (next_checks({}, as_of=NOW, harmless=h) for h in (True, False))
    harmful = {
        (c.family, c.method)
        for c in PRIORS.checks
        if c.harms or c.needs in ("lamp", "flame", "solvent")
    }
    assert harmful >= {("fibre", "burn"), ("uv_glow", "feel"), ("hem_thread", "burn")}
    assert not harmful & {(look.clue, look.method) for look in every(gentle)}
    for look in every(harming):
        if (look.clue, look.method) in harmful:
            assert "local codes" in look.caution or "eyes" in look.caution
    assert ("fibre", "solvent") in harmful
    assert "catches fire" in CHECKS["fibre", "solvent"].caution
    burn = next(look for look in harming.looks if look.method == "burn")
    told = str(NextLooks(looks=(burn,), plan=(), plan_bits=0.0, plan_error=0.0))
    assert "it harms the piece." in told and "Take care: destroys cloth" in told


@pytest.mark.slow
def test_harm_is_only_offered_where_what_is_at_stake_pays_for_it() -> None:
    """By hand: offered where the rise of the best decade's chance times the stake is above loss times worth."""
    harming = next_checks({}, as_of=NOW, harmless=False)
    burn = next(look for look in harming.looks if (look.clue, look.method) == ("fibre", "burn"))
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
            assert "Better not burn a loose thread of the cloth: it can be expected to save" in str(
                found
            )
    # what a flame can hardly add is not offered whatever is at stake
    sure = next_checks(SEEN, as_of=NOW, harmless=False, worth=1, at_stake=1e6)
    assert ("fibre", "burn") not in {(look.clue, look.method) for look in sure.looks}
    assert "Better not burn a loose thread of the cloth: it can do harm" in str(sure)
    assert not next_checks({}, as_of=NOW, worth=1, at_stake=1e6).held_back  # nobody asked for harm


def test_the_rise_of_the_best_decade_is_that_of_datings() -> None:
    model = compiled(PRIORS, "thrift", NOW)
    codes, _ = encode(model, Scarf(**SEEN))
    chances = predicted_values(model, codes, model.column["motif"])
    best = [
        max(date_scarf(SEEN | {"motif": value}, as_of=NOW).decades().values())
        for value in PRIORS.vocabulary.values["motif"]
    ]
    rise = chances @ np.array(best) - max(date_scarf(SEEN, as_of=NOW).decades().values())
    look = next(x for x in every(next_checks(SEEN, as_of=NOW)) if x.clue == "motif")
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


STOCK = [
    {name: cell for name, cell in row.items() if cell}
    for row in read_table(Path(__file__).parents[2] / "data" / "stock.csv").to_dict("records")
]
GONE = [
    "none-seen",
    "removed",
    "no tag",
    "tag cut off",
    "label gone",
    "entfernt",
    "keins",
    "abgeschnitten",
]
CUT = ["cut label", "tag cut", "fragment"]


def read_off_a_label(look: Look) -> bool:
    """By the field's own sense: the words of a label, its make, the country that it names."""
    return look.method == "label" or look.clue in ("label", "label_make", "origin", "label_text")


def unlooked(seen: dict[str, Any]) -> dict[str, Any]:
    """A piece of which nothing of a label was noted."""
    kept = {n: cell for n, cell in seen.items() if not n.startswith(("label", "origin"))}
    kept["methods"] = {
        n: m
        for n, m in seen.get("methods", {}).items()
        if n not in ("label", "label_make", "origin")
    }
    return kept


@pytest.fixture(scope="module")
def pieces() -> list[dict[str, Any]]:
    """Pieces of the demo stock and drawn ones, likely or not; nothing is known of their labels."""
    rng = np.random.default_rng(4)
    return [
        unlooked(seen)
        for seen in (*STOCK[::12], *(random_clues(PRIORS, rng, NOW) for _ in range(6)))
    ]


@pytest.mark.slow
def test_no_look_on_a_label_that_is_gone(pieces: list[dict[str, Any]]) -> None:
    offered = 0
    for place, seen in enumerate(pieces):
        gone = seen | {"label": GONE[place % len(GONE)]}
        assert not [look for look in every(next_checks(gone, as_of=NOW)) if read_off_a_label(look)]
        offered += any(read_off_a_label(look) for look in every(next_checks(seen, as_of=NOW)))
    assert offered == len(pieces)  # where nobody has looked for a label, one may


@pytest.mark.slow
def test_no_look_on_a_label_that_is_gone_in_the_whole_demo_stock() -> None:
    unlabelled = 0
    for seen in STOCK:
        found = every(next_checks(seen, as_of=NOW))
        # none seen, or none there: the demo stock writes it in the plain word
        if seen.get("label") == "none-seen":
            unlabelled += 1
            assert not [look for look in found if read_off_a_label(look)], seen["id"]
        elif seen.get("label") == "cut-or-fragment":
            assert "origin" not in {look.clue for look in found}, seen["id"]
        assert ("print_technique", "label") not in {(look.clue, look.method) for look in found}
    assert unlabelled > 10


@pytest.mark.parametrize("cut", CUT)
def test_no_country_is_looked_for_on_what_is_cut_off(cut: str) -> None:
    found = every(next_checks(SEEN | {"label": cut}, as_of=NOW))
    assert not [look for look in found if look.clue == "origin" or look.method == "label"]
    assert "label_make" in {look.clue for look in found}  # a stub shows how the label was made


LABELS = {"label", "label_make", "origin"}


def on_a_label(found: NextLooks) -> dict[tuple[str, str], Look]:
    return {
        (look.clue, look.method): look
        for look in every(found)
        if look.clue in LABELS or look.method == "label"
    }


@pytest.mark.parametrize("seen", [{"fibre": "silk", "form": "square"}, {"fibre": "silk"}, SEEN, {}])
def test_to_look_for_a_label_and_read_it_is_one_look(seen: dict[str, object]) -> None:
    """Four pieces in five have no label: a country name is not promised as if one were there."""
    found = next_checks(seen, as_of=NOW)
    ((key, look),) = on_a_label(found).items()
    assert key == ("label", "feel") and 0.15 < look.there < 0.25
    assert 0.02 < look.bits < 0.07 and look.narrower < 2.5
    assert found.looks[0].clue != "label"
    assert str(look).startswith(
        "look whether there is a label, and read it (there on about one piece in five), a minute: "
    )


def test_a_label_that_was_noted_is_read_look_by_look() -> None:
    intact = on_a_label(next_checks({"fibre": "silk", "label": "intact"}, as_of=NOW))
    assert intact.keys() == {("label_make", "feel"), ("origin", "feel"), ("fibre", "label")}
    assert 0.5 < intact["origin", "feel"].there < 0.9 < intact["label_make", "feel"].there
    # how it is made tells that there is one, and not that it is whole; a country name tells both
    woven = on_a_label(next_checks({"fibre": "silk", "label_make": "woven"}, as_of=NOW))
    assert woven.keys() == {("origin", "feel"), ("fibre", "label")}
    assert 0.25 < woven["origin", "feel"].there < 0.5
    named = on_a_label(next_checks({"fibre": "silk", "origin": "italy"}, as_of=NOW))
    assert named.keys() == {("label_make", "feel"), ("fibre", "label")}
    assert named["label_make", "feel"].there == pytest.approx(1)
    assert named["fibre", "label"].there > 0.5
    read = on_a_label(next_checks({"fibre": "silk", "fibre_method": "label"}, as_of=NOW))
    assert read.keys() == {("label_make", "feel"), ("origin", "feel")}
    assert read["origin", "feel"].there > 0.5
    assert "(there on about two labels in three)" in str(intact["origin", "feel"])


def test_doubt_about_a_label_decides_by_what_is_likelier() -> None:
    for weight, offered in ((0.4, True), (0.6, False)):
        label = {"none-seen": weight, "intact": 1 - weight}
        found = every(next_checks(SEEN | {"label": label}, as_of=NOW))
        assert ("origin" in {look.clue for look in found}) is offered


def test_what_a_label_says_is_not_read_twice() -> None:
    found = every(next_checks({"hem": "hand-rolled", "label_text": "DRY CLEAN ONLY"}, as_of=NOW))
    assert not [
        look for look in found if look.clue in ("origin", "label") or look.method == "label"
    ]


@pytest.mark.parametrize("hem", ["raw", "fringed", "selvedge"])
def test_an_edge_without_stitches_has_none_to_look_at(hem: str) -> None:
    found = every(next_checks({"fibre": "silk", "hem": hem}, as_of=NOW, harmless=False))
    assert not {"hem_thread", "stitches_per_inch"} & {look.clue for look in found}


def test_nothing_is_proposed_that_narrows_by_nothing(pieces: list[dict[str, Any]]) -> None:
    proposed = 0
    for seen in (*pieces, {"fibre": "silk"}, {}):
        found = next_checks(seen, as_of=NOW)
        proposed += len(found.looks)
        assert all(round(look.narrower) >= 1 for look in found.looks)
        said = str(found)
        assert "by no year" not in said and not re.search(r"by -?0|by -", said)
        assert "bits" not in said and "print_technique" not in said
    assert proposed > 20


@pytest.mark.slow
def test_the_plan_keeps_to_its_minutes_and_falls_little_short_of_the_best_set() -> None:
    """Exhaustive search over all pairs of half-minute checks is the reference for a one-minute plan."""
    start = state(SEEN)
    able = [c for c in PRIORS.checks if c.minutes == 0.5 and not c.harms]
    exact = {}
    for pair in combinations(able, 2):
        first, second = (start.outcomes(check) for check in pair)
        if first is None or second is None:
            continue
        both = bits(start, pair[0].family, pair[0].method)
        both += sum(chance * bits(after, pair[1].family, pair[1].method) for chance, after in first)
        exact[frozenset((c.family, c.method) for c in pair)] = both
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
    pace = frame["narrower"] / frame["minutes"]  # the order is that of what is told
    assert (pace.diff().dropna() <= 1e-12).all() and len(frame) > 4
    assert len(frame) == len(found.looks) and not found.plan
    lines = str(found).splitlines()
    words = frame["words"].iloc[0]
    assert lines[0].startswith(f"{words[0].upper()}{words[1:]}, ")
    for line in lines:
        assert re.fullmatch(
            r"  Take care: .*\.|.*: likely to narrow it by [a-z0-9]+ years?(, more where its words date it)?\."
            r"|[A-Z][a-z]+ other looks? (?:is|are each) likely to narrow it by [a-z0-9]+ years? at most\.",
            line,
        )
    assert len([line for line in lines if not line.startswith(" ")]) <= 5


def test_a_look_is_said_as_people_say_it() -> None:
    """The sentence that was asked for, word by word."""
    labelled = {"fibre": "silk", "label": "intact"}
    look = next(look for look in next_checks(labelled, as_of=NOW).looks if look.clue == "origin")
    five = replace(look, narrower=5.2)
    assert str(five) == (
        "look for a country name (there on about two labels in three), half a minute: "
        "likely to narrow it by five years"
    )
    five = replace(five, there=1.0)
    assert str(five) == "look for a country name, half a minute: likely to narrow it by five years"
    told = {0.004: "on hardly any piece", 0.12: "on about one piece in eight", 0.5: "one piece in two",
            0.19: "on about one piece in five", 0.74: "three pieces in four", 0.94: "nine"}  # fmt: skip
    for there, words in told.items():
        assert (words in str(replace(five, there=there, of_label=False))) is (words != "nine")
    assert str(replace(five, minutes=1, narrower=1.2)).endswith(
        ", a minute: likely to narrow it by one year"
    )
    assert str(replace(five, minutes=15, narrower=23)).endswith(
        "15 minutes: likely to narrow it by 23 years"
    )
    nothing = NextLooks(looks=(), plan=(), plan_bits=0.0, plan_error=0.0)
    assert str(nothing) == "There is nothing left to look at."
    assert (
        str(replace(nothing, too_little=(five,)))
        == "No look that is left is likely to narrow the years."
    )


@pytest.mark.parametrize("minutes", [0, -1, "5", True, float("nan"), float("inf"), 1e9])
def test_minutes_that_are_none_are_refused(minutes: object) -> None:
    with pytest.raises(RangeError, match="minutes"):
        next_checks(SEEN, as_of=NOW, minutes=minutes)  # type: ignore[arg-type]
    with pytest.raises(ScarfdateError):
        next_checks(7, as_of=NOW)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("fibre,burn,burn,,5,flame,yes,0,0,care,common practice,,", "stands there twice"),
        ("hem,label,look,,5,flame,no,0,0,,common practice,,", "has a caution"),
        ("hem,sniff,sniff,,5,,no,0,0,,common practice,,", "column method"),
        ("hemm,feel,feel,,5,,no,0,0,,common practice,,", "column family"),
        ("hem,label,look,,0,,no,0,0,,common practice,,", "between 0.1 and 600"),
        ("hem,label,look,,5,magic,no,0,0,,common practice,,", "column needs"),
        ("hem,label,,,5,,no,0,0,,common practice,,", "column words"),
        ("hem,label,look,labl none-seen,5,,no,0,0,,common practice,,", "no family of clues"),
        ("hem,label,look,label gon,5,,no,0,0,,common practice,,", "not a word of family label"),
    ],
)
def test_a_faulty_check_is_named(tmp_path, row: str, said: str) -> None:
    text = (shipped_folder() / "checks.csv").read_text(encoding="utf-8")
    (tmp_path / "checks.csv").write_text(f"{text}{row}\n", encoding="utf-8")
    with pytest.raises(PriorsError, match=said):
        load_priors(tmp_path)


def test_a_piece_without_a_pattern_is_not_looked_over_for_its_print() -> None:
    plain = {
        "form": "oblong",
        "fibre": "silk",
        "weave": "chiffon",
        "motif": "no pattern",
        "label": "none",
    }
    of_a_pattern = {"print_technique", "layout", "signature"}
    assert not of_a_pattern & {look.clue for look in every(next_checks(plain, as_of=NOW))}
    patterned = plain | {"motif": "dots"}
    assert of_a_pattern <= {look.clue for look in every(next_checks(patterned, as_of=NOW))}


@pytest.mark.parametrize(
    "seen",
    [
        {"form": "large handkerchief", "fibre": "silk", "size": "32 x 32 in", "hem": "hand hemmed"},
        {"fibre": "rayon", "form": "square", "size": "32 x 32 in", "hem": "machine hem",
         "label_text": "Made in England", "depicted_year": 1953},
        {"fibre": "silk", "hem": "hand-rolled"},
    ],
)  # fmt: skip
def test_what_is_doubted_is_to_be_looked_at_first(seen: dict[str, object]) -> None:
    """In the order of the sentence, which says "look at it again"."""
    doubts = date_scarf(seen, as_of=NOW).doubts
    found = next_checks(seen, as_of=NOW)
    assert found.again == doubts
    lines = str(found).splitlines()
    for doubt, line in zip(doubts, lines, strict=False):
        assert line.startswith(f"Look again at {doubt.seen}: probably a slip or a misreading (")
    assert str(found).count("Look again at ") == len(doubts)
    assert not (doubts and "No look that is left" in str(found))


@pytest.mark.parametrize(
    "seen", [{}, SEEN, {"form": "handkerchief", "fibre": "cotton", "size": "14 x 14 in"}]
)
def test_looks_that_narrow_wide_years_by_little_are_only_counted(seen: dict[str, object]) -> None:
    """A look worth a year of fifty is no advice; the two best by bits a minute stand there all the same."""
    found = next_checks(seen, as_of=NOW)
    first, last = date_scarf(seen, as_of=NOW).interval()
    assert found.width == last - first + 1
    lines = [line for line in str(found).splitlines() if "likely to narrow it by" in line]
    told = [line for line in lines if "other look" not in line and "a label" not in line]
    worth = [look for look in found.looks[2:] if look.narrower >= found.width / 20]
    worth = [look for look in worth if look.clue != "label"]  # which is always told
    assert len(told) == min(len(found.looks[:2]) + len(worth), 5)
    counted = [line for line in lines if "other look" in line]
    assert len(counted) == (len(found.looks) > len(told))
    assert all(str(look)[1:] in str(found) for look in found.looks[:2])


@pytest.mark.parametrize("seen", [SEEN, {**SEEN, "hem": "hand-rolled", "motif": "geometric"}])
def test_a_label_is_always_looked_for_and_one_that_is_missing_never(
    seen: dict[str, object],
) -> None:
    """Its words are not foreseen, and can say more than all that is: it is named whatever else narrows more."""
    assert (
        str(next_checks(seen, as_of=NOW)).count("Look whether there is a label, and read it") == 1
    )
    assert "label" not in str(next_checks({**seen, "label": "none-seen"}, as_of=NOW))
