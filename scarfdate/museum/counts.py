"""The year density of open museum date records: what museums record, before anything else.

A first stand-in, computed from counts: near-identical rows of one gift count once, every record is
spread evenly over its own interval, scarf-like things and other textiles count half each, and the
sum is read by decades. It is the museum factor of the year prior, never the prior itself.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np

from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import TableError
from scarfdate.files import hash_of, write_whole
from scarfdate.knots import Array

SCARF_LIKE = ("scarf", "shawl", "handkerchief", "kerchief", "bandanna", "stole")
_CLUMP = ("source", "object_type", "date_text", "medium_text", "year_acquired")
_DECADE = 10
_AT_LEAST = 0.5  # records added to every decade, so that none is impossible for want of a record


def read_records(paths: Iterable[Path]) -> list[dict[str, str]]:
    """All rows of record files that state a first and a last year."""
    rows: list[dict[str, str]] = []
    for path in paths:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            rows += [row for row in csv.DictReader(stream) if row["year_begin"] and row["year_end"]]
    if not rows:
        raise TableError("no record states both year_begin and year_end; check the files")
    return rows


def clumps(rows: Sequence[Mapping[str, str]]) -> list[Mapping[str, str]]:
    """One row for each clump: equal source, kind, date, medium and year of acquisition."""
    return list({tuple(row.get(key, "") for key in _CLUMP): row for row in rows}.values())


def spread_over_years(rows: Sequence[Mapping[str, str]], last: int) -> Array:
    """Expected records in each year FIRST_YEAR..last, each record spread over its interval.

    What lies before the first year is counted in its cell, what lies after the last is cut off.
    """
    total = np.zeros(last - FIRST_YEAR + 1)
    for row in rows:
        begin, end = int(row["year_begin"]), min(int(row["year_end"]), last)
        if begin > end:
            continue
        weight = 1 / (end - begin + 1)
        total[0] += weight * max(0, min(end, FIRST_YEAR) - begin + 1)
        if end > FIRST_YEAR:
            total[max(begin - FIRST_YEAR, 1) : end - FIRST_YEAR + 1] += weight
    return total


def year_table(paths: Sequence[Path], last: int) -> bytes:
    """``year_museum.csv``: a density by decade, with the records behind each row."""
    rows = clumps(read_records(paths))
    groups = [
        [row for row in rows if (row["object_type"] in SCARF_LIKE) == alike]
        for alike in (True, False)
    ]
    counts = [spread_over_years(group, last) for group in groups if group]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["year", "density", "records", "basis", "source", "note"])
    digest = hash_of((path.name, path.read_bytes()) for path in paths)
    source = f"python -m scarfdate.museum.counts year RECORDS; SHA-256 of the records {digest[:16]}"
    note = "clumps count once; scarf-like things and other textiles count half each"

    def row(year: int, cells: slice) -> list[object]:
        width = cells.stop - cells.start
        shares = [(c[cells].sum() + _AT_LEAST * width / _DECADE) / (c.sum() + len(c) * _AT_LEAST / _DECADE)
                  for c in counts]  # fmt: skip
        records = sum(float(c[cells].sum()) for c in counts)
        density = 100 * float(np.mean(shares)) / width
        return [year, f"{density:.4g}", f"{records:.1f}", "museum", source, note]

    writer.writerow(row(FIRST_YEAR, slice(0, 1)))
    # the first cell stands for everything before it: the next knot starts the years themselves
    writer.writerow(row(FIRST_YEAR + 1, slice(1, _DECADE)))
    for start in range(_DECADE, last - FIRST_YEAR + 1, _DECADE):
        stop = min(start + _DECADE, last - FIRST_YEAR + 1)
        writer.writerow(row(FIRST_YEAR + (start + stop) // 2, slice(start, stop)))
    return out.getvalue().encode()


def build_year_table(paths: Sequence[Path], out: Path, last: int) -> None:
    """Write `year_table` to ``out``, whole or not at all."""
    write_whole(out, year_table(paths, last))


if __name__ == "__main__":
    import argparse

    parser = argparse.ArgumentParser(prog="python -m scarfdate.museum.counts", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    year = commands.add_parser("year", help="write the museum factor of the year prior")
    year.add_argument("records", nargs="+", type=Path)
    year.add_argument("--out", type=Path, required=True)
    year.add_argument("--last", type=int, default=2025, help="the last year of the table")
    given = parser.parse_args()
    build_year_table(given.records, given.out, given.last)
