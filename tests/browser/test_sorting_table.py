"""The sorting table in JupyterLab: three pieces by keyboard alone, a killed kernel, 100 ms, and who reads it how."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator

import pytest

from tests.browser.laboratory import Laboratory
from tests.browser.table import TABLE, Table

pytestmark = pytest.mark.browser


@pytest.fixture
def table(laboratory: Laboratory, open_page: Callable) -> Iterator[Table]:
    yield Table(laboratory, open_page)


def rows(table: Table) -> list[dict[str, str]]:
    with table.sheet.open(newline="", encoding="utf-8") as stream:
        return [{name: cell for name, cell in row.items() if cell} for row in csv.DictReader(stream)]


def test_try(table):
    table.press("f", "s")
    print(table.text(".sentence"))
    table.press("h", "h")
    table.press("z")
    table.write("90 x 90 cm")
    table.press("Enter")
    table.page.screenshot(path="/tmp/brw/jl1.png", full_page=True)
    print(table.text(".said"))
    table.press("Enter")
    table.press("h")
    table.page.wait_for_timeout(500)
    table.page.screenshot(path="/tmp/brw/jl2.png", full_page=True)
    print(rows(table))
