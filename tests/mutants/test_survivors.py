"""What is said of faults that stay alive is said of code that is there."""

from __future__ import annotations

from pathlib import Path

from tests.mutants.survivors import COLUMNS, FILE, explained

ROOT = Path(__file__).parents[2]


def test_every_line_explained_is_still_in_the_code() -> None:
    assert FILE.read_text(encoding="utf-8").splitlines()[0] == ",".join(COLUMNS)
    for (file, line, becomes), why in explained().items():
        lines = [one.strip() for one in (ROOT / file).read_text(encoding="utf-8").splitlines()]
        assert line in lines, f"{file} has no line {line!r} any more: take the row out"
        assert becomes != line
        assert len(why.split()) > 3, f"{file}, {line!r}: say why no test can see it"
