"""`calibration`: of what somebody called 10, 20 ... %, how often it was true; and how often her 80 % intervals were.

Each chip on a decade says 10 %. All bets count, those before any clue too. The bets on one piece hang together,
and so bands take them as no more than as many pieces (L. Kish's effective number, `scarfdate.scoring.uncertain`).
Where only an interval of the true year is known, a decade has come true as far as her own bet has it there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.conventions import FIRST_YEAR, LEVEL, Array
from scarfdate.errors import RangeError
from scarfdate.practising.bet import CHIPS, Bet
from scarfdate.practising.history import History
from scarfdate.scoring.calibration import Reliability, coverage
from scarfdate.scoring.results import Covered, share_band
from scarfdate.scoring.uncertain import SURE, bootstrap, effective
from scarfdate.show import page
from scarfdate.years import Cells

if TYPE_CHECKING:
    import pandas

_DECADE = 10
_DRAWS, _SEED = 1000, 1880  # of the bootstrap over pieces
_LEAST_PIECES = 6  # fewer show nothing, as fewer units of `scarfdate.scoring` do


@dataclass(frozen=True, eq=False, kw_only=True)
class Calibration:
    """``decades``: what was called, 0.1 to 1, how often it was true, and how many decades were called so;
    ``band`` (called, 2): the shares that chance allows each, 95 % of the time. ``bets``, ``pieces``: how many
    count; ``left_out``: pieces of which nobody knows the year. ``chips``: how many of the bets were chips;
    ``missed``: on how many of those no chip lay on the true decade. ``interval``: how often the shortest
    stretch with 80 % of a bet, or the interval that was bet, held the year."""

    decades: Reliability
    band: Array
    bets: int
    pieces: int
    left_out: int
    chips: int
    missed: float
    interval: Covered

    def to_frame(self) -> pandas.DataFrame:
        """One row a chance: called, true, lower and upper (what chance allows), count."""
        import pandas as pd

        return pd.DataFrame(
            {
                "called": self.decades.forecast,
                "true": self.decades.observed,
                "lower": self.band[:, 0],
                "upper": self.band[:, 1],
                "count": self.decades.count,
            }
        )

    def plot(self, ax: Any = None) -> Any:
        """What was called against how often it was true, with bands; returns the axis."""
        from scarfdate.scoring import plot

        one = self.interval
        intervals = [(one.expected, one.held.mean, one.allowed, one.level)]
        return plot.calibration(
            self.decades, self.band, intervals, f"{self.bets} bets on {_pieces(self.pieces)}", ax
        )

    def __str__(self) -> str:
        return "\n".join([self._head(), *(f"- {line}." for line in self._calls()), *self._more()])

    def _head(self) -> str:
        return (
            f"How well your chances held, {self.bets} bets on {_pieces(self.pieces)} (in brackets what chance allows, "
            f"{100 * SURE:g} % of the time):"
        )

    def _calls(self) -> list[str]:
        rows = zip(
            self.decades.forecast, self.decades.observed, self.decades.count, self.band, strict=True
        )
        return [
            f"called {_percent(called)}: true {_percent(true)} of {_times(count)}"
            f" ({_percent(low)} to {_percent(high)}){_beyond(true, low, high)}"
            for called, true, count, (low, high) in rows
        ]

    def _more(self) -> list[str]:
        lines = []
        if self.chips:
            lines.append(
                f"No chip lay on the true decade in {self.missed:.0f} of {self.chips} bets."
            )
        one = self.interval
        lines.append(
            f"Your {_percent(one.level)} intervals say that they hold {_percent(one.expected)} and hold "
            f"{_percent(one.held.mean)} (chance allows {_percent(max(one.expected - one.allowed, 0.0))} to "
            f"{_percent(min(one.expected + one.allowed, 1.0))}){_WORDS[one.verdict]}"
        )
        if self.pieces < _LEAST_PIECES:
            lines.append("So few pieces show little.")
        if self.left_out:
            lines.append(f"Left out: {_pieces(self.left_out)} of which nobody knows the year.")
        return lines

    def _repr_html_(self) -> str:
        calls = zip(self._calls(), self.decades.forecast, self.decades.observed, strict=True)
        rows = [
            (page.under(*text.split(": ", 1)), page.two_bars(float(called), float(true)))
            for text, called, true in calls
        ]
        caption = "A hollow bar is what you called, a full one how often it was true"
        drawn = [page.table(rows, caption=caption)] if rows else []
        return page.view(self._head(), *drawn, "\n".join(self._more()))


_WORDS = {
    "as said": ": within chance.",
    "too seldom": ": too seldom, so that you are too sure of yourself.",
    "too often": ": too often, so that you could lay your chips closer.",
}


def calibration(history: History) -> Calibration:
    """How well somebody's chances held, from the rounds that she played (`Practice.played`).

    Raises RangeError where no piece of known years is among them.
    """
    dated = [one for one in history if one.dated and one.steps]
    if not dated:
        raise RangeError("history: no round with a piece of known years is over")
    bets = [step.bet for played in dated for step in played.steps]
    piece = np.repeat(np.arange(len(dated)), [len(played.steps) for played in dated])
    years = np.array([(played.known_from, played.known_to) for played in dated])[piece]
    years = np.maximum(years, FIRST_YEAR)
    decades = max(len(bet.decades) for bet in bets)
    chips, share = np.zeros((2, len(bets), decades))
    for row, bet in enumerate(bets):
        share[row, : len(bet.decades)] = bet.shares
        if bet.chips is not None:
            chips[row, : len(bet.decades)] = bet.chips
    first, last = ((end - FIRST_YEAR) // _DECADE for end in years.T)
    at = np.arange(decades)
    true = np.where((first[:, None] <= at) & (at <= last[:, None]), share, 0.0)
    true /= true.sum(axis=1, keepdims=True)
    laid = np.array([bet.chips is not None for bet in bets])
    rows = []
    for number in range(1, CHIPS + 1):
        here = np.nonzero(chips == number)
        if len(here[0]):
            chance = number / CHIPS
            band = share_band(_independent(piece[here[0]]), chance)
            rows.append((chance, float(true[here].mean()), len(here[0]), *band))
    called = np.array(rows, dtype=float).reshape(-1, 5)
    return Calibration(
        decades=Reliability(
            forecast=called[:, 0], observed=called[:, 1], count=called[:, 2].astype(np.int64)
        ),
        band=called[:, 3:],
        bets=len(bets),
        pieces=len(dated),
        left_out=sum(not one.dated for one in history),
        chips=int(laid.sum()),
        missed=float(true[laid[:, None] & (chips == 0)].sum()),
        interval=_interval(
            [_covers(*one) for one in zip(bets, years.tolist(), strict=True)], piece
        ),
    )


def _covers(bet: Bet, years: Sequence[int]) -> tuple[float, float]:
    """The chance that a bet's interval holds the true year, and what it says of that."""
    first, last = years
    if bet.interval is not None:
        low, high = bet.interval
        inside = max(min(high, last) - max(low, first) + 1, 0)
        return inside / (last - first + 1), LEVEL
    share = np.array(bet.shares) if bet.chips is None else np.array(bet.chips) / CHIPS
    begin, end = ([(year - FIRST_YEAR) // _DECADE] for year in (first, last))
    found = coverage(share[None], begin, end, LEVEL)
    return float(found.held[0]), float(found.expected[0])


def _interval(covered: Sequence[tuple[float, float]], piece: Cells) -> Covered:
    held, expected = np.array(covered).T
    found = bootstrap(held[:, None], piece, np.random.default_rng(_SEED), _DRAWS)[0]
    error = math.sqrt(float((expected * (1 - expected)).mean()) / effective(piece))
    return Covered(
        level=LEVEL,
        held=found,
        expected=float(expected.mean()),
        chance_error=error,
        least=found.mean,
        most=found.mean,
    )


def _independent(piece: Cells) -> float:
    """How many independent ones some decades of pieces are worth at least."""
    return effective(np.unique(piece, return_inverse=True)[1])


def _pieces(count: int) -> str:
    return "1 piece" if count == 1 else f"{count} pieces"


def _times(count: int) -> str:
    return "1 time" if count == 1 else f"{count} times"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _beyond(true: float, low: float, high: float) -> str:
    """Whether a share is more or less than chance allows."""
    if low <= true <= high:
        return ""
    return ", less often than chance allows" if true < low else ", more often than chance allows"
