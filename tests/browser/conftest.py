"""A real browser: Debian's Chromium without a window, driven by playwright; nothing is downloaded."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.laboratory import Laboratory

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

NAMES = ("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Chromium, started once. While it runs this thread has an event loop: run notebooks elsewhere.

    Where it is missing these tests fail, unless SCARFDATE_NO_BROWSER=1 says that it may be.
    """
    executable = next(filter(None, map(shutil.which, NAMES)), None)
    if executable is None:
        reason = "no Chromium here: `apt-get install chromium`, or set SCARFDATE_NO_BROWSER=1"
        if os.environ.get("SCARFDATE_NO_BROWSER") == "1":
            pytest.skip(reason)
        pytest.fail(reason)
    from playwright.sync_api import sync_playwright

    # As root, which a container often is, Chromium starts only without its sandbox; what it opens here
    # is our own and comes from this computer alone.
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=executable, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def open_page(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """``open_page(url, width, height)``: a page of that many pixels, which may fetch only from this computer.

    What else it asks for is refused and listed in ``page.refused``; errors of its scripts are in ``page.errors``.
    ``functions``: of the test, which the page can call by name.
    """
    contexts = []

    def open_(
        url: str,
        width: int = 1280,
        height: int = 900,
        functions: dict[str, Callable[..., Any]] | None = None,
    ) -> Page:
        context = chromium.new_context(
            viewport={"width": width, "height": height}, reduced_motion="reduce"
        )
        contexts.append(context)
        page = context.new_page()
        page.refused, page.errors = [], []
        page.on("pageerror", lambda error: page.errors.append(str(error)))
        for name, function in (functions or {}).items():
            page.expose_function(name, function)

        def refuse(route: Any) -> None:
            page.refused.append(route.request.url)
            route.abort()

        page.route(lambda url: not url.startswith(HERE), refuse)
        page.goto(url)
        return page

    yield open_
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def laboratory(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Laboratory]:
    """JupyterLab, started once, over a folder of its own."""
    running = Laboratory(tmp_path_factory.mktemp("laboratory"))
    yield running
    running.stop()


HERE = ("file:", "data:", "blob:", "about:", "http://127.0.0.1:", "http://localhost:")
