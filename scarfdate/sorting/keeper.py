"""What lies on the table and how it came to lie there, kept on disk: the journal, the sheet, and the way back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from scarfdate.errors import ScarfdateError
from scarfdate.sorting.journal import Filed, Journal, OnTable, Pending
from scarfdate.sorting.piece import Piece
from scarfdate.sorting.sheet import StockSheet

_KEPT = 20  # pieces put away that can be taken back after a kill; without one, all of them can
BEGUN_AGAIN = "Taken up where it was left."


@dataclass(frozen=True, slots=True)
class Step:
    """One step back: what lay on the table ``before``, and the piece that the step put away, if it did."""

    before: OnTable
    filed: Filed | None = None


@dataclass(eq=False)
class Keeper:
    """``now``: what lies on the table; ``steps``: the way back; ``messages``: what the person is to be told."""

    sheet: StockSheet
    journal: Journal
    check: Callable[[Piece], object]  # raises ScarfdateError for a piece that cannot be dated
    now: OnTable = field(init=False)
    steps: list[Step] = field(init=False)
    messages: list[str] = field(default_factory=list, init=False)

    def __post_init__(self) -> None:
        self.now, pending = self.journal.read()
        if pending is not None and self._was_made(pending):
            self.now = pending.then
        if self.now != OnTable(trays=self.now.trays):
            self.messages.append(BEGUN_AGAIN)
        self.now = self._readable(self.now)
        self.steps = _steps_to(self.now)

    def _readable(self, now: OnTable) -> OnTable:
        """The same without what these tables cannot read: it was noted under others."""
        filed = tuple(replace(one, piece=self._part(one.piece)) for one in now.filed)
        read = replace(now, pieces=tuple(map(self._part, now.pieces)), filed=filed)
        if read.pieces != now.pieces:
            self.messages.append("Something noted before cannot be read now, and was left out.")
        return read

    def _part(self, piece: Piece) -> Piece:
        kept = Piece()
        for clue, noted in piece.noted:
            more = kept.with_noted(clue, noted)
            try:
                self.check(more)
            except (ScarfdateError, KeyError):  # KeyError: a family that is not there any more
                continue
            kept = more
        return kept

    def change(self, then: OnTable) -> None:
        """Another state of what lies on the table, from which `undo` leads back."""
        if then != self.now:
            self.steps.append(Step(self.now))
            self._go(then)

    def put_away(self, cells: Mapping[str, str], tray: int) -> None:
        """Write the piece in hand onto the sheet and count it in a tray; the other, or a new one, is in hand then.

        Raises ScarfdateError where the sheet cannot be written; the piece is in hand still.
        """
        now = self.now
        filed = Filed(piece=now.piece, cells=tuple(cells.items()), tray=tray)
        trays = tuple(count + (at == tray) for at, count in enumerate(now.trays))
        others = tuple(piece for at, piece in enumerate(now.pieces) if at != now.held)
        then = OnTable(pieces=others or (Piece(),), trays=trays, filed=(*now.filed, filed)[-_KEPT:])
        self._write(then, filed.cells, added=True)
        self.steps.append(Step(now, filed))

    def undo(self) -> bool:
        """Take the last step back, a row that it wrote with it; False where there is none.

        Raises ScarfdateError where the sheet cannot be written; nothing is taken back then.
        """
        if not self.steps:
            return False
        step = self.steps[-1]
        if step.filed is None:
            self._go(step.before)
        else:
            self._write(step.before, step.filed.cells, added=False)
        self.steps.pop()
        return True

    def _write(self, then: OnTable, row: tuple[tuple[str, str], ...], *, added: bool) -> None:
        """Change the sheet and the table together: the journal says so before, and again when it is done."""
        cells = dict(row)
        self._keep(Pending(then=then, cells=row, added=added, many=self.sheet.count(cells)))
        try:
            told = self.sheet.add(cells) if added else self.sheet.take_off(cells)
        except ScarfdateError:
            self._keep()
            raise
        if told:
            self.messages.append(f"{told}.")
        self._go(then)

    def _was_made(self, pending: Pending) -> bool:
        many = self.sheet.count(dict(pending.cells))
        return many > pending.many if pending.added else many < pending.many

    def _go(self, then: OnTable) -> None:
        self.now = then
        self._keep()

    def _keep(self, pending: Pending | None = None) -> None:
        """Write the journal; where that fails the work goes on, and the person is told."""
        try:
            self.journal.write(self.now, pending)
        except ScarfdateError as error:
            self.messages.append(f"Take care: {error}.")


def _steps_to(now: OnTable) -> list[Step]:
    """The way back over the pieces put away before the kernel was killed."""
    steps: list[Step] = []
    then = now
    for filed in reversed(now.filed):
        trays = tuple(max(count - (at == filed.tray), 0) for at, count in enumerate(then.trays))
        then = replace(OnTable(pieces=(filed.piece,), trays=trays), filed=then.filed[:-1])
        steps.insert(0, Step(then, filed))
    return steps
