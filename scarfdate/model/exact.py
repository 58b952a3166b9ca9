"""The exact sum once more, for the rows of one scarf as they are handed in: slow, plain, and changeable.

Used where a row is not that of the tables: a clue left out, or a table made wrong on purpose.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from scarfdate.conventions import GRADES
from scarfdate.knots import Array
from scarfdate.model.model import Codes, Model


def rows_of(model: Model, codes: Codes) -> dict[int, Array]:
    """The likelihood rows of the clues that were looked at, by column: (markets or 1, grades, years)."""
    found = {}
    for column, clue in enumerate(model.clues):
        if codes[0, column]:
            found[column] = clue.rows.table[codes[0, column]].reshape(clue.shape)
    return found


def products_of(model: Model, rows: Mapping[int, Array]) -> tuple[Array, Array]:
    """The rows multiplied: making (markets or 1, grades, years), style (grades, years)."""
    making = np.ones((1, len(GRADES), len(model.years)))
    style = np.ones((len(GRADES), len(model.years)))
    for column, row in rows.items():
        if column in model.style.columns:
            style = style * row[0]
        else:
            making = making * row
    return making, style


def joint_of(
    model: Model, rows: Mapping[int, Array], prior: Array | None = None
) -> tuple[Array, Array]:
    """P(all rows, grade, year) of a period piece and of a later piece, each (grades, years), unscaled.

    ``prior`` (grades, years) takes the place of the model's.
    """
    making, style = products_of(model, rows)
    state = (model.market[:, None, :] * making).sum(axis=0)
    state = state * (model.prior if prior is None else prior)
    rho = model.revival_share
    return state * (1 - rho) * style, state * rho * (style @ model.looked_back_to.T)


def year_of(model: Model, rows: Mapping[int, Array], prior: Array | None = None) -> Array:
    """P(year | rows), (years,)."""
    period, later = joint_of(model, rows, prior)
    year = (period + later).sum(axis=0)
    return np.asarray(year / year.sum())
