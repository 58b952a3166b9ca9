"""Pages of lessons as a browser lays them out: nothing wider than the page, no word on two lines, nothing fetched."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from scarfdate.lessons.contents import lessons

pytestmark = pytest.mark.browser

WIDTH = 800  # pixels: half a screen, or a tablet held upright
PHONE = 390  # there a frame may be moved sideways, but not the page
# What is wider than the text, as (tag, pixels too many, how it begins). Printed columns must not be wrapped to fit.
TOO_WIDE = """() => {
  const most = document.querySelector("main").getBoundingClientRect().right + 1;
  const found = [];
  for (const one of document.querySelectorAll("table, img, svg:not(svg svg), pre, figure")) {
    if (one.closest("details:not([open])")) continue;
    const columns = one.tagName === "PRE" && /\\S {2,}\\S/.test(one.textContent);
    if (columns) { one.style.whiteSpace = "pre"; one.style.width = "max-content"; }
    const over = one.getBoundingClientRect().right - most;
    if (columns) { one.style.whiteSpace = ""; one.style.width = ""; }
    if (over > 0) found.push([one.tagName, Math.round(over), one.textContent.trim().slice(0, 60)]);
  }
  return found;
}"""
# Words of letters and digits whose first and last letter lie on two lines.
BROKEN = """() => {
  const found = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const text = walker.currentNode;
    for (const word of text.textContent.matchAll(/[\\p{L}\\p{N}]{2,}/gu)) {
      const range = document.createRange();
      range.setStart(text, word.index);
      range.setEnd(text, word.index + word[0].length);
      if (new Set([...range.getClientRects()].map(r => Math.round(r.top))).size > 1) found.push(word[0]);
    }
  }
  return found;
}"""


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The pages that tests/test_notebooks.py left in the folder SCARFDATE_LESSONS; without it, the first lesson."""
    if left := os.environ.get("SCARFDATE_LESSONS"):
        found = sorted(Path(left).glob("*.html"))
        assert {lesson.name for lesson in lessons()} <= {path.stem for path in found}
        return found
    out = tmp_path_factory.mktemp("lessons")
    # in a process of its own, as the browser keeps the event loop of this one
    command = [
        sys.executable,
        "-m",
        "scarfdate.cli",
        "lessons",
        str(out),
        "--only",
        lessons()[0].name,
    ]
    subprocess.run(command, check=True, capture_output=True)
    return sorted(out.glob("*.html"))


def test_pages_fit(pages: list[Path], open_page: Callable[..., Any]) -> None:
    for path in pages:
        shown = open_page(path.as_uri(), WIDTH)
        assert shown.evaluate("document.documentElement.scrollWidth") <= WIDTH, path.stem
        assert shown.evaluate(TOO_WIDE) == [], path.stem
        assert shown.evaluate(BROKEN) == [], path.stem
        assert (
            shown.evaluate(
                "[...document.images].filter(one => !one.alt || !one.naturalWidth).length"
            )
            == 0
        )
        assert shown.refused == []
        shown.set_viewport_size({"width": PHONE, "height": 844})
        assert shown.evaluate("document.documentElement.scrollWidth") <= PHONE, path.stem


def test_the_measure_finds_what_is_too_wide_and_what_is_broken(
    tmp_path: Path, open_page: Callable[..., Any]
) -> None:
    column = "word   " * 40
    (tmp_path / "wide.html").write_text(
        "<main style='width: 700px; overflow: auto'>"
        "<table><tr><td><div style='width: 900px'>frame</div></table>"
        f"<pre style='white-space: pre-wrap'>{column}</pre>"
        f"<pre style='white-space: pre-wrap'>{'a sentence that goes on ' * 20}</pre>"
        "<p style='width: 60px; word-break: break-all'>commemorative</p></main>",
        encoding="utf-8",
    )
    shown = open_page((tmp_path / "wide.html").as_uri(), WIDTH)
    assert [tag for tag, *_ in shown.evaluate(TOO_WIDE)] == ["TABLE", "PRE"]
    assert shown.evaluate(BROKEN) == ["commemorative"]
