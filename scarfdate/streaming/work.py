"""What one process does with one chunk: date it, and write its part."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from scarfdate.answer.again import beside
from scarfdate.answer.date import date_table
from scarfdate.answer.frame import repeated_id
from scarfdate.columns.sheet import Headings
from scarfdate.files import hash_of, open_plain, write_whole
from scarfdate.model.room import give_back
from scarfdate.reading.files import text_frame
from scarfdate.reading.table import Table
from scarfdate.streaming.parts import part_bytes


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
    out, and ``odd`` have a warning or something left out; ``digest``: SHA-256 of all of that and of its bytes. All of
    it stands in the name of its file, so that a part that is whole is listed, also after a kill, and no other is.
    """

    number: int
    rows: int
    bad: int
    partly: int
    odd: int

    digest: str = ""

    @property
    def _counts(self) -> str:
        return f"{self.number:08d}-{self.rows}-{self.bad}-{self.partly}-{self.odd}"

    def path(self, folder: Path, ending: str) -> Path:
        """Where it lies."""
        return folder / f"{self._counts}-{self.digest}{ending}"

    def of(self, content: bytes) -> Part:
        """The same with the digest of these bytes."""
        return replace(self, digest=hash_of([(self._counts, content)]))


_NAME = re.compile(r"(\d{8})-(\d+)-(\d+)-(\d+)-(\d+)-([0-9a-f]{64})")


def parts_in(folder: Path, ending: str) -> dict[int, Part]:
    """The parts of a folder, by their numbers: those that are as they were written, and no links."""
    found = {}
    for path in sorted(folder.glob(f"*{ending}")):
        name = _NAME.fullmatch(path.stem)
        if not name or path.is_symlink():
            continue
        number, rows, bad, partly, odd = map(int, name.groups()[:-1])
        part = Part(number=number, rows=rows, bad=bad, partly=partly, odd=odd, digest=name[6])
        try:
            with open_plain(path) as stream:
                whole = part.of(stream.read()) == part
        except OSError:
            continue
        if whole:
            found[number] = part
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
    content = part_bytes(frame, job.ending)
    part = part.of(content)
    write_whole(part.path(job.folder, job.ending), content)
    give_back(job.headings.priors, job.tables)
    return part
