"""How many labels a second are read.

    python -m tests.benchmarks.labels [LABELS.csv]

The labels of the file (invented; ``data/labels.csv``), each read once a round; the median of the rounds,
beside a round that only cuts the same texts into words by a regular expression, as a measure of the
machine. 20,000 a second are wanted.
"""

from __future__ import annotations

import csv
import re
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from scarfdate import load_priors, read_label

ROUNDS = 15
DATA = Path(__file__).parents[2] / "data" / "labels.csv"


def seconds(run: Callable[[str], object], texts: list[str]) -> float:
    """Median seconds of a round over all texts."""
    found = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        for text in texts:
            run(text)
        found.append(time.perf_counter() - start)
    return median(found)


def report(path: Path) -> None:
    """Print one line."""
    with path.open(encoding="utf-8", newline="") as file:
        texts = [row["text"] for row in csv.DictReader(file)]
    priors = load_priors()
    words = re.compile(r"\w+")
    read = seconds(lambda text: read_label(text, priors=priors), texts)
    cut = seconds(words.findall, texts)
    letters = sum(map(len, texts)) / len(texts)
    print(
        f"{len(texts)} different labels of {letters:.0f} characters on average: "
        f"{len(texts) / read:,.0f} a second ({1e6 * read / len(texts):.0f} us each), "
        f"{read / cut:.0f} times cutting them into words"
    )


if __name__ == "__main__":
    report(Path(sys.argv[1]) if len(sys.argv) > 1 else DATA)
