"""How fast, in one run: ours, the plain reference, the peers, the limit of the machine, and the last release.

    python -m tests.benchmarks [--quick] [--old COMMIT] [--instructions]
    python -m tests.benchmarks NAME ...        # one of the benchmarks beside this file: growth, speed, beside, streaming, ...

Prints what `tests.benchmarks.speed` prints (the machine, the engine beside a bare gather of its rows, the table, peers,
sizes), how much slower `tests.reference` is, which is the same model in plain loops, labels a second, and this
checkout beside the last release, taking turns. The last release is the newest tag, or the commit that
`tests.benchmarks.beside` names while there is none. Instructions are counted by callgrind where it is installed.
"""

from __future__ import annotations

import argparse
import runpy
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
SCARVES = 3  # of which the reference dates one in about a second
COMPARED = ("engine", "date_scarf", "date_table", "read_label")


def reference(rounds: int) -> None:
    """The plain reference beside `date_scarf` and the engine, on the same pieces."""
    import numpy as np

    from scarfdate import Scarf, date_scarf, load_priors
    from scarfdate.model.model import compiled
    from scarfdate.model.posterior import posterior
    from tests.benchmarks.speed import AS_OF, encoded, pieces, side_by_side
    from tests.reference import Reference

    plain, frame = Reference(load_priors(), "thrift", AS_OF), pieces()
    model = compiled(load_priors(), "thrift", AS_OF)
    codes = encoded(model, frame)
    rows = frame.head(SCARVES).to_dict("records")
    scarves = [Scarf(**{n: c for n, c in row.items() if c == c and c is not None}) for row in rows]
    times = side_by_side(
        {
            "plain reference": lambda: [plain.date(scarf) for scarf in scarves],
            "date_scarf": lambda: [date_scarf(scarf, as_of=AS_OF) for scarf in scarves],
            "engine": lambda: posterior(model, codes),
        },
        rounds,
    )
    each = {
        name: found / (len(codes) if name == "engine" else SCARVES) for name, found in times.items()
    }
    print("\nbeside the plain reference, microseconds a piece (medians)")
    for name, found in each.items():
        ratio = np.median(each["plain reference"] / found)
        print(
            f"  {name:16} {1e6 * np.median(found):12.1f}   the reference takes {ratio:,.0f} times as long"
        )


def last_release() -> str:
    """The newest tag of this checkout, or "" while there is none."""
    command = ["git", "describe", "--tags", "--abbrev=0"]
    found = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return found.stdout.strip()


def beside(old: str, *how: str) -> None:
    """This checkout beside an older one."""
    command = [sys.executable, "-m", "tests.benchmarks.beside", *(["--old", old] if old else [])]
    subprocess.run([*command, *how, "--only", *COMPARED], cwd=ROOT, check=True)


def main() -> None:
    """Everything, or one of the benchmarks by its name."""
    names = {one.stem for one in Path(__file__).parent.glob("[a-z]*.py")}
    if sys.argv[1:] and sys.argv[1] in names:
        name = f"tests.benchmarks.{sys.argv.pop(1)}"
        runpy.run_module(name, run_name="__main__", alter_sys=True)
        return
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("--quick", action="store_true", help="fewer rounds, no million rows")
    parser.add_argument("--old", default=last_release(), help="a commit, or a folder")
    parser.add_argument("--instructions", action="store_true", help="counted, too, by callgrind")
    given = parser.parse_args()
    from tests.benchmarks import speed  # sets one thread before NumPy is loaded

    rounds = 5 if given.quick else 11
    model = speed.compiled(speed.load_priors(), "thrift", speed.AS_OF)
    speed.machine_limits()
    speed.ratios(model, rounds)
    speed.distinct(rounds)
    reference(2 if given.quick else 3)
    try:
        speed.peers(model, rounds)
    except ImportError as error:
        print(f"\npeers left out: {error}; pip install -e '.[peers]'")
    speed.sizes(given.quick)
    from tests.benchmarks import labels

    print()
    labels.report(labels.DATA)
    named = (
        f"the last release, {given.old}" if given.old else "an older commit (there is no tag yet)"
    )
    print(f"\nbeside {named}", flush=True)
    beside(given.old, "--rounds", "1" if given.quick else "3")
    if given.instructions:
        beside(given.old, "--instructions")


if __name__ == "__main__":
    main()
