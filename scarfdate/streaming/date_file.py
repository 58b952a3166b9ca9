"""`date_file`: a file of pieces in, a file of answers out, in bounded memory, on as many cores as wanted."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from scarfdate import years
from scarfdate.answer.date import COLUMNS, ON_REQUEST, checked_columns
from scarfdate.columns.columns_map import columns_map
from scarfdate.columns.names import SOLD
from scarfdate.columns.sheet import heading_test, headings
from scarfdate.conventions import CHANNEL, LEVEL
from scarfdate.errors import ScarfdateError, TableError, shown
from scarfdate.files import as_path, empty_folder, stream_whole, work_folder
from scarfdate.model.model import compiled
from scarfdate.reading.table import Table, printable
from scarfdate.reading.written import check_out
from scarfdate.show import page
from scarfdate.streaming.folder import JOB, fingerprint, folder_of, taken_up
from scarfdate.streaming.parts import ENDINGS, join_parts
from scarfdate.streaming.processes import AHEAD, Given, finished, is_done, processes_for
from scarfdate.streaming.repeats import Ids
from scarfdate.streaming.source import Source, open_source
from scarfdate.streaming.work import Job, Part, answered, parts_in
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.words import units

if TYPE_CHECKING:
    import pandas as pd

MEMORY = 500_000_000  # bytes, of all processes together
_NAMES = (*COLUMNS[:-3], *ON_REQUEST, *COLUMNS[-3:])  # what is told of the row comes last
_ALWAYS = ("warnings", "not_read", "errors")
# measured by `python -m tests.benchmarks.streaming --constants` on pieces of which no two are alike, rounded up
_A_PROCESS = 125_000_000  # what a process takes before its first row, with nothing kept of the tables (`Cache`)
_ANOTHER = 85_000_000  # what one more takes: the pages of libraries are there already
_A_ROW = 30_000  # of the chunk: while it is dated, what it adds to the tables of the model, and as it is written
_A_WAITING_ROW = 2_500  # read, and not dated yet
# measured on two cores: two processes that have 97 MB each for their rows take nine tenths of the time of one that has
# all of the room, with 147 MB four fifths
_OF_USE = 100_000_000
_LEAST, _MOST = 1_024, 8_192  # rows of a chunk: fewer cost more time a row, more gain nothing

Progress = Callable[[int, float], object]


@dataclass(frozen=True, kw_only=True)
class FileDated:
    """What became of a file. ``out``: where the answers are; ``rows``: how many; ``bad``: not dated; ``partly``:
    dated with something left out; ``odd``: with that or a warning; ``resumed``: rows that an earlier run had dated; ``not_used``:
    columns that are no clue; ``remarks``: on how the file was read; ``seconds``: of this run.
    """

    out: Path
    rows: int
    bad: int
    partly: int
    odd: int
    resumed: int
    not_used: tuple[str, ...]
    remarks: tuple[str, ...]
    seconds: float

    def _repr_html_(self) -> str:
        return page.view(str(self))

    def __str__(self) -> str:
        before = f", {self.resumed} of them by an earlier run" if self.resumed else ""
        pieces = "1 piece" if self.rows == 1 else f"{self.rows} pieces"
        return (
            f"{pieces}: {self.rows - self.bad} dated{before}, {self.bad} not read, {self.odd} with a warning. "
            f"Written to {printable(str(self.out))}."
        )


def date_file(
    source: str | Path,
    out: str | Path,
    *,
    columns: object = None,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    level: float = LEVEL,
    as_of: int | None = None,
    unit: str | None = None,
    on_error: str = "leave-out",
    answers: tuple[str, ...] | list[str] | None = None,
    encoding: str | None = None,
    memory: int = MEMORY,
    processes: int = 1,
    mark: bool = False,
    force: bool = False,
    progress: Progress | None = None,
) -> FileDated:
    """Date every row of a file of any length, and write the rows with their answers to another.

    ``source``: CSV, JSON lines (.jsonl) or Parquet; ``out``: .csv, .jsonl or .parquet, written whole or not
    at all. Rows are read, dated and written a chunk at a time; the answers are those of `date_table`, to the
    bit. ``columns``: which of the file's columns is which of ours, as of `read_sheet`; ``answers``: the columns
    of the answer (``columns`` of `date_table`; unless given all but ``year_probabilities``).
    ``memory``: bytes, for all processes together, but for eight bytes a row where the file has ids: by it goes how
    many rows are dated at a time, and how much of what was worked out for them is kept for the next; the first
    process needs some 220 MB where no two pieces are alike, and each other 150, whatever is told.
    ``processes``: how many date at once, this one among them; two are quicker than one from some 400 MB on. A script that asks for more
    than one must do its work behind a test of its own name, as Python's own pools of processes want it. ``mark``: a
    byte-order mark in front of CSV; ``force``: write over ``out``. ``progress``: called after each chunk with the rows
    dated so far and the share of the file that was read, 0 to 1. The other arguments are those of `date_table`.

    A run that was stopped is taken up by the next one with the same arguments and the same file: parts that are
    finished lie in the folder ``.OUT.parts`` beside ``out`` until the end. Parts of another run are
    taken away.

    Raises TableError for a row or a file that cannot be taken in, and as `date_table` does; ScarfdateError for
    other arguments that are not allowed, where a process was killed, and where another run is at work on ``out``.
    """
    started = time.monotonic()
    target, path = _checked_out(out, mark, force), as_path(source, "source")
    memory, processes = _whole("memory", memory, _A_PROCESS), _whole("processes", processes, 1)
    known = checked_priors(priors)
    using = columns_map(columns, SOLD, known)
    wanted = checked_columns(_NAMES if answers is None else answers)
    encoding = using.encoding if encoding is None else encoding
    rows, tables = _room(memory, processes)
    with open_source(path, heading_test(using, known), encoding) as given:
        job = Job(
            headings=headings(given.header, using, given.name, known),
            channel=channel, level=years.checked_level(level), as_of=compiled(known, channel, as_of).as_of,
            unit=units.checked_unit(unit), on_error=_checked_on_error(on_error),
            names=tuple(dict.fromkeys((*wanted, *_ALWAYS))),
            folder=folder_of(target), ending=target.suffix.casefold(), tables=tables,
        )  # fmt: skip
        told = _told(job, known, path, given.header, rows)
        with work_folder(job.folder):
            had = parts_in(job.folder, job.ending) if taken_up(job.folder, told) else {}
            fit = [part.path(job.folder, job.ending).name for part in had.values()]
            empty_folder(job.folder, {JOB, *fit})
            header = _answer_to_none(job, given)
            parts = _all_parts(job, given, rows, processes, had, progress)
            with stream_whole(target, job.folder, new=not force) as stream:
                paths = (part.path(job.folder, job.ending) for part in parts)
                join_parts(paths, stream, job.ending, header, mark=mark)
    return FileDated(
        out=target,
        rows=sum(part.rows for part in parts),
        bad=sum(part.bad for part in parts),
        partly=sum(part.partly for part in parts),
        odd=sum(part.odd for part in parts),
        resumed=sum(part.rows for part in had.values()),
        not_used=tuple(header.attrs["not_used"]),
        remarks=tuple(given.remarks),
        seconds=time.monotonic() - started,
    )


def _checked_out(out: str | Path, mark: bool, force: bool) -> Path:
    target = check_out(as_path(out, "out"), force)
    if target.suffix.casefold() not in ENDINGS:
        raise TableError(
            f"{printable(str(out))}: such a file is written whole; endings written in parts: {', '.join(ENDINGS)}"
        )
    if mark and target.suffix.casefold() != ".csv":
        raise TableError(
            f"{printable(str(out))}: only a .csv takes a byte-order mark; leave it out"
        )
    return target


def _whole(name: str, value: object, least: int) -> int:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not value >= least:
        raise ScarfdateError(f"{name}: a number of at least {least} is allowed, got {shown(value)}")
    return int(min(value, 2**62))


def _checked_on_error(on_error: str) -> str:
    if on_error not in ("leave-out", "collect"):
        raise ScarfdateError(
            f"on_error: 'leave-out' or 'collect' is allowed for a file, got {shown(on_error)}"
        )
    return on_error


def of_use(memory: int, cores: int) -> int:
    """How many processes are quickest: as many as there are cores, while each has room enough."""
    return max(n for n in range(1, cores + 1) if n == 1 or _left(memory, n) >= _OF_USE)


def _left(memory: int, processes: int) -> float:
    """Bytes that each process has for rows and tables."""
    return (memory - _A_PROCESS - _ANOTHER * (processes - 1)) / processes


def _room(memory: int, processes: int) -> tuple[int, int]:
    """Rows of a chunk, and bytes of the tables that a process keeps from one chunk to the next."""
    each = _left(memory, processes)
    rows = int(max(_LEAST, min(_MOST, each / 2 // (_A_ROW + AHEAD * _A_WAITING_ROW))))
    # half, for an array that grows is up to twice as long as what is in it
    return rows, int(max(0, each - rows * (_A_ROW + AHEAD * _A_WAITING_ROW)) / 2)


def _told(job: Job, priors: Priors, path: Path, header: list[str], rows: int) -> dict[str, object]:
    """All that the parts hang on, in plain words."""
    return {
        "file": fingerprint(path), "header": header, "columns": repr(job.headings.using),
        "priors": priors.hash, "channel": job.channel, "level": job.level, "as_of": job.as_of,
        "unit": job.unit, "on_error": job.on_error, "answers": list(job.names), "rows": rows,
    }  # fmt: skip


def _answer_to_none(job: Job, given: Source) -> pd.DataFrame:
    """The answer to no row, by which the columns are known before the first."""
    none = Table(name=given.name, header=given.header, rows=[], places=[], counted=given.counted)
    return answered(job, none, {})


def _all_parts(
    job: Job, given: Source, rows: int, processes: int, had: dict[int, Part], progress: Progress | None
) -> list[Part]:  # fmt: skip
    """Every part of the answer, in turn: those that were there, and the others as they are made."""
    parts: list[Part] = []
    waiting: deque[tuple[Given, float]] = deque()
    done = 0
    with processes_for(job, processes) as give:
        for number, (table, repeated) in enumerate(_with_repeats(job, given, rows)):
            one = had[number] if number in had else give(number, table, repeated)
            # what is read ahead is not dated yet
            waiting.append((one, given.share_read()))
            while waiting and is_done(waiting[0][0]):
                one, share = waiting.popleft()
                parts.append(finished(one))
                done += parts[-1].rows
                if progress is not None:
                    progress(done, share)
        parts += [finished(one) for one, _ in waiting]
    if not parts:
        raise TableError(f"{given.name}: there is a header and not one row under it")
    if progress is not None:
        progress(sum(part.rows for part in parts), 1.0)
    return parts


def _with_repeats(job: Job, given: Source, rows: int) -> Iterator[tuple[Table, dict[int, str]]]:
    """The chunks of a file, with the ids of rows that an earlier chunk had, too."""
    met = Ids()
    for table in given.chunks(rows):
        ids = job.headings.ids(table)
        repeated = met.met([one.strip() for one in ids]).nonzero()[0]
        yield table, {row: ids[row] for row in repeated.tolist()}
