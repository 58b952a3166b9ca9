"""The rule that keeps a lesson's text and its outputs together.

A markdown cell whose prose holds a number is followed, before the next heading, by a cell tagged ``hide`` that
asserts what the prose says; and each number that the prose writes in digits stands in the code of that stretch,
as it is or, for per cent, as a hundredth: in the ``assert`` itself or, if the reader gave it, where it was typed.
A cell tagged ``plain`` is left out: its numbers are no claims about an output (years in a name, minutes, what a
law says).

    python -m tests.lessons.claims notebooks/start_here.ipynb    # what is not asserted yet
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

IN_WORDS = re.compile(
    r"\b(two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|fifteen|twenty|thirty|forty|fifty|sixty|seventy|"
    r"eighty|ninety|hundred|thousand|half|thirds?|quarters?|fifth|tenth|twice)\b",
    re.IGNORECASE,
)
NO_PROSE = (
    r"```.*?```",
    r"`[^`]*`",
    r"\]\([^)]*\)",  # where a link goes
    r"^#+ .*$",  # headings
    r"^ *\d+\. ",  # numbers of a list
    r"</?\w[^>]*>",
    r"\b(Exercises?|[Ss]ections?|Answers?) \d+((,| and| to) \d+)*",
    r"\b[A-Z]+\d+\b",  # a piece by its id
)


def cells_of(path: Path) -> list[dict[str, Any]]:
    """The cells of a notebook, in order."""
    cells: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return cells


def source(cell: dict[str, Any]) -> str:
    """What stands in a cell."""
    return "".join(cell["source"])


def tags(cell: dict[str, Any]) -> tuple[str, ...]:
    """The tags of a cell."""
    return tuple(cell["metadata"].get("tags", ()))


def prose(text: str) -> str:
    """What is left of markdown without code, headings, links, numbering and names of pieces."""
    for pattern in NO_PROSE:
        text = re.sub(pattern, " ", text, flags=re.DOTALL | re.MULTILINE)
    return text


def in_digits(text: str) -> list[float]:
    """The numbers that a text writes in digits; a comma or an underscore between thousands is read over."""
    text = re.sub(r"(?<=\d)[,_](?=\d{3}(\D|$))", "", text)
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]


def has_number(text: str) -> bool:
    """Whether prose holds a number, in digits or in words; "one" is mostly no number."""
    return bool(in_digits(text)) or IN_WORDS.search(text) is not None


def stretch(cells: list[dict[str, Any]], place: int) -> list[dict[str, Any]]:
    """The cells around one, from the heading above it to the next heading."""
    opens = [
        at
        for at, cell in enumerate(cells)
        if cell["cell_type"] == "markdown" and source(cell).startswith("#")
    ]
    start = max((at for at in opens if at <= place), default=0)
    return cells[start : min((at for at in opens if at > place), default=len(cells))]


def not_asserted(cells: list[dict[str, Any]]) -> Iterator[str]:
    """Each cell, and each number in one, that nothing asserts, as a message."""
    for place, cell in enumerate(cells):
        text = prose(source(cell))
        if cell["cell_type"] != "markdown" or "plain" in tags(cell) or not has_number(text):
            continue
        around = stretch(cells, place)
        after = around[next(at for at, one in enumerate(around) if one is cell) + 1 :]
        if not any("hide" in tags(one) and "assert " in source(one) for one in after):
            yield f"cell {place}: no hidden cell asserts its numbers before the next heading"
            continue
        code = " ".join(source(one) for one in around if one["cell_type"] == "code")
        there = {round(number, 6) for number in in_digits(code)}
        for number in dict.fromkeys(in_digits(text)):
            if not {round(number, 6), round(number / 100, 6)} & there:
                yield f"cell {place}: {number:g} stands in no cell of code up to the next heading"


if __name__ == "__main__":
    for name in sys.argv[1:]:
        print(name, *not_asserted(cells_of(Path(name))), sep="\n  ")
