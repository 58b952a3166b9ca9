"""The pictures of README are what the command makes, small, and safe to show."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from tests.pictures import FOLDER, PICTURES
from tests.readme import PATH


@pytest.mark.parametrize(
    "name", sorted({*PICTURES} - {"card"})
)  # the card: tests/card, where one is made
def test_a_picture_is_what_the_command_makes(name: str) -> None:
    """`python -m tests.pictures` makes them anew."""
    kept = (FOLDER / f"{name}.svg").read_text(encoding="utf-8")
    assert kept == PICTURES[name]() + "\n"


def test_pictures_are_small_and_only_strokes() -> None:
    assert {path.stem for path in FOLDER.iterdir()} == set(PICTURES)
    for path in FOLDER.iterdir():
        text = path.read_text(encoding="utf-8")
        root = ElementTree.fromstring(text)
        assert len(text) < 60_000
        assert root.get("role") == "img" and root.get("aria-label")
        assert not re.search(r"<script|<image|href|url\(|<style| on\w+=| id=", text)


def test_readme_shows_each_with_words() -> None:
    shown = dict(
        re.findall(
            r'<img src="pictures/(\w+)\.svg" alt="([^"]{20,})"', PATH.read_text(encoding="utf-8")
        )
    )
    assert set(shown) == set(PICTURES)
