"""What one process does with one chunk: date it, and write its part."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from scarfdate.answer.again import beside
from scarfdate.answer.date import date_table
from scarfdate.answer.frame import repeated_id
from scarfdate.columns.sheet import Headings
from scarfdate.model.room import give_back
from scarfdate.reading.files import text_frame
from scarfdate.reading.table import Table
from scarfdate.streaming.parts import write_part


@dataclass(frozen=True, kw_only=True)
class Job:
    """What is the same for all chunks. ``names``: the columns of the answer; ``folder``: of the parts;
    ``tables``: bytes that the tables of the model may take between two chunks.
    """

    headings: Headings
    channel: str
    level: float
    as_of: int
    unit: str | None
    on_error: str
    names: tuple[str, ...]
    folder: Path
    ending: str
    tables: int


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part that is written. ``rows`` of it, of which ``bad`` were not dated, ``partly`` with something left
    out, and ``odd`` have a warning or something left out. All of it stands in the name of its file, so that a part is known by its name.
    """

    number: int
    rows: int
    bad: int
    partly: int
    odd: int

    def path(self, folder: Path, ending: str) -> Path:
        """Where it lies."""
        return folder / f"{self.number:08d}-{self.rows}-{self.bad}-{self.partly}-{self.odd}{ending}"


_NAME = re.compile(r"(\d{8})-(\d+)-(\d+)-(\d+)-(\d+)")


def parts_in(folder: Path, ending: str) -> dict[int, Part]:
    """The parts of a folder, by their numbers."""
    found = {}
    for path in folder.glob(f"*{ending}"):
        if name := _NAME.fullmatch(path.stem):
            number, rows, bad, partly, odd = map(int, name.groups())
            found[number] = Part(number=number, rows=rows, bad=bad, partly=partly, odd=odd)
    return found


def answered(job: Job, table: Table, repeated: dict[int, str]) -> pd.DataFrame:
    """A chunk beside its answers; ``attrs`` as of `date_table`. ``repeated``: by row an id that an earlier
    chunk had, too."""
    frame = text_frame(table)
    answers = date_table(
        job.headings.clues(frame), priors=job.headings.priors, channel=job.channel, level=job.level,
        as_of=job.as_of, unit=job.unit, on_error=job.on_error, columns=job.names,
    )  # fmt: skip
    if repeated:
        warnings = answers["warnings"].tolist()
        for row, cell in repeated.items():
            told, had = repeated_id(cell), warnings[row]
            if pd.isna(had):
                warnings[row] = told
            elif not had.startswith(told):
                warnings[row] = f"{told}; {had}"
        answers["warnings"] = pd.Series(warnings, index=answers.index, dtype="string")
    whole = beside(frame, answers)
    whole.attrs = answers.attrs
    return whole


_job: Job | None = None  # of this process, where it is one of several


def begin(job: Job) -> None:
    """In a new process: from now on its chunks are of this job."""
    global _job
    _job = job


def of_this_process(number: int, table: Table, repeated: dict[int, str]) -> Part:
    """`do` for the job that this process began with."""
    assert _job is not None
    return do(_job, number, table, repeated)


def do(job: Job, number: int, table: Table, repeated: dict[int, str]) -> Part:
    """Date a chunk and write its part."""
    frame = answered(job, table, repeated)
    bad = frame["errors"].notna()
    partly = frame["not_read"].notna() & ~bad
    odd = (frame["warnings"].notna() & ~bad) | partly
    part = Part(
        number=number,
        rows=len(frame),
        bad=int(bad.sum()),
        partly=int(partly.sum()),
        odd=int(odd.sum()),
    )
    write_part(frame, part.path(job.folder, job.ending), job.ending)
    give_back(job.headings.priors, job.tables)
    return part
