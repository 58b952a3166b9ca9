"""The README shows what really comes out, in the order of its readers, and every command in it exists."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pandas as pd
import pytest
from click import Command, Context

from scarfdate.cli import cli
from tests.readme import PATH, commands, renewed

README = PATH.read_text(encoding="utf-8")
TOP = Path(__file__).parents[1]


def test_it_is_what_the_code_makes() -> None:
    """`python -m tests.readme` makes the outputs anew."""
    assert len(commands(README)) >= 4
    assert renewed(README) == README


def test_five_lines_print_what_stands_there(capsys) -> None:
    code, output = re.findall(r"```(?:python|text)\n(.*?)```", README, flags=re.S)[:2]
    # the year of the dating is part of the answer: the README was written in 2026
    code = code.replace("date_scarf(scarf)", "date_scarf(scarf, as_of=2026)")
    assert len([line for line in code.splitlines() if line.strip()]) <= 5
    exec(compile(code, "README.md", "exec"), {})
    assert capsys.readouterr().out == output


@pytest.mark.slow
def test_other_python_in_it_runs(monkeypatch, tmp_path, capsys) -> None:
    """One block after the other in one place, as in a notebook; learned tables go to a folder of the test."""
    blocks = re.findall(r"```python\n(.*?)```", README, flags=re.S)
    assert len(blocks) >= 4
    monkeypatch.chdir(TOP)
    held: dict[str, object] = {}
    for block in blocks:
        code = block.replace('"my_priors"', repr(str(tmp_path / "my_priors")))
        code = code.replace('"my_prices"', repr(str(tmp_path / "my_prices")))
        code = code.replace("learn(records)", 'learn(records, route="counts")')  # in a blink
        code = code.replace("cross_validate(records, learn)", "learned.informed()")
        exec(compile(code, "README.md", "exec"), held)
    assert (tmp_path / "my_priors" / "families.csv").is_file()
    assert (tmp_path / "my_prices" / "effects.csv").is_file()


def test_every_command_stands_in_the_program() -> None:
    """Verbs and options of all blocks, by the program's own list."""
    lines = re.findall(r"^(?:\$ )?(scarfdate [^#\n]*)", README, flags=re.M)
    assert len(lines) >= 8
    context = Context(cli)
    for line in lines:
        _, verb, *typed = shlex.split(line)
        command = cli.get_command(context, verb)
        assert isinstance(command, Command), line
        known = {name for parameter in command.params for name in parameter.opts}
        assert {word for word in typed if word.startswith("--")} <= known, line
    named = set(
        re.findall(r"`([a-z-]+)`", re.search(r"All verbs are(.*?)Exit codes", README, re.S)[1])
    )
    assert named == set(cli.list_commands(context))


def test_set_up_stands_there() -> None:
    for command in ("scarfdate date data/stock.csv", ".venv/bin/pytest -n auto --dist loadfile"):
        assert command in README


def test_it_is_in_the_order_of_its_readers() -> None:
    heads = re.findall(r"^## (.*)$", README, flags=re.M)
    first = ["One scarf, at the prompt", "Your own sheet", "The words"]
    assert heads[:3] == first
    assert heads.index("In Python") > 2
    assert heads.index("Where the prior comes from, and how good it is") > heads.index("In Python")
    assert len(README.splitlines()) < 250


def test_its_table_is_what_was_measured() -> None:
    """Row by row that of ``curator.csv``, which the slow test of the curator holds against a new measurement."""
    kept = pd.read_csv(TOP / "tests" / "real_records" / "curator.csv")
    for row in kept.itertuples():
        said = f"| {row.records} | {row.number} | {row.gain:.3f} ({row.error:.3f}) | {100 * row.covered:.0f} % |"
        assert said in README, said
    assert README.count("\n| ") == len(kept) + 1  # no other table


def test_the_lesson_on_trust_shows_the_same_figures() -> None:
    """``notebooks/held_out.csv``: the table of ``curator.csv``, and of other methods what stands in the text."""
    shown = pd.read_csv(TOP / "notebooks" / "held_out.csv")
    kept = pd.read_csv(TOP / "tests" / "real_records" / "curator.csv")
    first = shown[shown["what"] == "gain over the prior alone"]
    assert (
        first[["name", "records", "gain", "error", "covered"]].to_numpy().tolist()
        == kept.to_numpy().tolist()
    )
    methods = shown[shown["what"].str.endswith(" held out")]
    assert len(methods) == 6
    for row in methods.itertuples():
        assert f"{row.gain:.3f} ({row.error:.3f})" in README, row.name
        if row.covered == row.covered:
            assert f"{100 * row.covered:.0f} %" in README
