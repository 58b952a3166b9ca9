"""What a bomb costs: read in a process of its own that gets so much memory, and so many seconds, and no more."""

from __future__ import annotations

import io
import multiprocessing
import os
import resource
import time
import warnings
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

from scarfdate import ScarfdateError
from tests.attack.bombs import BOMBS, READERS
from tests.watched import watch

MEMORY = 1024 * 2**20  # bytes more than what is loaded that a reader may ask for
SECONDS = 20.0  # by the clock, after which a reader hangs
_STATUS = Path("/proc/self/status")


_PLANTED = {"hangs": "hanging", "eats": "eating", "dies": "dying"}  # readers that break the bounds


def size_of(path: Path) -> int:
    """The bytes of a file, or of the files of a folder; holes and what is no file count nothing."""
    files = [path] if not path.is_dir() else [one for one in path.rglob("*") if one.is_file()]
    return sum(
        min(one.stat().st_size, one.stat().st_blocks * 512) for one in files if one.is_file()
    )


@dataclass(frozen=True)
class Cost:
    """``ended``: "refused", "read", or what is wrong; ``seconds``: of the processor; ``peak``: bytes."""

    ended: str
    said: str
    seconds: float
    peak: int


def _kilobytes(name: str) -> int:
    line = next(line for line in _STATUS.read_text().splitlines() if line.startswith(name))
    return int(line.split()[1])


def _child(name: str, path: Path, line: Connection) -> None:
    watch()
    loaded = _kilobytes("VmSize") * 1024
    resource.setrlimit(resource.RLIMIT_AS, (loaded + MEMORY, loaded + MEMORY))
    Path("/proc/self/clear_refs").write_text("5")  # the highest mark begins here
    before, started = _kilobytes("VmRSS"), time.process_time()
    with warnings.catch_warnings(), redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        warnings.simplefilter("error")
        try:
            READERS[BOMBS[name].read if name in BOMBS else _PLANTED[name]](path)
            ended, said = "read", ""
        except ScarfdateError as error:
            ended, said = "refused", str(error)
        except BaseException as error:
            ended, said = f"{type(error).__name__}", str(error)[:300]
    seconds = time.process_time() - started
    line.send(Cost(ended, said[:5000], seconds, 1024 * max(_kilobytes("VmHWM") - before, 0)))
    line.close()
    os._exit(0)


def _server() -> multiprocessing.context.ForkServerContext:
    """Where processes come from that have loaded all they need."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.attack.loaded"])
    return context


SERVER = _server()


def cost(name: str, path: Path) -> Cost:
    """What reading one bomb costs."""
    ours, theirs = SERVER.Pipe(duplex=False)
    child = SERVER.Process(target=_child, args=(name, path, theirs), daemon=True)
    child.start()
    theirs.close()
    try:
        if not ours.poll(SECONDS):
            return Cost("hung", "", SECONDS, 0)
        return ours.recv()  # type: ignore[no-any-return]
    except EOFError:
        return Cost("died", "", 0.0, 0)
    finally:
        if child.is_alive():
            child.kill()
        child.join()
