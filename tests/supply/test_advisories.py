"""No index of advisories that is silent about a weakness known for years is taken for good news."""

from __future__ import annotations

import json

import pytest

from tests.supply import advisories


def answers(control: int, locked: int):
    """In place of pip-audit: so many advisories for the control, and for what is locked; -1 is no answer."""

    def run(*command: object) -> str:
        found = control if any("control" in str(part) for part in command) else locked
        if found < 0:
            raise RuntimeError("pip_audit\nDependency not found and could not be audited")
        flaws = [{"id": f"X-{at}"} for at in range(found)]
        text = json.dumps(
            {"dependencies": [{"name": "a", "version": "1", "vulns": flaws}], "fixes": []}
        )
        if found:  # pip-audit ends with 1 where it found something
            raise RuntimeError(f"pip_audit\n{text}\nFound {found} known vulnerabilities")
        return text

    return run


@pytest.mark.parametrize(
    ("control", "locked", "told"),
    [(-1, 0, None), (0, 0, None), (2, -1, None), (2, 0, []), (2, 1, ["a 1: X-0"])],
)
def test_silence_is_no_good_news(
    control: int, locked: int, told: list[str] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(advisories, "run", answers(control, locked))
    assert advisories.advisories() == told
