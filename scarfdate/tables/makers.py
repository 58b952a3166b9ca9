"""The dealer's own file of makers: in which years each form of a signature or label was made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from scarfdate.errors import Fault
from scarfdate.knots import Array
from scarfdate.tables.shares import ANY
from scarfdate.tables.sheet import Basis, read_sheet
from scarfdate.tables.vocabulary import plain

WHAT = ("founder", "house", "reissue")


@dataclass(frozen=True, slots=True)
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


def read_makers(content: bytes, forms: Sequence[str], faults: list[Fault]) -> Makers:
    """``makers.csv``: maker, form, year_from, year_to, rate, edge_years, what."""
    columns = ("maker", "form", "year_from", "year_to", "rate", "edge_years", "what")
    sheet = read_sheet("makers.csv", content, columns, faults)
    windows: dict[str, list[Window]] = {}
    names: dict[str, str] = {}
    for line, _ in sheet.rows:
        name = sheet.text(line, "maker")
        window = Window(
            name,
            sheet.word(line, "form", (*forms, ANY)),
            sheet.year(line, "year_from"),
            sheet.year(line, "year_to"),
            sheet.number(line, "rate", low=1e-6, high=1e6),
            sheet.number(line, "edge_years", low=0.1, high=50),
            sheet.word(line, "what", WHAT),
            sheet.basis(line),
        )
        if window.year_to < window.year_from:
            sheet.fault(line, "year_to", "a window ends before it begins", str(window.year_to))
        windows.setdefault(plain(name), []).append(window)
        names.setdefault(plain(name), name)
    return Makers(
        MappingProxyType({name: tuple(found) for name, found in windows.items()}),
        MappingProxyType(names),
    )
