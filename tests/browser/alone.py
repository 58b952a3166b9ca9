"""The sorting table alone on a page: its own JavaScript and Python, joined by the test in place of a notebook."""

from __future__ import annotations

import base64
import csv
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import scarfdate
from scarfdate import sorting_table

if TYPE_CHECKING:
    from playwright.sync_api import Page

TABLE = ".scarfdate-sorting"
ROOM = Path(scarfdate.__file__).parent / "sorting"
_PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>The sorting table</title>
<meta name="viewport" content="width=device-width"><style>{css}</style></head><body style="margin: 0">
<main><h1 style="margin: 0">Sorting</h1><div id="here"></div></main><script type="module">
import table from "data:text/javascript;base64,{js}";
const heard = {{}};
let screen = await window.shown();
const model = {{
  get: () => screen,
  on: (event, hear) => (heard[event] = hear),
  off: () => {{}},
  send: async (content) => {{
    const {{ answers, now }} = await window.hear(content);
    for (const answer of answers) heard["msg:custom"](answer);
    if (now.answered > screen.answered) {{ screen = now; heard["change:screen"](); }}
  }},
}};
table.render({{ model, el: document.getElementById("here") }});
</script></body></html>"""


def rows_of(sheet: Path) -> list[dict[str, str]]:
    """The rows of a stock sheet, without empty cells."""
    with sheet.open(newline="", encoding="utf-8-sig") as stream:
        return [
            {name: cell for name, cell in row.items() if cell} for row in csv.DictReader(stream)
        ]


class Alone:
    """A page with nothing but a table over ``sheet``; ``sorting`` is what it shows."""

    def __init__(self, open_page: Callable[..., Page], sheet: Path, **size: int) -> None:
        widget = sorting_table(sheet, as_of=2026)
        self.sheet, self.sorting = sheet, widget.sorting
        answers: list[Any] = []
        widget.send = answers.append

        def hear(content: object) -> dict[str, object]:
            answers.clear()
            widget._hear(widget, content, [])
            return {"answers": [*answers], "now": widget.screen}

        page = sheet.with_suffix(".html")
        js = base64.b64encode((ROOM / "table.js").read_bytes()).decode()
        page.write_text(_PAGE.format(css=(ROOM / "table.css").read_text(encoding="utf-8"), js=js))
        functions = {"hear": hear, "shown": lambda: widget.screen}
        self.page = open_page(page.as_uri(), functions=functions, **size)
        self.page.wait_for_selector(TABLE)

    def press(self, *keys: str) -> None:
        """Press keys, the table having the focus, and wait until all are answered."""
        for key in keys:
            self.page.keyboard.press(key)
        self.answered()

    def rows(self) -> list[dict[str, str]]:
        """The rows of the sheet, without empty cells."""
        return rows_of(self.sheet)

    def answered(self) -> None:
        """Wait until the table shows the answer to all that was done."""
        self.page.wait_for_selector(f"{TABLE}[aria-busy=false]")
        self.page.wait_for_function(
            f"[...document.querySelectorAll('{TABLE} img')].every(image => image.complete && !image.hidden)"
        )
