"""``scarfdate lessons``: what is refused, what is left out, and pages that hold what they need."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from scarfdate import cli, write_lessons
from scarfdate.errors import ScarfdateError
from scarfdate.lessons import contents, pages


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Three short lessons and their contents in place of the shipped ones; the second fails."""
    nbformat = pytest.importorskip("nbformat")
    folder = tmp_path / "notebooks"
    folder.mkdir()
    (folder / "lessons.csv").write_text(
        "name,minutes,audience\nfirst,5,dealer\nsecond,5,dealer\nthird,7,dealer; statistician\n"
    )
    v4 = nbformat.v4

    def written(name: str, *cells: object) -> None:
        nbformat.write(v4.new_notebook(cells=list(cells)), folder / f"{name}.ipynb")

    hide = {"tags": ["hide"]}
    links = (
        "[one](first.ipynb), [two](second.ipynb), [three](third.ipynb#part), [all](contents.ipynb)"
    )
    written("contents", v4.new_markdown_cell(f"# Contents\n\n{links}"))
    written(
        "first",
        v4.new_markdown_cell("# First *of* all"),
        v4.new_code_cell("secret = 6 * 7\nassert secret == 42", metadata=hide),
        v4.new_code_cell("print('<b>', secret)"),
        v4.new_markdown_cell(f"## Later\n\n{links}"),
        v4.new_code_cell(
            "from IPython.display import HTML, Image, display\n"
            '# axis.set_title("Chance by year"); axis.set(xlabel="year made", ylabel=f"{1} %")\n'
            "display(HTML('<table><thead><tr><th>decade</th></tr></thead><tbody><tr><th>1960s</th></tr></tbody></table>'))\n"
            "import base64\n"
            "Image(base64.b64decode('iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=='))"
        ),
    )
    written("second", v4.new_markdown_cell("# Second"), v4.new_code_cell("1 / 0"))
    written("third", v4.new_markdown_cell("# Third"), v4.new_code_cell("'done'"))
    for module in (contents, pages):
        monkeypatch.setattr(module, "shipped_notebooks", lambda: folder)
    return folder


def test_names_and_folders_that_will_not_do(shelf: Path, tmp_path: Path) -> None:
    with pytest.raises(ScarfdateError, match="no such lesson; did you mean 'third'"):
        write_lessons(tmp_path / "out", ["thirt"])
    assert not (tmp_path / "out").exists()
    with pytest.raises(ScarfdateError, match="is to lie in is not there"):
        write_lessons(tmp_path / "no" / "out")
    with pytest.raises(ScarfdateError, match="is not empty; name a new folder, or --force"):
        write_lessons(shelf)
    with pytest.raises(ScarfdateError, match="is a file; name a folder"):
        write_lessons(shelf / "lessons.csv")


@pytest.mark.slow
def test_pages_of_lessons(shelf: Path, tmp_path: Path) -> None:
    pytest.importorskip("nbconvert")
    out = tmp_path / "out"
    ran = CliRunner().invoke(cli.cli, ["lessons", str(out)])
    assert ran.exit_code == 1
    assert "second is left out: second: cell 1 of code fails with ZeroDivisionError" in " ".join(
        ran.output.split()
    )
    assert sorted(path.name for path in out.iterdir()) == ["first.html", "index.html", "third.html"]
    first = (out / "first.html").read_text(encoding="utf-8")
    # text of a cell is text, the hidden cell is not there, links go to pages that are there
    assert "&lt;b&gt; 42" in first
    assert "secret == 42" not in first
    assert '<a href="first.html">one</a>, two, <a href="third.html#part">three</a>' in first
    assert '<a href="index.html">all</a>' in first
    assert "<title>First of all</title>" in first
    assert "lesson 1 of 3 · 5 minutes" in first
    assert 'alt="Picture to “Later”: Chance by year; year made"' in first
    # a table says which heads are of columns and which of rows
    assert '<th scope="col">decade</th>' in first
    assert '<th scope="row">1960s</th>' in first
    assert "<script" not in first
    assert "http" not in first

    # again into the same folder: only when told to, and only what was asked for
    before = (out / "third.html").stat().st_mtime_ns
    again = ["lessons", str(out), "--only", "first"]
    assert CliRunner().invoke(cli.cli, again).exit_code == 2
    assert CliRunner().invoke(cli.cli, [*again, "--force"]).exit_code == 0
    assert (out / "third.html").stat().st_mtime_ns == before
    assert '<a href="third.html#part">' in (out / "index.html").read_text(encoding="utf-8")


def test_without_jupyter_the_extra_is_named(
    shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "nbclient", None)
    with pytest.raises(
        ScarfdateError,
        match=r"nbclient, which is not installed; pip install .scarfdate\[notebooks\]",
    ):
        write_lessons(tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_lessons_need_nothing_that_the_wheel_lacks() -> None:
    """Of what lies outside their folder they read ``../data`` alone (README only where it is), and they import
    nothing of the tests: a lesson runs where the wheel puts it, as it does in the project's folder."""
    beside = {path.stem for path in contents.shipped_notebooks().glob("*.py")}
    assert {"book_world", "moved_tables", "turnbull"} <= beside
    nbformat = pytest.importorskip("nbformat")
    for lesson in contents.lessons():
        cells = nbformat.read(lesson.path, as_version=4).cells
        code = "\n".join(cell.source for cell in cells if cell.cell_type == "code")
        assert not re.search(r"\bsys\.path\b|^\s*(from|import) +(tests|notebooks)\b", code, re.M), (
            lesson
        )
        outside = set(re.findall(r"\"\.\./(\w+)", code))
        assert outside <= ({"data", "README"} if "readme.exists()" in code else {"data"}), lesson
