"""The contract of a clue, and what all clues share: a growing table of likelihood rows."""

from __future__ import annotations

import copy
import math
import threading
from abc import ABC, abstractmethod
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from typing import Any, ClassVar, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.tables.sheet import Basis

Places = NDArray[np.intp]

_LEAST = 1e-30  # so that one over a row still is a number in single precision
GROWING = threading.RLock()  # the one lock under which rows, and what is kept beside them, grow
Noted = Mapping[str, str]  # by measured family what was measured, as it was noted ("90 x 90 cm")
NO_NOTES: Noted = {}
ROUNDED_UP = 1 + 1e-9  # so that a bound is one however its factors are rounded
NOT_LOOKED_AT = 0  # the row of ones: a clue not looked at changes nothing, and needs no branch


class Rows:
    """Rows of equal length in one growing array, each scaled to a maximum of one.

    ``table`` (rows, cells), and ``log_scale`` (rows,), the natural logarithm of what each row was divided
    by; row 0 is all ones. Rows are only ever added, so an index once given stays good. Threads may read
    while one of them adds: an index is given out only when its row is complete, and adding happens under
    `GROWING`.
    """

    doublings: ClassVar[int] = (
        0  # how often any table got more room: when it is worth asking for its size
    )

    def __init__(self, cells: int) -> None:
        self.cells = cells
        self._room = np.ones((16, cells))
        self._scales = np.zeros(16)
        self.ids: dict[Hashable, int] = {}
        self.keys: list[Hashable] = [None]
        self._light = {kind: (np.ones((1, cells), np.float32), 1) for kind in (False, True)}
        self._show(1)

    def _show(self, count: int) -> None:
        self.count, self.table, self.log_scale = count, self._room[:count], self._scales[:count]

    def light(self, *, inverse: bool) -> NDArray[np.float32]:
        """The rows, or one over each, in single precision: for weighing, which needs no more."""
        with GROWING:
            held, done = self._light[inverse]
            if done < self.count:
                if len(held) < self.count:
                    room = np.empty((len(self._room), self.cells), np.float32)
                    room[:done] = held[:done]
                    held = room
                fresh = self.table[done:]
                held[done : self.count] = 1 / np.maximum(fresh, _LEAST) if inverse else fresh
                self._light[inverse] = (held, self.count)
            return held

    def add(
        self, key: Hashable, row: Array, log_scale: float = 0.0, top: float | None = None
    ) -> int:
        """Keep a row under a key, divided by its maximum or by ``top``; the index it got."""
        with GROWING:
            at = self.ids.get(key)
            if at is not None:
                return at
            at = self._with_room(1)
            top = float(row.max()) if top is None else top
            np.divide(row, top, out=self._room[at])
            self._scales[at] = np.log(top) + log_scale
            self.keys.append(key)
            self._show(at + 1)
            self.ids[key] = at  # last: who finds the index finds all of its row
            return at

    def add_all(self, keys: Sequence[Hashable], rows: Array) -> None:
        """`add` of many rows, (n, cells), under keys of which none is there twice."""
        with GROWING:
            new = [place for place, key in enumerate(keys) if key not in self.ids]
            if not new:
                return
            at, fresh = self._with_room(len(new)), rows[new]
            tops = fresh.max(axis=1)
            np.divide(fresh, tops[:, None], out=self._room[at : at + len(new)])
            self._scales[at : at + len(new)] = np.log(tops)
            self.keys += [keys[place] for place in new]
            self._show(at + len(new))
            self.ids |= {keys[place]: at + number for number, place in enumerate(new)}

    def _with_room(self, more: int) -> int:
        """The index that the next row gets, with room for so many more from there on."""
        while self.count + more > len(self._room):
            self._room = _doubled(self._room, self.count)
            self._scales = _doubled(self._scales, self.count)
            Rows.doublings += 1
        return self.count


def _doubled(room: Array, filled: int) -> Array:
    """Twice the room; what is not filled is not touched, so that it takes no memory yet."""
    found = np.empty((2 * len(room), *room.shape[1:]))
    found[:filled] = room[:filled]
    return found


class Slip(NamedTuple):
    """One part of an observation, and what it would be as a slip: a thing noted at random.

    ``part``: its family. ``says``: what was noted, in words. ``chance``: P(a slip). ``seen``: P(what was
    noted | a slip); for a measurement its density per unit of natural log. ``step``: the width in natural log of
    the step that a density is read on, 1 for a word. ``rest``: the key of what is left of the observation, or None.
    """

    part: str
    says: str
    chance: float
    seen: float
    step: float
    rest: Hashable


class Amiss(NamedTuple):
    """The key of an observation with one part of it a slip or a misreading: not as it was noted."""

    key: Hashable
    part: str


class FirstPrinting(NamedTuple):
    """The key of an observation where nothing that it bears is of a design printed again later."""

    key: Hashable


class Bound(NamedTuple):
    """The first year that there can be a piece with what was seen, taken as a certain fact.

    ``clue``: the family seen; ``reason``: why not before, in plain words; ``source``: a dated fact, or the
    table and its basis.
    """

    year: int
    clue: str
    reason: str
    source: str

    def __str__(self) -> str:
        return f"Not before {self.year}: {self.reason}"


class Behind(NamedTuple):
    """The row of a table that says what a clue says about a year, in words where it has some of its own.

    ``fact``: the dated fact nearest to the year, with its status; "" where none is known.
    """

    row: Basis
    says: str = ""
    fact: str = ""


class Asked(NamedTuple):
    """A question to the tables: the year that an answer begins or ends with, in a grade and a market."""

    year: int
    earliest: bool
    grade: str
    market: str


class Within(NamedTuple):
    """A clue of a word that is a part of another clue: itself, its ``key`` there, and ``row``, the likelihood of the whole
    observation, (markets, grades, years), where that of the part is another."""

    clue: Clue
    key: Hashable
    row: Callable[[Array], Array]


class Drawn(NamedTuple):
    """What is drawn of a clue on n pieces: columns as a dealer's frame has them, and what is true."""

    seen: dict[str, list[object]]
    truth: dict[str, list[object]]


class Clue(ABC):
    """One clue. Subclasses say how likely an observation is in every state; the rest is here.

    ``reads`` is "making" or "style"; ``by_market`` whether the market matters. ``families`` are the
    families whose cells make up the clue's key: a shares family and what is measured on it; ``needs``
    those that its key is made from, with what must be known of others. ``usual_rows``: how many rows
    it can have, infinite where that is open.
    """

    usual_rows: float = math.inf

    def __init__(
        self,
        name: str,
        title: str,
        reads: str,
        families: tuple[str, ...],
        shape: tuple[int, int, int],
    ) -> None:
        self.name, self.title, self.reads, self.families = name, title, reads, families
        self.needs = families
        self.shape = shape  # (markets, or 1 where the market does not matter; grades; years)
        self.rows = Rows(int(np.prod(shape)))

    @property
    def by_market(self) -> bool:
        """Whether the likelihood differs between markets."""
        return self.shape[0] > 1

    @abstractmethod
    def key(self, seen: Mapping[str, Any]) -> tuple[Hashable, Sequence[str]]:
        """The key of what was seen, by family as a `Scarf` has it (None: nothing), and warnings.

        Raises RangeError where it cannot have been seen by the last year of the grid.
        """

    @abstractmethod
    def likelihood(self, key: Hashable) -> Array:
        """P(what was seen | market, grade, year) of shape ``self.shape``, all above zero; for a measurement its density
        per unit of natural log."""

    @abstractmethod
    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """What can each be a slip by itself: the word noted, and everything measured beside it."""

    @abstractmethod
    def amiss(self, key: Hashable, part: str) -> Array:
        """Of `likelihood` what is owed to a slip or a misreading of one part: of a word, all but the chance that it was
        noted as the piece is and without a slip."""

    def amiss_at_most(self, keys: Sequence[Hashable]) -> Array:
        """Of each observation no less than the largest value that `amiss` has for any part, (n,): a quick bound, for a
        long table in which next to nothing is amiss. Infinite where a kind knows none."""
        return np.full(len(keys), math.inf)

    def first_printing(self, key: Hashable) -> Array | None:
        """Of `likelihood` what is not owed to a design printed again later; None where no table says."""
        return None

    def design_year(self, key: Hashable) -> int | None:
        """The year seen that can be that of the design alone; None where none is."""
        return None

    def bound(self, key: Hashable) -> Bound | None:
        """The first year of what was seen, taken as a certain fact; None where nothing bounds."""
        return None

    def by_slip(self, key: Hashable) -> float:
        """P(all that was noted | all of it is a slip), in the units of `likelihood`."""
        return float(np.prod([slip.seen for slip in self.slips(key)]))

    @abstractmethod
    def says(self, key: Hashable, noted: Noted = NO_NOTES) -> str:
        """What was seen as a sentence names it (``wording.csv``), with measurements as they were noted."""

    def is_reason(self, key: Hashable) -> bool:
        """Whether a sentence may give it as the reason for a decade."""
        return True

    def wrong(self, part: str) -> str:
        """What is the matter with a part that is amiss, in words."""
        return "a slip or a misreading"

    def supposes(self, key: Hashable, part: str) -> str:
        """What holds if a part is right, such as "it is polyester"; "" where that needs no words of its own."""
        return ""

    def started_again(self) -> Self:
        """The same clue with no rows yet."""
        fresh = copy.copy(self)
        fresh.rows = Rows(int(np.prod(self.shape)))
        return fresh

    @abstractmethod
    def behind(self, key: Hashable, asked: Asked) -> Behind:
        """The row of a table that says most about the year asked for."""

    def silences(self, key: Hashable) -> tuple[str, ...]:
        """Clues that say nothing beside this one, because it says the same and more."""
        return ()

    def apart(self, key: Hashable) -> Mapping[str, Hashable]:
        """By clue the keys of what it silences, and its own without it (None: nothing), as if each stood by itself."""
        return {}

    def within(self, key: Hashable) -> Iterable[Within]:
        """The clues of words whose tables its likelihood is made from: itself, or those that it silences."""
        return ()

    def drawn(
        self, at: Places, grade: Places, market: Places, looked_at: float, rng: np.random.Generator
    ) -> Drawn:
        """What is seen on n pieces of these years, grades and markets; nothing where no table says so."""
        return Drawn({}, {})

    def held(self, key: Hashable) -> Hashable:
        """What of an observation no table can draw anew, so that it is held as it was seen."""
        return key

    def again(
        self, key: Hashable, at: Places, grade: Places, market: Places, rng: np.random.Generator
    ) -> list[Hashable]:
        """Keys of n pieces with the same things looked at: what is not held, drawn anew."""
        return [key] * len(at)

    def index(self, key: Hashable) -> int:
        """The row of an observation; a key of None was not looked at."""
        if key is None:
            return NOT_LOOKED_AT
        found = self.rows.ids.get(key)
        if found is None:
            found = self.rows.add(key, self._row(key).reshape(-1))
        return found

    def indices(self, keys: Sequence[Hashable]) -> list[int]:
        """`index` of many observations; what is new among them is made together where a kind can do so."""
        known = self.rows.ids
        found = [NOT_LOOKED_AT if key is None else known.get(key, -1) for key in keys]
        new = dict.fromkeys(keys[place] for place, row in enumerate(found) if row < 0)
        if len(new) > 1:
            self._make_all([*new])
        return [self.index(keys[place]) if row < 0 else row for place, row in enumerate(found)]

    def keys(self, seen: Mapping[str, Sequence[Any]]) -> list[Hashable] | None:
        """`key` of many observations, by family what was seen in each, of a kind that refuses nothing, finds nothing odd
        and silences no other clue. None: it is asked for one by one."""
        return None

    def _make_all(self, keys: Sequence[Hashable]) -> None:
        """Rows of observations that have none yet, each as it would be by itself, to the bit."""
        for key in keys:
            self.index(key)

    def _row(self, key: Hashable) -> Array:
        """The likelihood of an observation, or of one way in which it can have come about."""
        if isinstance(key, Amiss):
            return self.amiss(key.key, key.part)
        if isinstance(key, FirstPrinting):
            first = self.first_printing(key.key)
            return self.likelihood(key.key) if first is None else first
        return self.likelihood(key)


def drawn(chances: Array, rng: np.random.Generator) -> Places:
    """One place for each column of (places, n) chances, whose columns sum to one."""
    total = np.cumsum(chances, axis=0)
    return np.asarray(
        (rng.random(chances.shape[1]) * total[-1] >= total).sum(axis=0), dtype=np.intp
    )


def normal_density(x: float | Array, centre: Array, spread: Array) -> NDArray[np.float64]:
    """Density of a normal distribution at x, for arrays of centres and spreads."""
    return np.asarray(np.exp(-0.5 * ((x - centre) / spread) ** 2) / (spread * np.sqrt(2 * np.pi)))
