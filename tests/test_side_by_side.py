"""Threads and processes that date at the same time give the answer of one thread, to the last bit.

A process made by a fork while another thread dates is not supported: it gets a copy of locks that nobody will ever
open, as Python says of any fork beside threads. Start processes by "spawn" or "forkserver".
"""

from __future__ import annotations

import multiprocessing
import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import scarfdate

AS_OF = 2026
THREADS, PROCESSES, ROUNDS = 8, 4, 2
STOCK = Path(__file__).parents[1] / "data" / "stock.csv"


def stock() -> pd.DataFrame:
    return pd.read_csv(STOCK, dtype=object).iloc[:24]


def dated(frame: pd.DataFrame, priors: scarfdate.Priors | None = None) -> bytes:
    """The answers and the whole posterior as bytes."""
    answers = scarfdate.date_table(frame, priors=priors, as_of=AS_OF)
    scarf = scarfdate.Scarf(fibre="silk", hem="hand-rolled", label_text="MADE IN ITALY")
    chances = scarfdate.date_scarf(scarf, priors=priors, as_of=AS_OF).probability
    return answers.to_csv().encode() + np.ascontiguousarray(chances).tobytes()


def in_a_process(order: int) -> bytes:
    """Rows are turned round once before, so that what is kept between calls is not the same everywhere."""
    frame = stock()
    dated(frame.iloc[:: -1 if order % 2 else 1].reset_index(drop=True))
    return dated(frame)


@pytest.mark.slow
def test_eight_threads_on_priors_that_nobody_has_used_yet() -> None:
    frame = stock()
    alone = dated(frame)
    often = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)  # threads take turns a thousand times as often as usual
    try:
        for _ in range(ROUNDS):
            fresh = scarfdate.load_priors(STOCK.parents[1] / "priors")  # nothing made ready
            with ThreadPoolExecutor(THREADS) as pool:
                answers = [*pool.map(dated, [frame] * THREADS, [fresh] * THREADS)]
            assert {*answers} == {alone}
    finally:
        sys.setswitchinterval(often)


@pytest.mark.slow
def test_four_processes() -> None:
    alone = dated(stock())
    with ProcessPoolExecutor(PROCESSES, multiprocessing.get_context("spawn")) as pool:
        assert {*pool.map(in_a_process, range(PROCESSES), timeout=200)} == {alone}
