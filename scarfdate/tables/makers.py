"""The dealer's own file of makers: in which years each form of a signature or label was made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.tables.checked import Table
from scarfdate.tables.knots import ANY
from scarfdate.tables.sheet import Basis
from scarfdate.tables.words import plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Years in which a maker put out pieces with one form of signature.

    ``rate`` is output a year relative to the maker's other windows; it falls off outside the window
    by half each ``edge_years``. Overlapping windows add up.
    """

    maker: str
    form: str
    year_from: int
    year_to: int
    rate: float
    edge_years: float
    what: str
    basis: Basis

    @property
    def reissue(self) -> bool:
        """Whether old designs were printed again in these years."""
        return self.what == "reissue"

    def output(self, years: NDArray[np.int64]) -> Array:
        """Output in each year, relative."""
        outside = np.maximum(0, np.maximum(self.year_from - years, years - self.year_to))
        return np.asarray(self.rate * 0.5 ** (outside / self.edge_years))


@dataclass(frozen=True)
class Makers:
    """All windows, by the maker's name as it is compared (`plain`)."""

    windows: Mapping[str, tuple[Window, ...]]
    names: Mapping[str, str]  # as compared -> as written

    def has_form(self, maker: str, form: str) -> bool:
        """Whether the file says when this maker used this form of signature."""
        return any(window.form == form for window in self.windows[maker])

    def of(self, maker: str, form: str) -> tuple[Window, ...]:
        """The windows for a form of signature; all of them when the file has none for that form."""
        every = self.windows[maker]
        fitting = tuple(window for window in every if window.form in (form, ANY))
        return fitting or every


def read_makers(table: Table) -> Makers:
    """``makers.csv``: maker, form, year_from, year_to, rate, edge_years, what."""
    windows: dict[str, list[Window]] = {}
    names: dict[str, str] = {}
    for row in table.rows:
        window = row.read_as(Window)
        if window.year_to < window.year_from:
            problem = "a window ends before it begins"
            table.fault(row, "year_to", problem, str(window.year_to))
        windows.setdefault(plain(window.maker), []).append(window)
        names.setdefault(plain(window.maker), window.maker)
    return Makers(
        MappingProxyType({name: tuple(found) for name, found in windows.items()}),
        MappingProxyType(names),
    )
