"""Every notebook runs from top to bottom, holds no stored output, and starts in plain words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


def test_there_are_notebooks() -> None:
    assert [path.name for path in NOTEBOOKS]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_stores_no_output(path: Path) -> None:
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        assert not cell.get("outputs")
        assert cell.get("execution_count") is None


def cells_of(path: Path) -> list[dict[str, Any]]:
    cells: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return cells


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_what_the_reader_need_not_see_is_folded_away(path: Path) -> None:
    """Cells tagged "hide" are code, and shut wherever a notebook can shut a cell."""
    for cell in cells_of(path):
        hidden = "hide" in cell["metadata"].get("tags", ())
        assert hidden == cell["metadata"].get("jupyter", {}).get("source_hidden", False)
        assert cell["cell_type"] == "code" or not hidden


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_folded_answers_are_asserted(path: Path) -> None:
    """Behind each answer stands a hidden cell that works it out; running the notebook runs it."""
    cells = cells_of(path)
    for cell, after in zip(cells, [*cells[1:], {}], strict=True):
        text = "".join(cell["source"])
        assert text.count("<details>") == text.count("</details>") == text.count("**Exercise ")
        if "<details>" in text:
            assert "hide" in after["metadata"]["tags"]
            assert "assert " in "".join(after["source"])


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
    for cell in notebook.cells:
        if "hide" in cell["metadata"].get("tags", ()):
            assert not cell["outputs"]
