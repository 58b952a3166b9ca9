"""The trial of one mutant in a child of the warm process, or in a new process, with limits of time and memory."""

from __future__ import annotations

import os
import resource
import signal
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.mutants.covering import run_one
from tests.mutants.made import Mutant
from tests.mutants.planted import Living

CAUGHT, BY_TIME, ALIVE = "caught", "by time", "alive"
NONE = "no code"  # what no interpreter would read is no mutant
_NO_CODE = 77  # the status of a child that says so
_MEMORY = 6 * 2**30
_SLACK = 20.0  # seconds of the processor more than the tests take, and as many times more
_TIMES = 4.0
_SHARED = 20.0  # times as long by the clock: other work may share the machine


@dataclass(frozen=True)
class Trial:
    """A mutant, its tests, and what they take in seconds without it. ``root``: of the project."""

    mutant: Mutant
    tests: Sequence[pytest.Item]
    seconds: float
    root: Path

    @property
    def limit(self) -> float:
        """Seconds of the processor after which it does not end."""
        return _TIMES * self.seconds + _SLACK

    def run(self, living: Living | None, folder: Path) -> int:
        """In a child: 0 where all tests pass. ``living`` None, or a fault that it cannot reach: in a new process."""
        file = str(self.root / self.mutant.file)
        source = Path(file).read_text(encoding="utf-8")
        mutated = self.mutant.code(source)
        try:
            compile(mutated, file, "exec")
        except SyntaxError:
            return _NO_CODE
        if living is not None and living.plant(file, source, mutated):
            return first_failure(self.tests)
        text = folder / f"{os.getpid()}.py"
        text.write_text(mutated, encoding="utf-8")
        module = self.mutant.file.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
        environment = {
            **os.environ,
            "SCARFDATE_MUTANT_FILE": file,
            "SCARFDATE_MUTANT_TEXT": str(text),
            "SCARFDATE_MUTANT_MODULE": module,
            "PYTHONPATH": str(self.root),
        }
        words = ["-m", "pytest", "-x", "-p", "no:cacheprovider", "-p", "tests.mutants.planted"]
        chosen = [item.nodeid for item in self.tests]
        os.execve(
            sys.executable, [sys.executable, *words, *chosen], environment
        )  # and so ends here
        raise AssertionError


def first_failure(tests: Sequence[pytest.Item]) -> int:
    """1 where one of them fails, 0 where all pass."""
    for item, following in zip(tests, [*tests[1:], None], strict=True):
        if run_one(item, following) is False:
            return 1
    return 0


def passes(tests: Sequence[pytest.Item], seconds: float, living: Living) -> bool:
    """The control: in a child of the same kind, and with no fault, all these tests pass."""

    def sound() -> int:
        living.forget()
        return first_failure(tests)

    limit = _TIMES * seconds + _SLACK
    running = {_child(sound, limit): (None, time.monotonic() + _SHARED * limit)}
    return next(_ended(running))[1] == ALIVE


def tried(
    trials: Iterable[Trial], living: Living | None, folder: Path, jobs: int
) -> Iterator[tuple[Trial, str]]:
    """Each trial and what became of its mutant, ``jobs`` at a time, as they end."""
    running: dict[int, tuple[Trial, float]] = {}
    for trial in trials:
        pid = _child(lambda trial=trial: trial.run(living, folder), trial.limit)
        running[pid] = trial, time.monotonic() + _SHARED * trial.limit
        if len(running) >= jobs:
            yield next(_ended(running))
    yield from _ended(running)


def _child(work: Callable[[], int], limit: float) -> int:
    """The number of a child process that works in silence, with limits."""
    sys.stdout.flush()
    child = os.fork()
    if child:
        return child
    code = 1  # what brings the test session itself down was noticed
    try:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (int(limit) + 1, int(limit) + 2))
        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
        quiet = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(quiet, stream)
        code = work()
    finally:
        os._exit(code)


def _ended(running: dict[int, tuple[Any, float]]) -> Iterator[tuple[Any, str]]:
    """What has ended, and how, until nothing runs."""
    while running:
        for pid, (what, until) in list(running.items()):
            if time.monotonic() > until:
                os.killpg(pid, signal.SIGKILL)
            ended, status = os.waitpid(pid, os.WNOHANG)
            if ended:
                del running[pid]
                yield what, _fate(status)
        time.sleep(0.01)


def _fate(status: int) -> str:
    if os.WIFSIGNALED(status):
        late = os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL)
        return BY_TIME if late else CAUGHT
    return {0: ALIVE, _NO_CODE: NONE}.get(os.WEXITSTATUS(status), CAUGHT)
