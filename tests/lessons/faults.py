"""What must not stand on a page of a lesson: what programs leave where a person would write nothing, and broken words.

A word counts as broken where two pieces of it stand below each other in what a cell printed, the pieces
together are a word that is written elsewhere, and one of them by itself is not; and where a cell of a frame
was cut inside a word.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

TOP = Path(__file__).parents[2]
EMPTY = re.compile(r"(?<!“)\bNone\b(?! of)|<NA>|\b(?:NaN|nan|NaT)\b")
_LETTERS = re.compile(r"[^\W\d_]+|\d+")
_COLUMN = re.compile(r"\S+(?: \S+)*")  # what two spaces or more part


class _Outputs(HTMLParser):
    """Of a page: the texts of printed blocks and of cells of tables that a cell of code has put out."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.printed: list[str] = []
        self.cells: list[str] = []
        self.scripts = 0
        self._depth = 0
        self._into: list[str] | None = None
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.scripts += tag == "script"
        if tag == "div":
            self._depth += bool(self._depth) or dict(attrs).get("class") == "output_wrapper"
        elif self._depth and tag in ("pre", "td", "th"):
            self._into = self.printed if tag == "pre" else self.cells
            self._into.append("")

    def handle_endtag(self, tag: str) -> None:
        if tag == "div" and self._depth:
            self._depth -= 1
        elif tag in ("pre", "td", "th"):
            self._into = None

    def handle_data(self, data: str) -> None:
        if self._into is not None:
            self._into[-1] += data


@cache
def known_words() -> frozenset[str]:
    """Words as the project writes them in its sentences and tables."""
    places = [*TOP.glob("*.md"), *TOP.glob("notebooks/*.ipynb"), *TOP.glob("priors/**/*.csv"), *TOP.glob("scarfdate/**/*.py")]  # fmt: skip
    text = " ".join(path.read_text(encoding="utf-8") for path in places)
    return frozenset(word.lower() for word in _LETTERS.findall(text))


def broken(printed: str, known: Collection[str]) -> Iterator[str]:
    """Words of a printed block whose two pieces stand in lines on end, in one column."""
    for above, below in pairwise(printed.splitlines()):
        for piece in _COLUMN.finditer(below):
            over = [
                one for one in _COLUMN.finditer(above) if one.start() <= piece.start() < one.end()
            ]
            ends = re.search(r"([^\W_]+)$", over[0].group()) if over else None
            begins = re.match(r"([^\W_]+)", piece.group())
            if ends is None or begins is None or begins.group()[0].isupper():
                continue
            first, rest = ends.group().lower(), begins.group().lower()
            if re.fullmatch(r"(18|19|20)\d\d", first + rest):
                cut = (
                    " " in over[0].group()
                )  # a year in a sentence; in a column of numbers nothing is cut
            else:
                cut = first + rest in known and not {first, rest} <= set(known)
            if cut:
                yield f"{first}/{rest}"


def faults(html: str) -> list[str]:
    """Everything on a page that must not stand there; an empty list for a page that reads well."""
    page = _Outputs(html)
    known = known_words()
    found = [f"a script: {page.scripts}"] if page.scripts else []
    found += [
        f"fetched: {one}"
        for one in re.findall(r"(?:src=|url\(|@import )[\"']?(https?:[^\"')]+)", html)
    ]
    found += [f"fetched: {one}" for one in re.findall(r"<link [^>]*>", html)]
    if "output_stderr" in html:
        found.append("a warning or a bar of progress stands among the outputs")
    for text in (*page.printed, *page.cells):
        found += [f"{one.group()!r} in {text.strip()[:60]!r}" for one in EMPTY.finditer(text)]
    for printed in page.printed:
        found += [f"broken word: {one}" for one in broken(printed, known)]
    for cell in page.cells:
        if re.search(r"\w(\.\.\.|…)$", cell.strip()):
            found.append(f"cut inside a word or a sentence: {cell.strip()[-40:]!r}")
    return list(dict.fromkeys(found))
