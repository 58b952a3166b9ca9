"""`scarfdate date` of a long file: the same file as in one piece, and a bar that says how long it will take."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from scarfdate.cli import cli
from scarfdate.cli import long_file as module
from scarfdate.streaming import date_file

STOCK = str(Path(__file__).parents[2] / "data" / "stock.csv")
ASKED = ["date", STOCK, "--as-of", "2026", "--quiet"]


def test_in_parts_as_in_one_piece(tmp_path: Path) -> None:
    one, other = tmp_path / "one.csv", tmp_path / "other.csv"
    at_once = CliRunner().invoke(cli, [*ASKED, "--out", str(one)])
    in_parts = CliRunner().invoke(cli, [*ASKED, "--out", str(other), "--processes", "1"])
    assert at_once.exit_code == in_parts.exit_code == 0, in_parts.output
    assert one.read_bytes() == other.read_bytes()
    assert "dated, 0 not read" in in_parts.output


def test_a_long_file_goes_in_parts_by_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "_LONG", 100)
    monkeypatch.setattr(module.os, "sched_getaffinity", lambda _: {0}, raising=False)
    found = CliRunner().invoke(cli, [*ASKED, "--out", str(tmp_path / "out.jsonl")])
    assert found.exit_code == 0
    assert "Written to" in found.output
    assert (tmp_path / "out.jsonl").read_text().count("\n") == 60


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_the_bar_tells_rows_a_second_and_the_time_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While parts are read ahead, the share told is that of what is dated: the total is that of the file."""
    monkeypatch.setattr(date_file, "_LEAST", 12)
    monkeypatch.setattr(date_file, "_MOST", 12)
    monkeypatch.setattr(module.sys, "stderr", shown := Terminal())
    out = str(tmp_path / "out.csv")
    module.date_long(STOCK, out, memory=None, processes=1, as_of=2026, force=True)
    drawn = re.findall(r"(\d+)%\|[^|]*\| (\d+)/(\d+) \[([^]]*)\]", shown.getvalue())
    assert drawn, shown.getvalue()
    for _, done, total, times in drawn:
        assert 0 < int(done) <= 60
        assert int(total) >= int(done)
        assert re.fullmatch(r"\d\d:\d\d<(\d\d:\d\d|\?), +[\d.?]+( rows/s|s/ rows)", times), times


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--processes", "2"], "go with --out"),
        (["--processes", "0", "--out", "out.csv"], "processes"),
        (["--memory", "3", "--out", "out.csv"], "memory"),
        (["--memory", "300", "--out", "out.csv", "--sort", "year"], "has no --sheet"),
    ],
)
def test_what_does_not_go_together(more: list[str], said: str) -> None:
    found = CliRunner().invoke(cli, [*ASKED, *more])
    assert found.exit_code == 2
    assert said in found.output


def test_a_cell_that_is_not_read_is_the_exit_code(tmp_path: Path) -> None:
    source = tmp_path / "in.csv"
    source.write_text("id,fibre\n1,silk\n2,no such fibre\n")
    asked = ["date", str(source), "--out", str(tmp_path / "out.csv"), "--processes", "1"]
    found = CliRunner().invoke(cli, asked)
    assert found.exit_code == 1
    assert "2 pieces: 2 dated, 0 not read, 1 with a warning." in found.output


@pytest.mark.parametrize(
    ("megabytes", "cores", "wanted"),
    [(125, 8, 1), (400, 2, 1), (500, 2, 2), (500, 8, 2), (800, 8, 4), (2000, 4, 4)],
)
def test_as_many_processes_as_have_room(megabytes: int, cores: int, wanted: int) -> None:
    """With little room for each, two are slower than one: `python -m tests.benchmarks.streaming`."""
    assert date_file.of_use(megabytes * 1_000_000, cores) == wanted
