"""A sorting table for tests, in a folder of its own, and the demo's pieces as keys."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from pathlib import Path

from scarfdate import Screen, Sorting

NOW = 2026
LARGE = Path(__file__).parents[2] / "data" / "stock.csv"


def table(folder: Path, name: str = "stock.csv", **more: object) -> Sorting:
    return Sorting(folder / name, as_of=NOW, **more)  # type: ignore[arg-type]


def play(sorting: Sorting, keys: Iterable[str]) -> Screen:
    """Play one key after another; a text is its letters, a name of a key stands between < and >."""
    screen = sorting.screen()
    for key in keys:
        screen = sorting.press(key)
    return screen


def keys(text: str) -> list[str]:
    """ "fs<Enter>" as the keys f, s, Enter."""
    found, rest = [], text
    while rest:
        if rest[0] == "<" and ">" in rest:
            name, _, rest = rest[1:].partition(">")
            found.append(name)
        else:
            found, rest = [*found, rest[0]], rest[1:]
    return found


def rows(path: Path) -> list[dict[str, str]]:
    """The rows of a sheet with their cells that are not blank."""
    with path.open(encoding="utf-8", newline="") as stream:
        return [{n: c for n, c in row.items() if c} for row in csv.DictReader(stream)]
