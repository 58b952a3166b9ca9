"""``python -m tests.benchmarks.distributed [--rows N] [--database N] [--keep]``: what many processes and a database gain.

On one machine: `date_table` of the whole frame in one process; `date_frame` on a Dask cluster of one worker process and of
two, each of one thread, started and warmed beforehand; and the recipe for DuckDB, with one thread and with two, beside
`date_table` of the same rows. Time by the clock, of the processor (of all processes at work on it) and most memory; whether the
answers are the same to the bit. Each in a process of its own, one after the other.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np
import pandas as pd

from scarfdate import date_table, simulate
from scarfdate.distributed import date_frame

AS_OF = 2026
PARTS = 16  # of the frame: whole blocks of `date_table`
DRAWN = 100_000  # distinct pieces; a longer table repeats them with other ids
ASKED = ["year_from", "year_to", "median_year", "edtf"]  # of the recipe for DuckDB
COMMAND = "python -m tests.benchmarks.distributed --keep"


def pieces(rows: int) -> pd.DataFrame:
    """Drawn pieces, all of their clues."""
    drawn = simulate(None, min(rows, DRAWN), np.random.default_rng(7), as_of=AS_OF).frame()
    frame = pd.concat([drawn] * -(-rows // len(drawn)), ignore_index=True).iloc[:rows]
    frame.insert(0, "id", [f"P{at}" for at in range(rows)])
    return frame


def fingerprint(answer: pd.DataFrame) -> str:
    """Of every cell of an answer, in the order of its rows: another where a bit of it is."""
    cells = answer.astype(dict.fromkeys(answer.select_dtypes("number"), "Float64"))
    hashes = pd.util.hash_pandas_object(cells, index=False).to_numpy()
    return hashlib.sha256(hashes.tobytes()).hexdigest()


def measured(work: Any) -> dict[str, Any]:
    """``work`` answers a frame: seconds by the clock and of this process, its most memory, the fingerprint."""
    clock, processor = time.perf_counter(), time.process_time()
    answer = work()
    found = {"clock": time.perf_counter() - clock, "processor": time.process_time() - processor}
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    return {**found, "memory": most, "answer": fingerprint(answer)}


def whole(rows: int, asked: list[str] | None = None) -> dict[str, Any]:
    """`date_table` in this process."""
    frame = pieces(rows)
    date_table(frame.iloc[:100], as_of=AS_OF)
    return measured(lambda: date_table(frame, as_of=AS_OF, columns=asked))


def on_workers(rows: int, workers: int) -> dict[str, Any]:
    """`date_frame` on so many worker processes; their processor time and most memory together."""
    import dask
    import dask.dataframe as dd
    from distributed import Client, LocalCluster

    frame = pieces(rows)
    with (
        dask.config.set({"distributed.admin.large-graph-warning-threshold": "10GB"}),
        LocalCluster(
            n_workers=workers, threads_per_worker=1, host="127.0.0.1", dashboard_address=None
        ) as cluster,
        Client(cluster) as client,
    ):
        parts = client.persist(dd.from_pandas(frame, npartitions=PARTS))
        client.run(_warm)
        before = client.run(time.process_time)
        found = measured(lambda: date_frame(parts, as_of=AS_OF).compute())
        after = client.run(time.process_time)
        found["processor"] = sum(after[name] - before[name] for name in after)
        found["memory"] = sum(client.run(_most).values())
    return found


def _warm() -> None:
    date_table(pieces(100), as_of=AS_OF)


def _most() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def in_database(rows: int, threads: int) -> dict[str, Any]:
    """The recipe of `scarfdate.distributed`, as it stands there."""
    import duckdb
    import pyarrow

    from tests.distributed.recipes import recipe, run

    connection = duckdb.connect(config={"threads": threads})
    connection.register("pieces", pyarrow.Table.from_pandas(pieces(rows), preserve_index=False))
    connection.execute("CREATE TABLE stock AS SELECT * FROM pieces")
    date_table(pieces(100), as_of=AS_OF)

    def work() -> pd.DataFrame:
        last: Any = run(recipe("DuckDB"), connection=connection)["last"]
        answer = last.to_arrow_table().to_pandas()[ASKED]
        kinds = dict.fromkeys(ASKED[:3], "Int16") | {"edtf": pd.StringDtype("python")}
        return answer.astype(kinds)

    return measured(work)


def _in_a_process(call: str) -> dict[str, Any]:
    code = f"import json; from tests.benchmarks.distributed import *\nif __name__ == '__main__': print(json.dumps({call}))"
    told = subprocess.run([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, check=True,
                          cwd=Path(__file__).parents[2])  # fmt: skip
    return json.loads(told.stdout.splitlines()[-1])  # type: ignore[no-any-return]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=262_144, help="of the frame on the cluster")
    parser.add_argument("--database", type=int, default=1_000_000, help="rows in the database")
    parser.add_argument(
        "--keep", action="store_true", help="write tests/figures/growth/distributed.json"
    )
    asked = parser.parse_args()
    rows, many = asked.rows, asked.database
    works = {
        f"all columns of {rows:,} rows": {
            "date_table": f"whole({rows})",
            "date_frame, 1 worker": f"on_workers({rows}, 1)",
            "date_frame, 2 workers": f"on_workers({rows}, 2)",
        },
        f"{', '.join(ASKED)} of {many:,} rows": {
            "date_table": f"whole({many}, ASKED)",
            "in DuckDB, 1 thread": f"in_database({many}, 1)",
            "in DuckDB, 2 threads": f"in_database({many}, 2)",
        },
    }
    table: list[list[str]] = []
    for what, calls in works.items():
        found: dict[str, dict[str, Any]] = {}
        for name, call in calls.items():
            found[name] = one = _in_a_process(call)
            first = found["date_table"]
            count = (
                int(what.partition(" of ")[2].partition(" ")[0].replace(",", ""))
                if " of " in what
                else rows
            )
            line = [
                what, name, f"{one['clock']:.1f}", f"{one['processor']:.1f}",
                f"{one['processor'] / count * 1e6:.1f}", f"{first['clock'] / one['clock']:.2f}",
                f"{one['memory'] / 1e6:.0f}", "yes" if one["answer"] == first["answer"] else "NO",
            ]  # fmt: skip
            table.append(line)
            print(" | ".join(line), flush=True)
    if asked.keep:
        from tests.figures import GROWTH, keep

        keep(
            "distributed",
            folder=GROWTH,
            title="Many processes and a database",
            command=COMMAND,
            columns=[
                "what", "how", "clock, s", "processor, s", "processor, µs a row", "times as fast as date_table",
                "most memory, MB", "same to the bit",
            ],
            rows=table,
            notes=[
                f"On {os.cpu_count()} cores, where a cluster's scheduler and the process that gathers the answers want one, too; "
                "memory and processor time of a cluster are those of its workers together. A frame on a cluster has ids, "
                f"and is in {PARTS} partitions.",
            ],
        )  # fmt: skip


if __name__ == "__main__":
    main()
