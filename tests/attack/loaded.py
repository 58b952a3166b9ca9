"""What every process that reads a bomb has loaded already, so that only the reading is measured."""

from __future__ import annotations

import openpyxl  # noqa: F401
import pyarrow.parquet  # noqa: F401

import scarfdate
import scarfdate.building.build
from tests.attack import measured  # noqa: F401

scarfdate.load_priors()
scarfdate.load_prices()
for _name in scarfdate.__all__:
    getattr(scarfdate, _name)
