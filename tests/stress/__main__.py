"""``python -m tests.stress [CASES]``: every relation of ``tests/relations.py`` on many cases, and threads, as a table.

Dear relations take a tenth of the cases. Rows about threads are those that ``python -m tests.stress.threads
tests/stress/threads.json`` left, run by each interpreter that is to be told of. The figures go to ``tests/figures``.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

from tests.figures import keep
from tests.relations import RELATIONS

CASES = 200
THREADS = Path(__file__).with_name("threads.json")


def main(cases: int) -> int:
    """Prints and keeps the table; gives how many relations do not hold."""
    rows, broken = [], 0
    for each in RELATIONS:
        many = max(cases // 10, 1) if each.dear else cases
        largest = max(each.largest(np.random.default_rng(seed)) for seed in range(many))
        broken += largest > each.bound
        bound = "to the bit" if each.bound == 0 else f"{each.bound:g}"
        rows.append([each.name, each.calls, many, f"{largest:.1e}" if largest else "none", bound])
        print("; ".join(map(str, rows[-1])), flush=True)
    notes = [
        f"Threads, Python {one['python']}: with its global lock {one['lock']}, eight threads while tables of rows fill "
        f"and start again give {'the answer of one to the bit' if one['same'] else 'ANOTHER ANSWER THAN ONE'}; two "
        f"threads take {one['ratio']:.2f} of the time of one for the same tables (`python -m tests.stress.threads`)."
        for one in (json.loads(THREADS.read_text("utf-8")) if THREADS.exists() else [])
    ]
    keep(
        "stress",
        title="What changes nothing about a piece changes nothing of its answer",
        command=f"python -m tests.stress {cases}",
        columns=["what is changed", "calls", "cases", "largest difference", "allowed"],
        rows=rows,
        notes=["\n\n".join(notes)] if notes else [],
    )
    return broken


if __name__ == "__main__":
    sys.exit(min(main(int(sys.argv[1]) if len(sys.argv) > 1 else CASES), 1))
