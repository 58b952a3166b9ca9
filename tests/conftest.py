"""What several tests need."""

from __future__ import annotations

import os
import sys
from collections import Counter
from pathlib import Path

# Tests run side by side on all cores. What the library does with a user's own settings is measured by
# `python -m tests.benchmarks.threads`, and that it holds its matrices to one thread is tested where it does.
os.environ.setdefault("OMP_NUM_THREADS", "1")
# Tests start hundreds of Pythons. Where bytecode is not kept, each of them compiles all libraries anew: four seconds
# of every five that a notebook takes to begin.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

import numpy as np
import pytest

from scarfdate import Priors, load_priors
from tests.watched import CHILDREN, watch

ROOT = Path(__file__).parents[1]
watch()  # no test reaches out of this machine
# nor does a process that a test starts, unless it is told to read no variables (-I, -E) or has its own environment
_paths = [CHILDREN, *filter(None, os.environ.get("PYTHONPATH", "").split(os.pathsep))]
os.environ["PYTHONPATH"] = os.pathsep.join(dict.fromkeys(_paths))


@pytest.fixture
def rng() -> np.random.Generator:
    """A generator with a fixed seed: every run draws the same."""
    return np.random.default_rng(2026)


@pytest.fixture(scope="session")
def shared() -> Path:
    """Open records and dated facts beside the project; not part of it."""
    folder = Path(os.environ.get("SCARFDATE_SHARED", ROOT.parent / "shared"))
    if not (folder / "facts" / "facts.csv").exists():
        if os.environ.get("CI"):
            pytest.fail("CI has to have the folder of dated facts and museum records")
        pytest.skip("the folder of dated facts and museum records is not here")
    return folder


@pytest.fixture(scope="session")
def priors() -> Priors:
    """The shipped tables."""
    return load_priors()


# Files of few tests that take minutes. Where files are dealt to processes (`.ci/run`), they go first, lest one
# process works through them while the others have nothing left to do.
LONG_FILES = (
    "tests/test_notebooks.py",
    "tests/learning/test_nuts.py",
    "tests/learning/test_real_records.py",
    "tests/statistical/test_planted_slip.py",
    "tests/test_museum.py",
    "tests/building/test_build.py",
    "tests/answer/test_threads.py",
    "tests/statistical/test_baselines.py",
    "tests/density/test_smoothed.py",
    "tests/worth/test_prices_recovery.py",
)


@pytest.hookimpl(tryfirst=True)  # before tests are chosen by their marks
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Of a test marked `sampled` all cases but the first are slow. The long files first, in this order; all others as
    they come."""
    cases = Counter[str]()
    for item in items:
        if sampled := item.get_closest_marker("sampled"):
            function = item.nodeid.partition("[")[0]
            cases[function] += 1
            if cases[function] > sampled.args[0]:
                item.add_marker(pytest.mark.slow)
    rank = {(ROOT / name): place for place, name in enumerate(LONG_FILES)}
    items.sort(key=lambda item: rank.get(item.path, len(rank)))
