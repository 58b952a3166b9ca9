"""A museum's medium text ("silk; screen printed on twill") read as clues of the vocabulary.

The rules are data (`scarfdate.tables.medium`). The longest phrase wins; what no rule knows is left
unread and counted, never guessed. What a text does not state is not looked at: "silk" says nothing
about the print. How a text is read: `scarfdate.reading.medium_reader`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from scarfdate.errors import ScarfdateError, shown
from scarfdate.reading.medium_reader import Clue, Found, MediumReader
from scarfdate.tables.priors import Priors, load_priors

__all__ = ["Clue", "Found", "Medium", "read_medium"]


@dataclass(frozen=True, slots=True)
class Medium:
    """What a medium text says.

    ``clues``: family to value, parent word or weights, as `Scarf` takes them; a family that the text
    does not state is not there. ``methods``: how a family was looked at, where the text says so.
    ``found``: every phrase read, in order, not overlapping. ``unread``: words that no rule knows.
    """

    clues: Mapping[str, Clue]
    methods: Mapping[str, str]
    found: tuple[Found, ...] = field(repr=False)
    unread: tuple[str, ...]

    def __reduce__(self) -> tuple[object, ...]:
        # read-only mappings cannot be pickled; their contents can
        clues = {
            family: clue if isinstance(clue, str) else dict(clue)
            for family, clue in self.clues.items()
        }
        found = [(*one[:3], dict(one.gives)) for one in self.found]
        return (_again, (clues, dict(self.methods), found, self.unread))


def read_medium(text: str, priors: Priors | None = None) -> Medium:
    """Read a medium text by the rules of ``priors`` (the shipped ones by default).

    Any text is read, in time that grows with its length; one from which nothing is read has no
    clues. Raises ScarfdateError where ``text`` is not text.
    """
    if not isinstance(text, str):
        raise ScarfdateError(
            f'medium: a text is allowed, got {shown(text)}; write it as "silk, screen printed", '
            'and "" where a record states none'
        )
    known = priors or load_priors()
    reader = MediumReader(known.medium, known.vocabulary)
    reader.read(text)
    methods = {
        family: method
        for family, method in reader.methods.items()
        if family in reader.clues and method in known.confusion[family].matrices
    }
    return Medium(
        MappingProxyType(reader.clues),
        MappingProxyType(methods),
        tuple(reader.found),
        tuple(reader.unread),
    )


def _again(
    clues: dict[str, Clue],
    methods: dict[str, str],
    found: list[tuple[int, int, str, dict[str, str]]],
    unread: tuple[str, ...],
) -> Medium:
    frozen = {
        family: clue if isinstance(clue, str) else MappingProxyType(clue)
        for family, clue in clues.items()
    }
    return Medium(
        MappingProxyType(frozen),
        MappingProxyType(methods),
        tuple(
            Found(start, end, phrase, MappingProxyType(gives))
            for start, end, phrase, gives in found
        ),
        unread,
    )
