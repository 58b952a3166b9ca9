"""`Condition`: the faults of a piece, and what they leave of its price.

    Condition()                                            # looked at, and no fault seen
    Condition([Fault("pull", place="edge", count=2)])
    Condition(["faint stain in corner", {"kind": "hole", "size_mm": 3}])
    Condition.read("2 small pulls near edge, faint stain corner")

A piece whose condition nobody looked at has None in its place.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import KW_ONLY, dataclass, field
from functools import cached_property
from numbers import Real
from statistics import NormalDist
from typing import Any

from scarfdate.conventions import LEVEL
from scarfdate.errors import ScarfdateError, WordError, did_you_mean, is_one_of, shown
from scarfdate.reading.cells import as_float, as_typed, is_blank
from scarfdate.show import page
from scarfdate.tables.listing import checked_language
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.tables.worth_condition import ConditionTables
from scarfdate.worth.fault import Fault, fault_of
from scarfdate.worth.fault_phrases import phrase
from scarfdate.worth.fault_words import ConditionRead, read_words
from scarfdate.worth.losses import Kept, kept_beside
from scarfdate.worth.mending import mendings_of


@dataclass(frozen=True)
class Condition:
    """The faults of a piece that was looked at; none: it is faultless.

    ``faults``: each a `Fault`, a mapping of its fields, or text as a dealer writes it. ``stated``: the grade
    that somebody wrote, in the words of ``condition_grades.csv`` ("good"); faults do not better it.
    ``not_read``: words of a cell that were not understood. ``denied``: kinds of fault of which somebody wrote that
    there are none; ``written``: the cell that it was read from; ``named``: how a listing says the grade, where
    somebody wrote no grade but what comes to one ("signs of wear"). ``priors``: whose tables it goes by; the shipped
    ones where left out.

    Raises WordError for words that are not known, RangeError for numbers that cannot be, and ScarfdateError
    where the priors have no tables of condition. `Condition.read` raises none of them.
    """

    faults: tuple[Fault, ...] = ()
    _: KW_ONLY
    stated: str | None = None
    not_read: tuple[str, ...] = ()
    denied: tuple[str, ...] = field(default=(), compare=False)
    written: str = field(default="", compare=False)
    named: str = field(default="", compare=False)
    priors: Priors | None = field(default=None, repr=False, compare=False)

    def __post_init__(self) -> None:
        given: Any = self.faults
        if given is None:
            raise ScarfdateError(
                "faults of a condition: got None; leave them out for a piece without fault, and have None "
                "for the whole condition of a piece that nobody looked at"
            )
        if isinstance(given, (str, Fault, Mapping)):
            given = (given,)
        if not isinstance(given, Iterable) or not getattr(given, "ndim", 1):
            raise ScarfdateError(
                f"faults of a condition: a list of them is allowed, got {shown(given)}"
            )
        if not isinstance(self.not_read, (tuple, list)) or not all(
            isinstance(one, str) for one in self.not_read
        ):
            raise ScarfdateError(
                f"not_read: a tuple of texts is allowed, got {shown(self.not_read)}"
            )
        tables = _tables(self.priors)
        grades = [grade.grade for grade in tables.grades]
        if self.stated is not None and not is_one_of(self.stated, grades):
            step = did_you_mean(self.stated, grades)
            raise WordError(f"stated: no grade {shown(self.stated)} is known; {step}")
        faults: list[Fault] = []
        stated = [] if self.stated is None else [(self.stated, self.named)]
        denied = [*self.denied]
        for one in given:
            read = self._from(one, tables)
            denied += read.denied
            faults += read.faults
            stated += [(read.stated, read.named)] if read.stated is not None else []
        object.__setattr__(self, "faults", tuple(faults))
        worst = max(stated, key=lambda one: grades.index(one[0]), default=(None, ""))
        object.__setattr__(self, "stated", worst[0])
        object.__setattr__(self, "named", worst[1])
        object.__setattr__(self, "denied", tuple(dict.fromkeys(denied)))
        object.__setattr__(self, "not_read", tuple(self.not_read))

    def _from(self, one: object, tables: ConditionTables) -> ConditionRead:
        if isinstance(one, Mapping):
            one = fault_of(one)
        if isinstance(one, Fault):
            return ConditionRead((one,), None, True, ())
        if not isinstance(one, str):
            raise ScarfdateError(
                f"a fault: a Fault, a mapping or text is allowed, got {shown(one)}; "
                'write Fault("pull", place="edge") or "pull at edge"'
            )
        read = read_words(one, checked_priors(self.priors), tables)
        if read.not_read or not read.seen:
            what = " ".join(read.not_read) or one
            raise WordError(f"a fault: {shown(what)} is not understood in {shown(one)}")
        return read

    @classmethod
    def read(cls, text: object, priors: Priors | None = None) -> Condition | None:
        """The condition that a cell says, as a dealer writes it; never raises for any cell.

        None where the cell is blank, says that nobody looked, or says nothing that is understood. Words that
        were not understood beside others are in ``not_read``. A number is a number of faults of no known kind:
        only 0 is understood.
        """
        read = read_condition(text, priors)
        if not read.seen:
            return None
        return cls(
            read.faults, stated=read.stated, not_read=read.not_read, denied=read.denied,
            written=as_typed(text), named=read.named, priors=priors,
        )  # fmt: skip

    @property
    def kept(self) -> float:
        """The median part of a faultless piece's price that is left, above 0 to 1."""
        return math.exp(self.log_kept)

    @property
    def log_kept(self) -> float:
        """Natural log of ``kept``: 0 or less."""
        return self._kept.log_kept

    @property
    def log_sd(self) -> float:
        """Standard deviation of ``log_kept`` from piece to piece of this condition: 0 or more."""
        return self._kept.log_sd

    @property
    def worthless(self) -> bool:
        """Whether no more than the cloth is left."""
        return self._kept.cloth_only

    @property
    def grade(self) -> str:
        """The condition in plain words, such as "very good", by ``kept``; the best is without fault."""
        *grades, cloth = _tables(self.priors).grades
        if self.worthless:
            return cloth.grade
        able = grades[1:] if self.faults else grades
        return next((one.grade for one in able if self.kept >= one.least), grades[-1].grade)

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """Between what parts of a faultless price such pieces lie, so many of them (``level``, above 0 to 1)."""
        if not isinstance(level, Real) or not 0 < level < 1:
            raise ScarfdateError(f"level: between 0 and 1, got {shown(level)}")
        wide = self.log_sd * NormalDist().inv_cdf((1 + level) / 2)
        return math.exp(self.log_kept - wide), min(math.exp(self.log_kept + wide), 1.0)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to beware of before it is cleaned or mended, in English."""
        return self.cautions_in("en")

    def cautions_in(self, language: str) -> tuple[str, ...]:
        """The same in "en", "de", "fr" or "it"; WordError for another language."""
        language = checked_language(language)
        kinds = {fault.kind for fault in self.faults}
        every = _tables(self.priors).cautions.values()
        return tuple(one.text[language] for one in every if kinds & {*one.kinds})

    def words(self, language: str = "en") -> tuple[tuple[Fault, str], ...]:
        """Each fault and how a listing writes it, in "en", "de", "fr" or "it"; WordError for another."""
        language = checked_language(language)
        tables = _tables(self.priors)
        return tuple((fault, phrase(fault, tables, language)) for fault in self.faults)

    def denied_in(self, language: str) -> str:
        """The kinds of which there are none, as a listing writes it ("not seen: holes, stains"); "" for none."""
        say = _tables(self.priors).phrases
        kinds = ", ".join(say["many", kind][checked_language(language)] for kind in self.denied)
        return (
            say.get(("state", "denied"), {}).get(language, "").format(kinds=kinds) if kinds else ""
        )

    def stated_in(self, language: str) -> str:
        """The grade that somebody wrote, in "en", "de", "fr" or "it"; "" for none."""
        if self.stated is None:
            return ""
        say = _tables(self.priors).phrases
        key = ("one", self.named) if ("one", self.named) in say else ("grade", self.stated)
        return say[key][checked_language(language)]

    def grade_in(self, language: str) -> str:
        """The grade in "en", "de", "fr" or "it"; WordError for another language."""
        return _tables(self.priors).phrases["grade", self.grade][checked_language(language)]

    def mending(self, priors: Priors | None = None) -> tuple[Mend, ...]:
        """What can be done about its faults, what leaves most of the price first."""
        priors = priors if priors is not None else self.priors
        tables = _tables(priors)
        found = [
            Mend(
                fault=fault,
                what=one.what,
                minutes=one.minutes * fault.count,
                cost_words=one.cost,
                risk=one.risk,
                won_back=one.won_back,
                caution=" ".join(tables.cautions[name].text["en"] for name in one.cautions),
                condition_after=Condition(after, stated=self.stated, priors=priors),
            )
            for fault, one, after in mendings_of(self.faults, tables)
        ]
        return tuple(sorted(found, key=lambda mend: -mend.condition_after.kept))

    def __str__(self) -> str:
        low, high = self.interval()
        tables = _tables(self.priors)
        listed = "; ".join(words for _, words in self.words())
        seen = listed or ("" if self.stated else tables.phrases["state", "faultless"]["en"])
        part = f"about {self.kept:.0%} of the" if self.log_kept else "the whole"
        leaves = f"leaves {part} price of a faultless piece"
        between = f" ({LEVEL:.0%} of such pieces: {low:.0%} to {high:.0%})" if self.log_sd else ""
        text = f"{self.grade}{f': {seen}' if seen else ''}\n{leaves}{between}"
        if self.not_read:
            text += f"\nnot understood: {', '.join(self.not_read)}"
        return text

    def _repr_html_(self) -> str:
        return page.view(str(self), *([page.lines(self.cautions)] if self.cautions else []))

    @cached_property
    def _kept(self) -> Kept:
        return kept_beside(self.faults, self.stated, _tables(self.priors))


@dataclass(frozen=True, kw_only=True)
class Mend:
    """One thing that can be done about one fault.

    ``minutes``: of one's own, for all of its count; ``cost_words``: what has to be paid for; ``risk``: the
    chance, 0 to 1, that the piece is worse for it; ``won_back``: the part of what the fault costs, in
    logarithms, that is won back where it goes well; ``condition_after``: the condition then.
    """

    fault: Fault
    what: str
    minutes: float
    cost_words: str
    risk: float
    won_back: float
    caution: str
    condition_after: Condition

    def __str__(self) -> str:
        after = self.condition_after
        return (
            f"{self.what}: {self.minutes:g} minutes, cost: {self.cost_words}; then {after.grade}, "
            f"{after.kept:.0%} of the price of a faultless piece; {self.risk:.0%} go wrong"
            + (f". {self.caution}" if self.caution else "")
        )


def read_condition(cell: object, priors: Priors | None = None, kind: str = "") -> ConditionRead:
    """What a cell of any sort says of the condition, with the words that were not understood.

    ``kind``: the kind of fault in whose column it stands; then a number is how many there are. Never raises
    for any cell.
    """
    known = checked_priors(priors)
    if is_blank(cell):
        return ConditionRead((), None, False, ())
    if isinstance(cell, bool):
        cell = ("1" if cell else "0") if kind else as_typed(cell)
    number = as_float(cell)
    if number is not None:
        whole = math.isfinite(number) and number.is_integer()
        if not whole or not (kind or number == 0):
            return ConditionRead((), None, False, (shown(cell),))
        cell = str(int(number))
    if not isinstance(cell, str):
        return ConditionRead((), None, False, (shown(cell),))
    return read_words(cell, known, _tables(known), kind)


def _tables(priors: Priors | None) -> ConditionTables:
    tables = checked_priors(priors).condition
    if tables is None:
        raise ScarfdateError(
            "these priors say nothing of condition; add the files of worth/ from the shipped ones"
        )
    return tables
