"""Numbers of a series on a label: which series, which number, when it was given, and what that says."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.reading.label_marks import Mark
from scarfdate.tables.label import LabelRules

HARDLY = 1e-3  # of its usual level: what is rarer is the far tail of when a number was given
_LONG_BEFORE = 60  # years: numbers given long before the first year can still be in use in it


def number_in_words(rules: LabelRules, mark: Mark) -> str:
    """What a number of a series says: a bound from below, and how long such a number stays on labels."""
    parts = ["the piece is not older than its number", rules.habit_of(mark.mark)]
    return f"{given_in_words(rules, mark)}: {'; '.join(filter(None, parts))}"


def given_in_words(rules: LabelRules, mark: Mark) -> str:
    """When a number was given, with its spread: "given about 1979 (give or take 6 years)"."""
    name, number = series_of(mark)
    series = rules.series[name]
    year, spread = series.issued(number)
    if series.is_beyond(number):
        return f"given after about {year:.0f}, where the table of its series ends"
    return f"given about {year:.0f} (give or take {years_in_words(2 * spread)})"


def years_in_words(count: float) -> str:
    """Whole years, one at least: "1 year", "6 years"."""
    whole = max(1, round(count))
    return f"{whole} year{'s' if whole > 1 else ''}"


def series_of(mark: Mark) -> tuple[str, float]:
    """The series of a number mark and its number."""
    if mark.mark == "rn" and mark.value.startswith("fur "):
        return "rn-fur", float(mark.value[4:])
    return mark.mark, float(mark.value or "nan")


def in_use_by_year(rules: LabelRules, mark: Mark, years: NDArray[np.int64]) -> Array:
    """P(a number is given and in use by the year), as a part of its largest value, (years,).

    It bounds from below. No number was given before its series began, in the year of the first anchor; beyond the last
    one every year from there on is as likely.
    """
    name, number = series_of(mark)
    year, spread = rules.series[name].issued(number)
    lags, weights = rules.in_use(name)
    every = np.arange(years[0] - _LONG_BEFORE, years[-1] + 1)
    issued = np.exp(-0.5 * ((every - year) / spread) ** 2)
    if rules.series[name].is_beyond(number):
        issued[every >= year] = 1.0
    issued[every < math.floor(rules.series[name].years[0])] = 0.0
    lag = years[:, None] - every
    found = np.interp(lag, lags, weights, left=0.0, right=weights[-1]) @ issued
    return np.asarray(found / found.max() if found.max() > 0 else np.ones_like(found))


def first_year_of(rules: LabelRules, mark: Mark) -> float:
    """The first year that there can be a piece with this number; NaN for none within the years of the grid."""
    last = int(rules.series[series_of(mark)[0]].years[-1])
    years = np.arange(FIRST_YEAR, max(last, FIRST_YEAR) + 1)
    possible = in_use_by_year(rules, mark, years) > HARDLY
    return float(years[possible.argmax()]) if possible.any() and not possible[0] else math.nan
