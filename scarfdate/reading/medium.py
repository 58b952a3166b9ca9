"""A museum's medium text ("silk; screen printed on twill") read as clues of the vocabulary.

The rules are data (`scarfdate.tables.medium`). The longest phrase wins; what no rule knows is left
unread and counted, never guessed. What a text does not state is not looked at: "silk" says nothing
about the print. How a text is read: `scarfdate.reading.medium_reader`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from types import MappingProxyType

from scarfdate.errors import ScarfdateError, shown
from scarfdate.reading.medium_clues import Clue, MediumClues
from scarfdate.reading.medium_reader import MediumPhrase, MediumReader
from scarfdate.tables.priors import Priors, checked_priors

__all__ = ["Clue", "Medium", "MediumPhrase", "read_medium"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Medium:
    """What a medium text says of cloth, colouring, hem and the like; words for the object ("shawl") are passed over,
    so that ``form`` is never among the clues.

    ``clues``: family to value, parent word or weights, as `Scarf` takes them; a family that the text
    does not state is not there. ``methods``: how a family was looked at, where the text says so.
    ``phrases``: every phrase read, in order, not overlapping. ``unread``: words that no rule knows.
    """

    clues: Mapping[str, Clue]
    methods: Mapping[str, str]
    phrases: tuple[MediumPhrase, ...] = field(repr=False)
    unread: tuple[str, ...]

    def __post_init__(self) -> None:
        clues = {
            family: clue if isinstance(clue, str) else MappingProxyType(dict(clue))
            for family, clue in self.clues.items()
        }
        phrases = tuple(
            one._replace(gives=MappingProxyType(dict(one.gives))) for one in self.phrases
        )
        object.__setattr__(self, "clues", MappingProxyType(clues))
        object.__setattr__(self, "methods", MappingProxyType(self.methods))
        object.__setattr__(self, "phrases", phrases)

    def __reduce__(self) -> tuple[object, ...]:
        # read-only mappings cannot be pickled; their contents can
        own = {
            "clues": {
                family: clue if isinstance(clue, str) else dict(clue)
                for family, clue in self.clues.items()
            },
            "methods": dict(self.methods),
            "phrases": tuple(one._replace(gives=dict(one.gives)) for one in self.phrases),
            "unread": self.unread,
        }
        return partial(Medium, **own), ()  # type: ignore[arg-type]


def read_medium(text: str, *, priors: Priors | None = None) -> Medium:
    """Read a medium text by the rules of ``priors`` (the shipped ones by default).

    Any text is read, in time that grows with its length; one from which nothing is read has no
    clues. Raises ScarfdateError where ``text`` is not text, or ``priors`` are no priors.
    """
    if not isinstance(text, str):
        raise ScarfdateError(
            f'medium: a text is allowed, got {shown(text)}; write it as "silk, screen printed", '
            'and "" where a record states none'
        )
    known = checked_priors(priors)
    read = MediumReader(known.medium).read(text)
    clues = MediumClues(known.medium, known.vocabulary, read).all()
    methods = {
        family: method
        for family, method in read.methods.items()
        if family in clues and method in known.confusion[family].matrices
    }
    return Medium(
        clues=clues, methods=methods, phrases=tuple(read.phrases), unread=tuple(read.unread)
    )
