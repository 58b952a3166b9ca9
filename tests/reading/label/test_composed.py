"""Composed labels of all decades and markets, with the range that their wording allows.

Source: ``composed.csv``; each row names the dated facts (``facts/facts.csv`` beside the project), laws or number
tables that its range is from. The ranges were written before the tables were tuned.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from scarfdate import Scarf, date_scarf

FILE = Path(__file__).parent / "composed.csv"
LEAST, INSIDE = 60, 0.5
AMONG = 0.9  # of the labels


@pytest.fixture(scope="module")
def rows() -> list[dict[str, str]]:
    with FILE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def share_inside(row: dict[str, str]) -> float:
    """P(made in the range that the wording allows), thrift."""
    dating = date_scarf(Scarf(label_text=row["text"]), channel="thrift", as_of=2026)
    return dating.between(int(row["earliest"]), int(row["latest"]))


def test_labels_are_of_all_decades_and_markets(rows: list[dict[str, str]]) -> None:
    assert len(rows) >= LEAST
    assert {row["market"] for row in rows} >= {"us", "canada", "europe", "elsewhere"}
    for decade in range(1900, 2030, 10):
        assert [r for r in rows if int(r["earliest"]) < decade + 10 and int(r["latest"]) >= decade]


def test_half_the_answer_or_more_lies_in_the_range_on_nine_in_ten(
    rows: list[dict[str, str]],
) -> None:
    outside = []
    for row in rows:
        share = share_inside(row)
        if share < INSIDE:
            told = " / ".join(row["text"].splitlines())
            outside.append(f"{share:.2f} in {row['earliest']}-{row['latest']}: {told}")
    print("\n".join(outside))
    assert len(outside) <= (1 - AMONG) * len(rows), "\n".join(outside)
