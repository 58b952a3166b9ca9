"""A file dated in parts is the file dated whole, to the bit; a run that was killed is taken up, and nothing is done twice."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from scarfdate import ScarfdateError, TableError, date_file, date_table, load_priors, simulate
from scarfdate.answer.again import beside
from scarfdate.answer.date import COLUMNS, ON_REQUEST
from scarfdate.model.room import give_back, taken
from scarfdate.reading.files import read_table
from scarfdate.streaming import date_file as module
from scarfdate.streaming import processes
from scarfdate.streaming.folder import folder_of
from scarfdate.streaming.work import Job, Part

AS_OF = 2026
STOCK = Path(__file__).parents[2] / "data" / "stock.csv"
NAMES = [*COLUMNS[:-3], *ON_REQUEST, *COLUMNS[-3:]]


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Chunks of seven rows, so that the demo's stock has several."""
    monkeypatch.setattr(module, "_LEAST", 7)
    monkeypatch.setattr(module, "_MOST", 7)


def whole(source: Path) -> pd.DataFrame:
    """The same file read and dated at once."""
    frame = read_table(source)
    return beside(frame, date_table(frame, as_of=AS_OF, columns=NAMES))


def written(frame: pd.DataFrame, path: Path) -> Path:
    if path.suffix == ".csv":
        frame.to_csv(path, index=False)
    elif path.suffix == ".jsonl":
        frame.to_json(path, orient="records", lines=True, force_ascii=False)
    else:
        frame.to_parquet(path, index=False)
    return path


@pytest.fixture(scope="module")
def stock() -> pd.DataFrame:
    """The demo's stock, with ids that repeat near and far, a cell that cannot be read, and one that is a formula."""
    frame = pd.read_csv(STOCK, dtype=str, keep_default_na=False)
    frame["note_mine"] = ["=1+1", *[""] * (len(frame) - 1)]
    frame.loc[9, "id"] = frame.loc[8, "id"]
    frame.loc[20, "id"] = frame.loc[0, "id"]
    frame.loc[3, "hem"] = "no such hem"
    return frame


@pytest.mark.usefixtures("short")
@pytest.mark.parametrize("ending", [".csv", ".jsonl", ".parquet"])
def test_the_answer_is_that_of_the_whole(stock: pd.DataFrame, tmp_path: Path, ending: str) -> None:
    source = written(stock, tmp_path / f"in{ending}")
    out = tmp_path / f"out{ending}"
    done = date_file(source, out, as_of=AS_OF)
    wanted = whole(source)
    found = read_table(out)
    if ending == ".csv":
        wanted["note_mine"] = wanted["note_mine"].where(wanted["note_mine"] != "=1+1", "'=1+1")
    assert found.columns.tolist() == wanted.columns.tolist()
    whole_out = tmp_path / f"whole{ending}"
    from scarfdate.reading.written import write_table

    write_table(whole(source), whole_out)
    pd.testing.assert_frame_equal(found, read_table(whole_out))
    assert (done.rows, done.bad) == (len(stock), 0)
    assert done.odd == int((wanted["warnings"].notna() | wanted["not_read"].notna()).sum())
    assert found["warnings"].str.contains("is the id of an earlier row").sum() == 2
    assert f"{len(stock)} pieces: {len(stock)} dated" in str(done)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
        [source.name, out.name, whole_out.name]
    )


@pytest.mark.usefixtures("short")
def test_bytes_of_a_csv_are_those_of_the_whole(stock: pd.DataFrame, tmp_path: Path) -> None:
    from scarfdate.reading.written import write_table

    source = written(stock, tmp_path / "in.csv")
    date_file(source, tmp_path / "a.csv", as_of=AS_OF, mark=True)
    write_table(whole(source), tmp_path / "b.csv", mark=True)
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()


@pytest.mark.usefixtures("short")
def test_headings_of_her_own_under_a_title(stock: pd.DataFrame, tmp_path: Path) -> None:
    own = stock[["id", "fibre", "hem"]].rename(
        columns={"fibre": "Stoff", "hem": "Saum", "id": "Nr"}
    )
    source = tmp_path / "in.csv"
    source.write_text("My scarves;;\n" + own.to_csv(index=False, sep=";"), encoding="utf-8")
    done = date_file(
        source,
        tmp_path / "out.csv",
        as_of=AS_OF,
        columns={"fibre": "Stoff", "hem": "Saum", "id": "Nr"},
    )
    found = read_table(tmp_path / "out.csv")
    alone = date_table(stock[["id", "fibre", "hem"]], as_of=AS_OF)
    assert found["sentence"].tolist() == alone["sentence"].tolist()
    assert done.remarks == ("the headings were found in line 2",)


@pytest.mark.usefixtures("short")
def test_a_run_that_ended_early_is_taken_up(
    stock: pd.DataFrame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, out = written(stock, tmp_path / "in.csv"), tmp_path / "out.csv"

    def stopped(done: int, share: float) -> None:
        assert 0 <= share <= 1
        if done >= 21:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        date_file(source, out, as_of=AS_OF, progress=stopped)
    assert not out.exists()
    asked: list[int] = []
    ask = processes.do
    monkeypatch.setattr(
        processes, "do", lambda job, number, *rest: asked.append(number) or ask(job, number, *rest)
    )
    done = date_file(source, out, as_of=AS_OF)
    assert done.resumed == 21
    assert min(asked) == 3  # of chunks 0 to 2 nothing was done again
    assert done.rows == len(stock)
    date_file(source, tmp_path / "again.csv", as_of=AS_OF)
    assert out.read_bytes() == (tmp_path / "again.csv").read_bytes()
    assert not folder_of(out).exists()


def _cut(part: Path, elsewhere: Path) -> None:
    del elsewhere
    part.write_bytes(part.read_bytes()[:-200])


def _renamed(part: Path, elsewhere: Path) -> None:
    del elsewhere
    part.rename(part.with_name(part.name.replace("-7-", "-9-", 1)))


def _linked(part: Path, elsewhere: Path) -> None:
    kept = part.read_bytes()
    part.unlink()
    (elsewhere.parent / "same").write_bytes(kept)
    part.symlink_to(elsewhere.parent / "same")


def _copied(part: Path, elsewhere: Path) -> None:
    """The whole folder comes from elsewhere."""
    import shutil

    folder = part.parent
    shutil.copytree(folder, elsewhere.parent / "sent")
    folder.rename(elsewhere.parent / "was")
    shutil.move(elsewhere.parent / "sent", folder)


CHANGED = {
    "replaced": (7, lambda part, _: part.write_text("HACK,=cmd|x,,,\n")),
    "cut": (7, _cut),
    "of other counts": (7, _renamed),
    "a link": (7, _linked),
    "a folder": (7, lambda part, _: (part.unlink(), part.mkdir())),
    "`whole` is a link": (0, lambda part, other: (part.parent / "whole").symlink_to(other)),
    "the job is a link": (
        21,
        lambda part, _: (
            (part.parent / "job.json").rename(part.parent / "j"),
            (part.parent / "job.json").symlink_to(part.parent / "j"),
        ),
    ),
    "sent": (21, _copied),
}


@pytest.mark.slow
@pytest.mark.usefixtures("short")
@pytest.mark.parametrize("changed", CHANGED)
def test_a_part_that_is_not_as_it_was_written_is_dated_anew(
    stock: pd.DataFrame, tmp_path: Path, changed: str
) -> None:
    (tmp_path / "work").mkdir()
    source, out = written(stock, tmp_path / "in.csv"), tmp_path / "work" / "out.csv"

    def stopped(done: int, share: float) -> None:
        del share
        if done >= 21:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        date_file(source, out, as_of=AS_OF, progress=stopped)
    (tmp_path / "hers.txt").write_bytes(b"hers")
    lost, change = CHANGED[changed]
    change(min(folder_of(out).glob("*.csv")), tmp_path / "hers.txt")
    done = date_file(source, out, as_of=AS_OF)
    assert done.resumed == 21 - lost and done.rows == len(stock)
    date_file(source, tmp_path / "peace.csv", as_of=AS_OF)
    assert out.read_bytes() == (tmp_path / "peace.csv").read_bytes() and not out.is_symlink()
    assert (tmp_path / "hers.txt").read_bytes() == b"hers"
    assert [path.name for path in out.parent.iterdir()] == [out.name]


@pytest.mark.usefixtures("short")
@pytest.mark.parametrize("other", ["the file", "the year", "the priors"])
def test_parts_of_another_run_are_not_taken(
    stock: pd.DataFrame, tmp_path: Path, other: str, moved: Any
) -> None:
    source, out = written(stock, tmp_path / "in.csv"), tmp_path / "out.csv"

    def stopped(done: int, share: float) -> None:
        del share
        if done >= 14:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        date_file(source, out, as_of=AS_OF, progress=stopped)
    asked: dict[str, Any] = {"as_of": AS_OF}
    if other == "the file":
        written(stock.assign(hem=""), source)
    elif other == "the year":
        asked["as_of"] = 2020
    else:
        asked["priors"] = moved
    done = date_file(source, out, **asked)
    assert done.resumed == 0
    frame = read_table(source)
    alone = date_table(frame, **asked)
    assert read_table(out)["edtf"].tolist() == alone["edtf"].tolist()


@pytest.fixture(scope="module")
def moved(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The shipped tables with a blank line more: they say the same and have another hash."""
    import shutil

    folder = tmp_path_factory.mktemp("mine") / "priors"
    shutil.copytree(Path(load_priors().folder), folder)
    slips = folder / "slips.csv"
    slips.write_text(slips.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    return load_priors(folder)


@pytest.mark.usefixtures("short")
def test_two_processes_answer_as_one(stock: pd.DataFrame, tmp_path: Path) -> None:
    source = written(stock, tmp_path / "in.csv")
    date_file(source, tmp_path / "one.csv", as_of=AS_OF)
    date_file(source, tmp_path / "two.csv", as_of=AS_OF, processes=2)
    assert (tmp_path / "one.csv").read_bytes() == (tmp_path / "two.csv").read_bytes()


@pytest.mark.slow
@pytest.mark.usefixtures("short")
def test_a_process_that_is_killed_costs_no_part_that_was_done(
    stock: pd.DataFrame, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One of two is killed (as the system does for want of memory): said in words, and taken up afterwards."""
    source, out = written(stock, tmp_path / "in.csv"), tmp_path / "out.csv"
    do = processes.do

    def killing(job: Job, *chunk: Any) -> Part:
        """What this process does itself, and the other is killed meanwhile."""
        part = do(job, *chunk)
        for child in multiprocessing.active_children():
            os.kill(child.pid or 0, signal.SIGKILL)
        return part

    with monkeypatch.context() as patched:
        patched.setattr(processes, "do", killing)
        with pytest.raises(ScarfdateError, match="was killed, perhaps for want of memory"):
            date_file(source, out, as_of=AS_OF, processes=2)
    assert not out.exists()
    done = date_file(source, out, as_of=AS_OF, processes=2)
    assert 0 < done.resumed < done.rows == len(stock)
    date_file(source, tmp_path / "one.csv", as_of=AS_OF)
    assert out.read_bytes() == (tmp_path / "one.csv").read_bytes()


KILLED = """
import sys
from scarfdate import date_file
from scarfdate.streaming import date_file as module
from scarfdate.streaming import processes
module._LEAST = module._MOST = 200
date_file(sys.argv[1], sys.argv[2], as_of=2026, progress=lambda done, share: print(done, flush=True))
"""


@pytest.mark.slow
def test_killed_and_taken_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SIGKILL, which no program can hear, in the midst of 20 parts; the bytes are those of a run in peace."""
    pieces = simulate(None, 4000, np.random.default_rng(5), as_of=AS_OF).frame()
    source, out = written(pieces, tmp_path / "in.csv"), tmp_path / "out.csv"
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(source), str(out)], stdout=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        while int(run.stdout.readline()) < 1000:
            pass
        time.sleep(0.05)
        os.kill(run.pid, signal.SIGKILL)
    assert not out.exists()
    monkeypatch.setattr(module, "_LEAST", 200)
    monkeypatch.setattr(module, "_MOST", 200)
    done = date_file(source, out, as_of=AS_OF)
    assert 1000 <= done.resumed < 4000
    assert done.rows == 4000
    date_file(source, tmp_path / "peace.csv", as_of=AS_OF)
    assert out.read_bytes() == (tmp_path / "peace.csv").read_bytes()


@pytest.mark.usefixtures("short")
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the file is empty"),
        ("fibre,hem\n", "not one row under it"),
        ("fibre,hem\nsilk,raw\nsilk,raw,raw\n", "too many cells"),
        ("fibre,fibre\nsilk,raw\n", "stands there twice"),
        ("a,b\n1,2\n", "is not known|no column"),
        ("fibre,hem\n" + "silk,raw\n" * 20 + 'silk,"raw\n', "never closed"),
        ("fibre,hem\nsilk,r\udc81w\n", "not UTF-8"),
    ],
)
def test_a_file_that_cannot_be_taken_in_leaves_nothing(
    tmp_path: Path, text: str, said: str
) -> None:
    source = tmp_path / "in.csv"
    source.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(TableError, match=said):
        date_file(source, tmp_path / "out.csv")
    assert not (tmp_path / "out.csv").exists()


def test_a_name_that_only_a_late_record_has(tmp_path: Path) -> None:
    source = tmp_path / "in.jsonl"
    records = [{"fibre": "silk"}] * 3 + [
        {"fibre": "silk", "hem": "hand-rolled", "note": {"a": [1]}}
    ]
    source.write_text("".join(json.dumps(one) + "\n" for one in records))
    date_file(source, tmp_path / "out.csv", as_of=AS_OF)
    found = read_table(tmp_path / "out.csv")
    assert found["hem"].tolist() == ["", "", "", "hand-rolled"]
    source.write_text('{"fibre": "silk"}\n[1]\n')
    with pytest.raises(TableError, match="line 2: names and values"):
        date_file(source, tmp_path / "other.csv")


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"processes": 0}, "processes"),
        ({"processes": "two"}, "processes"),
        ({"memory": 10}, "memory"),
        ({"memory": float("nan")}, "memory"),
        ({"on_error": "raise"}, "on_error"),
        ({"answers": ["nothing"]}, "is no column"),
        ({"unit": "furlong"}, "unit"),
        ({"level": 2}, "level"),
        ({"encoding": "klingon"}, "not known"),
        ({"columns": 3}, "columns"),
    ],
)
def test_what_is_not_allowed(tmp_path: Path, asked: dict[str, Any], said: str) -> None:
    with pytest.raises(ScarfdateError, match=said):
        date_file(STOCK, tmp_path / "out.csv", **asked)


@pytest.mark.parametrize("out", ["out.xlsx", "out.json", "out", ".", "no/such/out.csv"])
def test_where_it_cannot_be_written(tmp_path: Path, out: str) -> None:
    with pytest.raises(ScarfdateError):
        date_file(STOCK, tmp_path / out)


def test_what_is_there_is_not_written_over(tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    out.write_text("mine")
    with pytest.raises(ScarfdateError, match="is there already"):
        date_file(STOCK, out)
    date_file(STOCK, out, force=True)
    other = folder_of(tmp_path / "other.csv")
    other.mkdir()
    (other / "hers.txt").write_text("mine")
    with pytest.raises(ScarfdateError, match="in the way"):
        date_file(STOCK, tmp_path / "other.csv")
    assert (other / "hers.txt").exists()


@pytest.mark.parametrize("source", ["in.xlsx", "missing.csv", "folder.csv"])
def test_what_cannot_be_read_in_parts(tmp_path: Path, source: str) -> None:
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(TableError):
        date_file(tmp_path / source, tmp_path / "out.csv")


def test_tables_that_are_given_back_answer_the_same(stock: pd.DataFrame) -> None:
    """What a process may keep between two chunks changes no bit of an answer."""
    priors = replace(load_priors(), _compiled={})  # with no model that other tests have used
    one = date_table(stock, as_of=AS_OF, columns=NAMES, priors=priors)
    assert taken(priors) > 0
    give_back(priors, taken(priors))
    held = taken(priors)
    give_back(priors, held - 1)
    assert 0 < taken(priors) < held / 2
    pd.testing.assert_frame_equal(date_table(stock, as_of=AS_OF, columns=NAMES, priors=priors), one)
