"""Which records stand behind the shipped rows of which family, and which of them speak of years."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.errors import FileFault, PriorsError, did_you_mean
from scarfdate.tables.folder import DESCRIPTOR, missing
from scarfdate.tables.knots import ANY, log_interpolate
from scarfdate.tables.priors import Priors, shipped_folder
from scarfdate.tables.sheet import read_sheet

BUILT_FROM, CUT, YEARS = "built_from.csv", "cut_collections.csv", "year_expert.csv"
MUSEUM, TRADE = "museum", "trade"
PROVENANCE = ("basis", "source", "note")


@dataclass(frozen=True, kw_only=True)
class Source:
    """Records of one kind that are added to the expert rows of one family, or of one value of it.

    ``records``: "museum" or "trade". ``value``: of the family or, for a measured one, of its parent;
    "any" for all. ``channel``: the one whose price tiers such records are taken to have.
    """

    records: str
    family: str
    value: str
    channel: str


@dataclass(frozen=True, kw_only=True)
class Sources:
    """The rows of ``built_from.csv``, in their order."""

    rows: tuple[Source, ...]

    def of(self, records: str, family: str) -> Source | None:
        """What is added to a family from records of one kind; None where nothing is."""
        return next(self._added(records, family), None)

    def values(self, records: str, family: str) -> tuple[str, ...]:
        """The values of a family that records of one kind are added to."""
        return tuple(row.value for row in self._added(records, family))

    @property
    def families(self) -> tuple[str, ...]:
        """Every family that records are added to, once."""
        return tuple(dict.fromkeys(row.family for row in self.rows))

    def _added(self, records: str, family: str) -> Iterator[Source]:
        return (row for row in self.rows if (row.records, row.family) == (records, family))


def read_sources(priors: Priors) -> Sources:
    """Read ``built_from.csv`` of some priors. Raises PriorsError with every fault in it."""
    faults: list[FileFault] = []
    content = priors.files.get(BUILT_FROM)
    if content is None:
        missing(BUILT_FROM, faults)
        raise PriorsError(priors.folder, faults)
    sheet = read_sheet(BUILT_FROM, content, faults)
    rows = []
    # families and channels were held against the schema when the priors were loaded
    for line, row in zip(sheet.lines, sheet.rows, strict=True):
        family = priors.families[row["family"]]
        values = (*priors.vocabulary.values.get(family.parent or family.name, ()), ANY)
        if row["value"] not in values:
            step = did_you_mean(row["value"], values)
            sheet.fault(line, "value", "is not allowed here", row["value"], step)
        rows.append(Source(**{name: row[name] for name in Source.__dataclass_fields__}))
    if faults:
        raise PriorsError(priors.folder, faults)
    return Sources(rows=tuple(rows))


def cut_collections(priors: Priors) -> frozenset[tuple[str, str]]:
    """Collection and kind of object (or "any") of records whose years say nothing, by ``cut_collections.csv``."""
    rows = _sheet(priors, CUT)
    return frozenset((row["collection"], row["kind"]) for row in rows)


def expert_years(priors: Priors, years: NDArray[np.int64]) -> Mapping[str, Array]:
    """``year_expert.csv``: by column a density (years,) that sums to one; nothing where there is none."""
    rows = _sheet(priors, YEARS)
    if not rows:
        return {}
    knots = np.array([float(row["year"]) for row in rows])
    names = [name for name in rows[0] if name not in ("year", *PROVENANCE)]
    values = np.array([[float(row[name]) for name in names] for row in rows])
    lines = log_interpolate(knots, values, years.astype(float))
    return {name: line / line.sum() for name, line in zip(names, lines, strict=True)}


def _sheet(priors: Priors, name: str) -> Sequence[Mapping[str, str]]:
    content = priors.files.get(name)  # its cells were held against the schema when it was loaded
    return [] if content is None else list(read_sheet(name, content, []).rows)


def whole_folder(priors: Priors) -> tuple[Path, Mapping[str, bytes]]:
    """The folder behind some priors that has every table, and the contents of those that were read.

    A folder of single files has only what differs from the shipped one.
    """
    own = Path(priors.folder)
    return own if (own / DESCRIPTOR).is_file() else shipped_folder(), priors.files
