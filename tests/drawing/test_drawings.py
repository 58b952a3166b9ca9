"""Every value of every clue has a drawing of its own, or a stated reason why it has none.

Outside references: the vocabulary and the stitch counts of the tables; what SVG 2 and the accessibility
mappings of the W3C ask of a picture (role img with a name: title, desc).
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate import Drawing, Scarf, ScarfdateError, WordError, draw, draw_clue, load_priors
from scarfdate.cli import cli
from scarfdate.show import page
from scarfdate.strokes.shown import EVERY_WORD
from scarfdate.strokes.sketches import SKETCHES, TOUCH

PRIORS = load_priors()
SVG = "{http://www.w3.org/2000/svg}"
VALUES = [
    (family, word)
    for family in PRIORS.families
    for word in PRIORS.vocabulary.values.get(family, (EVERY_WORD,))
]
DRAWN = [
    (family, word)
    for family, word in VALUES
    if (row := PRIORS.drawings.get((family, word))) is not None and row.alt
]
WIDE_SIDES = 25.4  # mm in an inch, by definition


@pytest.fixture(scope="module")
def drawn() -> dict[tuple[str, str], Drawing]:
    return {
        (family, word): draw_clue(family, None if word == EVERY_WORD else word)
        for family, word in DRAWN
    }


def _tree(drawing: Drawing) -> ElementTree.Element:
    return ElementTree.fromstring(drawing.svg)


def _ink(drawing: Drawing) -> list[ElementTree.Element]:
    """What is drawn, without words for people."""
    kinds = ("polyline", "polygon", "path", "ellipse", "rect")
    return [one for one in _tree(drawing).iter() if one.tag.removeprefix(SVG) in kinds]


# --------------------------------------------------------------------------------- every value


def test_every_value_has_a_drawing_or_a_reason() -> None:
    missing = []
    for family, word in VALUES:
        row = PRIORS.drawings.get((family, word)) or PRIORS.drawings.get((family, EVERY_WORD))
        has_strokes = row is not None and (row.family, row.word) in SKETCHES
        if row is None or has_strokes == bool(row.reason):
            missing.append((family, word))
        elif row.reason:
            assert re.fullmatch(r"[A-Z].{20,}\.", row.reason), (family, word)
    assert not missing, "these need a row in drawings.csv, and a stroke or a reason"


def test_no_stroke_and_no_row_is_left_over() -> None:
    assert set(SKETCHES) <= set(PRIORS.drawings)
    families = {family for family, word in VALUES if word == EVERY_WORD}
    for family, word in PRIORS.drawings:
        assert (family, word) in VALUES or (word == EVERY_WORD and family not in families | {"hem"})


def test_what_cannot_be_drawn_says_why() -> None:
    for family, word in VALUES:
        if (family, word) in DRAWN or word == EVERY_WORD:
            continue
        row = PRIORS.drawings.get((family, word)) or PRIORS.drawings[family, EVERY_WORD]
        with pytest.raises(WordError, match=re.escape(row.reason)):
            draw_clue(family, word)


def test_no_two_values_share_a_drawing(drawn: dict[tuple[str, str], Drawing]) -> None:
    """Compared without headings; only a count of stitches has the drawing of a hem."""
    inks: dict[str, list[tuple[str, str]]] = {}
    for key, drawing in drawn.items():
        view = _tree(drawing).find(f"{SVG}svg")
        assert view is not None
        inks.setdefault(ElementTree.tostring(view, encoding="unicode"), []).append(key)
    shared = [keys for keys in inks.values() if len(keys) > 1]
    assert shared == [[("hem", "machine-stitched"), ("stitches_per_inch", EVERY_WORD)]]


def test_every_drawing_has_ink_that_lies_on_its_paper(
    drawn: dict[tuple[str, str], Drawing],
) -> None:
    for key, drawing in drawn.items():
        root = _tree(drawing)
        _, _, width, height = map(float, root.get("viewBox", "").split())
        assert root.get("width") == f"{width:g}mm" and root.get("height") == f"{height:g}mm", key
        for view in root.findall(f"{SVG}svg"):
            x, y, wide, high = (float(view.get(name, 0)) for name in ("x", "y", "width", "height"))
            assert x >= 0 and x + wide <= width + 0.01 and y >= 0 and y + high <= height + 0.01, key
        assert len(_ink(drawing)) >= 3, key  # the paper, the bar, and something over it
        assert len(drawing.svg) < 400_000, key


# --------------------------------------------------------------------------------- words and ink


def test_every_drawing_has_words_for_who_cannot_see_it(
    drawn: dict[tuple[str, str], Drawing],
) -> None:
    for (family, word), drawing in drawn.items():
        root = _tree(drawing)
        assert root.get("role") == "img"
        assert root[0].tag == f"{SVG}title" and root[0].text
        assert root[1].tag == f"{SVG}desc" and root[1].text == drawing.alt
        assert PRIORS.drawings[family, word].alt in drawing.alt
        assert drawing.caption.endswith(TOUCH)
        assert PRIORS.drawings[family, word].alt in drawing.caption
        assert "At full size" in drawing.caption and "the bar is" in drawing.caption


def test_drawings_are_black_on_white(drawn: dict[tuple[str, str], Drawing]) -> None:
    for key, drawing in drawn.items():
        inks = {one.get(name) for one in _tree(drawing).iter() for name in ("fill", "stroke")}
        assert inks <= {None, "none", "#000", "#fff"}, key
        assert not re.search(r"url\(|<style|opacity|<image|href|<script| on\w+=| id=", drawing.svg)


def test_the_bar_is_as_long_as_it_says(drawn: dict[tuple[str, str], Drawing]) -> None:
    units = {"cm": 10.0, "mm": 1.0, "micrometres": 1e-3}
    for key, drawing in drawn.items():
        view = _tree(drawing).find(f"{SVG}svg")
        assert view is not None
        bar = [one for one in view if one.tag == f"{SVG}polyline"][-1]
        ends = [float(pair.split(",")[0]) for pair in bar.get("points", "").split()]
        said, unit = (view.findall(f"{SVG}text")[-1].text or "").split()
        true = (max(ends) - min(ends)) / PRIORS.drawings[key].times
        assert true == pytest.approx(float(said) * units[unit], rel=0.01), key
        assert f"the bar is {said} {unit}" in drawing.caption


# --------------------------------------------------------------------------------- hems


def _stitches(drawing: Drawing) -> list[list[tuple[float, float]]]:
    return [
        [tuple(map(float, pair.split(","))) for pair in one.get("points", "").split()]  # type: ignore[misc]
        for one in _tree(drawing).iter(f"{SVG}polyline")
        if one.get("class") == "stitch"
    ]


@settings(max_examples=40, deadline=None)
@given(st.integers(3, 30))
def test_an_inch_has_as_many_stitches_as_it_says(count: int) -> None:
    stitches = _stitches(draw_clue("stitches_per_inch", count))
    assert len(stitches) == count
    starts = [min(x for x, _ in stitch) for stitch in stitches]
    times = PRIORS.drawings["stitches_per_inch", EVERY_WORD].times
    assert np.diff(starts) == pytest.approx(WIDE_SIDES * times / count, abs=0.01)


@pytest.mark.parametrize(
    "hem", ["hand-rolled", "machine-rolled", "machine-stitched", "overlocked", "hemstitched"]
)
def test_hems_are_drawn_with_the_usual_number_of_stitches(hem: str) -> None:
    """Within the spread of ``measured/stitches_per_inch.csv`` in 1965."""
    centre, spread = PRIORS.measured["stitches_per_inch"].every_year([hem], np.array([1965]))
    drawn = WIDE_SIDES / PRIORS.drawings["hem", hem].every
    assert abs(math.log(drawn) - centre.mean()) < spread.mean()
    assert len(_stitches(draw_clue("hem", hem))) == pytest.approx(drawn, abs=1)


def _unevenness(hem: str) -> tuple[float, float]:
    """How much distances differ, of their mean; how much slopes differ."""
    stitches = _stitches(draw_clue("hem", hem))
    gaps = np.diff([stitch[0][0] for stitch in stitches])
    slopes = [(a[0] - b[0]) / (abs(a[1] - b[1]) + 1) for a, b in stitches]
    return float(gaps.std() / gaps.mean()), float(np.std(slopes))


def test_a_hand_is_uneven_and_a_machine_is_not() -> None:
    for measure, machine in zip(
        _unevenness("hand-rolled"), _unevenness("machine-rolled"), strict=True
    ):
        assert measure > 0.05
        assert machine < 0.001
    size = {
        hem: PRIORS.drawings["hem", hem].size
        for hem in ("hand-rolled", "machine-rolled", "machine-stitched")
    }
    assert size["machine-rolled"] < size["hand-rolled"] < size["machine-stitched"]


# --------------------------------------------------------------------------------- pieces


def test_a_piece_is_drawn_to_scale_beside_a_hand() -> None:
    drawing = draw(Scarf(size="90 x 60 cm", layout="bordered"))
    times = PRIORS.drawings["long_side", EVERY_WORD].times
    view = _tree(drawing).find(f"{SVG}svg/{SVG}svg")
    assert view is not None
    assert float(view.get("width", 0)) == pytest.approx(900 * times, abs=0.01)
    assert float(view.get("height", 0)) == pytest.approx(600 * times, abs=0.01)
    assert "90 x 60 cm" in drawing.alt and "bordered" in drawing.alt
    bare = draw(Scarf(size="90 x 60 cm", motif="dots"))  # an empty square is no plain one
    assert "90 x 60 cm, without its pattern" in bare.alt


@pytest.mark.parametrize("size", ["5 x 5 cm", "590 x 20 cm", "20 x 590 cm"])
def test_any_piece_finds_room(size: str) -> None:
    root = _tree(draw(Scarf(size=size, layout="ends")))
    width, height = map(float, root.get("viewBox", "").split()[2:])
    assert width < 260 and height < 160


def test_a_piece_shows_each_clue_and_says_what_is_not_drawn() -> None:
    drawing = draw(
        {"hem": "rolled", "stitches_per_inch": 9, "palette": "jewel", "label_text": "MADE IN ITALY"}
    )
    for said in (
        "hem: perhaps hand-rolled",
        "hem: perhaps machine-rolled",
        "9 stitches in an inch",
    ):
        assert said in drawing.alt
    assert (
        "Not drawn: " in drawing.caption
        and PRIORS.drawings["palette", EVERY_WORD].reason in drawing.caption
    )
    assert "stitches per inch: 9" not in drawing.alt  # in the hem already
    assert {
        len(_stitches(draw({"hem": hem, "stitches_per_inch": 9})))
        for hem in ("machine-rolled", "other")
    } == {9}


def test_a_whole_clue_is_one_sheet() -> None:
    drawing = draw_clue("hem")
    for word in PRIORS.vocabulary.values["hem"]:
        assert f"hem: {word}" in drawing.alt


def test_nothing_to_draw_is_said() -> None:
    for call in (lambda: draw({}), lambda: draw({"palette": "jewel"}), lambda: draw({"note": "x"})):
        with pytest.raises(ScarfdateError, match="nothing was noted that can be drawn"):
            call()
    with pytest.raises(WordError, match="hem"):
        draw_clue("hmm", "rolled")
    with pytest.raises(WordError, match="hand-rolled"):
        draw_clue("hem", "hand-roled")
    with pytest.raises(WordError, match="nobody looked"):
        draw_clue("hem", "?")
    with pytest.raises(WordError):
        draw_clue(["hem"])  # type: ignore[arg-type]


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=60) | st.text("<>&\"'\x00\x1b\u202e]]>abc", max_size=30))
def test_nothing_typed_becomes_markup(text: str) -> None:
    piece = Scarf(hem="machine-rolled", note=text)
    object.__setattr__(piece, "id", text)
    drawing = draw(piece)
    root = _tree(drawing)
    assert {one.tag.removeprefix(SVG) for one in root.iter()} <= {
        "svg", "title", "desc", "rect", "text", "polyline", "polygon", "path", "ellipse",
    }  # fmt: skip
    ElementTree.fromstring(drawing._repr_html_())


def test_a_drawing_is_the_same_every_time() -> None:
    piece = {"hem": "hand-rolled", "print_technique": "digital"}
    assert draw(piece) == draw(piece)
    assert repr(draw(piece)).startswith("Drawing(")


def test_in_a_notebook_the_caption_stands_below() -> None:
    drawing = draw_clue("hem", "fringed")
    figure = ElementTree.fromstring(drawing._repr_html_())
    assert [one.tag.removeprefix(SVG) for one in figure] == ["svg", "figcaption"]
    assert figure[1].text == drawing.caption
    assert drawing._repr_svg_().replace(f' class="{page.NO_MATHEMATICS}"', "", 1) == drawing.svg


def test_saved_whole_or_not_at_all(tmp_path: Path) -> None:
    drawing, place = draw_clue("weave", "satin"), tmp_path / "satin.svg"
    assert drawing.save(place) == place
    assert ElementTree.parse(place).getroot().get("role") == "img"
    with pytest.raises(ScarfdateError, match="there already"):
        drawing.save(place)
    drawing.save(place, force=True)
    for wrong in (tmp_path / "satin.png", tmp_path / "no" / "satin.svg"):
        with pytest.raises(ScarfdateError):
            drawing.save(wrong)
    assert [one.name for one in tmp_path.iterdir()] == ["satin.svg"]


def test_the_prompt_writes_the_drawings_of_a_word_list(tmp_path: Path) -> None:
    place = tmp_path / "weave.svg"
    run = CliRunner().invoke(cli, ["words", "weave", "--drawing", str(place)])
    assert run.exit_code == 0, run.output
    assert place.read_text(encoding="utf-8").endswith(draw_clue("weave").svg + "\n")
    for wrong in (
        ["words", "weave", "--drawing", str(place)],
        ["words", "--drawing", "x.svg"],
        ["words", "palette", "--drawing", str(tmp_path / "p.svg")],
    ):
        assert CliRunner().invoke(cli, wrong).exit_code == 2
    assert [one.name for one in tmp_path.iterdir()] == ["weave.svg"]


def test_a_list_of_words_is_drawn_word_by_word_and_none_is_in_doubt() -> None:
    both = draw_clue("hem", ["hand-rolled", "raw"])
    assert both.caption.splitlines()[-1] == TOUCH
    assert [line.partition(".")[0] for line in both.caption.splitlines()[:2]] == [
        "hem: hand-rolled",
        "hem: raw",
    ]
    assert "perhaps" in draw_clue("hem", {"hand-rolled": 0.5, "raw": 0.5}).caption
    with pytest.raises(WordError, match="no_such"):
        draw_clue("hem", ["raw", "no_such"])
