"""The phrases that a museum's medium text is read by: ``medium_rules.csv``, ``medium_together.csv``.

A row of the first gives one phrase and what it says: a value, a parent word or weights of one family,
or what a connecting word does. A row of the second says what two words of one family come to where a
text states both ("silk, metallic thread" is a silk; "silk and cotton" a blend).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

from scarfdate.tables.sheet import Basis
from scarfdate.words.phrases import Phrases

METHOD = "_method"  # fibre_method, as the column of a table of scarves is called


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one phrase says of one family: ``terms`` are words with weights, ``values`` all meant."""

    family: str
    gives: str
    terms: tuple[tuple[str, float], ...]
    values: frozenset[str]
    basis: Basis

    @property
    def clue(self) -> str | Mapping[str, float]:
        """The one word, or the weights."""
        if len(self.terms) == 1:
            return self.terms[0][0]
        return MappingProxyType(dict(sorted(self.terms)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """What a connecting word does; ``amount`` for a doubt (0 to 1) or a leading share (per cent)."""

    name: str
    amount: float
    family: str
    basis: Basis


@dataclass(frozen=True, kw_only=True)
class Phrase:
    """One phrase and all its rows."""

    text: str
    readings: tuple[Reading, ...]
    methods: tuple[tuple[str, str, Basis], ...]
    act: Act | None

    @cached_property
    def gives(self) -> Mapping[str, str]:
        """Family (or family_method) to what the rules give; a connecting word under ""."""
        given = {reading.family: reading.gives for reading in self.readings}
        given.update({family + METHOD: method for family, method, _ in self.methods})
        if self.act is not None:
            given[""] = self.act.name
        return MappingProxyType(given)


@dataclass(frozen=True, slots=True)
class Together:
    """``words`` of a family give way where one of ``beside`` is stated, too."""

    words: frozenset[str]
    beside: frozenset[str]


@dataclass(frozen=True, kw_only=True)
class MediumRules:
    """Every rule for reading medium texts.

    ``tree`` has every phrase by its tokens. ``several``: what a family is called where words differ;
    ``leading``: the per cent from which one word of it leads.
    """

    tree: Phrases[Phrase] = field(repr=False)
    phrases: tuple[Phrase, ...] = field(repr=False)
    together: Mapping[str, tuple[Together, ...]] = field(repr=False)
    several: Mapping[str, str] = field(repr=False)
    leading: Mapping[str, float] = field(repr=False)
