"""Pieces drawn from the tables are what the tables say: dating and drawing are each other's check.

Of 12,000 pieces the mean year of those noted with a word is the mean of P(year | the word), how often the word is
noted is P(the word), and grades, markets, later pieces and style years come as the prior has them. Each of some 200
comparisons fails by chance once in 500,000 seeds (five standard errors), and the seed is fixed.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pandas as pd
import pytest

from scarfdate import Priors, Scarf, ScarfdateError, date_scarf, date_table, simulate
from scarfdate.answer.evidence import encode
from scarfdate.conventions import FIRST_YEAR, MARKETS
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior
from scarfdate.reading.files import read_table
from scarfdate.tables.priors import shipped_folder

AS_OF = 2010
N = 12_000
FAR = 5.0  # standard errors
ON_LABELS = ("label_make", "origin")


@pytest.fixture(scope="module")
def drawn(priors: Priors) -> tuple[pd.DataFrame, pd.DataFrame]:
    made = simulate(priors, N, np.random.default_rng(11), as_of=AS_OF, looked_at=0.5)
    assert len(made) == N
    return made.frame(), made.truth_frame()


def errors_between(found: float, chance: float, n: int) -> float:
    return float(abs(found - chance) / np.sqrt(chance * (1 - chance) / n))


def test_what_is_true_comes_as_the_prior_has_it(priors: Priors, drawn: Any) -> None:
    _, truth = drawn
    prior = date_scarf(Scarf(), priors=priors, as_of=AS_OF)
    year = truth["year"].to_numpy(float)
    mean = float(prior.probability @ prior.years)
    spread = np.sqrt(float(prior.probability @ prior.years**2) - mean**2)
    assert abs(year.mean() - mean) < FAR * spread / np.sqrt(N)
    for column, chances in (("grade", prior.grade), ("market", prior.market)):
        for name, chance in chances.items():
            assert errors_between((truth[column] == name).mean(), chance, N) < FAR, name
    later = truth["mode"] == "revival"
    assert errors_between(later.mean(), 1 - prior.period_probability, N) < FAR
    assert (truth.loc[~later, "style_year"] == truth.loc[~later, "year"]).all()
    assert (truth.loc[later, "style_year"] < truth.loc[later, "year"]).all()


def test_what_is_noted_is_noted_as_often_as_dating_expects(priors: Priors, drawn: Any) -> None:
    seen, truth = drawn
    model = compiled(priors, "thrift", AS_OF)
    year = truth["year"].to_numpy(float)
    compared = 0
    for name, family in priors.families.items():
        if family.kind != "shares" or name in ON_LABELS:  # noted only where a label shows them
            continue
        looked = seen[name].notna()
        assert errors_between(looked.mean(), 0.5, N) < FAR, name
        assert set(truth[f"true_{name}"]) <= set(priors.vocabulary.values[name])
        for word, pieces in seen[looked].groupby(name).groups.items():
            found = posterior(model, encode(model, Scarf(priors=priors, **{name: word}))[0])
            chance = float(np.exp(found.log_evidence[0]))
            assert errors_between(len(pieces) / looked.sum(), chance, int(looked.sum())) < FAR, word
            if len(pieces) > 150:
                mean = float(found.year[0] @ model.years)
                spread = np.sqrt(float(found.year[0] @ model.years**2) - mean**2)
                assert abs(year[pieces].mean() - mean) < FAR * spread / np.sqrt(len(pieces)), word
                compared += 1
    assert compared > 60


def rows_of(name: str) -> list[dict[str, str]]:
    return read_table(shipped_folder() / name).to_dict("records")


def shown_by_hand(years: np.ndarray, market: str) -> np.ndarray:
    """P(a country name is shown | year) of an intact label, straight from the rows of two files."""
    style = [(float(row["year"]), float(row["full"]) / 100) for row in rows_of("label_style.csv")]
    full = np.interp(years, *zip(*style, strict=True))
    knots = [
        [float(row[cell]) for cell in ("year", "full", "brief")]
        for row in rows_of("label_shown.csv")
        if (row["mark"], row["market"]) == ("origin", market)
    ]
    at, *each = np.array(knots).T
    on_full, on_brief = (np.interp(years, at, share / 100) for share in each)
    return np.asarray(full * on_full + (1 - full) * on_brief)


def test_a_country_name_and_the_make_of_a_label_are_noted_where_a_label_shows_them(
    priors: Priors,
) -> None:
    """Never beside a true `none-seen`; of intact labels as often as ``label_shown.csv`` says, piece by piece."""
    made = simulate(priors, N, np.random.default_rng(12), as_of=AS_OF, looked_at=1)
    seen, truth = made.frame(), made.truth_frame()
    named, of_make = seen["origin"].notna(), seen["label_make"].notna()
    intact = truth["true_label"] == "intact"
    assert named.sum() > 500 and of_make.sum() > 1500
    assert not (named & ~intact).any()
    assert not (of_make & (truth["true_label"] == "none-seen")).any()
    assert of_make[(truth["true_label"] != "none-seen") & (seen["label"] != "none-seen")].all()
    may = intact & (seen["label"] == "intact")
    chance = np.zeros(N)
    for market in MARKETS:
        own = truth["market"] == market
        chance[own] = shown_by_hand(truth.loc[own, "year"].to_numpy(float), market)
    at = chance[may]
    spread = np.sqrt((at * (1 - at)).sum())
    assert abs(named[may].sum() - at.sum()) < FAR * spread
    assert 0.3 < at.mean() < 0.8 and named.mean() < 0.15
    # which country it is, is that of the tables
    right = seen["origin"] == truth["true_origin"]
    slip = priors.slips["origin"]
    assert errors_between(1 - right[named].mean(), slip, int(named.sum())) < FAR


def test_what_is_measured_is_dated_as_often_before_as_after(priors: Priors, drawn: Any) -> None:
    """P(made by the true year) of pieces with one thing measured is evenly spread: the mean of middles is a half."""
    seen, truth = drawn
    for name in ("stitches_per_inch", "momme", "width_cm"):
        rows = seen.index[seen[name].notna()][:800]
        sizes = ["width_cm", "height_cm"] if name == "width_cm" else [name]
        _, year = date_table(
            seen.loc[rows, sizes], as_of=AS_OF, columns=["median_year"], with_years=True
        )
        at = (np.arange(len(rows)), truth.loc[rows, "year"].to_numpy(int) - FIRST_YEAR)
        middle = year.cumsum(axis=1)[at] - year[at] / 2
        assert abs(middle.mean() - 0.5) < FAR * middle.std() / np.sqrt(len(rows)), name


def test_nothing_and_everything_is_looked_at_when_so_asked(priors: Priors) -> None:
    rng = np.random.default_rng(1)
    blind = simulate(priors, 50, rng, looked_at=0).frame()
    assert blind.isna().all(axis=None)
    whole = simulate(priors, 50, rng, looked_at=1).frame()
    assert whole.drop(columns=[*ON_LABELS]).notna().all(axis=None)
    assert (whole.loc[whole["label"] == "none-seen", "label_make"].isna()).all()
    with_label = whole["label"] != "none-seen"  # but where that is a slip
    assert whole.loc[with_label, "label_make"].notna().mean() > 0.8
    assert len(simulate(priors, 0, rng)) == 0


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        *(({"n": n}, "n: a whole number") for n in (True, -1, 2.0, "3", None)),
        *(({"looked_at": chance}, "looked_at: must lie") for chance in (-0.01, 1.01, float("nan"))),
    ],
)
def test_what_cannot_be_drawn_is_refused(priors: Priors, wrong: dict[str, Any], says: str) -> None:
    how = {"n": 5, "rng": np.random.default_rng(1)} | wrong
    with pytest.raises(ScarfdateError, match=says):
        simulate(priors, **how)


def test_what_was_drawn_stays(priors: Priors) -> None:
    made = simulate(priors, 3, np.random.default_rng(1))
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.seen = {}  # type: ignore[misc]
    assert "seen" not in repr(made)
    assert [len(made.scarves(priors)), len(made.frame()), len(made.truth_frame())] == [3, 3, 3]


def test_what_is_measured_is_looked_at_as_often_as_was_asked() -> None:
    """Each measurement by itself: within four standard errors of the share asked for."""
    asked, pieces = 0.4, 2_000
    frame = simulate(None, pieces, np.random.default_rng(9), as_of=AS_OF, looked_at=asked).frame()
    for name in ("width_cm", "height_cm"):
        assert errors_between(frame[name].notna().mean(), asked, pieces) < FAR, name
    # stitches and weight are noted where there is something to measure, and never more often than asked
    for name in ("stitches_per_inch", "momme"):
        share = frame[name].notna().mean()
        assert asked / 10 < share < asked + FAR * np.sqrt(asked * (1 - asked) / pieces), name
