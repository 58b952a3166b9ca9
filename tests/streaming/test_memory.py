"""The memory of `date_file` does not grow with the file: what was dated and written is gone."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

STOCK = Path(__file__).parents[2] / "data" / "stock.csv"
DATED = """
import resource, sys
from scarfdate import date_file
from scarfdate.streaming import date_file as module
module._LEAST = module._MOST = 1024
date_file(sys.argv[1], sys.argv[2], as_of=2026)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
SHORT, LONG = 3_000, 24_000  # rows: three chunks, and twenty-four
ROW = 2_500  # bytes, the least that a row held as cells of text takes


def most(folder: Path, rows: int) -> float:
    """Megabytes that dating so many rows takes; pieces repeat, so that the tables of the model do not grow."""
    stock = pd.read_csv(STOCK, dtype=str, keep_default_na=False)
    long = pd.concat([stock] * (rows // len(stock) + 1)).iloc[:rows]
    source = folder / f"{rows}.csv"
    long.assign(id=[f"P{at}" for at in range(rows)]).to_csv(source, index=False)
    asked = [sys.executable, "-c", DATED, str(source), str(folder / f"{rows}.out.csv")]
    said = subprocess.run(asked, capture_output=True, text=True, check=True)
    return int(said.stdout) / (1e6 if sys.platform == "darwin" else 1e3)


@pytest.mark.slow
@pytest.mark.skipif(
    sys.platform == "win32", reason="the system does not say how much memory was taken"
)
def test_eight_times_the_rows_take_no_more_memory(tmp_path: Path) -> None:
    more = most(tmp_path, LONG) - most(tmp_path, SHORT)
    assert more < (LONG - SHORT) * ROW / 1e6 / 3, f"{more:.0f} MB more"
