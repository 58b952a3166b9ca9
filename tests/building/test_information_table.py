"""The bits kept with the priors are those of the tables, and are told where a clue is used."""

from __future__ import annotations

import csv

import numpy as np

from scarfdate import Scarf, date_scarf, load_priors
from scarfdate.building.information_table import information_table
from scarfdate.tables.priors import shipped_folder


def test_the_shipped_table_is_what_the_command_writes() -> None:
    shipped = (shipped_folder() / "information.csv").read_text(encoding="utf-8").splitlines()
    built = information_table().decode("utf-8").splitlines()
    for ours, theirs in zip(csv.reader(built), csv.reader(shipped), strict=True):
        assert ours[:2] == theirs[:2]
        if ours[0] != "family":
            assert np.allclose([*map(float, ours[2:6])], [*map(float, theirs[2:6])], atol=2e-3)


def test_a_clue_that_may_say_nothing_says_so_where_it_is_used() -> None:
    assert "label" in load_priors().says_little
    dating = date_scarf(Scarf(fibre="silk", label="none-seen"), as_of=2026)
    assert dating.says_little == ("label",)
    assert "By themselves these may say nothing of the decade: label." in str(dating)
    assert not date_scarf(Scarf(fibre="silk"), as_of=2026).says_little
