"""What a mark of a label can be in each year: how often it is shown, and what its wording or number allows."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.lags import lags_of
from scarfdate.conventions import MARKETS, Array
from scarfdate.reading.label_marks import DATED, NOTICE, Mark
from scarfdate.reading.label_series import HARDLY, in_use_by_year
from scarfdate.tables.knots import ANY
from scarfdate.tables.label import LabelRule
from scarfdate.tables.priors import Priors

PRINTED = "printed_year"  # the family whose lags the year of a notice has


class MarkChances:
    """The chances of marks by market and year, by the rules of some priors; each is worked out once."""

    def __init__(self, priors: Priors, years: NDArray[np.int64]) -> None:
        self.priors, self.rules, self.years = priors, priors.label, years
        self.misread = priors.allowances["mark_misread"]
        self._lags = lags_of(priors, PRINTED, PRINTED)
        self._levels: dict[str, Array] = {}
        self._windows: dict[tuple[str, str], Array] = {}

    def level(self, mark: str) -> Array:
        """How often a mark is shown, (styles, markets, years)."""
        found = self._levels.get(mark)
        if found is None:
            found = np.stack([self._level(mark, market) for market in MARKETS], axis=1)
            self._levels[mark] = found
        return found

    def _level(self, mark: str, market: str) -> Array:
        shown, home = self.rules.shown, self.rules.homes.get(mark, MARKETS)
        knots = shown.get((mark, market)) or shown.get((mark, ANY))
        if knots is None:
            years, *both = shown[ANY, ANY]
            stray = 1.0 if market in home else self.priors.allowances["mark_elsewhere"]
            knots = (years, *(stray * each for each in both))  # type: ignore[assignment]
        assert knots is not None
        years, full, brief = knots
        level = np.stack([np.interp(self.years, years, each) for each in (full, brief)])
        return self.misread + (1 - 2 * self.misread) * level

    def at_home(self, homes: Iterable[tuple[str, ...]]) -> Array:
        """What of its share at home a wording has in each market, (markets, 1).

        Phrases of one home, as of one language, go together on a label, and count once.
        """
        elsewhere = self.priors.allowances["mark_elsewhere"]
        found = np.ones((len(MARKETS), 1))
        for home in set(homes):
            found[[market not in home for market in MARKETS]] *= elsewhere
        return found

    def window(self, mark: str, value: str) -> Array:
        """What of its usual level a wording or number can have in a year, (markets, years)."""
        found = self._windows.get((mark, value))
        if found is None:
            found = np.stack([self._window(mark, value, market) for market in MARKETS])
            found = self.misreading(mark, value) + (1 - self.misread) * found
            self._windows[mark, value] = found
        return found

    def possible(self, mark: str, value: str) -> NDArray[np.bool_]:
        """Whether there can be a wording or number in a year but for a misreading, (markets, years)."""
        return np.asarray(self.window(mark, value) - self.misreading(mark, value) > HARDLY)

    def misreading(self, mark: str, value: str) -> float:
        """Of `window` what is owed to a misreading. A misread year may be any: of its chance each has its part, where
        the years that it is rightly on labels of one year share the rest."""
        if mark not in DATED or not value:
            return self.misread
        if mark == NOTICE:
            top = np.add(*self._lags.by_year(self.years, int(value))).max()
            rightly = 1 / top if top > 0 else len(self.years)
        else:
            lags = np.arange(len(self.years))
            rightly = float(np.interp(lags, *self.rules.in_use(mark), left=0.0).sum())
        return float(self.misread * rightly / len(self.years))

    def _window(self, mark: str, value: str, market: str) -> Array:
        found = Mark(mark, value, 0, 0)
        if mark == NOTICE and value:
            return self._after(int(value))
        if mark in DATED and value:  # a standard, as long as it is in force; a year of make
            return np.interp(self.years - int(value), *self.rules.in_use(mark), left=0.0)
        if mark in self.rules.series and value:
            return in_use_by_year(self.rules, found, self.years)
        if mark == "origin" and value in self.priors.vocabulary.values["origin"]:
            return np.ones(len(self.years))  # which country: that is the clue `origin`
        return self._shape(self._bounding(found, market) or self._abroad(found, market), market)

    def _bounding(self, mark: Mark, market: str) -> list[LabelRule]:
        return [
            rule
            for rule in self.rules.set_off(mark.mark, mark.value, market)
            if rule.role == "bound"
        ]

    def _abroad(self, mark: Mark, market: str) -> list[LabelRule]:
        """A mark that no rule bounds in a market follows the market that leaves it most years."""
        each = [self._bounding(mark, other) for other in MARKETS]
        ruled = [rules for rules in each if rules]
        if not ruled or mark.mark == "origin":
            return []
        return max(ruled, key=lambda rules: float(self._shape(rules, market).sum()))

    def _shape(self, rules: list[LabelRule], market: str) -> Array:
        """The rules as a shape; where a table says how often a mark is shown, it has the habit."""
        shown = self.rules.shown
        told = [
            replace(rule, usual=math.nan)
            if not rule.value and ((rule.mark, market) in shown or (rule.mark, ANY) in shown)
            else rule
            for rule in rules
        ]
        return shape_of(told, self.years)

    def _after(self, printed: int) -> Array:
        """A year in a notice bounds from below; after it, the lags of printed years."""
        first, again = self._lags.by_year(self.years, printed)
        top = (first + again).max()
        return np.asarray((first + again) / top if top > 0 else np.ones_like(first))

    def first_printing(self, value: str) -> Array:
        """Of `window` of a year in a notice, the part that is not a design printed again, (years,)."""
        first, again = self._lags.by_year(self.years, int(value))
        whole = self.window(NOTICE, value)[0]
        top = (first + again).max()
        return np.asarray(whole - (1 - self.misread) * again / top if top > 0 else whole)


def shape_of(rules: list[LabelRule], years: NDArray[np.int64]) -> Array:
    """The part, 0 to 1, of its usual level that a mark under these rules has in each year."""
    start = max((r.not_before for r in rules if not math.isnan(r.not_before)), default=-math.inf)
    usual = max((r.usual for r in rules if not math.isnan(r.usual)), default=-math.inf)
    shape = np.ones(len(years))
    if usual > start:
        before = min(r.before for r in rules if r.usual == usual)
        shape = np.where(years < usual, before, 1.0)
        if math.isfinite(start):  # from its first year to the usual one it spreads evenly
            rise = (years - start + 1) / (usual - start + 1)
            shape = np.maximum(shape, np.clip(rise, 0, 1))
    shape = np.where(years < start, 0.0, shape)
    for rule in rules:
        if not math.isnan(rule.until):
            late = np.maximum(years - rule.until, 0)
            shape = shape * np.exp(-late / rule.stock_lag)
    return np.asarray(shape)
