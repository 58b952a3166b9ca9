"""What a label says, as one clue: marks that are there, and, on an intact label, marks that are not.

Within an intact label a latent style z, full or brief, makes the marks dependent; given year, market
and style they are independent:

    P(marks | y, k) = sum over z of  P(z | y)  product over marks shown of  s(m | y, k, z) w(m | y, k)
                                               product over marks missing of  1 - s(m | y, k, z)

    P(label | y, g, k) = (1 - s) T(y, k) R(y, g, k) + s m (mean of T R over all y, g and k, with f = 1)
    T(y, k)            = (1 - o) f P(marks | y, k) + o (mean of P(marks) over all y and k)

s is how often a mark is shown (``label_shown.csv``). w is what its wording or number can be at all in
that year: nothing before ``not_before``, a rise to the usual level, a tail after ``until`` as the stock
of labels is used up. Missing marks count on an intact label only, and only where a rule of the market
makes labels bear them: elsewhere they are missing as often in every year, which is the mean over the
years that the trade brings in and the marks that are there allow. What is cut off a fragment says
nothing. A wording that is at home in some markets is rare in the others (``mark_elsewhere``).

A label of another piece is as likely in any year, and all that is read off it is another piece's with it: not its
text alone, but how it is made, the country, and the fibre where it was read off the label. R is how likely these words
are (`scarfdate.clues.on_label`), each with a slip of its own; they are no clues beside this one. Where there is no
text they are one clue as well, if there are two of them. s is the part of the slips of a label's text that ``altered``
of ``slips.csv`` counts as a label of another piece, o the rest. Words stamped on the cloth or pressed on by heat are of
this very piece (``not_where`` there): m is how likely it is, by how the label was noted to be made, that it can be moved
at all, against how common such labels are; one where that was not noted. f is how well what was noted of the fibre otherwise
fits the fibre that the label names: where it does not, the label is rather of another piece.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import NO_NOTES, Asked, Behind, Bound, Clue, Noted, Slip, Within
from scarfdate.clues.field import Warnings
from scarfdate.clues.label_field import FIBRE, ORIGIN
from scarfdate.clues.mark_chances import MarkChances
from scarfdate.clues.noting import Noting
from scarfdate.clues.on_label import OffLabel, Read
from scarfdate.clues.shares_field import LABEL
from scarfdate.conventions import GRADES, MARKETS, Array
from scarfdate.reading.label_marks import DATED, NOTICE, Mark
from scarfdate.reading.label_series import given_in_words, number_in_words, series_of
from scarfdate.tables.label import LabelRules
from scarfdate.tables.priors import Priors
from scarfdate.tables.sheet import Basis
from scarfdate.tables.wording import NONE

if TYPE_CHECKING:
    pass

_SAID = 3  # marks named in a sentence
_IN_FULL, _IN_BRIEF = 0, 1
_DIGITS = 6  # of how well a fibre fits: so that equal labels share a row
_PERCENT_TOO = {"wool-percent", "whole-fibre"}  # tell what a percentage tells


@dataclass(frozen=True, slots=True)
class LabelSeen:
    """The key of the clue: the marks in order of name, once each, and whether the label is whole.

    ``fits``, 0 to 1: how likely what was noted of the fibre is if the label is right, as a part of what
    it is at best. A silk by the burn test under a label "100% polyester" hardly fits. ``homes``: the
    markets of phrases that are at home in some only. ``read``: the words of other families that were read off it.
    """

    marks: tuple[tuple[str, str], ...]
    intact: bool
    fits: float = 1.0
    homes: tuple[tuple[str, ...], ...] = ()
    read: Read = ()


class LabelClue(Clue):
    """P(all that is read off the label | market, grade, year)."""

    def __init__(self, priors: Priors, name: str, years: NDArray[np.int64]) -> None:
        family = priors.families[name]
        shape = (len(MARKETS), len(GRADES), len(years))
        self.off = OffLabel(priors, years)
        families = (name, *self.off.methods)
        super().__init__(name, family.title, family.reads, families, shape)
        self.priors, self.years = priors, years
        self.foreign = priors.slips[name] * priors.altered[name]
        self.slip = priors.slips[name] - self.foreign
        self.needs = tuple(dict.fromkeys((*families, LABEL, FIBRE)))

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
        return Noting(self.priors, FIBRE) if FIBRE in self.priors.shares else None

    @cached_property
    def _counted(self) -> Mapping[str, NDArray[np.bool_]]:
        counted = {market: self.rules.counted(market) for market in MARKETS}
        return {
            mark: np.array([mark in counted[market] for market in MARKETS])
            for mark in dict.fromkeys(mark for marks in counted.values() for mark in marks)
        }

    def key(self, seen: Mapping[str, Any]) -> tuple[LabelSeen | None, Warnings]:
        """The marks beside the noted state of the label, the noted fibre, and what else was read off the label; None
        where no mark was read, and one such word at most.

        Missing marks count only where both say that the label is whole.
        """
        label, read = seen.get(self.name), self.off.read(seen)
        if label is None:
            return (LabelSeen((), False, read=read) if len(read) > 1 else None), ()
        state, fibre, fits = seen.get(LABEL), seen.get(FIBRE), 1.0
        named = dict(label.clues).get(FIBRE)
        if named and fibre is not None and self._fibre is not None and FIBRE not in dict(read):
            every = self._fibre.fits(fibre)
            fits = round(float(every[self._fibre.place[named]] / every.max()), _DIGITS)
        intact = label.intact and state is not None and state.word == label.state
        if not label.marks and not intact:
            return (LabelSeen((), False, read=read) if len(read) > 1 else None), ()
        return LabelSeen(label.marks, intact, fits, label.homes, read), ()

    def _movable(self, read: Read, of: Mapping[str, Array]) -> float:
        """m: P(a label can be moved | how it was noted to be made), over that of any label; a misread word (``of``) says
        nothing of that."""
        found = 1.0
        for name, word in read:
            if name in self.priors.on_cloth and name not in of:
                clue, sewn = self.off.clue(name), ~self.priors.on_cloth[name]
                usual = clue.shares.mean(axis=(1, 2, 3))
                fits = clue.fits(word) * usual
                found *= float(fits[sewn].sum() / fits.sum() / usual[sewn].sum())
        return found

    def silences(self, key: Hashable) -> tuple[str, ...]:
        """The words that were read off the label: they are of another piece together with it."""
        return tuple(name for name, _ in cast(LabelSeen, key).read)

    def apart(self, key: Hashable) -> dict[str, Hashable]:
        """The label without these words, and each of them as a clue of its own."""
        seen = cast(LabelSeen, key)
        text = replace(seen, read=()) if seen.marks or seen.intact else None
        return {self.name: text, **{name: (word, ()) for name, word in seen.read}}

    def within(self, key: Hashable) -> Iterator[Within]:
        """The words that were read off the label."""
        seen = cast(LabelSeen, key)
        for name, word in seen.read:
            yield Within(self.off.clue(name), (word, ()), partial(self._with, seen, name))

    def _with(self, seen: LabelSeen, name: str, row: Array) -> Array:
        return self._all(seen, {name: row})

    def likelihood(self, key: Hashable) -> Array:
        """P(marks, and the words read off the label | market, grade, year), with the slips."""
        return self._all(cast(LabelSeen, key))

    def amiss(self, key: Hashable, part: str) -> Array:
        """A label of another piece, or one of its marks misread; of a word read off it, that it was misread."""
        seen = cast(LabelSeen, key)
        words = dict(seen.read)
        if part in words:
            clue = self.off.clue(part)
            return self._all(seen, {part: clue.amiss((words[part], ()), part)})
        chance = self.marks_given_year(seen)
        misread = chance - self.marks_given_year(seen, misread=False)
        return self._mixed(seen, np.maximum(misread, 0.0), chance)

    def first_printing(self, key: Hashable) -> Array | None:
        """Without a notice whose year is that of a design printed again."""
        seen = cast(LabelSeen, key)
        dated = [(mark, value) for mark, value in seen.marks if mark == NOTICE and value]
        if not dated:
            return None
        first = whole = self.marks_given_year(seen)
        for mark, value in dated:
            first = first * self.chances.first_printing(value) / self.chances.window(mark, value)
        return self._mixed(seen, first, whole)

    def design_year(self, key: Hashable) -> int | None:
        """The latest year of a notice."""
        years = [int(v) for mark, v in cast(LabelSeen, key).marks if mark == NOTICE and v]
        return max(years, default=None)

    def _all(self, seen: LabelSeen, of: Mapping[str, Array] | None = None) -> Array:
        chance = self.marks_given_year(seen)
        return self._mixed(seen, chance, chance, of)

    def _mixed(
        self, seen: LabelSeen, chance: Array, every: Array, of: Mapping[str, Array] | None = None
    ) -> Array:
        """``chance`` of the marks on a label that belongs, ``every`` on one of any piece, each (markets, years); ``of``:
        by family what stands in place of the likelihood of its word."""
        words = self.off.likelihood(seen.read, of or {})
        by_slip = self.slip * every.mean()
        text = (1 - self.slip) * seen.fits * chance + by_slip
        # a label of another piece may be of any year, grade and market
        foreign = self._foreign(seen.read, every, words, of) if seen.read else every.mean()
        found = (1 - self.foreign) * text[:, None, :] * words + self.foreign * foreign
        return np.broadcast_to(found, self.shape)

    def _foreign(
        self, read: Read, every: Array, words: Array, of: Mapping[str, Array] | None = None
    ) -> float:
        """P(marks and words | a label of any piece that can be moved)."""
        text = (1 - self.slip) * every + self.slip * every.mean()
        of_any = float(np.broadcast_to(text[:, None, :] * words, self.shape).mean())
        return of_any * self._movable(read, of or {})

    def bound(self, key: Hashable) -> Bound | None:
        """The latest of the first years of its marks, by law, by a number, by a year in a notice, and of other words.

        A mark's first year is that of the market where it is first possible.
        """
        words = [each.clue.bound(each.key) for each in self.within(key)]
        latest = max((b for b in words if b is not None), key=lambda b: b.year, default=None)
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
        """A label of another piece, of any year, grade and market; and each word that was read off it, misread."""
        seen = cast(LabelSeen, key)
        every = self.marks_given_year(seen)
        foreign = self._foreign(seen.read, every, self.off.likelihood(seen.read, {}))
        chance = 1 - (1 - self.foreign) * (1 - (0.0 if seen.read else self.slip))
        found = [Slip(self.name, self.says(key), chance, foreign, 1.0, None)]
        for each in self.within(key):
            (word,) = each.clue.slips(each.key)
            left = tuple(other for other in seen.read if other[0] != word.part)
            found.append(word._replace(rest=replace(seen, read=left)))
        return tuple(found)

    def by_slip(self, key: Hashable) -> float:
        """Of a label of another piece all is seen together."""
        return self.slips(key)[0].seen

    def behind(self, key: Hashable, asked: Asked) -> Behind:
        """The rule nearest to the year, in words, its row, and the status of its fact.

        Of rules as near as each other one with a fact that was read goes before one from memory.
        """
        if not cast(LabelSeen, key).marks and cast(LabelSeen, key).read:
            word = next(iter(self.within(key)))
            return word.clue.behind(word.key, asked)
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
        """The words read off it, and the marks that bound most, in a few words; of a number, when it was given."""
        seen = cast(LabelSeen, key)
        # which country it is says the word of `origin`, but not by which of its names
        countries = {(ORIGIN, value) for value in self.priors.vocabulary.values[ORIGIN]}
        marks = [mark for mark in seen.marks if mark not in countries and self._tells(*mark)]
        marks.sort(key=lambda mark: float(self.chances.window(*mark).sum()))
        titles = [
            each.clue.says(each.key).removeprefix("the ")
            for each, (name, word) in zip(self.within(key), seen.read, strict=True)
            if (name, word.word) not in marks  # said below
        ]
        titles += list(dict.fromkeys(self._spoken(*mark) for mark in marks))[:_SAID]
        return self.priors.wording.phrase(self.name, ", ".join(titles) or NONE, self.title)

    def wrong(self, part: str) -> str:
        """Another piece's, of the label as a whole."""
        return "of another piece, or misread" if part == self.name else super().wrong(part)

    def supposes(self, key: Hashable, part: str) -> str:
        """Of a word that was read off it, what its clue says."""
        words = (each for each in self.within(key) if each.clue.name == part)
        return next((each.clue.supposes(each.key, part) for each in words), "")

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


def shown_on_label(clues: Iterable[Clue], mark: str) -> Array:
    """P(an intact label shows a mark | market, year), (markets, years or 1); one where no table says how often."""
    of_labels = next((clue for clue in clues if isinstance(clue, LabelClue)), None)
    return np.ones((len(MARKETS), 1)) if of_labels is None else of_labels.shown(mark)


def usual_years(priors: Priors, years: NDArray[np.int64]) -> Array:
    """P(year) of pieces in the trade, the mean of the channels that go by the usual tables."""
    century = priors.century
    every = [century.year(each, years) for each in century.channels.values() if not each.tables]
    return np.asarray(np.mean(every, axis=0) if every else np.full(len(years), 1 / len(years)))
