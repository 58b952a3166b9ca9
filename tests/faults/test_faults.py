"""Every scenario of `scenarios` through all that may go wrong: the old or the new, told in words, no rubbish left.

What is tried here is `tests.faults.faults`; ``python -m tests.faults`` adds 100 kills at random moments a scenario and
more steps of each call.
"""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from scarfdate import load_priors, read_sold, years
from scarfdate.reading.written import write_table
from scarfdate.sorting.sheet import StockSheet
from tests.faults.faults import comma_locale, in_a_folder, other_names
from tests.faults.scenarios import SCENARIOS, Scenario, warm
from tests.sorting.table import keys, play, rows, table

ROOT = Path(__file__).parents[2]
BY_NAME = {scenario.name: scenario for scenario in SCENARIOS}
# the quickest of those that write a file, a folder that is new, one that is there, and of those that go on with one
QUICK = ("information", "prices", "build-priors", "sorting")


@pytest.fixture(scope="module", autouse=True)
def _read_once() -> None:
    warm()


def tried(scenario: Scenario, *ways: str) -> None:
    with in_a_folder(scenario) as one:
        for way in ways:
            getattr(one, way)()
        assert not one.tally.wrong, "\n".join(one.tally.wrong)
        assert one.tally.faults >= len(ways)


@pytest.mark.parametrize("name", QUICK)
def test_what_may_go_wrong_on_a_disk(name: str) -> None:
    tried(BY_NAME[name], "full_disk", "without_rights", "other_things")


# one of each kind of writer with the slow tests, all by `python -m tests.faults` or -m long
SLOW = ("date, .csv", "date, in parts", "prices", "practice")
ALL = [
    pytest.param(name, marks=pytest.mark.slow if name in SLOW else pytest.mark.long)
    for name in BY_NAME
]


@pytest.mark.parametrize("name", ALL)
def test_whatever_goes_wrong_it_is_the_old_or_the_new(name: str) -> None:
    with in_a_folder(BY_NAME[name]) as one:
        one.killed_at_steps(at_most=4)
        one.fails_at_steps(at_most=3)
        for way in (
            one.full_disk,
            one.without_rights,
            one.other_things,
            one.inputs_vanish,
            one.two_at_once,
        ):
            way()
        for way in (one.clock, one.ascii_only, one.full_output, one.line_ends):
            way()
        assert not one.tally.wrong, "\n".join(one.tally.wrong)
        assert one.tally.inside or one.tally.kills < 3, "no kill came while it wrote"


@pytest.mark.slow
def test_a_disk_that_is_full() -> None:
    """A real one, where one may be mounted."""
    with in_a_folder(BY_NAME["prices"]) as one:
        if not one.really_full_disk():
            pytest.skip(
                "no disk may be mounted here; a bound on the size of files stands for it elsewhere"
            )
        assert not one.tally.wrong, "\n".join(one.tally.wrong)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["date, .csv", "prices", "sorting", "describe, .md"])
def test_decimal_commas_and_names_of_other_scripts(name: str) -> None:
    with in_a_folder(BY_NAME[name]) as one:
        other_names(BY_NAME[name], one.tally)
        with comma_locale() as made:
            if made is not None:
                one.commas(*made)
        assert not one.tally.wrong, "\n".join(one.tally.wrong)
    if made is None:
        pytest.skip(
            "no locale with decimal commas can be made here (Debian: apt-get install locales)"
        )


def test_a_planted_fault_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """A writer that is not whole, one that leaves something beside, and one that says nothing of a full disk."""
    from scarfdate import files

    scenario = BY_NAME["information"]

    def bare(path: Path, content: bytes, new: bool = False) -> None:
        with path.open("wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())

    with in_a_folder(scenario) as one:
        monkeypatch.setattr(files, "_put", bare)
        one.killed_at_steps()
        assert one.tally.half and "neither old nor new" in one.tally.wrong[0]
        monkeypatch.undo()
    with in_a_folder(scenario) as one:
        monkeypatch.setattr(files, "_remove", lambda path: None)
        one.full_disk()
        assert any("lies there" in wrong for wrong in one.tally.wrong)


# ------------------------------------------------------------------------------- two who sort at once


def _adds(folder: str, who: str, number: int, start) -> None:
    sheet = StockSheet(Path(folder) / "stock.csv", load_priors(), ("id", "fibre", "note"))
    start.wait()
    for at in range(number):
        told = sheet.add({"id": f"{who}{at}", "fibre": "silk", "note": who})
        assert "not written" not in told


def test_two_who_write_rows_at_once_lose_none(tmp_path: Path) -> None:
    context, number = multiprocessing.get_context("fork"), 40
    start = context.Barrier(2)
    both = [context.Process(target=_adds, args=(str(tmp_path), who, number, start)) for who in "ab"]
    for one in both:
        one.start()
    for one in both:
        one.join()
        assert one.exitcode == 0
    found = [row["id"] for row in rows(tmp_path / "stock.csv")]
    assert sorted(found) == sorted(f"{who}{at}" for who in "ab" for at in range(number))
    first = [name for name in found if name[0] == "a"]
    assert first == [f"a{at}" for at in range(number)]  # each in the order in which she wrote
    assert [p.name for p in tmp_path.iterdir()] == ["stock.csv"]


def _sorts(folder: str, number: int, start, written) -> None:
    sorting = table(Path(folder))
    start.wait()
    for _ in range(number):
        screen = play(sorting, keys("fs<Enter>"))
        with written.get_lock():
            written.value += " written, " in screen.said


@pytest.mark.slow
def test_two_tables_at_once_lose_no_row_that_they_say_is_written(tmp_path: Path) -> None:
    """Two sorters on one sheet, a mistake of which both are told: what either was told is written is on it."""
    context = multiprocessing.get_context("fork")
    start, written = context.Barrier(2), context.Value("i", 0)
    both = [
        context.Process(target=_sorts, args=(str(tmp_path), 15, start, written)) for _ in range(2)
    ]
    for one in both:
        one.start()
    for one in both:
        one.join()
        assert one.exitcode == 0
    assert len(rows(tmp_path / "stock.csv")) == written.value > 0


# ------------------------------------------------------------------------------- clocks, locales, elsewhere


def test_a_clock_that_was_set_back_cuts_off_no_years(monkeypatch: pytest.MonkeyPatch) -> None:
    class Early(date):
        @classmethod
        def today(cls) -> date:
            return date(1970, 1, 1)

    monkeypatch.setattr(years, "date", Early)
    assert years.checked_as_of(None) >= 2026
    sold = pd.DataFrame(
        [{"known": "1990", "known_by": "receipt", "sold_on": "2025-05-01", "fibre": "silk"}]
    )
    records = read_sold(sold)
    assert len(records) == 1 and records.sales["sold_on"].notna().all()


def test_nothing_is_written_elsewhere(tmp_path: Path) -> None:
    """Spreadsheets are made in memory: no part of one may lie in the folder for temporary files of the system."""
    opened: list[str] = []
    watching = [True]

    def heard(event: str, args: tuple[object, ...]) -> None:
        if (
            watching[0]
            and event == "open"
            and isinstance(args[2], int)
            and args[2] & (os.O_WRONLY | os.O_RDWR)
            and "__pycache__" not in str(args[0])  # what Python keeps of modules, if it may
            and not isinstance(args[0], int)  # what is open already, such as a pipe of the runner
        ):
            opened.append(str(args[0]))

    sys.addaudithook(heard)
    try:
        for ending in ("csv", "xlsx", "json", "parquet"):
            write_table(pd.DataFrame({"fibre": ["silk"]}), tmp_path / f"dated.{ending}")
    finally:
        watching[0] = False
    assert len(opened) >= 4
    assert all(Path(name).parent == tmp_path for name in opened), opened


@pytest.mark.slow
def test_in_the_plainest_locale(tmp_path: Path) -> None:
    """A real process with LC_ALL=C and an ASCII terminal, in a folder and with a file of other letters."""
    folder = tmp_path / "Шарфы 圍巾"
    folder.mkdir()
    (folder / "запас.csv").write_text("id,fibre,note\n1,silk,Fuß\n", encoding="utf-8")
    environment = {**os.environ, "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    ended = subprocess.run(
        [sys.executable, "-m", "scarfdate.cli", "date", "запас.csv", "--out", "датировано.csv", "--sentences"],
        cwd=folder, env=environment | {"PYTHONPATH": str(ROOT)}, capture_output=True, check=False,
    )  # fmt: skip
    assert ended.returncode == 0 and b"Traceback" not in ended.stderr, ended.stderr
    assert "Fuß" in (folder / "датировано.csv").read_text(encoding="utf-8")
    assert sorted(p.name for p in folder.iterdir()) == ["датировано.csv", "запас.csv"]
