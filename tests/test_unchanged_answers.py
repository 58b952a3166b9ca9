"""The answers are those of the last change of tables or model, to 1e-12, asked for through the front door.

What was said then of the demo stock, of the texts of the demo labels and of 2,000 stored scarves lies in
``tests/unchanged/``: up to the moves into rooms that of commit 5c52719, since then that of the truer
tables. Moving code about must not change it. What changes tables or the model changes answers on purpose,
and replaces what is kept by

    python -m tests.unchanged.make

and says in its commit why, and how far the answers moved.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from scarfdate import Scarf, date_scarf, date_table, load_priors
from tests.unchanged.make import (
    AS_OF,
    CHANNELS,
    HERE,
    PARTS,
    STEP,
    Dated,
    dated,
    kept_years,
    label_texts,
    packed,
    unpacked,
)

TOLERANCE = 1e-12
YEARS = TOLERANCE - STEP / 2  # what is kept may be half a step off: no larger difference is let by
EXACT = ("year_from", "year_to", "median_year", "decade", "edtf")
CLOSE = ("decade_probability", "period_probability", "predictive_p")


@pytest.fixture(scope="module")
def now() -> dict[str, Dated]:
    return dated()


@pytest.fixture(scope="module")
def kept() -> dict[str, np.ndarray]:
    return kept_years()


@pytest.fixture(scope="module")
def columns() -> pd.DataFrame:
    return pd.read_csv(HERE / "columns.csv")


def farthest(one: np.ndarray, other: np.ndarray) -> float:
    """The largest difference; that of nan is nan, which is below nothing."""
    assert one.shape == other.shape
    return float(np.abs(one - other).max())


@pytest.mark.parametrize("part", PARTS)
def test_years_of_every_piece(
    part: str, now: dict[str, Dated], kept: dict[str, np.ndarray]
) -> None:
    frame, years = now[part]
    assert frame["errors"].isna().all()
    assert farthest(years, kept[part]) <= YEARS


@pytest.mark.parametrize("part", ["stock", "labels"])
def test_columns(part: str, now: dict[str, Dated], columns: pd.DataFrame) -> None:
    frame = now[part][0].rename(columns={"agreement": "predictive_p"})
    then = columns[columns["part"] == part]
    for name in EXACT:
        assert frame[name].tolist() == then[name].tolist(), name
    for name in CLOSE:
        assert farthest(frame[name].to_numpy(float), then[name].to_numpy(float)) <= TOLERANCE, name


def test_one_scarf_at_a_time(kept: dict[str, np.ndarray], columns: pd.DataFrame) -> None:
    said = columns[columns["part"] == "labels"]
    priors = load_priors()
    for text, years, edtf in zip(
        label_texts()["label_text"], kept["labels"], said["edtf"], strict=True
    ):
        dating = date_scarf(Scarf(label_text=text), priors=priors, as_of=AS_OF)
        assert farthest(dating.probability, years) <= YEARS, text
        assert dating.edtf == edtf, text


def test_enough_is_kept(kept: dict[str, np.ndarray]) -> None:
    """The fixture holds what its head promises, and pieces that differ."""
    assert len(kept["stock"]) == len(pd.read_csv(HERE.parents[1] / "data" / "stock.csv"))
    assert len(kept["labels"]) == len(label_texts())
    assert len(kept["scarves"]) == 2000
    assert set(pd.read_csv(HERE / "scarves.csv")["channel"]) == set(CHANNELS)
    for years in kept.values():
        assert years.shape[1] == AS_OF - 1880 + 1
        assert farthest(years.sum(axis=1), np.ones(len(years))) < TOLERANCE * years.shape[1]
    assert len(np.unique(kept["scarves"].round(6), axis=0)) > 1900


def test_packing_loses_less_than_the_tolerance() -> None:
    """Also where all lies in one year, and where a difference is as large as it may be."""
    rng = np.random.default_rng(3)
    years = np.vstack([rng.dirichlet(np.full(147, a), 50) for a in (0.01, 0.3, 5)] + [np.eye(147)])
    again = unpacked(packed(years))
    assert farthest(again, years) <= STEP / 2 < TOLERANCE / 8
    moved = years.copy()
    moved[:, 7] += 1.01 * TOLERANCE
    assert np.abs(moved - again)[:, 7].min() > YEARS


def test_a_row_that_cannot_be_dated_is_not_kept() -> None:
    """A stock with a bad row would be held to nothing there."""
    frame = pd.DataFrame({"fibre": ["silk", "no such cloth"]})
    _, years = date_table(frame, as_of=AS_OF, with_years=True, on_error="collect")
    with pytest.raises(ValueError, match="could not be dated"):
        packed(years)
