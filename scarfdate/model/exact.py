"""The exact sum once more, for the rows of one scarf as they are handed in: slow, plain, and changeable.

Used where a row is not that of the tables: a clue left out, or a table made wrong on purpose.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import GRADES, Array
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
    period, later = revival_parts(model, style)
    return state * period, state * later


def revival_parts(
    model: Model, style: Array, years: NDArray[np.intp] | None = None
) -> tuple[Array, Array]:
    """The mixture over revivals of style clues, ``style`` (..., grades, style years): its part of period
    pieces (1 - rho(y)) S(y) and of later pieces rho(y) sum over s of K(s|y) S(s).

    Each (..., grades, years made); or with ``years`` (n,), the year made of each of n rows of style alone,
    (n, grades).
    """
    rho = model.revival_share
    if years is None:
        return (1 - rho) * style, rho * (style @ model.looked_back_to.T)
    share = rho[years, None]
    period = np.take_along_axis(style, years[:, None, None], axis=2)[:, :, 0]
    later = np.einsum("ngs,ns->ng", style, model.looked_back_to[years])
    return (1 - share) * period, share * later


def onto_style_years(model: Model, weight: Array) -> Array:
    """Weight of years made, (..., years), as weight of the style years that the mixture looks to: the
    transpose of `revival_parts`."""
    rho = model.revival_share
    return np.asarray(weight * (1 - rho) + (weight * rho) @ model.looked_back_to)


def year_of(model: Model, rows: Mapping[int, Array], prior: Array | None = None) -> Array:
    """P(year | rows), (years,)."""
    period, later = joint_of(model, rows, prior)
    year = (period + later).sum(axis=0)
    return np.asarray(year / year.sum())
