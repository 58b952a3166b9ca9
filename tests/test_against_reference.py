"""The fast model and the plain one say the same to the last digits."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from scarfdate import Scarf, date_scarf, date_table, load_priors
from scarfdate.answer.evidence import encode
from scarfdate.answer.kind import channel_for
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior
from scarfdate.tables.priors import Priors
from tests.random_scarves import perturbed, random_clues, row_of
from tests.reference import Answer, Reference

CLOSE = 1e-12
WHERE = (("thrift", 1930), ("estate", 1958), ("auction", 1990), ("museum", 1974))


@pytest.fixture(
    scope="module",
    params=["shipped", *(pytest.param(seed, marks=pytest.mark.slow) for seed in (1, 2, 3))],
)
def tables(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Priors:
    if request.param == "shipped":
        return load_priors()
    folder: Path = tmp_path_factory.mktemp("shaken")
    return load_priors(perturbed(folder, request.param))


def drawn(priors: Priors, n: int, as_of: int, seed: int) -> list[dict[str, Any]]:
    rng = np.random.default_rng(seed)
    return [random_clues(priors, rng, as_of) for _ in range(n)]


def far(found: Any, expected: Answer) -> float:
    """The largest difference between a dating and the reference."""
    return max(
        float(np.abs(found.probability - expected.year).max()),
        max(abs(found.grade[name] - chance) for name, chance in expected.grade.items()),
        max(abs(found.market[name] - chance) for name, chance in expected.market.items()),
        abs(found.period_probability - (1 - expected.revival)),
    )


@pytest.mark.sampled(2)
@pytest.mark.parametrize(("channel", "as_of"), WHERE)
def test_one_scarf_and_a_table_agree_with_the_reference(
    tables: Priors, channel: str, as_of: int
) -> None:
    every = drawn(tables, 3, as_of, as_of)
    how = {"priors": tables, "channel": channel, "as_of": as_of}
    frame, years = date_table(pd.DataFrame([row_of(one) for one in every]), with_years=True, **how)
    assert frame["errors"].isna().all()
    for place, one in enumerate(every):
        scarf = Scarf(priors=tables, **one)
        # in a museum the form chooses the channel (kind_channels.csv)
        holds = channel_for(tables, channel, scarf)
        model = compiled(tables, holds, as_of)
        expected = Reference(tables, holds, as_of).date(scarf)
        assert far(date_scarf(scarf, **how), expected) < CLOSE
        assert np.abs(years[place] - expected.year).max() < CLOSE
        assert abs(frame["period_probability"].iloc[place] - (1 - expected.revival)) < CLOSE
        log_evidence = posterior(model, encode(model, scarf)[0]).log_evidence[0]
        assert log_evidence == pytest.approx(expected.log_evidence, abs=1e-10)


def test_the_whole_grid_agrees_with_the_reference(tables: Priors) -> None:
    as_of = 2026
    reference = Reference(tables, "thrift", as_of)
    scarf = Scarf(priors=tables, **drawn(tables, 1, as_of, 7)[0])
    assert far(date_scarf(scarf, priors=tables, as_of=as_of), reference.date(scarf)) < CLOSE


def test_a_scarf_of_which_nothing_is_known_has_the_prior(priors: Priors) -> None:
    reference = Reference(priors, "thrift", 1960)
    found = date_scarf(Scarf(), as_of=1960)
    assert far(found, reference.date(Scarf())) < CLOSE
    assert np.abs(found.probability - np.array(reference.p_year)).max() < CLOSE


def test_a_wrong_reference_is_caught(priors: Priors) -> None:
    wrong = Reference(priors, "thrift", 1990, revival_times=2.0)
    scarf = Scarf(motif="paisley", palette="earth", fibre="polyester")
    found = date_scarf(scarf, as_of=1990)
    assert far(found, Reference(priors, "thrift", 1990).date(scarf)) < CLOSE
    assert far(found, wrong.date(scarf)) > 1e-4


@pytest.mark.parametrize(
    ("form", "holds"), [("square", "museum-scarf"), ("other", "museum-textile")]
)
def test_in_a_museum_the_form_chooses_the_channel(priors: Priors, form: str, holds: str) -> None:
    """As ``kind_channels.csv`` has it, row by row."""
    scarf = Scarf(form=form)
    found = date_scarf(scarf, channel="museum", as_of=1974)
    assert far(found, Reference(priors, holds, 1974).date(scarf)) < CLOSE
    assert far(found, Reference(priors, "museum", 1974).date(scarf)) > 1e-4
