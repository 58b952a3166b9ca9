"""A part of a table is dated as the whole is, wherever and beside whatever: to the bit, by tables that are known by their hash."""

from __future__ import annotations

import itertools
import os
import pickle
import subprocess
import sys
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from types import MappingProxyType

import pandas as pd
import pytest

import scarfdate
from scarfdate import ScarfdateError, TableError, date_table, load_priors
from scarfdate.distributed import PartitionDater, date_frame, partition, partition_dater
from scarfdate.errors import NotInstalled
from scarfdate.tables.priors import shipped_folder
from tests.distributed.pieces import AS_OF, NAMES, drawn, same, stock
from tests.test_extras import without

CUTS = {"one row each": [*range(1, 16)], "uneven": [1, 4, 5, 5, 31, 60], "whole": []}


def in_parts(dater: PartitionDater, frame: pd.DataFrame, cuts: list[int]) -> pd.DataFrame:
    ends = [0, *cuts, len(frame)]
    return pd.concat([dater(frame.iloc[a:b]) for a, b in itertools.pairwise(ends)])


@pytest.mark.sampled(3)
@pytest.mark.parametrize("on_error", ["leave-out", "collect"])
@pytest.mark.parametrize("cuts", CUTS)
def test_parts_are_the_whole_to_the_bit(cuts: str, on_error: str) -> None:
    """But for the ids that an earlier row has: no part knows of another's."""
    frame = stock()
    dater = partition_dater(as_of=AS_OF, columns=NAMES, on_error=on_error)
    wanted = date_table(frame.assign(id=""), as_of=AS_OF, columns=NAMES, on_error=on_error)
    same(in_parts(dater, frame, CUTS[cuts]), wanted)
    assert wanted["errors" if on_error == "collect" else "not_read"].notna().sum() == 1


def test_numbers_in_parts_are_those_of_the_whole() -> None:
    """Measures that are whole numbers in one part and broken or missing in another: as engines hand them over."""
    frame = drawn(120)
    frame["stitches_per_inch"] = frame["stitches_per_inch"].round()
    frame.loc[30:60, "stitches_per_inch"] = 12
    dater = partition_dater(as_of=AS_OF, columns=NAMES)
    wanted = date_table(frame, as_of=AS_OF, columns=NAMES)
    ends = [0, 30, 61, 120]
    parts = [frame.iloc[a:b] for a, b in itertools.pairwise(ends)]
    parts[1] = parts[1].astype({"stitches_per_inch": "int64"})
    parts[2] = parts[2].astype(object)
    same(pd.concat([dater(part) for part in parts]), wanted)


def test_the_rows_beside_their_answers() -> None:
    frame = stock()
    dater = partition_dater(as_of=AS_OF, columns=["median_year", "edtf"])
    beside = dater.beside(frame.iloc[5:9])
    assert beside.columns.tolist() == [*frame.columns, "median_year", "edtf"]
    same(beside[["median_year", "edtf"]], dater(frame).iloc[5:9])
    assert dater.ddl == "median_year SMALLINT, edtf STRING"
    assert "year_probabilities ARRAY<DOUBLE>" in partition_dater(as_of=AS_OF, columns=NAMES).ddl


def test_a_dater_is_a_value_and_comes_back_with_the_tables_of_its_hash() -> None:
    dater = partition_dater(as_of=AS_OF)
    back = pickle.loads(pickle.dumps(dater))
    assert back == dater and back.priors is dater.priors
    assert partition_dater(as_of=AS_OF) == dater != partition_dater(as_of=AS_OF, level=0.9)
    assert len(pickle.dumps(dater)) < 500_000


@pytest.fixture
def own(tmp_path: Path) -> scarfdate.Priors:
    text = (shipped_folder() / "slips.csv").read_text("utf-8")
    (tmp_path / "slips.csv").write_text(text.replace("fibre,1.5", "fibre,40"), "utf-8")
    return load_priors(tmp_path)


ARRIVES = """
import pickle, sys, time
from scarfdate.tables import whole
read = []
real = whole.read_contents
whole.read_contents = lambda *given: read.append(1) or real(*given)
for _ in range(3):  # as an engine hands it to task after task, and lets go of it between
    dater = pickle.load(open("dater", "rb"))
    del dater
dater = pickle.load(open("dater", "rb"))
print(dater.priors_hash, dater.priors.hash == dater.priors_hash, len(read))
"""


@pytest.mark.slow
def test_tables_are_made_ready_once_in_a_process(own: scarfdate.Priors, tmp_path: Path) -> None:
    """Tables of one's own, in a process that knows nothing but the pickle; the shipped ones are read beside them, for
    their hash."""
    dater = partition_dater(priors=own, as_of=AS_OF)
    (tmp_path / "dater").write_bytes(pickle.dumps(dater))
    environment = {**os.environ, "PYTHONPATH": str(shipped_folder().parent)}
    told = subprocess.run(
        [sys.executable, "-c", ARRIVES], cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
    )  # fmt: skip
    assert told.stdout.split() == [own.hash, "True", "1"]


def test_tables_that_are_not_those_of_the_hash_are_refused(own: scarfdate.Priors) -> None:
    version, _, *told = partition_dater(as_of=AS_OF).__reduce__()[1]
    with pytest.raises(ScarfdateError, match="what arrived has"):
        partition._arrived(version, own, *told)  # type: ignore[arg-type]
    with pytest.raises(ScarfdateError, match=r"scarfdate 0\.0\.1 sent parts"):
        partition._arrived("0.0.1", load_priors(), *told)  # type: ignore[arg-type]


def test_the_latest_tables_are_kept_and_no_more(
    own: scarfdate.Priors, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(partition, "_KEPT_TABLES", 1)
    for priors in (load_priors(), own):
        pickle.loads(pickle.dumps(partition_dater(priors=priors, as_of=AS_OF)))
        assert [*partition._kept] == [priors.hash]


def test_what_no_part_can_do_is_refused() -> None:
    with pytest.raises(ScarfdateError, match="for a table in parts, got 'raise'"):
        partition_dater(on_error="raise")
    priors = load_priors()
    changed = replace(priors, slips=MappingProxyType({**priors.slips, "fibre": 0.3}), _compiled={})
    with pytest.raises(ScarfdateError, match=r"\(slips\) have no content hash"):
        partition_dater(priors=changed)
    for wrong in (
        {"level": 2},
        {"as_of": "x"},
        {"unit": "furlong"},
        {"channel": "x"},
        {"columns": ["x"]},
    ):
        with pytest.raises(ScarfdateError):
            partition_dater(**wrong)


@pytest.mark.slow
def test_the_room_opens_without_its_libraries() -> None:
    """And says what to install where Dask is asked for and is not there."""
    code = "from scarfdate.distributed import date_frame, partition_dater; date_frame(1)"
    wanted = 'date_frame needs dask, which is not installed; pip install "scarfdate[distributed]"'
    assert without("dask", code) == wanted
    assert issubclass(NotInstalled, ImportError)


def test_ci_has_dask() -> None:
    """So that no test of it is left out there."""
    if not os.environ.get("CI"):
        pytest.skip("asked in CI alone")
    assert find_spec("dask") and find_spec("distributed"), "install the extra `distributed`"


def test_what_is_no_frame_of_dask_is_refused() -> None:
    pytest.importorskip("dask.dataframe", reason="needs the extra `distributed`")
    for given in (stock(), None, 3, [1]):
        with pytest.raises(TableError, match="a DataFrame of Dask is allowed, got"):
            date_frame(given)
