"""Did it help: scores of records of known years, two priors on the same records, cross-validation.

Records are simulated from the shipped tables, so that these tables are the truth: they must be right
about themselves, and tables made wrong must do worse. Seeds are fixed; the chance that a right library
fails is stated where there is one.
"""

from __future__ import annotations

import copy
import dataclasses
import math
import pickle
from collections.abc import Callable
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

from scarfdate import Priors, ScarfdateError, date_scarf, date_table, load_priors, simulate
from scarfdate.records.sold import SoldRecords, read_sold
from scarfdate.scoring.before_after import BETTER, NO_DIFFERENCE, SCORED, WORSE
from scarfdate.scoring.in_words import LEAST_UNITS
from scarfdate.scoring.score import before_after, cross_validate, score

mpl.use("Agg")

NOW = 2020
CHANNEL = "thrift"


def drawn(n: int, seed: int, channel: str = CHANNEL, width: int = 1) -> SoldRecords:
    """Simulated pieces with the year known to ``width`` years, all on one lattice."""
    made = simulate(None, n, np.random.default_rng(seed), channel=channel, as_of=NOW)
    year = made.truth_frame()["year"].to_numpy()
    first = year // width * width
    known = {
        "known_from": first,
        "known_to": np.minimum(first + width - 1, NOW),
        "known_by": "receipt",
    }
    # a date in every row keeps rows that nobody looked at: they are scored like any other
    found = read_sold(made.frame().assign(**known), as_of=NOW, copies=True)
    assert len(found) + len(found.left_out) == n
    return found


def blunted(priors: Priors) -> Priors:
    """The same tables, but one note in two is a slip: far too little is believed."""
    return dataclasses.replace(priors, slips=dict.fromkeys(priors.slips, 0.5), _compiled={})


@pytest.fixture(scope="module")
def many() -> SoldRecords:
    return drawn(2000, 1)


@pytest.fixture(scope="module")
def some(many: SoldRecords) -> SoldRecords:
    return many.take(np.arange(150))


# ------------------------------------------------------------------------------- score


def test_each_score_is_that_of_the_dating(some: SoldRecords) -> None:
    """`date_scarf`, record by record: log P, P by the prior, and sums over its years."""
    few = some.take(np.arange(8))
    found = score(None, few, as_of=NOW).records_frame()
    prior = load_priors().year_prior_table(CHANNEL, as_of=NOW)["prior"].to_numpy()
    for place in range(8):
        cells = few.clues.iloc[place]
        seen = {name: cell for name, cell in cells.items() if not pd.isna(cell)}
        dating = date_scarf(seen, as_of=NOW)
        p, at = dating.probability, int(few.known_from[place]) - 1880
        assert found["log_score"][place] == pytest.approx(np.log(p[at]))
        assert found["gain"][place] == pytest.approx(np.log(p[at] / prior[at]))
        total = np.cumsum(p)
        step = (np.arange(len(p)) >= at).astype(float)
        assert found["crps"][place] == pytest.approx(((total - step) ** 2).sum())
        decades = dating.decades()
        own = few.known_from[place] // 10 * 10
        true = next(name for name in decades if str(own) in str(name))
        brier = sum((chance - (name == true)) ** 2 for name, chance in decades.items())
        assert found["brier"][place] == pytest.approx(brier)
        low, high = dating.interval(0.8)
        assert found["held_80"][place] == (low <= few.known_from[place] <= high)


def test_years_before_the_grid_are_its_first_cell(some: SoldRecords) -> None:
    few = some.take([0, 0, 0])
    early = dataclasses.replace(
        few, known_from=np.array([1, 1700, 1880]), known_to=np.array([1880, 1750, 1880])
    )
    found = score(None, early, as_of=NOW)
    assert np.ptp(found.each["log_score"]) == 0
    p = date_scarf({n: c for n, c in few.clues.iloc[0].items() if not pd.isna(c)}, as_of=NOW)
    assert found.each["log_score"][0] == pytest.approx(np.log(p.probability[0]))
    assert (found.records_frame()["known_from"] == 1880).all()


@pytest.mark.statistical
@pytest.mark.parametrize("width", [1, 10])
def test_the_true_tables_are_right_about_themselves(width: int) -> None:
    """Coverage as said, PIT even, decades as often as said: each within 4 standard errors, 6e-5 a check,
    some twenty checks. Known decades err less than the binomial says, so they fail less often."""
    records = drawn(2000, 2, width=width)
    found = score(None, records, as_of=NOW)
    for one in found.coverage:
        assert abs(one.held.mean - one.expected) < 4 * one.chance_error
        assert (one.least < one.held.mean < one.most) if width > 1 else (one.least == one.most)
    spread = math.sqrt(0.1 * 0.9 / len(found))
    assert max(abs(one.mean - 0.1) for one in found.pit) < 4 * spread
    true = found.calibration
    off = np.abs(true.observed - true.forecast) * np.sqrt(true.count)
    assert (
        off < 4 * np.sqrt(true.forecast * (1 - true.forecast)) + 0.5 / np.sqrt(true.count)
    ).all()
    assert found.means["gain"].lower > 0
    print(found)


@pytest.mark.statistical
def test_even_weights_would_call_true_tables_wrong() -> None:
    """Why coverage weighs the years of a known interval as the dating has them: for 30 years evenly
    weighed, the 50 % intervals of the true tables would hold a third. Four standard errors: 6e-5."""
    records = drawn(1000, 5, width=30)
    found = score(None, records, as_of=NOW)
    half = found.coverage[0]
    assert abs(half.held.mean - half.expected) < 4 * half.chance_error
    table = date_table(records.clues, level=0.5, as_of=NOW)
    low, high = (table[end].to_numpy(int) for end in ("year_from", "year_to"))
    first, last = found.known
    common = np.maximum(np.minimum(high, last) - np.maximum(low, first) + 1, 0)
    even = (common / (last - first + 1)).mean()
    print(f"said {half.expected:.3f}, held {half.held.mean:.3f}, evenly weighed {even:.3f}")
    assert even < half.expected - 8 * half.chance_error


@pytest.mark.statistical
def test_the_wrong_channel_rings() -> None:
    """Pieces of one channel, dated as of another: PIT out of its band, and scores worse than the right."""
    records = drawn(1000, 3, channel="auction")
    right, wrong = (score(None, records, channel=c, as_of=NOW) for c in ("auction", CHANNEL))
    spread = math.sqrt(0.1 * 0.9 / len(records))
    assert max(abs(one.mean - 0.1) for one in right.pit) < 4 * spread
    assert max(abs(one.mean - 0.1) for one in wrong.pit) > 6 * spread
    apart = right.each["log_score"] - wrong.each["log_score"]
    assert apart.mean() > 4 * apart.std() / math.sqrt(len(apart))
    assert "beyond chance" in str(wrong)
    assert "beyond chance" not in str(right)


@pytest.mark.slow
def test_errors_of_means_and_groups(some: SoldRecords) -> None:
    """Every record four times, in groups of four: errors as of the records once; without groups, half.

    Errors have 3 % of noise from 1,000 draws each (2.2 % for one).
    """
    once = score(None, some, as_of=NOW)
    places = np.repeat(np.arange(len(some)), 4)
    four = some.take(places)
    grouped = score(None, four, as_of=NOW, groups=[f"box {place}" for place in places])
    loose = score(None, four, as_of=NOW)
    for name in SCORED:
        assert grouped.means[name].mean == pytest.approx(once.means[name].mean)
        assert grouped.means[name].error == pytest.approx(once.means[name].error, rel=0.12)
        assert loose.means[name].error == pytest.approx(once.means[name].error / 2, rel=0.12)
    assert (grouped.units, loose.units, len(grouped)) == (len(some), 4 * len(some), 4 * len(some))
    pair = (blunted(load_priors()), load_priors())
    one = before_after(*pair, some, as_of=NOW).difference["crps"]
    both = before_after(*pair, four, as_of=NOW, groups=places).difference["crps"]
    assert both.error == pytest.approx(one.error, rel=0.12)
    assert grouped.pit_band == once.pit_band  # four alike allow as much chance as one
    assert grouped.coverage[0].chance_error == pytest.approx(once.coverage[0].chance_error)
    blank = score(None, some, as_of=NOW, groups=[None, "", float("nan"), *range(len(some) - 3)])
    assert blank.units == len(some)


def test_draws_come_from_the_generator(some: SoldRecords) -> None:
    a, b, c = (
        score(None, some, as_of=NOW, rng=rng).means["crps"].error
        for rng in (None, np.random.default_rng(1), np.random.default_rng(1))
    )
    assert b == c != a
    assert score(None, some, as_of=NOW).means["crps"].error == a


def test_what_cannot_be_dated_is_told(some: SoldRecords) -> None:
    few = some.take(np.arange(20))
    clues = few.clues.copy()
    clues["fibre"] = clues["fibre"].astype(object)
    clues.loc[[3, 5], "fibre"] = "<b>moon silk</b>"
    found = score(None, dataclasses.replace(few, clues=clues), as_of=NOW)
    assert len(found) == 18
    assert [place for place, _ in found.left_out] == [3, 5]
    assert list(found.record) == [p for p in range(20) if p not in (3, 5)]
    assert "2 records could not be dated; record 3" in str(found)
    clues["fibre"] = "moon silk"
    with pytest.raises(ScarfdateError, match="none can be dated; record 0"):
        score(None, dataclasses.replace(few, clues=clues), as_of=NOW)


@pytest.mark.slow
def test_in_words_and_frames(many: SoldRecords) -> None:
    found = score(None, many, as_of=NOW)
    text = str(found)
    for part in (f"{len(many)} records of known years, channel thrift, tables ", "bits a record",
                 "CRPS, 0 at best", "0 at best, 2 at worst", "95 % intervals say they hold"):  # fmt: skip
        assert part in text
    frame = found.to_frame().set_index("score")
    for name in SCORED:
        assert frame.loc[name, "lower"] < frame.loc[name, "mean"] < frame.loc[name, "upper"]
        assert frame.loc[name, "mean"] == pytest.approx(found.records_frame()[name].mean())
    tenths = [name for name in frame.index if name.startswith("pit_")]
    assert frame.loc[tenths, "mean"].sum() == pytest.approx(1)
    parts = frame["mean"]
    brier = (
        parts["decades_reliability"] - parts["decades_resolution"] + parts["decades_uncertainty"]
    )
    # 15 decades share the Brier score; binned by tenths the parts add up to it but for the bins' width
    assert 15 * brier == pytest.approx(parts["brier"], rel=0.02)
    assert "interval only" not in text
    wide = dataclasses.replace(many.take([0, 1]), known_from=np.array([1900, 1950]))
    wide = dataclasses.replace(wide, known_to=np.array([1930, 1950]))
    assert "Of 1 record the year is known as an interval only" in str(score(None, wide, as_of=NOW))
    assert "interval only" in str(before_after(None, load_priors(), wide, as_of=NOW))
    lone = score(None, many.take([0]), as_of=NOW)
    assert "no range from one record" in str(lone) and "A single record" in str(lone)
    assert "Only 3 records" in str(score(None, many.take([0, 1, 2]), as_of=NOW))


# ------------------------------------------------------------------------------- before and after


def test_the_same_tables_make_no_difference(some: SoldRecords, priors: Priors) -> None:
    found = before_after(None, priors, some, as_of=NOW)
    assert found.verdict == NO_DIFFERENCE
    assert all(one.mean == one.error == 0 for one in found.difference.values())
    assert str(found).startswith("No difference that these records can show (150 records).")


def test_better_and_worse(some: SoldRecords, priors: Priors) -> None:
    """From tables that believe too little to the true ones, and back: all differences turn about."""
    better = before_after(blunted(priors), priors, some, as_of=NOW)
    worse = before_after(priors, blunted(priors), some, as_of=NOW)
    assert (better.verdict, worse.verdict) == (BETTER, WORSE)
    assert str(better).startswith("Better (150 records). After, the known years get ")
    assert str(worse).startswith("Worse (150 records).")
    for name in SCORED:
        there, back = better.difference[name], worse.difference[name]
        assert there.mean == pytest.approx(-back.mean)
        pairs = better.after.each[name] - better.before.each[name]
        assert there.mean == pytest.approx(pairs.mean())
        # 1,000 draws: 2.2 % of noise in an error; five of it
        error = pairs.std(ddof=1) / math.sqrt(len(pairs))
        assert there.error == pytest.approx(error, rel=0.11)
    frame = better.to_frame().set_index("score")
    np.testing.assert_allclose(frame["difference"], frame["after"] - frame["before"])
    assert list(frame["best"]) == ["high", "high", "low", "low", "low"]
    records = better.records_frame()
    assert records["crps_difference"].mean() == pytest.approx(better.difference["crps"].mean)


@pytest.mark.slow
def test_a_handful_of_records_shows_nothing(many: SoldRecords, priors: Priors) -> None:
    """Five differences of one sign are no surprise of 5 % (2 / 2^5); copies of one record are one."""
    both = before_after(blunted(priors), priors, many, as_of=NOW)
    gains = np.flatnonzero(both.records_frame()["log_score_difference"] > 0.1)
    assert LEAST_UNITS == 6
    few = before_after(blunted(priors), priors, many.take(gains[:5]), as_of=NOW)
    assert few.difference["log_score"].mean > 0
    assert few.verdict == NO_DIFFERENCE
    assert "Only 5 records or groups: no difference can be shown" in str(few)
    copies = many.take(np.repeat(gains[:5], 40))
    labels = np.repeat(np.arange(5), 40)
    assert (
        before_after(blunted(priors), priors, copies, as_of=NOW, groups=labels).verdict
        == NO_DIFFERENCE
    )
    assert before_after(blunted(priors), priors, copies, as_of=NOW).verdict == BETTER


def without_word(priors: Priors, family: str, word: str) -> Priors:
    """The same tables, but one word is not known to them."""
    words = priors.vocabulary._read
    fewer = {name: read for name, read in words[family].items() if name != word}
    vocabulary = dataclasses.replace(priors.vocabulary, _read={**words, family: fewer})
    return dataclasses.replace(priors, vocabulary=vocabulary, _compiled={})


def test_records_that_either_cannot_read_leave_both(some: SoldRecords, priors: Priors) -> None:
    lacks = (without_word(priors, "fibre", "silk"), without_word(priors, "hem", "hand rolled"))
    seen = some.clues
    lost = [np.flatnonzero(seen["fibre"] == "silk"), np.flatnonzero(seen["hem"] == "hand-rolled")]
    either = sorted({*lost[0].tolist(), *lost[1].tolist()})
    assert min(map(len, lost)) > 0 and len(lost[0]) < len(either) < len(some)
    found = before_after(*lacks, some, as_of=NOW)
    assert [place for place, _ in found.before.left_out] == either
    assert found.before.left_out == found.after.left_out
    assert list(found.after.record) == [p for p in range(len(some)) if p not in either]
    assert f"{len(either)} records could not be dated; record {either[0]}: " in str(found)
    halves = cross_validate(some, lambda _: lacks[0], lacks[1], folds=2, as_of=NOW)
    assert [place for place, _ in halves.after.left_out] == either


# ------------------------------------------------------------------------------- cross-validation


def test_no_record_is_scored_by_what_it_taught(some: SoldRecords, priors: Priors) -> None:
    """Every record is left out once; groups and records that are alike stay together."""
    few = some.take([*range(60), 0, 1, 1])  # three copies, far from their first
    numbered = dataclasses.replace(few, source_row=np.arange(63, dtype=np.int64))
    groups = [place // 3 for place in range(60)] + [None, None, 90]
    taught: list[set[int]] = []

    def learn(records: SoldRecords) -> Priors:
        taught.append(set(records.source_row.tolist()))
        return priors

    found = cross_validate(
        numbered, learn, folds=4, groups=groups, as_of=NOW, rng=np.random.default_rng(1)
    )
    left = [set(range(63)) - each for each in taught]
    assert len(left) == 4
    assert sorted(place for each in left for place in each) == list(range(63))
    for each in left:
        for together in (*({3 * g, 3 * g + 1, 3 * g + 2} for g in range(20)), {0, 60}, {1, 61, 62}):
            assert together <= each or not together & each
    assert found.fold is not None
    for one, each in enumerate(left):
        assert set(np.flatnonzero(found.fold == one).tolist()) == each
    assert found.before.units <= 20
    assert found.verdict == NO_DIFFERENCE
    assert "4-fold cross-validation" in str(found) and "share records" in str(found)
    assert (found.records_frame()["fold"] == found.fold).all()


def test_cross_validation_shows_what_helps(some: SoldRecords, priors: Priors) -> None:
    @dataclasses.dataclass
    class Learned:
        priors: Priors

    dull = blunted(priors)
    helps = cross_validate(some, lambda _: Learned(priors), dull, as_of=NOW)
    harms = cross_validate(some, lambda _: dull, as_of=NOW)
    assert (helps.verdict, harms.verdict) == (BETTER, WORSE)
    whole = before_after(dull, priors, some, as_of=NOW)
    for name in SCORED:
        assert helps.difference[name].mean == pytest.approx(whole.difference[name].mean)


def test_each_fold_is_scored_by_its_own_tables(some: SoldRecords, priors: Priors) -> None:
    """Dull tables in the first fold only: its records alone change."""
    told = iter([blunted(priors), priors, priors])
    found = cross_validate(some, lambda _: next(told), folds=3, as_of=NOW)
    assert found.fold is not None
    apart = found.after.each["log_score"] != found.before.each["log_score"]
    assert not apart[found.fold != 0].any()
    assert apart[found.fold == 0].mean() > 0.9


# ------------------------------------------------------------------------------- refused


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"as_of": 1990}, "may be later than 1990"),
        ({"as_of": "now"}, "as_of"),
        ({"level": 1}, "level"),
        ({"channel": "moon"}, "channel"),
        ({"draws": 10}, "draws: a whole number from 100"),
        ({"draws": 200.0}, "draws"),
        ({"draws": True}, "draws"),
        ({"rng": 7}, "Generator"),
        ({"groups": "abc"}, "one label a record"),
        ({"groups": [1, 2]}, "150 labels"),
        ({"groups": 7}, "one label a record"),
        ({"groups": [[1]] * 150}, "words or numbers"),
    ],
)
def test_what_is_not_allowed(
    some: SoldRecords, priors: Priors, wrong: dict[str, Any], said: str
) -> None:
    more = {"as_of": NOW} | wrong
    with pytest.raises(ScarfdateError, match=said):
        score(priors, some, **more)
    with pytest.raises(ScarfdateError, match=said):
        before_after(priors, priors, some, **more)
    with pytest.raises(ScarfdateError, match=said):
        cross_validate(some, lambda _: priors, **more)


def test_what_is_no_records_or_priors(some: SoldRecords, priors: Priors) -> None:
    for wrong in (None, 3, "records", pd.DataFrame({"fibre": ["silk"]})):
        with pytest.raises(ScarfdateError, match="read_sold"):
            score(priors, wrong)  # type: ignore[arg-type]
        with pytest.raises(ScarfdateError, match="read_sold"):
            cross_validate(wrong, lambda _: priors)  # type: ignore[arg-type]
    with pytest.raises(ScarfdateError, match="none to score"):
        score(priors, some.take([]), as_of=NOW)
    with pytest.raises(ScarfdateError, match="priors: Priors"):
        score("shipped", some, as_of=NOW)
    with pytest.raises(ScarfdateError, match="new: Priors"):
        before_after(priors, None, some, as_of=NOW)
    with pytest.raises(ScarfdateError, match="what learn gives: Priors"):
        cross_validate(some, lambda _: None, as_of=NOW)
    with pytest.raises(ScarfdateError, match="learn: a function"):
        cross_validate(some, priors, as_of=NOW)  # type: ignore[arg-type]
    for folds in (1, 151, 2.5, True, "five"):
        with pytest.raises(ScarfdateError, match="folds: a whole number from 2 to"):
            cross_validate(some, lambda _: priors, folds=folds, as_of=NOW)  # type: ignore[arg-type]


# ------------------------------------------------------------------------------- kept


@pytest.mark.parametrize(
    "copied", [lambda x: pickle.loads(pickle.dumps(x)), copy.copy, copy.deepcopy]
)
def test_results_can_be_pickled_and_copied(
    some: SoldRecords, priors: Priors, copied: Callable[[Any], Any]
) -> None:
    few = some.take(range(40))
    scores = score(priors, few, as_of=NOW)
    both = before_after(blunted(priors), priors, few, as_of=NOW)
    folds = cross_validate(few, lambda _: priors, folds=3, as_of=NOW)
    for one in (scores, both, folds):
        other = copied(one)
        assert str(other) == str(one)
        pd.testing.assert_frame_equal(other.to_frame(), one.to_frame())
        pd.testing.assert_frame_equal(other.records_frame(), one.records_frame())
    assert copied(both).verdict == both.verdict
    assert copied(scores).coverage == scores.coverage


def test_without_scipy_it_says_what_to_install(
    some: SoldRecords, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("scarfdate.scoring.asked.find_spec", lambda name: None)
    with pytest.raises(ScarfdateError, match=r"pip install \"scarfdate\[learn\]\""):
        score(None, some, as_of=NOW)


# ------------------------------------------------------------------------------- plots


def test_plots_show_the_numbers(some: SoldRecords, priors: Priors) -> None:
    from matplotlib import pyplot as plt

    found = score(None, some, as_of=NOW)
    ax = found.plot_pit()
    heights = [bar.get_height() for bar in ax.patches if bar.get_width() == pytest.approx(10)]
    np.testing.assert_allclose(heights, [100 * one.mean for one in found.pit])
    _, mine = plt.subplots()
    assert found.plot_calibration(mine) is mine
    curve = next(line for line in mine.lines if line.get_label() == "decades")
    np.testing.assert_allclose(curve.get_xdata(), 100 * found.calibration.forecast)
    np.testing.assert_allclose(curve.get_ydata(), 100 * found.calibration.observed)
    assert [text.get_text() for text in mine.texts] == ["50 %", "80 %", "95 %"]
    both = before_after(blunted(priors), priors, some, as_of=NOW)
    ax = both.plot()
    points = [line for line in ax.lines if "better" in str(line.get_label())]
    drawn_x = np.concatenate([line.get_xdata() for line in points])
    np.testing.assert_allclose(
        np.sort(drawn_x), np.sort(100 * np.exp(both.before.each["log_score"]))
    )
    better = int((both.after.each["log_score"] > both.before.each["log_score"]).sum())
    assert points[0].get_label() == f"better: {better}"
    assert "better" in ax.get_title(loc="left")
    plt.close("all")
