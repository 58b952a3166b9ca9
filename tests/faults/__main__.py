"""``python -m tests.faults``: every scenario through every fault, with 100 kills at random moments of each.

Prints a table and exits with 1 where anything was neither the old nor the new. ``--kills`` and ``--only`` make it
shorter; ``--keep`` keeps the figures. A real full disk and a folder without rights are tried as root, in places of
their own.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import zlib

os.environ.setdefault("OMP_NUM_THREADS", "1")

from tests.faults.door import writers
from tests.faults.faults import Tally, comma_locale, in_a_folder, other_names
from tests.faults.scenarios import SCENARIOS, Scenario, warm
from tests.figures import keep

COLUMNS = ("scenario", "trials", "kills", "while it wrote", "old", "new", "half", "parts until the next write", "rubbish after it")  # fmt: skip
_SEED = 17
_STEPS = 24  # of one call, evenly chosen where there are more


def through(scenario: Scenario, kills: int) -> tuple[str, Tally, list[str]]:
    """One scenario; what could not be tried here comes with it."""
    left_out = []
    with in_a_folder(scenario) as one:
        one.killed_at_steps(_STEPS)
        one.killed_at_random(kills, _SEED + zlib.crc32(scenario.name.encode()))
        one.fails_at_steps(_STEPS)
        one.full_disk()
        if not one.really_full_disk():
            left_out.append("a real full disk")
        for way in (
            one.without_rights,
            one.other_things,
            one.inputs_vanish,
            one.two_at_once,
            one.clock,
        ):
            way()
        with comma_locale() as made:
            if made is None:
                left_out.append("decimal commas")
            else:
                one.commas(*made)
        for way in (one.ascii_only, one.full_output, one.line_ends):
            way()
        other_names(scenario, one.tally)
        return scenario.name, one.tally, left_out


def _one(task: tuple[str, int]) -> tuple[str, Tally, list[str]]:
    name, kills = task
    found = through(next(one for one in SCENARIOS if one.name == name), kills)
    print(f"{name}: {len(found[1].wrong)} wrong", file=sys.stderr, flush=True)
    return found


def main() -> int:
    """Run them; 1 where something is wrong."""
    asked = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    asked.add_argument("--kills", type=int, default=100, help="at random moments")
    asked.add_argument("--processes", type=int, default=os.cpu_count())
    asked.add_argument("--only", action="append", help="this scenario; may be repeated")
    asked.add_argument("--keep", action="store_true", help="keep the figures")
    given = asked.parse_args()
    warm()
    chosen = [one for one in SCENARIOS if not given.only or one.name in given.only]
    tasks = [(one.name, given.kills) for one in chosen]
    with multiprocessing.get_context("fork").Pool(given.processes) as pool:
        done = {name: (tally, left) for name, tally, left in pool.imap_unordered(_one, tasks, 1)}
    tallies = {one.name: done[one.name][0] for one in chosen}
    rows = [(name, *_cells(tally)) for name, tally in tallies.items()]
    rows.append(("all", *(sum(int(row[at]) for row in rows) for at in range(1, len(COLUMNS)))))
    wide = max(len(str(row[0])) for row in rows)
    print(" | ".join(COLUMNS))
    for row in rows:
        print(f"{row[0]:<{wide}}", *(f"{cell:>7}" for cell in row[1:]))
    wrong = [one for tally in tallies.values() for one in tally.wrong]
    print(*wrong, sep="\n")
    left_out = sorted({one for _, left in done.values() for one in left})
    notes = [
        f"{len(writers())} commands and calls that write, found from the code, in {len(SCENARIOS)} scenarios. Kills: before each "
        f"step on the disk (of more than {_STEPS}, evenly chosen ones), and at {given.kills} random moments, half of the whole "
        "call by SIGKILL, half from when it first writes by a signal that no program hears. A part that a "
        "killed writer leaves is swept by the next one that writes into the folder.",
        "Other trials: no room at each step, a bound on the size of files, a disk that is full, a folder without rights, a folder, a "
        "link, a link to nothing, a pipe and a device where it is to be written, each file that is read vanishing or cut in half as "
        "it is opened, two at once, a clock of 1970, decimal commas, an ASCII terminal, output to a full disk, Windows line ends, "
        "seven names of folders.",
        "Put in place of long work, so that kills fall on the rest: "
        + ", ".join(f"{one.told} ({one.name})" for one in chosen if one.told) + ".",
        *([f"Not tried here: {', '.join(left_out)}."] if left_out else []),
        f"Wrong: {len(wrong)}.",
    ]  # fmt: skip
    if given.keep:
        keep(
            "faults", title="Faults while it writes", command=f"python -m tests.faults --kills {given.kills} --keep",
            columns=COLUMNS, rows=rows, notes=notes,
        )  # fmt: skip
    return bool(wrong)


def _cells(tally: Tally) -> tuple[int, ...]:
    return (
        tally.faults,
        tally.kills,
        tally.inside,
        tally.old,
        tally.new,
        tally.half,
        tally.left,
        tally.rubbish,
    )


if __name__ == "__main__":
    raise SystemExit(main())
