"""How far this dealer's eye can be trusted: for each clue a trust exponent, 0 to 1, to which its likelihood is raised.

A likelihood to the power 0 says nothing, to the power 1 what the table says. The exponents maximise the
conditional likelihood of the known years given the clues,

    log P(year in the known interval | clues)  =  log sum over the interval  -  log sum over all years

each sum of prior times the clues to their exponents; years that are another piece's (``wrong`` of ``known_by.csv``) are
as likely as the prior has them. The prior of an exponent is uniform from 0 to 1. It is
conditional on the clues because a likelihood to a power is no likelihood of anything.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, MARKETS, Array
from scarfdate.errors import RangeError
from scarfdate.learning.patterns import Patterns
from scarfdate.model.exact import onto_style_years, revival_parts
from scarfdate.model.model import Model
from scarfdate.show import page

_BLOCK = 128  # records at a time
_STEP = 1e-3


@dataclass(frozen=True, kw_only=True)
class Trust:
    """``exponent`` of each family; ``error``, its standard error (NaN at the ends of the range); ``before``,
    ``after``: the mean log probability of the known interval with all exponents 1, and with these."""

    exponent: Mapping[str, float]
    error: Mapping[str, float]
    before: float
    after: float

    def _repr_html_(self) -> str:
        return page.view(str(self), self.drawn())

    def drawn(self) -> page.Html:
        """The exponents as bars, the least trusted first."""
        ranked = sorted(self.exponent.items(), key=lambda item: item[1])
        rows = [(name, page.bar(exponent), f"{exponent:.2f}") for name, exponent in ranked]
        return page.table(rows, caption="Trust: no bar none, a whole one full", numbers=(2,))

    def __str__(self) -> str:
        parts = [
            f"{name} {exponent:.2f}"
            + (f" (give or take {self.error[name]:.2f})" if np.isfinite(self.error[name]) else "")
            for name, exponent in sorted(self.exponent.items(), key=lambda item: item[1])
        ]
        return (
            f"Trust, 0 none to 1 full: {', '.join(parts)}. The known years are "
            f"{self.after - self.before:+.3f} nats a record more probable than with full trust, on the "
            "records that it was learned from."
        )


def fit_trust(model: Model, patterns: Patterns) -> Trust:
    """The trust exponents from records. RangeError where no record has a clue with a table."""
    from scipy.optimize import minimize

    noted = patterns.noted
    columns = [
        column
        for column, clue in enumerate(model.clues)
        if isinstance(clue, SharesClue) and noted[column]
    ]
    if not columns:
        raise RangeError("records: no record has a clue whose trust can be learned")
    likelihood = _ConditionalLikelihood(model, patterns, columns)
    n = patterns.count.sum()

    def loss(exponent: Array) -> tuple[float, Array]:
        value, gradient = likelihood.value_and_gradient(exponent)
        return -value / n, -gradient / n

    best = minimize(
        loss, np.full(len(columns), 0.9), jac=True, method="L-BFGS-B", bounds=[(0.0, 1.0)] * len(columns),
        options={"maxiter": 60},
    )  # fmt: skip
    exponent = np.asarray(best.x)
    names = [model.clues[column].name for column in columns]
    inside = np.flatnonzero((exponent > _STEP) & (exponent < 1 - _STEP))
    error = np.full(len(exponent), np.nan)
    if inside.size:
        information = np.empty((len(inside), len(inside)))
        for row, place in enumerate(inside.tolist()):
            step = np.zeros(len(exponent))
            step[place] = _STEP
            ahead, behind = (
                likelihood.value_and_gradient(exponent + by)[1] for by in (step, -step)
            )
            information[row] = (behind - ahead)[inside] / (2 * _STEP)
        covariance = np.linalg.pinv((information + information.T) / 2)
        error[inside] = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return Trust(
        exponent=dict(zip(names, exponent.round(4).tolist(), strict=True)),
        error=dict(zip(names, error.tolist(), strict=True)),
        before=float(likelihood.value_and_gradient(np.ones(len(columns)))[0] / n),
        after=float(likelihood.value_and_gradient(exponent)[0] / n),
    )


def powered(model: Model, making: Array, style: Array) -> tuple[Array, Array, Array]:
    """From logs of n pieces, which are changed: ``making`` (n, markets or 1, grades, years), the prior times the
    making clues to their exponents, and ``style`` (n, grades, years), the style clues to theirs.

    Returns the style clues and the rest by themselves, and P(clues, state), of the shape of ``making``. Each is
    as large as a piece's largest makes it: only ratios within a piece mean anything.
    """
    style -= style.max(axis=(1, 2), keepdims=True)
    look = np.exp(style)
    period, later = revival_parts(model, look)
    making -= making.max(axis=(1, 2, 3), keepdims=True)
    weight = np.exp(making)
    return look, weight, weight * (period + later)[:, None]


class _ConditionalLikelihood:
    """The log probability of the known intervals given the clues, as a function of the exponents."""

    def __init__(self, model: Model, patterns: Patterns, columns: list[int]) -> None:
        self.model, self.patterns, self.columns = model, patterns, columns
        self.rows = {
            column: patterns.rows_of(model, column)
            for column in np.flatnonzero(patterns.noted).tolist()
        }
        self.logs = {}
        for column in columns:
            clue = model.clues[column]
            # as the table has it: an exponent already there is learned anew
            before = clue.trust if isinstance(clue, SharesClue) and clue.trust > 0 else 1.0
            self.logs[column] = np.log(clue.rows.table).reshape(-1, *clue.shape) / before
        self.log_prior = (
            np.log(model.prior) + np.log(model.market)[:, None]
        )  # (markets, grades, years)

    def value_and_gradient(self, exponent: Array) -> tuple[float, Array]:
        """The log likelihood of all records, and its gradient, (exponents,)."""
        value, gradient = 0.0, np.zeros(len(exponent))
        for start in range(0, len(self.patterns), _BLOCK):
            one, other = self._block(slice(start, start + _BLOCK), exponent)
            value, gradient = value + one, gradient + other
        return value, gradient

    def _block(self, here: slice, exponent: Array) -> tuple[float, Array]:
        model, patterns = self.model, self.patterns
        codes = patterns.codes[here]
        n, years = len(codes), len(model.years)
        making = np.broadcast_to(self.log_prior, (n, len(MARKETS), len(GRADES), years)).copy()
        style = np.zeros((n, len(GRADES), years))
        for column, clue in enumerate(model.clues):
            if not codes[:, column].any():
                continue
            rows = self.rows[column][here]
            if column in self.logs:
                log = exponent[self.columns.index(column)] * self.logs[column][rows]
            else:
                log = np.log(clue.rows.table.reshape(-1, *clue.shape)[rows])
            if column in model.style.columns:
                style += log[:, 0]
            else:
                making += log
        look, weight, state = powered(model, making, style)
        cell = np.arange(years)
        inside = (cell >= patterns.first[here, None]) & (cell <= patterns.last[here, None])
        total = state.sum(axis=(1, 2, 3))
        within = (state * inside[:, None, None]).sum(axis=(1, 2, 3))
        count = patterns.count[here]
        right, other = self._known(here, within / total)
        # how much more each state counts within the interval than altogether
        lead = (inside / within[:, None] - 1 / total[:, None]) * (count * right / other)[:, None]
        by_state = state * lead[:, None, None]
        on_style = look * onto_style_years(model, weight.sum(axis=1) * lead[:, None])
        gradient = np.zeros(len(exponent))
        for place, column in enumerate(self.columns):
            log = self.logs[column][self.rows[column][here]]
            if column in model.style.columns:
                gradient[place] = (on_style * log[:, 0]).sum()
            elif log.shape[1] == 1:
                gradient[place] = (by_state.sum(axis=1) * log[:, 0]).sum()
            else:
                gradient[place] = (by_state * log).sum()
        return float(count @ np.log(other)), gradient

    def _known(self, here: slice, chance: Array) -> tuple[Array, Array]:
        """P(the known years, and they are its own) of records, (n,), and P(the known years): else they are any piece's."""
        patterns, total = self.patterns, np.concatenate(([0.0], np.cumsum(self.model.year_prior)))
        wrong = np.broadcast_to(patterns.wrong, len(patterns))[here]
        of_any = total[patterns.last[here] + 1] - total[patterns.first[here]]
        right = (1 - wrong) * chance
        return right, right + wrong * of_any
