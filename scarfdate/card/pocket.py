"""The card itself: rows of points, added up for a piece, and written as a page, a frame or text."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.answer.one_scarf import as_scarf
from scarfdate.card import fit, page
from scarfdate.card.cost import margin, winner
from scarfdate.card.sheet import CardRow, Sheet, Tally
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.sides import measurements
from scarfdate.errors import ScarfdateError, shown
from scarfdate.files import as_path, write_whole
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True, kw_only=True)
class PocketCard(Sheet):
    """A sheet of points. ``eras``: the columns; ``halves``: of each, in words. ``start``: what every piece
    starts with; ``start_lean``: the same of the second step.

    ``rows``: for each clue on the card, what tells most first, its rows. ``doubling``:
    so many points ahead are twice as likely. ``titles``: clue to its name in words, with a unit.
    ``among``: the clues it chose from; ``missing``: names in words of those that it could ask and does
    not. ``cost``: what it loses against the exact model. ``example``: a simulated piece; ``channel``,
    ``where`` (the channel in words), ``as_of``, ``priors_hash``: what it was fitted to.
    """

    among: tuple[str, ...]
    _priors: Priors = field(repr=False, compare=False)  # priors_hash stands for it

    def __getstate__(self) -> dict[str, object]:
        # a view of a dict cannot be pickled; what it shows can
        return {
            name: dict(value) if isinstance(value, MappingProxyType) else value
            for name, value in vars(self).items()
        }

    def __setstate__(self, state: dict[str, object]) -> None:
        for name, value in state.items():
            frozen = MappingProxyType(value) if isinstance(value, dict) else value
            object.__setattr__(self, name, frozen)

    @property
    def points(self) -> Mapping[str, Mapping[str, tuple[int, ...]]]:
        """Clue to row to its points, one for each era."""
        return MappingProxyType(
            {
                clue: MappingProxyType({row.label: row.points for row in rows})
                for clue, rows in self.rows.items()
            }
        )

    @property
    def point_worth(self) -> float:
        """The factor of odds that one point stands for."""
        return float(2 ** (1 / self.doubling))

    def era(self, seen: Scarf | Mapping[str, object]) -> Tally:
        """Add up the points of a piece: a `Scarf`, or a mapping with its names.

        Words are read as everywhere. A word that fits several rows (a parent word, or weights over
        words) takes none. Raises as `Scarf` does.
        """
        scarf = as_scarf(seen, self._priors)
        numbers = measurements(scarf.seen, self._priors)
        sums = list(self.start)
        taken: list[tuple[str, str]] = []
        left_out = []
        for clue in dict.fromkeys((*scarf.observations, *numbers)):
            row = self._row(clue, scarf, numbers)
            if row is None:
                left_out.append(clue)
            else:
                sums = [a + b for a, b in zip(sums, row.points, strict=True)]
                taken.append((clue, row.label))
        place = int(winner(np.array([sums]))[0])
        of_rows = {(clue, row.label): row.lean for clue, own in self.rows.items() for row in own}
        lean = self.start_lean[place] + sum(of_rows[one][place] for one in taken)
        halves = self.halves[place]
        order = list(self.rows)
        taken.sort(key=lambda one: order.index(one[0]))
        every = np.array([sums], dtype=np.int64)
        chance = fit.softmax(math.log(2) / self.doubling * every)[0]
        return Tally(
            era=self.eras[place],
            sums=tuple(sums),
            ahead=int(margin(every)[0]),
            chance=tuple(chance.tolist()),
            half=halves[-1] if lean > 0 else halves[0],
            lean=lean,
            rows=tuple(taken),
            left_out=tuple(left_out),
        )

    def _row(self, clue: str, scarf: Scarf, numbers: Mapping[str, float]) -> CardRow | None:
        rows = self.rows.get(clue, ())
        if clue in numbers:
            return next((row for row in rows if row.low <= numbers[clue] < row.high), None)
        known = self._priors.vocabulary
        words = {
            value
            for word, _ in scarf.observations[clue].terms
            for value in known.children(clue, known.canonical(clue, word))
        }
        fitting = [row for row in rows if words & set(row.values)]
        return fitting[0] if len(fitting) == 1 else None

    def to_frame(self) -> pandas.DataFrame:
        """One row a row of the card: ``clue``, ``seen``, and a column of points for each era.

        The first, with ``clue`` "start", is what every piece starts with.
        """
        import pandas as pd

        rows = [("start", "every scarf", *self.start)]
        rows += [(clue, row.label, *row.points) for clue, own in self.rows.items() for row in own]
        return pd.DataFrame(rows, columns=["clue", "seen", *self.eras])

    def to_html(self) -> str:
        """A whole page of HTML that prints on both sides of one sheet, A4 or Letter, upright,
        to be folded twice to A6.

        Raises ScarfdateError where Jinja2 is not installed (the extra ``card``).
        """
        return self._page(whole=True)

    def save(self, path: str | Path, *, new: bool = False) -> Path:
        """Write `to_html` to a file, whole or not at all; the path written. ``new``: over none that is there.

        Raises ScarfdateError where the file cannot be written, and as `to_html` does.
        """
        target = as_path(path, "save")
        try:
            write_whole(target, self.to_html().encode("utf-8"), new=new)
        except OSError as error:
            raise ScarfdateError(
                f"the card cannot be written to {shown(str(path))}: {error.strerror}; give another path"
            ) from None
        return target

    def _repr_html_(self) -> str:
        return self._page(whole=False)

    def _page(self, *, whole: bool) -> str:
        tally = self.era(self.example)
        return page.html(self, tally, whole=whole, drawings=self._priors.drawings)

    def __str__(self) -> str:
        return page.text(self)
