"""What museums record, by year and kind of object: the museum factor of the year prior.

For scarf-like things and for other textiles each a smooth density from their dates as stated
(`density.statement_fit`), and the two together in proportion to their records. Clumps count once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.noted import SCARF_LIKE
from scarfdate.conventions import FIRST_YEAR, LEVEL
from scarfdate.density.intervals import compressed, fold_numbers
from scarfdate.density.smooth import smooth_density
from scarfdate.density.statement_fit import StatedDensity, density_with_statements
from scarfdate.density.statements import stated
from scarfdate.errors import TableError
from scarfdate.knots import Array
from scarfdate.records.museum import Records

SEED = 1
_DRAWS = 2000
_KNOT = 5  # years between rows of the table
ALL, SCARF, TEXTILE = "density", "scarf_like", "textile"  # columns of year_museum.csv


@dataclass(frozen=True)
class MuseumYears:
    """Densities (years,) and their 80 % bands by column of ``year_museum.csv``.

    ``fits`` by kind of object; ``effective`` records (clumps) of each kind; ``near`` (years,): how
    many effective records, each spread over its own date, lie in each year.
    """

    years: NDArray[np.int64]
    density: Mapping[str, Array]
    lower: Mapping[str, Array]
    upper: Mapping[str, Array]
    fits: Mapping[str, StatedDensity]
    effective: Mapping[str, float]
    near: Array


def museum_years(
    records: Records,
    last_year: int,
    *,
    smoothings: Mapping[str, float] | None = None,
) -> MuseumYears:
    """Estimate both densities. ``smoothings`` by kind skips the held-out choice."""
    rng = np.random.default_rng(SEED)
    # one gift stays together: its pieces were dated by one hand and are no independent witnesses
    part = fold_numbers(records.gift, rng, weight=records.weight)
    like = np.isin(
        records.kind.codes, [i for i, w in enumerate(records.kind.words) if w == SCARF_LIKE]
    )
    years = np.arange(FIRST_YEAR, last_year + 1)
    fits: dict[str, StatedDensity] = {}
    effective: dict[str, float] = {}
    near = np.zeros(len(years))
    for name, which in ((SCARF, like), (TEXTILE, ~like)):
        rows, _ = stated(
            np.where(records.open_start, np.nan, records.first)[which],
            np.where(records.open_end, np.nan, records.stated_last)[which],
            acquired=np.where(records.acquired > 0, records.acquired, np.nan)[which],
            circa=records.approximate[which],
            weight=records.weight[which],
            fold=part[which],
            start=FIRST_YEAR,
            stop=last_year,
        )
        if not len(rows.weight):
            continue
        fits[name] = density_with_statements(
            rows,
            len(years),
            start=FIRST_YEAR,
            smoothing=(smoothings or {}).get(name) or _smoothing(records, which, part, last_year),
        )
        effective[name] = float(rows.weight.sum())
        year = fits[name].statements.rows(rows) * fits[name].density.density
        near += rows.weight @ (year / year.sum(axis=1, keepdims=True))
    if not fits:
        raise TableError("no record lies within the years of the grid; check the records")
    total = sum(effective.values())
    draws = {name: fit.density.draws(_DRAWS, rng) for name, fit in fits.items()}
    draws[ALL] = sum(effective[name] / total * draws[name] for name in fits)  # type: ignore[assignment]
    density = {name: fit.density.density for name, fit in fits.items()}
    density[ALL] = sum(effective[name] / total * density[name] for name in fits)  # type: ignore[assignment]
    tail = (1 - LEVEL) / 2
    return MuseumYears(
        years,
        density,
        {name: np.quantile(each, tail, axis=0) for name, each in draws.items()},
        {name: np.quantile(each, 1 - tail, axis=0) for name, each in draws.items()},
        fits,
        effective,
        near,
    )


def _smoothing(
    records: Records, which: NDArray[np.bool_], part: NDArray[np.intp], last_year: int
) -> float:
    """The smoothing under which held-out gifts are likeliest.

    What is held out is whole gifts. They are few, so that the scores of rather different smoothings are
    alike; less smoothing would let single records move whole decades of a shop's prior.
    """
    first, last = (
        np.clip(end, FIRST_YEAR, last_year)[which] - FIRST_YEAR
        for end in (records.first, records.last)
    )
    rows = compressed(first, last, records.weight[which], fold=part[which])
    found = smooth_density(rows, last_year - FIRST_YEAR + 1, free_first=True)
    return max(found.held_out, key=lambda each: each.score).smoothing


def year_rows(found: MuseumYears) -> list[dict[str, object]]:
    """Rows of ``year_museum.csv`` at knots, densities in per cent a year, without their provenance.

    ``records``: effective records within half the way to the neighbouring knots.
    """
    last = int(found.years[-1])
    knots = [FIRST_YEAR, FIRST_YEAR + 1, *range(FIRST_YEAR + _KNOT, last, _KNOT), last]
    # the first cell stands alone: everything before it lies in it
    edges = [FIRST_YEAR, *[(a + b + 1) // 2 for a, b in pairwise(knots[1:])]]
    rows: list[dict[str, object]] = []
    for place, knot in enumerate(knots):
        begin = knot if place < 2 else edges[place - 1]
        stop = knot + 1 if place == 0 else edges[place] if place < len(edges) else last + 1
        row: dict[str, object] = {"year": knot}
        for name in (ALL, SCARF, TEXTILE):
            for suffix, of in (
                ("", found.density),
                ("_lower", found.lower),
                ("_upper", found.upper),
            ):
                column = suffix.strip("_") if name == ALL and suffix else name + suffix
                known = of.get(name)
                value = float("nan") if known is None else 100 * float(known[knot - FIRST_YEAR])
                row[column] = f"{value:.4g}"
        row["records"] = f"{found.near[begin - FIRST_YEAR : stop - FIRST_YEAR].sum():.1f}"
        rows.append(row)
    return rows
