"""The quick bound on what is amiss is a bound, and the long table that goes by it finds what the full sum finds."""

from __future__ import annotations

import numpy as np
import pytest

from scarfdate import Priors, Scarf
from scarfdate.answer.evidence import encode
from scarfdate.clues.clue import NOT_LOOKED_AT, Amiss
from scarfdate.conventions import MORE_LIKELY_THAN_NOT
from scarfdate.model.amiss import _CanBeAmiss, likely_amiss, parts_amiss
from scarfdate.model.model import Codes, Model
from scarfdate.model.posterior import posterior
from scarfdate.model.weighing import rows_of_unit, weigh
from scarfdate.years import cumulative, shortest_interval
from tests.random_scarves import random_clues

AS_OF = 2026


@pytest.fixture(scope="module", params=["thrift", "museum"])
def dated(request: pytest.FixtureRequest, priors: Priors) -> tuple[Model, Codes]:
    """Pieces of which next to nothing fits together, so that much is amiss."""
    rng = np.random.default_rng(18)
    model = Model(priors, request.param, AS_OF)
    rows = [
        encode(model, Scarf(**random_clues(priors, rng, AS_OF), priors=priors))[0]
        for _ in range(300)
    ]
    return model, np.concatenate(rows)


def test_it_is_no_less_than_each_part_in_every_state(dated: tuple[Model, Codes]) -> None:
    model, codes = dated
    looked, infinite, loose = 0, 0, []
    for column, clue in enumerate(model.clues):
        rows = [row for row in np.unique(codes[:, column]).tolist() if row != NOT_LOOKED_AT]
        keys = [clue.rows.keys[row] for row in rows]
        for key, bound in zip(keys, clue.amiss_at_most(keys).tolist(), strict=True):
            highest = [
                float(clue._row(Amiss(key, part.part)).max()) for part in clue.slips(key)
            ]  # as they are by themselves
            looked += len(highest)
            infinite += bound == np.inf
            assert bound >= max(highest, default=0.0)
            if 0 < bound < np.inf:
                loose.append(bound / max(highest))
    assert looked > 1000 and infinite < looked / 4
    assert np.median(loose) < 3  # or it would spare nothing


def test_it_is_no_less_where_clues_are_weighed_together(dated: tuple[Model, Codes]) -> None:
    model, codes = dated
    together = 0
    for columns in model.units:
        seen = np.flatnonzero((codes[:, columns] != NOT_LOOKED_AT).any(axis=1))
        rows, index = rows_of_unit(model, columns, codes[seen])
        can = _CanBeAmiss(columns, rows)
        bound, (of, parts) = can.at_most(model, index), can.parts(model, index)
        with_it_amiss = codes[seen][of]
        with_it_amiss[np.arange(len(of)), can.column[parts]] = can.amiss[parts]
        found, own = rows_of_unit(model, columns, with_it_amiss)
        highest = np.exp(found.log_scale[own])
        assert (bound[of] >= highest).all() and (can.highest[parts] >= highest).all()
        together += len(columns) > 1
    assert together == 1


def test_what_is_likely_amiss_is_found(dated: tuple[Model, Codes]) -> None:
    model, codes = dated
    whole = posterior(model, codes, keep_joint=np.float32)
    total = cumulative(whole.year)
    first, last = shortest_interval(total, 0.8)
    weighing = weigh(model, codes, whole.joint, first, last)
    found = likely_amiss(model, codes, whole.joint, weighing, {})
    every = [one for one in parts_amiss(model, codes) if one.chance > MORE_LIKELY_THAN_NOT]
    told = sorted((one.scarf, one.column, one.part.part) for one in found)
    exact = {(one.scarf, one.column, one.part.part): one.chance for one in every}
    # the joint is held in single precision
    assert all(
        one.chance == pytest.approx(exact[one.scarf, one.column, one.part.part], rel=1e-5)
        for one in found
    )
    assert told == sorted((one.scarf, one.column, one.part.part) for one in every)
    assert len(told) > 20
