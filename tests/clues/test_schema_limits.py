"""The JSON Schema of a scarf promises what `Scarf` keeps: limits, words and truth values, each at its edge."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from scarfdate import Scarf, ScarfdateError, load_priors
from scarfdate.clues.kinds import fields_of, keywords

PRIORS = load_priors()


def schema() -> dict[str, dict[str, Any]]:
    return Scarf.json_schema()["properties"]  # type: ignore[return-value]


LIMITED = [name for name, what in schema().items() if "minimum" in what]
WORDS = [name for name, what in schema().items() if "anyOf" in what]


def test_every_keyword_of_a_scarf_is_told() -> None:
    only_read = {
        "known",
        "size",
        "unit",
        "stitches_per_cm",
        "grams_per_square_metre",
        "width",
        "height",
    }
    only_read |= {"width_in", "height_in"}  # other ways to write what the schema has already
    methods = {f"{name}_method" for name in PRIORS.confusion}
    assert set(keywords(PRIORS)) - only_read - methods <= set(schema())
    assert {"stitches_per_inch", "momme", "depicted_year", "printed_year", "acquired"} <= {*LIMITED}


@pytest.mark.parametrize("name", LIMITED)
def test_a_limit_is_the_last_that_is_allowed(name: str) -> None:
    what = schema()[name]
    step = 1 if what["type"] == "integer" else 1e-6
    for edge, outwards in ((what["minimum"], -step), (what["maximum"], step)):
        assert name in Scarf(**{name: edge}).to_dict()
        with pytest.raises(ScarfdateError, match=name.removesuffix("_from").removesuffix("_to")):
            Scarf(**{name: edge * (1 + outwards) if what["type"] == "number" else edge + outwards})
    if what["type"] == "integer":
        with pytest.raises(ScarfdateError):
            Scarf(**{name: what["minimum"] + 300.5})


@pytest.mark.parametrize("name", WORDS)
def test_words_weights_and_nothing_else(name: str) -> None:
    text, several = schema()[name]["anyOf"]
    assert text["type"] == "string" and several["type"] == "object"
    assert several["additionalProperties"] == {"type": "number", "minimum": 0}
    assert several["minProperties"] == 1
    for word in text["examples"]:
        assert Scarf(**{name: word}).observations[name].word == word
    two = text["examples"][:2]
    assert Scarf(**{name: dict.fromkeys(two, 0.5)}).observations[name].word is None
    for refused in ({two[0]: -1e-9, two[1]: 1}, {two[0]: 0.9}, {two[0]: 0.0}):
        with pytest.raises(ScarfdateError, match=name):
            Scarf(**{name: refused})


def test_words_of_one_of_several() -> None:
    for way in schema()["known_by"]["enum"]:
        assert Scarf(known_from=1950, known_by=way).to_dict()["known_from"] == 1950
    assert {*schema()["known_by"]["enum"]} == {*PRIORS.known_by}
    for fringe in schema()["fringe"]["enum"]:
        assert Scarf(width_cm=90, fringe=fringe).to_dict()["fringe"] == fringe
    assert schema()["depicted_announced"] == {"type": "boolean"}
    for said in (True, False):
        assert (
            Scarf(depicted_year=1937, depicted_announced=said).to_dict()["depicted_announced"]
            is said
        )
    for side in ("width_cm", "height_cm"):
        assert schema()[side]["exclusiveMinimum"] == 0  # every length above it is one
        with pytest.raises(ScarfdateError, match="greater than 0"):
            Scarf(**{side: schema()[side]["exclusiveMinimum"]})


def test_specimens_show_every_value_and_every_column() -> None:
    """Whoever tries a clue by its specimens has tried every word, every method and every column."""
    for field in fields_of(PRIORS):
        shown = field.specimens()
        written = {name for cells in shown for name in cells}
        assert {*field.columns} - written <= {"unit", "note", "id"}, field.name
        if field.name not in WORDS:
            continue
        words = {cells[field.name] for cells in shown if isinstance(cells[field.name], str)}
        known = PRIORS.vocabulary
        assert words >= {*known.values[field.name], *known.parents[field.name]}
        ways = {cells.get(f"{field.name}_method") for cells in shown}
        assert ways >= {*PRIORS.confusion[field.name].matrices}
        both = [cells[field.name] for cells in shown if isinstance(cells[field.name], dict)]
        assert both and all(np.isclose(sum(one.values()), 1) for one in both)
        assert any(isinstance(c, str) and c.startswith("{") and json.loads(c) == both[0]
                   for c in (cells[field.name] for cells in shown))  # fmt: skip
