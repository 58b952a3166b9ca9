"""What is printed on a label, as it is noted: its text, and what it was read as."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from scarfdate.clues.field import AsNoted, Field, Warnings
from scarfdate.clues.shares_field import LABEL, NONE_SEEN
from scarfdate.errors import ScarfdateError, shown
from scarfdate.reading.cells import Observed, read_text
from scarfdate.reading.label_marks import NOTICE
from scarfdate.reading.observation import BY_LABEL
from scarfdate.tables.families import Family
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    from scarfdate.clues.noted import WordCells

_LONGEST = 10_000  # characters; anything longer is no label
_SHORT = 120  # characters; what is told of a label in the place of its text is no longer
FIBRE, ORIGIN = "fibre", "origin"  # what a label names of other families


@dataclass(frozen=True, slots=True)
class LabelNoted(Observed):
    """The text of a label, and what it was read as.

    ``marks`` in the order of name, once each; ``state``: the value of the family ``label`` that
    follows; ``clues``: what it names of other families; ``homes``: the markets that its wording is at
    home in; ``flags``: what cannot be right in it.
    """

    text: str
    marks: tuple[tuple[str, str], ...]
    intact: bool
    state: str
    clues: tuple[tuple[str, str], ...]
    homes: tuple[tuple[str, ...], ...]
    flags: tuple[str, ...]

    def cells(self, name: str) -> dict[str, object]:
        """The text."""
        return {name: self.text}


class LabelField(Field):
    """What is printed on a label. It fills the families that it names where these are blank."""

    of_label = tells = True

    def __init__(self, priors: Priors, family: Family) -> None:
        super().__init__(priors, family)
        self.others, self.never = (LABEL, ORIGIN, FIBRE), (LABEL, NONE_SEEN)

    def reads(self, *cells: object) -> tuple[LabelNoted | None, Warnings]:
        """The marks of the text."""
        (cell,) = self.said(cells)
        if cell is None:
            return None, ()
        if isinstance(cell, str) and self._state(cell):
            raise ScarfdateError(
                f"{self.name}: {shown(cell)} is no text of a label; write it under label"
            )
        from scarfdate.reading.label import read_label  # most pieces have no label

        label = read_label(read_text(self.name, cell, _LONGEST), priors=self.priors)
        if not label.marks and len(label.text) < _SHORT:
            told = self._told.read(label.text, None)
            if told is not None and not told.unread and self.name in told.others:  # "WPL no."
                label = read_label(str(told.others[self.name]), priors=self.priors)
        marks = tuple(sorted({(mark.mark, mark.value) for mark in label.marks}))
        clues = tuple(label.clues.items())
        noted = LabelNoted(
            label.text, marks, label.intact, label.state, clues, label.homes, label.flags
        )
        return noted, ()

    def as_noted(self, *cells: object) -> AsNoted | None:
        """What is said of the label in the place of its text: "no tag", "cut out", "illegible"."""
        (cell,) = cells
        state = self._state(cell) if isinstance(cell, str) else ""
        return AsNoted(None, (), {LABEL: state}, "") if state else None

    @cached_property
    def _told(self) -> WordCells:
        from scarfdate.clues.noted import WordCells  # as of a label that is described, few have it

        return WordCells(self.priors, LABEL)

    def _state(self, cell: str) -> str:
        """The state of a label that is told instead of its text, as the vocabulary has it, or ""."""
        return self.priors.vocabulary.known(LABEL, cell) or ""

    def prints_year(self, seen: Any) -> bool:
        """Whether there is a notice with its year."""
        return any(mark == NOTICE for mark, _ in seen.marks)

    def fills(self, seen: Any) -> dict[str, dict[str, object]]:
        """The state of the label, and the origin and the fibre that it names."""
        told: dict[str, dict[str, object]] = {LABEL: {LABEL: seen.state}}
        told |= {name: {name: word} for name, word in seen.clues}
        if FIBRE in told:
            told[FIBRE][f"{FIBRE}_method"] = BY_LABEL
        return told

    def beside(self, seen: Mapping[str, Any]) -> Warnings:
        """What cannot be right on the label, and where it says other than what was noted."""
        label, state = seen[self.name], seen.get(LABEL)
        if state is not None and state.word == NONE_SEEN:
            raise ScarfdateError(
                f"{self.name}: words of a label are given, but {LABEL} says {NONE_SEEN}; "
                "leave one out"
            )
        odd = [f"{self.name}: {flag}" for flag in label.flags]
        for name, word in label.clues:
            noted = seen[name].word if name in seen and seen[name] is not None else None
            if noted and noted != word:
                odd.append(f"{name}: the label says {word}, you noted {noted}; your note counts")
        return odd

    def schema(self) -> dict[str, object]:
        """Text."""
        return {self.name: {"type": "string"}}

    def specimens(self) -> list[dict[str, object]]:
        """Labels that name each fibre and origin of the vocabulary, and one that is cut."""
        known = self.priors.vocabulary.values
        texts = [f"100% {word}".upper() for word in known[FIBRE]]
        texts += [f"MADE IN {word}".upper() for word in known[ORIGIN]]
        return [
            {self.name: text} for text in [*texts, f"{texts[0]} ...", f"{texts[0]}\n{texts[-1]}"]
        ]
