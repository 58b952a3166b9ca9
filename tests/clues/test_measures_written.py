"""What is measured with a ruler and a scale: every way to write it down, one by one and in a table."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from scarfdate import Priors, Scarf, ScarfdateError, load_priors
from scarfdate.answer.evidence import encode
from scarfdate.answer.frame import Columns
from scarfdate.clues.kinds import fields_of
from scarfdate.clues.measured import MeasuredField
from scarfdate.clues.sides import SIZE, Sides, SidesField, measurements
from scarfdate.model.model import compiled

AS_OF = 1964
FRINGE = 16.0  # cm that the tables take off a long side with its fringe


@pytest.fixture(scope="module")
def priors() -> Priors:
    found = load_priors()
    assert found.allowances["fringe_on_long_side"] == FRINGE
    return found


# sides in cm, with the fringe or without; the long side and how many times as long as wide it makes
MADE: list[tuple[dict[str, Any], dict[str, float]]] = [
    ({"width": 90, "height": 60}, {"long_side": 90, "slenderness": 1.5}),
    ({"width": 60, "height": 90}, {"long_side": 90, "slenderness": 1.5}),
    ({"width": 80, "height": 80}, {"long_side": 80, "slenderness": 1}),
    ({"width": 80, "height": 80, "fringe": "without"}, {"long_side": 80, "slenderness": 1}),
    ({"width": 176, "height": 40, "fringe": "within"}, {"long_side": 160, "slenderness": 4}),
    ({"width": 90, "height": 80, "fringe": "within"}, {"long_side": 80, "slenderness": 1}),  # never shorter than wide
    ({"width": 90, "height": None}, {"long_side": 90}),
    ({"width": None, "height": 120, "fringe": "within"}, {"long_side": 104}),
    ({"width": None, "height": 20, "fringe": "within"}, {"long_side": 10}),  # half of it at least is cloth
    ({"width": None, "height": None, "fringe": "within"}, {}),
]  # fmt: skip


@pytest.mark.parametrize(("sides", "made"), MADE, ids=str)
def test_the_long_side_and_how_long_it_is_for_its_width(
    priors: Priors, sides: dict[str, Any], made: dict[str, float]
) -> None:
    assert Sides(**sides).measured(FRINGE) == pytest.approx(made)
    assert measurements({SIZE: Sides(**sides)}, priors) == pytest.approx(made)


def test_measurements_are_those_of_the_sides_and_all_others(priors: Priors) -> None:
    seen = Scarf(width_cm=90, height_cm=60, momme=12, stitches_per_inch=9, fibre="silk").seen
    made = {"long_side": 90, "slenderness": 1.5, "momme": 12, "stitches_per_inch": 9}
    assert measurements(seen, priors) == pytest.approx(made)
    assert measurements(Scarf(fibre="silk").seen, priors) == {}


# ------------------------------------------------------------------ ways to write it

INCH = 2.54
WAYS: list[tuple[dict[str, Any], float | None, float | None, str]] = [
    ({"width_cm": 90, "height_cm": 60}, 90, 60, "90 x 60 cm"),
    ({"width_in": 30, "height_in": "24 1/2"}, 30 * INCH, 24.5 * INCH, "30 x 24 1/2 in"),
    ({"width_cm": 90, "height_in": 24}, 90, 24 * INCH, "90 cm x 24 in"),
    ({"width": 90, "height": 60, "unit": "cm"}, 90, 60, "90 x 60 cm"),
    ({"width": "36", "height": 36, "unit": "in"}, 36 * INCH, 36 * INCH, "36 in square"),
    ({"size": "90 x 60 cm"}, 90, 60, "90 x 60 cm"),
    ({"size": "30 x 24", "unit": "in"}, 30 * INCH, 24 * INCH, "30 x 24 in"),
    ({"width": 90, "unit": "cm"}, 90, None, "90 cm"),
    ({"height_in": 30}, None, 30 * INCH, "30 in"),
]


@pytest.mark.parametrize(("cells", "width", "height", "quoted"), WAYS, ids=str)
def test_sides_in_every_way_to_write_them(
    cells: dict[str, Any], width: float | None, height: float | None, quoted: str
) -> None:
    scarf = Scarf(**cells)
    sides = scarf.seen["size"]
    assert isinstance(sides, Sides) and sides.fringe == ""
    assert (sides.width, sides.height) == (pytest.approx(width), pytest.approx(height))
    assert sides.noted == quoted
    assert Scarf.from_dict(scarf.to_dict()) == scarf
    one = [odd for odd in scarf.warnings if "only one side" in odd]
    assert len(one) == (width is None or height is None) == len(scarf.warnings)


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"width": 90, "height": 60}, ["which one"]),
        ({"width": 90, "unit": 3}, ["unit: 'cm' or 'in' is allowed, got '3'"]),
        ({"width_cm": 90, "width_in": 36}, ["width_in: the width is given twice, as width_cm and as width_in"]),
        ({"height_cm": 90, "height": 36, "unit": "in"}, ["height: the height is given twice, as height_cm and as height"]),
        ({"size": "90 x 60 cm", "height_cm": 60}, ["height_cm: the height is given twice, as size and as height_cm"]),
        ({"size": "big"}, ["size: "]),
        ({"width_cm": 90, "fringe": 3}, ["fringe: 'within' or 'without' is allowed, got '3'"]),
        ({"width_cm": 90, "height_cm": 4}, ["long side", "5", "600"]),
        ({"width_cm": 601, "height_cm": 90}, ["long side", "5", "600"]),
        ({"width_cm": 500, "height_cm": 8}, ["slenderness", "60"]),
        ({"width_cm": 0}, ["width_cm", "greater than 0"]),
        ({"momme": 12, "grams_per_square_metre": 52}, ["momme: given twice, as momme and as grams_per_square_metre"]),
        ({"stitches_per_cm": 0}, ["stitches_per_cm: must be greater than 0, got 0"]),
        ({"stitches_per_cm": -2}, ["stitches_per_cm: must be greater than 0, got -2"]),
        ({"stitches_per_cm": 30}, ["stitches", "60"]),
        ({"momme": 0.4}, ["momme", "0.5", "300"]),
    ],
    ids=str,
)  # fmt: skip
def test_what_cannot_be_is_refused_with_what_is_allowed(
    cells: dict[str, Any], words: list[str]
) -> None:
    with pytest.raises(ScarfdateError) as refusal:
        Scarf(**cells)
    said = str(refusal.value).replace("_", " ")
    assert all(word.replace("_", " ") in said for word in words), refusal.value


@pytest.mark.parametrize(
    ("cells", "odd"),
    [
        ({"width_cm": 176, "height_cm": 40, "fringe": "within"}, ["the size is with the fringe: about 16 cm were taken off"]),
        ({"width_cm": 160, "height_cm": 40, "fringe": "without"}, []),
        ({"fringe": "within"}, []),
        ({"width_cm": 400, "height_cm": 90}, ["long_side"]),
        ({"width_cm": 300, "height_cm": 12}, ["length by width"]),
        ({"form": "square", "width_cm": 90, "height_cm": 78}, ["called square, but its sides are 78 and 90 cm"]),
        ({"form": "square", "width_cm": 78, "height_cm": 90}, ["called square, but its sides are 78 and 90 cm"]),
        ({"form": "square", "width_cm": 90, "height_cm": 79}, []),  # within 15 in a hundred
        ({"form": "oblong", "width_cm": 160, "height_cm": 40}, []),
        ({"form": {"square": 0.9, "oblong": 0.1}, "width_cm": 160, "height_cm": 40}, []),
        ({"form": "square", "width_cm": 160}, ["only one side"]),
        ({"momme": 100}, ["momme"]), ({"momme": 79}, []),
        ({"grams_per_square_metre": 52}, []),
    ],
    ids=str,
)  # fmt: skip
def test_what_is_odd_is_told_and_kept(cells: dict[str, Any], odd: list[str]) -> None:
    scarf = Scarf(**cells)
    assert len(scarf.warnings) == len(odd), scarf.warnings
    for wanted, told in zip(odd, scarf.warnings, strict=True):
        assert (
            wanted in told.replace("long side:", "long_side:") or wanted.replace("_", " ") in told
        )


@pytest.mark.parametrize(
    ("cells", "name", "value", "quoted"),
    [
        ({"stitches_per_inch": 9}, "stitches_per_inch", 9, "9 stitches per inch"),
        ({"stitches_per_cm": "4"}, "stitches_per_inch", 4 * INCH, "4 stitches per cm"),
        ({"momme": "11-13"}, "momme", math.sqrt(11 * 13), "11-13 momme"),
        ({"momme": 12}, "momme", 12, "12 momme"),
        ({"momme": " 12  Momme"}, "momme", 12, "12 Momme"),
        ({"momme": "12momme"}, "momme", 12, "12momme"),
        ({"momme": "ca 11-13 momme"}, "momme", math.sqrt(11 * 13), "ca 11-13 momme"),
        (
            {"stitches_per_inch": "9 stitches per inch"},
            "stitches_per_inch",
            9,
            "9 stitches per inch",
        ),
        ({"stitches_per_inch": "9 per inch"}, "stitches_per_inch", 9, "9 per inch"),
        (
            {"stitches_per_cm": "4 stitches per cm"},
            "stitches_per_inch",
            4 * INCH,
            "4 stitches per cm",
        ),
        ({"grams_per_square_metre": 43.4}, "momme", 10, "43.4 grams per square metre"),
    ],
    ids=str,
)
def test_a_number_in_either_unit(
    cells: dict[str, Any], name: str, value: float, quoted: str
) -> None:
    seen = Scarf(**cells).seen[name]
    assert (seen.value, seen.noted) == (pytest.approx(value, rel=1e-4), quoted)  # type: ignore[attr-defined]
    field = fields_of(load_priors()).by_name[name]
    assert field.quote({}) == ""


@pytest.mark.parametrize(
    "cell", ["momme", "twelve momme", "12 per inch", "12 grams", "x" * 50 + " momme"]
)
def test_a_unit_without_its_number_is_no_number(cell: str) -> None:
    with pytest.raises(ScarfdateError, match="a number is allowed, got") as refused:
        Scarf(momme=cell)
    assert cell[:20] in str(refused.value)  # as it was written


# ------------------------------------------------------------------ in a table

ROWS: list[dict[str, Any]] = [
    {"width": 90, "height": 90, "unit": "cm"},
    {"width": 90, "height": 78, "unit": "cm", "form": "square"},  # called square: a warning
    {"width": 90, "height": 79, "unit": "cm", "form": "square"},
    {"width": 160, "height": 40, "unit": "cm", "form": "oblong"},
    {"width": 36, "height": 36, "unit": "in", "fringe": "without"},
    {"width": 36, "height": 30, "unit": "inches"},
    {"width": 36, "height": 30, "unit": "furlong"},  # refused
    {"width": 36, "height": 30},  # refused
    {"width_cm": 90, "height_in": 30},
    {"width_cm": 90, "width": 36, "height": 36, "unit": "in"},  # refused
    {"width_cm": 176, "height_cm": 40, "fringe": "within"},
    {"width_cm": 176, "height_cm": 40, "fringe": "without"},
    {"width_cm": 90},
    {"height_cm": 90},
    {"width_cm": -3, "height_cm": 90},  # refused
    {"width_cm": 0, "height_cm": 90},  # refused
    {"width_cm": 3000, "height_cm": 90},  # refused
    {"width_cm": 400, "height_cm": 90},  # unusual
    {"width_cm": 90, "height_cm": 4},  # refused
    {"width_cm": 90, "height_cm": 17},  # a width that is unusual for a long side
    {"width_cm": 18, "height_cm": 18},
    {"width_cm": 60, "height_cm": 4},  # refused: within every usual range but that of a side
    {"momme": 12}, {"momme": 12.2}, {"momme": 80}, {"momme": 81}, {"momme": 3}, {"momme": 2.9}, {"momme": 0},
    {"momme": -1}, {"grams_per_square_metre": 52.1}, {"grams_per_square_metre": 0},
    {"momme": 12, "grams_per_square_metre": 52}, {"stitches_per_inch": 9}, {"stitches_per_cm": 4},
    {"stitches_per_cm": 30}, {"stitches_per_inch": 9.1, "momme": 300}, {},
]  # fmt: skip


def test_a_table_reads_each_row_as_the_row_by_itself(priors: Priors) -> None:
    """The codes of its clues, its warnings, and what of it could not be read; numbers as numbers."""
    model = compiled(priors, "thrift", AS_OF)
    frame = pd.DataFrame(ROWS)
    assert frame["width_cm"].dtype == frame["momme"].dtype == float
    block = Columns(model, frame).block(0, len(ROWS))
    refused = 0
    for row, cells in enumerate(ROWS):
        try:
            scarf = Scarf(priors=priors, **cells)
        except ScarfdateError as error:
            refused += 1
            assert str(error) in [*block.errors.get(row, ()), *block.warnings.get(row, ())], cells
            continue
        codes, _ = encode(model, scarf)
        assert np.array_equal(block.codes[row], codes[0]), cells
        assert set(scarf.warnings) <= set(block.warnings.get(row, ())), cells
    assert refused == 13


def test_a_measurement_is_read_on_steps_of_three_in_a_hundred(priors: Priors) -> None:
    """The rows of the table that a measurement is weighed with are those of the nearest step."""
    model = compiled(priors, "thrift", AS_OF)
    for clue in model.clues:
        for measure in getattr(clue, "measures", ()):
            about = measure.family
            values = np.geomspace(about.low * 1.01, about.high * 0.99, 60)
            cells = measure.cells(values)
            assert cells.tolist() == [measure.cell(value) for value in values.tolist()]
            for value, cell in zip(values.tolist(), cells.tolist(), strict=True):
                assert (
                    abs(math.log(measure.value(cell) / value))
                    <= math.log(about.step) / 2 * 1.000001
                )
                assert cell in measure.steps
            assert measure.folded == (about.name == "slenderness")
            place = list(measure.steps).index(int(cells[7]))
            np.testing.assert_allclose(
                measure.every_density[place], measure.density(int(cells[7])), rtol=1e-12
            )


def test_what_is_drawn_lies_within_what_is_possible(priors: Priors) -> None:
    """Even where the usual is beyond it: a piece that is drawn can be written down."""
    clue = next(c for c in compiled(priors, "thrift", AS_OF).clues if "momme" in c.families)
    (measure,) = clue.measures  # type: ignore[attr-defined]
    about, n = measure.family, 400
    each = [np.zeros(n, dtype=np.intp)] * 3
    for end in (math.log(about.low), math.log(about.high)):
        far = replace(measure, centre=np.full_like(measure.centre, end))
        found = far.drawn(*each, np.random.default_rng(1))
        assert about.low < found.min() and found.max() < about.high
        assert np.ptp(found) > 0 and (np.abs(np.log(found) - end) < 1e-3).mean() > 0.4


def test_sizes_next_to_each_other_are_told_apart(priors: Priors) -> None:
    """All of a few lengths by all of a few forms, in one table: each is its own."""
    model = compiled(priors, "thrift", AS_OF)
    form = model.column["form"]
    step = priors.families["long_side"].step
    assert step == priors.families["slenderness"].step
    rows = [{"width_cm": step**a, "height_cm": step ** (a - b)} for a in range(150, 156) for b in range(3)]  # fmt: skip
    block = Columns(model, pd.DataFrame(rows)).block(0, len(rows))
    alone = [encode(model, Scarf(priors=priors, **row))[0][0, form] for row in rows]
    assert block.codes[:, form].tolist() == alone
    assert len(set(alone)) == len(rows)


def test_plain_sizes_are_read_at_once(priors: Priors, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a long table only what is odd or cannot be read is read by itself, which takes a hundred times as long."""
    rows = [
        {"width": 90, "height": 85, "unit": "cm"}, {"width": 36, "height": 36, "unit": "in", "fringe": "without"},
        {"width_cm": 90, "height_in": 30}, {"width_cm": 90, "height_cm": 30, "form": "square"},
        {"width_cm": 90, "height_cm": 30, "fringe": "within"}, {"momme": 12}, {"grams_per_square_metre": 52.0},
        {"stitches_per_inch": 9}, {"stitches_per_cm": 4.0}, {"momme": 90},
    ]  # fmt: skip
    read: list[float] = []
    for kind in (SidesField, MeasuredField):
        reads = kind.reads

        def noted(self: Any, *cells: Any, reads: Any = reads) -> Any:
            read.append(next(cell for cell in cells if isinstance(cell, float) and cell == cell))
            return reads(self, *cells)

        monkeypatch.setattr(kind, "reads", noted)
    Columns(compiled(priors, "thrift", AS_OF), pd.DataFrame(rows)).block(0, len(rows))
    assert sorted(read) == [90, 90, 90]  # called square, with its fringe, and unusually heavy
