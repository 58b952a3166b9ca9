"""``information.csv``: how many bits about the decade made each clue carries, and how sure that is.

    python -m scarfdate.building.information priors/information.csv

writes the table anew, after any change of the other tables.

The bits of a family are the mutual information between the decade made D and what is noted O, for
one piece that was looked at in the usual way:

    I(D; O) = sum over d, o of  P(d, o) log2 [ P(d, o) / (P(d) P(o)) ]

P(d, o) comes from the prior of the channel, the family's shares, and its confusions and slips; for
a style family the shares are mixed over revivals (`scarfdate.model.exact.onto_style_years`). For a measured family it
is the information of the measurement where the value it depends on (the form of a side's length) is
known already: I(D; X | V), summed over the family's step grid.

A table whose rows were only ever counted always seems to move a little. Three numbers keep that apart:

* *drawn tables*: each knot row is drawn from a Dirichlet distribution about its shares with the
  family's ``worth`` as total count (for a measured row: its centre from a normal distribution with
  standard deviation spread / sqrt(worth), the logarithm of its spread with 1 / sqrt(2 worth));
* *the interval*: the quantiles of the bits of drawn tables. Drawing adds movement of its own, so the
  draws are moved back until their mean is the table's own bits;
* *the chance level*: the mean bits of tables drawn in the same way about one and the same row for all
  years, so that nothing in them depends on the year: the bits of counting so few records alone.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from functools import partial
from numbers import Integral
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.building.decade_bits import TARGETS
from scarfdate.building.drawn_measured import Measured
from scarfdate.building.drawn_shares import Shares
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import CHANNEL, GRADES, LEVEL, Array
from scarfdate.errors import RangeError, ScarfdateError, shown
from scarfdate.files import write_whole
from scarfdate.model.model import Model, compiled
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.threads import one_thread

if TYPE_CHECKING:
    import pandas as pd

ALL = "all"  # the grade as uncertain as the prior has it
_SEED = 1880  # any fixed number: the same call gives the same table
_TABLE_AS_OF = 2026  # so that the table does not change with the calendar
_TABLE_DRAWS = 6000  # with fewer, which intervals reach zero would depend on the seed
_DRAWS = (20, 100_000)  # fewer than 20 have no 10 % quantile worth the name
_AT_ONCE = 50  # drawn tables held in memory together
_CHANCE = 4  # drawn tables for each one of the chance level: a mean needs fewer than a quantile


@one_thread()
def clue_information(
    priors: Priors | None = None,
    channel: str = CHANNEL,
    *,
    as_of: int | None = None,
    draws: int = 400,
    rng: np.random.Generator | None = None,
) -> pd.DataFrame:
    """Bits about the decade made that one observation of each family carries on average.

    A frame with a row for each family of shares or measurements and each grade, and for the grade
    ``all`` (as uncertain as the prior has it):

    ``family``, ``grade``
        names as in ``families.csv``.
    ``bits``
        mutual information of the decade and what is noted, 0 or more, under the tables as they are;
        for a measured family, where the value it depends on is known.
    ``lower``, ``upper``
        80 % interval of ``bits`` from the counts behind the table: see the head of this module.
    ``beyond_chance``
        ``bits`` less the mean bits of tables of the same worth that do not move over the years; below
        zero where counting alone would usually show more movement than the table has.
    ``reaches_zero``
        whether ``lower`` less that chance level is zero or less: by the counts alone, the family
        may carry no information about the decade.
    ``worth``
        how many records each row of the table counts for.

    ``draws`` tables, from 20 to 100,000, are drawn with ``rng``; without one the seed is fixed, and the
    same call gives the same frame. Raises WordError for a channel that is not known, RangeError for an
    ``as_of`` or a number of ``draws`` that cannot be.
    """
    import pandas as pd

    whole = isinstance(draws, Integral) and not isinstance(draws, bool)
    if not whole or not _DRAWS[0] <= draws <= _DRAWS[1]:
        raise RangeError(
            f"draws: a whole number from {_DRAWS[0]} to {_DRAWS[1]} is allowed, got {shown(draws)}"
        )
    model = compiled(load_priors() if priors is None else priors, channel, as_of)
    rng = np.random.default_rng(_SEED) if rng is None else rng
    rows = []
    for name, clue in _families(model):
        worth = model.priors.families[name].worth
        drawn = _in_portions(partial(clue.drawn, rng), int(draws)).T
        number = max(_DRAWS[0], int(draws) // _CHANCE)
        chance = [
            _in_portions(partial(clue.still, rng, grades), number).mean() for grades in TARGETS
        ]
        bits = clue.bits()
        ends = np.quantile(drawn, [0.5 - LEVEL / 2, 0.5 + LEVEL / 2], axis=0)
        lower, upper = np.maximum(ends - drawn.mean(axis=0) + bits, 0.0)
        rows += [
            (name, grade, bits[i], lower[i], upper[i], bits[i] - chance[i],
             bool(lower[i] <= chance[i]), worth)
            for i, grade in enumerate((*GRADES, ALL))
        ]  # fmt: skip
    columns = "family grade bits lower upper beyond_chance reaches_zero worth"
    return pd.DataFrame(rows, columns=columns.split())


def information_table(priors: Priors | None = None, channel: str = CHANNEL) -> bytes:
    """`clue_information` as ``information.csv`` of a priors folder; the same priors, the same bytes."""
    source = f"python -m scarfdate.building.information; channel {channel}, as of {_TABLE_AS_OF}"
    note = "the interval is what as many records as the table is worth leave open"
    table = clue_information(priors, channel, as_of=_TABLE_AS_OF, draws=_TABLE_DRAWS)
    zero = table["reaches_zero"].map({True: "yes", False: "no"})
    notes = [note] + [""] * (len(table) - 1)
    table = table.drop(columns="worth").assign(
        reaches_zero=zero, basis="computed", source=source, note=notes
    )
    return table.to_csv(index=False, float_format="%.3f", lineterminator="\n").encode("utf-8")


def _in_portions(draw: Callable[[int], Array], number: int) -> Array:
    """Drawn tables (..., number), some at a time."""
    portions = [min(_AT_ONCE, number - at) for at in range(0, number, _AT_ONCE)]
    return np.concatenate([draw(portion) for portion in portions], axis=-1)


def _families(model: Model) -> Iterator[tuple[str, Shares | Measured]]:
    """Each family of shares or measurements, in the order of ``families.csv``."""
    clues = {clue.name: clue for clue in model.clues if isinstance(clue, SharesClue)}
    for name, family in model.priors.families.items():
        if name in clues:
            yield name, Shares(model, clues[name])
        elif family.parent in clues:
            clue = clues[family.parent]
            measure = next(m for m in clue.measures if m.family.name == name)
            yield name, Measured(model, clue, measure)


def main() -> None:
    """Write the table to the file that is named."""
    try:
        write_whole(Path(sys.argv[1]), information_table())
    except (OSError, ScarfdateError) as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
