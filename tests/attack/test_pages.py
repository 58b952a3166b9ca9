"""Hostile text on the pages that hold views: lessons, and the page of the sorting table."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

import scarfdate
from scarfdate.lessons.contents import lessons
from scarfdate.lessons.pages import page, run
from tests.attack.views import ATTACK, CALM, MAKE, Given, kinds, parsed, shown

nbformat = pytest.importorskip("nbformat")
VIEWS = ("Listing", "SoldRecords", "Condition", "Drawing", "Label")
# how a page could take text for markup or for a program
INTO_A_PAGE = r"innerHTML|outerHTML|insertAdjacent|document\.write|srcdoc|DOMParser|createContextualFragment|eval\(|new Function|setHTML"

# Jupyter colours what a printed text says in the language of terminals
COLOURED = {("span", "class")}


def _notebook(given: Given) -> Any:
    """A lesson that was run, whose outputs are views and prints of hostile cells."""
    v4 = nbformat.v4
    outputs = [
        v4.new_output("stream", text=given.text),
        v4.new_output("error", ename="E", evalue=given.text, traceback=[given.text]),
    ]
    for name in VIEWS:
        made = MAKE[name](given)
        data = {"text/html": shown(made)["_repr_html_"], "text/plain": str(made)}
        if hasattr(made, "_repr_svg_"):
            data["image/svg+xml"] = made._repr_svg_()
        outputs.append(v4.new_output("display_data", data))
        outputs.append(v4.new_output("display_data", {"text/plain": f"{made!r} {made}"}))
    cells = [
        v4.new_markdown_cell("# A lesson"),
        v4.new_code_cell(f"x = {given.text!r}", outputs=outputs),
    ]
    return v4.new_notebook(cells=cells)


@pytest.mark.slow
def test_no_output_of_a_lesson_becomes_markup() -> None:
    pytest.importorskip("nbconvert")
    hostile, calm = (
        parsed("", page(_notebook(given), lessons()[0], ())) for given in (ATTACK, CALM)
    )
    assert hostile.text.count("alert(1)") > 50
    assert {(tag.partition("}")[2], name) for tag, name in kinds(hostile) - kinds(calm)} <= COLOURED
    assert "script" not in {tag.partition("}")[2] for tag, _ in kinds(hostile)}


@pytest.mark.slow
def test_a_notebook_is_run_on_a_hostile_sheet(tmp_path: Path) -> None:
    """As ``scarfdate lessons`` runs one: by a kernel of Jupyter, then as a page."""
    pytest.importorskip("nbclient")
    v4 = nbformat.v4
    pages = []
    for name, given in (("hostile", ATTACK), ("calm", CALM)):
        given.sheet.to_json(tmp_path / f"{name}.json", orient="records")
        code = [
            f"import scarfdate; from scarfdate.reading.files import read_table\nframe = read_table('{name}.json')",
            "frame.iloc[:, 3:6]", "scarfdate.dry_run(frame)", "print(frame.note.iloc[0]); frame.note.iloc[0]",
            "scarfdate.date_table(frame, as_of=2026)[['not_read']]",
            "scarfdate.read_label(frame.label_text.iloc[0])",
        ]  # fmt: skip
        cells = [v4.new_markdown_cell("# A lesson"), *map(v4.new_code_cell, code)]
        nbformat.write(v4.new_notebook(cells=cells), tmp_path / f"{name}.ipynb")
        pages.append(parsed("", page(run(tmp_path / f"{name}.ipynb"), lessons()[0], ())))
    hostile, calm = pages
    assert hostile.text.count("alert(1)") > 10
    assert {(tag.partition("}")[2], name) for tag, name in kinds(hostile) - kinds(calm)} <= COLOURED


def test_the_page_of_the_table_takes_text_as_text() -> None:
    folder = Path(scarfdate.__file__).parent
    scripts = [*folder.rglob("*.js")]
    assert [one.name for one in scripts] == ["table.js"]
    text = scripts[0].read_text(encoding="utf-8")
    assert "element.append(" in text and not re.search(INTO_A_PAGE, text)
    # what names a property of an element stands in the script, never in what Python sends
    assert re.findall(r"setAttribute\(([^,\"]*),", text) == ["name"]
    noted = " ".join(str(value) for _, value in ATTACK.table().screen().piece.noted)
    assert "<script>alert(1)</script>" in noted
