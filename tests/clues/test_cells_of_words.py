"""Cells of words as people write them, and rows of which some cells cannot be read: each cell costs itself alone."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from scarfdate import Priors, Scarf, TableError, WordError, load_priors
from scarfdate.clues.clue import Clue
from scarfdate.clues.field import Field
from scarfdate.clues.kinds import KEPT, Fields, fields_of, keywords
from scarfdate.clues.noted import WordCells
from scarfdate.clues.readable import column_names, readable, rows_of_cells

PRIORS = load_priors()


@pytest.fixture(scope="module")
def priors() -> Priors:
    return PRIORS


# family, cell, method: the word that weighs most (None: nothing of it) and its method, what is told of others, what is not understood
CELLS: list[tuple[str, str, str | None, str | None, str, dict[str, Any], str]] = [
    ("fibre", "silk", "burn test?", "silk", "burn", {}, ""),
    ("fibre", "silk", "guess", "silk", "feel", {}, ""),
    ("fibre", "silk?", "burn", "silk", "burn", {}, ""),
    ("fibre", "silk (burn test)", None, "silk", "burn", {}, ""),
    ("fibre", "silk (burn test)", "feel", "silk", "burn", {}, ""),
    ("fibre", "silk or rayon", "microscope?", "rayon", "microscope", {}, ""),
    ("fibre", "lovely glimmery silk", None, "silk", "feel", {}, "glimmery"),
    ("fibre", "silk twill", None, "silk", "feel", {"weave": "twill"}, ""),
    ("fibre", "chiffon", None, None, "", {"weave": "chiffon"}, ""),
    ("fibre", "??", None, None, "", {}, ""),
    ("palette", "faded", None, None, "", {}, ""),
    ("label", "paper", None, "label", "feel", {"label_make": "paper"}, ""),
    ("label", "MADE IN ITALY", None, "label", "feel", {"label_text": "MADE IN ITALY"}, ""),
    ("label", "MADE IN JAPAN paper tag", None, "label", "feel", {"label_text": "MADE IN JAPAN", "label_make": "paper"}, ""),
    ("label", "woven label - MADE IN ITALY", None, "label", "feel", {"label_text": "MADE IN ITALY", "label_make": "woven"}, ""),
    ("label", "intact, says dry clean only", None, "intact", "feel", {"label_text": "dry clean only"}, ""),
    ("label", "label glorp", None, "label", "feel", {}, "glorp"),
    ("label", "paper glorp", None, "label", "feel", {"label_make": "paper"}, "glorp"),
    ("label", "cut", None, "cut-or-fragment", "feel", {}, ""),
    ("label", "?", None, None, "", {}, ""),
]  # fmt: skip
NOTHING: list[tuple[str, object, object]] = [
    ("fibre", 3, None), ("fibre", ' {"silk": 1', None), ("fibre", "silk", 3), ("fibre", "silk?", "glorp"),
    ("fibre", "glorp", None), ("fibre", "slik", None), ("hem", "hand rolld", None), ("label", "glorp", None),
    ("label", 'says "zzzz"', None),
]  # fmt: skip


@pytest.mark.parametrize(
    ("family", "cell", "method", "word", "looked", "others", "unread"), CELLS, ids=str
)
def test_a_cell_says_what_it_says(
    priors: Priors, family: str, cell: str, method: str | None, word: str | None, looked: str,
    others: dict[str, Any], unread: str,
) -> None:  # fmt: skip
    found = WordCells(priors, family).read(cell, method)
    assert found is not None
    seen: Any = found.value
    assert (seen is None) == (word is None)
    if seen is not None:
        assert max(seen.terms, key=lambda term: term[1])[0] == word and seen.method == looked
    assert dict(found.others) == others and found.unread == unread
    if cell == "faded":
        assert any("not looked at" in odd for odd in found.odd)


@pytest.mark.parametrize(("family", "cell", "method"), NOTHING, ids=str)
def test_a_cell_that_cannot_be_understood_says_nothing(
    priors: Priors, family: str, cell: object, method: object
) -> None:
    assert WordCells(priors, family).read(cell, method) is None


def test_a_label_that_is_not_understood_may_be_copied_or_told() -> None:
    with pytest.raises(WordError, match="copy the words that are printed on it"):
        Scarf(label="glorp")
    with pytest.raises(WordError) as refusal:
        Scarf(hem="glorp")
    assert "copy" not in str(refusal.value)


def test_what_was_not_understood_is_told_with_the_way_to_the_words(priors: Priors) -> None:
    said = fields_of(priors).by_name["fibre"].told_unread(["glimmery silk", None], "glimmery")
    assert said.startswith("fibre: 'glimmery' in 'glimmery silk' was not understood")
    assert "scarfdate words fibre" in said


# ------------------------------------------------------------------ rows


def test_rows_have_the_cells_that_are_not_blank_and_the_unit_where_it_is_missing(
    priors: Priors,
) -> None:
    frame = pd.DataFrame(
        {"Material": ["silk", None, "wool"], "Width (in)": [30, 31.0, None], "Height": ["30", None, None],
         "size": ["", "30 x 30", None], "note": ["a", "", "b"], "shelf": ["1", "2", "3"]}
    )  # fmt: skip
    rows = [
        {"fibre": "silk", "width_in": 30.0, "height": "30", "note": "a"},
        {"width_in": 31.0, "size": "30 x 30"},
        {"fibre": "wool", "note": "b"},
    ]
    assert list(rows_of_cells(frame, priors)) == rows
    stated = [row | {"unit": "cm"} if {"size", "height"} & row.keys() else row for row in rows]
    assert list(rows_of_cells(frame, priors, "cm")) == stated


def test_a_heading_states_the_unit_of_its_column(priors: Priors) -> None:
    frame = pd.DataFrame({"Size (in)": ["30 x 30", None], "fibre": ["silk", "silk"]})
    rows = list(rows_of_cells(frame, priors, "cm"))
    assert rows == [{"size": "30 x 30", "fibre": "silk", "unit": "in"}, {"fibre": "silk"}]
    own = pd.DataFrame({"size": ["30 x 30"], "unit": ["cm"]})
    assert list(rows_of_cells(own, priors, "in")) == [{"size": "30 x 30", "unit": "cm"}]


def test_a_table_without_a_known_column_is_refused_and_an_empty_one_is_not(priors: Priors) -> None:
    with pytest.raises(TableError, match="no column"):
        list(rows_of_cells(pd.DataFrame({"glorp": [1]}), priors))
    assert list(rows_of_cells(pd.DataFrame({"glorp": []}), priors)) == []
    assert list(rows_of_cells(pd.DataFrame({"fibre": []}), priors)) == []


@pytest.mark.parametrize(
    ("cells", "kept", "left_out"),
    [
        ({"fibre": "silk", "momme": 12}, {"fibre": "silk", "momme": 12.0}, []),
        ({"fibre": "slik", "fibre_method": "burn", "hem": "rolled"}, {"hem": "rolled"}, ["slik"]),
        ({"fibre": "silk", "fibre_method": "glorp", "hem": "rolled"}, {"hem": "rolled"}, ["glorp"]),
        ({"width": "30", "height": "40", "hem": "rolled"}, {"hem": "rolled"}, ["which one"]),
        ({"width_cm": 3000, "hem": "x9", "momme": 12, "note": "a"}, {"momme": 12.0, "note": "a"}, ["long_side", "x9"]),
        ({"glorp": 1, "momme": 12}, {"momme": 12.0}, ["'glorp'"]),
        ({"methods": {"fibre": "burn"}, "fibre": "slik", "momme": 12}, {"momme": 12.0}, ["slik"]),
        ({"known_from": 1960, "known_to": 1950, "hem": "rolled"}, {"hem": "rolled"}, ["1960"]),
        ({"momme": 12, "momme_method": "feel"}, {"momme": 12.0}, ["momme_method"]),
        ({"acquired": 1950, "known_from": 1960}, {"acquired": 1950}, ["1960"]),
    ],
    ids=str,
)  # fmt: skip
def test_a_cell_that_cannot_be_read_is_left_out_with_its_reason(
    priors: Priors, cells: dict[str, Any], kept: dict[str, Any], left_out: list[str]
) -> None:
    """A word goes with its method, a side with its unit and the other side, a year with the other year."""
    scarf, reasons = readable(cells, priors)
    assert scarf == Scarf(priors=priors, **kept)
    assert len(reasons) == len(left_out)
    assert all(word in reason for word, reason in zip(left_out, reasons, strict=True))


# ------------------------------------------------------------------ names


def test_every_column_has_its_field_and_what_is_worked_out_the_field_it_comes_from(
    priors: Priors,
) -> None:
    assert fields_of(priors) is fields_of(priors)  # made once
    fields = Fields(priors)
    for name, field in fields.by_name.items():
        for column in field.columns:
            assert fields.named(column) is field
        assert field.columns[0] == name or name == "size"
    assert fields.named("long_side") is fields.named("slenderness") is fields.by_name["size"]
    assert fields.named("glorp") is None
    assert {"long_side", "slenderness", "unit", "known_by"} <= {*fields.names}
    told = [field.tells for field in fields]
    assert (
        told == sorted(told, reverse=True) and told[0]
    )  # what fills other families is read before them
    assert {f.name for f in fields.beside_others} == {
        "description", "label_text", "label_make", "known", "size",
    }  # fmt: skip


def test_fields_say_of_themselves_what_holds(priors: Priors) -> None:
    """Of a year that it is one, of the label that it is seen there, of a measurement that it is quoted; no other does."""
    by_name = fields_of(priors).by_name
    holds = {
        "is_year": {"depicted_year", "printed_year"},
        "of_label": {"label", "label_make", "label_text"},
        "tells": {"label_text", "description"},
        "quotes": {"stitches_per_inch", "momme", "size"},
        "method": set(priors.confusion),
        "never": {"label_make", "label_text"},
    }
    for what, names in holds.items():
        assert {name for name, field in by_name.items() if getattr(field, what)} == names, what
    for name, field in by_name.items():
        specimen = next(c for c in field.specimens() if len(c) == 1)
        seen = Scarf(**specimen).seen[name]
        assert field.prints_year(seen) is False
        assert bool(field.fills(seen)) == field.tells
        quoted = field.quote({c: cell for c, cell in specimen.items() if c in field.columns})
        assert bool(quoted) == field.quotes, name
        if name in ("maker", "printed_year", "acquired", "label_text"):
            assert field.as_noted("glorp") is None
        assert field.reads(*[None] * len(field.columns)) == (None, ())
        assert (
            field.says_nothing(None) and field.says_nothing("  ") and not field.says_nothing("wool")
        )
    assert by_name["label_text"].prints_year(Scarf(label_text="© 1951").seen["label_text"])
    assert by_name["fibre"].says_nothing("?")


def test_keywords_are_every_column_once_and_no_method(priors: Priors) -> None:
    names = keywords(priors)
    assert len(names) == len(set(names))
    methods = {f"{name}_method" for name in priors.confusion}
    columns = {column for field in fields_of(priors) for column in field.columns}
    assert {*names} == (columns - methods) | {"methods", *KEPT}
    assert names[: len(names) - len(KEPT) - 1][0] == "fibre" and names[-3:] == [
        "methods",
        "id",
        "note",
    ]
    families = [name for name in names if name in priors.families]
    assert names[: len(families)] == families  # before all other ways to write them
    assert {*column_names(priors)} == {*names} | methods


def test_a_kind_that_lacks_a_part_cannot_be_made(priors: Priors) -> None:
    """Whoever adds a kind is told at once what it has to say."""
    lines = priors.families["fibre"]
    for base, made, parts in (
        (Field, (priors, lines), {"reads", "schema", "specimens"}),
        (
            Clue,
            ("own", "own", "making", ("own",), (1, 3, 5)),
            {"key", "likelihood", "amiss", "slips", "says", "behind"},
        ),
    ):
        whole = {name: lambda self, *more: None for name in parts}
        one = type("Own", (base,), whole)(*made)
        assert one.name in ("own", "fibre")
        for name in parts:
            less = {other: what for other, what in whole.items() if other != name}
            with pytest.raises(TypeError, match=f"abstract method.*{name}"):
                type("Own", (base,), less)(*made)
    assert one.by_market is False and one.shape == (1, 3, 5)
    assert one.bound(1) is None and one.first_printing(1) is None and one.design_year(1) is None
    assert one.is_reason(1) is True and one.supposes(1, "own") == "" and one.silences(1) == ()
    assert one.held(1) == 1 and one.drawn(*[None] * 5) == ({}, {})
