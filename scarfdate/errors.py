"""What can go wrong, said so that a person can mend it.

    ScarfdateError            anything this library refuses
    ├── WordError             a word that the vocabulary does not know
    ├── RangeError            a number that cannot be
    ├── TableError            a frame or file of scarves that cannot be read
    ├── PriorsError           a priors folder with faults; carries them all
    └── NotInstalled          a package that an extra brings; an ImportError, too

Every message says what is wrong, what was got, what is allowed and what to do next.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas

_ALIKE = 0.75  # of 1: of four letters one may be wrong
_LISTED, _LONGEST_LINE = 40, 400  # faults that one message lists, and characters of each
_SHOWN = 60  # characters of a person's text that an error repeats


class ScarfdateError(ValueError):
    """Anything this library refuses; a subclass of ``ValueError``."""


class WordError(ScarfdateError):
    """A word that the vocabulary does not know."""


class RangeError(ScarfdateError):
    """A number that is not finite, or outside what is possible."""


class TableError(ScarfdateError):
    """A frame or a file of scarves that cannot be read at all."""


def _on_one_line(name: str) -> str:
    """A name of a file as a message can show it: whoever names a file writes no line of the message."""
    return "".join(letter if letter.isprintable() else "?" for letter in name)


@dataclass(frozen=True, slots=True)
class FileFault:
    """One thing wrong in one place of a file; ``row`` counts lines from 1, the header being 1."""

    file: str
    row: int | None
    column: str | None
    problem: str
    got: str = ""
    next_step: str = ""

    def __str__(self) -> str:
        place = _on_one_line(self.file)
        if self.row is not None:
            place += f", row {self.row}"
        if self.column is not None:
            place += f", column {self.column}"
        got = f" (got {self.got})" if self.got else ""
        step = f"; {self.next_step}" if self.next_step else ""
        return f"{place}: {self.problem}{got}{step}"


class PriorsError(ScarfdateError):
    """A priors folder that does not hold together. ``faults`` has every fault found."""

    def __init__(self, folder: str, faults: Sequence[FileFault]) -> None:
        self.folder = folder
        self.faults = tuple(faults)
        lines = "  " + listed(self.faults, "scarfdate check-priors lists them all")
        count = "1 fault" if len(self.faults) == 1 else f"{len(self.faults)} faults"
        super().__init__(f"{count} in the priors folder {_on_one_line(folder)}:\n{lines}")

    def __reduce__(self) -> tuple[object, tuple[object, ...]]:
        # an exception is made again from its message alone, which would hang a pool of processes
        return (type(self), (self.folder, self.faults))

    def to_frame(self) -> pandas.DataFrame:
        """All faults as a frame: file, row, column, problem, got, next_step."""
        import pandas as pd

        columns = ["file", "row", "column", "problem", "got", "next_step"]
        return pd.DataFrame(
            [[getattr(fault, column) for column in columns] for fault in self.faults],
            columns=columns,
        )


def listed(faults: Sequence[object], otherwise: str = "mend these first") -> str:
    """Faults one under the other; of many the first and how many there are ``otherwise``, each of bounded length."""
    lines = [str(fault)[:_LONGEST_LINE] for fault in faults[:_LISTED]]
    if len(faults) > _LISTED:
        lines.append(f"and {len(faults) - _LISTED} more; {otherwise}")
    return "\n  ".join(lines)


class NotInstalled(ScarfdateError, ImportError):
    """Something asked for needs a package that is not installed; the message names the extra."""


def needed(module: str, extra: str, what: str) -> ModuleType:
    """An optional module, imported; ``what`` begins the error, a NotInstalled, where its ``extra`` is not installed."""
    try:
        return import_module(module)
    except ModuleNotFoundError as error:
        if error.name is None or error.name.partition(".")[0] != module.partition(".")[0]:
            raise  # it is installed, and lacks something itself
        name = module.partition(".")[0]
        raise NotInstalled(
            f'{what} needs {name}, which is not installed; pip install "scarfdate[{extra}]"'
        ) from None


def shown(value: object) -> str:
    """A person's value as an error repeats it: quoted, on one line, cut to a bearable length."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        value = int(value)  # a spreadsheet's 196.0 was written as 196
    text = (value if isinstance(value, str) else in_text(value))[: _SHOWN + 1]
    text = "".join(letter if letter.isprintable() else "?" for letter in text)
    return repr(text[:_SHOWN] + "…") if len(text) > _SHOWN else repr(text)


def is_one_of(value: object, words: Iterable[str]) -> bool:
    """Whether an argument is one of some words; an array or a missing value of pandas cannot be asked by ``in``."""
    return isinstance(value, str) and value in words


def in_text(value: object, write: Callable[[object], str] = repr) -> str:
    """A value as Python writes it, and in words where a whole number has more digits than Python prints."""
    try:
        return write(value)
    except ValueError:
        return f"{type(value).__name__} with a number of too many digits"


def nearest(word: str, known: Iterable[str], count: int = 3, alike: float = _ALIKE) -> list[str]:
    """The known words hardly different from ``word``, best first: a wrong hint is worse than none.

    None for texts too long to be a word.
    """
    if len(word) > _SHOWN:
        return []
    words = list(dict.fromkeys(known))
    same = [each for each in words if each.casefold() == word.casefold()]
    return same or get_close_matches(word, words, n=count, cutoff=alike)


def did_you_mean(word: object, known: Sequence[str], alike: float = _ALIKE) -> str:
    """The end of an error about an unknown word: the nearest known ones, or all of them."""
    close = nearest(word if isinstance(word, str) else in_text(word, str), known, alike=alike)
    if close:
        return "did you mean " + " or ".join(shown(item) for item in close) + "?"
    listed = ", ".join(known[:24])
    return f"allowed: {listed}" + (", …" if len(known) > 24 else "")
