"""Priors folders with families of one's own, made for tests: the numbers are invented."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Sequence
from pathlib import Path

from scarfdate import Priors, load_priors
from scarfdate.tables.priors import shipped_folder

_BASIS = {"basis": "common practice", "source": "", "note": "invented for a test"}


def add_rows(folder: Path, name: str, rows: Sequence[dict[str, str]]) -> None:
    """Rows at the end of a file; what a row does not say is blank."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    before: list[dict[str, str]] = []
    if not path.exists() and (shipped_folder() / name).exists():
        shutil.copy(shipped_folder() / name, path)
    if path.exists():
        with path.open(encoding="utf-8", newline="") as file:
            before = list(csv.DictReader(file))
    header = list(before[0]) if before else list(dict.fromkeys(c for row in rows for c in row))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, header, restval="", extrasaction="ignore")
        writer.writeheader()
        writer.writerows([*before, *rows])


def add_column(folder: Path, name: str, column: str, like: str) -> None:
    """One more column of a file, the same as another one."""
    with (shipped_folder() / name).open(encoding="utf-8", newline="") as file:
        rows = [{**row, column: row[like]} for row in csv.DictReader(file)]
    (folder / name).unlink(missing_ok=True)
    with (folder / name).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def add_copies(folder: Path, name: str, column: str, like: str, new: str) -> None:
    """The rows of a file that have ``like`` in a column, once more for ``new``."""
    with (shipped_folder() / name).open(encoding="utf-8", newline="") as file:
        rows = [row | {column: new} for row in csv.DictReader(file) if row[column] == like]
    assert rows
    add_rows(folder, name, rows)


def family(name: str, kind: str, **more: str) -> dict[str, str]:
    """A row of ``families.csv``."""
    return {"family": name, "kind": kind, "reads": "making", "name": name.replace("_", " "),
            "worth": "20", **_BASIS, **more}  # fmt: skip


def slip(name: str) -> dict[str, str]:
    """A row of ``slips.csv``."""
    return {"family": name, "rate": "2", "altered": "0", **_BASIS}


def with_own_families(folder: Path) -> Priors:
    """A second dated family, a second measured one, and one of shares with values of its own."""
    dated = {
        "unit": "year",
        "low": "1700",
        "high": "2199",
        "usual_low": "1880",
        "usual_high": "2199",
    }
    measured = {"parent": "fibre", "unit": "g", "low": "1", "high": "2000", "usual_low": "5",
                "usual_high": "900", "step": "1.03"}  # fmt: skip
    add_rows(folder, "families.csv", [
        family("woven_year", "dated", **dated), family("weight_grams", "measured", **measured),
        family("backing", "shares"),
    ])  # fmt: skip
    add_rows(folder, "slips.csv", [slip(n) for n in ("weight_grams", "backing")])
    add_column(folder, "lags.csv", "woven_year", "printed_year")
    for name in ("reissue.csv", "slips.csv"):
        add_copies(folder, name, "family", "printed_year", "woven_year")
    add_rows(folder, "vocabulary.csv", [
        {"family": "backing", "word": "paper-card", "reading": "value", "means": "glued to a card"},
        {"family": "backing", "word": "net", "reading": "value", "means": "sewn to net"},
        {"family": "backing", "word": "card", "reading": "synonym", "means": "paper-card"},
        {"family": "fibre", "word": "milkdown", "reading": "synonym", "means": "acrylic"},
    ])  # fmt: skip
    add_rows(folder, "shares/backing.csv", [
        {"year": "1880", "grade": "any", "paper-card": "90", "net": "10", **_BASIS},
        {"year": "1950", "grade": "any", "paper-card": "20", "net": "80", **_BASIS},
    ])  # fmt: skip
    add_rows(folder, "measured/weight_grams.csv", [
        {"year": "1880", "grade": "any", "given": "any", "median": "60", "spread": "1.5", **_BASIS},
        {"year": "1960", "grade": "any", "given": "any", "median": "30", "spread": "1.5", **_BASIS},
    ])  # fmt: skip
    return load_priors(folder)
