"""What the fast sums say of many pieces at once, against what follows from each piece by itself."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
from typing import Any

import numpy as np
import pandas as pd
import pytest

from scarfdate import Priors, Scarf, date_scarf, date_table, simulate
from scarfdate.answer.evidence import encode
from scarfdate.conventions import DECIBANS_PER_NAT, GRADES
from scarfdate.model.exact import joint_of, revival_parts, rows_of
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior
from scarfdate.model.slips import at_fault, parts_beside_the_rest

AS_OF = 2005
FILLED = {"scarfdate.answer.frame.Block", "scarfdate.model.weighing._Alone"}  # while they are made


def test_pieces_of_many_markets_in_one_table(priors: Priors) -> None:
    """Pieces with the same market clues share a product: each keeps its own market, wherever it stands."""
    model = compiled(priors, "thrift", AS_OF)
    words = priors.vocabulary.values["origin"]
    rng = np.random.default_rng(4)
    seen: list[dict[str, Any]] = [{"origin": words[i]} for i in rng.integers(0, len(words), 130)]
    seen[::7] = [{"fibre": "silk"}] * len(seen[::7])
    codes = np.concatenate([encode(model, Scarf(priors=priors, **one))[0] for one in seen])
    whole = posterior(model, codes)
    for row in range(len(codes)):
        alone = posterior(model, codes[row : row + 1])
        np.testing.assert_allclose(whole.market[row], alone.market[0], rtol=1e-12)
        np.testing.assert_allclose(whole.grade[row], alone.grade[0], rtol=1e-12)
        assert whole.log_evidence[row] == pytest.approx(alone.log_evidence[0], abs=1e-12)


@pytest.mark.parametrize(
    "clue", [{"fibre": "nylon"}, {"motif": "paisley"}, {"momme": 14}, {"printed_year": 1962}, {"origin": "japan"}]
)  # fmt: skip
def test_a_clue_alone_weighs_the_change_of_the_odds(clue: dict[str, Any]) -> None:
    """Good's weight of evidence, in decibans, for the interval that the answer gives."""
    dating, prior = date_scarf(clue, as_of=AS_OF), date_scarf(Scarf(), as_of=AS_OF)
    first, last = dating.interval()
    years = np.asarray(dating.years)
    inside = (years >= first) & (years <= last)
    before, after = (float(one.probability[inside].sum()) for one in (prior, dating))
    weight = 10 * np.log10(after / (1 - after) / (before / (1 - before)))
    (found,) = dating.weights().values()
    assert found == pytest.approx(weight, abs=1e-3)


def test_the_part_at_fault_has_the_most_weight_for_a_slip(priors: Priors) -> None:
    model = compiled(priors, "thrift", AS_OF)
    drawn = simulate(priors, 150, np.random.default_rng(8), as_of=AS_OF, looked_at=0.3)
    codes = np.concatenate([encode(model, one)[0] for one in drawn.scarves(priors)])
    weights: dict[int, list[float]] = {}
    for part in parts_beside_the_rest(model, codes)[0]:
        weights.setdefault(part.scarf, []).append(part.decibans)
    slight = 0
    for row, found in enumerate(at_fault(model, codes)):
        most = max(weights.get(row, [0.0]))
        assert (None if found is None else found.decibans) == (most if most > 0 else None)
        slight += 0 < most < 1
    assert slight  # also where it is hardly any


def test_the_mixture_of_one_year_is_that_of_all_years(priors: Priors) -> None:
    model = compiled(priors, "thrift", AS_OF)
    rng = np.random.default_rng(2)
    style = rng.uniform(0.01, 1, (40, len(GRADES), len(model.years)))
    made = rng.integers(0, len(model.years), len(style))
    for whole, one in zip(
        revival_parts(model, style), revival_parts(model, style, made), strict=True
    ):
        np.testing.assert_allclose(one, whole[np.arange(len(style)), :, made], rtol=1e-12)


@pytest.mark.parametrize("room", ["model", "answer", "clues"])
def test_results_are_frozen(room: str) -> None:
    """What one reader is given another reader may hold."""
    folder = importlib.import_module(f"scarfdate.{room}")
    for found in pkgutil.iter_modules(folder.__path__, f"{folder.__name__}."):
        module = importlib.import_module(found.name)
        for name, one in vars(module).items():
            if dataclasses.is_dataclass(one) and one.__module__ == module.__name__:
                own = f"{module.__name__}.{name}"
                assert one.__dataclass_params__.frozen != (own in FILLED), own  # type: ignore[attr-defined]


@pytest.mark.parametrize("seen", [{}, {"fibre": "nylon"}, {"printed_year": 1962}, {"known": "1950s"}], ids=str)  # fmt: skip
def test_single_years_of_an_answer_follow_from_its_years(seen: dict[str, Any]) -> None:
    dating = date_scarf(seen, as_of=AS_OF)
    chance = dict(zip(range(1880, AS_OF + 1), dating.probability.tolist(), strict=True))
    assert dating.mode == max(chance, key=lambda year: chance[year])
    at_or_before = np.cumsum([*chance.values()])
    assert dating.median == 1880 + int((at_or_before < 0.5).sum())
    decades = {
        start: sum(chance.get(start + n, 0.0) for n in range(10)) for start in dating.decades()
    }
    assert dating.decades() == pytest.approx(decades, abs=1e-12)
    assert sum(decades.values()) == pytest.approx(1)
    assert dating.decade == f"{max(decades, key=lambda start: decades[start])}s"
    assert dating.at_least_years_old(20) == pytest.approx(
        sum(chance[y] for y in range(1880, AS_OF - 19))
    )
    assert dating.between(1950, 1950) == pytest.approx(chance[1950])


def by_hand(priors: Priors, cells: dict[str, Any], first: int, last: int) -> dict[str, float]:
    """Decibans of each clue for the years, by the plain sum in double precision, years within and beyond by themselves."""
    model = compiled(priors, "thrift", AS_OF)
    codes, _ = encode(model, Scarf(**cells))
    rows = rows_of(model, codes)
    inside = (model.years >= first) & (model.years <= last)

    def log_odds(some: dict[int, Any]) -> float:
        year = sum(joint_of(model, some)).sum(axis=0)  # type: ignore[union-attr]
        return float(np.log(year[inside].sum() / year[~inside].sum()))

    found = {}
    for column, row in rows.items():
        others = {other: each for other, each in rows.items() if other != column}
        alone = log_odds({column: row}) - log_odds({})
        added = log_odds(rows) - log_odds(others)
        found[model.clues[column].name] = DECIBANS_PER_NAT * (alone + added) / 2
    return found


@pytest.mark.parametrize("cells", [
    {"fibre": "silk", "hem": "hand-rolled", "known": 1962},
    {"fibre": "nylon", "known": 1895},
    {"fibre": "polyester", "known": "1960s"},
    {"fibre": "polyester", "known": 1895, "acquired": 1930},
    {"hem": "hand-rolled", "form": "square", "known": 1962, "acquired": 1970},
])  # fmt: skip
def test_beside_firm_years_a_clue_keeps_its_sign(priors: Priors, cells: dict[str, Any]) -> None:
    """All years but those known are of next to no chance, and still say how much each other clue weighs."""
    dating = date_scarf(cells, as_of=AS_OF, priors=priors)
    expected = by_hand(priors, cells, *dating.interval())
    found = sorted(dating.weights().values())
    np.testing.assert_allclose(found, sorted(expected.values()), atol=1e-3)
    assert [*np.sign(found)] == [*np.sign(sorted(expected.values()))]


def test_in_a_long_table_it_is_the_same(priors: Priors) -> None:
    """The sentences of a table are made by the same weights, from a joint in single precision."""
    cells = {"fibre": "silk", "hem": "hand-rolled", "known": 1962, "acquired": 1970}
    found = date_table(pd.DataFrame([cells] * 3), as_of=AS_OF, priors=priors)
    assert set(found["sentence"]) == {date_scarf(cells, as_of=AS_OF, priors=priors).sentence}
