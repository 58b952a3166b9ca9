"""``python -m tests.attack [--keep] [--quick]``: every view, writer and bomb once, as a table; minutes.

``--quick`` leaves out what takes long: three views (pocket card, slopes, tables compared) and the bombs marked slow.

Memory and time are those of one process that reads one bomb; processor time, so that other work does not count.
"""

from __future__ import annotations

import json
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.attack.bombs import BOMBS
from tests.attack.measured import cost, size_of
from tests.attack.test_formulas import FORMULAS, NUMBER, RUNS, WRITERS, cells_of
from tests.attack.views import MAKE, tried
from tests.figures import keep

QUICK = "--quick" in sys.argv
HEAVY = ("PocketCard", "Slopes", "TablesCompared")
COLUMNS = ("attack", "tried", "got through", "seconds", "MB of file", "MB of memory at most")


def views() -> list[object]:
    """All views together."""
    names = [name for name in MAKE if not QUICK or name not in HEAVY]
    found = []
    for name in names:
        found += tried(name)
        print(f"{name}: {found[-1].added or 'nothing added'}", file=sys.stderr, flush=True)
    times, added = sum(one.times for one in found), sum(len(one.added) for one in found)
    typeset = sum(one.how != "html" and bool({*"$\\"} & {*one.typeset}) for one in found)
    return [
        f"{len(found)} views, pages, cards, drawings",
        f"{times} hostile texts shown",
        added + typeset,
        "",
        "",
        "",
    ]


def writers() -> list[object]:
    """All writers of CSV and of spreadsheets together."""
    cells, ran, files = 0, 0, 0
    for kinds in WRITERS.values():
        for write in kinds.values():
            with TemporaryDirectory() as folder:
                for path in write(Path(folder)):
                    found = cells_of(path)
                    files, cells = files + 1, cells + len(found)
                    ran += sum(bool(RUNS.match(one)) and not NUMBER.fullmatch(one) for one in found)
    return [
        f"{files} files of cells, {len(FORMULAS)} formulas",
        f"{cells} cells of CSV read",
        ran,
        "",
        "",
        "",
    ]


def bombs() -> list[list[object]]:
    """Each kind of bomb: the dearest of it."""
    kinds: dict[str, list[tuple[str, float, int, int]]] = {}
    for name, bomb in BOMBS.items():
        if QUICK and bomb.slow:
            continue
        with TemporaryDirectory() as folder:
            path = Path(folder) / f"bomb{bomb.ending}"
            bomb.make(path)
            size, found = size_of(path), cost(name, path)
        right = found.ended == "refused" or (bomb.fine and found.ended == "read")
        print(
            f"{name}: {found.ended}, {found.seconds:.2f} s, {found.peak / 2**20:.0f} MB",
            file=sys.stderr,
            flush=True,
        )
        kinds.setdefault(bomb.kind, []).append((right, found.seconds, size, found.peak))
    return [
        [kind, f"{len(each)} files", sum(not right for right, *_ in each), f"{max(one[1] for one in each):.2f}",
         f"{max(one[2] for one in each) / 2**20:.1f}", f"{max(one[3] for one in each) / 2**20:.0f}"]
        for kind, each in kinds.items()
    ]  # fmt: skip


def in_a_child(what: str) -> list[object]:
    """One row, made by a process of its own."""
    code = (
        f"import json, sys; from tests.attack import __main__ as m; print(json.dumps(m.{what}()))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, *sys.argv[1:]], capture_output=True, text=True, check=True
    )
    return json.loads(run.stdout.splitlines()[-1])  # type: ignore[no-any-return]


def main() -> None:
    with (
        ThreadPoolExecutor() as pool
    ):  # beside each other: what is measured has processes of its own
        seen, written = pool.submit(in_a_child, "views"), pool.submit(in_a_child, "writers")
        rows = [*bombs()]
    rows = [seen.result(), written.result(), *rows]
    for row in (COLUMNS, *rows):
        print(" | ".join(map(str, row)))
    if "--keep" in sys.argv:
        keep(
            "attack",
            title="Input as attack",
            command=" ".join(["python -m tests.attack", *sys.argv[1:]]),
            columns=COLUMNS,
            rows=rows,
            notes=[
                "Each bomb is read by a process of its own that may ask for 1 GB more than it has loaded; of each kind the "
                "longest time, the largest file and the most memory, which need not be of one file. Got through: an "
                "element or attribute that a text made, a cell that is a formula, a file that was neither refused nor "
                "read in bounds.",
                *(
                    [
                        "Left out: the pocket card, the slopes, two tables compared; bombs that take long to make."
                    ]
                    if QUICK
                    else []
                ),
            ],
        )


if __name__ == "__main__":
    main()
