"""How much memory the tables of dating take, and how it is given back: for runs of many rows in little memory."""

from __future__ import annotations

from collections.abc import Iterator

from scarfdate.clues.clue import GROWING, Rows
from scarfdate.conventions import MARKETS
from scarfdate.model.model import Model
from scarfdate.tables.priors import Priors

_COPIES = 2  # of each row: in double precision, and twice in single
# more in double precision: the part of revivals, that of each market
_OF_STYLE, _OF_MARKET = 1, len(MARKETS)


def taken(priors: Priors) -> int:
    """Bytes of the tables of all models of these priors, nearly."""
    total = 0
    for model in _models(priors).values():
        total += sum(_COPIES * rows.table.nbytes for rows in _tables(model))
        total += _OF_STYLE * model.style.rows.table.nbytes
        total += _OF_MARKET * model.by_market.rows.table.nbytes
    return total


def give_back(priors: Priors, most: int) -> None:
    """Start the tables of all models again where together they take more than so many bytes.

    Answers are the same, for a row's answer does not hang on what the tables hold; what is asked next makes its
    rows anew. The old ones hold each other nowhere, so that their memory is free at once.
    """
    with GROWING:
        if taken(priors) <= most:
            return
        for key, model in _models(priors).items():
            priors._compiled[key] = model.started_again()


def _models(priors: Priors) -> dict[object, Model]:
    return {key: one for key, one in priors._compiled.items() if isinstance(one, Model)}


def _tables(model: Model) -> Iterator[Rows]:
    yield from (clue.rows for clue in model.clues)
    yield from (group.rows for group in (model.style, model.by_market))
    yield from (group.rows for group in model.plain if len(group.columns) > 1)
