"""Priors that were pickled or copied are what they were, whatever became of their folder."""

from __future__ import annotations

import copy
import os
import pickle
import shutil
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

from scarfdate import Priors, PriorsError, Scarf, date_scarf, load_priors
from scarfdate.tables.priors import folder_files, priors_of_files, shipped_folder

SEEN = {"fibre": "polyester"}
AS_OF = 2026


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder of one file of one's own."""
    text = (shipped_folder() / "slips.csv").read_text("utf-8")
    assert "fibre,1.5" in text
    place = tmp_path / "mine"
    place.mkdir()
    (place / "slips.csv").write_text(text.replace("fibre,1.5", "fibre,40"), "utf-8")
    return place


def years(priors: Priors) -> np.ndarray:
    return date_scarf(Scarf(**SEEN, priors=priors), priors=priors, as_of=AS_OF).probability


def same(back: Priors, priors: Priors) -> None:
    assert (back.hash, back.folder) == (priors.hash, priors.folder)
    assert dict(back.slips) == dict(priors.slips)
    assert folder_files(back) == folder_files(priors)
    np.testing.assert_array_equal(years(back), years(priors))


def in_a_fresh_process(pickled: Path) -> str:
    """What another process, which knows nothing but the pickle, reads out of it."""
    code = (
        "import pickle, sys; p = pickle.load(open(sys.argv[1], 'rb')); "
        "print(p.hash, p.slips['fibre'], p.folder)"
    )
    environment = {**os.environ, "PYTHONPATH": str(shipped_folder().parent)}
    told = subprocess.run(
        [sys.executable, "-c", code, str(pickled)],
        capture_output=True, text=True, check=True, env=environment, cwd=pickled.parent,
    )  # fmt: skip
    return told.stdout.strip()


def test_the_shipped_ones_come_back_as_themselves() -> None:
    priors = load_priors()
    assert pickle.loads(pickle.dumps(priors)) is priors
    assert copy.copy(priors) is copy.deepcopy(priors) is priors


@pytest.mark.slow
def test_a_folder_edited_meanwhile_changes_nothing(folder: Path) -> None:
    priors = load_priors(folder)
    text = pickle.dumps(priors)
    (folder / "slips.csv").write_bytes((shipped_folder() / "slips.csv").read_bytes())
    same(pickle.loads(text), priors)
    (folder.parent / "pickled").write_bytes(text)
    shutil.rmtree(folder)
    told = in_a_fresh_process(folder.parent / "pickled")
    assert told == f"{priors.hash} 0.4 {folder}"


@pytest.mark.slow
def test_another_current_folder_changes_nothing(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder.parent)
    priors = load_priors("mine")
    text = pickle.dumps(priors)
    (folder.parent / "elsewhere").mkdir()
    monkeypatch.chdir(folder.parent / "elsewhere")
    same(pickle.loads(text), priors)
    (folder.parent / "elsewhere" / "pickled").write_bytes(text)
    told = in_a_fresh_process(folder.parent / "elsewhere" / "pickled")
    assert told == f"{priors.hash} 0.4 mine"


@pytest.mark.slow
def test_priors_that_no_folder_holds_come_back(folder: Path) -> None:
    files = folder_files(load_priors(folder))
    priors = priors_of_files(files, "learned tables, not saved yet")
    same(pickle.loads(pickle.dumps(priors)), priors)
    (folder / "pickled").write_bytes(pickle.dumps(priors))
    told = in_a_fresh_process(folder / "pickled")
    assert told == f"{priors.hash} 0.4 learned tables, not saved yet"


def test_what_was_put_in_a_tables_place_comes_back_too() -> None:
    priors = load_priors()
    slips = MappingProxyType({**priors.slips, "fibre": 0.3})
    own = replace(priors, slips=slips, shares=priors.in_channel("museum").shares, _compiled={})
    back = pickle.loads(pickle.dumps(own))
    same(back, own)
    assert back.slips["fibre"] == 0.3
    assert back.shares["fibre"].bases[0].file == "museum/shares/fibre.csv"


def test_what_was_compiled_is_not_pickled(folder: Path) -> None:
    priors = load_priors(folder)
    before = len(pickle.dumps(priors))
    years(priors)
    assert priors._compiled
    assert len(pickle.dumps(priors)) == before < 2**20
    assert not pickle.loads(pickle.dumps(replace(priors, slips=dict(priors.slips))))._compiled


def test_the_files_are_at_hand_without_their_folder(folder: Path) -> None:
    priors = load_priors(folder)
    shutil.rmtree(folder)
    assert b"fibre,40" in folder_files(priors)["slips.csv"]


def _refused(folder: str) -> Priors:
    return load_priors(folder)


@pytest.mark.slow
def test_a_refusal_comes_back_from_a_pool_of_processes(folder: Path) -> None:
    (folder / "slips.csv").write_text("family,rate\nfibre,much\n", "utf-8")
    with pytest.raises(PriorsError) as caught:
        load_priors(folder)
    for back in (pickle.loads(pickle.dumps(caught.value)), copy.deepcopy(caught.value)):
        assert isinstance(back, PriorsError)
        assert (str(back), back.faults) == (str(caught.value), caught.value.faults)
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        found = pool.submit(_refused, str(folder)).exception(timeout=120)
    assert isinstance(found, PriorsError)
    assert found.faults == caught.value.faults


@pytest.mark.slow
def test_priors_go_to_a_pool_of_processes_and_back(folder: Path) -> None:
    priors = load_priors(folder)
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        found = pool.submit(years, priors).result(timeout=120)
    np.testing.assert_array_equal(found, years(priors))
