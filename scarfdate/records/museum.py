"""Date records of museums, read from files of any size into arrays; divided, and compressed.

A record is an interval of years with what the museum says of the piece. Bad rows become faults with
their places, and the good ones are kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from scarfdate.columns.columns_map import ColumnsMap, columns_map
from scarfdate.columns.names import MUSEUM
from scarfdate.errors import RangeError, TableError
from scarfdate.records.arrays import (
    OPEN_END,
    OPEN_START,
    Floats,
    Ints,
    Mask,
    Records,
    alike,
    nullable_years,
    ranks,
)
from scarfdate.records.file_hash import hash_of_files
from scarfdate.records.record_files import ENDINGS
from scarfdate.records.record_rows import RecordsBuilder
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.years import this_day

Statement = Callable[[Floats, Floats, Mask], ArrayLike]


def read_records(
    paths: str | Path | Iterable[str | Path],
    columns: ColumnsMap | str | Path | Mapping[str, str | Sequence[str]] | None = None,
    *,
    this_year: int | None = None,
    priors: Priors | None = None,
) -> Records:
    """All dated records of some files: CSV, TSV, JSON (a list, an object with a list, pages of such, or lines).

    A folder stands for the files in it, in the order of their names: the pages of one export, which has the
    folder's name where the records state no source.

    ``columns``: a map from `read_columns_map`, its TOML file, or our names to the export's; None where
    the files have our own names. ``this_year``: years after it are faults (default: the current one).
    ``priors``: whose words the clues of records are in (default: the shipped ones).

    A record has years of its own (a blank side is open), or else those that `scarfdate.words.edtf` reads
    off the date text, or else none. Left out, and counted: undated records; intervals wider than
    the map allows; object types that the map counts as nothing; second rows of one source and id;
    and bad rows, which are faults: begin after end, years after ``this_year`` (an end that the year
    of acquisition cuts, or that is the end of the decade or century in the date text, is cut and
    kept), years before 1, years that are no years, wrong numbers of cells, text that is not UTF-8.
    A bad size, clue or year of acquisition is a fault, too, but only that cell is lost.

    Raises TableError where a file is not there, or no file has a record with a date.
    """
    named = [Path(paths)] if isinstance(paths, (str, Path)) else [Path(path) for path in paths]
    listed = {
        file: path.name if path.is_dir() else path.stem for path in named for file in _files(path)
    }
    _check_paths(named, [file for path in named for file in _files(path)])
    known = checked_priors(priors)
    using = columns_map(columns, MUSEUM, known)
    year = this_day().year if this_year is None else this_year
    builder = RecordsBuilder(using, year, known)
    unread: list[str] = []
    for path, source in listed.items():
        try:
            builder.read(path, source)
        except TableError as error:
            unread.append(str(error))
            place = str(error).removeprefix(str(path)).lstrip(":, ")
            builder.log.add(str(path), None, None, "the file, or the rest of it, cannot be read",
                            None, place)  # fmt: skip
        except OSError as error:
            raise TableError(f"{path}: cannot be read ({error.strerror})") from None
    return builder.records(hash_of_files([*listed]), unread)


def folds(records: Records, k: int, seed: int) -> Ints:
    """A part 0..k-1 for each record, (n,), whole clumps together; parts differ by one clump at most.

    Equal records get equal parts, in whatever order the files have them. Raises RangeError unless
    2 <= k <= number of clumps.
    """
    if not 2 <= k <= records.effective:
        raise RangeError(
            f"k: from 2 parts to as many as there are clumps ({records.effective}), got {k}"
        )
    part = np.random.default_rng(seed).permutation(records.effective) % k
    return part.astype(np.int32)[records.clump]


def compressed(records: Records, which: Statement, *, as_stated: bool = False) -> pd.DataFrame:
    """Distinct intervals with their counts: all that a density needs, from which nobody is named.

    ``which`` says what kind of statement each distinct interval is: a function of the stated first years,
    stated last years ((m,), NaN where a side is open) and a mask of those that say "ca.", such as
    `scarfdate.density.kinds.kinds_of`; it gives (m,) numbers or words.

    Columns: kind, first, last (<NA>: open), statement, records, effective (the sum of weights, so
    that a clump counts once). With ``as_stated`` first and last are the stated years, and a column
    ``acquired`` has the year of acquisition where it cuts the interval short. Sorted.
    """
    last = records.stated_last if as_stated else records.last
    cut = np.where(records.last < records.stated_last, records.acquired, 0)
    # what the statements are asked of is few, however many records there are
    every: list[NDArray[Any]] = [
        ranks(records.kind), records.first, last, records.stated_last, records.approximate, cut,
    ]  # fmt: skip
    at, of = alike(every)
    kind, first, last, stated, approximate, cut = (column[at] for column in every)
    begin = np.where(first == OPEN_START, np.nan, first)
    end = np.where(stated == OPEN_END, np.nan, stated)
    statement, index = np.unique(np.asarray(which(begin, end, approximate)), return_inverse=True)
    if index.shape != first.shape:
        raise RangeError(f"which: {len(first)} kinds of statement are wanted, got {len(index)}")
    key: list[NDArray[Any]] = [kind, first, last, index, *([cut] if as_stated else [])]
    some, group = alike(key)
    number = np.bincount(of, minlength=len(at))
    weight = np.bincount(of, records.weight, len(at))

    columns = {
        "kind": records.kind.texts()[at[some]],
        "first": nullable_years(first[some], OPEN_START),
        "last": nullable_years(last[some], OPEN_END),
        **({"acquired": nullable_years(cut[some], 0)} if as_stated else {}),
        "statement": statement[index[some]],
        "records": np.bincount(group, number, len(some)).astype(np.int64),
        "effective": np.bincount(group, weight, len(some)),
    }
    return pd.DataFrame(columns)


def _files(path: Path) -> list[Path]:
    """A file, or those in a folder that can be read, in the order of their names."""
    if not path.is_dir():
        return [path]
    return sorted(
        one for one in path.iterdir() if one.suffix.casefold() in ENDINGS and one.is_file()
    )


def _check_paths(named: Sequence[Path], files: Sequence[Path]) -> None:
    if not named:
        raise TableError("no file of records: got an empty list; name at least one")
    for path in named:
        if path.is_dir() and not _files(path):
            raise TableError(
                f"{path}: is a folder with no file of records in it; endings read: {', '.join(ENDINGS)}"
            )
    seen: set[Path] = set()
    for path in files:
        if not path.is_file():
            raise TableError(f"{path}: there is no such file; check the path")
        whole = path.resolve()
        if whole in seen:
            raise TableError(f"{path}: the file is named twice; its records would count twice")
        seen.add(whole)
