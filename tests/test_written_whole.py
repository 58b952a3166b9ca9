"""Files are the old one or the new one, never half: killed at any moment, on a full disk, where nothing may be written."""

from __future__ import annotations

import os
import random
import resource
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from scarfdate import ScarfdateError
from scarfdate.files import check_new, write_whole

KILLS = 12
WRITES_FOR_EVER = """
import sys
from pathlib import Path
from scarfdate.files import write_whole
print("ready", flush=True)
while True:
    for letter in (b"a", b"b"):
        write_whole(Path(sys.argv[1]), letter * 3_000_000)
"""


@pytest.mark.slow
def test_killed_at_a_random_moment(tmp_path: Path) -> None:
    """SIGKILL, which no program can hear, while a file of 3 MB is written again and again."""
    target, rng = tmp_path / "stock.csv", random.Random(7)
    write_whole(target, b"a" * 3_000_000)
    for _ in range(KILLS):
        with subprocess.Popen(
            [sys.executable, "-c", WRITES_FOR_EVER, str(target)], stdout=subprocess.PIPE
        ) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(rng.uniform(0, 0.1))
            writer.send_signal(signal.SIGKILL)
        content = target.read_bytes()
        assert len(content) == 3_000_000
        assert len(set(content)) == 1


def test_a_full_disk_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    """A bound on the size of files stands for the end of a disk: both fail in the midst of writing."""
    target = tmp_path / "stock.csv"
    target.write_bytes(b"old")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, before[1]))
    try:
        with pytest.raises(OSError, match="too large"):
            write_whole(target, b"x" * 100_000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert target.read_bytes() == b"old"
    assert [*tmp_path.iterdir()] == [target]


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


def test_the_rights_of_the_old_file_stay(tmp_path: Path) -> None:
    target = tmp_path / "stock.csv"
    target.write_bytes(b"old")
    target.chmod(0o640)
    write_whole(target, b"new")
    assert (target.read_bytes(), stat.S_IMODE(target.stat().st_mode)) == (b"new", 0o640)


def test_what_is_never_written_over(tmp_path: Path) -> None:
    folder, link, pipe = tmp_path / "folder", tmp_path / "link", tmp_path / "pipe"
    folder.mkdir()
    link.symlink_to(tmp_path / "elsewhere")
    os.mkfifo(pipe)
    for target, word in (
        (folder, "folder"),
        (link, "link"),
        (pipe, "device"),
        ("/dev/null", "device"),
    ):
        with pytest.raises(ScarfdateError, match=word):
            check_new(target, force=True)
    with pytest.raises(ScarfdateError, match="cannot be written"):
        check_new(tmp_path / ("n" * 300), force=True)
