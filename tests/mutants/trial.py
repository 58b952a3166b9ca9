"""The trial of one mutant in a child of the warm process, or in a new process, with limits of time and memory."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from tests.mutants.covering import run_one
from tests.mutants.made import Mutant
from tests.mutants.planted import Living

CAUGHT, BY_TIME, ALIVE = "caught", "by time", "alive"
NONE = "no code"  # what no interpreter would read is no mutant
_COLD = 3  # status of a child in which the fault could not be put in place
_MEMORY = 6 * 2**30
_SLACK = 10.0  # seconds more than the tests take, and as many times more
_TIMES = 4.0


def tried(
    mutant: Mutant, root: Path, tests: Sequence[pytest.Item], seconds: float, living: Living | None
) -> str:
    """What becomes of a mutant: caught, by time, or alive. ``seconds``: what its tests take without it.

    ``living``: what lives in this process, which is forked; None tries the mutant in a new one.
    """
    source = (root / mutant.file).read_text(encoding="utf-8")
    mutated = mutant.code(source)
    try:
        compile(mutated, mutant.file, "exec")
    except SyntaxError:
        return NONE
    limit = _TIMES * seconds + _SLACK

    def warm() -> int:
        assert living is not None
        if not living.plant(str(root / mutant.file), source, mutated):
            return _COLD
        return _first_failure(tests)

    status = _COLD if living is None else _status_of(warm, limit)
    if status == _COLD:
        with tempfile.TemporaryDirectory() as folder:
            text = Path(folder) / "mutated.py"
            text.write_text(mutated, encoding="utf-8")
            command = _command(mutant, root, text, tests)
            status = _status_of(lambda: _in_a_new_process(*command), limit + 2 * _SLACK)
    return {0: ALIVE, None: BY_TIME}.get(status, CAUGHT)


def passes(tests: Sequence[pytest.Item], seconds: float, living: Living) -> bool:
    """The control: in a child of the same kind, and with no fault, all these tests pass."""

    def sound() -> int:
        living.forget()
        return _first_failure(tests)

    return _status_of(sound, _TIMES * seconds + _SLACK) == 0


def _first_failure(tests: Sequence[pytest.Item]) -> int:
    for item, following in zip(tests, [*tests[1:], None], strict=True):
        if run_one(item, following) is False:
            return 1
    return 0


def _status_of(work: Callable[[], int], limit: float) -> int | None:
    """The status of a child that works, None where it did not end in ``limit`` seconds of its processor."""
    child = os.fork()
    if child == 0:
        os.setsid()
        code = 1  # what brings the test session itself down was noticed
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (int(limit) + 1, int(limit) + 2))
            resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
            quiet = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(quiet, stream)
            code = work()
        finally:
            os._exit(code)
    ends = time.monotonic() + 6 * limit  # other work may share the machine
    while time.monotonic() < ends:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            if os.WIFSIGNALED(status):
                return None if os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL) else 1
            return os.WEXITSTATUS(status)
        time.sleep(0.01)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def _command(
    mutant: Mutant, root: Path, text: Path, tests: Sequence[pytest.Item]
) -> tuple[list[str], dict[str, str]]:
    module = mutant.file.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
    environment = {
        **os.environ,
        "SCARFDATE_MUTANT_FILE": str(root / mutant.file),
        "SCARFDATE_MUTANT_TEXT": str(text),
        "SCARFDATE_MUTANT_MODULE": module,
        "PYTHONPATH": str(root),
    }
    chosen = [item.nodeid for item in tests]
    words = ["-x", "-p", "no:cacheprovider", "-p", "tests.mutants.planted", *chosen]
    return [sys.executable, "-m", "pytest", *words], environment


def _in_a_new_process(command: Sequence[str], environment: dict[str, str]) -> int:
    status = subprocess.run(command, env=environment, check=False).returncode
    if status == -signal.SIGXCPU:
        os.kill(os.getpid(), signal.SIGKILL)
    return min(status, 1) if status >= 0 else 1
