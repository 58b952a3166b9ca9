"""Museum records of scarves are dated in the channel ``museum``, and scarves that taught nothing as well.

Source: the open museum date records beside the project; their README names licences and limits.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scarfdate import date_table, load_priors
from scarfdate.building.record_clues import record_clues
from scarfdate.columns.names import SCARF_LIKE
from scarfdate.lessons.contents import shipped_notebooks
from scarfdate.records.museum import read_records
from tests.real_records import curator
from tests.real_records.museum_dating import measure


def test_museum_records_are_dated(shared: Path) -> None:
    """Floors below what was measured; the tables were built from the same records."""
    found = measure(shared / "museum")
    assert found["bad rows"] == 0
    for part in ("all", "recent"):
        assert found[f"{part}: museum interval meets ours"] > 0.75
        gain = found[f"{part}: gain over the prior, nats a record"]
        assert gain > 4 * found[f"{part}: its standard error"]


def test_the_year_of_acquisition_is_passed_on(shared: Path) -> None:
    records = read_records(shared / "museum" / "records.csv")
    chosen = records.kind.is_word(SCARF_LIKE) & (records.first >= 1950) & (records.acquired > 0)
    records = records.only(np.flatnonzero(chosen))
    frame = record_clues(records, load_priors()).frame(acquired=True)
    dated = date_table(frame, channel="museum")
    assert dated["errors"].isna().all()
    assert (dated["year_to"].to_numpy() <= records.acquired).all()
    assert "acquired" not in record_clues(records, load_priors()).frame()


@pytest.mark.slow
@pytest.mark.statistical
def test_a_curator_is_helped_with_scarves_of_the_20th_century(shared: Path) -> None:
    """With tables that rest on none of the scarves. The project's target for such records, a gain of 0.40, is
    NOT reached: it is 0.388 with a standard error of 0.151, and held to what it is.

    Of the late decades, those of which there are forty records and more are held to theirs.
    """
    found = curator.measured(shared / "museum")
    scarves = found[curator.SCARVES]
    assert len(scarves) == 52
    assert curator.mean(scarves, "gain")[0] >= 0.37
    assert 0.74 <= curator.mean(scarves, "covered")[0] <= 0.88
    kept = pd.read_csv(Path(curator.__file__).with_suffix(".csv")).set_index("records")
    for name, records in zip(kept.index, (scarves, found[curator.ALL_KINDS]), strict=True):
        gain, error = curator.mean(records, "gain")
        now = (len(records), gain, error, curator.mean(records, "covered")[0])
        assert now == pytest.approx(tuple(kept.loc[name]), abs=0.005), name
    late = curator.by_decade(found[curator.ALL_KINDS]).set_index("decade")
    # the figures that the lesson on trust shows
    shown = pd.read_csv(shipped_notebooks() / "held_out.csv")
    shown = shown[shown["what"] == "by decade"].set_index("name")
    assert shown["records"].to_dict() == late["records"].to_dict()
    assert shown["covered"].to_dict() == pytest.approx(late["covered"].to_dict(), abs=0.005)
    assert (late.loc[["1970s", "2000s"], "covered"] >= 0.70).all()
