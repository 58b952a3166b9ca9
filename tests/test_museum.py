"""The museum factor is what its command builds, and museum records are dated by plain rules.

Source: the open museum date records beside the project; their README names licences and limits.
"""

from __future__ import annotations

from pathlib import Path

from scarfdate.museum.counts import year_table

from scarfdate.tables.priors import shipped_folder
from tests.real_records.museum_dating import measure


def test_shipped_year_table_is_what_the_records_give(shared: Path) -> None:
    museum = shared / "museum"
    built = year_table([museum / "records.csv", museum / "harvested.csv"], 2025)
    assert built == (shipped_folder() / "year_museum.csv").read_bytes()


def test_museum_records_by_plain_rules(shared: Path) -> None:
    """Floors well below what was measured (0.82 to 0.88 met, 0.17 to 0.22 nats gained)."""
    found = measure(shared / "museum")
    assert found["bad rows"] == 0
    for part in ("all", "recent"):
        assert found[f"{part}: museum interval meets ours"] > 0.7
        gain = found[f"{part}: gain over the prior, nats a record"]
        assert gain > 2 * found[f"{part}: its standard error"]
