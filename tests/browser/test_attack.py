"""Hostile text in a real browser: no window opens, nothing is asked for, no script of a cell runs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.attack.views import ATTACK, MAKE, shown

pytestmark = pytest.mark.browser
LEFT_OUT = {
    "PocketCard",
    "Slopes",
}  # half a minute each; the first is tried alone by `tests/attack`


def test_views_with_hostile_cells_run_nothing(
    tmp_path: Path, open_page: Callable[..., Any]
) -> None:
    views = [
        text for name in MAKE if name not in LEFT_OUT for text in shown(MAKE[name](ATTACK)).values()
    ]
    place = tmp_path / "views.html"
    whole = "<!DOCTYPE html><meta charset=utf-8><body>" + "".join(
        f"<section>{one}</section>" for one in views
    )
    place.write_text(whole, encoding="utf-8")
    ran: list[object] = []

    def heard(*given: object) -> None:
        ran.append(given)

    page = open_page(place.as_uri(), functions={"alert": heard, "a": heard})
    page.wait_for_timeout(500)
    assert page.locator("section").count() == len(views) > 40
    assert (
        page.locator(
            "script, iframe, img, a, [onerror], [onload], [onclick], [onfocus], [onmouseover]"
        ).count()
        == 0
    )
    page.locator("section").first.hover()
    assert (ran, page.refused, page.errors) == ([], [], [])
    # and it would be seen
    page.evaluate("document.body.insertAdjacentHTML('beforeend', '<img src=x onerror=alert(1)>')")
    page.wait_for_timeout(500)
    assert ran
