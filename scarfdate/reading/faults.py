"""Faults of files of any size, gathered as they are met, or refused at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from scarfdate.errors import FileFault, TableError, shown

_KEPT_PER_PROBLEM = 30  # faults of one sort kept with their places; all are counted
_LISTED = 5  # rows of a wrong length that one refusal names


@dataclass(slots=True)
class FaultLog:
    """Faults as they are met: some of each sort with their places, and the count of each sort."""

    kept: list[FileFault] = field(default_factory=list)
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
            self.kept.append(FileFault(file, row, column, problem, text, next_step))

    def lose(
        self, file: str, row: int | None, problem: str, got: object = None, next_step: str = ""
    ) -> None:
        """A fault that costs its row."""
        self.rows_lost += 1
        self.add(file, row, None, problem, got, next_step)

    def ends_early(self, row: int) -> bool:
        """Whether a row that lacks its last cells is read all the same: of a record nobody knows what was lost."""
        return False

    def headings_again(self, row: int) -> bool:
        """Whether a row that repeats the headings is passed over."""
        return False

    def no_piece(self, row: int, cells: Sequence[str]) -> bool:
        """Whether a row holds totals, and is passed over."""
        return False


@dataclass
class Refusals(FaultLog):
    """For files that are read whole or not at all: the first bad line is a TableError.

    Rows of a wrong length are refused some at a time, because they mostly have one cause. But of a sheet that a person
    keeps the last cells may be missing: spreadsheets leave out blank cells at the ends of rows (from memory). They are
    counted: ``early``, the first of them in line ``first_early``; so are headings that stand ``again``, and rows that
    are ``summed``, as ``totals`` says.
    """

    early: int = 0
    first_early: int = 0
    again: int = 0
    first_again: int = 0
    totals: Callable[[Iterable[str]], bool] | None = None
    summed: int = 0
    first_summed: int = 0

    def ends_early(self, row: int) -> bool:
        """Yes, and it is counted."""
        self.early += 1
        self.first_early = self.first_early or row
        return True

    def headings_again(self, row: int) -> bool:
        """Yes, and it is counted."""
        self.again += 1
        self.first_again = self.first_again or row
        return True

    def no_piece(self, row: int, cells: Sequence[str]) -> bool:
        """Whether ``totals`` says so; it is counted."""
        if self.totals is None or not self.totals(cells):
            return False
        self.summed += 1
        self.first_summed = self.first_summed or row
        return True

    @property
    def remarks(self) -> list[str]:
        """What a person is told of rows that end early, and of headings that are no piece."""
        said = []
        if self.early == 1:
            said = [f"line {self.first_early} ends before the last column: the rest of it is blank"]
        elif self.early:
            rows = f"{self.early} rows end before the last column, the first in line {self.first_early}"
            said = [f"{rows}: the rest of each is blank"]
        said += passed_over("line", "repeat", "the headings", self.again, self.first_again)
        return said + passed_over("line", "hold", "totals", self.summed, self.first_summed)

    def lose(
        self, file: str, row: int | None, problem: str, got: object = None, next_step: str = ""
    ) -> None:
        """Refuse the file, unless it may be a row of a wrong length (one with ``got``) among others."""
        super().lose(file, row, problem, got, next_step)
        if got is None or self.rows_lost == _LISTED:
            self.refuse()

    def refuse(self) -> None:
        """Raise a TableError if there are faults."""
        if self.kept:
            raise TableError(
                "\n  ".join(str(one).replace(", row ", ", line ", 1) for one in self.kept)
            )


def passed_over(counted: str, verb: str, what: str, rows: int, first: int = 0) -> list[str]:
    """What is told of so many rows that are no piece, of which ``first`` is the first."""
    if rows < 2:
        return [f"{counted} {first} {verb}s {what}, and is passed over"] * rows
    return [f"{counted} {first} and {rows - 1} more {verb} {what}, and are passed over"]
