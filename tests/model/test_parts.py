"""Each part of what was noted beside all the rest, by the formulas of `scarfdate.model.slips` and plain sums."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError
from typing import Any

import numpy as np
import pytest

from scarfdate import Priors, Scarf, simulate
from scarfdate.answer.evidence import encode
from scarfdate.model.model import Model, compiled
from scarfdate.model.posterior import posterior
from scarfdate.model.slips import Part, at_fault, parts_beside_the_rest, parts_of
from tests.reference import Reference

AS_OF = 1964
REST: dict[str, Any] = {
    "fibre": "silk",
    "known_from": 1900,
    "known_to": 1950,
    "known_by": "estimated",
}


@pytest.fixture(scope="module")
def model(priors: Priors) -> Model:
    return compiled(priors, "thrift", AS_OF)


def part_of(model: Model, seen: dict[str, Any], name: str) -> Part:
    codes, _ = encode(model, Scarf(priors=model.priors, **seen))
    (found,) = [part for part in parts_beside_the_rest(model, codes)[0] if part.part.part == name]
    assert model.clues[found.column].name == name and found.scarf == 0
    return found


@pytest.mark.parametrize("year", [1925, 1940, 1955])
def test_a_year_beside_the_rest(priors: Priors, model: Model, year: int) -> None:
    """What the rest leaves of its years, times the lags of each, is what was predicted where there is no slip."""
    found = part_of(model, {**REST, "printed_year": year}, "printed_year")
    rest, _ = encode(model, Scarf(priors=priors, **REST))
    made = posterior(model, rest).year[0]
    plain = Reference(priors, "thrift", AS_OF)
    lags, first, again = plain.lag_shares("printed_year", "printed_year")
    share = {lag: f + a for lag, f, a in zip(lags, first, again, strict=True)}
    usual = sum(
        p * plain.after(share, lags, y - year, y) for p, y in zip(made, plain.years, strict=True)
    )
    rate, by_chance = priors.slips["printed_year"], 1 / len(plain.years)
    predicted = (1 - rate) * usual + rate * by_chance
    assert found.predicted == pytest.approx(predicted, rel=1e-9)
    assert found.slip == pytest.approx(rate * by_chance / predicted, rel=1e-9)
    assert found.decibans == pytest.approx(10 * math.log10(by_chance / usual), abs=1e-6)


def test_what_the_rest_rules_out_is_a_slip(model: Model) -> None:
    """Certain to nine digits and no further: what is left is rounding."""
    hard = {"fibre": "silk", "known_from": 1900, "known_to": 1930, "printed_year": 1962}
    found = part_of(model, hard, "printed_year")
    assert 1 - 1e-6 < found.slip <= 1
    limit = 10 * math.log10(1e9 * (1 - 0.015) / 0.015)
    assert 70 < found.decibans < limit + 0.1
    (worst,) = at_fault(model, encode(model, Scarf(priors=model.priors, **hard))[0])
    assert worst is not None and worst.decibans >= found.decibans


def test_parts_of_many_pieces_come_piece_by_piece_without_what_was_not_looked_at(
    model: Model,
) -> None:
    pieces = [
        {"fibre": "silk"},
        {},
        {"hem": "rolled", "stitches_per_inch": 9, "printed_year": 1950},
    ]
    codes = np.concatenate([encode(model, Scarf(priors=model.priors, **one))[0] for one in pieces])
    parts = [(row, slip.part) for row, _, slip in parts_of(model, codes)]
    assert parts == [(0, "fibre"), (2, "hem"), (2, "stitches_per_inch"), (2, "printed_year")]
    found, rest = parts_beside_the_rest(model, codes)
    assert [part.scarf for part in found] == [0, 2, 2, 2] and len(rest) == 4
    nothing, none_left = parts_beside_the_rest(model, codes[1:2])
    assert nothing == [] and len(none_left) == 0 and at_fault(model, codes[1:2]) == [None]


def test_results_cannot_be_changed(priors: Priors, model: Model) -> None:
    """What one reader is given another reader may hold; and a thousand pieces are not written out in a message."""
    codes, _ = encode(model, Scarf(priors=priors, fibre="silk"))
    drawn = simulate(priors, 3, np.random.default_rng(1), as_of=AS_OF)
    for one, name in (
        (posterior(model, codes), "year"), (parts_beside_the_rest(model, codes)[0][0], "slip"), (drawn, "seen"),
    ):  # fmt: skip
        with pytest.raises(FrozenInstanceError):
            setattr(one, name, None)
    assert "silk" not in repr(drawn) and len(repr(drawn)) < 500
    with pytest.raises(AssertionError, match="joint"):
        posterior(model, codes).cube()
    joint = posterior(model, codes, keep_joint=np.float64)
    np.testing.assert_allclose(joint.cube().sum(axis=0), joint.year[0], rtol=1e-12)


def test_each_piece_of_a_table_keeps_its_market(priors: Priors, model: Model) -> None:
    """Pieces with the same market clues are worked out together, and in whatever order they stand: a few of each."""
    words = ["japan", "italy", "japan", "usa", "italy", "usa", "usa", "japan"]
    seen = [*({"origin": word} for word in words), {"fibre": "silk"}]
    codes = np.concatenate([encode(model, Scarf(priors=priors, **one))[0] for one in seen])
    whole = posterior(model, codes)
    alone = np.concatenate([posterior(model, codes[[row]]).market for row in range(len(codes))])
    np.testing.assert_allclose(whole.market, alone, rtol=1e-12)
    assert len({tuple(row) for row in whole.market.round(9).tolist()}) == 4
