"""``scarfdate practice`` at the prompt: plain input, q, the end of the input, and whatever else is typed."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate import practice
from scarfdate.cli import cli

AS_OF = ["--as-of", "2026"]


def typed(text: str | bytes, *arguments: str) -> Result:
    result = CliRunner().invoke(cli, ["practice", *arguments], input=text)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.output
    return result


def words(text: str) -> str:
    return "".join(text.split())


def test_two_rounds_to_their_end(tmp_path: Path) -> None:
    path = tmp_path / "mine.json"
    bets = "1960s 6, 1970s 4\n" * 8
    result = typed(bets, "--level", "first-steps", "--rounds", "2", "--progress", str(path), *AS_OF)
    assert result.exit_code == 0
    made = practice(progress=path, rounds=2)
    assert len(made.outcomes) == 2
    for outcome in made.outcomes:
        assert words(outcome.overlooked) in words(result.output)
    assert words(str(made.summary())) in words(result.output).replace("Note:", "")
    again = typed("", "--rounds", "2", "--progress", str(path))
    assert again.exit_code == 0 and "2 rounds are over" in again.output


@pytest.mark.parametrize("end", ["q\n", "Q", "quit\n", "", "\x00\n"])
def test_q_and_the_end_of_the_input_keep_what_was_bet(tmp_path: Path, end: str) -> None:
    path = tmp_path / "mine.json"
    result = typed("1960s\n" + end, "--seed", "3", "--progress", str(path), *AS_OF)
    assert result.exit_code == 0 and "No round is over yet" in result.output
    assert len(practice(progress=path).round().steps) == 1


def test_what_is_no_bet_is_said_and_asked_again() -> None:
    result = typed("1960s 9\ngroovy\n\nq\n", *AS_OF)
    assert result.exit_code == 0
    assert words("9 chips are laid, and 10 are to be laid: lay 1 more") in words(result.output)
    assert "'groovy' is not understood" in result.output and "nothing was typed" in result.output


@pytest.mark.parametrize("asked", ["?", "help", " Help "])
def test_asked_for_help_it_says_what_a_bet_is(asked: str) -> None:
    result = typed(f"{asked}\nq\n", *AS_OF)
    assert result.output.count("Ten chips on decades") == 2  # at the start, and asked again
    assert "not understood" not in result.output


def test_no_second_size_is_told_of_a_piece() -> None:
    """A drawing of a form or a layout has some size; that it is not the piece's is said with it."""
    for seed in ("1", "3", "4"):
        result = typed(
            "1960s\n" * 80, "--seed", seed, "--level", "first-steps", "--rounds", "12", *AS_OF
        )
        told = " ".join(result.output.split()).split("You see: ")
        shapes = [
            one.split(" Next comes")[0] for one in told if one.startswith(("form: ", "layout: "))
        ]
        assert len(shapes) > 5
        for one in shapes:
            assert "These sides are an example" in one or one.startswith(
                ("form: other", "layout: other")
            )


def test_without_a_file_it_says_that_nothing_is_kept() -> None:
    result = typed("1960s\n" * 2, "--pieces", "labels", "--rounds", "1", *AS_OF)
    assert "Nothing of it is kept; --progress FILE keeps it." in result.output


def test_refusals() -> None:
    assert typed("", "--level", "hem").exit_code == 2
    assert typed("", "--pieces", "nowhere.csv").exit_code == 2
    assert typed("", "--clue", "nose").exit_code == 2


@settings(max_examples=12, deadline=None)
@given(st.binary(max_size=60))
def test_nothing_typed_crashes(text: bytes) -> None:
    assert typed(text, "--pieces", "labels", "--rounds", "1", *AS_OF).exit_code == 0
