"""The README shows what really comes out."""

from __future__ import annotations

import re
from pathlib import Path

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def test_five_lines_print_what_stands_there(capsys) -> None:
    code, output = re.findall(r"```(?:python|text)\n(.*?)```", README, flags=re.S)[:2]
    # the year of the dating is part of the answer: the README was written in 2026
    code = code.replace("date_scarf(scarf)", "date_scarf(scarf, as_of=2026)")
    assert len([line for line in code.splitlines() if line.strip()]) <= 5
    exec(compile(code, "README.md", "exec"), {})
    assert capsys.readouterr().out == output


def test_commands_stand_there() -> None:
    for command in ("scarfdate date data/stock.csv", ".venv/bin/pytest", "scarfdate check-priors"):
        assert command in README
