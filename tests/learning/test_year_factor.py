"""How often years turn up: learned from the years alone, and only where all that turned up was noted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from notebooks.moved_tables import moved_priors
from scarfdate import learn, load_priors, simulate
from scarfdate.learning.patterns import patterns_of
from scarfdate.learning.years import fit_year_factor
from scarfdate.model.model import compiled
from scarfdate.records.sold import SoldRecords, read_sold

NOW = 2026


def sold(n: int, seed: int, *, moved: bool, width: int = 0) -> SoldRecords:
    priors = moved_priors(load_priors()) if moved else load_priors()
    made = simulate(priors, n, np.random.default_rng(seed), as_of=NOW, looked_at=0.5)
    frame = made.frame()[["fibre", "hem", "weave"]].copy()
    frame["fibre"] = frame["fibre"].fillna("silk")  # no blank record
    years = [int(str(year)) for year in made.truth["year"]]
    frame["known_from"] = [str(max(year - width, 1881)) for year in years]
    frame["known_to"] = [str(min(max(year, 1881) + width, NOW)) for year in years]
    frame["known_by"] = "receipt"
    return read_sold(frame, as_of=NOW, copies=True)


def fifties(priors: object) -> float:
    model = compiled(priors, "thrift", NOW)  # type: ignore[arg-type]
    return float(model.year_prior[70:80].sum())


@pytest.mark.parametrize("width", [0, 4])
def test_a_decade_that_turns_up_twice_as_often_is_found(width: int) -> None:
    """Records of tables whose 1950s hold more (notebooks/moved_tables.py): most of the way at 1,000."""
    shipped, true = fifties(load_priors()), fifties(moved_priors(load_priors()))
    learned = learn(
        sold(1000, 3, moved=True, width=width), as_of=NOW, route="counts", all_that_turned_up=True
    )
    found = fifties(learned.priors)
    print(f"1950s: {shipped:.3f} shipped, {found:.3f} learned, {true:.3f} true")
    assert true > 1.5 * shipped
    assert found - shipped > 0.5 * (true - shipped)
    assert "years, grades and markets turn up is learned" in str(learned)
    # the channels that share the shipped factor are left alone
    assert compiled(learned.priors, "thrift-us", NOW).year_prior == pytest.approx(
        compiled(load_priors(), "thrift-us", NOW).year_prior, abs=1e-12
    )


def test_records_of_the_shipped_channel_leave_it_nearly_alone() -> None:
    """Total variation from the shipped P(year) below 0.06 with 1,000 records (drawn tables move it 0.1 and more)."""
    model = compiled(load_priors(), "thrift", NOW)
    learned = learn(sold(1000, 5, moved=False), as_of=NOW, route="counts", all_that_turned_up=True)
    now = compiled(learned.priors, "thrift", NOW).year_prior
    apart = np.abs(now - model.year_prior).sum() / 2
    print(f"total variation {apart:.3f}")
    assert apart < 0.06


def test_it_is_the_mode_of_the_years_alone() -> None:
    """No slope at the mode, by differences; and clues are not looked at."""
    model = compiled(load_priors(), "thrift", NOW)
    records = sold(300, 7, moved=True, width=3)
    patterns = patterns_of(model, records)
    knots, at = fit_year_factor(model, patterns)
    hat = np.stack([np.interp(model.years, knots, row) for row in np.eye(len(knots))], axis=1)
    spread = np.log(model.priors.century.factors.values_of("uncertainty", knots.astype(float)))
    cover = np.exp(-np.abs(knots[:, None] - knots) / 40) * np.outer(spread, spread)

    def target(c: np.ndarray) -> float:
        chance = model.year_prior * np.exp(hat @ c)
        total = np.concatenate(([0], np.cumsum(chance / chance.sum())))
        held = total[patterns.last + 1] - total[patterns.first]
        return float(patterns.count @ np.log(held) - c @ np.linalg.solve(cover, c) / 2)

    for place in range(len(knots)):
        step = np.zeros(len(knots))
        step[place] = 1e-4
        assert abs(target(at + step) - target(at - step)) / 2e-4 < 0.01
    blank = patterns.codes.copy()
    blank[:] = 0
    same = replace(patterns, codes=blank)
    np.testing.assert_allclose(fit_year_factor(model, same)[1], at, atol=1e-6)


def test_without_being_asked_nothing_of_it_is_written() -> None:
    learned = learn(sold(200, 9, moved=True), as_of=NOW, route="counts")
    for name in ("year_channel.csv", "channels.csv", "grades.csv", "markets.csv"):
        assert learned.files[name] == learned._files[name]
    assert "is not learned: these are the pieces that were bought" in str(learned)
