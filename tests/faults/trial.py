"""A call in a process of its own, with something that goes wrong in it; and what is found on the disk afterwards."""

from __future__ import annotations

import errno
import mmap
import os
import random
import resource
import signal
import stat
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import click

from scarfdate import ScarfdateError, files

Act = Callable[[], object]
DONE, REFUSED, CRASHED, KILLED = "done", "refused", "crashed", "killed"
_LONGEST = 120  # seconds; then a call hangs
# what is done to a disk, as Python tells of it before it is done; besides these, that what was written is safe
_STEPS = {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "os.link", "os.truncate"}
_TIDYING = {"os.remove", "os.rmdir"}


@dataclass(frozen=True)
class Ended:
    """How a call ended, and what it said; ``inside``: whether it was killed while it wrote."""

    how: str
    told: str = ""
    inside: bool = False


def apart(act: Act, *, kill: Callable[[int], None] | None = None) -> Ended:
    """Run it in a process that is split off; ``kill(pid)`` may end that meanwhile."""
    inside, (hear, tell) = mmap.mmap(-1, 1), os.pipe()
    pid = os.fork()
    if not pid:
        os.close(hear)
        _run(act, tell, inside)
    os.close(tell)
    with os.fdopen(hear, "rb") as stream:
        begun = stream.read(1)
        if kill is not None and begun:
            kill(pid)
        said = stream.read().decode()
    _, status = os.waitpid(pid, 0)
    if os.WIFSIGNALED(status) or os.waitstatus_to_exitcode(status):
        return Ended(KILLED, inside=inside[0] != 0)
    how, _, told = said.partition("\n")
    return Ended(how, told)


def _run(act: Act, tell: int, inside: mmap.mmap) -> None:
    """In the process that is split off; it never comes back."""
    try:
        signal.alarm(_LONGEST)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        sys.stdout, sys.stderr = (open(os.devnull, "w", encoding="utf-8") for _ in "12")  # noqa: SIM115
        for name in ("_put", "_put_files", "_arrive"):
            _mark(name, inside)
        os.write(tell, b".")
        try:
            act()
            said = f"{DONE}\n"
        except (ScarfdateError, click.ClickException) as error:
            said = f"{REFUSED}\n{error}"
        except SystemExit as error:  # of a module run by itself
            said = f"{REFUSED if error.code else DONE}\n{error.code}"
        except BaseException:
            said = f"{CRASHED}\n{traceback.format_exc()}"
        signal.alarm(0)
        os.write(tell, said[-4000:].encode() if said.startswith(DONE) else said[:4000].encode())
    finally:
        os._exit(0)


def _mark(name: str, inside: mmap.mmap) -> None:
    """From now on it is known while this function of the door is at work."""
    done = getattr(files, name)

    def marked(*args: object) -> object:
        inside[0] += 1
        try:
            return done(*args)
        finally:
            inside[0] -= 1

    setattr(files, name, marked)


# ------------------------------------------------------------------------------- what goes wrong


def at_step(act: Act, number: int, fault: Callable[[str], None], *, tidying: bool = True) -> Act:
    """The call with a fault before its ``number``-th step on the disk, from 0; `past_the_end` where it has fewer."""

    def faulty() -> None:
        count = iter(range(10**9))

        def heard(event: str, args: tuple[object, ...]) -> None:
            writes = (
                event == "open" and isinstance(args[2], int) and args[2] & (os.O_WRONLY | os.O_RDWR)
            )
            here = writes and not str(args[0]).startswith("/dev/")
            if (here or event in _STEPS) and (tidying or event not in _TIDYING):
                step(event)

        def step(event: str) -> None:
            if next(count) == number:
                fault(event)

        def safe(handle: int, done: Callable[[int], None] = os.fsync) -> None:
            if number == next(count):
                os.ftruncate(handle, os.fstat(handle).st_size // 2)  # half of it was written
                fault("os.fsync")
            done(handle)

        os.fsync = safe
        sys.addaudithook(heard)
        act()
        if next(count) <= number:
            raise LookupError("past the end")

    return faulty


def past_the_end(ended: Ended) -> bool:
    return ended.how == CRASHED and "past the end" in ended.told


def gone(_: str) -> None:
    """As by `kill -9`: no handler, no clean-up, no flush."""
    os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(60)


def no_room(_: str) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def killed_somewhen(act: Act, within: float, rng: random.Random) -> Ended:
    """SIGKILL at a random moment of the whole call, which takes about so many seconds."""

    def kill(pid: int) -> None:
        time.sleep(rng.uniform(0, within))
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)

    return apart(act, kill=kill)


def killed_while_it_writes(act: Act, within: float, rng: random.Random) -> Ended:
    """Ended by the system, by a signal that nobody hears, at a random moment from when it first writes."""
    moment = max(rng.uniform(0, within), 1e-6)

    def timed() -> None:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        first, at_door = [True], files._clear

        def clear(folder: Path) -> None:
            if first.pop() if first else False:
                signal.setitimer(signal.ITIMER_REAL, moment)
            at_door(folder)

        files._clear = clear
        act()

    return apart(timed)


def time_to_write(act: Act) -> tuple[float, float]:
    """Seconds of the whole call, and from when it first writes to its end."""
    hear, tell = os.pipe()

    def timed() -> None:
        begun, at_door, found = time.perf_counter(), files._clear, []

        def clear(folder: Path) -> None:
            found.append(time.perf_counter())
            at_door(folder)

        files._clear = clear
        act()
        ended = time.perf_counter()
        os.write(tell, f"{ended - begun} {ended - found[0]}".encode())

    ended = apart(timed)
    os.close(tell)
    with os.fdopen(hear, "r") as stream:
        said = stream.read().split()
    assert ended.how == DONE, ended
    return float(said[0]), float(said[1])


def small_disk(act: Act) -> Act:
    """No file may be longer than some bytes, which ends in the midst of writing as a full disk does."""

    def full() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (5, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
        act()

    return full


def nobody(act: Act) -> Act:
    """As a user who owns nothing; root has rights everywhere."""

    def without_rights() -> None:
        if os.geteuid() == 0:
            os.setgroups([])
            os.setgid(65534)
            os.setuid(65534)
        act()

    return without_rights


def clock_of_1970(act: Act) -> Act:
    """As on a computer whose battery is flat."""

    def early() -> None:
        local = time.localtime
        time.time = lambda: 0.0
        time.localtime = lambda seconds=0.0: local(0.0 if seconds is None else seconds)
        act()

    return early


def decimal_commas(act: Act, folder: Path, name: str) -> Act:
    """In a locale that writes 1,5; ``folder`` is where it lies."""

    def in_it() -> None:
        import locale

        os.environ["LOCPATH"] = str(folder)
        locale.setlocale(locale.LC_ALL, name)
        assert locale.localeconv()["decimal_point"] == ","
        act()

    return in_it


def output_to(act: Act, place: str, encoding: str) -> Act:
    """What is printed goes there: an ASCII terminal, a full disk."""

    def elsewhere() -> None:
        with open(place, "w", encoding=encoding) as stream:
            os.dup2(stream.fileno(), 1)
            sys.stdout = stream
            try:
                act()
            finally:
                sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
                with suppress(OSError):
                    stream.close()

    return elsewhere


def as_it_is_opened(act: Act, place: Path, change: Callable[[Path], object]) -> Act:
    """Something happens to a file just before it is opened, each time."""

    def heard(event: str, args: tuple[object, ...]) -> None:
        if event == "open" and str(args[0]) == str(place) and place.exists():
            change(place)

    def changed() -> None:
        sys.addaudithook(heard)
        act()

    return changed


def half(place: Path) -> None:
    os.truncate(place, place.stat().st_size // 2)


def both(act: Act) -> list[Ended]:
    """Twice at once."""
    hear, tell = os.pipe()

    def together() -> None:
        os.read(hear, 1)
        act()

    started = []
    for _ in range(2):
        mine, yours = os.pipe()
        pid = os.fork()
        if not pid:
            ended = apart(together)
            os.write(yours, f"{ended.how}\n{ended.told}"[:4000].encode())
            os._exit(0)
        os.close(yours)
        started.append((pid, mine))
    os.write(tell, b"..")
    found = []
    for pid, mine in started:
        with os.fdopen(mine, "rb") as stream:
            how, _, told = stream.read().decode().partition("\n")
        os.waitpid(pid, 0)
        found.append(Ended(how, told))
    os.close(hear)
    os.close(tell)
    return found


# ------------------------------------------------------------------------------- what is found


def rubbish(folder: Path) -> list[str]:
    """What is neither the old nor the new, by its name."""
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob(".scarfdate-*"))


def next_write(*folders: Path) -> None:
    """What anybody's next write into these folders does first."""
    for folder in folders:
        if folder.is_dir() and not folder.is_symlink():
            assert files.exchange(folder / "another file", None, None)


def kind(place: Path) -> str:
    """What lies there, not what it leads to."""
    try:
        mode = place.lstat().st_mode
    except FileNotFoundError:
        return "nothing"
    if stat.S_ISLNK(mode):
        return f"link to {os.readlink(place)}"
    return str(stat.S_IFMT(mode))


def things(folder: Path, target: Path) -> Iterator[tuple[str, Callable[[], None]]]:
    """What may lie where a file or a folder is to be written, by name, and how it is laid there."""
    elsewhere = folder / "elsewhere"
    yield "a folder", lambda: (target.mkdir(), (target / "hers.txt").write_bytes(b"hers"))
    yield "a link to a file", lambda: (elsewhere.write_bytes(b"hers"), target.symlink_to(elsewhere))
    yield "a link to nothing", lambda: target.symlink_to(folder / "nowhere")
    yield "a pipe", lambda: os.mkfifo(target)
    if os.geteuid() == 0:
        yield "a device", lambda: os.mknod(target, 0o666 | stat.S_IFCHR, os.makedev(1, 3))
