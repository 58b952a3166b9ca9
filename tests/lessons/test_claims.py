"""The rule of tests/lessons/claims.py lets through what it should, and nothing else."""

from __future__ import annotations

from typing import Any

import pytest

from tests.lessons.claims import not_asserted


def text(words: str, *tags: str) -> dict[str, Any]:
    return {"cell_type": "markdown", "metadata": {"tags": list(tags)}, "source": [words]}


def code(words: str, *tags: str) -> dict[str, Any]:
    return {"cell_type": "code", "metadata": {"tags": list(tags)}, "source": [words]}


@pytest.mark.parametrize(
    "words",
    [
        "It reaches over 27 years.",
        "It is twice as wide.",
        "Made in the 1960s with 66 %.",
        "1. It costs 1,200 euros.",
    ],
)
def test_a_number_that_nothing_asserts_is_named(words: str) -> None:
    assert len(list(not_asserted([text(words), code("dating")]))) == 1
    # what stands before it, or behind the next heading, does not count
    check = code("assert low == 1960 and width == 27 and share == 0.66", "hide")
    assert list(not_asserted([check, text(words), text("## Next"), check]))
    assert not list(not_asserted([text(words, "plain")]))


@pytest.mark.parametrize(
    "words",
    [
        "# 10 things",
        "One looks at `width_cm=90`, and at [a page](https://example.org/2026).",
        "3. Look again.",
        "**Exercise 2.** See section 4, and sections 5 to 7.",
        "X02 and V035 are on the table.",
        "<details><summary>Answer</summary>Later.</details>",
    ],
)
def test_what_is_no_number_of_an_output_is_free(words: str) -> None:
    assert not list(not_asserted([text(words)]))


def test_each_number_in_digits_stands_in_the_code() -> None:
    words = text("66 % of 1,200, and 3.5 decibans; it was 90 cm wide.")
    typed = code("piece = dict(width_cm=90)")
    check = code("assert round(share, 2) == 0.66 and count == 1_200 and gain == 3.50", "hide")
    assert not list(not_asserted([words, typed, check]))
    assert list(not_asserted([words, check])) == [
        "cell 0: 90 stands in no cell of code up to the next heading"
    ]
    wrong = code("assert round(share, 2) == 0.67 and count == 1200 and gain == 3.5", "hide")
    assert list(not_asserted([typed, words, wrong])) == [
        "cell 1: 66 stands in no cell of code up to the next heading"
    ]
