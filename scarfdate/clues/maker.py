"""A maker in the dealer's own file: the years in which that form of signature was made."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import NO_NOTES, Asked, Behind, Clue, Noted, Slip
from scarfdate.clues.field import Field, Warnings
from scarfdate.conventions import GRADES, Array
from scarfdate.errors import nearest
from scarfdate.reading.cells import Observed, read_text
from scarfdate.tables.knots import ANY
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain

_LONGEST = 200  # characters of a name
_SHOWN = 60
_SIGNATURE = "signature"  # the family whose form tells a maker's windows apart

Key = tuple[str, str]  # the maker's name as compared, the form of signature or ""


@dataclass(frozen=True, slots=True)
class Named(Observed):
    """A name as it was written."""

    name: str

    def cells(self, name: str) -> dict[str, object]:
        """The name."""
        return {name: self.name}


class MakerField(Field):
    """The name of a maker: any name, in the dealer's file or not."""

    def reads(self, *cells: object) -> tuple[Named | None, Warnings]:
        """The name, of at most 200 characters."""
        (cell,) = self.said(cells)
        if cell is None:
            return None, ()
        return Named(read_text(self.name, cell, _LONGEST)), ()

    def schema(self) -> dict[str, object]:
        """Text."""
        return {self.name: {"type": "string"}}

    def specimens(self) -> list[dict[str, object]]:
        """Every name of the file, and it with every form of signature that the file knows."""
        makers = self.priors.makers
        found: list[dict[str, object]] = [{self.name: name} for name in makers.names.values()]
        for key, name in makers.names.items():
            forms = {window.form for window in makers.windows[key]} - {ANY}
            found += [{self.name: name, _SIGNATURE: form} for form in sorted(forms)]
        return found


class MakerClue(Clue):
    """P(this maker | year): the maker's output year by year, and a slip for a wrong name."""

    def __init__(self, priors: Priors, name: str, years: NDArray[np.int64]) -> None:
        family = priors.families[name]
        super().__init__(name, family.title, family.reads, (name,), (1, len(GRADES), len(years)))
        self.makers, self.slip, self.years = priors.makers, priors.slips[name], years
        self.wording = priors.wording
        self.needs = (name, _SIGNATURE)

    def key(self, seen: Mapping[str, Any]) -> tuple[Key | None, Warnings]:
        """The maker and the form of signature where the file tells it apart; a warning for others."""
        if self.name not in seen:
            return None, ()
        maker, signature = plain(seen[self.name].name), seen.get(_SIGNATURE)
        if maker not in self.makers.windows:
            close = nearest(maker, list(self.makers.names))
            names = " or ".join(self.makers.names[word] for word in close)
            hint = f"; did you mean {names}?" if close else ""
            return None, (
                f"no maker {seen[self.name].name[:_SHOWN]!r} in makers.csv: the name says nothing "
                f"about the year{hint}",
            )
        form = (signature.word or "") if signature is not None else ""
        return (maker, form if form and self.makers.has_form(maker, form) else ""), ()

    def silences(self, key: Hashable) -> tuple[str, ...]:
        """The signature, where the file says when this form was used: it would be counted twice."""
        return (_SIGNATURE,) if cast(Key, key)[1] else ()

    def likelihood(self, key: Hashable) -> Array:
        """Output in each year as a share of all output, the same for every grade."""
        return self._spread(key, reissues=True)

    def amiss(self, key: Hashable, part: str) -> Array:
        """A wrong name."""
        return np.full(self.shape, self.slip / len(self.years))

    def first_printing(self, key: Hashable) -> Array | None:
        """Without the windows in which old designs were printed again, where there are any."""
        reissues = any(window.reissue for window in self.makers.of(*cast(Key, key)))
        return self._spread(key, reissues=False) if reissues else None

    def _spread(self, key: Hashable, reissues: bool) -> Array:
        windows = self.makers.of(*cast(Key, key))
        output = [window.output(self.years) for window in windows]
        counted = [o for o, w in zip(output, windows, strict=True) if reissues or not w.reissue]
        share = np.sum(counted, axis=0) / np.sum(output)
        return np.broadcast_to((1 - self.slip) * share + self.slip / len(self.years), self.shape)

    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """A wrong name: any year of the grid."""
        return (Slip(self.name, self.says(key), self.slip, 1 / len(self.years), 1.0, None),)

    def behind(self, key: Hashable, asked: Asked) -> Behind:
        """The window nearest to the year."""
        windows = self.makers.windows[cast(Key, key)[0]]
        ends = {w: min(abs(w.year_from - asked.year), abs(w.year_to - asked.year)) for w in windows}
        return Behind(min(windows, key=lambda window: ends[window]).basis)

    def says(self, key: Hashable, noted: Noted = NO_NOTES) -> str:
        """The maker as written in the file, with the form of signature where it mattered."""
        maker, form = cast(Key, key)
        name = self.makers.names[maker]
        told = f"{name} ({form} signature)" if form else name
        return self.wording.phrase(self.name, told, self.title)
