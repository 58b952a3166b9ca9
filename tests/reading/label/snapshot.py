"""For each mark and market the earliest, the usual and the latest year, in one file.

    python -m tests.reading.label.snapshot tests/reading/label/years.csv

The first three are the bounds of the rules. ``earliest`` and ``latest`` are what the likelihood makes of
them: the first year in which the mark can be there at all (more than a misreading), and the last in
which it has half of its usual level or more; blank where there is no end.
"""

from __future__ import annotations

import csv
import io
import math
import sys
from pathlib import Path

import numpy as np

from scarfdate import load_priors
from scarfdate.clues.label import LabelClue
from scarfdate.conventions import FIRST_YEAR, MARKETS

RULED = ("not_before", "usual", "until")
WEIGHED = ("earliest", "latest")
YEARS = np.arange(FIRST_YEAR, 2027)
NUMBERS = {
    "rn": ("13670", "25000", "60000", "90000", "110000", "130000", "fur 2000"),
    "wpl": ("200", "9000"),
}


def snapshot() -> str:
    priors = load_priors()
    clue = LabelClue(priors, "label_text", YEARS)
    rules = [rule for rule in priors.label.rules if rule.role == "bound"]
    keys = {
        (r.mark, r.value) for r in rules if r.mark not in NUMBERS and r.mark != "copyright-year"
    }
    keys |= {(mark, number) for mark, numbers in NUMBERS.items() for number in numbers}
    keys |= {("copyright-year", "1962"), ("origin", "switzerland")}
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["mark", "value", "market", *RULED, *WEIGHED])
    for mark, value in sorted(keys):
        rows = []
        for place, market in enumerate(MARKETS):
            found = [r for r in priors.label.set_off(mark, value, market) if r.role == "bound"]
            ruled = [
                best([getattr(rule, name) for rule in found])
                for best, name in zip(BEST, RULED, strict=True)
            ]
            rows.append(
                (
                    market,
                    *ruled,
                    *weighed(clue.chances.window(mark, value)[place], clue.chances.misread),
                )
            )
        alike = len({row[1:] for row in rows}) == 1
        for row in rows[:1] if alike else rows:
            writer.writerow([mark, value, "any" if alike else row[0], *row[1:]])
    return text.getvalue()


def latest_of(years: list[float]) -> str:
    known = [year for year in years if not math.isnan(year)]
    return f"{max(known):.0f}" if known else ""


def earliest_of(years: list[float]) -> str:
    known = [year for year in years if not math.isnan(year)]
    return f"{min(known):.0f}" if known else ""


BEST = (latest_of, latest_of, earliest_of)


def weighed(window: np.ndarray, misread: float) -> tuple[str, str]:
    can, half = window > 2 * misread, window >= 0.5 * window.max()
    first, last = YEARS[can][0], YEARS[half][-1]
    return ("" if first == YEARS[0] else str(first)), ("" if last == YEARS[-1] else str(last))


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(snapshot(), encoding="utf-8")
