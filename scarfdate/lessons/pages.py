"""Notebooks run, and written as pages that hold all they need: nothing is fetched when one is read."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from copy import deepcopy
from pathlib import Path
from typing import Any

from scarfdate.errors import ScarfdateError, needed, shown
from scarfdate.files import as_path, write_folder
from scarfdate.lessons.contents import CONTENTS, Lesson, chosen, lessons, shipped_notebooks

INDEX = "index.html"
_CELL_AT_MOST = 600  # seconds; on a free machine no lesson takes two minutes as a whole
_WHAT = "running a lesson"
_TEMPLATES = Path(__file__).parent / "template"
_STATIC = ["text/html", "text/markdown", "image/svg+xml", "image/png", "image/jpeg", "text/plain"]
_HEAD_OF_TABLE = re.compile(r"<thead\b.*?</thead>", re.DOTALL)
_TH = re.compile(r"<th\b(?![^>]*\bscope=)")
# a title or the name of an axis, written out
_DRAWN = re.compile(r'(?:set_(?:title|[xy]label)\(|sup[xy]label\(|\b[xy]label=)\s*"([^"]+)"')
_LINK = re.compile(r'<a href="(\w+)\.ipynb(#[^"]*)?"[^>]*>(.*?)</a>', re.DOTALL)


def run(path: Path) -> Any:
    """The notebook of ``path``, run from top to bottom where it lies, with its outputs (an nbformat node).

    Raises ScarfdateError where Jupyter is not installed (extra ``notebooks``) or a cell fails.
    """
    nbformat, nbclient = (needed(module, "notebooks", _WHAT) for module in ("nbformat", "nbclient"))
    needed("ipykernel", "notebooks", _WHAT)
    notebook = nbformat.read(path, as_version=4)
    if all(cell.cell_type != "code" for cell in notebook.cells):
        return notebook  # the contents: there is nothing to run
    client = nbclient.NotebookClient(
        notebook,
        timeout=_CELL_AT_MOST,
        resources={"metadata": {"path": str(path.parent)}},
        extra_arguments=["--log-level=40"],  # errors only: its warnings are not about the lesson
    )
    try:
        client.execute()
    except nbclient.exceptions.CellExecutionError as error:
        at = sum(cell.get("execution_count") is not None for cell in notebook.cells)
        raise ScarfdateError(
            f"{path.stem}: cell {at} of code fails with {error.ename} {error.evalue}".rstrip()
        ) from None
    except nbclient.exceptions.CellTimeoutError:
        raise ScarfdateError(f"{path.stem}: a cell takes more than {_CELL_AT_MOST} s") from None
    return notebook


def page(notebook: Any, lesson: Lesson | None, made: Collection[str]) -> str:
    """A notebook that was run as one HTML page; ``lesson`` None is the contents.

    Cells tagged ``hide`` are left out, and other code is folded. ``made`` are the names of all lessons that
    have a page: a link to another becomes plain text. Raises ScarfdateError where nbconvert is not installed.
    """
    nbconvert = needed("nbconvert", "notebooks", "writing a lesson as a page")
    seen = deepcopy(notebook)
    seen.cells = [cell for cell in seen.cells if "hide" not in cell.metadata.get("tags", ())]
    heading = title = _headings(seen.cells[0].source)[0]
    for cell in seen.cells:
        if cell.cell_type == "markdown":
            heading = next(reversed(_headings(cell.source)), heading)
            cell.source = re.sub(r"(?<=\d) %", "\N{NO-BREAK SPACE}%", cell.source)
        else:
            cell.metadata.setdefault("alt", _alt(heading, cell.source))
    exporter = nbconvert.HTMLExporter(
        template_name="lesson",
        extra_template_basedirs=[str(_TEMPLATES)],
        exclude_anchor_links=True,
        config={"NbConvertBase": {"display_data_priority": _STATIC}},
    )
    names = [one.name for one in lessons()]
    about = {"title": title, "lesson": lesson, "lessons": len(names)}
    if lesson is not None:
        about["place"] = names.index(lesson.name) + 1
    html, _ = exporter.from_notebook_node(seen, resources={"about": about})
    html = _HEAD_OF_TABLE.sub(lambda found: _TH.sub(r'<th scope="col"', found[0]), html)
    html = _TH.sub(r'<th scope="row"', html)  # what is left stands before its row
    return _LINK.sub(lambda found: _link(found, made), html)


def write_lessons(
    out: str | Path,
    only: Sequence[str] = (),
    *,
    force: bool = False,
    told: Callable[[str, str | None], None] = lambda name, fault: None,
) -> dict[str, str]:
    """Run lessons and write them, and an index of them, as pages into the folder ``out``.

    ``only``: names of lessons; all of them for none. ``out`` is new or empty, or with ``force`` pages in it
    are written over; all pages are written, whole, or none. ``told(name, fault)`` hears of each lesson that has
    run. What comes back says what is wrong, by the name of each lesson that cannot be made, such as one that
    needs a further extra. Raises ScarfdateError for a name or a folder that will not do, and where Jupyter is
    not installed (extra ``notebooks``).
    """
    wanted = chosen(only)
    needed("nbclient", "notebooks", _WHAT)
    folder = _ready(as_path(out, "out"), force)
    done: dict[Lesson, Any] = {}
    wrong: dict[str, str] = {}
    for lesson in wanted:
        try:
            done[lesson] = run(lesson.path)
        except ScarfdateError as error:
            wrong[lesson.name] = str(error)
        told(lesson.name, wrong.get(lesson.name))
    # only now is it known which lessons a link can lead to
    made = {lesson.name for lesson in done} | {path.stem for path in folder.glob("*.html")}
    pages = {f"{one.name}.html": page(notebook, one, made) for one, notebook in done.items()}
    contents = run(shipped_notebooks() / f"{CONTENTS}.ipynb")
    pages[INDEX] = page(contents, None, made)
    write_folder(folder, {name: text.encode() for name, text in pages.items()})
    return wrong


def _ready(folder: Path, force: bool) -> Path:
    """The folder, which need not be there yet."""
    name = shown(str(folder))
    if folder.is_dir():
        if any(folder.iterdir()) and not force:
            raise ScarfdateError(
                f"{name} is not empty; name a new folder, or --force to write over pages in it"
            )
    elif folder.exists() or folder.is_symlink():
        raise ScarfdateError(f"{name} is a file; name a folder for the pages")
    elif not folder.absolute().parent.is_dir():
        raise ScarfdateError(f"{name}: the folder that it is to lie in is not there; make it first")
    return folder


def _alt(heading: str, code: str) -> str:
    """What stands for the pictures of a cell: where they stand, and their titles and axes as the code has them."""
    drawn = [re.sub(r"\\n", ", ", one) for one in _DRAWN.findall(code) if "{" not in one]
    what = f": {'; '.join(dict.fromkeys(drawn))}" if drawn else ""
    return f"Picture to “{heading}”{what}"


def _headings(markdown: str) -> list[str]:
    """The headings of a cell of text, without their marks."""
    return [
        re.sub(r"[*_`]", "", line) for line in re.findall(r"^#+ +(.+)$", markdown, re.MULTILINE)
    ]


def _link(found: re.Match[str], made: Collection[str]) -> str:
    """A link to a notebook as one to its page; its words alone where there is none."""
    name, within, words = found.groups(default="")
    if name == CONTENTS:
        return f'<a href="{INDEX}">{words}</a>'
    return f'<a href="{name}.html{within}">{words}</a>' if name in made else words
