"""How a family of clues is written down: a field of a form, in one column or several.

Both front doors read here: the keywords of a `Scarf` are the columns of a frame.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.errors import shown
from scarfdate.reading.cells import Observed, is_blank
from scarfdate.tables.families import Family
from scarfdate.tables.priors import Priors

Warnings = Sequence[str]


class AsNoted(NamedTuple):
    """What cells say as people write them ("silk?", "MADE IN JAPAN paper tag").

    ``value``: of their own family, None where they say nothing of it; ``odd``: warnings; ``others``: cells
    of other columns, which they fill where these are blank; ``unread``: what of them was not understood.
    """

    value: Observed | None
    odd: Warnings
    others: Mapping[str, object]
    unread: str


class Seen(NamedTuple):
    """What many rows hold: ``numbers`` (n,) places in ``values``, of which the first is None."""

    numbers: NDArray[np.intp]
    values: list[Any]


class Field(ABC):
    """One family as it is written down.

    ``columns``: its keywords, the first of which names it; ``method``: that which says how it was looked
    at, "" for none; ``numeric``: those that hold numbers; ``derives``: families that are worked out from
    it; ``others``: families that it is held against (`beside`); ``never``: one of these and its value
    beside which there is nothing to note. ``is_year``: what is seen is a year; ``of_label``: it is seen
    on the label; ``tells``: it fills other families (`fills`).
    """

    method: str = ""
    numeric: tuple[str, ...] = ()
    derives: tuple[str, ...] = ()
    quotes: bool = False  # whether `quote` says anything
    others: tuple[str, ...] = ()
    never: tuple[str, str] | None = None
    is_year: bool = False
    of_label: bool = False
    tells: bool = False

    def __init__(self, priors: Priors, family: Family) -> None:
        self.priors, self.family, self.name = priors, family, family.name
        self.columns: tuple[str, ...] = (family.name,)

    @abstractmethod
    def reads(self, *cells: object) -> tuple[Observed | None, Warnings]:
        """What the cells of ``columns`` say was seen, None where they say nothing, and warnings.

        Raises ScarfdateError naming column, value and what is allowed.
        """

    @abstractmethod
    def schema(self) -> dict[str, object]:
        """The JSON Schema of each column that `Observed.cells` fills."""

    @abstractmethod
    def specimens(self) -> list[dict[str, object]]:
        """Cells that can be read, made from the tables: for tests."""

    def quote(self, given: Mapping[str, object]) -> str:
        """What was measured, for a sentence, as it was noted: its cells, those that say something, by column in
        the order of ``columns``; "" where nothing was."""
        return ""

    def as_noted(self, *cells: object) -> AsNoted | None:
        """What cells that `reads` refuses say as people write them; None where nothing is understood."""
        return None

    def told_unread(self, cells: Sequence[object], unread: str) -> str:
        """What to tell of cells of which a part was not understood (`AsNoted.unread`)."""
        where = "" if is_blank(cells[0]) else f" in {shown(cells[0])}"
        return f"{self.name}: {shown(unread)}{where} was not understood (scarfdate words {self.name} lists its words)"

    def says_nothing(self, cell: object) -> bool:
        """Whether a cell is blank, or a word for it such as "n/a" or "?"."""
        return is_blank(cell) or self.priors.vocabulary.says_nothing(self.name, cell)

    def said(self, cells: Sequence[object]) -> tuple[object, ...]:
        """The cells, None in the place of those that say nothing."""
        return tuple([None if self.says_nothing(cell) else cell for cell in cells])

    def prints_year(self, seen: Any) -> bool:
        """Whether what was seen shows a year in words."""
        return False

    def fills(self, seen: Any) -> dict[str, dict[str, object]]:
        """Cells of other families that what was seen of this one tells of, by family."""
        return {}

    def takes(
        self, told: Mapping[str, object], given: Mapping[str, object]
    ) -> Mapping[str, object]:
        """What another family tells of this one (`fills`), as far as it holds beside the cells that are ``given``: where
        these say nothing; and where they say the same or less, and not how it was looked at."""
        if self.says_nothing(given.get(self.name)):
            return told
        how = any(not is_blank(given.get(column)) for column in told if column != self.name)
        if how or told.get(self.name) in self.stands_for(given.get(self.name)):
            return {} if how else told
        same = self.in_other_words(given.get(self.name)) == told.get(self.name, "")
        # the cell stays, for it says more besides
        return {column: word for column, word in told.items() if same and column != self.name}

    def in_other_words(self, cell: object) -> str | None:
        """The one value that a cell which is no plain word comes to; None where it comes to none."""
        return None

    def stands_for(self, cell: object) -> tuple[str, ...]:
        """The values that a plain word in the first column stands for; none where it is no plain word."""
        return ()

    def beside(self, seen: Mapping[str, Any]) -> Warnings:
        """Warnings of what was seen beside the ``others``; ScarfdateError where both cannot be."""
        return ()

    def at_once(
        self, numbers: Mapping[str, Array], texts: Mapping[str, Seen], seen: Mapping[str, Seen]
    ) -> tuple[Seen, NDArray[np.bool_]] | None:
        """Read all rows at once that pass without a warning, beside others too; those it has read are true.

        ``numbers``: the columns that are numbers, NaN where blank and infinite where a cell is none;
        ``texts``: the cells of the others; ``seen``: families read before this one. None: nothing can be read so.
        """
        return None
