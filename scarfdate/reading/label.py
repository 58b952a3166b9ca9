"""What is printed on a label, read as marks, and the years that each mark bounds.

    >>> print(read_label("PURE SILK\\nMADE IN ITALY\\nRN 60000", market="us"))  # doctest: +SKIP

The rules are data (`scarfdate.tables.label`). How a text is read: `scarfdate.reading.label_reader`. How marks
become a likelihood over years: `scarfdate.clues.label`. A registration number and the names of those
who hold numbers stay apart: nobody is looked up.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import partial
from textwrap import wrap
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from scarfdate.conventions import MARKETS
from scarfdate.errors import ScarfdateError, shown
from scarfdate.reading.label_marks import AS_PRINTED, DATED, Mark
from scarfdate.reading.label_reader import LabelReader
from scarfdate.reading.label_says import known_words, offered_in, other_clues, unread_words
from scarfdate.reading.label_series import first_year_of, number_in_words
from scarfdate.show import page
from scarfdate.tables.knots import ANY
from scarfdate.tables.label import ORIGIN, LabelRule, LabelRules
from scarfdate.tables.priors import Priors, checked_priors

if TYPE_CHECKING:
    import pandas

__all__ = ["Bounds", "Label", "Mark", "read_label"]

_WIDTH, _DEEP = 79, " " * 6
_LONGEST_UNREAD = 300
_NO_BOUND = "nothing on it fixes an earliest or latest year"
_WHERE = {
    "us": "in the United States", "canada": "in Canada", "europe": "in Europe", "elsewhere": "elsewhere",
}  # fmt: skip
_INTACT, _FRAGMENT = "intact", "cut-or-fragment"
_LONGEST_DRAWN = 1000  # letters of a label that is drawn
_BOUNDS, _GUARDS, _NO_YEARS = "speaks of years", "proves no year", "says nothing of years"
_LINES: Mapping[str, page.Line] = {_BOUNDS: "double", _GUARDS: "dashed", _NO_YEARS: "dotted"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bounds:
    """What the marks bound by law and by the first of their kind: years, NaN where there is no bound.

    ``until`` wants a stock lag on top: labels are bought in lots and used up. Two are equal where their
    years are, no bound being equal to no bound.
    """

    not_before: float
    usual_from: float
    until: float

    def _years(self) -> tuple[float | None, ...]:
        years = (self.not_before, self.usual_from, self.until)
        return tuple(None if math.isnan(year) else year for year in years)

    def __eq__(self, other: object) -> bool:
        return self._years() == other._years() if isinstance(other, Bounds) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._years())

    def __str__(self) -> str:
        later = not (math.isnan(self.usual_from) or self.usual_from <= self.not_before)
        parts = [
            f"not before {self.not_before:.0f}" if not math.isnan(self.not_before) else "",
            f"usual from {self.usual_from:.0f}" if later else "",
            f"until {self.until:.0f}, plus a few years while old labels were used up"
            if not math.isnan(self.until)
            else "",
        ]
        return ", ".join(filter(None, parts)) or _NO_BOUND


@dataclass(frozen=True, kw_only=True)
class Label:
    """What one label says.

    ``marks``: every mark, in the order of the text. ``unread``: what no rule knows, mostly names.
    ``known``: words that are known and are no mark, as those of an address or a kind of cloth.
    ``flags``: what was read but cannot be right. ``intact``: whether nothing is cut or illegible, so
    that marks that are not there count. ``markets``: where a label with these marks can have been
    offered. ``market``: where it was offered, if that is known, else "". ``clues``: what the label
    says of other clues: origin, and fibre (method ``label``). ``homes``: the markets of each phrase
    that is at home in some only, where its mark is not. ``rules``: those it was read by; a copy
    keeps what its marks need of them, and says the same.
    """

    text: str
    marks: tuple[Mark, ...]
    unread: tuple[str, ...]
    flags: tuple[str, ...]
    intact: bool
    markets: tuple[str, ...]
    market: str
    clues: Mapping[str, str]
    homes: tuple[tuple[str, ...], ...]
    known: tuple[str, ...]
    rules: LabelRules = field(repr=False, compare=False)

    @property
    def state(self) -> str:
        """The value of the clue ``label`` that follows."""
        return _INTACT if self.intact else _FRAGMENT

    def rules_of(self, mark: Mark, market: str) -> tuple[LabelRule, ...]:
        """The rules that one mark sets off in a market, guards with them."""
        return self.rules.set_off(mark.mark, mark.value, market)

    def facts(self, market: str | None = None, *, role: str = "bound") -> tuple[str, ...]:
        """Ids of the facts that the marks set off, those that bound or those that guard.

        Without a market: those that hold wherever the label can have been offered.
        """
        by_market = [
            dict.fromkeys(
                rule.fact
                for mark in self.marks
                for rule in self.rules_of(mark, each)
                if rule.role == role
            )
            for each in self._markets(market)
        ]
        return tuple(fact for fact in by_market[0] if all(fact in other for other in by_market))

    def bounds(self, market: str | None = None) -> Bounds:
        """The bounds of all marks by rules; without a market, what holds wherever it can have been offered.

        In a market where no rule is about a mark it is as it is in those that have one: but a country
        that only one market's law asks for bounds nothing elsewhere.
        """
        markets = self._markets(market)
        each = [self._bounds(mark, markets) for mark in self.marks]
        return Bounds(
            not_before=_tightest(max, [bound.not_before for bound in each]),
            usual_from=_tightest(max, [bound.usual_from for bound in each]),
            until=_tightest(min, [bound.until for bound in each]),
        )

    @property
    def earliest(self) -> float:
        """The first year that all marks allow, by rules, printed years and numbers; NaN for none."""
        numbers = [
            first_year_of(self.rules, mark)
            for mark in self.marks
            if mark.mark in self.rules.series and mark.value
        ]
        return _tightest(max, [self.bounds().not_before, *numbers])

    def _bounds(self, mark: Mark, markets: Sequence[str]) -> Bounds:
        """What one mark bounds in all of the markets."""
        every = [self._bounding(mark, market) for market in markets]
        ruled = every if mark.mark == ORIGIN else [rules for rules in every if rules]
        printed = [float(mark.value)] if mark.mark in DATED and mark.value else []
        return Bounds(
            not_before=_tightest(
                max,
                [*printed, _loosest(min, [_of(max, rules, "not_before") for rules in ruled])],
            ),
            usual_from=_loosest(min, [_of(max, rules, "usual") for rules in every]),
            until=_loosest(max, [_of(min, rules, "until") for rules in ruled]),
        )

    def _bounding(self, mark: Mark, market: str) -> list[LabelRule]:
        return [rule for rule in self.rules_of(mark, market) if rule.role == "bound"]

    def _markets(self, market: str | None) -> Sequence[str]:
        if market is not None:
            return (self.rules.market(market),)
        return (self.market,) if self.market else self.markets

    def to_frame(self) -> pandas.DataFrame:
        """One row a mark and rule: where it stands, how it was read, what it bounds, the fact."""
        import pandas as pd

        markets = self._markets(None)
        rows = []
        for mark in self.marks:
            where: dict[LabelRule, list[str]] = {}  # the markets that each rule holds in
            for market in markets:
                for rule in self.rules_of(mark, market):
                    where.setdefault(rule, []).append(market)
            base: dict[str, Any] = {
                "mark": mark.mark, "value": mark.value, "text": self.text[mark.start : mark.end],
                "read": mark.how,
            }  # fmt: skip
            rows += [base | _row(rule, some, len(markets)) for rule, some in where.items()]
            rows += [] if where else [base]
        columns = [
            "mark", "value", "text", "read", "role", "market", "enacted", "in_force", "not_before",
            "usual", "until", "means", "fact", "status",
        ]  # fmt: skip
        frame = pd.DataFrame(rows, columns=columns)
        years = ["enacted", "in_force", "not_before", "usual", "until"]
        frame[years] = frame[years].astype("Float64").round().astype("Int64")
        return frame

    def __str__(self) -> str:
        lines = [f"{'intact label' if self.intact else 'cut label or fragment'}: {self._span()}"]
        for mark in self.marks:
            printed, title, sentences, _ = self._of(mark)
            lines.append(f"  {printed:<40}  {title}")
            for sentence in sentences:
                lines += wrap(sentence, _WIDTH, initial_indent=_DEEP, subsequent_indent=_DEEP)
        for line in self._beside():
            lines += wrap(line, _WIDTH, initial_indent="  ", subsequent_indent="    ")
        return "\n".join(lines)

    def _span(self) -> str:
        """The bounds of all marks in words, with the number that bounds from below."""
        bounds, earliest = self.bounds(), self.earliest
        late = not math.isnan(earliest) and not earliest <= bounds.not_before
        told = str(replace(bounds, not_before=earliest))
        if late:
            told = told.replace(f"{earliest:.0f}", f"{earliest:.0f} by its number", 1)
        return told

    def _repr_html_(self) -> str:
        marks = [(mark, *self._of(mark)) for mark in self.marks]
        under = [(mark.start, mark.end, _LINES[role]) for mark, *_, role in marks]
        keys = [(_LINES[role], role) for role in _LINES if role in {own for *_, own in marks}]
        drawn = page.sewn(self.text[:_LONGEST_DRAWN], under, keys, cut=not self.intact)
        rows = [
            (
                f"{number}",
                page.under(
                    f"{printed}: {title}",
                    " ".join(f"{one[0].upper()}{one[1:]}." for one in (*sentences, role) if one),
                ),
            )
            for number, (_, printed, title, sentences, role) in enumerate(marks, 1)
        ]
        rest = page.lines(self._beside())
        return page.view(str(self).partition("\n")[0], drawn, page.table(rows), rest)

    def _of(self, mark: Mark) -> tuple[str, str, tuple[str, ...], str]:
        """A mark as it is printed, what it is, what follows from it, and its part in the dating."""
        printed = " ".join(self.text[mark.start : mark.end].split())[:40]
        how = "" if mark.how == AS_PRINTED else f" ({mark.how})"
        markets = self._markets(None)
        bounding = [
            rule.means
            if rule.market == ANY or len(markets) == 1
            else f"{_WHERE[each]}: {rule.means}"
            for each in markets
            for rule in self._bounding(mark, each)
        ]
        if mark.mark in self.rules.series and mark.value:
            bounding = [number_in_words(self.rules, mark)]
        guarded = any(self.rules_of(mark, each) for each in markets)
        role = _BOUNDS if bounding else _GUARDS if guarded else _NO_YEARS
        title = f"{self.rules.title(mark.mark, mark.value)}{how}"
        return printed, title, tuple(dict.fromkeys(bounding)), role

    def _beside(self) -> list[str]:
        """What is said of the label besides its marks."""
        more = [f"note: {flag}" for flag in self.flags]
        if self.unread:
            more.insert(0, f"not read: {', '.join(self.unread)}"[:_LONGEST_UNREAD])
        if self.known:
            more.append(f"known, and no mark: {', '.join(self.known)}"[:_LONGEST_UNREAD])
        if len(self.markets) < len(MARKETS):
            more.append(f"offered in: {', '.join(self.markets)}")
        return more

    def clues_given(self) -> dict[str, str]:
        """The state of the label, and the other clues that it gives."""
        return {"label": self.state, **self.clues}

    def against(self, given: Mapping[str, str | None]) -> list[str]:
        """Warnings: what cannot be right on the label, and where it says other than what was noted."""
        if not isinstance(given, Mapping):
            raise ScarfdateError(
                f"given: a mapping from clues to words is allowed, got {shown(given)}"
            )
        warnings = [f"label_text: {flag}" for flag in self.flags]
        for name, word in self.clues.items():
            noted = given.get(name)
            if noted and noted != word:
                warnings.append(
                    f"{name}: the label says {word}, you noted {noted}; your note counts"
                )
        return warnings

    def __post_init__(self) -> None:
        object.__setattr__(self, "clues", MappingProxyType(dict(self.clues)))

    def __reduce__(self) -> tuple[object, ...]:
        own = {each.name: getattr(self, each.name) for each in fields(self)}
        own["clues"] = dict(self.clues)  # a read-only mapping cannot be pickled
        own["rules"] = self.rules.of_marks({mark.mark for mark in self.marks})
        return partial(Label, **own), ()


def read_label(
    text: str | bytes, market: str | None = None, *, priors: Priors | None = None
) -> Label:
    """Read the text of a label, of any length, by the rules of ``priors`` (the shipped ones).

    ``market``: where it was offered, if known: us, canada, europe, elsewhere, or a word that is read
    as one of them. Line breaks are blanks. ``[cut]`` or ``...`` says that the label goes on and is
    cut, ``?`` stands for a letter that cannot be made out, and ``[wash 30]`` for a printed sign.

    Nothing is guessed in silence: a mark says how it was read, and what fits no rule or several
    stays in ``unread``. Raises ScarfdateError where ``text`` is not text or ``priors`` are no priors,
    WordError for a market that is not known.
    """
    if isinstance(text, bytes):
        text = text.decode("utf-8", "replace")
    if not isinstance(text, str):
        raise ScarfdateError(f"label_text: a text is allowed, got {shown(text)}")
    priors = checked_priors(priors)
    rules = priors.label
    offered = "" if market is None else rules.market(market)
    draft = LabelReader(rules, text).read()
    markets = (offered,) if offered else offered_in(rules, draft)
    return Label(
        text=text,
        marks=tuple(draft.marks),
        unread=unread_words(text, draft.unread),
        flags=tuple(dict.fromkeys(draft.flags)),
        intact=not draft.cut,
        markets=markets,
        market=offered,
        clues=other_clues(priors, draft),
        homes=tuple(sorted(set(draft.wording))),
        known=known_words(text, draft),
        rules=rules,
    )


_Choose = Callable[[Iterable[float]], float]


def _tightest(choose: _Choose, years: Sequence[float]) -> float:
    known = [year for year in years if not math.isnan(year)]
    return float(choose(known)) if known else math.nan


def _loosest(choose: _Choose, years: Sequence[float]) -> float:
    return math.nan if not years or any(map(math.isnan, years)) else float(choose(years))


def _of(choose: _Choose, rules: Sequence[LabelRule], name: str) -> float:
    return _tightest(choose, [getattr(rule, name) for rule in rules])


def _row(rule: LabelRule, where: list[str], markets: int) -> dict[str, Any]:
    return {
        "role": rule.role,
        "market": ANY if len(where) == markets else ", ".join(where),
        "enacted": rule.enacted, "in_force": rule.in_force, "not_before": rule.not_before,
        "usual": rule.usual, "until": rule.until, "means": rule.means, "fact": rule.fact,
        "status": rule.status,
    }  # fmt: skip
