"""What is kept of the shipped tables changes no answer, is believed only while all that it was made of is the same, and
whatever is wrong with it, the tables are read as if there were none."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import scarfdate
from scarfdate import Priors, PriorsError, load_priors
from scarfdate.tables import cache as cache_module
from scarfdate.tables import whole
from scarfdate.tables.cache import Cache, of_the_package
from scarfdate.tables.contents import FIELDS
from scarfdate.tables.folder import read_folder
from scarfdate.tables.priors import priors_of_files
from scarfdate.tables.schema import shipped_folder

pytestmark = pytest.mark.slow

AS_OF = 2026
STOCK = Path(__file__).parents[2] / "data" / "stock.csv"


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return read_folder(shipped_folder(), [], links=True)


@pytest.fixture
def kept(tmp_path: Path, files: dict[str, bytes], monkeypatch: pytest.MonkeyPatch) -> Cache:
    """A cache that holds the shipped tables, wherever the suite lets Python keep its own."""
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    cache = Cache(tmp_path / "kept.json")
    priors_of_files(files, "shipped", cache=cache)
    assert cache.path.is_file()
    return cache


def read_by(cache: Cache, files: dict[str, bytes], monkeypatch: pytest.MonkeyPatch) -> Priors:
    """Priors for which no cell is checked."""
    with monkeypatch.context() as closed:
        closed.setattr(whole, "check_by", lambda *_: pytest.fail("a cell was checked"))
        closed.setattr(whole, "kept", lambda *_: pytest.fail("a file was read"))
        return priors_of_files(files, "shipped", cache=cache)


def _said(one: object) -> str:
    with np.printoptions(threshold=sys.maxsize, floatmode="unique"):
        return repr(dict(one) if hasattr(one, "keys") else one)  # type: ignore[call-overload]


def test_every_table_is_the_same(
    kept: Cache, files: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each field, to the last digit and in the same order; trees of phrases have no words of their own."""
    fresh, again = priors_of_files(files, "shipped"), read_by(kept, files, monkeypatch)
    assert again.hash == fresh.hash == load_priors().hash
    for name in (name for name in FIELDS if name not in ("medium", "label", "usual_shares")):
        assert _said(getattr(again, name)) == _said(getattr(fresh, name)), name
    assert again.medium.phrases == fresh.medium.phrases
    assert again.label.rules == fresh.label.rules
    assert _said(again.usual_shares) == _said(fresh.usual_shares)
    assert not again.changed


def test_every_answer_is_the_same(
    kept: Cache, files: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    stock = pd.read_csv(STOCK, dtype=object)
    found = []
    for priors in (priors_of_files(files, "shipped"), read_by(kept, files, monkeypatch)):
        table, years = scarfdate.date_table(stock, priors=priors, as_of=AS_OF, with_years=True)
        read = scarfdate.read_medium("hand rolled silk twill, printed 1950s", priors=priors)
        label = scarfdate.read_label("100% silk\nmade in italy", priors=priors)
        found.append((table.to_csv(), years.tobytes(), repr(read), repr(label)))
    assert found[0] == found[1]


@pytest.mark.slow
@pytest.mark.parametrize(
    "change",
    [
        lambda content: content[: len(content) // 2],
        lambda content: b"",
        lambda content: content.replace(b"silk", b"wool", 1),
        lambda content: content[:-1],
        lambda content: content + b"[]\n",
        lambda content: content.replace(b'"lines"', b'"kines"'),
        lambda content: b"[" * 100_000,
        lambda content: b"[1, 2]\n",
        lambda content: b'{"of": 1, "lines": 2, "names": 3}\n',
        lambda content: content[::-1],
        lambda content: content.partition(b"\n")[0] + b"\n",
    ],
)
def test_what_is_not_whole_is_not_believed(kept: Cache, files: dict[str, bytes], change) -> None:
    kept.path.write_bytes(change(kept.path.read_bytes()))
    assert kept.tables(files) is None
    assert priors_of_files(files, "shipped", cache=kept).hash == load_priors().hash
    assert kept.tables(files) is not None  # and it is whole again


def test_any_one_letter_changed_is_seen(kept: Cache, files: dict[str, bytes], rng) -> None:
    content = kept.path.read_bytes()
    first = content.index(b"\n") + 300  # the hashes, and the first of the names
    for place in (*rng.integers(first, size=100), *rng.integers(len(content), size=100)):
        spoiled = bytearray(content)
        spoiled[place] ^= 1 << int(rng.integers(8))
        kept.path.write_bytes(spoiled)
        assert kept.tables(files) is None, place


@pytest.mark.parametrize("name", ["shares/hem.csv", "label_words.csv", "worth/faults.csv"])
def test_other_tables_are_read_anew(kept: Cache, files: dict[str, bytes], name: str) -> None:
    changed = {**files, name: files[name] + b"\n"}  # an empty row more: the same table
    assert kept.tables(changed) is None
    less = {one: content for one, content in files.items() if one != "drawings.csv"}
    assert kept.tables(less) is None


def test_a_fault_is_told_and_nothing_kept(
    kept: Cache, files: dict[str, bytes], tmp_path: Path
) -> None:
    spoiled = {**files, "slips.csv": files["slips.csv"] + b"hem,lots\n"}
    for cache in (Cache(tmp_path / "other.json"), kept):  # the second holds other files
        with pytest.raises(PriorsError, match=r"slips\.csv"):
            priors_of_files(spoiled, "spoiled", cache=cache)
        assert cache.tables(spoiled) is None


def test_nothing_is_kept_where_python_keeps_nothing(
    tmp_path: Path, files: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    priors_of_files(files, "shipped", cache=Cache(tmp_path / "kept.json"))
    assert not [*tmp_path.iterdir()]
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    priors_of_files(files, "shipped", cache=Cache(tmp_path / "no folder" / "kept.json"))
    (tmp_path / "folder.json").mkdir()
    priors_of_files(files, "shipped", cache=Cache(tmp_path / "folder.json"))
    assert [path.name for path in tmp_path.iterdir()] == ["folder.json"]


def test_it_lies_where_python_keeps_this_package_compiled(monkeypatch: pytest.MonkeyPatch) -> None:
    place = of_the_package()
    assert place is not None and place.path.suffix == ".json"
    # with PYTHONPYCACHEPREFIX all of it lies elsewhere
    assert place.path.with_suffix(".pyc") == Path(cache_module.__cached__)
    monkeypatch.setattr(cache_module, "__file__", "/within/a.zip/scarfdate/tables/cache.py")
    assert of_the_package() is None


@pytest.mark.slow
def test_a_later_process_reads_it_unless_the_code_is_another(tmp_path: Path) -> None:
    """A copy of the package in a folder of its own: written by the first process, read by the next; not after one
    letter of the code that checks tables, or of what declares them, was changed. No user's folder is kept."""
    root = Path(scarfdate.__file__).parents[1]
    for folder in ("scarfdate", "priors"):
        left_out = shutil.ignore_patterns("__pycache__")
        shutil.copytree(root / folder, tmp_path / folder, ignore=left_out)
    code = (
        "import scarfdate\n"
        "from scarfdate.tables import whole\n"
        "checked, one = [], whole.check_by\n"
        "whole.check_by = lambda *given: checked.append(given) or one(*given)\n"
        "print(scarfdate.date_scarf({'hem': 'hand rolled'}, as_of=2026), len(checked))"
    )

    def run() -> tuple[str, int]:
        # without the watch over the suite, which lies first on PYTHONPATH and keeps nothing
        kept = {"PYTHONPATH": str(tmp_path), "PYTHONDONTWRITEBYTECODE": ""}
        told = subprocess.run(
            [sys.executable, "-P", "-c", code], cwd=tmp_path, env={**os.environ, **kept},
            capture_output=True, text=True, check=True,
        ).stdout.rpartition(" ")  # fmt: skip
        return told[0], int(told[2])

    def lying() -> list[Path]:
        return [*tmp_path.rglob("*.json")]

    before = len(lying())
    first, second = run(), run()
    assert first[1] > 100 and second == (first[0], 0)
    assert len(lying()) == before + 1  # one file
    for changed in ("scarfdate/tables/column.py", "scarfdate/conventions.py", "priors/schema.toml"):
        with (tmp_path / changed).open("a", encoding="utf-8") as file:
            file.write("\n")
        assert run() == first
    assert run() == second
    assert len(lying()) == before + 1


def test_threads_that_ask_at_once_get_one_object(
    kept: Cache, files: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    priors = read_by(kept, files, monkeypatch)
    found: list[list[object]] = []
    start = threading.Barrier(8)

    def ask() -> None:
        start.wait()
        found.append([getattr(priors, name) for name in FIELDS])

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for each in zip(*found, strict=True):
        assert all(one is each[0] for one in each)


def test_what_is_no_table_is_no_attribute() -> None:
    with pytest.raises(AttributeError, match="no_table"):
        _ = load_priors().no_table  # type: ignore[attr-defined]
