"""All writing goes through one door, and all that leads to it has a scenario in which things go wrong."""

from __future__ import annotations

import hashlib
import json
import os
import sys
import threading
import time
from itertools import pairwise
from pathlib import Path

import pytest

from scarfdate import ScarfdateError, files, load_priors
from scarfdate.files import COMING, check_new, exchange, write_folder, write_whole
from scarfdate.plain import JOURNAL
from scarfdate.tables.folder import read_folder
from tests.faults import trial
from tests.faults.door import PACKAGE, Calls, calls_of, commands, writers, writes_elsewhere
from tests.faults.scenarios import SCENARIOS
from tests.faults.trial import (
    DONE,
    KILLED,
    REFUSED,
    apart,
    at_step,
    gone,
    kind,
    no_room,
    past_the_end,
)

pytestmark = pytest.mark.slow

LONG = b"new\n" * 100_000
PLANTED = """
from pathlib import Path
from scarfdate.files import write_whole
def handed_on(path, text):
    {way}
"""


# ------------------------------------------------------------------------------- found from the code


def test_nothing_else_in_the_package_writes() -> None:
    assert writes_elsewhere() == []


@pytest.mark.parametrize(
    "way",
    [
        'open(path, "w").write(text)', 'path.open("ab")', 'open(path, mode="x")', "path.write_text(text)", "path.unlink()",
        "text.to_csv(path)", "os.replace(path, text)", "path.replace(text)", "shutil.rmtree(path)", "tempfile.mkdtemp()",
        "figure.savefig(path)", "frame.to_parquet(path)", "path.rename(text)", "open(path, how)", "io.open(path, 'r+')",
        "os.open(path, os.O_WRONLY)", "path.mkdir()",
    ],
)  # fmt: skip
def test_another_way_to_write_is_found(tmp_path: Path, way: str) -> None:
    (tmp_path / "planted.py").write_text(PLANTED.format(way=way), encoding="utf-8")
    assert len(writes_elsewhere(tmp_path)) == 1


def test_every_command_and_call_that_writes_has_a_scenario() -> None:
    covered = {one for scenario in SCENARIOS for one in scenario.covers}
    assert writers() == covered
    assert len(covered) > 30 and {"scarfdate date", "sorting.sorting.Sorting.press"} <= covered
    assert {*commands().values()} <= calls_of(PACKAGE).calls.keys(), (
        "a command whose code was not found"
    )


@pytest.mark.parametrize(
    "way", ["write_whole(path, text)", "Kept().keep(path, text)", "each(Kept().keep)"]
)
def test_a_new_call_that_writes_is_found(tmp_path: Path, way: str) -> None:
    """Written by itself, by a method of another module, by a function that is handed on."""
    (tmp_path / "kept.py").write_text(
        "from scarfdate.files import write_whole\nclass Kept:\n    def keep(self, path, text):\n"
        "        return write_whole(path, text)\n",
        encoding="utf-8",
    )
    (tmp_path / "files.py").write_text("def write_whole(path, text): ...\n", encoding="utf-8")
    more = "from scarfdate.kept import Kept\ndef reads(path): return path.read_bytes()\n"
    (tmp_path / "planted.py").write_text(
        PLANTED.format(way=f"return {way}") + more, encoding="utf-8"
    )
    (tmp_path / "__init__.py").write_text(
        "from scarfdate.planted import handed_on, reads\n", encoding="utf-8"
    )
    found = Calls(tmp_path)
    assert found.reaching() >= {"planted.handed_on", "kept.Kept.keep"}
    assert found.public() & found.reaching() == {"planted.handed_on"}


# ------------------------------------------------------------------------------- the door itself


def _file(place: Path, old: bytes | None) -> None:
    if old is not None:
        place.write_bytes(old)


def _folder(place: Path, old: bytes | None) -> None:
    if old is not None:
        (place / "b").mkdir(parents=True)
        for name in ("a", "b/c"):
            (place / name).write_bytes(old)


def _files_of(place: Path) -> object:
    if not place.is_dir():
        return place.read_bytes() if place.exists() else None
    held = {
        p.relative_to(place).as_posix(): p.read_bytes()
        for p in place.rglob("*")
        if p.is_file() and p.name != JOURNAL
    }
    late = {n.removeprefix(f"{COMING}/"): c for n, c in held.items() if n.startswith(f"{COMING}/")}
    return {n: c for n, c in held.items() if not n.startswith(".scarfdate-")} | late


NEW = {"a": LONG, "b/c": b"new"}
WAYS = {
    "a new file": (_file, None, lambda place: write_whole(place, LONG)),
    "over a file": (_file, b"old", lambda place: write_whole(place, LONG)),
    "exchanged": (_file, b"old", lambda place: exchange(place, b"old", LONG)),
    "taken away": (_file, b"old", lambda place: exchange(place, b"old", None)),
    "a new folder": (_folder, None, lambda place: write_folder(place, NEW, new=True)),
    "into a folder": (_folder, b"old", lambda place: write_folder(place, NEW)),
}


@pytest.mark.parametrize(
    ("way", "fault"),
    [
        (way, fault)
        for way in WAYS
        for fault in (gone, no_room)
        if (way, fault) != ("taken away", no_room)
    ],
)
def test_whatever_step_fails_it_is_the_old_or_the_new(tmp_path: Path, way: str, fault) -> None:
    """Killed before each step on the disk, or no room at it; then the next writer finds and leaves no rubbish."""
    lay, old, act = WAYS[way]
    states, ended, number = [], trial.Ended(""), 0
    while not past_the_end(ended):
        folder = tmp_path / str(number)
        place = folder / "place"
        folder.mkdir()
        lay(place, old)
        before = _files_of(place)
        tidies = fault is gone
        ended = apart(at_step(lambda p=place: act(p), number, fault, tidying=tidies))
        if not past_the_end(ended):
            if tidies:
                assert ended.how == KILLED
            else:  # told; what is whole already stays where it is read
                # no room for a folder that is there already is no fault
                done = ended.how == DONE and _files_of(place) != before
                assert done or ended.how == REFUSED or "OSError" in ended.told, ended
                assert not trial.rubbish(folder) or COMING in ended.told
            found = _files_of(place)
            trial.next_write(folder, *([place] if place.is_dir() else ()))
            assert _files_of(place) == found and not trial.rubbish(folder)
            states.append(found)
        number += 1
    after = _files_of(place)
    assert after != before and all(one in (before, after) for one in states)
    assert states[0] == before and (tidies is False or number > (1 if way == "taken away" else 2))
    if tidies:  # old up to a point, new from there
        assert sum(one != other for one, other in pairwise(states)) <= 1


TABLES = {"doubt.csv": b"new", "shares/hem.csv": b"new, too"}


def _stopped(folder: Path) -> None:
    """Tables over an old one, by a writer who was killed when all were whole and none was in its place."""
    (folder / "doubt.csv").write_bytes(b"old")
    arrive = files._arrive

    def killed(place: Path) -> None:
        if (place / COMING).exists():
            gone("")
        arrive(place)

    def act() -> None:
        files._arrive = killed
        write_folder(folder, TABLES)

    assert apart(act).how == KILLED and (folder / COMING).is_dir()


def test_tables_on_the_way_to_their_places_are_read(tmp_path: Path) -> None:
    _stopped(tmp_path)
    faults: list = []
    assert read_folder(tmp_path, faults) == TABLES and not faults
    write_whole(tmp_path / "notes.txt", b"")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["doubt.csv", "notes.txt", "shares"]
    assert (tmp_path / "doubt.csv").read_bytes() == b"new"


def _forged(folder: Path, elsewhere: Path, name: str, before: bytes | None) -> None:
    """As a sender may lay it: with a list of its own, which says what it likes of what is there."""
    del elsewhere
    (folder / COMING / name).parent.mkdir(parents=True)
    (folder / COMING / name).write_bytes(b"theirs")
    own, old = (None if c is None else hashlib.sha256(c).hexdigest() for c in (b"theirs", before))
    (folder / COMING / JOURNAL).write_text(json.dumps({name: [old, own]}))


def _without_list(folder: Path, elsewhere: Path) -> None:
    del elsewhere
    (folder / COMING).mkdir()
    (folder / COMING / "book.csv").write_bytes(b"theirs")


def _by_a_link(folder: Path, elsewhere: Path) -> None:
    (folder / "photos").symlink_to(elsewhere)
    _forged(folder, elsewhere, "photos/rc", None)


def _link_in_it(folder: Path, elsewhere: Path) -> None:
    _forged(folder, elsewhere, "new.csv", None)
    (folder / COMING / "new.csv").unlink()
    (folder / COMING / "new.csv").symlink_to(elsewhere / "hers.txt")


def _changed(folder: Path, elsewhere: Path) -> None:
    _forged(folder, elsewhere, "new.csv", None)
    (folder / COMING / "new.csv").write_bytes(b"changed")


def _edited(folder: Path, elsewhere: Path) -> None:
    del elsewhere
    _stopped(folder)
    (folder / "doubt.csv").write_bytes(b"edited since")


LAID = {
    "no list": _without_list,
    "the folder is a link": lambda f, e: (f / COMING).symlink_to(e),
    "a file": lambda f, e: (f / COMING).write_bytes(b"theirs"),
    "over what it does not know": lambda f, e: _forged(f, e, "book.csv", b"a guess"),
    "over what it says is not there": lambda f, e: _forged(f, e, "book.csv", None),
    "hidden": lambda f, e: _forged(f, e, ".bashrc", None),
    "in a folder that is a file": lambda f, e: _forged(f, e, "book.csv/x", None),
    "a folder in the place of a link": _by_a_link,
    "a link in it": _link_in_it,
    "not as listed": _changed,
    "not as its list was": lambda f, e: (_forged(f, e, "a", None), (f / COMING / JOURNAL).write_text("[1]")),
    "edited since": _edited,
}  # fmt: skip


@pytest.mark.parametrize("laid", LAID)
def test_what_another_laid_where_tables_come_is_left_alone_and_told(
    tmp_path: Path, laid: str
) -> None:
    folder, elsewhere = tmp_path / "folder", tmp_path / "elsewhere"
    for one in (folder, elsewhere):
        one.mkdir()
    (folder / "book.csv").write_bytes(b"ten years of sales")
    (elsewhere / "hers.txt").write_bytes(b"hers")
    LAID[laid](folder, elsewhere)

    def lies() -> dict[str, object]:
        return {
            str(p): (kind(p), p.read_bytes() if p.is_file() else b"") for p in tmp_path.rglob("*")
        }

    before = lies()
    for write in (
        lambda: write_whole(folder / "dated.csv", b"new"),
        lambda: write_folder(folder, {"a.csv": b"new"}),
    ):
        with pytest.raises(ScarfdateError, match=f"{COMING} in it is not what this program left"):
            write()
        assert lies() == before
    faults: list = []
    found = read_folder(folder, faults)
    assert b"theirs" not in found.values() and [one.file for one in faults] == [COMING]


def test_a_folder_is_not_written_by_a_link_in_it(tmp_path: Path) -> None:
    folder, elsewhere = tmp_path / "folder", tmp_path / "elsewhere"
    for one in (folder, elsewhere):
        one.mkdir()
    (folder / "shares").symlink_to(elsewhere)
    with pytest.raises(ScarfdateError, match="is a link or no folder"):
        write_folder(folder, TABLES)
    assert not [*elsewhere.iterdir()] and [p.name for p in folder.iterdir()] == ["shares"]


def test_what_a_dead_writer_left_is_swept_and_nothing_else(tmp_path: Path) -> None:
    hers = [
        ".scarfdate",
        ".scarfdate-mine",
        ".scarfdate-0123456789ab.csv",
        "stock.csv",
        ".stock.csv.backup",
    ]
    for name in hers:
        (tmp_path / name).write_bytes(b"hers")
    (tmp_path / ".scarfdate-0123456789ab").write_bytes(b"half")
    (tmp_path / ".scarfdate-ba9876543210").mkdir()
    (tmp_path / ".scarfdate-ba9876543210" / "half.csv").write_bytes(b"half")
    (tmp_path / ".scarfdate-00000000000a").symlink_to(tmp_path / "stock.csv")
    write_whole(tmp_path / "stock.csv", b"new")
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(hers)


def test_a_second_writer_waits_and_is_told_after_a_while(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target, order = tmp_path / "stock.csv", []
    with files._only_writer(tmp_path):
        second = threading.Thread(target=lambda: order.append(write_whole(target, b"second")))
        second.start()
        time.sleep(0.05)
        assert not order and not target.exists()
        monkeypatch.setattr(files, "_WAIT", 0.03)
        with pytest.raises(TimeoutError, match="another program is writing into its folder"):
            write_whole(target, b"third")
        with pytest.raises(ScarfdateError, match="another program"):
            write_folder(tmp_path, {"a": b"b"})
        monkeypatch.undo()
    second.join()
    assert target.read_bytes() == b"second"


@pytest.mark.skipif(sys.platform == "win32", reason="folders are locked otherwise there")
def test_where_no_folder_can_be_locked_the_rest_holds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on some drives of a network: nothing is swept, for a writer may be alive."""

    def no_locks(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(files.fcntl, "flock", no_locks)
    monkeypatch.setattr(files, "_let_go", os.close)
    (tmp_path / ".scarfdate-0123456789ab").write_bytes(b"of one who may be alive")
    write_whole(tmp_path / "stock.csv", b"new")
    assert (tmp_path / "stock.csv").read_bytes() == b"new"
    assert trial.rubbish(tmp_path) == [".scarfdate-0123456789ab"]


def test_a_forked_child_does_not_keep_the_folder(tmp_path: Path) -> None:
    """A child that is split off while another thread writes has a copy of the lock, which must not outlast the writing."""
    with files._only_writer(tmp_path):
        pid = os.fork()
        if not pid:
            time.sleep(20)
            os._exit(0)
    begun = time.monotonic()
    write_whole(tmp_path / "stock.csv", b"new")
    os.kill(pid, 9)
    os.waitpid(pid, 0)
    assert time.monotonic() - begun < 5


def test_the_rights_of_the_old_file_stay_and_a_new_one_has_usual_ones(tmp_path: Path) -> None:
    old, new, plain = (tmp_path / name for name in ("old.csv", "new.csv", "plain.csv"))
    old.write_bytes(b"old")
    old.chmod(0o600)
    plain.write_bytes(b"")
    write_whole(old, b"new")
    write_whole(new, b"new")
    write_folder(tmp_path / "folder", {"a": b"new"})
    assert (old.read_bytes(), old.stat().st_mode & 0o777) == (b"new", 0o600)
    assert new.stat().st_mode == plain.stat().st_mode
    (tmp_path / "made").mkdir()
    assert (tmp_path / "folder").stat().st_mode == (tmp_path / "made").stat().st_mode


def test_a_name_as_long_as_the_system_allows(tmp_path: Path) -> None:
    target = tmp_path / ("n" * 251 + ".csv")
    write_whole(target, b"new")
    assert target.read_bytes() == b"new"


@pytest.mark.parametrize("stop", [KeyboardInterrupt, MemoryError])
def test_interrupted_between_writing_and_naming(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stop: type[BaseException]
) -> None:
    target = tmp_path / "stock.csv"
    target.write_bytes(b"old")

    def stopped(*_: object) -> None:
        raise stop

    monkeypatch.setattr(os, "replace", stopped)
    with pytest.raises(stop):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert [*tmp_path.iterdir()] == [target]


def test_what_is_never_written_over(tmp_path: Path) -> None:
    folder, link, pipe, kept = (tmp_path / n for n in ("folder", "link", "pipe", "kept.csv"))
    folder.mkdir()
    link.symlink_to(tmp_path / "elsewhere")
    os.mkfifo(pipe)
    kept.write_bytes(b"kept")
    kept.chmod(0o444)
    for target, word in (
        (folder, "folder"), (link, "link"), (pipe, "device"), ("/dev/null", "device"), (kept, "write-protected"),
    ):  # fmt: skip
        with pytest.raises(ScarfdateError, match=word):
            check_new(target, force=True)
        if target != "/dev/null":  # were it to fail, the machine would have none
            with pytest.raises(ScarfdateError, match=word):
                write_whole(Path(target), b"new")
    with pytest.raises(ScarfdateError, match="cannot be written"):
        check_new(tmp_path / ("n" * 300), force=True)


def test_the_package_is_where_the_list_is_made_from() -> None:
    """The list is of the code that runs here, not of another checkout."""
    assert Path(files.__file__).parent == PACKAGE
    assert load_priors() is not None and DONE == "done"
