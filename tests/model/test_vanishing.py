"""A product of so many clues that it vanishes: the same answer as the logarithms of its parts add up to.

Tables of one's own hold many families with one and the same table, so what n of them say is n times what one says:

    log P(year | n clues) = log P(year) + n (log P(year | one clue) - log P(year)) + a constant

which needs nothing but datings in which nothing vanishes. Half the families say that the piece is early, half that it
is late, and in every year one half holds all for slips; some more lean a little, so that a distribution is left. Neither the grade nor the market nor a revival bears on
these families, so what is known of them follows from the year alone.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scarfdate import Priors, Scarf, date_scarf, date_table, load_priors
from scarfdate.answer.evidence import encode
from scarfdate.conventions import Array
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior
from tests.clues.own_tables import _BASIS, add_rows, family, slip

AS_OF = 1960
EACH = 80
STEEP = [f"mark_{place:03}" for place in range(2 * EACH)]
MILD = [f"lean_{place}" for place in range(6)]
EARLY = dict.fromkeys(STEEP[:EACH], "early")
BOTH = EARLY | dict.fromkeys([*STEEP[EACH:], *MILD], "late")  # nothing is left of it in any year
TABLES = {  # the share of the early word at the knots
    "mark": {1880: 100, 1920: 100, 1921: 0, 1960: 0},
    "lean": {1880: 70, 1900: 55, 1960: 20},
}
CLOSE = 1e-10


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Priors:
    folder: Path = tmp_path_factory.mktemp("many")
    names = [*STEEP, *MILD]
    add_rows(folder, "families.csv", [family(name, "shares") for name in names])
    add_rows(folder, "slips.csv", [slip(name) | {"rate": "0.01"} for name in names])
    add_rows(folder, "vocabulary.csv", [
        {"family": name, "word": word, "reading": "value", "means": word}
        for name in names for word in ("early", "late")
    ])  # fmt: skip
    for name in names:
        add_rows(folder, f"shares/{name}.csv", [
            {"year": str(year), "grade": "any", "early": str(early), "late": str(100 - early), **_BASIS}
            for year, early in TABLES[name[:4]].items()
        ])  # fmt: skip
    return load_priors(folder)


def by_logs(many: Priors, clues: dict[str, str]) -> Array:
    """P(year | clues) of equal tables, from datings with none and with one."""
    prior = date_scarf(Scarf(), priors=many, as_of=AS_OF).probability
    logs = np.log(prior)
    kinds = Counter((name[:4], word) for name, word in clues.items())
    for (kind, word), times in kinds.items():
        one = {STEEP[0] if kind == "mark" else MILD[0]: word}
        found = date_scarf(Scarf(priors=many, **one), priors=many, as_of=AS_OF)
        logs += times * np.log(found.probability / prior)
    logs -= logs.max()
    return np.asarray(np.exp(logs) / np.exp(logs).sum())


def test_the_year_is_what_the_logarithms_add_up_to(many: Priors) -> None:
    found = date_scarf(Scarf(priors=many, **BOTH), priors=many, as_of=AS_OF)
    expected = by_logs(many, BOTH)
    assert expected.max() < 0.5  # a distribution, not one year
    np.testing.assert_allclose(found.probability, expected, rtol=CLOSE, atol=1e-300)


def test_grade_market_and_revival_follow_from_the_year(many: Priors) -> None:
    model = compiled(many, "thrift", AS_OF)
    found = posterior(model, encode(model, Scarf(priors=many, **BOTH))[0], keep_joint=np.float64)
    year = by_logs(many, BOTH)
    joint = year * model.prior / model.year_prior
    np.testing.assert_allclose(found.cube(), joint, rtol=1e-9, atol=1e-300)
    np.testing.assert_allclose(found.grade[0], joint.sum(axis=1), rtol=1e-9)
    np.testing.assert_allclose(found.market[0], model.market @ year, rtol=1e-9)
    assert found.revival[0] == pytest.approx(model.revival_share @ year, rel=1e-9)


def test_the_chance_of_all_that_was_seen_adds_up(many: Priors) -> None:
    """P(clues) of the whole and of one clue less differ by P(the clue | all others), worked out from the years."""
    model = compiled(many, "thrift", AS_OF)
    less = {name: word for name, word in BOTH.items() if name != STEEP[0]}
    codes = [
        encode(model, Scarf(priors=many, **seen))[0]
        for seen in (BOTH, less, {}, {STEEP[0]: "early"})
    ]
    whole, others, _, one = posterior(model, np.concatenate(codes)).log_evidence
    prior, with_one = (by_logs(many, seen) for seen in ({}, {STEEP[0]: "early"}))
    given_others = by_logs(many, less) @ (with_one / prior)  # over P(the clue)
    assert others < np.log(1e-250)  # both have vanished
    assert whole - others == pytest.approx(np.log(given_others) + one, rel=1e-9)


def test_a_piece_that_vanished_leaves_its_neighbours_alone(many: Priors) -> None:
    """In one table, in any place, each is dated as it is by itself; also weighed and put in doubt."""
    kinds: list[dict[str, str]] = [{}, BOTH, {"fibre": "silk"}, EARLY, BOTH | {"fibre": "wool"}]
    frame = pd.DataFrame(kinds)
    table, years = date_table(frame, priors=many, as_of=AS_OF, with_years=True)
    for row, seen in enumerate(kinds):
        alone = date_scarf(Scarf(priors=many, **seen), priors=many, as_of=AS_OF)
        np.testing.assert_allclose(years[row], alone.probability, rtol=1e-9, atol=1e-300)
        chances = table.loc[row, ["period_probability", "predictive_p"]].to_numpy(float)
        expected = alone.period_probability, alone.predictive_p
        np.testing.assert_allclose(chances, expected, rtol=1e-6)
