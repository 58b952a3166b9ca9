"""COMMANDS.md says what the commands say."""

from __future__ import annotations

from pathlib import Path

from scarfdate.cli import cli
from tests.commands import ORDER, manual


def test_the_file_is_made_from_the_code() -> None:
    written = (Path(__file__).parents[1] / "COMMANDS.md").read_text(encoding="utf-8")
    assert written == manual(), "python -m tests.commands > COMMANDS.md"


def test_every_command_is_in_it() -> None:
    assert set(ORDER) == set(cli.commands)
