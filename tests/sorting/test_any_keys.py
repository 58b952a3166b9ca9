"""Whatever is pressed: nothing crashes, no sheet is broken, and the way back leads to the start."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate import Sorting, date_table
from tests.sorting.table import NOW, rows, table

NAMED = [
    "Enter", "Escape", "Backspace", "Delete", "ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight", " ", "=", ".", "/",
    *"012345#", "Tab",
]  # fmt: skip
LETTERS = "abcdefghijklmnopqrstuvwxyz"
KEYS = st.one_of(st.sampled_from(NAMED), st.sampled_from(LETTERS), st.characters())
START = "id,fibre,mine\nA1,silk,x\nA2,wool,\n"


def tried(keys: list[str], start: str) -> None:
    with TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "stock.csv"
        if start:
            path.write_text(start, encoding="utf-8")
        sorting = table(folder)
        first = sorting.screen()
        for key in keys:
            screen = sorting.press(key)
            json.dumps(screen.to_dict())
            assert abs(sum(bar.chance for bar in screen.piece.answer.bars) - 1) < 1e-9
            assert sum(clue.marked for clue in screen.clues) == 1
        check_sheet(path, start)
        again = table(folder).screen()
        assert (again.piece, again.other, again.trays) == (screen.piece, screen.other, screen.trays)
        taken_back(sorting)
        sorting.press("Escape")
        sorting.press("Escape")
        last = sorting.screen()
        assert (last.piece, last.other, last.trays) == (first.piece, first.other, first.trays)
        left = [one.name for one in folder.iterdir()]
        assert left == (["stock.csv"] if start else [])
        assert not start or path.read_text(encoding="utf-8") == start


def check_sheet(path: Path, start: str) -> None:
    """It is read by `date`, and what was there is there."""
    if not path.exists():
        return
    found = rows(path)
    if start:
        assert found[:2] == [
            {"id": "A1", "fibre": "silk", "mine": "x"},
            {"id": "A2", "fibre": "wool"},
        ]
    if found:
        frame = pd.read_csv(path, dtype=str, keep_default_na=False)
        dated = date_table(frame, as_of=NOW)
        assert dated["errors"].isna().all() and dated["not_read"].isna().all()


def taken_back(sorting: Sorting) -> None:
    for _ in range(10_000):
        if any("nothing to take back" in one for one in sorting.undo().messages):
            return
    raise AssertionError("the way back has no end")


@settings(deadline=None, max_examples=4, derandomize=True)
@given(st.lists(KEYS, min_size=1, max_size=30), st.sampled_from(["", START]))
def test_any_keys(keys: list[str], start: str) -> None:
    tried(keys, start)


@pytest.mark.slow
@settings(deadline=None, max_examples=25, derandomize=True)
@given(
    st.lists(
        st.one_of(KEYS.map(lambda key: [key]), st.sampled_from(["fs", "hh", "ma", "od", "li"]).map(list)),
        min_size=20, max_size=70,
    ),
    st.sampled_from(["", START]),
)  # fmt: skip
def test_any_keys_for_long(keys: list[list[str]], start: str) -> None:
    tried([key for some in keys for key in some], start)


@settings(deadline=None, max_examples=20, derandomize=True)
@given(
    st.sampled_from(["size", "stitches_per_inch", "momme", "label_text", "maker", "printed_year",
                     "acquired", "known", "id", "note", "fibre", "origin", "nonsense"]),
    st.one_of(st.text(max_size=30), st.sampled_from(["1e999", "-1", "nan", "0x0", "=1+1", "{}", '{"silk": 2}'])),
)  # fmt: skip
def test_any_text(clue: str, text: str) -> None:
    with TemporaryDirectory() as name:
        sorting = table(Path(name))
        before = sorting.screen()
        screen = sorting.note(clue, text)
        if screen.messages:
            assert all(message.strip() for message in screen.messages)
        json.dumps(screen.to_dict())
        assert sorting.undo().piece == before.piece


@pytest.mark.parametrize(
    "verb", ["choose", "note", "open", "clear", "method", "doubt", "to_tray", "press"]
)
@pytest.mark.parametrize("value", [None, 5, [], {}, float("nan"), "\ud800", "x" * 100_000, b"f"])
def test_bad_calls_are_messages(tmp_path: Path, verb: str, value: object) -> None:
    sorting = table(tmp_path)
    before = sorting.screen().piece
    call = getattr(sorting, verb)
    screen = call(value, value) if verb in ("choose", "note", "method", "doubt") else call(value)
    assert screen.piece == before
