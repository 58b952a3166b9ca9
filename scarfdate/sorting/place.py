"""Where the keys go: which clue is marked or open, what has been typed, which word is marked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scarfdate.errors import ScarfdateError
from scarfdate.sorting.clue import TableClue
from scarfdate.sorting.screen import CLUES, TYPING, WORDS
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """``clue``: the marked one, which is open unless ``where`` is "clues"; ``typed``: so far; ``word``: the number
    of the marked word among those shown; ``method``: chosen for a clue of which nothing is noted yet."""

    clue: str
    where: str = CLUES
    typed: str = ""
    word: int = 0
    method: str = ""


def opened(clue: TableClue, noted: str) -> Place:
    """A clue just opened: its words, with the one noted marked; or, where it is typed, what was noted."""
    if not clue.words:
        return Place(clue=clue.name, where=TYPING, typed=noted)
    at = clue.words.index(noted) if noted in clue.words else 0
    return Place(clue=clue.name, where=WORDS, word=at)


def words_shown(priors: Priors, clue: TableClue, place: Place) -> tuple[str, ...]:
    """The words to choose from: all of them, or those that fit what was typed, the nearest first."""
    if place.where != TYPING:
        return clue.words
    if not clue.words:
        return ()
    return tuple(dict.fromkeys(_fitting(priors, clue, plain(place.typed))))


def _fitting(priors: Priors, clue: TableClue, typed: str) -> Iterator[str]:
    known = list(priors.vocabulary.words(clue.name))
    yield from (word for written, word in known if word and written == typed)
    yield from (word for word in (*clue.words, *clue.wider) if plain(word).startswith(typed))
    if typed:
        yield from (word for written, word in known if word and written.startswith(typed))
        yield from (word for word in clue.words if typed in plain(word))


def is_read(priors: Priors, clue: TableClue, text: str) -> bool:
    """Whether a text is a word of a clue as it stands, or one that is read as it."""
    try:
        return bool(priors.vocabulary.canonical(clue.name, text))
    except ScarfdateError:
        return False
