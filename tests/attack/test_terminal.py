"""No control character that a person wrote reaches the terminal, whatever command prints it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from scarfdate.cli import cli

# turns colours and titles, makes links, rings, goes back over the line, turns text about
CONTROL = "\x1b[31m\x1b]8;;http://192.0.2.1\x07x\x1b]8;;\x07\x1b]0;t\x07\x08\x08\rgone\x9b2J\u202eabc\x7f[red]x[/red]"
PIECE = ("hem=hand-rolled", f"note={CONTROL}", f"label_text=SILK {CONTROL}", f"maker={CONTROL}")
COMMANDS: dict[str, tuple[str, ...]] = {
    "show": ("show", *PIECE),
    "show, unknown clue": ("show", f"{CONTROL}=silk"),
    "show, unknown word": ("show", f"fibre={CONTROL}"),
    "show, no such file": ("show", CONTROL),
    "explain": ("explain", *PIECE),
    "explain, claim": ("explain", *PIECE, "--claim", CONTROL),
    "next": ("next", *PIECE),
    "label": ("label", f"PURE SILK {CONTROL}"),
    "words": ("words", CONTROL),
    "describe": ("describe", *PIECE, "--condition", CONTROL),
    "describe, markdown": ("describe", *PIECE, "--as", "markdown"),
    "date": ("date", "SHEET"),
    "date, sentences": ("date", "SHEET", "--sentences"),
    "date, picture": ("date", "SHEET", "--picture"),
    "dry-run": ("dry-run", "SHEET"),
    "appraise": ("appraise", "SHEET"),
    "compare": ("compare", f"fibre=silk note='{CONTROL}'", "fibre=polyester"),
    "an option that is not there": ("show", f"--{CONTROL}"),
    "a command that is not there": (CONTROL,),
    "a value too many": ("template", "a.xlsx", CONTROL),
    "a value of an option": ("describe", *PIECE, "--language", CONTROL),
    "no number": ("show", *PIECE, "--as-of", CONTROL),
    "priors": ("show", *PIECE, "--priors", CONTROL),
}
FAST = {"show", "a command that is not there", "no number", "an option that is not there", "date"}


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=() if name in FAST else pytest.mark.slow) for name in COMMANDS],
)
def test_nothing_turns_the_terminal(name: str, tmp_path: Path) -> None:
    row = {"id": CONTROL, "fibre": "silk", "hem": CONTROL, "note": CONTROL, "label_text": CONTROL, "maker": CONTROL,
           f"note {CONTROL}": CONTROL, "asking": "9"}  # fmt: skip
    sheet = tmp_path / "in.json"
    pd.DataFrame([row, {**row, "id": "2"}]).to_json(sheet, orient="records")
    run = CliRunner().invoke(
        cli, [str(sheet) if word == "SHEET" else word for word in COMMANDS[name]]
    )
    assert run.exception is None or isinstance(run.exception, SystemExit), run.exception
    assert run.output.strip()
    assert {one for one in run.output if not one.isprintable()} <= {"\n"}
