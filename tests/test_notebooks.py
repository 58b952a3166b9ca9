"""Every notebook runs within two minutes, holds no stored output, asserts its numbers and names the next."""

from __future__ import annotations

import json
import os
import re
import resource
import time
from pathlib import Path

import pytest

from scarfdate.lessons.contents import CONTENTS, Lesson, lessons
from scarfdate.lessons.pages import page, run
from tests.lessons.claims import cells_of, not_asserted, source, tags
from tests.lessons.faults import faults
from tests.pace import Pace

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
NAMES = [lesson.name for lesson in lessons()]


def named(lesson: Lesson) -> str:
    return lesson.name


def test_there_are_notebooks() -> None:
    assert [path.name for path in NOTEBOOKS]
    assert len(set(NAMES)) == len(NAMES)
    assert {path.stem for path in NOTEBOOKS} == {*NAMES, CONTENTS}


@pytest.mark.parametrize("lesson", lessons(), ids=named)
def test_numbers_in_prose_are_asserted(lesson: Lesson) -> None:
    """The rule stands in tests/lessons/claims.py, which also prints what a notebook still lacks."""
    assert list(not_asserted(cells_of(lesson.path))) == []


@pytest.mark.parametrize("lesson", lessons(), ids=named)
def test_lesson_says_how_long_it_takes_and_for_whom_it_is(lesson: Lesson) -> None:
    """The first cell names the minutes and the readers as lessons.csv has them: "For apprentices, 10 minutes."."""
    opening = source(cells_of(lesson.path)[0])
    assert opening.startswith("# ")
    assert f"{lesson.minutes} minutes" in opening
    for reader in lesson.audience:
        assert reader in opening.lower()


@pytest.mark.parametrize("lesson", lessons(), ids=named)
def test_lesson_names_the_next(lesson: Lesson) -> None:
    """The last cell of text links to the notebook that comes next; the last lesson, to the contents."""
    cells = cells_of(lesson.path)
    last = [source(cell) for cell in cells if cell["cell_type"] == "markdown"][-1]
    following = dict(zip(NAMES, [*NAMES[1:], CONTENTS], strict=True))[lesson.name]
    assert f"]({following}.ipynb)" in last


def test_contents_lists_all_lessons_as_the_table_has_them() -> None:
    """Order, title, minutes and readers; the titles are those of the notebooks."""
    text = "\n".join(map(source, cells_of(FOLDER / f"{CONTENTS}.ipynb")))
    rows = re.findall(
        r"^\| (\d+) \| \[(.+?)\]\((\w+)\.ipynb\) \|.*\| (\d+) \| (.+) \|$", text, re.MULTILINE
    )
    assert [(number, name, minutes, readers) for number, _, name, minutes, readers in rows] == [
        (str(place), lesson.name, str(lesson.minutes), "; ".join(lesson.audience))
        for place, lesson in enumerate(lessons(), 1)
    ]
    for (_, title, *_), lesson in zip(rows, lessons(), strict=True):
        assert source(cells_of(lesson.path)[0]).startswith(f"# {title}")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_stores_no_output(path: Path) -> None:
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        assert not cell.get("outputs")
        assert cell.get("execution_count") is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_what_the_reader_need_not_see_is_folded_away(path: Path) -> None:
    """Cells tagged "hide" are code, and shut wherever a notebook can shut a cell."""
    for cell in cells_of(path):
        hidden = "hide" in tags(cell)
        assert hidden == cell["metadata"].get("jupyter", {}).get("source_hidden", False)
        assert cell["cell_type"] == "code" or not hidden


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_folded_answers_are_asserted(path: Path) -> None:
    """Behind each answer stands a hidden cell that works it out; running the notebook runs it."""
    cells = cells_of(path)
    for cell, after in zip(cells, [*cells[1:], {}], strict=True):
        text = source(cell)
        assert text.count("<details>") == text.count("</details>") == text.count("**Exercise ")
        if "<details>" in text:
            assert "hide" in tags(after)
            assert "assert " in source(after)


AT_MOST = 120  # seconds, of an ordinary machine (tests/pace.py)
FIRST = "start_here"  # runs with the fast tests; the others with all tests


def seconds_of_children() -> float:
    """Processor time of all processes that this one has started and seen end."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


@pytest.mark.slow
@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, id=path.stem, marks=pytest.mark.quick if path.stem == FIRST else ())
        for path in NOTEBOOKS
    ],
)
def test_notebook_runs_and_reads_well(path: Path) -> None:
    """It takes less than two minutes, what is hidden says nothing, and its page has no faults (tests/lessons/faults.py).

    Where SCARFDATE_LESSONS names a folder, the page is left there for the browser to measure.
    """
    pytest.importorskip("nbconvert")
    started, worked = time.monotonic(), seconds_of_children()
    with Pace() as pace:
        notebook = run(path)
    # on a machine that others use, its own work is the measure; work on two cores at once counts twice
    took = min(time.monotonic() - started, seconds_of_children() - worked)
    assert took < AT_MOST * pace.slowness
    for cell in notebook.cells:
        if "hide" in cell["metadata"].get("tags", ()):
            assert not cell["outputs"]
    lesson = next((one for one in lessons() if one.name == path.stem), None)
    html = page(notebook, lesson, NAMES)
    assert ('class="output_wrapper"' in html) == (lesson is not None)
    if folder := os.environ.get("SCARFDATE_LESSONS"):
        (Path(folder) / f"{path.stem}.html").write_text(html, encoding="utf-8")
    assert faults(html) == []
