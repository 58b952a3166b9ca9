"""What the commands beside this folder measured, each in one small file, and the parts of two pages made of them.

A command calls :func:`keep`; ``python -m tests.figures`` writes the pages anew, and tests compare. The files of this
folder are told in SECURITY.md, those of ``growth`` (what time and memory grow with) in DEVELOPERS.md.
"""

from __future__ import annotations

import json
import platform
from collections.abc import Sequence
from datetime import date
from pathlib import Path

FOLDER = Path(__file__).parent
GROWTH = FOLDER / "growth"
PAGE, GROWTH_PAGE = (FOLDER.parents[1] / name for name in ("SECURITY.md", "DEVELOPERS.md"))
PAGES = {PAGE: FOLDER, GROWTH_PAGE: GROWTH}
BEGINS, ENDS = "<!-- figures: python -m tests.figures -->\n", "<!-- end of figures -->\n"


def keep(
    name: str,
    *,
    title: str,
    command: str,
    columns: Sequence[str],
    rows: Sequence[Sequence[object]],
    notes: Sequence[str] = (),
    folder: Path = FOLDER,
) -> None:
    """Write one command's figures to ``tests/figures/NAME.json``, with the day and the interpreter; with ``folder``
    `GROWTH` to ``tests/figures/growth/NAME.json``.

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
    (folder / f"{name}.json").write_text(text, encoding="utf-8")


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


def page(text: str, folder: Path = FOLDER) -> str:
    """A page with the part between its two marks made anew from the files of its folder."""
    before, _, rest = text.partition(BEGINS)
    _, _, after = rest.partition(ENDS)
    files = sorted(folder.glob("*.json"))
    sections = [section(json.loads(one.read_text(encoding="utf-8"))) for one in files]
    return before + BEGINS + "\n" + "\n".join(sections) + "\n" + ENDS + after
