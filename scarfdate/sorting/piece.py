"""A piece on the table: what was noted of it, as frozen values that can be written down as JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass

from scarfdate.clues.scarf import Scarf
from scarfdate.errors import ScarfdateError
from scarfdate.sorting.doubt import checked_doubt, doubted
from scarfdate.tables.priors import Priors

ID, NOTE = "id", "note"
KEPT = (ID, NOTE)  # what is kept with a piece and never weighed


@dataclass(frozen=True, slots=True)
class Noted:
    """What was noted of one clue: a ``word`` (or what was typed), the ``doubt`` of the slider, 0 to 1, and the
    ``method`` by which it was looked at, "" for the usual one."""

    word: str
    doubt: float = 0.0
    method: str = ""


@dataclass(frozen=True, slots=True)
class Piece:
    """What was noted of one piece, in the order in which it was noted."""

    noted: tuple[tuple[str, Noted], ...] = ()

    def get(self, clue: str) -> Noted | None:
        """What was noted of a clue; None where nobody looked."""
        return dict(self.noted).get(clue)

    def with_noted(self, clue: str, noted: Noted | None) -> Piece:
        """The piece with something else noted of a clue; None: nobody looked."""
        cells = dict(self.noted)
        if noted is None:
            cells.pop(clue, None)
        else:
            cells[clue] = noted
        return Piece(tuple(cells.items()))

    @property
    def blank(self) -> bool:
        """Whether nothing was noted, a number for the piece aside."""
        return all(clue == ID for clue, _ in self.noted)

    def cells(self, priors: Priors) -> dict[str, str]:
        """The cells of its row, by our columns: words, weights as JSON text, methods."""
        found: dict[str, str] = {}
        for clue, noted in self.noted:
            found[clue] = noted.word
            if noted.doubt:
                weights = doubted(priors, clue, noted.word, noted.doubt, noted.method)
                found[clue] = json.dumps(weights)
            if noted.method:
                found[f"{clue}_method"] = noted.method
        return found

    def scarf(self, priors: Priors) -> Scarf:
        """The piece as it is dated. Raises ScarfdateError where what was noted cannot be read."""
        return Scarf.from_dict(self.cells(priors), priors=priors)

    def plain(self) -> list[dict[str, object]]:
        """As JSON has it."""
        return [{"clue": clue, **asdict(noted)} for clue, noted in self.noted]

    @classmethod
    def of_plain(cls, rows: object) -> Piece:
        """From `plain`. Raises ScarfdateError where it is none."""
        if not isinstance(rows, list):
            raise ScarfdateError("a piece is a list of what was noted")
        return cls(tuple(_of_plain(row) for row in rows))


def _of_plain(row: object) -> tuple[str, Noted]:
    if not isinstance(row, Mapping) or set(row) != {"clue", "word", "doubt", "method"}:
        raise ScarfdateError("what was noted has a clue, a word, a doubt and a method")
    clue, word, method = row["clue"], row["word"], row["method"]
    if not (isinstance(clue, str) and isinstance(word, str) and isinstance(method, str)):
        raise ScarfdateError("clue, word and method are text")
    return clue, Noted(word, checked_doubt(row["doubt"]), method)
