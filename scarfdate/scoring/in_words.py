"""What scores say, in words: numbers of records, factors of chance, and what the ranges leave out."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from scarfdate.scoring.rules import LEAST
from scarfdate.scoring.uncertain import SURE, Uncertain

# m differences of one sign are a surprise of 2 / 2^m, by the sign test: fewer units show nothing
LEAST_UNITS = math.floor(math.log2(2 / (1 - SURE))) + 1
_PLAIN = 10  # times: from here on without decimals that mean nothing


def records_in_words(count: int) -> str:
    """A number of records: "1 record", "12 records"."""
    return "1 record" if count == 1 else f"{count} records"


def few_units(units: int) -> str:
    """That there are few units."""
    return "A single record or group" if units == 1 else f"Only {units} records or groups"


def about_intervals(known: tuple[NDArray[np.int64], NDArray[np.int64]]) -> list[str]:
    """A line on records whose year is known as an interval, where there are any."""
    count = int((known[0] < known[1]).sum())
    if not count:
        return []
    return [
        f"- Of {records_in_words(count)} the year is known as an interval only: CRPS, Brier and interval score"
        " favour there what is even over it; the log score does not."
    ]


def about_left_out(left_out: tuple[tuple[int, str], ...]) -> list[str]:
    """A line on records that could not be dated, where there are any."""
    if not left_out:
        return []
    place, why = left_out[0]
    return [f"- {records_in_words(len(left_out))} could not be dated; record {place}: {why}"]


def times(nats: float) -> str:
    """A difference of log scores as a factor: "1.35 times"."""
    factor = math.exp(min(nats, -math.log(LEAST)))
    return f"{factor:.3g} times" if factor >= _PLAIN else f"{factor:.2f} times"


def plain(value: float) -> str:
    """Three figures."""
    return f"{value:.3g}"


def signed(value: float) -> str:
    """Two figures, with the sign."""
    return f"{value:+.2g}"


def range_in_words(mean: Uncertain, form: Callable[[float], str]) -> str:
    """From the lower end to the upper one, each in a form."""
    if not math.isfinite(mean.lower):
        return "no range from one record"
    return f"{form(mean.lower).removesuffix(' times')} to {form(mean.upper)}"
