"""The few constants of the whole library. Nothing about scarves: that is in ``priors/``."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

FIRST_YEAR = 1880  # the first cell of the year grid: "1880 or earlier"
LAST_AS_OF = 2199  # no later ``as_of`` is taken: it is a slip of the pen
LEVEL = 0.80  # the interval that is shown when nobody asks for another
GRADES = ("fine", "better", "everyday")  # the price tier a piece was made for
MARKETS = ("us", "canada", "europe", "elsewhere")  # where a piece was first offered for sale
CHANNEL = "thrift"  # where a piece turned up, when nobody says
METHOD = "feel"  # how a clue was looked at, when nobody says
MORE_LIKELY_THAN_NOT = 0.5  # a chance from which on a thing is said to be so, and not only possible
ZERO_SHARE = 1e-6  # a share of 0 in a table, so that one slip of the pen is not the end of a year
DECIBANS_PER_NAT = 10 / math.log(
    10
)  # Good (1985): weight of evidence as 10 log10 of the odds factor

Array = NDArray[np.float64]
