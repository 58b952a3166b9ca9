"""A table of answers comes in once more: its answers are worked out anew, a dealer's own columns stay hers."""

from __future__ import annotations

import pandas as pd
import pytest

from scarfdate import date_table
from scarfdate.answer.again import beside, without_answers

AS_OF = 2026
PIECES = pd.DataFrame(
    {"id": ["a", "b"], "fibre": ["silk", "polyester"], "hem": ["hand-rolled", None]}
)
NAMES = ("year_from", "year_to", "decade", "sentence")


def test_answers_that_came_along_change_nothing() -> None:
    answers = date_table(PIECES, as_of=AS_OF)
    beside = pd.concat([PIECES, answers.assign(year_from=1700, year_to=1701)], axis=1)
    pd.testing.assert_frame_equal(date_table(beside, as_of=AS_OF), answers)


@pytest.mark.parametrize(
    ("columns", "left"),
    [
        (["year_from", "year_to", "decade", "fibre"], ["fibre"]),
        (["Year From", "YEAR_TO", "sentence", "decade"], []),
        (["year_from", "year_to", "fibre"], None),  # two alone can be a dealer's own
        (["year_from", "decade", "sentence", "fibre"], None),
        (["decade", "sentence"], None),
        ([1950, "year_from", "year_to", "decade"], [1950]),
    ],
)
def test_what_is_an_earlier_answer(columns: list[object], left: list[object] | None) -> None:
    frame = pd.DataFrame([range(len(columns))], columns=columns)
    found = without_answers(frame, NAMES)
    assert list(found.columns) == (columns if left is None else left)
    assert (found is frame) == (left is None)


def test_answers_stand_beside_the_rows_in_the_place_of_earlier_ones() -> None:
    """And a column of a dealer's own that is headed as an answer is kept as a note."""
    answers = date_table(PIECES, as_of=AS_OF)
    own = PIECES.assign(Decade=["fifties?", ""])
    found = beside(own, answers)
    assert list(found.columns) == ["id", "fibre", "hem", "note_Decade", *answers.columns]
    assert len(found) == len(PIECES) and found["note_Decade"].tolist() == ["fifties?", ""]
    pd.testing.assert_frame_equal(found[[*answers.columns]], answers)
    again = beside(pd.concat([PIECES, answers], axis=1), answers)
    pd.testing.assert_frame_equal(again, pd.concat([PIECES, answers], axis=1))
