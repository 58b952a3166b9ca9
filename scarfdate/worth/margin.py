"""What is left of the money taken, after what was paid for the pieces."""

from __future__ import annotations

import math

from scipy import special

from scarfdate.conventions import Array


def margin(price: Array, paid: Array, sure: float = 0.5) -> float:
    """1 less what was paid in all by what was got in all, of n pieces: 1 is all of it, below 0 a loss.

    ``price``, ``paid``: (n,) money, the price above 0. ``sure``: chance, above 0 and below 1, that the margin is no
    more than the answer: 0.5 is the estimate itself, 0.1 and 0.9 are the ends of its 80 % interval, by Student's t with
    the variance of a ratio of sums (Cochran 1977, Sampling Techniques, 6.4). NaN where there is no piece, and for
    the ends where there is one alone.
    """
    n = len(price)
    if n < 2 and (n == 0 or sure != 0.5):
        return math.nan
    taken = float(price.sum())
    share = 1 - float(paid.sum()) / taken
    if sure == 0.5:
        return share
    off = price * (1 - share) - paid
    error = math.sqrt(n / (n - 1) * float((off**2).sum())) / taken
    return share + float(special.stdtrit(n - 1, sure)) * error
