"""What every clue of every family must do, checked on specimens that the clues make from the tables.

`faults_of` is the check; the last tests spoil a clue on purpose and see that it is found.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import scarfdate.clues
from scarfdate import Priors, Scarf, ScarfdateError, load_priors, simulate
from scarfdate.answer.evidence import encode
from scarfdate.answer.frame import Columns
from scarfdate.clues.clue import Asked, Clue
from scarfdate.clues.field import Field
from scarfdate.clues.kinds import CLUE_KINDS, FIELDS, fields_of, keywords
from scarfdate.clues.label import LabelClue
from scarfdate.clues.shares import SharesClue
from scarfdate.clues.shares_field import WordsField
from scarfdate.conventions import GRADES, MARKETS
from scarfdate.model.model import Model, compiled
from scarfdate.tables.priors import shipped_folder
from scarfdate.tables.schema import schema
from tests.clues.own_tables import with_own_families

AS_OF = 1990
SOME = 14  # specimens of one family that are tried


@pytest.fixture(scope="module", params=["shipped", "own families"])
def priors(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Priors:
    if request.param == "shipped":
        return load_priors()
    return with_own_families(tmp_path_factory.mktemp("own"))


def model_of(priors: Priors) -> Model:
    return compiled(priors, "thrift", AS_OF)


def specimens(field: Field) -> list[dict[str, object]]:
    every = field.specimens()
    return every if len(every) <= SOME else [*every[: SOME // 2], *every[-SOME // 2 :]]


def row_of(cells: dict[str, object]) -> dict[str, object]:
    return {name: str(cell) if isinstance(cell, bool) else cell for name, cell in cells.items()}


def faults_of(model: Model, field: Field, cells: dict[str, object]) -> list[str]:
    """What is wrong with how one specimen is read, weighed, worded and found in the tables."""
    faults: list[str] = []
    try:
        scarf = Scarf(priors=model.priors, **cells)
        codes, _ = encode(model, scarf)
    except ScarfdateError as refusal:
        return [f"not read as a scarf: {refusal}"]
    block = Columns(model, pd.DataFrame([row_of(cells)], dtype=object)).block(0, 1)
    if block.errors:
        return [f"not read in a table: {dict(block.errors)}"]
    if not np.array_equal(block.codes, codes):
        faults.append(f"the two doors differ: {codes.tolist()}, {block.codes.tolist()}")
    if field.name not in scarf.seen:
        return [*faults, f"nothing was seen of {field.name}"]
    if Scarf.from_dict(scarf.to_dict(), priors=model.priors) != scarf:
        faults.append("its cells do not read as it again")
    looked = [model.clues[column] for column in np.flatnonzero(codes[0])]
    if not looked:
        faults.append("no clue says anything")
    for clue in looked:
        faults += clue_faults(clue, clue.key(scarf.seen)[0], model.priors)
    return faults


def clue_faults(clue: Clue, key: Any, priors: Priors) -> list[str]:
    """What is wrong with what one clue makes of a key."""
    faults: list[str] = []
    row = clue.likelihood(key)
    if row.shape != clue.shape:
        faults.append(f"{clue.name}: a likelihood of shape {row.shape}, not {clue.shape}")
    if not (np.isfinite(row).all() and (row > 0).all()):
        faults.append(f"{clue.name}: a likelihood that is not finite and positive")
    says = clue.says(key)
    if not says or says != says.strip() or "\n" in says or len(says) > 300:
        faults.append(f"{clue.name}: says {says!r}")
    slips = clue.slips(key)
    if not slips:
        faults.append(f"{clue.name}: no part of it can be a slip")
    for slip in slips:
        chances = slip.chance > 0 and slip.chance < 1 and slip.seen > 0 and math.isfinite(slip.seen)
        if not chances or slip.part not in priors.families or not slip.says:
            faults.append(f"{clue.name}: the slip {slip}")
        if slip.rest is not None and not (clue.likelihood(slip.rest) > 0).all():
            faults.append(f"{clue.name}: what is left of a slip cannot be weighed")
    for earliest in (True, False):
        behind = clue.behind(key, Asked(AS_OF - 40, earliest, GRADES[0], MARKETS[0]))
        file = Path(priors.folder) / behind.row.file
        file = file if file.exists() else shipped_folder() / behind.row.file
        lines = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
        if not 0 <= behind.row.row <= len(lines) or behind.row.basis not in "\n".join(lines):
            faults.append(f"{clue.name}: no row {behind.row.row} of {behind.row.file}")
    return faults


def test_every_specimen_of_every_family(priors: Priors) -> None:
    model = model_of(priors)
    for field in fields_of(priors):
        every = specimens(field)
        assert every, f"{field.name} has no specimens"
        for cells in every:
            assert not faults_of(model, field, cells), (field.name, cells)


def test_every_family_of_the_file_has_its_field_and_its_clue(priors: Priors) -> None:
    fields, model = fields_of(priors), model_of(priors)
    read = {name for field in fields for name in (field.name, *field.derives)}
    weighed = {name for clue in model.clues for name in clue.families}
    assert set(priors.families) <= read
    assert set(priors.families) == weighed
    columns = [column for field in fields for column in field.columns]
    assert len(columns) == len(set(columns))
    assert {*columns} <= {*keywords(priors), *(field.method for field in fields)}


def test_kinds_of_the_folder_of_the_registry_and_of_the_tables_are_the_same() -> None:
    folder = Path(str(scarfdate.clues.__file__)).parent
    files = {path.stem for path in folder.glob("*.py")}
    declared = {line.name: line for line in schema().tables["families.csv"].lines}
    kinds = set(declared["kind"].words or ())
    assert kinds == set(FIELDS)
    assert kinds <= files  # a kind is a file of its name
    assert kinds - set(CLUE_KINDS) == {"measured"}  # weighed with the family it is measured on
    for kind, field in FIELDS.items():
        # that of a label, which is long, has a file of its own
        assert field.__module__.removesuffix("_field") == f"scarfdate.clues.{kind}"  # type: ignore[attr-defined]
    for kind, clue in CLUE_KINDS.items():
        assert clue.__module__ == f"scarfdate.clues.{kind}"  # type: ignore[attr-defined]
    used = {family.kind for family in load_priors().families.values()}
    assert used == kinds


def test_what_is_drawn_can_be_read_back(priors: Priors) -> None:
    model = model_of(priors)
    drawn = simulate(priors, 200, np.random.default_rng(3), as_of=AS_OF, looked_at=0.9)
    block = Columns(model, drawn.frame()).block(0, len(drawn))
    assert not block.errors
    label = next(clue for clue in model.clues if isinstance(clue, LabelClue))
    for column, clue in enumerate(model.clues):
        seen = [name for name in clue.families if name in drawn.seen]
        # of the others no table says how many; what is read off a label is taken in by that of the label
        assert bool(seen) == isinstance(clue, (SharesClue, LabelClue))
        there = [cell is not None for name in seen for cell in drawn.seen[name]]
        if not {*seen} & {*label.off.methods} - {"fibre"}:
            assert block.codes[:, column].any() == any(there)
    assert block.codes[:, model.column[label.name]].any()
    again = [encode(model, scarf)[0][0] for scarf in drawn.scarves(priors)]
    assert np.array_equal(np.array(again), block.codes)


def test_what_is_drawn_again_is_looked_at_in_the_same_way(priors: Priors) -> None:
    """A word stays a word noted by the same method, a measurement a measurement, and the rest is held."""
    model, rng = model_of(priors), np.random.default_rng(5)
    at = np.zeros(4, dtype=np.intp)
    for field in fields_of(priors):
        for cells in specimens(field)[:4]:
            scarf = Scarf(priors=priors, **cells)
            for clue in model.clues:
                key, _ = clue.key(scarf.seen)
                if key is None:
                    continue
                keys = clue.again(key, at, at, at, rng)
                assert len(keys) == len(at)
                for other in keys:
                    assert [s.part for s in clue.slips(other)] == [s.part for s in clue.slips(key)]
                if clue.held(key) is not None:
                    assert keys == [key] * len(at)


# ------------------------------------------------------------------- spoiled on purpose


def _first(priors: Priors, name: str) -> tuple[Model, Field, dict[str, object]]:
    field = fields_of(priors).by_name[name]
    return Model(priors, "thrift", AS_OF), field, field.specimens()[0]


@pytest.mark.parametrize(
    ("of", "name", "wrong", "found"),
    [
        (SharesClue, "likelihood", lambda self, key: np.zeros(self.shape), "finite and positive"),
        (SharesClue, "likelihood", lambda self, key: np.ones(3), "shape"),
        (SharesClue, "says", lambda self, key: "", "says ''"),
        (SharesClue, "slips", lambda self, key: (), "no part of it"),
        (WordsField, "reads", lambda self, *cells: (None, ()), "nothing was seen"),
    ],
)  # fmt: skip
def test_a_spoiled_clue_is_found(
    monkeypatch: pytest.MonkeyPatch, of: type, name: str, wrong: Any, found: str
) -> None:
    model, field, cells = _first(load_priors(), "fibre")
    assert not faults_of(model, field, cells)
    key = model.clues[model.column["fibre"]].key(Scarf(**cells).seen)[0]
    with monkeypatch.context() as patch:
        patch.setattr(of, name, wrong)
        faults = clue_faults(model.clues[model.column["fibre"]], key, model.priors)
        if of is WordsField:
            faults = faults_of(Model(load_priors(), "thrift", AS_OF), field, cells)
    assert any(found in fault for fault in faults), faults
    assert not faults_of(model, field, cells)


def test_two_doors_that_read_differently_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    model, field, cells = _first(load_priors(), "stitches_per_inch")
    assert not faults_of(model, field, cells)

    def one_step_off(self: Any, numbers: Any, texts: Any, seen: Any) -> Any:
        found, done = real(self, numbers, texts, seen)
        double = [v and type(v)(v.value * 2) for v in found.values]
        return found._replace(values=double), done

    real = type(field).at_once
    monkeypatch.setattr(type(field), "at_once", one_step_off)
    assert any("two doors differ" in fault for fault in faults_of(model, field, cells))
