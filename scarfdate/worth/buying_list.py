"""`appraise_table`: a sheet with asking prices as a buying list, what earns most first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.readable import readable, rows_of_cells
from scarfdate.conventions import CHANNEL
from scarfdate.reading.frames import as_pandas, like
from scarfdate.tables.priors import Priors
from scarfdate.words.units import checked_unit
from scarfdate.worth.appraisal import said
from scarfdate.worth.appraise import appraised
from scarfdate.worth.lot import called
from scarfdate.worth.offered import Offered, all_not_read, offered, pieces_of_rows
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.profit import sales
from scarfdate.worth.spread import highest_price
from scarfdate.worth.terms import RISK, GivenCosts, GivenPrices, Terms

if TYPE_CHECKING:
    import pandas as pd

_AT_ONCE = 500  # pieces whose draws are held at a time
_LOOKED_AT = 100  # pieces of which it is asked what one more look would turn: it takes some ten times as long
NUMBERS = (
    "asked", "pay_at_most", "sells_for", "sells_for_low", "sells_for_high", "expected_profit", "profit_low",
    "profit_high", "loss_probability",
)  # fmt: skip


def appraise_table(
    frame: Any,
    costs: GivenCosts = None,
    prices: GivenPrices = None,
    *,
    risk: float = RISK,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    sale_channel: str | None = None,
    season: str | int | None = None,
    as_of: int | None = None,
    unit: str | None = None,
) -> pd.DataFrame:
    """A buying list: one row a piece of a sheet, by itself, sorted by expected profit.

    ``frame``: pieces as `date_table` takes them (of pandas, polars or another eager library; the answer is of
    the same), with ``asked_price``, and ``condition`` where it was looked at; ``unit``: of sizes that state none;
    all else as in `appraise`.

    Returns a frame with the index of the pieces (of pandas): ``id``; ``advice`` ("buy", "look first", "leave it", "offer" where
    no price is asked); ``asked``; ``pay_at_most``; ``sells_for``, ``sells_for_low``, ``sells_for_high``: the middle
    and the 10 to 90 % range; ``expected_profit``, ``profit_low``, ``profit_high``,
    ``loss_probability`` at the price asked, blank where none is; ``not_read``: what was left out;
    ``look``: where the advice is to look first, what to look at and what that is worth (asked of the first hundred). Pieces without
    a price asked come last, by the most to pay. ``attrs`` (of pandas): "currency", and "notes", what should be known of
    all rows.

    Raises RangeError for a sheet without pieces, TableError for a price in another currency, and ScarfdateError as
    `appraise` does.
    """
    import pandas as pd

    terms = Terms.of(
        costs, prices, priors=priors, channel=channel, as_of=as_of, sale_channel=sale_channel,
        season=season, risk=risk,
    )  # fmt: skip
    table = as_pandas(frame)
    sheet = offered(table, terms.priors, terms.currency)
    pieces = Pieces.of(
        table, sheet.conditions, terms.priors, channel=terms.channel, as_of=terms.as_of, unit=unit
    )
    found = np.full((len(table), len(NUMBERS)), np.nan)
    for start in range(0, len(table), _AT_ONCE):
        here = np.arange(start, min(start + _AT_ONCE, len(table)))
        found[here] = _numbers(pieces.take(here), sheet.asked[here], terms)
    answer = pd.DataFrame(found, columns=list(NUMBERS), index=table.index)
    asks = answer["asked"].notna()
    pays = (answer["loss_probability"] <= terms.risk) & (answer["expected_profit"] >= 0)
    answer.insert(0, "advice", np.where(~asks, "offer", np.where(pays, "buy", "leave it")))
    answer.insert(0, "id", list(called(sheet.ids, table)))
    not_read = all_not_read(sheet, pieces)
    counts, told = pieces_of_rows(table, terms.priors)
    for row in np.flatnonzero(counts > 1).tolist():
        told[row] = (
            f"quantity: {counts[row]} pieces in one row; the list is for one of them, as if the price were"
        )
    for row, text in told.items():
        not_read.setdefault(row, []).append(text)
    left = ["; ".join(not_read.get(row, ())) or None for row in range(len(table))]
    answer["not_read"] = pd.array(left, dtype="string")
    order = np.lexsort(
        [answer["id"], -answer["pay_at_most"], -answer["expected_profit"].fillna(-np.inf)]
    )
    answer = answer.iloc[order]
    notes = list(terms.notes)
    turning = np.flatnonzero(answer["asked"].notna())
    if len(turning) > _LOOKED_AT:
        notes.append(
            f"What one more look would turn was asked of the first {_LOOKED_AT} pieces only."
        )
    looks = _looks(table, sheet, terms, order[turning[:_LOOKED_AT]], unit)
    told_looks = [looks.get(row) for row in order.tolist()]
    answer["advice"] = np.where(
        [one is not None for one in told_looks], "look first", answer["advice"]
    )
    answer["look"] = pd.array(told_looks, dtype="string")
    answer.attrs["currency"], answer.attrs["notes"] = terms.currency, notes
    result: pd.DataFrame = like(frame, answer)
    return result


def _looks(
    table: pd.DataFrame, sheet: Offered, terms: Terms, places: NDArray[np.intp], unit: str | None
) -> dict[int, str]:
    """By row the look that is to be done before deciding, in words; of some rows."""
    rows = rows_of_cells(table.iloc[places], terms.priors, checked_unit(unit))
    found = {}
    for place, cells in zip(places.tolist(), rows, strict=True):
        scarf, _ = readable(cells, terms.priors)
        one = appraised(
            scarf, terms, state=sheet.conditions[place], asking=float(sheet.asked[place])
        )
        if one.look is not None:
            found[place] = said(one.look, terms.currency)
    return found


def _numbers(pieces: Pieces, asked: np.ndarray, terms: Terms) -> np.ndarray:
    """The columns `NUMBERS` of some pieces, (n, columns)."""
    sold = sales(terms.samples(pieces), terms.costs)
    profit = sold.gain - asked[:, None]
    low, high = np.quantile(sold.gain, [0.1, 0.9], axis=1)
    price = np.quantile(sold.price, [0.5, 0.1, 0.9], axis=1)
    loses = np.where(np.isnan(asked), np.nan, (profit < 0).mean(axis=1))
    return np.column_stack(
        [asked, highest_price(sold.gain, terms.risk), *price, profit.mean(axis=1), low - asked, high - asked, loses]
    )  # fmt: skip
