"""The columns of a shares family: a word, a parent word or weights over words, and how it was looked at."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Any

from scarfdate.clues.field import AsNoted, Field, Warnings
from scarfdate.errors import ScarfdateError, WordError
from scarfdate.reading.cells import LABEL_AGAINST_MAKE
from scarfdate.reading.observation import Observation, read_observation
from scarfdate.tables.families import Family
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    from scarfdate.clues.noted import WordCells

LABEL, LABEL_MAKE, NONE_SEEN = "label", "label_make", "none-seen"
_COPY = '; or copy the words that are printed on it, or tell what is there, as "care symbols"'


class WordsField(Field):
    """A word, a parent word or weights over words, and how it was looked at."""

    def __init__(self, priors: Priors, family: Family) -> None:
        super().__init__(priors, family)
        self.method = f"{family.name}_method"
        self.columns = (family.name, self.method)
        self.of_label = family.name in (LABEL, LABEL_MAKE)
        if family.name == LABEL_MAKE:
            self.others, self.never = (LABEL,), (LABEL, NONE_SEEN)

    def reads(self, *cells: object) -> tuple[Observation | None, Warnings]:
        """The words in their one spelling."""
        try:
            return read_observation(self.priors, self.name, *cells), ()
        except WordError as refusal:
            raise WordError(f"{refusal}{_COPY if self.name == LABEL else ''}") from None

    def stands_for(self, cell: object) -> tuple[str, ...]:
        """Itself, or the children of a parent word."""
        try:
            found, _ = self.reads(cell)
        except ScarfdateError:
            return ()
        word = None if found is None else found.word
        return () if word is None else self.priors.vocabulary.children(self.name, word)

    def in_other_words(self, cell: object) -> str | None:
        """The one word that a cell such as "100% silk twill" comes to."""
        return self._cells.word(cell)

    def as_noted(self, *cells: object) -> AsNoted | None:
        """Doubt, alternatives, denials, and words of neighbouring families."""
        return self._cells.read(*cells)

    @cached_property
    def _cells(self) -> WordCells:
        from scarfdate.clues.noted import (
            WordCells,  # most cells are a plain word, and need none of it
        )

        return WordCells(self.priors, self.name)

    def beside(self, seen: Mapping[str, Any]) -> Warnings:
        """Refuses the make of a label where there is said to be none."""
        label = seen.get(LABEL) if self.others else None
        if label is not None and label.word == NONE_SEEN:
            raise ScarfdateError(LABEL_AGAINST_MAKE)
        return ()

    def schema(self) -> dict[str, object]:
        """A word, or weights over words."""
        known = self.priors.vocabulary
        words = [*known.values[self.name], *known.parents[self.name]]
        weight = {"type": "number", "minimum": 0}
        several = {"type": "object", "additionalProperties": weight, "minProperties": 1}
        return {self.name: {"anyOf": [{"type": "string", "examples": words}, several]}}

    def specimens(self) -> list[dict[str, object]]:
        """Every value, every parent word, weights as a mapping and as text, and every method."""
        known = self.priors.vocabulary
        values = known.values[self.name]
        both: dict[str, object] = {values[0]: 0.75, values[-1]: 0.25} if len(values) > 1 else {}
        written: list[object] = [*values, *known.parents[self.name]]
        written += [both, json.dumps(both)] if both else []
        methods = self.priors.confusion[self.name].matrices
        found: list[dict[str, object]] = [{self.name: cell} for cell in written]
        return found + [{self.name: values[0], self.method: method} for method in methods]
