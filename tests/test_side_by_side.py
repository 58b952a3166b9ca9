"""Threads and processes that date at the same time give the answer of one thread, to the last bit.

A process made by a fork while another thread dates is not supported: it gets a copy of locks that nobody will ever
open, as Python says of any fork beside threads. Start processes by "spawn" or "forkserver".
"""

from __future__ import annotations

import multiprocessing
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pandas as pd
import pytest

import scarfdate
from scarfdate.answer import blocks as blocks_module
from scarfdate.model import model as model_module
from tests.relations import records

AS_OF = 2026
THREADS, PROCESSES = 8, 4
KEPT = 40  # rows of a table before it starts again: the stock's own are more
STOCK = Path(__file__).parents[1] / "data" / "stock.csv"


def stock() -> pd.DataFrame:
    return pd.read_csv(STOCK, dtype=object).iloc[:24]


@contextmanager
def filling(kept: int = KEPT) -> Iterator[list[object]]:
    """Tables of rows that are full after a few pieces, and threads that take turns a thousand times as often as usual;
    gives the models that started again."""
    again: list[object] = []
    started = model_module.Model.started_again

    def counted(self: model_module.Model) -> model_module.Model:
        again.append(self.channel)
        return started(self)

    usual, rows, block = sys.getswitchinterval(), model_module._ROWS_KEPT, blocks_module.BLOCK
    sys.setswitchinterval(usual / 1000)
    model_module._ROWS_KEPT, blocks_module.BLOCK = kept, 6
    model_module.Model.started_again = counted  # type: ignore[method-assign]
    try:
        yield again
    finally:
        sys.setswitchinterval(usual)
        model_module._ROWS_KEPT, blocks_module.BLOCK = rows, block
        model_module.Model.started_again = started  # type: ignore[method-assign]


def dated(frame: pd.DataFrame, priors: scarfdate.Priors | None = None) -> bytes:
    """Every answer as bytes: a table with all of its years, single pieces, their reasons, and the next looks."""
    table, years = scarfdate.date_table(frame, priors=priors, as_of=AS_OF, with_years=True)
    found = [table.to_csv().encode(), years.tobytes()]
    for _, row in frame.iloc[:6].iterrows():
        seen = row.dropna().to_dict()
        dating = scarfdate.date_scarf(seen, priors=priors, as_of=AS_OF)
        why = scarfdate.explain(seen, "before 1960", priors=priors, as_of=AS_OF)
        looks = scarfdate.next_checks(seen, priors=priors, as_of=AS_OF)
        found += [dating.probability.tobytes(), dating.sentence.encode()]
        found += [repr((dict(why.share), [str(look) for look in looks.looks])).encode()]
    return b"\0".join(found)


def learned(priors: scarfdate.Priors | None = None) -> bytes:
    made = scarfdate.learn(
        scarfdate.read_sold(records()), priors, route="counts", as_of=AS_OF, draws=10
    )
    return b"\0".join(content for _, content in sorted(made.files.items()))


def answer(order: int, priors: scarfdate.Priors | None = None) -> tuple[bytes, bytes]:
    """The stock and what records teach; rows are turned round once before, so that not all keep the same rows."""
    frame = stock()
    dated(frame.iloc[:: -1 if order % 2 else 1].iloc[:8].reset_index(drop=True), priors)
    return dated(frame, priors), learned(priors) if order == 0 else b""


def in_a_process(order: int) -> tuple[tuple[bytes, bytes], int]:
    with filling() as again:
        return answer(order), len(again)


@pytest.mark.slow
def test_eight_threads_and_four_processes_at_once() -> None:
    """The same tables on the same priors, while the tables of rows fill and start again."""
    alone, taught = answer(0)
    fresh = scarfdate.load_priors(STOCK.parents[1] / "priors")  # nothing made ready
    with (
        ProcessPoolExecutor(PROCESSES, multiprocessing.get_context("spawn")) as processes,
        ThreadPoolExecutor(THREADS) as threads,
        filling() as again,
    ):
        away = [processes.submit(in_a_process, order) for order in range(PROCESSES)]
        here = [*threads.map(answer, range(THREADS), [fresh] * THREADS)]
        there = [one.result(timeout=400) for one in away]
    assert {one for one, _ in here} == {one for (one, _), _ in there} == {alone}
    assert {here[0][1], there[0][0][1]} == {taught}
    # how often is a matter of turns: threads that meet at a full table start it again once, for all of them
    assert len(again) > 1 and all(count for _, count in there)
    assert answer(1, fresh)[0] == alone  # and afterwards, in one thread
