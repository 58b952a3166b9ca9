"""Every notebook runs from top to bottom, holds no stored output, and starts in plain words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


def test_there_are_notebooks() -> None:
    assert [path.name for path in NOTEBOOKS]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_stores_no_output(path: Path) -> None:
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        assert not cell.get("outputs")
        assert cell.get("execution_count") is None


FIRST = "start_here"  # runs with the fast tests; the others with all tests


@pytest.mark.slow
@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, id=path.stem, marks=pytest.mark.quick if path.stem == FIRST else ())
        for path in NOTEBOOKS
    ],
)
def test_notebook_runs(path: Path) -> None:
    nbformat = pytest.importorskip("nbformat")  # here, for it takes seconds to import
    nbclient = pytest.importorskip("nbclient")
    notebook = nbformat.read(path, as_version=4)
    client = nbclient.NotebookClient(
        notebook, timeout=300, resources={"metadata": {"path": str(path.parent)}}
    )
    client.execute()
    assert any(cell.get("outputs") for cell in notebook.cells)
