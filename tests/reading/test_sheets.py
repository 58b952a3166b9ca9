"""Ten sheets as ten people keep them, read and counted by hand.

The sheets (``sheets/*.csv``) were written before the vocabulary knew their words; each says in its
``.reading`` file who keeps it and how. That file is the hand count: what each cell means, clue by clue.
``a|b`` is one of several, ``~`` a doubt, ``!a`` anything but a, ``two`` two colours, ``some`` a label
of which nobody says whether it is whole. Clues of a row that are not listed say nothing.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from scarfdate import Priors, date_table, load_priors
from scarfdate.answer.frame import Columns
from scarfdate.clues.sides import DERIVED, SIZE, SidesOnSteps
from scarfdate.model.model import compiled
from scarfdate.reading.files import read_table
from scarfdate.tables.noted import plain_heading

SHEETS = Path(__file__).parent / "sheets"
NAMES = sorted(path.stem for path in SHEETS.glob("*.csv"))
UNITS = {"reseller": "in", "inherited": "in"}  # what their keepers say when asked
_NO_CLUE = (
    "prix d achat",
    "price",
    "ek",
    "cost",
    "shelf",
    "prezzo",
    "pagado",
    "bought for",
    "listed at",
    "estimate",
)
_SLACK = 0.025  # of a length: two sides are kept on steps of some per cent


def expected(name: str) -> list[dict[str, str]]:
    """The hand count of a sheet, row by row."""
    rows = []
    for line in (SHEETS / f"{name}.reading").read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            entries = line.partition(": ")[2].split("; ")
            rows.append(dict(entry.split("=", 1) for entry in entries))
    return rows


def seen_of(name: str, priors: Priors) -> tuple[list[dict[str, Any]], pd.DataFrame]:
    """What the reader saw, by row and family, and the dated table."""
    frame = read_table(SHEETS / f"{name}.csv")
    table = date_table(frame, priors=priors, unit=UNITS.get(name), as_of=2026)
    columns = Columns(
        compiled(priors, "thrift", 2026), frame, UNITS.get(name), strict=False, noted=True
    )
    rows: list[dict[str, Any]] = [{} for _ in range(len(frame))]

    seen = _watched(columns)
    for family, found in seen.items():
        for row, number in enumerate(found.numbers.tolist()):
            if found.values[number] is not None:
                rows[row][family] = found.values[number]
    return rows, table


def _watched(columns: Columns) -> dict[str, Any]:
    """What a block of all rows saw, by family, before it is weighed."""
    seen: dict[str, Any] = {}
    encode = columns._encode

    def watch(place: int, clue: Any, found: dict[str, Any], block: Any) -> Any:
        seen.clear()
        seen.update(found)
        return encode(place, clue, found, block)

    columns._encode = watch  # type: ignore[method-assign]
    columns.block(0, len(columns.frame))
    return seen


def is_right(priors: Priors, family: str, meant: str, seen: Any) -> bool:
    """Whether what was read is what was meant; a wider reading of several values is not wrong."""
    if family == SIZE:
        if isinstance(seen, SidesOnSteps):
            length, ratio = (priors.families[name].step for name in DERIVED)
            sides = [length**seen.long_side, length**seen.long_side / ratio**seen.slenderness]
        else:
            sides = [side for side in (seen.width, seen.height) if side is not None]
        wanted = [float(side) for side in meant.split("x")]
        return len(sides) == len(wanted) and all(
            abs(a / b - 1) < _SLACK for a, b in zip(sorted(sides), sorted(wanted), strict=True)
        )
    if family == "label_text":
        return meant in seen.text
    if family.endswith("_year"):
        return str(seen.year) == meant
    doubted = meant.rstrip("?").endswith("~")
    open_to_doubt = meant.endswith("?")
    meant = meant.rstrip("~?")
    vocabulary = priors.vocabulary
    weights: dict[str, float] = {}
    for word, weight in seen.terms:
        children = vocabulary.children(family, word)
        for value in children:
            weights[value] = weights.get(value, 0.0) + weight
    most = max(weights.values())
    leading = {value for value, weight in weights.items() if weight > most / 2}
    rest = {value for value in weights if value not in leading}
    if meant == "two":
        return len(leading) > 2 and "multicolour" in leading
    if meant == "some":
        return leading == {"cut-or-fragment", "intact"}
    if meant.startswith("!"):
        return leading == set(vocabulary.values[family]) - {meant[1:]}
    wanted = set(meant.split("|"))
    if not open_to_doubt and bool(rest) != doubted:
        return False
    return leading >= wanted and len(leading) <= max(len(wanted) + 2, 2)


@pytest.fixture(scope="module")
def priors() -> Priors:
    return load_priors()


@pytest.fixture(scope="module")
def read(priors: Priors) -> dict[str, tuple[list[dict[str, Any]], pd.DataFrame]]:
    return {name: seen_of(name, priors) for name in NAMES}


def counted(
    priors: Priors, read: dict[str, tuple[list[dict[str, Any]], pd.DataFrame]]
) -> tuple[int, int, list[str], list[str]]:
    """Clues meant, clues understood, those wrongly understood, and rows with less than half of theirs."""
    meant = understood = 0
    wrong, poor = [], []
    for name in NAMES:
        rows, _ = read[name]
        hand = expected(name)
        assert len(rows) == len(hand), name
        for number, (seen, row) in enumerate(zip(rows, hand, strict=True), 1):
            row = {family: text for family, text in row.items() if family != "fibre_method"}
            meant += len(row)
            good = 0
            for family, found in seen.items():
                # what the text of a label tells of other families is read from the label
                told = ("fibre", "origin", "label")
                if family in told and family not in row and "label_text" in row:
                    continue
                understood += 1
                if family in row and is_right(priors, family, row[family], found):
                    good += 1
                else:
                    wrong.append(f"{name} {number}: {family} {row.get(family)} read as {found}")
            if 2 * good < len(row):
                poor.append(f"{name} {number}: {good} of {len(row)}")
    return meant, understood, wrong, poor


def test_nine_rows_in_ten_are_dated_from_half_of_what_was_noted(priors: Priors, read: Any) -> None:
    meant, _, _, poor = counted(priors, read)
    rows = sum(len(found) for found, _ in read.values())
    assert rows == 101
    assert meant > 800
    assert len(poor) <= rows / 10, poor
    for _, table in read.values():
        assert table["year_from"].notna().all()


def test_what_was_understood_is_right(priors: Priors, read: Any) -> None:
    """Of all clues read, those that mean what the hand count says: 842 of 843 when this was written."""
    _, understood, wrong, _ = counted(priors, read)
    assert understood > 800
    assert len(wrong) <= 0.03 * understood, wrong


def test_what_was_not_read_is_named(priors: Priors, read: Any) -> None:
    for name in NAMES:
        rows, table = read[name]
        for row, (seen, hand) in enumerate(zip(rows, expected(name), strict=True)):
            lost = [f for f in hand if f not in seen and f != "fibre_method"]
            for family in lost:
                told = table["not_read"].iloc[row]
                assert isinstance(told, str), (name, row, family)
                assert re.search(rf"\b{family}\b", told), (name, row, family, told)


def test_no_column_of_a_clue_is_left_unused(read: Any) -> None:
    for name, (_, table) in read.items():
        for heading in table.attrs["not_used"]:
            assert plain_heading(heading) in _NO_CLUE, (name, heading)
