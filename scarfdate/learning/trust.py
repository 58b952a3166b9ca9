"""How far this dealer's eye can be trusted: for each clue one power, 0 to 1, of what it says.

A clue raised to the power 0 says nothing, to the power 1 what the table says. The powers are those under
which the known years are most probable given the clues,

    log P(year in the known interval | clues)  =  log sum over the interval  -  log sum over all years

each sum of prior times the clues to their powers; a power has an even chance before between 0 and 1. It is
conditional on the clues because a likelihood to a power is no likelihood of anything.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, MARKETS
from scarfdate.errors import RangeError
from scarfdate.knots import Array
from scarfdate.learning.patterns import Patterns
from scarfdate.model.model import Model

_BLOCK = 128  # records at a time
_STEP = 1e-3


@dataclass(frozen=True)
class Trust:
    """``power`` of each family; ``error``, its standard error (NaN at the ends of the range); ``before``,
    ``after``: the mean log probability of the known interval with all powers 1, and with these."""

    power: Mapping[str, float]
    error: Mapping[str, float]
    before: float
    after: float

    def __str__(self) -> str:
        parts = [
            f"{name} {self.power[name]:.2f}"
            + (f" (give or take {self.error[name]:.2f})" if np.isfinite(self.error[name]) else "")
            for name in sorted(self.power, key=lambda name: self.power[name])
        ]
        return (
            f"Trust, 0 none to 1 full: {', '.join(parts)}. The known years are "
            f"{self.after - self.before:+.3f} nats a record more probable than with full trust, on the "
            "records that taught it."
        )


def fit_trust(model: Model, patterns: Patterns) -> Trust:
    """The powers from records. RangeError where no record has a clue with a table."""
    from scipy.optimize import minimize

    columns = [
        column
        for column, clue in enumerate(model.clues)
        if isinstance(clue, SharesClue) and patterns.codes[:, column].any()
    ]
    if not columns:
        raise RangeError("records: no record has a clue that a trust could be learned of")
    sums = _Sums(model, patterns, columns)
    n = patterns.count.sum()

    def lost(power: Array) -> tuple[float, Array]:
        value, slope = sums.value(power)
        return -value / n, -slope / n

    found = minimize(
        lost, np.full(len(columns), 0.9), jac=True, method="L-BFGS-B", bounds=[(0.0, 1.0)] * len(columns),
        options={"maxiter": 60},
    )  # fmt: skip
    power = np.asarray(found.x)
    names = [model.clues[column].name for column in columns]
    inside = np.flatnonzero((power > _STEP) & (power < 1 - _STEP))
    error = np.full(len(power), np.nan)
    if inside.size:
        bend = np.empty((len(inside), len(inside)))
        for row, place in enumerate(inside.tolist()):
            step = np.zeros(len(power))
            step[place] = _STEP
            ahead, back = sums.value(power + step)[1], sums.value(power - step)[1]
            bend[row] = (back - ahead)[inside] / (2 * _STEP)
        cover = np.linalg.pinv((bend + bend.T) / 2)
        error[inside] = np.sqrt(np.maximum(np.diag(cover), 0.0))
    return Trust(
        dict(zip(names, power.round(4).tolist(), strict=True)),
        dict(zip(names, error.tolist(), strict=True)),
        float(sums.value(np.ones(len(columns)))[0] / n),
        float(sums.value(power)[0] / n),
    )


class _Sums:
    """The log probability of the known intervals as a function of the powers, with its gradient."""

    def __init__(self, model: Model, patterns: Patterns, columns: list[int]) -> None:
        self.model, self.patterns, self.columns = model, patterns, columns
        self.logs = {}
        for column in columns:
            clue = model.clues[column]
            # as the table has it: a power already there is learned anew
            power = clue.trust if isinstance(clue, SharesClue) and clue.trust > 0 else 1.0
            self.logs[column] = np.log(clue.rows.table).reshape(-1, *clue.shape) / power
        self.base = np.log(model.prior) + np.log(model.market)[:, None]  # (markets, grades, years)

    def value(self, power: Array) -> tuple[float, Array]:
        value, slope = 0.0, np.zeros(len(power))
        for start in range(0, len(self.patterns), _BLOCK):
            one, other = self._block(slice(start, start + _BLOCK), power)
            value, slope = value + one, slope + other
        return value, slope

    def _block(self, here: slice, power: Array) -> tuple[float, Array]:
        model, patterns = self.model, self.patterns
        codes = patterns.codes[here]
        n, years = len(codes), len(model.years)
        making = np.broadcast_to(self.base, (n, len(MARKETS), len(GRADES), years)).copy()
        style = np.zeros((n, len(GRADES), years))
        for column, clue in enumerate(model.clues):
            rows = codes[:, column]
            if not rows.any():
                continue
            if column in self.logs:
                said = power[self.columns.index(column)] * self.logs[column][rows]
            else:
                said = np.log(clue.rows.table.reshape(-1, *clue.shape)[rows])
            if column in model.style.columns:
                style += said[:, 0]
            else:
                making += said
        style -= style.max(axis=(1, 2), keepdims=True)
        look = np.exp(style)
        rho, back = model.revival_share, model.looked_back_to
        mixed = (1 - rho) * look + rho * (look @ back.T)
        making -= making.max(axis=(1, 2, 3), keepdims=True)
        weight = np.exp(making)
        state = weight * mixed[:, None]
        cell = np.arange(years)
        inside = (cell >= patterns.first[here, None]) & (cell <= patterns.last[here, None])
        total = state.sum(axis=(1, 2, 3))
        held = (state * inside[:, None, None]).sum(axis=(1, 2, 3))
        count = patterns.count[here]
        # how much more each state counts within the interval than altogether
        lead = (inside / held[:, None] - 1 / total[:, None]) * count[:, None]
        lean = state * lead[:, None, None]
        by_market = weight.sum(axis=1) * lead[:, None]  # for the style, before it is mixed
        on_style = by_market * (1 - rho) * look + ((by_market * rho) @ back) * look
        slope = np.zeros(len(power))
        for place, column in enumerate(self.columns):
            rows = codes[:, column]
            said = self.logs[column][rows]
            if column in model.style.columns:
                slope[place] = (on_style * said[:, 0]).sum()
            elif said.shape[1] == 1:
                slope[place] = (lean.sum(axis=1) * said[:, 0]).sum()
            else:
                slope[place] = (lean * said).sum()
        return float(count @ np.log(held / total)), slope
