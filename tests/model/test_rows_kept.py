"""Tables of rows fill up, start again and share rows: never to be seen in an answer, and never without end."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from scarfdate import Priors, Scarf, date_scarf, date_table
from scarfdate.answer.evidence import encode
from scarfdate.model import model as made_ready
from scarfdate.model.model import Model, compiled
from scarfdate.model.posterior import posterior

AS_OF = 1997  # a model that no other test has filled
KEPT = 24
WEIGHTS = np.geomspace(4, 60, 120)  # more than 80 steps of the scale


def most_rows(model: Model) -> int:
    own = [clue.rows for clue in model.clues]
    groups = (*model.plain, model.style, model.by_market)
    return max(rows.count for rows in [*own, *(group.rows for group in groups)])


def test_full_tables_start_again_with_the_same_answers(
    priors: Priors, monkeypatch: pytest.MonkeyPatch
) -> None:
    scarves = [Scarf(momme=float(weight), weave="twill") for weight in WEIGHTS]
    whole = Model(priors, "thrift", AS_OF)
    expected = posterior(whole, np.concatenate([encode(whole, one)[0] for one in scarves])).year
    assert most_rows(whole) > 80  # as many as there are
    first = compiled(priors, "thrift", AS_OF)
    monkeypatch.setattr(made_ready, "_ROWS_KEPT", KEPT)
    most = 0
    for one, probability in zip(scarves, expected, strict=True):
        found = date_scarf(one, priors=priors, as_of=AS_OF).probability
        np.testing.assert_allclose(found, probability, rtol=1e-12)
        most = max(most, most_rows(compiled(priors, "thrift", AS_OF)))
    assert KEPT < most <= 2 * KEPT
    assert compiled(priors, "thrift", AS_OF) is not first


def test_row_numbers_of_before_mean_what_they_meant(priors: Priors) -> None:
    """Whoever has row numbers of a model goes on with that one; the one that started again gives its own."""
    model = Model(priors, "thrift", AS_OF)
    seen = {"fibre": Scarf(fibre="silk").observations["fibre"]}
    key = model.clues[model.column["fibre"]].key(seen)[0]
    codes = model.codes_of({"fibre": key})
    assert model.keys_of(codes) == {"fibre": key}
    fresh = model.started_again()
    assert most_rows(fresh) == 1
    assert [clue.name for clue in fresh.clues] == [clue.name for clue in model.clues]
    again = fresh.codes_of(model.keys_of(codes))
    np.testing.assert_array_equal(posterior(fresh, again).year, posterior(model, codes).year)
    assert model.keys_of(codes) == {"fibre": key}


@pytest.mark.parametrize("n", [1, 2, 97, 511, 512, 700])
def test_a_table_of_any_length_is_its_pieces(priors: Priors, n: int) -> None:
    """Around the sizes from which pieces are multiplied in tiles, and clues joined beforehand."""
    rng = np.random.default_rng(n)
    drawn = {
        "fibre": rng.choice(["silk", "rayon", "polyester", ""], n),
        "hem": rng.choice(["hand-rolled", "overlocked", ""], n),
        "print_technique": rng.choice(["hand-screen", "digital", ""], n),
        "motif": rng.choice(["paisley", "dots", ""], n),
        "momme": rng.choice([8.0, 12.0, 16.0], n),
        "origin": rng.choice(["italy", "japan", ""], n),
        "printed_year": rng.choice([1950, 1962, 1971], n),
    }
    table = pd.DataFrame(drawn, dtype=object).replace("", None)
    answers, years = date_table(table, priors=priors, as_of=AS_OF, with_years=True)
    only, alone = date_table(
        table, priors=priors, as_of=AS_OF, columns=["year_from"], with_years=True
    )
    np.testing.assert_allclose(years, alone, rtol=1e-12, atol=1e-15)
    assert (only["year_from"] == answers["year_from"]).all()
    for row in {0, n // 2, n - 1}:
        one = date_scarf(table.iloc[row].dropna().to_dict(), priors=priors, as_of=AS_OF)
        np.testing.assert_allclose(years[row], one.probability, rtol=1e-12, atol=1e-15)
        assert answers["period_probability"].iloc[row] == pytest.approx(one.period_probability)
        assert answers["predictive_p"].iloc[row] == pytest.approx(one.predictive_p, rel=1e-4)
        assert answers["sentence"].iloc[row] == one.sentence
