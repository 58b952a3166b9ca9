"""A `Scarf` is a value: it comes back as it was, with no table, and is read again by other tables."""

from __future__ import annotations

import copy
import pickle
import subprocess
import sys
from pathlib import Path

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
