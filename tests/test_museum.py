"""Museum records of scarves are dated in the channel ``museum``.

Source: the open museum date records beside the project; their README names licences and limits.
"""

from __future__ import annotations

from pathlib import Path

from tests.real_records.museum_dating import measure


def test_museum_records_are_dated(shared: Path) -> None:
    """Floors below what was measured; the tables were built from the same records."""
    found = measure(shared / "museum")
    assert found["bad rows"] == 0
    for part in ("all", "recent"):
        assert found[f"{part}: museum interval meets ours"] > 0.75
        gain = found[f"{part}: gain over the prior, nats a record"]
        assert gain > 4 * found[f"{part}: its standard error"]
