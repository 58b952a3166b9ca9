"""``survivors.csv``: mutants that stay alive, and why each does."""

from __future__ import annotations

import csv
from pathlib import Path

FILE = Path(__file__).with_name("survivors.csv")
COLUMNS = ("file", "line", "becomes", "why")


def explained() -> dict[tuple[str, str, str], str]:
    """Why, by file, the text of the line, and what the fault makes of it."""
    with FILE.open(encoding="utf-8", newline="") as rows:
        return {(r["file"], r["line"], r["becomes"]): r["why"] for r in csv.DictReader(rows)}
