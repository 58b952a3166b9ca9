"""What the tables of dating take is what their arrays take, and is given back where it is too much."""

from __future__ import annotations

import gc
import weakref
from dataclasses import replace

import numpy as np
import pytest

from scarfdate import Priors, date_table, load_priors, simulate
from scarfdate.clues.clue import Rows
from scarfdate.conventions import MARKETS
from scarfdate.model.model import Model, compiled
from scarfdate.model.room import give_back, taken

AS_OF = 2026
CHANNELS = ("thrift", "dealer")


@pytest.fixture
def used() -> Priors:
    """Tables that have dated pieces of two channels."""
    priors = replace(load_priors(), _compiled={})
    drawn = simulate(priors, 150, np.random.default_rng(2), as_of=AS_OF, looked_at=0.6).frame()
    for channel in CHANNELS:
        date_table(drawn, priors=priors, channel=channel, as_of=AS_OF)
    return priors


def in_doubles(rows: Rows) -> int:
    return rows.count * rows.cells * 8


def test_what_is_taken_is_what_the_arrays_hold(used: Priors) -> None:
    """Row by row: twice, for both copies in single precision together are one more in double precision."""
    expected = 0
    for channel in CHANNELS:
        model = compiled(used, channel, AS_OF)
        combined = [group.rows for group in model.plain if len(group.columns) > 1]
        tables = [clue.rows for clue in model.clues] + combined
        expected += sum(
            2 * in_doubles(rows) for rows in (*tables, model.style.rows, model.by_market.rows)
        )
        expected += in_doubles(model.style.revival)
        expected += len(MARKETS) * in_doubles(model.by_market.rows)
    assert taken(used) == expected
    assert taken(replace(load_priors(), _compiled={})) == 0


@pytest.mark.slow
def test_what_is_given_back_is_free_at_once(used: Priors) -> None:
    """Without a collection of what holds each other in a circle."""
    old = [weakref.ref(compiled(used, channel, AS_OF)) for channel in CHANNELS]
    gc.collect()  # of what the test before left
    gc.disable()
    try:
        give_back(used, 0)
        assert [one() for one in old] == [None] * len(CHANNELS)
    finally:
        gc.enable()


def test_too_much_is_given_back_and_answers_stay(used: Priors) -> None:
    drawn = simulate(used, 20, np.random.default_rng(3), as_of=AS_OF, looked_at=0.6).frame()
    answers = date_table(drawn, priors=used, as_of=AS_OF)
    before, model = taken(used), compiled(used, "thrift", AS_OF)
    for most in (before, before + 1):  # not more than may be kept
        give_back(used, most)
    assert taken(used) == before and compiled(used, "thrift", AS_OF) is model
    give_back(used, before - 1)
    fresh = compiled(used, "thrift", AS_OF)
    assert isinstance(fresh, Model) and fresh is not model
    assert taken(used) < before / 10
    again = date_table(drawn, priors=used, as_of=AS_OF)
    assert answers.equals(again)
