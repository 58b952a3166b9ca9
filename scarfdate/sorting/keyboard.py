"""Which key does what, in each place; keys are named as a browser names them: "a", "Enter", "ArrowLeft".

Beside these there are letters of clues and numbers of trays where clues are listed, keys of words where one is open,
and every letter and sign where it is typed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scarfdate.sorting.screen import CLUES, TYPING, WORDS


@dataclass(frozen=True, slots=True)
class Key:
    """A ``key``, what it ``does`` as the screen says it, and the ``verb`` of `Sorting` that does it."""

    key: str
    does: str
    verb: str
    with_: tuple[float, ...] = ()


_DOUBT = (
    Key("ArrowRight", "more doubt", "_slide", (1,)),
    Key("ArrowLeft", "less doubt", "_slide", (-1,)),
)
_MARK = (
    Key("ArrowDown", "the next one", "_mark", (1,)),
    Key("ArrowUp", "the one before", "_mark", (-1,)),
)
KEYS: Mapping[str, tuple[Key, ...]] = {
    CLUES: (
        Key("Enter", "write this piece down, take the next", "next_piece"),
        Key("Backspace", "undo", "undo"),
        *_DOUBT,
        Key(".", "looked at in another way", "_next_method"),
        Key("Delete", "not looked at", "clear"),
        *_MARK,
        Key(" ", "open the marked clue", "open"),
        Key("=", "a second piece beside it, or the other one in hand", "side_by_side"),
        Key("0", "count the trays from nothing", "empty_trays"),
    ),
    WORDS: (
        Key("Enter", "choose the marked word", "_take"),
        Key(" ", "choose the marked word", "_take"),
        *_MARK,
        *_DOUBT,
        Key(".", "looked at in another way", "_next_method"),
        Key("Delete", "not looked at", "clear"),
        Key("/", "type the word", "_write"),
        Key("Backspace", "undo", "undo"),
        Key("Escape", "back to the clues", "close"),
    ),
    TYPING: (
        Key("Enter", "take what is marked or typed", "_take"),
        *_MARK,
        Key("Backspace", "rub out a letter", "_rub_out"),
        Key("Delete", "not looked at", "clear"),
        Key("Escape", "back", "close"),
    ),
}
OF_PLACE: Mapping[str, Mapping[str, Key]] = {
    where: {key.key: key for key in keys} for where, keys in KEYS.items()
}
