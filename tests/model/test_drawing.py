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
from scarfdate.conventions import FIRST_YEAR
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior

AS_OF = 2010
N = 12_000
FAR = 5.0  # standard errors


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
        if family.kind != "shares" or name == "label_make":  # blanked where there is no label
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
    assert whole.drop(columns="label_make").notna().all(axis=None)
    assert (whole.loc[whole["label"] == "none-seen", "label_make"].isna()).all()
    assert whole.loc[whole["label"] != "none-seen", "label_make"].notna().all()
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
