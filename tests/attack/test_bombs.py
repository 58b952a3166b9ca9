"""Files that unfold, lie, or are no files: refused in words, within a second a megabyte and memory in proportion.

Each is read in a process of its own under a bound on its memory; one that hangs or dies is told from one that refuses.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from scarfdate.files import open_plain
from scarfdate.reading.files import read_table
from tests.attack import bombs
from tests.attack.bombs import BOMBS
from tests.attack.measured import Cost, cost, size_of

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="bounds as Linux sets them")
FLAT, A_BYTE = (
    160 * 2**20,
    40,
)  # bytes of memory that any refusal may take, and for each of the file
A_MESSAGE = 20_000
CASES = [
    pytest.param(name, marks=pytest.mark.slow if one.slow else ()) for name, one in BOMBS.items()
]


def test_the_files_are_read_where_nothing_is_wrong_with_them(tmp_path: Path) -> None:
    """The same packages without a bomb: what is refused below is refused for the bomb."""
    sheet = bombs.xlsx(tmp_path / "a.xlsx", bombs.SHEET.format(bombs.ROWS))
    assert read_table(sheet).values.tolist() == [["silk", "raw"]]
    page = bombs.ods(tmp_path / "a.ods", bombs.ODS.format(bombs.ods_rows("fibre", "silk")))
    assert read_table(page).values.tolist() == [["silk"]]


@pytest.mark.sampled(36)
@pytest.mark.parametrize("name", CASES)
def test_it_is_refused_and_costs_little(name: str, tmp_path: Path) -> None:
    bomb = BOMBS[name]
    path = tmp_path / f"bomb{bomb.ending}"
    bomb.make(path)
    size = size_of(path)
    found = cost(name, path)
    assert found.ended == "refused" or (bomb.fine and found.ended == "read"), found
    assert len(found.said) < A_MESSAGE
    assert found.seconds < 1 + size / 2**20, found
    assert found.peak < FLAT + A_BYTE * size, found


def test_what_hangs_and_what_dies_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.attack.measured.SECONDS", 0.2)
    assert cost("hangs", tmp_path).ended == "hung"
    monkeypatch.setattr("tests.attack.measured.SECONDS", 20.0)
    assert cost("eats", tmp_path).ended == "MemoryError"
    assert isinstance(cost("dies", tmp_path), Cost) and cost("dies", tmp_path).ended == "died"


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", tmp_path, Path("/dev/zero")):
        with pytest.raises(OSError, match="no file"):
            open_plain(path)
