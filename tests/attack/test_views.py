"""No text of a person becomes an element, an attribute or mathematics in any view, page, card or drawing."""

from __future__ import annotations

import pytest

from tests.attack.views import ATTACK, CALM, MAKE, classes, kinds, parsed, shown, tried
from tests.attack.words import HOSTILE, PAYLOADS, harmless
from tests.test_notebook_views import MAKE as SHOWN

FAST = {
    "Label",
    "Condition",
    "Listing",
    "Understood",
    "Screen",
    "Drawing",
    "Edges",
    "NextLooks",
    "Prices",
    "Practice",
    "Round",
}
# where other letters of a label are other evidence, a hash is another, or a time
OTHERWISE = {
    "Dating", "Explanation", "Comparison", "Conflict", "Sensitivity", "Slopes", "Edges", "Edge", "Label",
    "StockUnderstood", "Understood", "SoldRecords", "Book", "Appraisal", "LotAppraisal", "TablesCompared", "Learned",
    "Listing", "Listing, published", "Listing, German", "Scores", "Sorting", "Screen", "BeforeAfter", "PocketCard", "Round",
}  # fmt: skip
# nothing in these is of a person's text
NO_TEXT = {"Sensitivity", "WordList, all", "Shelf", "Costs", "Appraisal", "Learned", "Scores", "BeforeAfter", "Trust", "Weights",
           "Calibration", "Outcome", "Summary", "DatingOverDraws", "Edges, none", "Round"}  # fmt: skip
CASES = [pytest.param(name, marks=() if name in FAST else pytest.mark.slow) for name in MAKE]


def test_every_class_that_shows_itself_is_attacked() -> None:
    assert classes() <= {name.partition(",")[0] for name in MAKE}
    assert set(SHOWN) <= set(MAKE)


@pytest.mark.parametrize("name", CASES)
def test_no_text_becomes_markup(name: str) -> None:
    for one in tried(name):
        assert one.added == set(), one.how
        assert one.same or name in OTHERWISE, one.how
        assert bool(one.times) != (name in NO_TEXT), one.how
        if one.how != "html":  # what is published goes where no mathematics is set
            assert not {*"$\\"} & {*one.typeset}, one.how


def test_the_comparison_sees_a_hole() -> None:
    """Planted: the same view with one text that is not escaped."""
    for payload in PAYLOADS[:6]:
        page = shown(MAKE["Costs"](ATTACK))["_repr_html_"]
        hostile, calm = (
            parsed("", page.replace("EUR", f"<b title=\"{text}\" lang='{text}'>{text}"))
            for text in (payload, harmless(payload))
        )
        assert kinds(hostile) - kinds(calm) or hostile.nodes != calm.nodes
    assert len(harmless(HOSTILE)) == len(HOSTILE)
    assert not {*"<>&\"'$"} & {*harmless(HOSTILE)}
    assert ATTACK.priors.hash != CALM.priors.hash
