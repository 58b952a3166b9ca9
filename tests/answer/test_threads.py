"""Threads that date with the same priors at once get the answers of one thread, to the bit, and leave no harm."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from threading import Barrier

import numpy as np
import pandas as pd
import pytest

from scarfdate import date_scarf, date_table, load_priors, simulate
from scarfdate.answer import blocks as blocks_module
from scarfdate.model import model as model_module
from scarfdate.tables.priors import Priors

AS_OF = 2026
THREADS = 8


@pytest.fixture(autouse=True)
def often() -> Iterator[None]:
    """Threads take turns a hundred times as often as usual, so that what can go wrong does."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(usual / 100)
    yield
    sys.setswitchinterval(usual)


def fresh_priors() -> Priors:
    """Priors with nothing compiled yet: the first dating makes all rows."""
    return replace(load_priors(), _compiled={})


def tables(rows: int = 300) -> list[pd.DataFrame]:
    """A table a thread: simulated pieces, no two tables the same."""
    return [
        simulate(load_priors(), rows, np.random.default_rng(seed), as_of=AS_OF).frame()
        for seed in range(THREADS)
    ]


def dated(table: pd.DataFrame, priors: Priors) -> tuple[bytes, str]:
    frame, years = date_table(table, priors=priors, as_of=AS_OF, with_years=True)
    return years.tobytes(), frame.to_csv()


@pytest.mark.slow
@pytest.mark.parametrize("kept", [20_000, 60])
def test_eight_threads_get_the_answer_of_one(kept: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also while the tables of rows fill up and start again (60 rows kept)."""
    monkeypatch.setattr(model_module, "_ROWS_KEPT", kept)
    monkeypatch.setattr(
        blocks_module, "BLOCK", 50
    )  # so that every table asks for the model six times
    given = tables()
    alone = [dated(table, fresh_priors()) for table in given]
    for _ in range(2):
        priors = fresh_priors()
        start = Barrier(THREADS)

        def work(table: pd.DataFrame, priors: Priors = priors, start: Barrier = start) -> object:
            start.wait()
            return dated(table, priors)

        with ThreadPoolExecutor(THREADS) as pool:
            together = list(pool.map(work, given))
        assert together == alone
        # and afterwards, in one thread
        assert [dated(table, priors) for table in given] == alone


@pytest.mark.slow
def test_single_scarves_in_threads() -> None:
    given = tables(20)
    rows = [row for table in given for row in table.to_dict("records")]
    rows = [{k: v for k, v in row.items() if isinstance(v, str) or v == v} for row in rows]
    priors = fresh_priors()
    alone = [date_scarf(row, priors=priors, as_of=AS_OF).to_dict() for row in rows[:40]]
    priors = fresh_priors()
    with ThreadPoolExecutor(THREADS) as pool:
        together = list(
            pool.map(lambda row: date_scarf(row, priors=priors, as_of=AS_OF).to_dict(), rows)
        )
    assert together[:40] == alone
