"""``python -m tests.fuzz --seconds 60`` (as CI does) or ``--minutes 60``: every target for its share of the time.

Half of the time goes to the six guided readers, half to the doors. Each target has a process of its own, so that what
it holds at most is its own. Exit code 1 where anything was found; the inputs lie in ``fuzz-crashes``.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import multiprocessing
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from tests.figures import keep
from tests.fuzz.guided import TARGETS
from tests.fuzz.oracle import Ask, Tally

ROOT = Path(__file__).parents[2]
WHEELS = ((3, 11), (3, 14))  # the first and the last Python that atheris has wheels for
LATE = 180  # seconds after its time in which a target has to end
COLUMNS = ("target", "inputs", "refused", "kinds of crash", "slowest ms", "s a MB", "most MB held")


def main(given: Sequence[str] | None = None) -> int:
    """Fuzz, print the table, and say where what was found was written."""
    read = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    time = read.add_mutually_exclusive_group(required=True)
    time.add_argument("--seconds", type=float, help="for all targets together")
    time.add_argument("--minutes", type=float)
    read.add_argument("--only", nargs="*", metavar="TARGET", help="these targets")
    read.add_argument("--first-seed", type=int, default=0, help="where the doors begin to draw")
    read.add_argument("--crashes", type=Path, default=Path("fuzz-crashes"))
    read.add_argument("--finds", type=Path, help="keep inputs that took a new branch there")
    read.add_argument("--keep", action="store_true", help="write the figures to tests/figures")
    how = read.parse_args(given)
    seconds = how.seconds or how.minutes * 60
    guided, note = _can_guide()
    from tests.fuzz.doors import DOORS

    names = [*(TARGETS if guided else ()), *DOORS]
    if how.only:
        unknown = set(how.only) - set(names)
        if unknown:
            read.error(
                f"no such target: {', '.join(sorted(unknown))}; there are {', '.join(names)}"
            )
        names = how.only
    halves = [[n for n in names if n in TARGETS], [n for n in names if n in DOORS]]
    found: dict[str, dict[str, Any]] = {}
    for part in halves:
        share = seconds / len(part) / (2 if all(halves) else 1) if part else 0
        for name in part:
            if name in DOORS:
                found[name] = _through_door(name, share, how.crashes, how.first_seed)
            else:
                found[name] = _guided(name, share, how.crashes, how.finds)
    rows = [row(name, one) for name, one in found.items()]
    processor = sum(one["processor"] for one in found.values())
    _print(rows, note, seconds)
    faults = [
        (name, kind, where) for name, one in found.items() for kind, where in one["faults"].items()
    ]
    for name, kind, where in faults:
        print(f"{name}: {kind}\n    {where}")
    if how.keep:
        _keep(rows, seconds, processor, note)
    return 1 if faults else 0


def _can_guide() -> tuple[bool, str]:
    """Whether atheris is there; where it could be and is not, that is an error, lest nobody notice."""
    if find_spec("atheris"):
        return True, ""
    if (
        WHEELS[0] <= sys.version_info[:2] <= WHEELS[1]
        and platform.machine() == "x86_64"
        and sys.platform == "linux"
    ):
        sys.exit('atheris is missing: pip install -e ".[fuzz]"')
    return (
        False,
        f"No wheel of atheris for Python {platform.python_version()} here: hypothesis alone.",
    )


def _through_door(name: str, seconds: float, crashes: Path, first: int) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        out = Path(folder) / "tally.json"
        child = multiprocessing.get_context("fork").Process(
            target=_door, args=(name, seconds, crashes.absolute(), first, out)
        )
        child.start()
        child.join(seconds + LATE)
        if child.is_alive():
            child.kill()
            child.join()
        return _tally(out, name)


def _door(name: str, seconds: float, crashes: Path, first: int, out: Path) -> None:
    from tests.fuzz.at_random import run
    from tests.fuzz.doors import DOORS

    ask = Ask(Tally(), folder=out.parent)
    run(DOORS[name], ask, seconds, crashes, first)
    out.write_text(ask.tally.as_json())


def _guided(name: str, seconds: float, crashes: Path, finds: Path | None) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        out = Path(folder) / "tally.json"
        new = Path(folder) / "finds" if finds is None else finds.absolute() / name
        command = [sys.executable, "-m", "tests.fuzz.guided", name, str(seconds)]
        command += map(str, (new, crashes.absolute(), out))
        with (Path(folder) / "log").open("w+") as log:
            with contextlib.suppress(subprocess.TimeoutExpired):  # what it left out says so
                subprocess.run(command, cwd=ROOT, stdout=log, stderr=log, timeout=seconds + LATE,
                               env=os.environ | {"TMPDIR": folder}, check=False)  # fmt: skip
            log.seek(0)
            return _tally(out, name, log.read()[-3_000:])


def _tally(out: Path, name: str, log: str = "") -> dict[str, Any]:
    """What a process told of itself; where it did not, that is a crash."""
    if out.is_file():
        return json.loads(out.read_text())  # type: ignore[no-any-return]
    faults = {f"{name} did not end, or was killed": log}
    return json.loads(Tally(faults=faults).as_json()) | {"memory": 0, "processor": 0}  # type: ignore[no-any-return]


def row(name: str, one: dict[str, Any]) -> list[str]:
    """One line of the table."""
    each = f"{one['per_megabyte']:.2f}" if one["per_megabyte"] else "none long"
    cells = (
        f"{one['inputs']:,}",
        f"{one['refused']:,}",
        f"{len(one['faults'])}",
        f"{one['slowest'] * 1000:.0f}",
        each,
    )
    return [f"{name} (guided)" if name in TARGETS else name, *cells, f"{one['memory']:.0f}"]


def _print(rows: list[list[str]], note: str, seconds: float) -> None:
    table = Table(*COLUMNS, title=f"Fuzzed for {seconds:.0f} s")
    for each in rows:
        table.add_row(*each)
    Console(width=110).print(table)
    if note:
        print(note)


def _keep(rows: list[list[str]], seconds: float, processor: float, note: str) -> None:
    inputs, refused = (sum(int(each[at].replace(",", "")) for each in rows) for at in (1, 2))
    keep(
        "fuzzing",
        title="Random and mutated inputs",
        command=f"python -m tests.fuzz --minutes {seconds / 60:.0f} --keep",
        columns=COLUMNS,
        rows=rows,
        notes=[
            f"{inputs:,} calls in {seconds / 60:.0f} minutes ({processor / 60:.0f} of processor time, for other work shared the "
            f"core), {refused:,} of them refused. Guided: "
            "by the branches that an input takes, through six readers; all others are drawn by hypothesis. Each target is "
            "a process of its own; what it holds at most includes the library, its tables and the fuzzer. Seconds a "
            "megabyte are of inputs of 50 kB and more, fixed costs of the call included.",
            *([note] if note else []),
        ],
    )


if __name__ == "__main__":
    sys.exit(main())
