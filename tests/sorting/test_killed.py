"""A killed kernel: the sheet is whole, and what lay on the table lies there again."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

from scarfdate import ScarfdateError
from scarfdate.sorting import journal as journal_module
from scarfdate.sorting import sheet as sheet_module
from tests.sorting.table import keys, play, rows, table

JOURNAL = "stock.csv.on-the-table.json"


class Killed(BaseException):
    """Nothing that a program catches."""


def test_a_piece_in_hand_lies_there_again(tmp_path: Path) -> None:
    before = play(table(tmp_path), keys("fs<ArrowRight>hh..z90 x 90 cm<Enter>=om"))
    after = table(tmp_path).screen()
    assert after.messages == ("Taken up where it was left.",)
    assert (after.piece, after.other, after.hand) == (before.piece, before.other, before.hand)
    assert [clue.noted for clue in after.clues] == [clue.noted for clue in before.clues]


def test_trays_and_the_way_back_are_there_again(tmp_path: Path) -> None:
    play(table(tmp_path), keys("fs<Enter>fw2fc"))
    again = table(tmp_path)
    assert again.screen().written == 2 and again.screen().trays[1].count >= 1
    play(again, keys("<Backspace>"))
    assert [row["fibre"] for row in rows(tmp_path / "stock.csv")] == ["silk"]
    screen = again.press("Backspace")
    assert screen.written == 0 and dict(screen.piece.noted) == {"fibre": "silk"}
    assert not rows(tmp_path / "stock.csv")
    assert "nothing to take back" in again.press("Backspace").messages[0]


def test_nothing_is_left_beside_the_sheet_when_nothing_lies_on_the_table(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    play(sorting, keys("fs"))
    assert (tmp_path / JOURNAL).exists()
    play(sorting, keys("<Backspace>"))
    assert not [*tmp_path.iterdir()]


@pytest.mark.parametrize(
    "key",
    [
        "Backspace",
        *(pytest.param(key, marks=pytest.mark.slow) for key in ("Enter", "1", "f", "=")),
    ],
)
def test_killed_at_any_write_it_is_as_before_or_as_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    """Killed before, in the middle of and after each write of one step, the way back of a written row among them."""
    start = keys("fs<Enter>fwhh") if key != "Backspace" else keys("fs<Enter>fw<Enter>")
    whole = tmp_path / "whole"
    whole.mkdir()
    sorting = table(whole)
    play(sorting, start)
    outcomes = [_state(whole)]
    play(sorting, [key, "s"] if key == "f" else [key])
    outcomes.append(_state(whole))
    assert outcomes[0] != outcomes[1]
    found = set()
    for moment in ("before", "within", "after"):
        for at in range(1, 4):
            folder = tmp_path / f"{moment}{at}"
            folder.mkdir()
            with monkeypatch.context() as patch:
                sorting = table(folder)
                play(sorting, start)
                _kill_at(patch, at, moment)
                with suppress(Killed):
                    play(sorting, [key, "s"] if key == "f" else [key])
            state = _state(folder)
            assert state in outcomes, (moment, at)
            found.add(outcomes.index(state))
    assert found == {0, 1}  # some of the kills came in time, some did not


def _state(folder: Path) -> object:
    """What is on the sheet and on the table when it is opened again."""
    screen = table(folder).screen()
    pieces = (screen.piece, screen.other, screen.hand)
    return rows(folder / "stock.csv"), pieces, [tray.count for tray in screen.trays]


def _kill_at(patch: pytest.MonkeyPatch, at: int, moment: str) -> None:
    """The process ends at its ``at``-th write."""
    count = [0]
    replace_, unlink = os.replace, Path.unlink

    def doing(act, *args, **more):
        count[0] += 1
        if count[0] > at or (count[0] == at and moment != "after"):
            raise Killed
        done = act(*args, **more)
        if count[0] == at:
            raise Killed
        return done

    if moment == "before":
        for module in (journal_module, sheet_module):
            write = module.exchange
            patch.setattr(module, "exchange", lambda *a, w=write: doing(w, *a))
    else:
        patch.setattr(os, "replace", lambda *a: doing(replace_, *a))
        patch.setattr(Path, "unlink", lambda self, **more: _tidy(self, unlink, doing, more))


def _tidy(path: Path, unlink, doing, more) -> None:
    """A file half written is left lying, as by a process that is gone; one of ours counts as a write."""
    if not path.name.startswith("."):
        doing(unlink, path, **more)


@pytest.mark.slow
def test_a_process_that_is_killed_loses_nothing(tmp_path: Path) -> None:
    """In a process of its own, killed by the system while it sorts."""
    code = (
        "import itertools, sys\n"
        "from tests.sorting.table import keys, table\n"
        "from pathlib import Path\n"
        "sorting = table(Path(sys.argv[1]))\n"
        "for key in itertools.cycle(keys('fs<Enter>fwhh<Enter><Backspace><Enter>')):\n"
        "    sorting.press(key)\n"
        "    print(key, flush=True)\n"
    )
    run = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE, cwd=Path(__file__).parents[2]
    )  # fmt: skip
    assert run.stdout is not None
    for _ in range(20):
        run.stdout.readline()
    time.sleep(0.013)
    run.send_signal(signal.SIGKILL)
    run.wait()
    written = rows(tmp_path / "stock.csv")
    assert written and all(row["fibre"] in ("silk", "wool") for row in written)
    assert len({row["id"] for row in written}) == len(written)
    screen = table(tmp_path).screen()
    assert screen.written == len(written)


def test_two_tables_on_one_sheet_are_told(tmp_path: Path) -> None:
    first, second = table(tmp_path), table(tmp_path)
    play(first, keys("fs"))
    screen = play(second, keys("fw"))
    assert "another sorting table is open" in screen.messages[0]
    assert not first.press("ArrowRight").messages
    play(second, ["Enter"])
    play(first, ["Enter"])
    written = rows(tmp_path / "stock.csv")
    assert [row["fibre"][:5] for row in written] == ["wool", '{"sil']
    assert [row["id"] for row in written] == ["1", "2"]


@pytest.mark.parametrize(
    "content",
    [
        "", "{}", "[1]", "null", '{"format": 99}', '{"format": 1}', '{"format": 1, "now": 5}', "{" * 5000,
        '{"format": 1, "now": {"pieces": [], "held": 0, "trays": [], "filed": []}}',
        '{"format": 1, "now": {"pieces": [[5]], "held": 0, "trays": [0,0,0,0,0], "filed": []}}',
        '{"format": 1, "now": {"pieces": [[]], "held": 1, "trays": [0,0,0,0,0], "filed": []}}',
        '{"format": 1, "now": {"pieces": [[]], "held": 0, "trays": [-1], "filed": []}}',
        '{"format": 1, "now": {"pieces": [[]], "held": 0, "trays": [0,0,0,0,0], "filed": [7]}}',
        '{"format": 1, "now": {"pieces": [[]], "held": 0, "trays": [0,0,0,0,0], "filed": []}, "pending": {}}',
    ],
)  # fmt: skip
def test_a_file_that_is_no_journal_is_left_alone_and_named(tmp_path: Path, content: str) -> None:
    path = tmp_path / JOURNAL
    path.write_text(content, encoding="utf-8")
    with pytest.raises(ScarfdateError, match="move it elsewhere"):
        table(tmp_path)
    assert path.read_text(encoding="utf-8") == content


def test_what_other_tables_cannot_read_is_left_out_and_told(tmp_path: Path) -> None:
    play(table(tmp_path), keys("fshh"))
    path = tmp_path / JOURNAL
    value = json.loads(path.read_text(encoding="utf-8"))
    piece = value["now"]["pieces"][0]
    piece[0]["word"] = "moonsilk"
    piece.append({"clue": "no such clue", "word": "x", "doubt": 0.0, "method": ""})
    piece.append({"clue": "weave", "word": "twill", "doubt": 0.5, "method": "sniffing"})
    path.write_text(json.dumps(value), encoding="utf-8")
    screen = table(tmp_path).screen()
    assert screen.piece.noted == (("hem", "hand-rolled"),)
    assert any("left out" in message for message in screen.messages)


def test_where_the_journal_cannot_be_written_the_work_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, before: bytes | None, after: bytes | None) -> bool:
        raise OSError(28, "No space left on device")

    sorting = table(tmp_path)
    monkeypatch.setattr(journal_module, "exchange", full)
    screen = play(sorting, keys("fs"))
    assert screen.messages == (
        "Take care: what is in hand cannot be kept beside the sheet (No space left on device).",
    )
    assert dict(screen.piece.noted) == {"fibre": "silk"}
    monkeypatch.setattr(sheet_module, "exchange", full)
    screen = sorting.press("Enter")
    assert any("the piece stays in hand" in message for message in screen.messages)
    assert dict(screen.piece.noted) == {"fibre": "silk"} and screen.written == 0
