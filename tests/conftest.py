"""What every test may ask for."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from scarfdate import load_priors
from scarfdate.tables.priors import Priors


@pytest.fixture(scope="session")
def priors() -> Priors:
    """The shipped tables."""
    return load_priors()


@pytest.fixture
def rng() -> np.random.Generator:
    """Chance with a fixed seed, anew for each test."""
    return np.random.default_rng(2026)


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of records that are too large to be kept with the code."""
    beside = Path(__file__).resolve().parents[2] / "shared"
    folder = Path(os.environ.get("SCARFDATE_SHARED") or beside)
    if not folder.is_dir():
        pytest.skip("the shared records are not here; set SCARFDATE_SHARED to their folder")
    return folder
