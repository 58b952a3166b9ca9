"""What a label says, as one clue: marks that are there, and, on an intact label, marks that are not.

Within an intact label a latent style z, full or brief, makes the marks dependent; given year, market
and style they are independent:

    P(marks | y, k) = sum over z of  P(z | y)  product over marks shown of  s(m | y, k, z) w(m | y, k)
                                               product over marks missing of  1 - s(m | y, k, z)

    P(label | y, k) = (1 - slip) f P(marks | y, k) + slip (mean of P(marks) over all y and k)

s is how often a mark is shown (``label_shown.csv``). w is what its wording or number can be at all in
that year: nothing before ``not_before``, a rise to the usual level, a tail after ``until`` as the stock
of labels is used up. Missing marks count on an intact label only, and only where a rule of the market
makes labels bear them: elsewhere they are missing as often in every year, which is the mean over the
years that the trade brings in and the marks that are there allow. What is cut off a fragment says
nothing. A wording that is at home in some markets is rare in the others (``mark_elsewhere``).

A label of another piece (the slip) is as likely in any year. f is how well what was noted of the fibre
fits the fibre that the label names: where it does not, the label is rather of another piece.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import NO_NOTES, Asked, Behind, Bound, Clue, Noted, Slip
from scarfdate.clues.field import AsNoted, Field, Warnings
from scarfdate.clues.mark_chances import MarkChances
from scarfdate.clues.noting import Noting
from scarfdate.clues.shares import LABEL, NONE_SEEN
from scarfdate.conventions import GRADES, MARKETS, Array
from scarfdate.errors import ScarfdateError, shown
from scarfdate.reading.cells import Observed, read_text
from scarfdate.reading.label_marks import DATED, NOTICE, Mark
from scarfdate.reading.label_series import given_in_words, number_in_words, series_of
from scarfdate.reading.observation import BY_LABEL
from scarfdate.tables.families import Family
from scarfdate.tables.label import LabelRules
from scarfdate.tables.priors import Priors
from scarfdate.tables.sheet import Basis
from scarfdate.tables.wording import NONE

if TYPE_CHECKING:
    from scarfdate.clues.noted import WordCells

_SAID = 3  # marks named in a sentence
_IN_FULL, _IN_BRIEF = 0, 1
_LONGEST = 10_000  # characters; anything longer is no label
_SHORT = 120  # characters; what is told of a label in the place of its text is no longer
_DIGITS = 6  # of how well a fibre fits: so that equal labels share a row
_PERCENT_TOO = {"wool-percent", "whole-fibre"}  # tell what a percentage tells
_FIBRE, ORIGIN = "fibre", "origin"  # what a label names of other families


@dataclass(frozen=True, slots=True)
class LabelNoted(Observed):
    """The text of a label, and what it was read as.

    ``marks`` in the order of name, once each; ``state``: the value of the family ``label`` that
    follows; ``clues``: what it names of other families; ``homes``: the markets that its wording is at
    home in; ``flags``: what cannot be right in it.
    """

    text: str
    marks: tuple[tuple[str, str], ...]
    intact: bool
    state: str
    clues: tuple[tuple[str, str], ...]
    homes: tuple[tuple[str, ...], ...]
    flags: tuple[str, ...]

    def cells(self, name: str) -> dict[str, object]:
        """The text."""
        return {name: self.text}


class LabelField(Field):
    """What is printed on a label. It fills the families that it names where these are blank."""

    of_label = tells = True

    def __init__(self, priors: Priors, family: Family) -> None:
        super().__init__(priors, family)
        self.others, self.never = (LABEL, ORIGIN, _FIBRE), (LABEL, NONE_SEEN)

    def reads(self, *cells: object) -> tuple[LabelNoted | None, Warnings]:
        """The marks of the text."""
        (cell,) = self.said(cells)
        if cell is None:
            return None, ()
        if isinstance(cell, str) and self._state(cell):
            raise ScarfdateError(
                f"{self.name}: {shown(cell)} is no text of a label; write it under label"
            )
        from scarfdate.reading.label import read_label  # most pieces have no label

        label = read_label(read_text(self.name, cell, _LONGEST), priors=self.priors)
        if not label.marks and len(label.text) < _SHORT:
            told = self._told.read(label.text, None)
            if told is not None and not told.unread and self.name in told.others:  # "WPL no."
                label = read_label(str(told.others[self.name]), priors=self.priors)
        marks = tuple(sorted({(mark.mark, mark.value) for mark in label.marks}))
        clues = tuple(label.clues.items())
        noted = LabelNoted(
            label.text, marks, label.intact, label.state, clues, label.homes, label.flags
        )
        return noted, ()

    def as_noted(self, *cells: object) -> AsNoted | None:
        """What is said of the label in the place of its text: "no tag", "cut out", "illegible"."""
        (cell,) = cells
        state = self._state(cell) if isinstance(cell, str) else ""
        return AsNoted(None, (), {LABEL: state}, "") if state else None

    @cached_property
    def _told(self) -> WordCells:
        from scarfdate.clues.noted import WordCells  # as of a label that is described, few have it

        return WordCells(self.priors, LABEL)

    def _state(self, cell: str) -> str:
        """The state of a label that is told instead of its text, as the vocabulary has it, or ""."""
        return self.priors.vocabulary.known(LABEL, cell) or ""

    def prints_year(self, seen: Any) -> bool:
        """Whether there is a notice with its year."""
        return any(mark == NOTICE for mark, _ in seen.marks)

    def fills(self, seen: Any) -> dict[str, dict[str, object]]:
        """The state of the label, and the origin and the fibre that it names."""
        told: dict[str, dict[str, object]] = {LABEL: {LABEL: seen.state}}
        told |= {name: {name: word} for name, word in seen.clues}
        if _FIBRE in told:
            told[_FIBRE][f"{_FIBRE}_method"] = BY_LABEL
        return told

    def beside(self, seen: Mapping[str, Any]) -> Warnings:
        """What cannot be right on the label, and where it says other than what was noted."""
        label, state = seen[self.name], seen.get(LABEL)
        if state is not None and state.word == NONE_SEEN:
            raise ScarfdateError(
                f"{self.name}: words of a label are given, but {LABEL} says {NONE_SEEN}; "
                "leave one out"
            )
        odd = [f"{self.name}: {flag}" for flag in label.flags]
        for name, word in label.clues:
            noted = seen[name].word if name in seen and seen[name] is not None else None
            if noted and noted != word:
                odd.append(f"{name}: the label says {word}, you noted {noted}; your note counts")
        return odd

    def schema(self) -> dict[str, object]:
        """Text."""
        return {self.name: {"type": "string"}}

    def specimens(self) -> list[dict[str, object]]:
        """Labels that name each fibre and origin of the vocabulary, and one that is cut."""
        known = self.priors.vocabulary.values
        texts = [f"100% {word}".upper() for word in known[_FIBRE]]
        texts += [f"MADE IN {word}".upper() for word in known[ORIGIN]]
        return [
            {self.name: text} for text in [*texts, f"{texts[0]} ...", f"{texts[0]}\n{texts[-1]}"]
        ]


@dataclass(frozen=True, slots=True)
class LabelSeen:
    """The key of the clue: the marks in order of name, once each, and whether the label is whole.

    ``fits``, 0 to 1: how likely what was noted of the fibre is if the label is right, as a part of what
    it is at best. A silk by the burn test under a label "100% polyester" hardly fits. ``homes``: the
    markets of phrases that are at home in some only.
    """

    marks: tuple[tuple[str, str], ...]
    intact: bool
    fits: float = 1.0
    homes: tuple[tuple[str, ...], ...] = ()


class LabelClue(Clue):
    """P(what is printed | year, market); the same for every grade."""

    def __init__(self, priors: Priors, name: str, years: NDArray[np.int64]) -> None:
        family = priors.families[name]
        shape = (len(MARKETS), len(GRADES), len(years))
        super().__init__(name, family.title, family.reads, (name,), shape)
        self.priors, self.years = priors, years
        self.slip = priors.slips[name]
        self.needs = (name, LABEL, _FIBRE)

    # what follows is made for the first label that is read: most pieces have none

    @cached_property
    def rules(self) -> LabelRules:
        """The tables by which a label is read and weighed."""
        return self.priors.label

    @cached_property
    def chances(self) -> MarkChances:
        """Of each mark, by market and year."""
        return MarkChances(self.priors, self.years)

    @cached_property
    def style(self) -> Array:
        """P(full | year)."""
        return np.interp(self.years, *self.rules.style)

    def shown(self, mark: str) -> Array:
        """P(an intact label shows a mark | market, year), (markets, years); one where no table says how often."""
        if not any(mark == known for known, _ in self.rules.shown):
            return np.ones((len(MARKETS), len(self.years)))
        return self._of_styles(self.chances.level(mark))

    @cached_property
    def usual(self) -> Array:
        """P(year) of pieces in the trade."""
        return usual_years(self.priors, self.years)

    @cached_property
    def _fibre(self) -> Noting | None:
        return Noting(self.priors, _FIBRE) if _FIBRE in self.priors.shares else None

    @cached_property
    def _counted(self) -> Mapping[str, NDArray[np.bool_]]:
        counted = {market: self.rules.counted(market) for market in MARKETS}
        return {
            mark: np.array([mark in counted[market] for market in MARKETS])
            for mark in dict.fromkeys(mark for marks in counted.values() for mark in marks)
        }

    def key(self, seen: Mapping[str, Any]) -> tuple[LabelSeen | None, Warnings]:
        """The marks beside the noted state of the label and the noted fibre; None where nothing was read.

        Missing marks count only where both say that the label is whole.
        """
        label = seen.get(self.name)
        if label is None:
            return None, ()
        state, fibre, fits = seen.get(LABEL), seen.get(_FIBRE), 1.0
        named = dict(label.clues).get(_FIBRE)
        if named and fibre is not None and self._fibre is not None:
            every = self._fibre.fits(fibre)
            fits = round(float(every[self._fibre.place[named]] / every.max()), _DIGITS)
        intact = label.intact and state is not None and state.word == label.state
        if not label.marks and not intact:
            return None, ()
        return LabelSeen(label.marks, intact, fits, label.homes), ()

    def likelihood(self, key: Hashable) -> Array:
        """P(marks | market, grade, year), with the slip."""
        chance = self.marks_given_year(cast(LabelSeen, key))
        return self._with_slip(key, chance, chance)

    def amiss(self, key: Hashable, part: str) -> Array:
        """A label of another piece, or one of its marks misread."""
        seen = cast(LabelSeen, key)
        chance = self.marks_given_year(seen)
        misread = chance - self.marks_given_year(seen, misread=False)
        return self._with_slip(key, np.maximum(misread, 0.0), chance)

    def first_printing(self, key: Hashable) -> Array | None:
        """Without a notice whose year is that of a design printed again."""
        seen = cast(LabelSeen, key)
        dated = [(mark, value) for mark, value in seen.marks if mark == NOTICE and value]
        if not dated:
            return None
        first = whole = self.marks_given_year(seen)
        for mark, value in dated:
            first = first * self.chances.first_printing(value) / self.chances.window(mark, value)
        return self._with_slip(key, first, whole)

    def design_year(self, key: Hashable) -> int | None:
        """The latest year of a notice."""
        years = [int(v) for mark, v in cast(LabelSeen, key).marks if mark == NOTICE and v]
        return max(years, default=None)

    def _with_slip(self, key: Hashable, chance: Array, every: Array) -> Array:
        # a label of another piece may be of any year and market
        fits = cast(LabelSeen, key).fits
        found = (1 - self.slip) * fits * chance + self.slip * every.mean()
        return np.broadcast_to(found[:, None, :], self.shape)

    def bound(self, key: Hashable) -> Bound | None:
        """The latest of the first years of its marks: by law, by a number, by a year in a notice.

        A mark's first year is that of the market where it is first possible.
        """
        latest = None
        for mark, value in cast(LabelSeen, key).marks:
            first = int(self.chances.possible(mark, value).any(axis=0).argmax())
            year = int(self.years[first])
            if first and (latest is None or year > latest.year):
                latest = self._bound(Mark(mark, value, 0, 0), year)
        return latest

    def _bound(self, mark: Mark, year: int) -> Bound:
        title = self.rules.title(mark.mark, mark.value)
        if mark.mark in DATED and mark.value:
            if mark.mark == NOTICE:
                return Bound(year, self.name, f"the label has the year {mark.value}", "lags.csv")
            reason = f"the label has {title}: {mark.value}"
            return Bound(year, self.name, reason, "label_use.csv")
        if mark.mark in self.rules.series and mark.value:
            name, number = series_of(mark)
            series = self.rules.series[name]
            reason = f"{self._numbered(mark)} was {given_in_words(self.rules, mark)}"
            basis = series.bases[int(abs(series.numbers - number).argmin())]
            return Bound(year, self.name, reason, basis.source or basis.file)
        rules = [
            rule
            for market in MARKETS
            for rule in self.rules.set_off(mark.mark, mark.value, market)
            if rule.role == "bound" and rule.not_before == year
        ]
        reason = f"{title}: {rules[0].means}" if rules else f"the label has {title}"
        return Bound(
            year, self.name, reason, f"fact {rules[0].fact}" if rules else "label_rules.csv"
        )

    def marks_given_year(self, seen: LabelSeen, *, misread: bool = True) -> Array:
        """P(marks | market, year) of a label that belongs to the piece, (markets, years); with ``misread``
        false only of marks that can be what they were read as."""
        shown: Array = np.ones((2, len(MARKETS), len(self.years)))
        window, rightly = np.ones(shown.shape[1:]), np.ones(shown.shape[1:])
        names = {mark for mark, _ in seen.marks}
        for mark in sorted(names):
            shown = shown * self.chances.level(mark)
        for mark, value in seen.marks:
            can_be = self.chances.window(mark, value)
            window, rightly = (
                window * can_be,
                rightly * (can_be - self.chances.misreading(mark, value)),
            )
        home = self.chances.at_home(seen.homes)
        window, rightly = window * home, rightly * home
        if seen.intact:
            possible = self.usual * window * self._of_styles(shown)
            possible = possible / possible.sum(axis=1, keepdims=True)
            for mark, counts in self._counted.items():
                if mark not in names and self._could(mark, names):
                    missing = 1 - self.chances.level(mark)
                    # where nothing asks for the mark its absence tells markets apart, and no years
                    evenly = (possible * self._of_styles(missing)).sum(axis=1)
                    shown = shown * np.where(counts[:, None], missing, evenly[:, None])
        return np.asarray((window if misread else rightly) * self._of_styles(shown))

    def _of_styles(self, shown: Array) -> Array:
        """The mean over full and brief labels, (markets, years)."""
        return np.asarray(self.style * shown[_IN_FULL] + (1 - self.style) * shown[_IN_BRIEF])

    def _could(self, mark: str, names: set[str]) -> bool:
        """Whether a missing mark is missing indeed, and not told by another."""
        if mark == "fibre-percent":  # without a fibre named there is nothing to give a share of
            return "fibre" in names and not names & _PERCENT_TOO
        return not (mark == "care" and "care-symbols" in names)

    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """A label of another piece, of any year and market."""
        marks = float(self.marks_given_year(cast(LabelSeen, key)).mean())
        return (Slip(self.name, self.says(key), self.slip, marks, 1.0, None),)

    def behind(self, key: Hashable, asked: Asked) -> Behind:
        """The rule nearest to the year, in words, its row, and the status of its fact.

        Of rules as near as each other one with a fact that was read goes before one from memory.
        """
        best, words = (math.inf, True), "what the label says, and does not say"
        row, fact = Basis("label_shown.csv", 0, "memory", "", ""), ""  # how often marks are shown
        for mark in (Mark(*each, 0, 0) for each in cast(LabelSeen, key).marks):
            title = self.rules.title(mark.mark, mark.value)
            if mark.mark in self.rules.series and mark.value and asked.earliest:
                name, number = series_of(mark)
                series = self.rules.series[name]
                far = (abs(series.issued(number)[0] - asked.year), True)
                if far < best:
                    best, words = (
                        far,
                        f"{self._numbered(mark)}: {number_in_words(self.rules, mark)}",
                    )
                    row = series.bases[int(abs(series.numbers - number).argmin())]
            for rule in self.rules.set_off(mark.mark, mark.value, asked.market):
                bound = rule.not_before if asked.earliest else rule.until
                far = (abs(bound - asked.year), rule.status != "read")
                if rule.role == "bound" and far < best:
                    best, words = far, f"{title}: {rule.means}"
                    row = Basis("label_rules.csv", 0, rule.basis, f"fact {rule.fact}", "")
                    fact = rule.status
        return Behind(row, words, fact)

    def says(self, key: Hashable, noted: Noted = NO_NOTES) -> str:
        """The marks that bound most, in a few words; of a number, when it was given."""
        seen = cast(LabelSeen, key)
        # which country it is says the clue `origin`, but not by which of its names
        countries = {(ORIGIN, value) for value in self.priors.vocabulary.values[ORIGIN]}
        marks = [mark for mark in seen.marks if mark not in countries and self._tells(*mark)]
        marks.sort(key=lambda mark: float(self.chances.window(*mark).sum()))
        titles = list(dict.fromkeys(self._spoken(*mark) for mark in marks))[:_SAID]
        return self.priors.wording.phrase(self.name, ", ".join(titles) or NONE, self.title)

    def _tells(self, mark: str, value: str) -> bool:
        """Whether a mark is a reason: one of which a rule, a number, a year, or the habit of a table speaks."""
        numbered = bool(value) and (mark in self.rules.series or mark in DATED)
        if numbered or any(mark == shown for shown, _ in self.rules.shown):
            return True
        rules = (r for market in MARKETS for r in self.rules.set_off(mark, value, market))
        return any(rule.role == "bound" for rule in rules)

    def _spoken(self, mark: str, value: str) -> str:
        if mark not in self.rules.series or not value:
            return self.rules.title(mark, value)
        found = Mark(mark, value, 0, 0)
        given = given_in_words(self.rules, found).partition(" (")[0].partition(",")[0]
        return f"{self._numbered(found).removeprefix('a ')}, {given}"

    def _numbered(self, mark: Mark) -> str:
        """A number of a series with what it is: "a registration number 60000"."""
        return f"{self.rules.title(mark.mark, '')} {mark.value}"


def usual_years(priors: Priors, years: NDArray[np.int64]) -> Array:
    """P(year) of pieces in the trade, the mean of the channels that go by the usual tables."""
    century = priors.century
    every = [century.year(each, years) for each in century.channels.values() if not each.tables]
    return np.asarray(np.mean(every, axis=0) if every else np.full(len(years), 1 / len(years)))
