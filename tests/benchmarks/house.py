"""The house in numbers: sizes of modules, lines by room, and the walk of one value from both doors.

    python -m tests.benchmarks.house              # this checkout
    python -m tests.benchmarks.house OTHER        # another one beside it, such as an older commit

A walk: a piece with a hand-rolled hem and nothing else is dated, to its sentence, with tables that hold no
rows yet. The modules of the package at work are counted, and how often the work goes from one to another.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
from collections import Counter
from itertools import pairwise
from pathlib import Path
from types import FrameType
from typing import Any

LONGEST = 450


def sizes(package: Path) -> dict[str, int]:
    """Lines of every module, by its path within the package."""
    return {
        path.relative_to(package).as_posix(): len(path.read_text(encoding="utf-8").splitlines())
        for path in sorted(package.rglob("*.py"))
    }


def walk(package: str, run: Any) -> tuple[int, int]:
    """Modules at work while ``run`` runs, and how often the work goes from one to another."""
    visited: list[str] = []

    def watch(frame: FrameType, event: str, _: Any) -> None:
        at: FrameType | None = frame if event == "call" else frame.f_back
        if event in ("call", "return") and at is not None:
            name = at.f_code.co_filename
            if name.startswith(package) and name != visited[-1:]:
                visited.append(name)

    sys.setprofile(watch)
    try:
        run()
    finally:
        sys.setprofile(None)
    changes = sum(a != b for a, b in pairwise(visited))
    return len(set(visited)), changes


def walks() -> dict[str, tuple[int, int]]:
    """The walk of a hem from `date_scarf` and from `date_table` to the sentence."""
    from dataclasses import replace

    import pandas as pd

    import scarfdate

    package = str(Path(scarfdate.__file__).parent)
    found = {}
    seen = {"hem": "hand-rolled"}
    for door in ("date_scarf", "date_table"):
        priors = replace(scarfdate.load_priors(), _compiled={})
        scarfdate.date_scarf({"fibre": "wool"}, priors=priors, as_of=2026)  # imports are done

        def one(priors: Any = priors) -> str:
            scarf = scarfdate.Scarf(**seen, priors=priors)
            return scarfdate.date_scarf(scarf, priors=priors, as_of=2026).sentence

        def many(priors: Any = priors) -> object:
            return scarfdate.date_table(pd.DataFrame([seen]), priors=priors, as_of=2026)

        found[door] = walk(package, one if door == "date_scarf" else many)
    return found


def report(checkout: Path) -> None:
    """Print the house of a checkout."""
    lines = sizes(checkout / "scarfdate")
    modules = {name: n for name, n in lines.items() if not name.endswith("__init__.py")}
    rooms: Counter[str] = Counter()
    for name, n in lines.items():
        rooms[name.split("/")[0].removesuffix(".py") if "/" in name else "(top)"] += n
    print(f"{len(modules)} modules, {sum(lines.values()):,} lines in all")
    print(
        f"median {statistics.median(modules.values()):.0f} lines, longest {max(modules.values())}"
    )
    print("over", LONGEST, ":", ", ".join(n for n, k in modules.items() if k > LONGEST) or "none")
    for room, n in rooms.most_common():
        print(f"  {room:12} {n:6,}")
    code = "from tests.benchmarks.house import walks; print(walks())"
    here = Path(__file__).resolve().parents[2]
    ran = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path[:0] = [{str(checkout)!r}]; "
         f"sys.path.append({str(here)!r}); {code}"],
        capture_output=True, text=True, cwd=checkout, check=False,
    )  # fmt: skip
    print("walk of a hem (modules, changes of module):", ran.stdout.strip() or ran.stderr[-400:])


if __name__ == "__main__":
    for folder in [Path(__file__).resolve().parents[2], *map(Path, sys.argv[1:])]:
        print(f"== {folder.name}")
        report(folder)
