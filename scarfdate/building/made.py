"""What the files are made of, and how their rows are written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.clue_tables import ClueTables, RecordLikelihoods
from scarfdate.building.combined import Borrowing
from scarfdate.building.record_clues import RecordClues
from scarfdate.building.sources import Sources
from scarfdate.building.trade import Trade
from scarfdate.building.year import MuseumYears
from scarfdate.conventions import Array
from scarfdate.files import csv_bytes, safe_cell
from scarfdate.model.model import Model
from scarfdate.records.arrays import Records
from scarfdate.tables.priors import Priors

SIZE, SIZED = "long_side", "form"
Row = Mapping[str, object]
Years = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Made:
    """Everything the tables are made of.

    ``likelihoods``: of all records, those alike as one; ``like`` (n,): 1.0 for scarf-like ones, 0.0 for the
    others. ``everything``: clue tables from all of them; ``scarves`` from scarf-like ones alone. ``source`` stands in every row from museums.
    """

    records: Records
    years: MuseumYears
    model: Model
    expert: Priors
    record_clues: RecordClues
    likelihoods: RecordLikelihoods
    like: Array
    everything: ClueTables
    scarves: ClueTables
    borrowed: Mapping[str, Borrowing]
    sources: Sources
    trade: Trade | None
    source: str

    def grades(self, channel: str) -> Array:
        """P(grade | year) in a channel, (grades, years)."""
        century = self.expert.century
        return century.grades.shares_of(century.channel(channel).grades, self.years.years)


def percent(shares: Array) -> list[str]:
    """Shares in per cent to four figures; the largest takes up what rounding left."""
    texts = [f"{100 * share:.4g}" if share > 0 else "0" for share in shares]
    rounded = np.array([float(text) for text in texts])
    largest = int(rounded.argmax())
    texts[largest] = f"{rounded[largest] + 100 - rounded.sum():.4f}".rstrip("0").rstrip(".")
    return [_plain(text) for text in texts]


def _plain(text: str) -> str:
    """A number without an exponent: people edit these files."""
    return f"{float(text):.10f}".rstrip("0").rstrip(".") if "e" in text else text


def museum_csv(made: Made, rows: Iterable[Row], note: str = "") -> bytes:
    """Rows of what museums record, with their basis and source; a reader needs the note once."""
    last = {"basis": "museum", "source": safe_cell(made.source)}
    return rows_csv(
        [{**row, **last, "note": "" if place else note} for place, row in enumerate(rows)]
    )


def rows_csv(rows: Sequence[Row]) -> bytes:
    """Rows of the same columns as a CSV file."""
    return csv_bytes([list(rows[0]), *(list(row.values()) for row in rows)])
