"""The sorting table in a page of JupyterLab, worked with the keyboard alone."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.browser.laboratory import Laboratory

if TYPE_CHECKING:
    from playwright.sync_api import Page

TABLE = ".scarfdate-sorting"
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
        """Run the cell, and go from it to the table: three keys."""
        self.page.wait_for_selector('.jp-Notebook-ExecutionIndicator[data-status="idle"]')
        self.page.keyboard.press("Control+Enter")
        self.page.wait_for_selector(f"{TABLE}, .jp-OutputArea-output:has-text('Error')")
        print(self.page.inner_text(".jp-OutputArea"))
        for _ in range(5):
            self.page.keyboard.press("Tab")
            if self.page.evaluate(f"document.activeElement.matches('{TABLE}')"):
                return
        raise AssertionError("the table is not reached by Tab")

    def press(self, *keys: str) -> None:
        """Press keys one after the other, and wait until the table has answered all of them."""
        for key in keys:
            self.page.keyboard.press(key)
        self.page.wait_for_selector(f"{TABLE}[aria-busy=false]")

    def write(self, text: str) -> None:
        """Write a line of text as a person does."""
        self.page.keyboard.type(text)
        self.page.wait_for_selector(f"{TABLE}[aria-busy=false]")

    def text(self, part: str) -> str:
        """What one part of the table says."""
        return self.page.inner_text(f"{TABLE} {part}")

    def kill_kernel(self) -> None:
        """End the kernel as a lack of memory does: at once, with nothing tidied up."""
        os.kill(int(self._pid.read_text()), signal.SIGKILL)
