"""What a museum means by the date that it states, estimated rather than assumed.

A museum states a year, "ca. 1925", a decade, a quarter, half or whole century. Read as bare
intervals, such dates mislead twice. *Kind*: older pieces are dated to centuries, newer ones to
years, so "20th century" is not an even statement about its hundred years. The share of each kind of
statement given the true year, q_t(y), is estimated, smooth in y. *Heaping*: dates said to be exact
or "circa" fall on round years. With probability h10 the stated year is the multiple of ten nearest
the truth, with h5 that of five; so a stated round year also speaks for its neighbours.

A record then has likelihood q_t(y) P(what was stated | t, y) in place of one inside its interval and
zero outside. `statement_fit` estimates all of it together with the density.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scarfdate.conventions import Array
from scarfdate.density.kinds import CIRCA, EXACT
from scarfdate.density.stated import Stated
from scarfdate.errors import RangeError


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """P(what was stated | kind, y), (m, cells), by way of stating: as it is, or rounded."""

    own: Array
    ten: Array
    five: Array


def parts_of(records: Stated, start: int, cells: int) -> Parts:
    """The three ways in which each record can have come about, before their shares.

    Cell y is the year ``start + y``; cell 0 stands for all years up to ``start``. A year named
    before ``start`` is known to be about cell 0; how it fell within is not modelled.
    """
    year = np.arange(start, start + cells, dtype=float)
    first, last = records.first[:, None], records.last[:, None]
    inside = ((first <= year) & (year <= last)).astype(float)
    inside[:, 0] = records.first <= start
    named = ~np.isnan(records.centre)
    exact = (records.kind == EXACT) & named
    about = (records.kind == CIRCA) & named
    own = inside
    # "ca. 1925": the year named lies as near the truth on either side as the interval allows
    width = records.last - records.first + 1
    own[about] /= width[about, None]
    before = about & (records.first < start)
    own[before, 0] = (np.minimum(records.last, start) - records.first + 1)[before] / width[before]
    centre = np.where(exact | about, records.centre, np.nan)[:, None]
    ten, five = own.copy(), own.copy()
    inner = (exact | about) & (records.centre >= start)
    distance = np.abs(year - centre[inner])
    on_ten, on_five = centre[inner] % 10 == 0, centre[inner] % 5 == 0
    # a year that ends in five has two nearest tens
    ten[inner] = on_ten * np.where(distance < 5, 1.0, np.where(distance == 5, 0.5, 0.0))
    five[inner] = on_five * (distance <= 2)
    early = (exact | about) & (records.centre < start)
    for part in (own, ten, five):
        part[early] = 0
        part[early, 0] = 1
        part *= year <= records.latest[:, None]
    return Parts(own=own, ten=ten, five=five)


@dataclass(frozen=True, slots=True, kw_only=True)
class Statements:
    """How museums state dates: shares of kinds by true year, and heaping on round years.

    ``q`` (kinds, cells), columns sum to one. ``h10``, ``h5`` (kinds,): the shares of statements of
    that kind that were rounded to ten and to five; zero for kinds that name no year. Cell y is the
    year ``start + y``; cell 0 stands for all years up to ``start``.
    """

    start: int
    q: Array
    h10: Array
    h5: Array

    def rows(self, records: Stated, parts: Parts | None = None) -> Array:
        """P(statement | y) of each of ``records``, (m, cells); ``parts`` if they are at hand already.

        Within a kind that names no year, the choice among intervals that hold y is taken not to
        depend on y, and left out as a constant.
        """
        if len(records.kind) and not 0 <= records.kind.min() <= records.kind.max() < len(self.q):
            raise RangeError(f"a kind of statement must be a number from 0 to {len(self.q) - 1}")
        ways = parts or parts_of(records, self.start, self.q.shape[1])
        ten = self.h10[records.kind][:, None]
        five = self.h5[records.kind][:, None]
        stating = (1 - ten - five) * ways.own + ten * ways.ten + five * ways.five
        return np.asarray(stating * self.q[records.kind])
