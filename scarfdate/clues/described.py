"""A description of a piece in free words: no clue by itself, but it tells of others.

A column of its own goes before what the description says. How it is read: `scarfdate.reading.description`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from scarfdate.clues.field import Field, Warnings
from scarfdate.reading.cells import Observed, read_text
from scarfdate.reading.observation import Observation
from scarfdate.tables.families import DESCRIPTION
from scarfdate.tables.noted import YEARS
from scarfdate.tables.priors import Priors

_LONGEST = 10_000  # characters
_SEVERAL = f"{DESCRIPTION}: it is of several pieces, and nothing was read off it; write a row for each piece"


@dataclass(frozen=True, slots=True)
class Described(Observed):
    """The text, and the cells that it fills, by family."""

    text: str
    tells: tuple[tuple[str, tuple[tuple[str, object], ...]], ...]

    def cells(self, name: str) -> dict[str, object]:
        """The text."""
        return {name: self.text}


class DescribedField(Field):
    """What is said of a piece in one text. It fills the families that it tells of where these are blank."""

    tells = True

    def __init__(self, priors: Priors) -> None:
        self.priors, self.name = priors, DESCRIPTION
        self.columns = (DESCRIPTION,)
        self.others = (*priors.shares, *(name for name in YEARS if name in priors.families))

    def reads(self, *cells: object) -> tuple[Described | None, Warnings]:
        """What the words of the text tell of."""
        (cell,) = self.said(cells)
        if cell is None:
            return None, ()
        text = read_text(self.name, cell, _LONGEST)
        read = self._reader().read(text)
        tells = tuple((family, tuple(own.items())) for family, own in read.cells.items())
        return Described(text, tells), (_SEVERAL,) if read.several else ()

    def _reader(self) -> Any:
        from scarfdate.reading.description import DescriptionReader  # few tables have such a column

        key = ("descriptions", id(self.priors))
        made = self.priors._compiled.get(key)
        if made is None:
            made = self.priors._compiled[key] = DescriptionReader(self.priors)
        return made

    def fills(self, seen: Any) -> dict[str, dict[str, object]]:
        """The cells, by family."""
        return {family: dict(cells) for family, cells in seen.tells}

    def beside(self, seen: Mapping[str, Any]) -> Warnings:
        """Where it says other than what was noted."""
        odd = []
        for family, cells in seen[self.name].tells:
            noted, said = seen.get(family), dict(cells).get(family)
            word = noted.word if isinstance(noted, Observation) else None
            if (
                word
                and isinstance(said, str)
                and not said.startswith("{")
                and not self._fits(family, word, said)
            ):
                odd.append(f"{family}: the description says {said}, you noted {word}; your note counts")  # fmt: skip
        return odd

    def _fits(self, family: str, noted: str, said: str) -> bool:
        """Whether two words can both be of one piece: one is the other, or a kind of it."""
        words = self.priors.vocabulary
        return bool({*words.children(family, noted)} & {*words.children(family, said)})

    def schema(self) -> dict[str, object]:
        """Text."""
        return {self.name: {"type": "string"}}

    def specimens(self) -> list[dict[str, object]]:
        """A text that says nothing, and one of each fibre."""
        known = self.priors.vocabulary.values.get("fibre", ())
        texts = [f"a square of {word}" for word in known]
        return [{self.name: text} for text in texts]
