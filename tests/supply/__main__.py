"""``python -m tests.supply``: everything about what scarfdate is built from and into, or the part that is named.

lock          locks/ anew, at the newest releases that pyproject allows
dependencies  DEPENDENCIES.md anew: licences and days of release of what is locked
audit         known weaknesses of what is locked, where an index of advisories can be reached
build         dist/: wheel and sdist, built twice, looked into, tried in empty environments; a bill of materials

Nothing named is audit and build; with --keep their figures go to tests/figures.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests import figures
from tests.supply import ROOT, advisories, builds, dependencies, locks, run, wheel

DIST = ROOT / "dist"
Row = tuple[str, str]


def audit() -> list[Row]:
    """Advisories for what is locked."""
    found = advisories.advisories()
    if found is None:
        return [
            (
                "advisories",
                f"no index of advisories can be reached here; where one can: `{advisories.COMMAND}`",
            )
        ]
    return [("advisories for locked releases", "none" if not found else "; ".join(found))]


def build(interpreters: list[str]) -> list[Row]:
    """``dist/`` anew, and what was seen of it. Ends the program where something is not as it must be."""
    rows = []
    shutil.rmtree(DIST, ignore_errors=True)
    DIST.mkdir()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first, differ = builds.twice(folder)
        for one, content in first.items():
            (DIST / one).write_bytes(content)
            rows.append((one, f"{len(content):,} bytes"))
        wrong = [*differ, *builds.looked_into(DIST)]
        rows.append(
            (
                "built twice (other folder, order, times, umask), and the wheel from the sdist",
                "the same bytes" if not differ else "; ".join(differ),
            )
        )
        run("python", "-m", "twine", "check", "--strict", *(DIST / one for one in first))
        rows.append(("twine check --strict", "passed"))
        made = next(DIST.glob("*.whl"))
        for at, interpreter in enumerate(interpreters):
            python = wheel.environment(folder / f"bare{at}", made, interpreter)
            version = wheel.tried(python)
            rows.append(
                (
                    f"the wheel alone with the locked libraries, Python {version}",
                    "dates as its source does, to the bit",
                )
            )
            bills = [
                DIST
                / f"{made.stem.partition('-py3')[0]}-python{version.rpartition('.')[0]}.cdx.json",
                folder / "again.json",
            ]
            parts, _ = (wheel.materials(python, bill) for bill in bills)
            if bills[0].read_bytes() != bills[1].read_bytes():
                wrong.append(f"{bills[0].name} differs when it is made again")
            wrong += wheel.unlike_the_lock(parts, version)
            rows.append((bills[0].name, f"{len(parts)} components, as locked; valid CycloneDX"))
    if wrong:
        sys.exit("\n".join(wrong))
    return rows


def locked() -> list[Row]:
    """The locks and the table of dependencies in a few numbers."""
    held, table = locks.pins(), dependencies.read()
    counted = Counter(layer for layer, _ in {(one.layer, one.name) for one in held})
    oldest = min(
        (row["last release"][:10], row["library"])
        for row in table
        if row["needed for"].startswith("run")
    )
    return [
        ("libraries locked, each release by its hashes", ", ".join(f"{layer} {counted[layer]}" for layer in locks.LAYERS)),
        ("out of date against pyproject.toml", "; ".join(locks.faults()) or "nothing"),
        ("licences", f"{sum(not dependencies.doubtful(row['licence']) for row in table)} of {len(table)} permissive; "
                     f"{len(dependencies.REASONS)} others, each with its reason; {sum(row['licence'] == dependencies.NOT_HERE for row in table)} for other systems, not read (DEPENDENCIES.md)"),
        ("longest without a release, of what the package runs on", f"{oldest[1]}, {oldest[0]}"),
    ]  # fmt: skip


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.supply", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("part", nargs="?", choices=["lock", "dependencies", "audit", "build"])
    parser.add_argument(
        "--python", action="append", help="an interpreter to try the wheel with; may be said again"
    )
    parser.add_argument("--keep", action="store_true", help="write the figures to tests/figures")
    said = parser.parse_args()
    if said.part == "lock":
        locks.make()
    elif said.part == "dependencies":
        dependencies.make()
    else:
        rows = [] if said.part else locked()
        rows += audit() if said.part != "build" else []
        rows += build(said.python or [sys.executable]) if said.part != "audit" else []
        for what, seen in rows:
            print(f"{what}: {seen}")
        if said.keep:
            figures.keep("supply", title="Supply chain", command="python -m tests.supply --python python3.11 --python python3.13 --keep",
                         columns=("what", "seen"), rows=rows)  # fmt: skip


if __name__ == "__main__":
    main()
