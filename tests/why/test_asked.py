"""What all questions about one scarf have in common: how they refuse what they cannot be asked under."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from scarfdate import (
    ScarfdateError,
    conflict,
    edges,
    explain,
    load_priors,
    next_checks,
    sensitivity,
    table_slopes,
)

SEEN = {"hem": "hand-rolled", "fibre": "silk"}
QUESTIONS = [explain, conflict, sensitivity, table_slopes, next_checks, edges]


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("wrong", ["my", "", 0, {}])
def test_what_are_no_priors_is_refused(question: Callable[..., object], wrong: object) -> None:
    with pytest.raises(ScarfdateError, match="priors: tables as load_priors gives them"):
        question(SEEN, priors=wrong, as_of=2026)


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_shipped_priors_are_those_taken_without_any(question: Callable[..., object]) -> None:
    given, without = (
        question(SEEN, as_of=2026, **more) for more in ({"priors": load_priors()}, {})
    )
    assert str(given) == str(without)


@pytest.mark.parametrize("question", QUESTIONS)
def test_what_is_no_scarf_is_refused(question: Callable[..., object]) -> None:
    with pytest.raises(ScarfdateError, match="a Scarf \\(or a mapping of what was seen\\)"):
        question("silk", as_of=2026)
