"""The check of pages finds what it is to find, and lets pass what reads well."""

from __future__ import annotations

import pytest

from tests.lessons.faults import broken, faults


def put_out(html: str) -> str:
    return f'<section>None of these is needed.</section><div class="output_wrapper"><div>{html}</div></div>'


@pytest.mark.parametrize(
    "html",
    [
        "<table><tr><td>None</td></tr></table>",
        "<table><tr><td>&lt;NA&gt;</td></tr></table>",
        "<pre>label   None</pre>",
        "<pre>width nan</pre>",
        "<table><tr><td>did you me...</td></tr></table>",
        "<pre>a print that is commemorativ\ne, as it says</pre>",
        "<pre>the hem    worth 12 deciba   x\nand so     ns          y</pre>",
        "<pre>Made 1\n969 or so</pre>",
        "<script>1</script>",
        '<img src="https://example.org/a.png">',
        '<div class="output_stderr"></div>',
    ],
)
def test_a_fault_is_found(html: str) -> None:
    assert len(faults(put_out(html))) == 1


@pytest.mark.parametrize(
    "html",
    [
        "<pre>None of the clues surprises.</pre>",
        "<pre>mainly because of the hand-rolled\nhem and the silk</pre>",
        "<pre>silk      hand\npolyester made</pre>",
        "<table><tr><td>and so on ...</td></tr></table>",
        '<a href="https://example.org">a link is only followed when asked</a>',
    ],
)
def test_what_reads_well_passes(html: str) -> None:
    assert faults(put_out(html)) == []


def test_pieces_are_joined_within_their_column_only() -> None:
    known = {"geometric", "silk", "layout"}
    assert list(broken("geomet   silk\nric      layout", known)) == ["geomet/ric"]
    assert list(broken("geomet   silk\n         ric", known)) == []
