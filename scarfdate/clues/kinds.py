"""The kinds of clues: for each kind of ``families.csv`` its field and its clue. A new kind is a line here."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.bounds import BoundsClue, BoundsField
from scarfdate.clues.clue import Clue
from scarfdate.clues.dated import DatedClue, DatedField
from scarfdate.clues.described import DescribedField
from scarfdate.clues.field import Field
from scarfdate.clues.label import LabelClue
from scarfdate.clues.label_field import LabelField
from scarfdate.clues.maker import MakerClue, MakerField
from scarfdate.clues.measured import MeasuredField
from scarfdate.clues.shares import SharesClue
from scarfdate.clues.shares_field import WordsField
from scarfdate.clues.sides import DERIVED, SidesField
from scarfdate.tables.families import Family
from scarfdate.tables.priors import Priors

FIELDS: dict[str, Callable[[Priors, Family], Field]] = {
    "shares": WordsField,
    "measured": MeasuredField,
    "maker": MakerField,
    "dated": DatedField,
    "label": LabelField,
    "bounds": BoundsField,
}
# what is measured is weighed with the family that it is measured on
CLUE_KINDS: dict[str, Callable[[Priors, str, NDArray[np.int64]], Clue]] = {
    "shares": SharesClue,
    "maker": MakerClue,
    "dated": DatedClue,
    "label": LabelClue,
    "bounds": BoundsClue,
}
KEPT = ("id", "note")  # kept with a piece and never weighed


class Fields:
    """The fields of all families of some priors; in turn, those that fill others first."""

    def __init__(self, priors: Priors) -> None:
        own = [f for f in priors.families.values() if f.name not in DERIVED]
        every = [FIELDS[family.kind](priors, family) for family in own]
        every = [DescribedField(priors), *every, SidesField(priors)]
        self.by_name: Mapping[str, Field] = {field.name: field for field in every}
        self.of_column = {column: field for field in every for column in field.columns}
        self.names = (*self.of_column, *DERIVED)
        self.in_turn = sorted(every, key=lambda field: not field.tells)
        self.beside_others = [field for field in self.in_turn if field.others]

    def named(self, name: str) -> Field | None:
        """The field that reads a column, or that a family is worked out from."""
        found = self.of_column.get(name)
        return found or next((one for one in self if name in one.derives), None)

    def __iter__(self) -> Iterator[Field]:
        return iter(self.in_turn)


def fields_of(priors: Priors) -> Fields:
    """The fields of some priors, made once and kept with them."""
    key = ("fields", id(priors))  # priors of a channel share what is kept, not their words
    fields = priors._compiled.get(key)
    if not isinstance(fields, Fields):
        fields = priors._compiled[key] = Fields(priors)
    return fields


def keywords(priors: Priors) -> list[str]:
    """Every name that a `Scarf` takes, those of families first; methods are one of them."""
    fields = list(fields_of(priors).by_name.values())
    first = [field.name for field in fields if field.name in priors.families]
    more = [c for f in reversed(fields) for c in f.columns if c not in first and c != f.method]
    return [*first, *more, "methods", *KEPT]
