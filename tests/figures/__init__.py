"""What the commands beside this folder measured, each in one small file, and the part of SECURITY.md made of them.

A command calls :func:`keep`; ``python -m tests.figures`` writes SECURITY.md anew, and a test compares the two.
"""

from __future__ import annotations

import json
import platform
from collections.abc import Sequence
from datetime import date
from pathlib import Path

FOLDER = Path(__file__).parent
PAGE = FOLDER.parents[1] / "SECURITY.md"
GROWTH = "growth_"  # begins the names of figures that stand in DEVELOPERS.md instead
BEGINS, ENDS = "<!-- figures: python -m tests.figures -->\n", "<!-- end of figures -->\n"


def keep(
    name: str,
    *,
    title: str,
    command: str,
    columns: Sequence[str],
    rows: Sequence[Sequence[object]],
    notes: Sequence[str] = (),
) -> None:
    """Write one command's figures to ``tests/figures/NAME.json``, with the day and the interpreter.

    ``columns`` and ``rows``: a small table, cells as they are to be printed; ``notes``: a sentence each.
    """
    kept = {
        "title": title,
        "command": command,
        "measured": date.today().isoformat(),
        "python": platform.python_version(),
        "columns": list(columns),
        "rows": [[str(cell) for cell in row] for row in rows],
        "notes": list(notes),
    }
    text = json.dumps(kept, indent=1, ensure_ascii=False) + "\n"
    (FOLDER / f"{name}.json").write_text(text, encoding="utf-8")


def section(kept: dict[str, object]) -> str:
    """One file as a heading, the command that made it, a table and its notes, in Markdown."""
    columns, rows, notes = kept["columns"], kept["rows"], kept["notes"]
    lines = [
        f"### {kept['title']}",
        "",
        f"`{kept['command']}`, on {kept['measured']} with Python {kept['python']}.",
        "",
        *(
            "| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |"
            for row in (columns, ["---"] * len(columns), *rows)
        ),
    ]
    return "\n".join([*lines, *([""] if notes else []), *(f"{note}" for note in notes)]) + "\n"


def page(text: str) -> str:
    """SECURITY.md with the part between its two marks made anew from the files of this folder."""
    before, _, rest = text.partition(BEGINS)
    _, _, after = rest.partition(ENDS)
    files = sorted(one for one in FOLDER.glob("*.json") if not one.name.startswith(GROWTH))
    sections = [section(json.loads(one.read_text(encoding="utf-8"))) for one in files]
    return before + BEGINS + "\n" + "\n".join(sections) + "\n" + ENDS + after
