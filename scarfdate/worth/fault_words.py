"""The condition as a dealer writes it in a cell: "2 small pulls near edge, faint stain corner".

A cell is sentences, and these are clauses, parted by commas and words like "and". In a clause the words before
a fault are of it ("2 small pulls"), and so are a place, a size and a degree after it that it has not yet. A
clause without a fault goes on about the last one of its sentence ("hole 3 mm centre, running"). "no" denies the
faults of its clause, and what "or" joins to them. What no table knows is named in ``not_read``; no text raises
an error.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from scarfdate.errors import ScarfdateError
from scarfdate.tables.priors import Priors
from scarfdate.tables.worth_condition import ConditionTables
from scarfdate.worth.fault import MOST, Fault
from scarfdate.worth.fault_items import (
    AND,
    BUT,
    COMMA,
    DOUBT_LAST,
    DOUBT_NEXT,
    LENGTH,
    NUMBER,
    OR,
    PART,
    STOP,
    UNREAD,
    ConditionWords,
    Item,
)

_LONGEST = (
    2000  # characters that are read; a longer text is a story, and its rest is named as not read
)
_EITHER = 0.5  # the chance of each of two faults that "or" joins
_MENDED_AS_REPAIR = frozenset({"pull", "run", "hole", "tear", "moth", "loose-hem"})
_REPAIR = "repair"
_ONE_OF_A_KIND = ("size_mm", "size")  # of which a fault has one or the other


class ConditionRead(NamedTuple):
    """What a cell says of the condition.

    ``faults``, and ``stated``: the grade that is written in words, None for none. ``seen``: whether it says
    anything of the condition; without faults and grade such a piece is faultless. ``not_read``: the words that
    no table knows, or that belong to no fault. ``denied``: kinds of which there are none, nothing more being said.
    ``named``: how a listing says the grade, where its word says another thing ("signs of wear").
    """

    faults: tuple[Fault, ...]
    stated: str | None
    seen: bool
    not_read: tuple[str, ...]
    denied: tuple[str, ...] = ()
    named: str = ""


@dataclass
class _Draft:
    """A fault while it is read. ``told``: its fields; ``by``: the sign or word before its clause."""

    kind: str
    by: str
    plural: bool = False
    denied: bool = False
    implied: bool = False
    named: str = ""
    done: bool = False
    told: dict[str, Any] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)

    def lacks(self, name: str) -> bool:
        same = _ONE_OF_A_KIND if name in _ONE_OF_A_KIND else (name,)
        return not any(one in self.told for one in same)

    @property
    def bare(self) -> bool:
        return not self.told

    @property
    def empty(self) -> bool:
        """Whether nothing at all is said of it, not even that it is not there."""
        return self.bare and not self.denied


def read_words(text: str, priors: Priors, tables: ConditionTables, kind: str = "") -> ConditionRead:
    """What a text says of the condition; ``kind``: the kind of fault in whose column it stands."""
    words = _words(priors, tables)
    reader = _Reader(tables, kind)
    for item in words.items(text[:_LONGEST]):
        reader.take(item)
    read = reader.result()
    in_order = sorted(read.not_read, key=text.find)
    return read._replace(not_read=(*in_order, *(["…"] if len(text) > _LONGEST else [])))


def _words(priors: Priors, tables: ConditionTables) -> ConditionWords:
    key = "words of condition"
    made = priors._compiled.get(key)
    if not isinstance(made, ConditionWords):
        made = priors._compiled[key] = ConditionWords(priors, tables.words)
    return made


class _Reader:
    def __init__(self, tables: ConditionTables, kind: str) -> None:
        self.tables = tables
        self.drafts: list[_Draft] = []
        self.current: _Draft | None = None
        # what is said before its fault, and by which word
        self.waiting: dict[str, tuple[Any, str]] = {}
        self.denying = ""  # the word that denies what comes
        self.by = ""
        self.grades: list[tuple[str, str]] = []  # and how a listing calls it
        self.faultless = self.unknown = False
        self.unread: list[str] = []
        self.unread_before = 0  # words that were not read when the clause began
        self.earlier = 0  # faults of the sentences before
        if kind:
            self._begin(kind, implied=True)

    def take(self, item: Item) -> None:
        """Take in one thing more."""
        gives, means = item.gives, item.means
        if gives in (PART, BUT):
            self._end_clause(of_sentence=means == STOP)
            self.by = means or BUT
        elif gives in ("kind", "kinds", "mended"):
            self._kind(means, item.named, plural=gives == "kinds", done=gives == "mended")
        elif gives == "without":
            self._begin(means)
            self.drafts[-1].denied = True
        elif gives in ("place", "size", "degree", "spreading"):
            self._say(gives, means == "yes" if gives == "spreading" else means, item.text)
        elif gives == LENGTH:
            self._say("size_mm", item.number, item.text)
        elif gives in (NUMBER, "count", "about"):
            self._number(item)
        elif gives in (DOUBT_NEXT, DOUBT_LAST):
            self._doubt(item)
        elif gives == "not":
            self.denying = item.text
        elif gives == "not last" and self.current is not None:
            self.current.denied = True
        elif gives in ("grade", "faultless", "fault"):
            self._overall(item)
        elif gives == "unknown":
            self.unknown = True
        elif gives in (UNREAD, "not last"):
            self.unread.append(item.text)

    def _begin(
        self, kind: str, named: str = "", *, plural: bool = False, implied: bool = False
    ) -> None:
        self.current = _Draft(kind, self.by, plural, bool(self.denying), implied, named)
        self.drafts.append(self.current)
        for name, (value, word) in self.waiting.items():
            self.current.told[name], self.current.words[name] = value, word
        self.waiting.clear()
        self.denying = ""

    def _kind(self, kind: str, named: str, *, plural: bool, done: bool) -> None:
        """A fault; ``done``: what is done to one ("mended")."""
        last = self.current
        if last is not None and last.implied and last.bare:
            self.drafts.remove(last)  # the cell names the kind of its column, or a closer one
        elif last is not None and not self.waiting and not self.denying:
            if last.kind == kind and last.bare:
                last.plural = last.plural or plural  # "stain marks"
                last.named = last.named or named
                return
            if _REPAIR in (last.kind, kind) and {last.kind, kind} & _MENDED_AS_REPAIR:
                last.kind, last.plural = _REPAIR, last.plural or plural  # "repaired hole"
                last.named, last.done = "", False
                return
        self._begin(kind, named, plural=plural)
        self.drafts[-1].done = done

    def _say(self, name: str, value: Any, word: str) -> None:
        """A place, length or spreading is of the fault before it that lacks it; what else, of the next one."""
        of_last = name in ("place", "size_mm", "spreading")
        if of_last and self.current is not None and self.current.lacks(name):
            self.current.told[name], self.current.words[name] = value, word
        else:
            self.waiting[name] = value, word

    def _number(self, item: Item) -> None:
        number = float(item.means) if item.means else item.number
        if number == 0:
            self.denying = item.text
        elif number <= MOST:
            self.waiting["count"] = int(number), item.text
            self.waiting.pop("counted", None)
            if item.gives == "about":
                self.waiting["counted"] = False, item.text
        else:
            self.unread.append(item.text)

    def _doubt(self, item: Item) -> None:
        last = self.current or (self.drafts[-1] if self.drafts else None)
        if item.gives == DOUBT_LAST and last is not None:
            last.told["sure"] = item.number
        else:
            self.waiting["sure"] = item.number, ""

    def _overall(self, item: Item) -> None:
        if self.denying:
            if item.gives == "fault":
                self.faultless = True
            else:
                self.unread.append(f"{self.denying} {item.text}")
            self.denying = ""
        elif item.gives == "grade":
            self.grades.append((item.means, item.named))
        elif item.gives == "faultless":
            self.faultless = True
        else:
            self.unread.append(item.text)

    def _end_clause(self, *, of_sentence: bool) -> None:
        """What no fault of the clause took is of the last one of its sentence, or waits for the first."""
        self._mended()
        last = self.current or (self.drafts[-1] if self.drafts else None)
        if last is not None and (of_sentence or len(self.drafts) > self.earlier):
            for name, (value, word) in self.waiting.items():
                if last.lacks(name):
                    last.told[name], last.words[name] = value, word
                elif word and (name, value) != ("count", 1):  # "2 stains at a corner": an article
                    self.unread.append(word)
            self.waiting.clear()
        if self.denying:
            understood = len(self.unread) == self.unread_before  # unlike "stain not removable"
            if understood and self.current is not None and self.current.bare:
                self.current.denied = True  # "holes: none"
            elif understood and not self.drafts:
                self.faultless = True  # no more than "none"
            else:
                self.unread.append(self.denying)
            self.denying = ""
        self.current = None
        self.unread_before = len(self.unread)
        if of_sentence:
            self.earlier = len(self.drafts)

    def _mended(self) -> None:
        """A clause that says no more than what was done is of the fault before it: "small hole, mended"."""
        here = self.current
        if here is None or not (here.done and here.bare and here.by == COMMA) or here.denied:
            return
        before = self.drafts[-2] if len(self.drafts) > self.earlier + 1 else None
        if here is not self.drafts[-1] or before is None or before.denied:
            return
        if before.kind in _MENDED_AS_REPAIR:
            before.kind, before.named = _REPAIR, ""
            self.drafts.pop()
            self.current = before

    def result(self) -> ConditionRead:
        """All that was said."""
        self._end_clause(of_sentence=True)
        self.unread += [word for _, word in self.waiting.values() if word]
        if self.unread or self.unknown:
            # a column's name alone is no fault, where its cell is not understood
            self.drafts = [one for one in self.drafts if not (one.implied and one.empty)]
        _spread_denials(self.drafts)
        faults = tuple(self._faults())
        seen = bool(self.drafts or self.grades or self.faultless)
        order = [grade.grade for grade in self.tables.grades]
        stated, named = max(self.grades, key=lambda one: order.index(one[0]), default=(None, ""))
        denied = tuple(dict.fromkeys(one.kind for one in self.drafts if one.denied and one.bare))
        return ConditionRead(faults, stated, seen, tuple(dict.fromkeys(self.unread)), denied, named)

    def _faults(self) -> Iterator[Fault]:
        for at, draft in enumerate(self.drafts):
            if draft.denied or _said_before(self.drafts, at):
                continue
            told = dict(draft.told)
            if draft.named:
                told["named"] = draft.named
            if draft.plural and told.get("count", 1) == 1:
                told |= {"count": 2, "counted": False}
            if "size_mm" in told:
                told.pop("size", None)
            if not self.tables.kinds[draft.kind].mm and told.pop("size_mm", None) is not None:
                self.unread.append(draft.words["size_mm"])
            try:
                yield Fault(draft.kind, **told)
            except ScarfdateError:  # a length that cannot be: the fault is there all the same
                self.unread.append(draft.words.get("size_mm", ""))
                told.pop("size_mm", None)
                yield Fault(draft.kind, **told)


def _said_before(drafts: list[_Draft], at: int) -> bool:
    """Whether a fault says again what the one before it said: "sun damage, faded"."""
    draft, before = drafts[at], drafts[at - 1] if at else None
    return (
        before is not None and not before.denied and draft.by == COMMA and draft.bare and before.bare
        and (draft.kind, draft.named) == (before.kind, before.named)
    )  # fmt: skip


def _spread_denials(drafts: list[_Draft]) -> None:
    """What "or" joins to a fault that is denied is denied, too: "no holes, stains or tears"; and what "and"
    joins, where it is several of a kind and no more is said of them. Of two that "or" joins one is there."""
    for at, draft in enumerate(drafts):
        before = drafts[at - 1] if at else None
        if before is None or draft.denied:
            continue
        if not before.denied:
            if draft.by == OR:
                for one in (before, draft):
                    one.told["sure"] = min(one.told.get("sure", 1.0), _EITHER)
        elif draft.bare:
            listed = _is_listed_with_or(drafts, at)
            draft.denied = draft.by == OR or (draft.by == AND and draft.plural) or listed


def _is_listed_with_or(drafts: list[_Draft], at: int) -> bool:
    """Whether commas lead on to an "or": "no holes, stains or tears"."""
    for draft in drafts[at:]:
        if not draft.bare or draft.by not in (COMMA, AND, OR):
            return False
        if draft.by == OR:
            return True
    return False
