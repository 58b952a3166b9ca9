"""Cells as dealers write them, in four languages; no text of anybody is ever an error.

The texts are invented, after the ways in which descriptions of worn textiles are written; what each says was
put down by reading it, beside it.
"""

from __future__ import annotations

import time
from contextlib import suppress
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from scarfdate import ScarfdateError, TableError, load_priors
from scarfdate.worth.condition import Condition, read_condition
from scarfdate.worth.condition_columns import conditions_of
from scarfdate.worth.fault import Fault

PRIORS = load_priors()
CHECKED = settings(deadline=None, max_examples=80)

SAYS: dict[str, list[Fault]] = {
    # the two of the issue
    "2 small pulls near edge, faint stain corner": [
        Fault("pull", place="edge", count=2, size="small"),
        Fault("stain", place="corner", degree="faint"),
    ],
    "hole 3mm centre, running": [Fault("hole", 3, "centre", spreading=True)],
    # numbers, and numbers in words
    "two pulls": [Fault("pull", count=2)],
    "one hole": [Fault("hole")],
    "a hole": [Fault("hole")],
    "zwei Löcher": [Fault("hole", count=2)],
    "trois petits trous": [Fault("hole", count=3, size="small")],
    "due macchie": [Fault("stain", count=2)],
    "stains (3)": [Fault("stain", count=3)],
    "stain x2": [Fault("stain", count=2)],
    "2x pulls": [Fault("pull", count=2)],
    "2-3 pulls": [Fault("pull", count=3)],
    "pulls": [Fault("pull", count=2, counted=False)],
    "several pulls": [Fault("pull", count=3, counted=False)],
    "a few tiny holes": [Fault("hole", count=3, size="tiny", counted=False)],
    "a couple of pulls": [Fault("pull", count=2)],
    # sizes in every unit
    "hole 3 mm": [Fault("hole", 3)],
    "3mm hole": [Fault("hole", 3)],
    "hole (3mm)": [Fault("hole", 3)],
    "hole .5 cm": [Fault("hole", 5)],
    "hole 0,5 cm": [Fault("hole", 5)],
    "tear 2cm": [Fault("tear", 20)],
    "tear of 1 inch": [Fault("tear", 25.4)],
    'tear 1"': [Fault("tear", 25.4)],
    "tear 1 1/2 in.": [Fault("tear", 38.1)],
    "tear ½ inch": [Fault("tear", 12.7)],
    "hole 1/64 in": [Fault("hole", 0.396875)],
    "stain 2-3 mm": [Fault("stain", 3)],
    "stain 2 x 3 cm": [Fault("stain", 30)],
    "Riss 1 Zoll": [Fault("tear", 25.4)],
    "2 5mm holes": [Fault("hole", 5, count=2)],
    "3mm hole 5mm stain": [Fault("hole", 3), Fault("stain", 5)],
    "hole 3mm stain 5mm": [Fault("hole", 3), Fault("stain", 5)],
    "tiny hole": [Fault("hole", size="tiny")],
    "very small hole": [Fault("hole", size="tiny")],
    "large stain": [Fault("stain", size="large")],
    "stain, small": [Fault("stain", size="small")],
    # "in" is a place, not an inch
    "2 in corner, pulls": [Fault("pull", count=2, place="corner")],
    "pulls 2 in corner": [Fault("pull", count=2, place="corner")],
    "stain 2 in": [Fault("stain", 50.8)],
    # places
    "Fleck am Rand": [Fault("stain", place="edge")],
    "trou au bord": [Fault("hole", place="edge")],
    "macchia nell'angolo": [Fault("stain", place="corner")],
    "stain in the middle": [Fault("stain", place="centre")],
    "stain on signature": [Fault("stain", place="on-signature")],
    "centre: hole": [Fault("hole", place="centre")],
    "hole at edge. 2 in corner, pulls": [
        Fault("hole", place="edge"),
        Fault("pull", count=2, place="corner"),
    ],
    "hole. Running.": [Fault("hole", spreading=True)],
    "stain corner 2 pulls edge": [
        Fault("stain", place="corner"),
        Fault("pull", place="edge", count=2),
    ],
    # spreading
    "ladder, still running": [Fault("run", spreading=True)],
    "Laufmasche 5 cm, läuft": [Fault("run", 50, spreading=True)],
    "run, stopped": [Fault("run", spreading=False)],
    "colour running along edge": [Fault("colour-bleed", place="edge")],
    # denied
    "no holes, stain": [Fault("stain")],
    "no holes or stains, two pulls": [Fault("pull", count=2)],
    "no holes, stains or tears; crease": [Fault("crease")],
    "no holes and a small stain": [Fault("stain", size="small")],
    "keine Löcher und Flecken, kleiner Zieher": [Fault("pull", size="small", count=2, counted=False)],
    "sans trous ni taches, un pli": [Fault("crease")],
    "senza buchi e macchie, una piega": [Fault("crease")],
    "no faults except a tiny hole": [Fault("hole", size="tiny")],
    "perfect but for one pull": [Fault("pull")],
    "stain free, crease": [Fault("crease")],
    "holes: none. Small stain": [Fault("stain", size="small")],
    # what "not" does not deny
    "stain not visible when tied": [Fault("stain", degree="faint")],
    "small hole, not noticeable": [Fault("hole", size="small", degree="faint")],
    "stain not removable": [Fault("stain")],
    "Fleck, kaum sichtbar": [Fault("stain", degree="faint")],
    # in doubt
    "stain?": [Fault("stain", sure=0.7)],
    "maybe a stain": [Fault("stain", sure=0.5)],
    "hole or tear": [Fault("hole", sure=0.5), Fault("tear", sure=0.5)],
    "vielleicht Fleck": [Fault("stain", sure=0.5)],
    # two words for one thing, and what was mended
    "water stain marks": [Fault("stain", count=2, counted=False)],
    "moth hole": [Fault("moth")],
    "repaired hole at edge": [Fault("repair", place="edge")],
    "hole, needs mending": [Fault("hole")],
    "hem coming undone 10 cm": [Fault("loose-hem", 100)],
    "hand rolled hem, small hole": [Fault("hole", size="small")],
    "label cut, small hole": [Fault("hole", size="small")],
    "smells of mothballs": [Fault("odour")],
    "faint musty smell": [Fault("odour", degree="faint")],
    "Colour bleed": [Fault("colour-bleed")],
    "COLOR BLEED": [Fault("colour-bleed")],
    "slight fading all over": [Fault("fade", size="large", degree="faint")],
    "large faint stain": [Fault("stain", size="large", degree="faint")],
    "odour 3 mm": [Fault("odour")],
}  # fmt: skip

NOT_READ = {
    "odour 3 mm": ("3 mm",),
    "stain not visible when tied": ("when", "tied"),
    "stain not removable": ("not", "removable"),
}


@pytest.mark.parametrize("text", SAYS)
def test_what_a_cell_says(text: str) -> None:
    read = read_condition(text)
    assert list(read.faults) == SAYS[text]
    assert read.seen
    assert read.not_read == NOT_READ.get(text, ())
    assert Condition.read(text) == Condition(SAYS[text], not_read=read.not_read)


@pytest.mark.parametrize(
    "text",
    [
        "none", "None.", "nothing", "no", "0", "perfect", "no faults", "no damage", "holes: none", "flawless",
        "no holes", "no holes, stains or tears", "no obvious flaws", "makellos", "keine", "keine Fehler",
        "aucun défaut", "impeccable", "nessun difetto", "senza difetti", "stain free", "pas d'odeur",
    ],
)  # fmt: skip
def test_looked_at_and_faultless(text: str) -> None:
    made = Condition.read(text)
    assert made == Condition()
    assert (made.kept, made.log_sd, made.not_read) == (1, 0, ())


@pytest.mark.parametrize(
    ("text", "grade"),
    [
        ("as new", "excellent"), ("wie neu", "excellent"), ("comme neuf", "excellent"),
        ("very good", "very good"), ("VGC", "very good"), ("good", "good"), ("ok", "good"), ("OK!", "good"),
        ("gut", "good"), ("fair", "fair"), ("signs of wear", "fair"), ("worn", "worn"), ("usé", "worn"),
        ("poor", "poor"), ("cutter", "only the cloth"), ("good, worn", "worn"),
    ],
)  # fmt: skip
def test_a_grade_in_words(text: str, grade: str) -> None:
    made = Condition.read(text)
    assert made is not None
    assert (made.stated, made.grade, made.faults, made.not_read) == (grade, grade, (), ())


def test_a_grade_beside_faults_is_never_bettered_by_them() -> None:
    made = Condition.read("worn, small pull at edge")
    assert made is not None
    assert made.kept == Condition(stated="worn").kept < Condition(made.faults).kept


@pytest.mark.parametrize(
    "cell",
    [
        None, "", "  ", float("nan"), pd.NA, pd.NaT, "?", "n/a", "not looked at", "unknown", "see photos",
        "gzorp", "no provenance", "small", "edge", 7, 3.5, True, b"hole", object(), ["hole"], np.inf, "-",
    ],
)  # fmt: skip
def test_what_says_nothing_of_the_condition_is_not_faultless(cell: object) -> None:
    assert Condition.read(cell) is None


def test_words_are_made_ready_for_tables_that_nobody_has_used_yet() -> None:
    fresh = replace(load_priors(), _compiled={})
    for cell, says in SAYS.items():
        assert list(read_condition(cell, fresh).faults) == says, cell
    maybe = read_condition("maybe a hole, or a stain and a pull", fresh)
    assert [fault.kind for fault in maybe.faults] == ["hole", "stain", "pull"]
    assert maybe.faults[0].sure == 0.5 and not maybe.not_read


@pytest.mark.parametrize(("cell", "many"), [(True, 1), (False, 0), (0, 0), (3, 3), ("2", 2)])
def test_in_the_column_of_a_kind_a_cell_says_how_many(cell: object, many: int) -> None:
    found = read_condition(cell, kind="hole")
    assert found.seen and [fault.count for fault in found.faults] == [many] * (many > 0)
    assert not found.not_read


def test_what_was_not_understood_is_named() -> None:
    assert read_condition(False).not_read == ("false",)
    assert read_condition("small hole, gzorp at edge").not_read == ("gzorp",)
    assert read_condition("gzorp").not_read == ("gzorp",)
    assert read_condition("not worn").not_read == ("not worn",)
    assert read_condition("hole 99999 mm").not_read == ("99999 mm",)
    assert read_condition("some flaws").not_read == ("some", "flaws")
    assert read_condition("hole " * 500 + "stain").not_read[-1] == "…"
    made = Condition.read("small hole, gzorp at edge")
    assert made is not None
    assert made.faults == (Fault("hole", size="small", place="edge"),)


PIECES = st.sampled_from(
    [
        *SAYS,
        "no",
        "?",
        ",",
        " or ",
        "/",
        "not",
        "2",
        "in",
        "3mm",
        "½",
        '"',
        "x2",
        "0",
        "1/0",
        "9" * 400,
        "\n",
        "free",
    ]
)


@CHECKED
@example("1/0 mm hole")
@example("9" * 400 + " mm hole")
@example("ſtain 3 ınſ")
@given(st.text(max_size=80) | st.lists(PIECES, max_size=6).map(" ".join))
def test_no_text_is_ever_an_error(text: str) -> None:
    read = read_condition(text, PRIORS)
    assert all(isinstance(word, str) and word for word in read.not_read)
    for kind in ("hole", "odour"):
        read_condition(text, PRIORS, kind)
    made = Condition.read(text, PRIORS)
    assert (made is not None) == read.seen
    if made is not None:
        assert 0 < made.kept <= 1
        assert str(made)
    with suppress(
        ScarfdateError
    ):  # what is typed in Python is refused by name, and by no other error
        Condition([text])


@CHECKED
@given(
    st.lists(st.sampled_from([*SAYS]), min_size=2, max_size=4), st.randoms(use_true_random=False)
)
def test_the_order_of_whole_sentences_never_matters(texts: list[str], order: Any) -> None:
    shuffled = order.sample(texts, len(texts))
    one, other = (
        read_condition(";\n".join(f"{text}. " for text in some)) for some in (texts, shuffled)
    )
    assert sorted(map(str, one.faults)) == sorted(map(str, other.faults))


def test_a_long_cell_is_read_in_a_moment() -> None:
    """A text that could make a careless pattern run for minutes."""
    for text in (
        "1" * 100_000,
        "1/" * 50_000,
        "no " * 50_000,
        "1 1/" * 20_000 + "mm",
        "a" * 100_000,
    ):
        start = time.perf_counter()
        read_condition(text)
        assert time.perf_counter() - start < 2


# ------------------------------------------------------------------ columns

SHEET = pd.DataFrame(
    {
        "Condition": ["2 small pulls near edge", "", "none", None, "gzorp", "good"],
        "holes": [2, np.nan, 0, np.nan, np.nan, np.nan],
        "Stain": ["20 mm corner", "?", "no", "", "gzorp", "yes"],
        "loose hem": ["", "", "", "", "", "10 cm"],
        "Odor": ["", "", "", "", "", ""],
        "sale": ["4", "", "", "", "", ""],
    },
    dtype=object,
)


def test_conditions_of_a_sheet() -> None:
    assert conditions_of(SHEET) == [
        Condition([Fault("pull", place="edge", count=2, size="small"), Fault("hole", count=2), Fault("stain", 20, "corner")]),
        Condition([Fault("stain", sure=0.7)]),
        Condition(),
        None,
        None,
        Condition([Fault("stain"), Fault("loose-hem", 100)], stated="good"),
    ]  # fmt: skip


def test_conditions_of_a_sheet_of_another_library_and_of_none() -> None:
    frame = pl.DataFrame({"condition": ["small hole", None], "Flecken": ["2", None]})
    expected = Condition([Fault("hole", size="small"), Fault("stain", count=2)])
    assert conditions_of(frame) == [expected, None]
    assert conditions_of(pd.DataFrame({"fibre": ["silk"]})) == [None]
    assert conditions_of(pd.DataFrame({"condition": []})) == []


def test_rows_stand_by_themselves() -> None:
    """The order of rows never matters, nor how they are numbered."""
    order = np.random.default_rng(3).permutation(len(SHEET))
    made = conditions_of(SHEET)
    assert conditions_of(SHEET.iloc[order]) == [made[row] for row in order]


def test_two_columns_of_one_kind_are_refused_by_name() -> None:
    with pytest.raises(TableError, match="two columns are of hole: 'Löcher'"):
        conditions_of(pd.DataFrame({"holes": [1], "Löcher": [2]}))
    with pytest.raises(TableError, match="two columns are of condition"):
        conditions_of(pd.DataFrame([["ok", "ok"]], columns=["condition", "Condition"]))


@CHECKED
@given(
    st.text(max_size=30),
    st.text(max_size=30) | st.floats() | st.integers() | st.booleans() | st.none(),
)
def test_no_sheet_is_ever_an_error(text: str, cell: object) -> None:
    frame = pd.DataFrame({"condition": [text], "stain": [cell]}, dtype=object)
    (made,) = conditions_of(frame, PRIORS)
    assert made is None or 0 < made.kept <= 1


def test_a_condition_under_her_own_headings() -> None:
    """Two columns of words, headed as people head them, are one condition; what was not understood is named."""
    sheet = pd.DataFrame(
        {"Cond.": ["VGC", "EUC", None], "Flaws": ["tiny pulls", "qqq", None], "Ask": [28, 10, 1]}
    )
    first, second, third = conditions_of(sheet)
    assert first is not None and second is not None
    assert (first.grade, [fault.kind for fault in first.faults]) == ("very good", ["pull"])
    assert (second.grade, second.not_read, third) == ("excellent", ("qqq",), None)
    named = conditions_of(pd.DataFrame({"condition": ["VGC; tiny pulls"]}))
    assert named == [first]
