"""The baselines and the scoring for held-out records, on invented cases whose true model is known.

Seeds are fixed; tolerances are in standard errors of the test itself where chance is at work.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd
import pytest

from tests.real_records.baselines import (
    DECADE_OF_YEAR,
    DECADES,
    EVEN,
    LAST_YEAR,
    YEARS,
    Cases,
    Floats,
    TreeSettings,
    boosted_trees,
    decade_naive_bayes,
    prior_alone,
    split_by,
    year_prior_alone,
)
from tests.real_records.held_out import (
    BASE,
    differences,
    mean_by_clump,
    report,
    score,
    shortest,
    ten_folds,
)

pytestmark = pytest.mark.statistical

N, FOLDS, SIGMAS = 1500, 3, 4.0
TREES = TreeSettings(rounds=80, every=40)  # enough here, and quicker
FEWEST = TreeSettings(rounds=20, every=10)  # where nothing hangs on how good they are


# ---------------------------------------------------------------------------- an invented museum


def true_density() -> Floats:
    """Two humps, and a lump in the first year for all before it."""
    at = YEARS - YEARS[0]
    found = 0.5 / 12 * np.exp(-(((at - 40) / 12) ** 2) / 2)
    found += 0.5 / 18 * np.exp(-(((at - 95) / 18) ** 2) / 2)
    found += 0.05 * found.sum() / len(at)
    found[0] += 0.1 * found.sum()
    return np.asarray(found / found.sum())


def true_shares() -> dict[str, Floats]:
    """P(value | year), (values, years), of three invented clues; the last says nothing of the year."""
    at = (YEARS - YEARS[0]) / len(YEARS)

    def softmax(*rows: Floats) -> Floats:
        raw = np.exp(np.array(rows))
        return np.asarray(raw / raw.sum(axis=0))

    flat = np.zeros_like(at)
    return {
        "fibre": softmax(flat, 8 * (at - 0.5), 4 - 12 * np.abs(at - 0.6)),
        "print_technique": softmax(3 - 9 * at, 10 * (at - 0.45)),
        "weave": softmax(flat, flat + 0.4),
    }


def log_width(at: Floats) -> Floats:
    return np.asarray(3.6 + 0.9 * (at - YEARS[0]) / len(YEARS))


SPREAD = 0.25
WIDE = (1, 10, 25, 100)  # years of a date, chosen without regard to the year


def museum(n: int, rng: np.random.Generator) -> tuple[Cases, Floats, Floats]:
    """Cases, their true year, and P(year | clues) by the true model, (n, years)."""
    density = true_density()
    place = rng.choice(len(YEARS), n, p=density)
    year = YEARS[place]
    wide = rng.choice(WIDE, n, p=[0.35, 0.35, 0.15, 0.15])
    first = np.clip(year // wide * wide, YEARS[0], None)
    last = np.clip(year // wide * wide + wide - 1, None, LAST_YEAR)
    # the first year is no part of its decade: it stands for all before
    first = np.where((first == YEARS[0]) & (year > YEARS[0]), YEARS[0] + 1, first)
    last = np.where(year == YEARS[0], YEARS[0], last)
    clues: dict[str, object] = {}
    chance = np.tile(density, (n, 1))
    for family, shares in true_shares().items():
        value = (rng.random(n) > shares.cumsum(axis=0)[:, place]).sum(axis=0)
        stated = rng.random(n) < 0.8
        names = np.array([f"{family} {one}" for one in range(len(shares))], dtype=object)
        clues[family] = np.where(stated, names[value], "")
        chance *= np.where(stated[:, None], shares[value], 1.0)
    log = log_width(year.astype(float)) + SPREAD * rng.standard_normal(n)
    have = rng.random(n) < 0.7
    clues["width_cm"] = np.where(have, np.exp(log), np.nan)
    fits = np.exp(-0.5 * ((log[:, None] - log_width(YEARS.astype(float))) / SPREAD) ** 2)
    chance *= np.where(have[:, None], fits, 1.0)
    kind = np.where(rng.random(n) < 0.5, "one", "other").astype(object)
    cases = Cases(pd.DataFrame(clues), first, last, np.ones(n), np.arange(n), kind)
    return cases, year, np.asarray(chance / chance.sum(axis=1, keepdims=True))


@pytest.fixture(scope="module")
def invented() -> tuple[Cases, Floats, Floats]:
    return museum(N, np.random.default_rng(11))


@pytest.fixture(scope="module")
def scored(invented: tuple[Cases, Floats, Floats]) -> pd.DataFrame:
    pytest.importorskip("sklearn")
    cases, _, chance = invented
    assert (cases.clues.index == np.arange(N)).all()
    fold = np.random.default_rng(3).permutation(N) % FOLDS
    return ten_folds(
        cases,
        fold,
        {
            BASE: prior_alone,
            "truth": lambda train, test: chance[test.clues.index],
            "naive Bayes": decade_naive_bayes,
            "boosted trees": partial(boosted_trees, settings=TREES),
        },
    )


def told(table: pd.DataFrame, name: str) -> pd.Series:
    return table[(table["group"] == "all") & (table["name"] == name)].iloc[0]


# ---------------------------------------------------------------------------- the daters


@pytest.mark.parametrize("name", ["naive Bayes", "boosted trees"])
def test_a_baseline_beats_the_prior_alone_and_no_baseline_the_truth(scored, name):
    found = told(report(scored), name)
    assert found["gain"] > SIGMAS * found["se"] > 0
    off = differences(scored, [("truth", name)]).iloc[0]
    assert off["difference"] > -2 * off["se"]
    # a fair opponent has most of what there is to be had
    assert found["gain"] > 0.6 * told(report(scored), "truth")["gain"]


def test_the_prior_alone_is_nearly_the_true_density(scored, invented):
    cases, _, _ = invented
    true = score(np.tile(true_density(), (N, 1)), cases.first, cases.last)["log_score"].mean()
    mine = told(report(scored), BASE)["score"]
    assert true - 0.05 < mine <= true + 0.05


@pytest.mark.parametrize(
    "dater",
    [
        prior_alone,
        decade_naive_bayes,
        partial(decade_naive_bayes, missing_speaks=True),
        partial(boosted_trees, settings=FEWEST),
    ],
)
def test_chances_sum_to_one_and_do_not_change_from_run_to_run(invented, dater):
    pytest.importorskip("sklearn")
    cases, _, _ = invented
    train, test = cases.some(np.arange(300)), cases.some(np.arange(300, 340))
    strange = test.clues.assign(fibre="a word that no training record has", width_cm=np.nan)
    for cards in (test, replace(test, clues=strange)):
        chance = dater(train, cards.undated())
        assert chance.shape == (40, len(YEARS))
        assert (chance >= 0).all()
        np.testing.assert_allclose(chance.sum(axis=1), 1.0, atol=1e-9)
        np.testing.assert_array_equal(chance, dater(train, cards.undated()))


def test_the_prior_alone_counts_exact_years():
    year = np.repeat([1900, 1950], [30, 10])
    cases = exact(year, ["x"] * 40)
    density = year_prior_alone(cases, bandwidth=0.0)
    even = EVEN / len(YEARS)
    assert density[1900 - YEARS[0]] == pytest.approx((30 + even) / (40 + EVEN))
    assert density[1950 - YEARS[0]] == pytest.approx((10 + even) / (40 + EVEN))


def test_the_prior_alone_shares_a_wide_date_out_by_the_narrow_ones():
    year = np.repeat([1901, 1905, 1955], [20, 20, 10])
    narrow = exact(year, ["x"] * 50)
    wide = narrow.some(np.arange(50).tolist() + [0] * 25)
    first, last = wide.first.copy(), wide.last.copy()
    first[50:], last[50:] = 1900, 1909
    density = year_prior_alone(replace(wide, first=first, last=last), bandwidth=0.0)
    assert density[1901 - YEARS[0]] == pytest.approx(32.5 / 75, abs=0.02)
    assert density[1907 - YEARS[0]] < 0.002


def test_naive_bayes_is_bayes_where_decades_are_known():
    """One clue, exact years: the answer by hand, but for what is added to every count."""
    year = np.repeat([1905, 1905, 1955, 1955], [300, 100, 100, 500])
    word = np.repeat(["red", "blue", "red", "blue"], [300, 100, 100, 500])
    cases = exact(year, word)
    test = exact([1905] * 3, ["red", "blue", ""])
    chance = decade_naive_bayes(cases, test, pull=1e-6, trust=1.0)
    decade = DECADE_OF_YEAR[1905 - YEARS[0]]
    found = chance[:, decade == DECADE_OF_YEAR].sum(axis=1)
    np.testing.assert_allclose(found, [0.75, 1 / 6, 0.4], atol=0.01)
    half = decade_naive_bayes(cases, test, pull=1e-6, trust=0.5)
    odds = found[0] / (1 - found[0])
    tempered = half[0, decade == DECADE_OF_YEAR].sum()
    assert 400 / 600 < tempered / (1 - tempered) < odds


def test_naive_bayes_reads_a_parent_word_as_its_children():
    split = split_by(
        lambda family, word: ("nylon", "polyester") if word == "synthetic" else (word,)
    )
    assert split("fibre", "synthetic") == {"nylon": 1.0, "polyester": 1.0}
    assert split("fibre", '{"silk": 0.2, "synthetic": 0.8}') == {
        "silk": 0.2,
        "nylon": 0.8,
        "polyester": 0.8,
    }
    year = np.repeat([1905, 1965, 1975], 100)
    cases = exact(year, np.repeat(["silk", "nylon", "polyester"], 100))
    test = exact([1905], ["synthetic"])
    late = YEARS >= 1960
    read = decade_naive_bayes(cases, test, split=split, pull=1.0, trust=1.0)[0, late].sum()
    unread = decade_naive_bayes(cases, test, pull=1.0, trust=1.0)[0, late].sum()
    assert read > 0.95
    assert unread == pytest.approx(2 / 3, abs=0.02)


def test_a_blank_says_nothing_unless_told_that_it_speaks():
    year = np.repeat([1905, 1955, 1955], [100, 50, 50])
    cases = exact(year, np.repeat(["", "red", "blue"], [100, 50, 50]))
    test = exact([1905], [""])
    early = DECADE_OF_YEAR[1905 - YEARS[0]] == DECADE_OF_YEAR
    silent = decade_naive_bayes(cases, test, pull=1.0, trust=1.0)[0, early].sum()
    speaks = decade_naive_bayes(cases, test, missing_speaks=True, pull=1.0, trust=1.0)
    assert silent == pytest.approx(0.5, abs=0.02)
    assert speaks[0, early].sum() > 0.9


def exact(year: object, word: object) -> Cases:
    years = np.asarray(year, dtype=np.int64)
    clues = pd.DataFrame({"fibre": np.asarray(word, dtype=object)})
    kind = np.full(len(years), "one", dtype=object)
    return Cases(clues, years, years, np.ones(len(years)), np.arange(len(years)), kind)


# ---------------------------------------------------------------------------- the scoring


def test_a_perfect_dater_scores_nought(invented):
    cases, year, _ = invented
    chance = (year[:, None] == YEARS).astype(float)
    found = score(chance, cases.first, cases.last)
    np.testing.assert_array_equal(found["log_score"], 0.0)
    np.testing.assert_array_equal(found["covered"], 1.0)
    assert found["meets"].all()
    assert (found["years"] == 1).all()


def test_the_true_model_covers_as_often_as_it_says(scored):
    found = told(report(scored), "truth")
    assert 0.8 <= found["held"] < 0.83  # whole years only, so a little more than the level
    assert abs(found["covered"] - found["held"]) < SIGMAS * found["covered_se"]


def test_a_dater_too_sure_of_itself_covers_too_little(invented):
    cases, _, chance = invented
    sure = chance**6
    found = score(sure / sure.sum(axis=1, keepdims=True), cases.first, cases.last)
    error = found["covered"].std() / np.sqrt(N)
    assert found["covered"].mean() < found["held"].mean() - SIGMAS * error


def test_coverage_is_the_part_of_the_date_by_its_chance():
    chance = np.zeros((1, len(YEARS)))
    chance[0, :4] = [0.1, 0.5, 0.35, 0.05]
    found = score(chance, [YEARS[2]], [YEARS[3]]).iloc[0]
    assert found["covered"] == pytest.approx(0.35 / 0.4)
    assert found["log_score"] == pytest.approx(np.log(0.4))
    assert found["held"] == pytest.approx(0.85)
    assert found["years"] == 2


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95])
def test_the_shortest_interval_is_the_shortest_of_all(rng, level):
    chance = rng.dirichlet(np.full(len(YEARS), 0.15), 12)
    first, last = shortest(chance, level)
    for row, a, b in zip(chance, first, last, strict=True):
        assert row[a : b + 1].sum() >= level - 1e-9
        shorter = b - a
        sums = [row[at : at + shorter].sum() for at in range(len(YEARS) - shorter + 1)]
        assert max(sums) < level


def test_a_chance_that_does_not_sum_to_one_is_refused():
    with pytest.raises(ValueError, match="sum to one"):
        score(np.full((2, len(YEARS)), 1.0), [1900, 1900], [1910, 1910])


def test_a_dater_cannot_see_the_dates_it_is_scored_on(invented):
    cases, _, _ = invented
    small = cases.some(np.arange(60))

    def peeks(train: Cases, test: Cases) -> Floats:
        inside = test.inside().astype(float)
        return np.asarray(inside / inside.sum(axis=1, keepdims=True))

    found = ten_folds(small, np.arange(60) % 3, {"peeks": peeks})
    even = np.log((found["last"] - found["first"] + 1) / len(YEARS))
    np.testing.assert_allclose(found["log_score"], even)


def test_every_record_is_scored_once_by_each_dater(scored, invented):
    cases, _, _ = invented
    for _, part in scored.groupby("name"):
        assert sorted(part["record"]) == list(range(N))
        ordered = part.sort_values("record")
        np.testing.assert_array_equal(ordered["first"], cases.first)
        np.testing.assert_array_equal(ordered["kind"], cases.kind)


def test_a_clump_in_two_folds_is_refused(invented):
    cases, _, _ = invented
    small = cases.some(np.arange(6))
    tied = replace(small, clump=np.array([0, 0, 1, 1, 2, 2]))
    with pytest.raises(ValueError, match="clumps lie in fold"):
        ten_folds(tied, np.array([0, 1, 0, 0, 1, 1]), {BASE: prior_alone})


def test_copies_in_a_clump_do_not_make_the_error_smaller(rng):
    value = rng.standard_normal(50)
    once = mean_by_clump(value, np.ones(50), np.arange(50))
    assert once[0] == pytest.approx(value.mean())
    assert once[1] == pytest.approx(value.std(ddof=1) / np.sqrt(50))
    copies = np.repeat(np.arange(50), 8)
    eight = mean_by_clump(value[copies], np.full(400, 1 / 8), copies)
    assert eight == pytest.approx(once)
    assert mean_by_clump(value[copies], np.ones(400), copies) == pytest.approx(once)


def test_dates_outside_the_grid_are_refused():
    with pytest.raises(ValueError, match="forward"):
        exact([1700], ["red"])
    assert DECADES == 16  # "1880 or earlier", the rest of the 1880s, then to the 2020s
