"""The density of a measured size under moved tables, and its derivatives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from scarfdate.conventions import Array
from scarfdate.learning.deviations import CENTRE, SLIP, SPREAD, Places
from scarfdate.learning.prior import moved_rate

Named = Mapping[tuple[str, str], Array]  # (kind, family) to a part in its full shape


@dataclass(frozen=True, eq=False, kw_only=True)
class Measured:
    """Of the cells with a measurement those that have this one: the log of the size, and its log-normal."""

    name: str
    cells: Places  # among the cells with a measurement
    log: Array
    centre: Array  # (values, cells)
    spread: Array
    slip: float
    width: float
    folded: bool


@dataclass(frozen=True, eq=False, kw_only=True)
class MeasuredDensity:
    """The density of every measured size and its derivatives, each (values, cells)."""

    of: Measured
    value: Array
    by_centre: Array
    by_log_spread: Array
    by_logit_slip: Array
    by_centre_twice: Array


def measured_density(of: Measured, parts: Named, basis: Array) -> MeasuredDensity:
    """With the parts of theta, and the weight of each knot in each cell, ``basis`` (cells, knots)."""
    centre = of.centre + basis @ parts[CENTRE, of.name].ravel()
    spread = of.spread * np.exp(parts[SPREAD, of.name].item())
    rate = moved_rate(of.slip, parts[SLIP, of.name]).item()
    normal = by_centre = by_log_spread = twice = np.zeros_like(centre)
    # a ratio of sides is the same measurement upside down
    for side in (of.log, -of.log) if of.folded else (of.log,):
        off = (side - centre) / spread
        bell = np.exp(-0.5 * off**2) / (spread * np.sqrt(2 * np.pi))
        normal = normal + bell
        by_centre = by_centre + bell * off / spread
        by_log_spread = by_log_spread + bell * (off**2 - 1)
        twice = twice + bell * (off**2 - 1) / spread**2
    return MeasuredDensity(
        of=of,
        value=(1 - rate) * normal + rate / of.width,
        by_centre=(1 - rate) * by_centre,
        by_log_spread=(1 - rate) * by_log_spread,
        by_logit_slip=(1 / of.width - normal) * rate * (1 - rate),
        by_centre_twice=(1 - rate) * twice,
    )
