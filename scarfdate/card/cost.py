"""What a pocket card loses against the exact model, measured on simulated pieces it was not fitted to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scarfdate.card import fit
from scarfdate.card.fit import Codes, Points
from scarfdate.conventions import LEVEL, Array
from scarfdate.years import densest_cells

if TYPE_CHECKING:
    import pandas

TRUSTED = 0.80  # the card may be trusted where it agrees so often with the exact era
MOST_AHEAD = 8  # points: more are counted together
STOP_AHEAD, STOP_AFTER = 3, 6  # points, and rows added before one may stop
FEW = 3  # clues looked at, or fewer
_CLUES = np.array([0, FEW + 1, 7, 10])  # where the groups by clues looked at begin
_ENOUGH = 30  # pieces: a share of fewer is not worth printing


@dataclass(frozen=True, kw_only=True)
class Cost:
    """What a card costs. Losses are bits a piece against the exact probabilities (KL divergence).

    ``pieces``: how many were measured. ``shares``: a frame with a row for each group of them, indexed
    by ``by`` and ``low``: "all"; "ahead", by points ahead of the second era (8 is 8 or more);
    "clues", by clues looked at, from ``low`` to the next; "later", later pieces in an older look. Its
    columns, shares from 0 to 1 but for the loss and what is added: ``pieces``, of all; ``agree``, the card names the
    exact era; ``near``, that or a neighbour; ``two``, the exact one has one of the two highest
    sums; ``inside``, the card's is among the fewest eras that hold 80 % of the exact probability;
    ``true`` and ``exact_true``, card and exact model name the era made; ``two_true``, it has one of
    the two highest sums; ``half``, card and exact model name the same half of the same era; ``added``, how
    many numbers other than nought are added; ``stopped``, ``stopped_near`` and ``stopped_added``, ``agree``,
    ``near`` and ``added`` for who stops as the card says; ``loss``. ``elsewhere``: the same columns for the pieces of each other channel.

    ``agree`` and ``loss``: of all; ``loss_error``: the standard error of the loss; ``rounded_loss``: of
    plainly rounded points; ``unrounded_loss``: of the weights before; ``prior_loss``: of knowing the
    channel alone. ``trust_from``: the fewest points ahead from which card and exact model agree on
    four pieces in five; None where there are none.
    """

    pieces: int
    shares: pandas.DataFrame = field(compare=False, repr=False)
    elsewhere: pandas.DataFrame = field(compare=False, repr=False)
    loss_error: float
    rounded_loss: float
    unrounded_loss: float
    prior_loss: float
    trust_from: int | None

    @property
    def agree(self) -> float:
        """How often the card names the exact era, from 0 to 1."""
        return float(self.overall["agree"])

    @property
    def loss(self) -> float:
        """Bits a piece that the card loses."""
        return float(self.overall["loss"])

    @property
    def overall(self) -> dict[str, float]:
        """The row of ``shares`` that is of all pieces."""
        return {str(name): float(value) for name, value in self.shares.iloc[0].items()}

    def by(self, group: str) -> dict[int, dict[str, float]]:
        """The rows of one kind of ``shares`` by their ``low``; none where nothing was measured."""
        rows = self.shares[self.shares.index.get_level_values("by") == group]
        names, lows = rows.columns.tolist(), rows.index.get_level_values("low").tolist()
        values = rows.to_numpy().tolist()
        return {
            low: dict(zip(names, row, strict=True)) for low, row in zip(lows, values, strict=True)
        }


def winner(sums: Points) -> NDArray[np.intp]:
    """The column with the highest sum; of equal ones the later, which claims less age."""
    return _best_two(sums)[:, 0]


def margin(sums: Points) -> Points:
    """By how many points the highest sum leads the second."""
    top = np.sort(sums, axis=1)[:, -2:]
    return np.asarray(top[:, 1] - top[:, 0])


def _best_two(sums: Points) -> NDArray[np.intp]:
    order = np.argsort(-sums[:, ::-1], axis=1, kind="stable")[:, :2]
    return np.asarray(sums.shape[1] - 1 - order)


class Added(NamedTuple):
    """Pieces added up: ``sums`` (pieces, columns), ``added`` (pieces,) numbers other than nought."""

    sums: Points
    added: NDArray[np.int64]


def add_up(points: Points, codes: Codes, order: Sequence[int], *, stopping: bool) -> Added:
    """Rows added in the order of the card, to the end or until one era is far enough ahead."""
    sums = np.repeat(points[:1], len(codes), axis=0)
    added = np.full(len(codes), np.count_nonzero(points[0]))
    looks = np.zeros(len(codes), dtype=np.int64)
    for clue in order:
        still = codes[:, clue] > 0
        if stopping:
            still &= (margin(sums) < STOP_AHEAD) | (looks < STOP_AFTER)
        rows = points[codes[still, clue]]
        sums[still] += rows
        added[still] += np.count_nonzero(rows, axis=1)
        looks[still] += 1
    return Added(sums, added)


def measured(
    whole: Added, stopped: Added, scale: float, target: Array, true: NDArray[np.int64],
    half: NDArray[np.bool_],
) -> pandas.DataFrame:  # fmt: skip
    """One row a piece, with the columns of `Cost.shares`.

    ``whole``, ``stopped``: pieces added up, of points of ``scale`` nats; ``target``: the exact
    probabilities; ``true``: the column of the year made; ``half``: whether the card names the half that
    is the likelier in the exact era, were its era the same.
    """
    import pandas as pd

    sums, early = whole.sums, winner(stopped.sums)

    two, exact = _best_two(sums), target.argmax(axis=1)
    named = two[:, 0]
    return pd.DataFrame(
        {
            "agree": named == exact,
            "near": np.abs(named - exact) <= 1,
            "two": (two == exact[:, None]).any(axis=1),
            "inside": densest_cells(target, LEVEL)[np.arange(len(sums)), named],
            "true": named == true,
            "exact_true": exact == true,
            "two_true": (two == true[:, None]).any(axis=1),
            "half": half & (named == exact),
            "added": whole.added,
            "stopped": early == exact,
            "stopped_near": np.abs(early - exact) <= 1,
            "stopped_added": stopped.added,
            "loss": fit.loss(target, fit.softmax(scale * sums)),
        },
        dtype=float,
    )


def cost(
    each: pandas.DataFrame, sums: Points, codes: Codes, target: Array, *,
    later: NDArray[np.bool_], rounded: Array, unrounded: Array, prior: Array,
    elsewhere: pandas.DataFrame,
) -> Cost:  # fmt: skip
    """The cost of a card from ``each`` piece, as from `measured`.

    ``later``: which are later pieces in an older look. ``rounded``, ``unrounded``, ``prior``: the
    probabilities of plainly rounded points, of the weights, and of the channel alone.
    """
    import pandas as pd

    def shares(some: pandas.DataFrame, low: NDArray[Any]) -> pandas.DataFrame:
        groups = some.groupby(low)
        means = groups.mean()
        means.insert(0, "pieces", groups.size() / len(each))
        return means[groups.size() >= min(_ENOUGH, len(some))]

    looked = (codes > 0).sum(axis=1)
    parts = {
        "all": shares(each, np.zeros(len(each), dtype=int)),
        "ahead": shares(each, np.minimum(margin(sums), MOST_AHEAD)),
        "clues": shares(each, _CLUES[np.searchsorted(_CLUES, looked, side="right") - 1]),
        "later": shares(each[later], np.zeros(int(later.sum()), dtype=int)),
    }
    doubtful = parts["ahead"].index[parts["ahead"]["agree"] < TRUSTED]
    trusted = parts["ahead"].index[parts["ahead"].index > max(doubtful, default=-1)]
    return Cost(
        pieces=len(each),
        shares=pd.concat(parts, names=["by", "low"]),
        elsewhere=elsewhere,
        loss_error=float(each["loss"].std() / np.sqrt(len(each))),
        rounded_loss=float(fit.loss(target, rounded).mean()),
        unrounded_loss=float(fit.loss(target, unrounded).mean()),
        prior_loss=float(fit.loss(target, np.broadcast_to(prior, target.shape)).mean()),
        trust_from=int(trusted[0]) if len(trusted) else None,
    )
