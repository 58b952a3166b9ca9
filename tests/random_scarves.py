"""Scarves and tables drawn at random, for tests: anything that is allowed, likely or not."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path
from typing import Any

import numpy as np

from scarfdate.tables.priors import Priors, shipped_folder

WORDS_NOT_NUMBERS = {
    "mark",
    "basis",
    "source",
    "note",
    "grade",
    "market",
    "year",
    "method",
    "true",
    "given",
    "channel",
    "lag",
    "records",
}
# The tables that a dating multiplies; all others only say, choose or check.
DATED_BY = ("shares/", "confusion/", "measured/", "museum/shares/", "museum/measured/")
DATED_BY += ("museum/confusion/", "museum/year", "year_channel", "year_museum", "grades", "markets")
DATED_BY += ("lags", "lookback_", "revivals", "slips", "label_rules", "label_shown", "label_style")


def random_clues(priors: Priors, rng: np.random.Generator, as_of: int) -> dict[str, Any]:
    """Keywords of a scarf: words, parents, weights, methods, sizes, a maker, dated things."""
    seen: dict[str, Any] = {}
    methods: dict[str, str] = {}
    for name, family in priors.families.items():
        if family.kind != "shares" or rng.random() < 0.4:
            continue
        values = list(priors.vocabulary.values[name])
        parents = list(priors.vocabulary.parents[name])
        kind = rng.random()
        if kind < 0.25:
            words = rng.choice([*values, *parents], size=min(3, len(values)), replace=False)
            weights = rng.dirichlet(np.ones(len(words)))
            seen[name] = {str(word): float(w) for word, w in zip(words, weights, strict=True)}
        elif kind < 0.45 and parents:
            seen[name] = str(rng.choice(parents))
        else:
            seen[name] = str(rng.choice(values))
        if rng.random() < 0.5:
            methods[name] = str(rng.choice(sorted(priors.confusion[name].matrices)))
    if seen.get("label") == "none-seen":
        seen.pop("label_make", None)
    elif rng.random() < 0.5:
        seen["label_text"] = random_label(rng)
    if rng.random() < 0.6:
        seen["stitches_per_inch"] = float(rng.uniform(4, 28))
    if rng.random() < 0.6:
        seen["momme"] = float(rng.uniform(3, 60))
    if rng.random() < 0.7:
        seen["width_cm"] = float(rng.uniform(30, 180))
        if rng.random() < 0.8:
            seen["height_cm"] = float(rng.uniform(30, 100))
    if rng.random() < 0.4:
        names = list(priors.makers.names.values())
        seen["maker"] = str(rng.choice(names))
    if rng.random() < 0.4:
        seen["printed_year"] = int(rng.integers(1860, as_of + 1))
    if rng.random() < 0.4:
        seen["depicted_year"] = int(rng.integers(1700, as_of + 1))
        seen["depicted_announced"] = bool(rng.random() < 0.5)
    if rng.random() < 0.2:
        seen["acquired"] = int(rng.integers(1870, as_of + 1))
    elif rng.random() < 0.3:
        first = int(rng.integers(1860, as_of + 1))
        seen["known_from"], seen["known_to"] = first, first + int(rng.integers(0, 100))
        seen["known_by"] = str(rng.choice(sorted(priors.known_by)))
    if methods:
        seen["methods"] = methods
    return seen


LINES = (
    "QUORVELLE", "ALL SILK", "100% POLYESTER", "60% WOOL 40% NYLON", "MADE IN ITALY", "...DE IN JAP",
    "MADE IN OCCUPIED JAPAN", "RN 60000", "WPL 09000", "RN 01000", "CA 20000", "DRY CLEAN ONLY",
    "[wash 30] [iron]", "Reg. U.S. Pat. Off.", "© 1962 Quorvelle", "©", "NEW YORK 16, N.Y.",
    "NEW YORK, NY 10016-1234", "www.quorvelle.example", "100% SOIE / SILK", "HAND ROLLED", "[cut]",
    "CC41", "PURE DYE SILK", "100% VISCOSE", "Quorvelle S.r.l.", "MADE IN CHINA", "US ZONE GERMANY",
)  # fmt: skip


def random_label(rng: np.random.Generator) -> str:
    """A few lines of an invented label."""
    return "\n".join(rng.choice(LINES, size=int(rng.integers(1, 6)), replace=False))


def row_of(clues: dict[str, Any]) -> dict[str, Any]:
    """The same as cells of a frame."""
    row = {name: value for name, value in clues.items() if name != "methods"}
    return row | {f"{name}_method": how for name, how in clues.get("methods", {}).items()}


def perturbed(folder: Path, seed: int) -> Path:
    """A copy of the shipped tables with every number shaken, in ``folder``."""
    rng = np.random.default_rng(seed)
    target = folder / f"priors-{seed}"
    shutil.copytree(shipped_folder(), target)
    for path in sorted(target.rglob("*.csv")):
        name = path.relative_to(target).as_posix()
        if not name.startswith(DATED_BY):
            continue
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        if name == "label_rules.csv":  # its years stay in order; lags and shares are shaken
            for row in rows:
                for column in ("stock_lag", "before"):
                    if row[column]:
                        row[column] = repr(float(row[column]) * rng.uniform(0.5, 1.5))
        columns = [column for column in rows[0] if column not in WORDS_NOT_NUMBERS]
        if name == "label_rules.csv":
            columns = []
        own = name.removeprefix("museum/")
        summing = own.split("/")[0] in ("shares", "confusion") or name in (
            "grades.csv",
            "markets.csv",
        )
        for row in rows:
            if name == "slips.csv":
                row["rate"] = repr(float(row["rate"]) * rng.uniform(0.5, 2))
                continue
            numbers = np.array([float(row[column] or 0) for column in columns])
            if own.startswith("measured/"):
                numbers *= np.exp(rng.normal(0, 0.1, len(numbers)))
                numbers[1] = np.clip(numbers[1], 1.005, 3)
            else:
                numbers *= np.exp(rng.normal(0, 0.4, len(numbers)))
            if name in ("label_shown.csv", "label_style.csv"):
                numbers = np.minimum(numbers, 100)
            if "uncertainty" in columns:  # a factor up or down
                numbers[columns.index("uncertainty")] = max(
                    numbers[columns.index("uncertainty")], 1
                )
            if name == "revivals.csv":
                numbers = np.minimum(numbers, 60)
            if summing:
                numbers *= 100 / numbers.sum()
            row.update({column: repr(float(n)) for column, n in zip(columns, numbers, strict=True)})
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
    return target
