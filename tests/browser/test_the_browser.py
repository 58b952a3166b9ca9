"""The browser itself: it draws what it is given, and fetches nothing from elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser


def test_a_page_is_drawn_at_the_width_that_was_asked(open_page: Callable, tmp_path: Path) -> None:
    path = tmp_path / "wide.html"
    path.write_text("<p id=p>a</p><div style='width: 500px'>b</div>")
    page = open_page(path.as_uri(), width=390)
    assert page.evaluate("[innerWidth, document.documentElement.scrollWidth]") == [390, 508]


def test_what_is_elsewhere_is_refused_and_listed(open_page: Callable, tmp_path: Path) -> None:
    path = tmp_path / "fetches.html"
    path.write_text("<img src='https://example.org/a.png'><img src='data:image/gif;base64,R0lGOD'>")
    assert open_page(path.as_uri()).refused == ["https://example.org/a.png"]
