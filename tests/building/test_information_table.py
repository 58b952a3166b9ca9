"""``information.csv`` is what the command writes, and a dating shows it where a clue is used."""

from __future__ import annotations

import csv

import pytest

from scarfdate import Scarf, date_scarf, load_priors
from scarfdate.building.information import information_table
from scarfdate.tables.priors import shipped_folder

NUMBERS = ("bits", "lower", "upper", "beyond_chance")
LAST_DIGIT = 0.001  # sums in single precision may differ in it from one processor to another


@pytest.mark.long
@pytest.mark.slow
def test_the_shipped_table_is_what_the_command_writes() -> None:
    """Byte for byte, but that a number may differ by one in its last digit."""
    shipped = (shipped_folder() / "information.csv").read_bytes().decode("utf-8")
    built = information_table().decode("utf-8")
    ours, theirs = (list(csv.DictReader(text.splitlines())) for text in (built, shipped))
    for mine, its in zip(ours, theirs, strict=True):
        for column, cell in its.items():
            if column in NUMBERS:
                assert abs(float(mine[column]) - float(cell)) <= 1.001 * LAST_DIGIT, (its, column)
                mine[column] = cell
        assert mine == its
    assert built.splitlines()[0] == shipped.splitlines()[0]
    assert "python -m scarfdate.building.information;" in theirs[0]["source"]


def test_a_clue_that_may_carry_nothing_is_named_where_it_is_used() -> None:
    assert "label" in load_priors().says_little
    dating = date_scarf(Scarf(fibre="silk", label="none-seen"), as_of=2026)
    assert dating.says_little == ("label",)
    assert "The missing label tells you almost nothing about age." in str(dating)
    worn = date_scarf(Scarf(fibre="silk", palette="pastel"), as_of=2026)
    assert worn.says_little == ("palette",)
    assert "By itself perhaps no sign of the decade: the pastel colours." in str(worn)
    assert not date_scarf(Scarf(fibre="silk"), as_of=2026).says_little
