"""The sorting table in a page of JupyterLab, worked with the keyboard alone."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

from tests.browser.alone import TABLE, rows_of
from tests.browser.laboratory import Laboratory

if TYPE_CHECKING:
    from playwright.sync_api import Page

_CELL = """
import os
from pathlib import Path
from scarfdate import sorting_table
Path("kernel.pid").write_text(str(os.getpid()))
sorting_table("stock.csv", as_of=2026)
"""


class Table:
    """A notebook of one cell that shows the sorting table over ``stock.csv`` in the laboratory's folder."""

    def __init__(self, laboratory: Laboratory, open_page: Callable[..., Page], **size: int) -> None:
        self.sheet = laboratory.folder / "stock.csv"
        self._pid = laboratory.folder / "kernel.pid"
        self.page = open_page(laboratory.notebook("sorting.ipynb", _CELL.strip()), **size)
        self.page.wait_for_selector(".jp-Notebook .jp-Cell:focus")
        self.run()

    def run(self) -> None:
        """Run the cell, which has the focus, and go on to the table."""
        from playwright.sync_api import TimeoutError  # with the extra alone

        self.page.wait_for_selector('.jp-Notebook-ExecutionIndicator[data-status="idle"]')
        for _ in range(10):  # a notebook that is just opened may not know its keys yet
            self.page.keyboard.press("Control+Enter")
            with suppress(TimeoutError):
                self.page.wait_for_selector(".jp-InputPrompt:has-text('*')", timeout=3_000)
                break
        self.page.wait_for_selector(f"{TABLE}[aria-busy=false]", timeout=60_000)
        self._step_to(TABLE, "Tab")

    def leave(self) -> None:
        """Go back from the table to its cell."""
        self._step_to(".jp-Cell", "Shift+Tab")

    def _step_to(self, place: str, key: str) -> None:
        for _ in range(8):
            self.page.keyboard.press(key)
            if self.page.evaluate(f"document.activeElement.matches('{place}')"):
                return
        raise AssertionError(f"{place} is not reached by {key}")

    def press(self, *keys: str) -> None:
        """Press keys one after the other, as fast as they go, and wait until the table has answered all."""
        for key in keys:
            self.page.keyboard.press(key)
        self.answered()

    def write(self, text: str) -> None:
        """Write a line of text as a person does."""
        self.page.keyboard.type(text)
        self.answered()

    def answered(self) -> None:
        """Wait until the table shows the answer to all that was done."""
        self.page.wait_for_selector(f"{TABLE}[aria-busy=false]")

    def text(self, part: str) -> str:
        """What one part of the table says."""
        return self.page.inner_text(f"{TABLE} {part}")

    def rows(self) -> list[dict[str, str]]:
        """The rows of the sheet, without empty cells."""
        return rows_of(self.sheet)

    def picture(self, name: str) -> None:
        """A picture of the whole page beside the sheet, to be looked at."""
        self.page.screenshot(path=self.sheet.with_name(f"{name}.png"))

    def kill_kernel(self) -> None:
        """End the kernel as a lack of memory does: at once, with nothing tidied up."""
        os.kill(int(self._pid.read_text()), signal.SIGKILL)
