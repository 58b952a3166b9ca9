"""The clues of the sorting table, in the order in which one looks: their keys, words, methods and drawings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.clues.kinds import keywords
from scarfdate.clues.sides import DERIVED, SIZE
from scarfdate.conventions import METHOD
from scarfdate.frozen import frozen
from scarfdate.sorting.piece import ID, KEPT, NOTE
from scarfdate.strokes.shown import EVERY_WORD
from scarfdate.tables.priors import Priors
from scarfdate.tables.sorting import ITSELF, key_of_each
from scarfdate.tables.word_list import look

_FRINGE, _FORM = "fringe", "form"


@dataclass(frozen=True, kw_only=True)
class TableClue:
    """One clue as it lies on the table.

    ``words``: its words in their order, none where it is typed; ``keys``: of those that have one, the key; ``wider``:
    words that leave several open; ``meanings`` and ``drawings``: by word, where there are such; ``methods``: the
    ways in which it can be looked at, the usual one first.
    """

    name: str
    title: str
    key: str
    help: str
    words: tuple[str, ...]
    keys: Mapping[str, str]
    wider: tuple[str, ...]
    meanings: Mapping[str, str]
    drawings: Mapping[str, str]
    methods: tuple[str, ...]

    @property
    def can_be_doubted(self) -> bool:
        """Whether it is weighed as words, so that doubt can be spread over them."""
        return bool(self.methods)


def clues_of(priors: Priors) -> Mapping[str, TableClue]:
    """All clues by name, made once and kept with the tables."""
    found = priors._compiled.get("sorting clues")
    if not isinstance(found, MappingProxyType):
        found = priors._compiled["sorting clues"] = frozen(_clues(priors))
    return found


def _clues(priors: Priors) -> dict[str, TableClue]:
    names = _names(priors)
    keys = key_of_each(
        names, {n: k for (n, word), k in priors.sorting_keys.items() if word == ITSELF}
    )
    return {name: _clue(priors, name, keys[name]) for name in names}


def _names(priors: Priors) -> list[str]:
    able = keywords(priors)
    names = []
    for name in priors.families:
        if name in DERIVED or name not in able:
            continue
        names += [name, SIZE, _FRINGE] if name == _FORM else [name]
    return [*names, *KEPT]


def _clue(priors: Priors, name: str, key: str) -> TableClue:
    vocabulary, family = priors.vocabulary, priors.families.get(name)
    words = vocabulary.values.get(name, ())
    stated = {w: k for (clue, w), k in priors.sorting_keys.items() if clue == name}
    methods = tuple(priors.confusion[name].matrices) if name in priors.confusion else ()
    return TableClue(
        name=name,
        title=family.title if family else name,
        key=key,
        help=look(name, priors.families),
        words=words,
        keys={word: k for word, k in key_of_each(words, stated).items() if k},
        wider=vocabulary.wider(name),
        meanings=vocabulary.meanings.get(name, {}),
        drawings={word: f"{name}/{word}" for word in words if _is_drawn(priors, name, word)},
        methods=tuple(sorted(methods, key=lambda method: method != METHOD)),
    )


def _is_drawn(priors: Priors, name: str, word: str) -> bool:
    """Whether a word has a picture of its own; one for all words does not tell them apart."""
    own = priors.drawings.get((name, word))
    return own is not None and bool(own.alt) and word != EVERY_WORD


def sheet_columns(priors: Priors) -> tuple[str, ...]:
    """The headings of a new stock sheet: all that the table can write, in the order in which one looks."""
    columns = [ID]
    for name, clue in clues_of(priors).items():
        if name not in KEPT:
            columns += [name, f"{name}_method"] if len(clue.methods) > 1 else [name]
    return (*columns, NOTE)
