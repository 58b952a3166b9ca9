"""What is older than the years covered is told apart; in museums the form chooses the kind of object."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from scarfdate import date_scarf, date_table, explain

AS_OF = 2020
SQUARE = {"fibre": "silk", "form": "square"}


def test_the_sentence_tells_older_and_younger_apart():
    dating = date_scarf(SQUARE, channel="museum-scarf", as_of=AS_OF)
    first, last = dating.if_younger()
    assert dating.before_grid == dating.probability[0] > 0.10
    assert dating.sentence.startswith("Older than 1881: ")
    assert f"if younger: {first}-{last} (80 % sure)" in dating.sentence
    assert dating.between(first, last) >= 0.8 * (1 - dating.before_grid) - 1e-9
    assert f"if younger: {first}-{last}" in dating.plot().get_title(loc="left")
    assert dict(dating._bars())["before 1881"] == pytest.approx(dating.before_grid)
    assert sum(chance for _, chance in dating._bars()) == pytest.approx(1, abs=0.05)
    assert dating.to_dict()["if_younger"] == [first, last]


def test_a_table_has_the_same_columns_of_it():
    frame = pd.DataFrame(
        [SQUARE, {"form": "other", "fibre": "cotton"}, {"fibre": "silk"}, {"printed_year": 1962}]
    )
    table = date_table(frame, channel="museum", as_of=AS_OF)
    for row, seen in enumerate(frame.to_dict("records")):
        seen = {name: cell for name, cell in seen.items() if not pd.isna(cell)}
        dating = date_scarf(seen, channel="museum", as_of=AS_OF)
        apart = dating.before_grid >= 0.10
        younger = dating.if_younger() if apart else dating.interval()
        assert (table["younger_from"][row], table["younger_to"][row]) == younger
        assert table["before_grid"][row] == pytest.approx(dating.before_grid)
        assert table["sentence"][row] == dating.sentence
        assert (table["year_from"][row], table["year_to"][row]) == dating.interval()
    assert "Older" not in table["sentence"][3]


def test_a_channel_that_has_nothing_so_old_says_nothing_of_it():
    dating = date_scarf(SQUARE, as_of=AS_OF)
    assert "Older" not in dating.sentence
    assert "before 1881" not in dict(dating._bars())


def test_the_form_is_a_condition_in_museums():
    """A scarf is dated among scarves, a length of cloth among lengths, and neither form is evidence there."""
    for form, channel in (
        ("square", "museum-scarf"),
        ("kerchief", "museum-scarf"),
        ("other", "museum-textile"),
    ):
        seen = {"fibre": "silk", "form": form}
        assert date_scarf(seen, channel="museum", as_of=AS_OF).channel == channel
        assert explain(seen, channel="museum", as_of=AS_OF).share.keys() == {"fibre", "form"}
    unknown = date_scarf(
        {"fibre": "silk", "form": {"square": 0.5, "other": 0.5}}, channel="museum", as_of=AS_OF
    )
    assert (
        unknown.channel
        == date_scarf({"fibre": "silk"}, channel="museum", as_of=AS_OF).channel
        == "museum"
    )
    lengths = [
        date_scarf({"fibre": "silk", **form}, channel="museum-textile", as_of=AS_OF).probability
        for form in ({}, {"form": "other"})
    ]
    assert np.abs(lengths[0] - lengths[1]).max() < 1e-9


def test_rows_of_several_kinds_keep_their_order_and_their_faults():
    rows = [{"id": "a", "form": "other"}, {"id": "b", "form": "square"}, {"id": "a", "form": "square"},
            {"id": "c", "form": "nonsense"}, {"id": "d", "fibre": "wool"}]  # fmt: skip
    table, chance = date_table(
        pd.DataFrame(rows), channel="museum", as_of=AS_OF, with_years=True, on_error="collect"
    )
    assert table["errors"].notna().tolist() == [False, False, False, True, False]
    assert table["warnings"].notna().tolist()[2]  # an id of an earlier row
    assert np.isnan(chance).any(axis=1).tolist() == [False, False, False, True, False]
    for row in (0, 1, 2, 4):
        seen = {name: cell for name, cell in rows[row].items() if name != "id"}
        expected = date_scarf(seen, channel="museum", as_of=AS_OF).probability
        assert chance[row] == pytest.approx(expected, abs=1e-12)
