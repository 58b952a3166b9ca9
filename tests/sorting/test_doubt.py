"""The slider of doubt: certain at one end, as if nobody had looked at the other."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate import Priors, Scarf, date_scarf, load_priors
from scarfdate.sorting.doubt import doubted
from tests.sorting.table import NOW, keys, play, table

PRIORS = load_priors()
FAMILIES = sorted(PRIORS.shares)


@st.composite
def words(draw: st.DrawFn) -> tuple[str, str, str]:
    family = draw(st.sampled_from(FAMILIES))
    vocabulary = PRIORS.vocabulary
    able = (*vocabulary.values[family], *vocabulary.parents[family])
    method = draw(st.sampled_from(sorted(PRIORS.confusion[family].matrices)))
    return family, draw(st.sampled_from(able)), method


@settings(deadline=None, max_examples=60)
@given(words(), st.floats(0, 1))
def test_weights_are_such_as_a_scarf_takes(what: tuple[str, str, str], doubt: float) -> None:
    family, word, method = what
    weights = doubted(PRIORS, family, word, doubt, method)
    assert sum(weights.values()) == pytest.approx(1, abs=0.005)
    assert min(weights.values()) > 0
    known = PRIORS.vocabulary
    own = (
        word if not doubt or word not in known.narrower[family] else known.children(family, word)[0]
    )
    assert weights[own] >= max(weights.values()) - 1e-4  # the word noted stays the likeliest
    seen = Scarf(priors=PRIORS, **{family: weights}).observations[family]
    assert dict(seen.terms).keys() == weights.keys()


@settings(deadline=None, max_examples=20)
@given(words())
def test_full_doubt_is_as_if_nobody_had_looked(what: tuple[str, str, str]) -> None:
    """Weights that are all the same are a likelihood that is the same for all years."""
    family, word, _ = what
    rest: dict[str, object] = {"hem": "machine-stitched"} if family != "hem" else {"fibre": "rayon"}
    doubting = {family: doubted(PRIORS, family, word, 1.0)}
    with_it, without = (date_scarf(seen, as_of=NOW) for seen in (rest | doubting, rest))
    np.testing.assert_allclose(with_it.probability, without.probability, atol=1e-6)


def test_by_hand(priors: Priors) -> None:
    """Of twelve fibres, at doubt 0.6 silk keeps 1 - 0.6 * 11 / 12 = 0.45; of the rest 0.4 go by likeness."""
    weights = doubted(priors, "fibre", "silk", 0.6)
    assert weights["silk"] == pytest.approx(0.45)
    common = priors.usual_shares["fibre"]
    taken = priors.confusion["fibre"].matrix("feel")[:, 0] * common
    place = priors.vocabulary.values["fibre"].index("polyester")
    expected = 0.55 * (0.4 * taken[place] / taken[1:].sum() + 0.6 / 11)
    assert weights["polyester"] == pytest.approx(expected, abs=1e-4)
    assert weights["polyester"] > weights["linen"] > 0  # what feels like silk comes next


def test_the_slider_moves_the_years_towards_what_is_not_known(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    nothing = sorting.screen().piece.answer.bars
    screen = play(sorting, keys("fp"))
    far = [_far(nothing, screen.piece.answer.bars)]
    for step in range(1, 11):
        screen = sorting.press("ArrowRight")
        assert screen.clues[0].sure == pytest.approx(1 - step / 10 * 11 / 12, abs=1e-3)
        far.append(_far(nothing, screen.piece.answer.bars))
    assert far == sorted(far, reverse=True)
    assert far[0] > 0.1 and far[-1] < 1e-6
    assert screen.piece.noted == (("fibre", "polyester (8 % sure)"),)
    assert sorting.press("ArrowRight").clues == screen.clues  # there is an end to it
    for _ in range(12):
        screen = sorting.press("ArrowLeft")
    assert screen.clues[0].sure == 1


def _far(some: object, others: object) -> float:
    return sum(abs(a.chance - b.chance) for a, b in zip(some, others, strict=True))  # type: ignore[call-overload]


@pytest.mark.parametrize("value", [-0.1, 1.1, "0.5", True, None, float("nan")])
def test_a_doubt_that_is_none_is_refused(tmp_path: Path, value: object) -> None:
    sorting = table(tmp_path)
    before = play(sorting, keys("fs"))
    after = sorting.doubt(value)  # type: ignore[arg-type]
    assert "a number from 0 to 1" in after.messages[0] and after.clues == before.clues


def test_doubt_is_of_a_word_that_was_noted(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    assert "note it first" in sorting.press("ArrowRight").messages[0]
    assert "doubt is of a word" in sorting.doubt(0.5, "hem").messages[0]
    play(sorting, keys("z90 x 90 cm<Enter>"))
    assert "doubt is of a word" in sorting.press("ArrowRight").messages[0]


def test_how_it_was_looked_at_is_kept_with_the_word(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    play(sorting, keys("f..."))  # before the word: by a microscope
    screen = sorting.press("s")
    assert screen.clues[0].method == "microscope"
    sure = date_scarf({"fibre": "silk", "fibre_method": "microscope"}, as_of=NOW)
    assert screen.piece.answer.sentence == sure.sentence
    assert sorting.method("burn").clues[0].method == "burn"
    assert "cannot be looked at by" in sorting.method("sniffing").messages[0]
    assert "one way" in play(sorting, keys("rs.")).messages[0]
