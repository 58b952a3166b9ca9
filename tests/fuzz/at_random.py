"""The doors for as long as there is time: random inputs of hypothesis, and what each found."""

from __future__ import annotations

import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from hypothesis.errors import Flaky, FlakyStrategyDefinition, UnsatisfiedAssumption

from tests.fuzz.doors import Door
from tests.fuzz.oracle import Ask, Fault

IN_A_ROUND = 200  # examples that are drawn from one seed


class _Over(BaseException):
    """The time is up; hypothesis lets it pass."""


def run(door: Door, ask: Ask, seconds: float, crashes: Path, first: int = 0) -> None:
    """Draw for so many seconds, the seeds from ``first`` on; a crash is written to ``crashes``, once for each kind."""
    sys.set_int_max_str_digits(0)  # for reports; calls are made under the usual limit
    end = time.monotonic() + seconds
    at = first
    while time.monotonic() < end:
        with suppress(
            _Over, Flaky, FlakyStrategyDefinition
        ):  # what a busy machine made late once is not late again
            _round(door, ask, at, end, crashes)
        at += 1


def _round(door: Door, ask: Ask, at: int, end: float, crashes: Path) -> None:
    @seed(at)
    @settings(
        max_examples=IN_A_ROUND,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.data())
    def one(data: Any) -> None:
        if time.monotonic() > end:
            raise _Over
        drawn: list[object] = []

        def draw(strategy: st.SearchStrategy[Any]) -> Any:
            drawn.append(data.draw(strategy))
            return drawn[-1]

        try:
            door.run(draw, ask)
        except UnsatisfiedAssumption:
            raise
        except Fault as fault:
            keep(fault, door.name, drawn, ask, crashes, f"seed {at}")

    one()


def keep(fault: Fault, name: str, drawn: list[object], ask: Ask, crashes: Path, how: str) -> None:
    """Write what was drawn as Python, where it is the first or the shortest of its kind."""
    text = f"# {name}, {how}\n# " + str(fault).replace("\n", "\n# ") + "\n" + _python(drawn)
    path = (
        crashes
        / name
        / ("".join(each if each.isalnum() else "-" for each in fault.kind)[:90] + ".txt")
    )
    before = ask.tally.faults.get(fault.kind)
    if before is None or len(text) < path.stat().st_size:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", errors="backslashreplace")
        ask.tally.faults[fault.kind] = str(path)


def _python(drawn: list[object]) -> str:
    return "".join(f"{one!r:.20000}\n" for one in drawn)
