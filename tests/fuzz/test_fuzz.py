"""No input may bring a public call to anything but an answer or a refusal in words, and no call may be forgotten.

Each door draws the same few inputs in every run here, more of them in the slow tests, and new ones for as long as
``python -m tests.fuzz`` is given; the inputs kept for the guided readers are read again, every one.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import scarfdate
from scarfdate import ScarfdateError
from tests.fuzz.doors import DOORS, NOT_FUZZED
from tests.fuzz.guided import CORPUS, TARGETS
from tests.fuzz.hostile import VAST
from tests.fuzz.oracle import Ask, Fault, Tally


@pytest.fixture(autouse=True)
def numbers_can_be_printed() -> Iterator[None]:
    """In what a failing test shows; calls are made under the usual limit."""
    before = sys.get_int_max_str_digits()
    sys.set_int_max_str_digits(0)
    yield
    sys.set_int_max_str_digits(before)


def test_every_public_name_is_fuzzed_or_says_why_not() -> None:
    fuzzed = {name for door in DOORS.values() for name in door.calls}
    assert fuzzed | set(NOT_FUZZED) == set(scarfdate.__all__)
    assert fuzzed.isdisjoint(NOT_FUZZED)
    assert all(len(reason) > 30 for reason in NOT_FUZZED.values())


def _through(name: str, folder: Path, examples: int) -> None:
    ask = Ask(Tally(), folder=folder)

    @settings(
        max_examples=examples,
        derandomize=True,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.data())
    def through(data: Any) -> None:
        DOORS[name].run(data.draw, ask)

    through()
    assert ask.tally.inputs >= examples


@pytest.mark.parametrize("name", DOORS)
def test_a_few_inputs_through_every_door(name: str, tmp_path: Path) -> None:
    _through(name, tmp_path, DOORS[name].few)


@pytest.mark.long  # CI fuzzes for a minute instead, with other inputs each time
@pytest.mark.parametrize("name", DOORS)
def test_more_inputs_through_every_door(name: str, tmp_path: Path) -> None:
    _through(name, tmp_path, DOORS[name].few * 5)


@pytest.mark.parametrize("target", TARGETS)
def test_every_input_of_the_corpus_again(
    target: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask = Ask(Tally(), folder=tmp_path)
    kept = sorted((CORPUS / target).iterdir())
    assert 10 <= len(kept) <= 99
    for path in kept:
        TARGETS[target](path.read_bytes(), ask)
    # neither all nonsense nor all as it should be; no label and no description is ever refused
    assert (ask.tally.refused > 0) is (target not in ("label", "medium"))
    assert ask.tally.refused < ask.tally.inputs >= len(kept)


def test_the_corpus_is_small() -> None:
    assert sum(path.stat().st_size for path in CORPUS.rglob("*") if path.is_file()) < 300_000


# --- that none of this passes by seeing nothing


def _loops() -> None:
    while True:
        pass


def _warns() -> None:
    np.array([1.0]) / np.array([0.0])


def _refuses_at_length() -> None:
    raise ScarfdateError("x" * 10_000)


@pytest.mark.parametrize(
    ("call", "kind"),
    [
        (lambda: str(VAST), "ValueError"),
        (_loops, "more than 0 s"),
        (_warns, "RuntimeWarning leaks"),
        (_refuses_at_length, "message too long"),
        (lambda: sys.exit(3), "SystemExit"),
        (lambda: Path("/nowhere-at-all").mkdir(), "outside of the folder"),
        (lambda: (lambda again: again(again))(lambda again: again(again)), "RecursionError"),
    ],
    ids=["another error", "no end", "a warning", "a long message", "an exit", "a folder elsewhere", "recursion"],
)  # fmt: skip
def test_the_watch_is_awake(call: Any, kind: str, tmp_path: Path) -> None:
    with pytest.raises(Fault, match=kind):
        Ask(Tally(), base=0.2, folder=tmp_path)(call)
