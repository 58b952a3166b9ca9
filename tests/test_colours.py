"""Every plot of the library: colours apart for red-green blind readers and in grey, names in words.

What is simulated: Machado, Oliveira and Fernandes (2009), "A physiologically-based model for simulation of color
vision deficiency", IEEE Transactions on Visualization and Computer Graphics 15, 1291-1298; its matrices for full
protanopia and deuteranopia as published, applied to linear sRGB (IEC 61966-2-1). Distances are Euclidean in CIELAB
(D65); contrast is that of WCAG 2.2 (1.4.3 for text, 1.4.11 for what is drawn).
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import pandas as pd
import pytest

import scarfdate
from scarfdate import Scarf, compare, date_scarf
from scarfdate.show.colours import COLOURS

matplotlib = pytest.importorskip("matplotlib")
matplotlib.use("Agg")
from matplotlib import pyplot
from matplotlib.collections import Collection
from matplotlib.colors import to_hex, to_rgba
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text

AS_OF = 2026
APART, APART_IN_GREY = 20.0, 12.0  # CIELAB units; 2 can just be seen side by side
STANDS_OUT, READABLE = 3.0, 4.5  # contrast, of what is drawn and of text
BAND = 0.5  # what is fainter is a band behind lines, and names nothing by its colour

MACHADO = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
}
XYZ = np.array(  # of linear sRGB, D65
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)


def linear(colour: str) -> np.ndarray:
    sent = np.array(to_rgba(colour)[:3])
    return np.where(sent <= 0.04045, sent / 12.92, ((sent + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    """CIELAB of linear sRGB."""
    t = XYZ @ np.clip(light, 0, 1) / XYZ.sum(axis=1)
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def apart(one: str, other: str, deficiency: str) -> float:
    seen = np.array(MACHADO[deficiency])
    return float(np.linalg.norm(lab(seen @ linear(one)) - lab(seen @ linear(other))))


def apart_in_grey(one: str, other: str) -> float:
    return float(abs(lab(linear(one))[0] - lab(linear(other))[0]))


def contrast(one: str, other: str) -> float:
    low, high = sorted(float(XYZ[1] @ linear(colour)) for colour in (one, other))
    return (high + 0.05) / (low + 0.05)


def confused(colours: set[str]) -> list[tuple[str, str]]:
    """Pairs that a red-green blind reader, or a reader of a grey print, cannot tell apart."""
    return [
        pair
        for pair in combinations(sorted(colours), 2)
        if min(apart(*pair, deficiency) for deficiency in MACHADO) < APART
        or apart_in_grey(*pair) < APART_IN_GREY
    ]


# --------------------------------------------------------------------------------- the measure


def test_the_measure_is_that_of_the_sources() -> None:
    """Greys stay as they are (rows add up to one); CIELAB of red and the contrast of black as published."""
    for matrix in MACHADO.values():
        assert np.sum(matrix, axis=1) == pytest.approx(1, abs=2e-6)
    assert lab(linear("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.02)
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#767676", "#fff") == pytest.approx(
        4.54, abs=0.01
    )  # the lightest grey for text


def test_colours_that_are_known_to_be_confused_are_caught() -> None:
    assert (
        apart("#c23b22", "#5a7a1e", "deuteranopia")
        < APART
        < np.linalg.norm(lab(linear("#c23b22")) - lab(linear("#5a7a1e")))
    )
    assert confused({"#c23b22", "#5a7a1e"})
    assert confused({"#2f7f79", "#a8672a"})  # apart in colour, one grey
    assert not confused({"#000000", "#808080"})


def test_the_colours_of_the_library() -> None:
    assert not confused(set(COLOURS))
    assert min(contrast(colour, "#fff") for colour in COLOURS) >= STANDS_OUT


# --------------------------------------------------------------------------------- every plot

A = Scarf(fibre="silk", form="square", hem="hand-rolled", motif="geometric", layout="colour-blocks")
B = Scarf(
    fibre="polyester", form="square", hem="overlocked", print_technique="digital",
    label_make="heat-transfer", uv_glow="strong", stitches_per_inch=14, size="90 x 90 cm",
)  # fmt: skip


def _of(scarf: Scarf, channel: str = "thrift") -> scarfdate.Dating:
    return date_scarf(scarf, as_of=AS_OF, channel=channel)


@pytest.fixture(scope="module")
def records() -> scarfdate.SoldRecords:
    made = scarfdate.simulate(None, 60, np.random.default_rng(5), as_of=AS_OF)
    known = made.truth_frame()["year"].to_numpy()
    frame = made.frame()[["fibre", "hem", "motif"]]
    frame = frame.assign(known_from=known, known_to=known, known_by="receipt")
    return scarfdate.read_sold(frame, as_of=AS_OF, copies=True)


def _before_after(records: scarfdate.SoldRecords) -> scarfdate.BeforeAfter:
    learned = scarfdate.learn(records, route="counts", as_of=AS_OF)
    return scarfdate.before_after(None, learned.priors, records, as_of=AS_OF)


def _book() -> scarfdate.Book:
    traded = {
        "fibre": ["silk", "wool"] * 15, "asked_price": [9] * 30, "costs": [3] * 30,
        "sold_price": ["8 EUR"] * 29 + [None], "days_to_sell": [*range(29), None],
        "listed_on": [None] * 29 + ["2020-01-01"], "bought_on": [None] * 29 + ["2019-12-01"],
        "sold_currency": ["EUR"] * 30,
    }  # fmt: skip
    return scarfdate.read_book(pd.DataFrame(traded, dtype=object), as_of=AS_OF)


SHEET = pd.DataFrame({"fibre": ["silk", "silk?"], "hem": ["hand-rolled", "overlocked"]})
PLOTS: dict[str, Callable[[Any], Any]] = {
    "Dating.plot": lambda _: _of(A).plot(),
    "Dating.plot, old": lambda _: _of(Scarf(fibre="wool"), "museum-scarf").plot(),
    "Explanation.plot": lambda _: scarfdate.explain(
        B, "1960s rather than 1970s", as_of=AS_OF
    ).plot(),
    "Comparison.plot": lambda _: compare(_of(A), _of(B)).plot(),
    "Comparison.plot, twice the same": lambda _: compare(_of(A), _of(A)).plot(),
    "Comparison.plot, old": lambda _: compare(
        _of(A, "museum-scarf"), _of(Scarf(fibre="wool"), "museum-scarf")
    ).plot(),
    "Sensitivity.plot": lambda _: scarfdate.sensitivity(B, as_of=AS_OF).plot(),
    "Appraisal.plot": lambda _: scarfdate.appraise(A, 9, as_of=AS_OF).plot(),
    "LotAppraisal.plot": lambda _: scarfdate.appraise_lot(SHEET, 9, as_of=AS_OF).plot(),
    "Shelf.plot": lambda _: scarfdate.shelf(_book(), as_of=AS_OF).plot("fibre"),
    "Scores.plot_calibration": lambda of: scarfdate.score(None, of, as_of=AS_OF).plot_calibration(),
    "Scores.plot_pit": lambda of: scarfdate.score(None, of, as_of=AS_OF).plot_pit(),
    "BeforeAfter.plot": lambda of: _before_after(of).plot(),
    "Priors.plot_year": lambda _: scarfdate.load_priors().plot_year(as_of=AS_OF),
    "Priors.plot_year, a museum": lambda _: scarfdate.load_priors().plot_year(
        "museum", as_of=AS_OF
    ),
    "plot_pile": lambda _: scarfdate.plot_pile(SHEET, as_of=AS_OF),
}


QUICK = {"Dating.plot", "Comparison.plot", "plot_pile"}
NAMES = [pytest.param(name, marks=() if name in QUICK else pytest.mark.slow) for name in PLOTS]


@pytest.fixture(scope="module")
def figures(request: pytest.FixtureRequest) -> Iterator[Callable[[str], Any]]:
    """Each plot, drawn once."""
    drawn: dict[str, Any] = {}

    def one(name: str) -> Any:
        if name not in drawn:
            needed = name.startswith(("Scores", "BeforeAfter"))
            axes = PLOTS[name](request.getfixturevalue("records") if needed else None)
            drawn[name] = np.ravel(axes)[0].figure
            drawn[name].canvas.draw()
        return drawn[name]

    yield one
    for figure in drawn.values():
        pyplot.close(figure)


@pytest.mark.slow  # loads all that is at the front door
def test_every_plot_of_the_front_door_is_measured() -> None:
    plots = {name for name in scarfdate.__all__ if name.startswith("plot")}
    for name in scarfdate.__all__:
        kind = getattr(scarfdate, name)
        if inspect.isclass(kind):
            plots |= {f"{name}.{verb}" for verb in vars(kind) if verb.startswith("plot")}
    assert plots == {name.partition(",")[0] for name in PLOTS}


def _inks(figure: Any) -> tuple[set[str], set[str]]:
    """Colours of what is drawn, and of the bands behind it, as they lie on white; white itself is paper."""
    marks, bands = set[str](), set[str]()
    for axis in figure.axes:
        for artist in axis.get_children():
            if artist is axis.patch or not artist.get_visible():
                continue
            for red, green, blue, alpha in map(to_rgba, _colours(artist)):
                shown = [1 - alpha * (1 - part) for part in (red, green, blue)]
                if alpha and min(shown) < 1:
                    (marks if alpha >= BAND else bands).add(to_hex(shown))
    return marks, bands


def _colours(artist: Any) -> Iterator[Any]:
    if isinstance(artist, Line2D):
        alpha = artist.get_alpha()
        if artist.get_linestyle() != "None":
            yield to_rgba(artist.get_color(), alpha)
        if artist.get_marker() not in ("None", None, ""):
            yield to_rgba(artist.get_markerfacecolor(), alpha)
            yield to_rgba(artist.get_markeredgecolor(), alpha)
    elif isinstance(artist, Rectangle):
        yield artist.get_facecolor()
        if artist.get_linewidth():
            yield artist.get_edgecolor()
    elif isinstance(artist, Collection):
        yield from artist.get_facecolor()
        if np.max(artist.get_linewidth()):
            yield from artist.get_edgecolor()


@pytest.mark.parametrize("name", NAMES)
def test_colours_of_a_plot_are_apart(name: str, figures: Any) -> None:
    marks, bands = _inks(figures(name))
    assert marks
    assert not confused(marks)
    for mark in marks:
        assert contrast(mark, "#fff") >= STANDS_OUT, mark
        for band in bands:
            assert apart_in_grey(mark, band) >= APART_IN_GREY, (mark, band)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_written_in_a_plot_is_words(name: str, figures: Any) -> None:
    """No programmer's name for a clue ("print_technique"), no missing value, every axis of years named."""
    figure = figures(name)
    texts = [one for one in figure.findobj(Text) if one.get_visible() and one.get_text().strip()]
    for text in texts:
        said = text.get_text().replace("$\\mathdefault{", "").replace("}$", "")
        assert not any(bad in said for bad in ("_", "None", "nan", "<NA>")) or "^" in said, said
        assert contrast(to_hex(text.get_color()), "#fff") >= READABLE, said
    assert any(axis.get_xlabel() for axis in figure.axes)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_that_is_written_runs_out_of_a_plot(name: str, figures: Any) -> None:
    """Nor do names of curves run over the axis to their left."""
    figure = figures(name)
    page = figure.bbox
    if name.startswith("Comparison"):
        both = figure.axes[0]
        assert all(text.get_window_extent().x0 >= both.bbox.x0 for text in both.texts)
    for axis in figure.axes:
        for text in (axis.title, axis._left_title, axis.xaxis.label, axis.yaxis.label, *axis.texts):
            box = text.get_window_extent()
            if text.get_text().strip():
                assert box.x0 >= -1 and box.x1 <= page.x1 + 1, text.get_text()
                assert box.y0 >= -1 and box.y1 <= page.y1 + 1, text.get_text()


# --------------------------------------------------------------------------------- two curves on one axis


def test_two_pieces_lie_over_each_other_and_are_named_where_they_stand_out() -> None:
    a, b = _of(A), _of(B)
    both, beneath = compare(a, b).plot()
    full, dashed = both.get_lines()
    assert full.get_ydata() == pytest.approx(100 * a.probability)
    assert dashed.get_ydata() == pytest.approx(100 * b.probability)
    assert full.get_linestyle() == "-" and dashed.get_linestyle() == "--"
    places = {text.get_text(): text.xy[0] for text in both.texts}
    assert places == {
        "the first": a.years[(a.probability - b.probability).argmax()],
        "the second": b.years[(b.probability - a.probability).argmax()],
    }
    ticks = [text.get_text() for text in beneath.get_yticklabels()]
    assert "print technique" in ticks and "stitches per inch" not in ticks  # weighed with the hem
    for bar, (_, share) in zip(
        beneath.patches, sorted(compare(a, b).share.items(), key=lambda one: one[1]), strict=True
    ):
        assert bar.get_width() == pytest.approx(share)
        assert (to_hex(bar.get_facecolor()) == "#ffffff") == (share < 0)
    pyplot.close(both.figure)


def test_years_before_the_grid_are_told_and_not_drawn() -> None:
    a, b = _of(A, "museum-scarf"), _of(Scarf(fibre="wool"), "museum-scarf")
    both, _ = compare(a, b).plot()
    assert all(line.get_xdata()[0] == 1881 for line in both.get_lines())
    assert all("older than 1881" in text.get_text() for text in both.texts)
    pyplot.close(both.figure)


def test_pieces_that_are_not_weighed_are_drawn_all_the_same() -> None:
    found = compare(_of(A), _of(B, "estate"))
    both, beneath = found.plot()
    assert len(both.get_lines()) == 2 and not found.share
    assert "not weighed" in beneath._left_title.get_text()
    pyplot.close(both.figure)


def test_curves_are_drawn_where_one_wishes() -> None:
    figure, axes = pyplot.subplots(1, 2)
    assert compare(_of(A), _of(B)).plot(axes)[0] is axes[0]
    for one, two in pairwise(axes):
        assert one.lines and two.patches
    pyplot.close(figure)
