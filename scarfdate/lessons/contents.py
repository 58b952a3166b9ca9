"""Which lessons there are, in which order, for whom, and how long each takes to read."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from scarfdate.errors import ScarfdateError, did_you_mean, shown

CONTENTS = "contents"  # the notebook that lists the others; as a page it is the index


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """One notebook: its name without ending, minutes of reading, and who it is for."""

    name: str
    minutes: int
    audience: tuple[str, ...]

    @property
    def path(self) -> Path:
        """Its notebook."""
        return shipped_notebooks() / f"{self.name}.ipynb"


def shipped_notebooks() -> Path:
    """Where the notebooks that came with the library lie: inside the wheel, or beside the package."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "notebooks"
    return inside if inside.is_dir() else package.parent / "notebooks"


def lessons() -> tuple[Lesson, ...]:
    """All lessons, in the order in which they are to be read."""
    with (shipped_notebooks() / "lessons.csv").open(encoding="utf-8", newline="") as file:
        return tuple(
            Lesson(
                name=row["name"],
                minutes=int(row["minutes"]),
                audience=tuple(row["audience"].split("; ")),
            )
            for row in csv.DictReader(file)
        )


def chosen(names: Sequence[str]) -> tuple[Lesson, ...]:
    """The lessons with these names, in their order; all of them for no name. Raises ScarfdateError."""
    known = [lesson.name for lesson in lessons()]
    if isinstance(names, str) or not isinstance(names, Sequence):
        raise ScarfdateError(f"only: a list of names of lessons is allowed, got {shown(names)}")
    for name in names:
        if name not in known:
            raise ScarfdateError(
                f"{shown(name)}: there is no such lesson; {did_you_mean(name, known)}"
            )
    return tuple(lesson for lesson in lessons() if not names or lesson.name in names)
