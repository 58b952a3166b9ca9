"""Rounds of practice bet by sliders: what is pressed is the bet that could have been typed."""

from __future__ import annotations

import pytest

from scarfdate import practice

pytestmark = pytest.mark.browser  # it needs what the browser's tests install, and no browser
AS_OF = 2026


def parts(box):
    """The text, the sliders, the remark and the button of a table."""
    seen, *sliders, said, lay = box.children
    return seen, sliders, said, lay


def test_chips_by_sliders_are_chips_that_are_typed() -> None:
    played = practice(seed=3, level="hems", rounds=1, as_of=AS_OF)
    typed = practice(seed=3, level="hems", rounds=1, as_of=AS_OF)
    seen, sliders, said, lay = parts(played.sliders())
    decades = {slider.description: slider for slider in sliders}
    assert lay.disabled and "10 left" in said.value
    decades["1960s"].value = 7
    assert lay.disabled and "3 left" in said.value
    decades["1970s"].value = 4
    assert lay.disabled and "1 too many" in said.value
    decades["1970s"].value = 3
    assert not lay.disabled
    while not played.outcomes:
        lay.click()
        typed.round().bet("1960s 7, 1970s 3")
    assert str(played.outcomes[0]) == str(typed.outcomes[0])
    assert "made in" in seen.value and all(slider.disabled for slider in sliders)
    assert lay.description == "The next piece"
    lay.click()  # there is none: what the rounds came to stands there instead
    assert lay.layout.display == "none" and "1 round" in seen.value


def test_an_interval_by_its_two_ends() -> None:
    played = practice(seed=3, rounds=2, bet="interval", as_of=AS_OF)
    seen, (slider,), _, lay = parts(played.sliders())
    slider.value = (1955, 1972)
    while not played.outcomes:
        lay.click()
    assert played.played[0].steps[-1].bet.interval == (1955, 1972)
    lay.click()
    assert "Round 2 of 2" in seen.value and not slider.disabled


def test_text_of_people_stays_text() -> None:
    frame = {
        "known": ["1964"],
        "known_by": ["receipt"],
        "fibre": ["silk"],
        "maker": ["<script>alert(1)</script>"],
    }
    pd = pytest.importorskip("pandas")
    played = practice(pieces=pd.DataFrame(frame, dtype=object), rounds=1, as_of=AS_OF)
    seen, sliders, _, lay = parts(played.sliders())
    sliders[8].value = 10
    while not played.outcomes:
        lay.click()
        assert "<script" not in seen.value
