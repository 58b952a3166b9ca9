"""Which fast tests run which line, and how long each takes: collected once, kept in a folder that git ignores."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Sequence
from functools import cached_property
from itertools import accumulate
from pathlib import Path

import coverage
import pytest

_FEW = 5  # tests of a line, below which its neighbours are asked too: what is kept is made by the first test alone
_NEIGHBOURS = 200


class Covering:
    """``seconds``: processor time by test; ``lines``: by file and line, the tests that run it."""

    def __init__(self, seconds: dict[str, float], lines: dict[str, dict[int, list[str]]]) -> None:
        self.seconds, self.lines = seconds, lines

    def of(self, file: str, line: int) -> list[str]:
        """The tests that can notice a fault on a line, the quickest first.

        Where few or none run it (it runs when the module is imported, or once for all), also the quickest of those
        that run another line of its file, and those that run no line at all: they look at what an import has made.
        """
        here = set(self.lines.get(file, {}).get(line, []))
        if len(here) < _FEW:
            near = {test for tests in self.lines.get(file, {}).values() for test in tests}
            here.update(sorted(near - here, key=self.seconds.__getitem__)[:_NEIGHBOURS])
            here.update(self._still)
        return sorted(here, key=self.seconds.__getitem__)

    @cached_property
    def _still(self) -> set[str]:
        """The tests that run no line of any file."""
        run = (tests for by_line in self.lines.values() for tests in by_line.values())
        return set(self.seconds).difference(*run)

    def within(self, file: str, line: int, seconds: float) -> list[str]:
        """The same, as many as together take so many seconds, and one at least."""
        return self._first(self.of(file, line), seconds)

    def quickest(self, seconds: float) -> list[str]:
        """Of all tests the quickest, as many as together take so many seconds."""
        return self._first(sorted(self.seconds, key=self.seconds.__getitem__), seconds)

    def _first(self, tests: list[str], seconds: float) -> list[str]:
        spent = accumulate(self.seconds[test] for test in tests)
        return [
            test
            for place, (test, so_far) in enumerate(zip(tests, spent, strict=True))
            if not place or so_far <= seconds
        ]

    def save(self, path: Path, stamp: str) -> None:
        path.parent.mkdir(exist_ok=True)
        kept = {"stamp": stamp, "seconds": self.seconds, "lines": self.lines}
        path.write_text(json.dumps(kept), encoding="utf-8")

    @classmethod
    def load(cls, path: Path, stamp: str) -> Covering | None:
        """What was kept, or None where there is nothing or the code has changed since."""
        if not path.exists():
            return None
        kept = json.loads(path.read_text(encoding="utf-8"))
        if kept["stamp"] != stamp:
            return None
        lines = {f: {int(n): t for n, t in by.items()} for f, by in kept["lines"].items()}
        return cls(kept["seconds"], lines)


def stamp(files: Sequence[Path]) -> str:
    """What changes when one of the files changes."""
    total = hashlib.sha256()
    for file in sorted(files):
        total.update(file.read_bytes())
    return total.hexdigest()[:16]


def collect(items: Sequence[pytest.Item], files: Sequence[Path], root: Path) -> Covering:
    """Run every test once with a context of its own. A test that fails without a fault is left out, and named."""
    measured = coverage.Coverage(data_file=None, include=[str(file) for file in files])
    seconds: dict[str, float] = {}
    measured.start()
    for item, following in zip(items, [*items[1:], None], strict=True):
        measured.switch_context(item.nodeid)
        began = time.process_time()
        passed = run_one(item, following)
        if passed:
            seconds[item.nodeid] = time.process_time() - began
        elif passed is False:
            print(f"fails without a fault, and is left out: {item.nodeid}")
    measured.stop()
    data = measured.get_data()
    lines = {
        str(file.relative_to(root)): {
            line: [test for test in tests if test in seconds]
            for line, tests in data.contexts_by_lineno(str(file)).items()
        }
        for file in files
        if str(file) in data.measured_files()
    }
    return Covering(seconds, lines)


def run_one(item: pytest.Item, following: pytest.Item | None) -> bool | None:
    """Whether a test passed; None where it was skipped."""
    from _pytest.runner import runtestprotocol

    reports = runtestprotocol(item, log=False, nextitem=following)
    if any(report.failed for report in reports):
        return False
    return None if any(report.skipped for report in reports) else True
