"""One row of a dealer's book while it is understood, and the remarks on all of them."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from scarfdate.errors import shown

KINDS = ("unreadable", "no-date", "future", "contradictory", "circular", "duplicate")
BY_RULE = {"circular", "duplicate"}  # of them: what is read, and left out on purpose
_NAMED = 5  # rows that a note names
_LONGEST_REASON = 1000
_VARIES = re.compile(r"'[^']*'|[0-9]+(?:\.[0-9]+)?(?:e[+-][0-9]+)?")


class Unread(str):
    """A remark on cells that were not read, as against one on what was read."""

    __slots__ = ()


class Notes:
    """Remarks on rows, those of one kind together: remarks that differ in numbers and quotes alone."""

    def __init__(self) -> None:
        self._of_kind: dict[str, dict[int, str]] = {}
        self._got: dict[str, str] = {}
        self._plain: list[str] = []
        self._unread: set[str] = set()

    def unread(self, remark: str, row: int, got: object = None) -> None:
        """A remark on a cell of a row (counted from 1) that was not read, with what stands in it."""
        self._unread.add(_VARIES.sub("", remark))
        self.add(remark, row, got)

    def add(self, remark: str, row: int, got: object = None) -> None:
        """A remark on a row (counted from 1), with what stands in the cell."""
        kind = _VARIES.sub("", remark)
        self._of_kind.setdefault(kind, {}).setdefault(row, remark)
        if got is not None:
            self._got.setdefault(kind, shown(got))

    def say(self, text: str) -> None:
        """A remark on the whole table."""
        self._plain.append(text)

    def by_row(self) -> dict[int, list[str]]:
        """The remarks on each row that has some."""
        of_row: dict[int, list[str]] = {}
        for rows in self._of_kind.values():
            for row, remark in rows.items():
                of_row.setdefault(row, []).append(remark)
        return of_row

    def __iter__(self) -> Iterator[str]:
        yield from self._plain
        for kind, rows in self._of_kind.items():
            first = next(iter(rows.values()))
            named = ", ".join(map(str, sorted(rows)[:_NAMED]))
            more = f" and {len(rows) - _NAMED} more" if len(rows) > _NAMED else ""
            got = f"; such as {self._got[kind]}" if kind in self._got else ""
            alike = "" if len({*rows.values()}) == 1 else ", or the like"
            text = f"{first}{alike} ({'row' if len(rows) == 1 else 'rows'} {named}{more}{got})"
            yield Unread(text) if kind in self._unread else text


@dataclass
class Row:
    """One row while it is understood. ``wrong``: kind and reason of each thing that keeps it out; ``months``: the
    columns of days that say no more than a month."""

    number: int
    cells: dict[str, Any]
    first: int = 0
    last: int = 0
    way: str = ""
    sold_on: datetime.date | None = None
    price: float = math.nan
    currency: str = ""
    days_to_sell: float = math.nan
    costs: float = math.nan
    months: set[str] = field(default_factory=set)
    wrong: list[tuple[str, str]] = field(default_factory=list)

    @property
    def kind(self) -> str:
        """The first kind, in the order of `KINDS`, of what keeps the row out; "" where nothing does."""
        return min((kind for kind, _ in self.wrong), key=KINDS.index, default="")

    @property
    def reason(self) -> str:
        """All reasons, those of the first kind first."""
        ordered = sorted(self.wrong, key=lambda one: KINDS.index(one[0]))
        text = "; ".join(dict.fromkeys(reason for _, reason in ordered))
        return text if len(text) <= _LONGEST_REASON else text[:_LONGEST_REASON] + "…"
