"""Numbers of a series on a label: which series, which number, and what that says."""

from __future__ import annotations

from scarfdate.reading.label_marks import Mark
from scarfdate.tables.label import LabelRules


def number_in_words(rules: LabelRules, mark: Mark) -> str:
    """What a number of a series says: a bound from below, and no date."""
    series, number = series_of(mark)
    year, spread = rules.series[series].issued(number)
    return (
        f"given about {year:.0f} (give or take {years_in_words(2 * spread)}): the piece is not older than "
        "its number; numbers stay in use for decades, so it may be much younger"
    )


def years_in_words(count: float) -> str:
    """Whole years, one at least: "1 year", "6 years"."""
    whole = max(1, round(count))
    return f"{whole} year{'s' if whole > 1 else ''}"


def series_of(mark: Mark) -> tuple[str, float]:
    """The series of a number mark and its number."""
    if mark.mark == "rn" and mark.value.startswith("fur "):
        return "rn-fur", float(mark.value[4:])
    return mark.mark, float(mark.value or "nan")
