"""A `Scarf` is a value: it comes back as it was, with no table, and is read again by other tables."""

from __future__ import annotations

import copy
import json
import pickle
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from scarfdate import (
    Priors,
    Scarf,
    ScarfdateError,
    WordError,
    date_scarf,
    date_table,
    load_priors,
    simulate,
)  # fmt: skip
from tests.clues.own_tables import with_own_families

ROOT = Path(__file__).parents[2]
AS_OF = 1990
SEEN = {
    "id": "K 7", "note": "attic", "fibre": {"milkdown": 0.6, "silk": 0.4}, "backing": "card",
    "weight_grams": 61.5, "woven_year": 1951, "width_in": 30, "height_in": 34, "fringe": "within",
    "depicted_year": 1937, "depicted_announced": "yes", "label_text": "MADE IN ITALY\nRN 60000",
    "maker": "Nobody known", "methods": {"fibre": "burn"},
}  # fmt: skip


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Priors:
    return with_own_families(tmp_path_factory.mktemp("own"))


def test_it_comes_back_as_it_was(own: Priors) -> None:
    scarf = Scarf(priors=own, **SEEN)
    assert scarf.warnings
    for other in (
        pickle.loads(pickle.dumps(scarf)), copy.copy(scarf), copy.deepcopy(scarf),
        Scarf.from_dict(scarf.to_dict(), priors=own), Scarf.from_json(scarf.to_json(), priors=own),
        Scarf.from_dict(scarf.to_row(), priors=own),
    ):  # fmt: skip
        assert other == scarf and hash(other) == hash(scarf) and repr(other) == repr(scarf)
        assert set(other.warnings) == set(scarf.warnings)
        assert (other.backing, other.weight_grams, other.hem) == ("paper-card", 61.5, None)
        dating = date_scarf(other, priors=own, as_of=AS_OF)
        assert np.array_equal(
            dating.probability, date_scarf(scarf, priors=own, as_of=AS_OF).probability
        )


def test_it_is_unpickled_where_no_table_can_be_read(own: Priors, tmp_path: Path) -> None:
    """In a process of its own, in which loading any priors fails."""
    scarf = Scarf(priors=own, **SEEN)
    (tmp_path / "scarf").write_bytes(pickle.dumps(scarf))
    code = (
        "import pickle, pathlib, scarfdate.tables.priors as p\n"
        "p.load_priors = p._shipped = lambda *a: 1 / 0\n"
        f"scarf = pickle.loads(pathlib.Path({str(tmp_path / 'scarf')!r}).read_bytes())\n"
        "print(repr(scarf) == pathlib.Path("
        f"{str(tmp_path / 'words')!r}).read_text(encoding='utf-8'), scarf.backing)"
    )
    (tmp_path / "words").write_text(repr(scarf), encoding="utf-8")
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert run.stdout.strip() == "True paper-card", run.stderr


def test_it_has_no_name_that_its_tables_do_not_know(own: Priors) -> None:
    scarf = Scarf(fibre="silk")
    assert scarf.hem is None and scarf.maker is None
    with pytest.raises(AttributeError, match="no 'backing'"):
        scarf.backing  # noqa: B018
    assert Scarf(fibre="silk", priors=own).backing is None
    with pytest.raises(AttributeError, match="cannot be changed"):
        scarf.fibre = "wool"


def test_other_tables_that_do_not_know_a_clue_refuse_it(own: Priors) -> None:
    """Dated silently without it, the answer would be another."""
    for seen, said in (
        ({"backing": "card"}, "no clue 'backing'"),
        ({"woven_year": 1951}, "no clue 'woven_year'"),
        ({"weight_grams": 30}, "no clue 'weight_grams'"),
    ):
        with pytest.raises(WordError, match=said):
            date_scarf(Scarf(priors=own, **seen), priors=load_priors(), as_of=AS_OF)


def test_other_tables_that_know_it_read_it_again(tmp_path: Path) -> None:
    """With its warnings, and the words in the spelling of the other tables."""
    own = with_own_families(tmp_path)
    seen = {"fibre": "silk", "momme": 250.0, "label_text": "MADE IN ITALY"}
    scarf = Scarf(**seen)
    found = date_scarf(scarf, priors=own, as_of=AS_OF)
    again = date_scarf(Scarf(priors=own, **seen), priors=own, as_of=AS_OF)
    assert np.array_equal(found.probability, again.probability)
    assert found.warnings == again.warnings and found.warnings
    assert scarf.under(load_priors()) is scarf and scarf.under(own) is not scarf


def test_limits_of_other_tables_hold(tmp_path: Path) -> None:
    text = (Path(load_priors().folder) / "families.csv").read_text(encoding="utf-8")
    before = "momme,0.5,300,3,80"
    assert before in text
    changed = text.replace(before, "momme,0.5,40,3,30")
    (tmp_path / "families.csv").write_text(changed, encoding="utf-8")
    narrow = load_priors(tmp_path)
    with pytest.raises(ScarfdateError, match="momme: must lie between 0.5 and 40"):
        date_scarf(Scarf(momme=60), priors=narrow, as_of=AS_OF)


@pytest.mark.parametrize("wrong", ["my", 3, {}, Path("priors")])
def test_priors_that_are_none_are_refused(wrong: object) -> None:
    for ask in (
        lambda: date_scarf({"fibre": "silk"}, priors=wrong),  # type: ignore[arg-type]
        lambda: date_table(pd.DataFrame({"fibre": ["silk"]}), priors=wrong),  # type: ignore[call-overload]
        lambda: simulate(wrong, 3, np.random.default_rng(1)),  # type: ignore[arg-type]
        lambda: Scarf(fibre="silk", priors=wrong),  # type: ignore[arg-type]
        lambda: Scarf.json_schema(wrong),  # type: ignore[arg-type]
    ):
        with pytest.raises(ScarfdateError, match="priors: .*load_priors.*got"):
            ask()


# ------------------------------------------------------------------ in and out


def test_plain_values_and_a_row_of_it() -> None:
    scarf = Scarf(
        id="K 7", fibre={"silk": 0.6, "rayon": 0.4}, momme=12, methods={"fibre": "burn"}, hem="  "
    )
    plain = {
        "id": "K 7",
        "fibre": {"silk": 0.6, "rayon": 0.4},
        "momme": 12.0,
        "methods": {"fibre": "burn"},
    }
    assert scarf.to_dict() == plain and next(iter(scarf.to_dict())) == "id"
    row = scarf.to_row()
    assert json.loads(str(row.pop("fibre"))) == plain["fibre"]
    assert row == {"id": "K 7", "momme": 12.0, "fibre_method": "burn"}
    assert Scarf(note="attic").to_dict() == Scarf(note="attic").to_row() == {"note": "attic"}
    assert Scarf().to_dict() == Scarf().to_row() == {}
    assert (
        json.loads(Scarf(note="Straße").to_json()) == {"note": "Straße"}
        and "ß" in Scarf(note="Straße").to_json()
    )
    assert list(scarf.clues()) == ["fibre", "momme"] and list(scarf.observations) == ["fibre"]


def test_two_are_the_same_where_all_of_them_is() -> None:
    one = Scarf(id="a", fibre="silk")
    assert one == Scarf(id="a", fibre="SILK") and hash(one) == hash(Scarf(id="a", fibre="Silk"))
    for other in (
        Scarf(id="b", fibre="silk"),
        Scarf(id="a", fibre="wool"),
        Scarf(id="a", fibre="silk", note="x"),
        3,
    ):
        assert one != other
    assert one != one.to_dict() and {one: 1}[Scarf(id="a", fibre="silk")] == 1


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (3, "made from names and values, got '3'"), ([("fibre", "silk")], "made from names and values"),
        ({3: "silk"}, "made from names and values"), ({"priors": 3}, "no clue 'priors' or 'self'"),
        ({"self": 3}, "no clue 'priors' or 'self'"), ({"glorp": 3}, "no clue 'glorp' is known"),
        ({"fiber": "silk"}, "did you mean 'fibre'"), ({"methods": 3}, "methods: a mapping such as"),
        ({"methods": "burn"}, "methods: a mapping such as"), ({"methods": {3: "burn"}}, "methods: names of clues"),
        ({"methods": {"momme": "burn"}}, "methods: 'momme' is not looked at"),
        ({"id": "x" * 201}, "id: "), ({"note": "x" * 10_001}, "note: "),
    ],
    ids=lambda one: str(one)[:40],
)  # fmt: skip
def test_what_makes_no_scarf(values: object, words: str) -> None:
    with pytest.raises(ScarfdateError, match=words):
        Scarf.from_dict(values)  # type: ignore[arg-type]


def test_the_longest_id_and_note_and_methods_of_every_form() -> None:
    assert len(Scarf(id="x" * 200).id) == 200 and len(Scarf(note="x" * 10_000).note) == 10_000
    burnt = Scarf(fibre="silk", methods={"fibre": "burn", "hem": None})
    assert (
        burnt
        == Scarf(fibre="silk", fibre_method="burn")
        == Scarf(fibre="silk", methods='{"fibre": "burn"}')
    )
    assert burnt != Scarf(fibre="silk") and burnt.to_dict()["methods"] == {"fibre": "burn"}
    # a column of its own goes before
    assert (
        Scarf(fibre="silk", fibre_method="feel", methods={"fibre": "burn"}).to_dict()
        == Scarf(fibre="silk").to_dict()
    )


@pytest.mark.parametrize("text", ["{", "silk", "[1]", None, 3, "[" * 100_000])
def test_text_that_is_no_scarf(text: Any) -> None:
    with pytest.raises(ScarfdateError, match="not JSON|made from names"):
        Scarf.from_json(text)


def test_a_label_fills_what_is_blank_and_nothing_else() -> None:
    told = Scarf(label_text="100% SILK\nMADE IN ITALY")
    assert told.to_dict() == {
        "fibre": "silk", "label": "intact", "label_text": "100% SILK\nMADE IN ITALY", "origin": "italy",
        "methods": {"fibre": "label"},
    }  # fmt: skip
    noted = Scarf(
        label_text="100% SILK\nMADE IN ITALY", fibre="rayon", origin="?", label="cut-or-fragment"
    )
    assert (noted.fibre, noted.origin, noted.label) == ("rayon", "italy", "cut-or-fragment")
    assert any(
        "the label says silk, you noted rayon; your note counts" in odd for odd in noted.warnings
    )
    assert (
        not told.warnings
        and not Scarf(label_text="100% SILK", fibre={"silk": 0.6, "wool": 0.4}).warnings
    )
    assert Scarf(label_text="RN 1234567").warnings  # what cannot be right on it
    with pytest.raises(
        ScarfdateError, match="words of a label are given, but label says none-seen"
    ):
        Scarf(label_text="100% SILK", label="none-seen")
    # a cell in words fills others in the same way
    assert (
        Scarf(fibre="silk twill", weave="satin").weave == "satin"
        and Scarf(fibre="silk twill").weave == "twill"
    )
    assert Scarf(fibre="silk twill", weave="?").weave == "twill"


@pytest.mark.parametrize("fibre", ["rayon", "viscose", "Viskose"])
def test_a_fibre_that_the_label_names_too_was_read_there(fibre: str) -> None:
    """Two notes of one thing are one: who has the label in hand has the fibre from it."""
    text = "40% Wolle 60% Viskose, Made in Italy"
    alone, both = Scarf(label_text=text), Scarf(label_text=text, fibre=fibre)
    assert both.seen == alone.seen and both.seen["fibre"].method == "label"
    assert Scarf.from_dict(both.to_dict()) == both
    burnt = Scarf(label_text=text, fibre=fibre, methods={"fibre": "burn"})
    assert burnt.seen["fibre"].method == "burn"
    other = Scarf(label_text=text, fibre="silk")
    assert other.seen["fibre"].method != "label" and "your note counts" in other.warnings[0]
    frame = pd.DataFrame(
        {
            "label_text": [text] * 4,
            "fibre": [None, fibre, fibre, "silk"],
            "fibre_method": [None, None, "burn", None],
        }
    )
    table = date_table(frame)
    for row, scarf in enumerate((alone, both, burnt, other)):
        dated = date_scarf(scarf)
        assert table["sentence"][row] == dated.sentence
        assert table["median_year"][row] == dated.median
    assert "misreading" not in table["sentence"][1]


def test_a_label_tells_more_than_a_wider_word_that_was_noted() -> None:
    text = "100% polyester. Made in Western Germany"
    alone = Scarf(label_text=text)
    wider = {"fibre": "synthetic", "origin": "german", "label": "some label"}
    both = Scarf(label_text=text, **wider)
    assert both.seen == alone.seen and not both.warnings
    assert (both.fibre, both.origin, both.label) == ("polyester", "west-germany", "intact")
    table = date_table(pd.DataFrame([{"label_text": text}, {"label_text": text, **wider}]))
    assert table["sentence"][0] == table["sentence"][1] == date_scarf(both).sentence
    assert table["warnings"].isna().all()
    # a word that the label's is none of, and doubt, stand as they were noted
    for noted in ("natural", "silk", "polyester?"):
        kept = Scarf(label_text=text, fibre=noted)
        assert kept.seen["fibre"] == Scarf(fibre=noted).seen["fibre"]


def test_the_schema_is_asked_of_the_kind_or_of_any_piece() -> None:
    assert Scarf(fibre="silk").json_schema() == Scarf.json_schema()
    whole = Scarf.json_schema()
    assert whole["additionalProperties"] is False and whole["type"] == "object"
    methods = whole["properties"]["methods"]  # type: ignore[index]
    assert set(methods["additionalProperties"]["enum"]) == {
        "feel",
        "label",
        "burn",
        "microscope",
        "solvent",
    }
