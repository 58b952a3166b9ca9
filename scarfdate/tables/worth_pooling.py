"""The prior of what is learned of prices, days to sell and returns: ``worth/pooling.csv``."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.tables.checked import Table

POOLING = "worth/pooling.csv"
POOLED, OWN, ABOVE_ZERO, SHARE, NUMBER = "pooled", "own", "above zero", "share", "number"
# what has to be there, by what it is of
_NEEDED = {
    "price": (
        "size", "condition", "fibre", "hem", "form", "maker", "channel", "season", "decade", "grade", "year",
        "log_sigma", "log_nu",
    ),
    "days": ("asked", "channel", "season", "decade", "fibre", "log_shape"),
    "returns": ("base", "channel"),
    "book": ("least_sales", "least_days", "least_returns", "largest_residual"),
}  # fmt: skip
_CENT = 100


@dataclass(frozen=True)
class Pool:
    """The prior of a group of coefficients, or a number.

    ``pooled``: each coefficient is normal around 0 with a standard deviation that is learned for the group, the
    logarithm of which is normal around log ``centre`` with ``spread``. Else the one coefficient is normal around
    ``centre`` with ``spread`` (infinity: flat); of one above zero both are of its logarithm, of a share of
    its log odds.
    """

    centre: float
    spread: float = math.inf
    pooled: bool = False


Pooling = Mapping[str, Mapping[str, Pool]]


def read_pooling(table: Table) -> Pooling:
    """By what it is of (price, days, returns, book) the prior of each group; a row that is missing is a fault."""
    found: dict[str, dict[str, Pool]] = {of: {} for of in _NEEDED}
    for row in table.rows:
        role, centre, spread = row["role"], row["centre"], row["spread"]
        if role != NUMBER and spread is None:
            table.fault(
                row, "spread", "a number is missing; only a row of the role 'number' has none"
            )
            continue
        if role in (POOLED, ABOVE_ZERO, SHARE) and centre <= 0:
            table.fault(row, "centre", f"must be above 0 for the role {role!r}", f"{centre:g}")
            continue
        if role == ABOVE_ZERO:
            centre = math.log(centre)
        elif role == SHARE:
            centre = math.log(centre / (_CENT - centre))
        pool = Pool(centre, math.inf if spread is None else spread, role == POOLED)
        found[row["of"]][row["what"]] = pool
    for of, names in _NEEDED.items() if table.whole else ():
        for name in names:
            if name not in found[of]:
                table.fault(None, "what", f"a row of {of} is missing", name)
    return MappingProxyType({of: MappingProxyType(each) for of, each in found.items()})
