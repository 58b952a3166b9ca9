"""Faults of files of any size, gathered as they are met: all counted, some kept with their places."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from scarfdate.errors import Fault, shown

_KEPT_PER_PROBLEM = 30  # faults of one sort kept with their places; all are counted


@dataclass(slots=True)
class FaultLog:
    """Faults as they are met: some of each sort with their places, and the count of each sort."""

    kept: list[Fault] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    rows_lost: int = 0  # rows that could not even be taken apart

    def add(
        self, file: str, row: int | None, column: str | None, problem: str, got: object = None,
        next_step: str = "",
    ) -> None:  # fmt: skip
        """Count a fault by its problem, and keep it unless there are many of that sort already."""
        self.counts[problem] += 1
        if self.counts[problem] <= _KEPT_PER_PROBLEM:
            text = "" if got is None else str(got) if isinstance(got, int) else shown(got)
            self.kept.append(Fault(file, row, column, problem, text, next_step))

    def lose(
        self, file: str, row: int | None, column: str | None, problem: str, got: object = None,
        next_step: str = "",
    ) -> None:  # fmt: skip
        """A fault that costs its row."""
        self.rows_lost += 1
        self.add(file, row, column, problem, got, next_step)
