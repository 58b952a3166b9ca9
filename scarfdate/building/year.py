"""What museums record, by year and kind of object: the museum factor of the year prior.

For scarf-like things and for other textiles each a smooth density from their dates as stated
(`density.statement_fit`), and the two together in proportion to their records. Clumps count once, and
collections that were selected by date not at all (``cut_collections.csv``). To each density an
expert's line is added (``year_expert.csv``) as so many records of every year: the dated records of some
museums are no fair part of all. The years of the shops are a line of their own, to which scarf-like records
are added by a smaller weight: what one museum holds must not move what a shop offers.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.combined import near_knots
from scarfdate.columns.names import SCARF_LIKE
from scarfdate.conventions import FIRST_YEAR, LEVEL, Array
from scarfdate.density.intervals import compressed, fold_numbers
from scarfdate.density.kinds import Widths
from scarfdate.density.smooth import smooth_density
from scarfdate.density.stated import stated
from scarfdate.density.statement_fit import StatedDensity, density_with_statements
from scarfdate.errors import TableError
from scarfdate.records.arrays import Records, alike
from scarfdate.tables.knots import ANY
from scarfdate.tables.priors import Priors

SEED = 1
_DRAWS = 2000
# columns of year_museum.csv
ALL, SCARF, TEXTILE, SHOPS = "density", "scarf_like", "textile", "shops"


@dataclass(frozen=True, kw_only=True)
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
    widths: Widths,
    *,
    smoothings: Mapping[str, float] | None = None,
    cut: Collection[tuple[str, str]] = (),
    lines: Mapping[str, Array] = MappingProxyType({}),
    worth: float = 0.0,
    in_shops: float = 1.0,
) -> MuseumYears:
    """Estimate both densities, on the years up to ``last_year``.

    ``widths``: which dates are decades, centuries and so on (`date_widths`). ``smoothings`` by kind
    skips the held-out choice. A kind of object without records has the expert's line. ``cut``: sources and kinds of object (or "any") that are left out. ``lines``
    (years,) by column: an expert's densities, which count for ``worth`` records; ``in_shops``: what a record
    of a scarf counts for in those of the shops. Raises TableError where no record lies within these years.
    """
    rng = np.random.default_rng(SEED)
    # one gift stays together: its pieces were dated by one hand and are no independent witnesses
    part = fold_numbers(records.gift, rng, weight=records.weight)
    out = _cut(records, cut)
    if not out.all():  # what was cut is better than nothing
        records, part = records.only(~out), part[~out]
    like = records.kind.is_word(SCARF_LIKE)
    years = np.arange(FIRST_YEAR, last_year + 1)
    fits: dict[str, StatedDensity] = {}
    effective: dict[str, float] = {}
    near = np.zeros(len(years))
    dates = _distinct(records, part, like)
    for name, which in ((SCARF, dates.like), (TEXTILE, ~dates.like)):
        if not which.any():
            continue
        rows, _ = stated(
            dates.first[which],
            dates.last[which],
            acquired=dates.acquired[which],
            circa=dates.approximate[which],
            weight=dates.weight[which],
            fold=dates.part[which],
            widths=widths,
            start=FIRST_YEAR,
            stop=last_year,
        )
        if not len(rows.weight):
            continue
        fits[name] = density_with_statements(
            rows,
            len(years),
            start=FIRST_YEAR,
            smoothing=(smoothings or {}).get(name) or _smoothing(dates, which, last_year),
        )
        effective[name] = float(rows.weight.sum())
        year = fits[name].statements.rows(rows) * fits[name].density.density
        near += rows.weight @ (year / year.sum(axis=1, keepdims=True))
    if not fits:
        raise TableError(f"no record lies between {FIRST_YEAR} and {last_year}; check the records")
    total = sum(effective.values())
    absent = [name for name in (SCARF, TEXTILE) if name not in fits]
    counted = {
        **effective, SHOPS: in_shops * effective.get(SCARF, total), **dict.fromkeys(absent, 0.0)
    }  # fmt: skip
    fitted = {name: fit.density.density for name, fit in fits.items()}
    drawn = {name: fit.density.draws(_DRAWS, rng) for name, fit in fits.items()}
    density: dict[str, Array] = {}
    draws: dict[str, Array] = {}
    for of, into in ((fitted, density), (drawn, draws)):
        there = of[SCARF if SCARF in fits else TEXTILE]
        # of a kind without records the expert's line says all there is; where there is none, the other kind
        of |= dict.fromkeys((SHOPS, *absent), there)
        for name, each in of.items():
            if name in lines:
                share = counted[name] / (counted[name] + worth) if counted[name] else 0.0
                each = share * each + (1 - share) * lines[name]
            into[name] = each
        every = [effective[name] / total * into[name] for name in fits]
        into[ALL] = np.asarray(np.sum(every, axis=0))
    tail = (1 - LEVEL) / 2
    return MuseumYears(
        years=years,
        density=density,
        lower={name: np.quantile(each, tail, axis=0) for name, each in draws.items()},
        upper={name: np.quantile(each, 1 - tail, axis=0) for name, each in draws.items()},
        fits=fits,
        effective=effective,
        near=near,
    )


def _cut(records: Records, cut: Collection[tuple[str, str]]) -> NDArray[np.bool_]:
    """Which records are of a source that was selected by date."""
    out = np.zeros(len(records), dtype=bool)
    for source, kind in cut:
        of_kind = np.ones(len(records), dtype=bool) if kind == ANY else records.kind.is_word(kind)
        out |= records.source.is_word(source) & of_kind
    return out


def date_widths(priors: Priors) -> Widths:
    """Up to which width a date of a museum is of each kind: ``date_...`` of ``allowances.csv``."""
    return Widths(
        **{name: int(priors.allowances[f"date_{name}"]) for name in Widths.__dataclass_fields__}
    )


@dataclass(frozen=True, kw_only=True)
class _Dates:
    """The distinct dates of records of a kind in a part, (m,), with the sums of their weights; NaN: nothing stated.

    ``cut``: the last year, where the year of acquisition cuts it short.
    """

    first: Array
    last: Array
    cut: NDArray[np.int32]
    begun: NDArray[np.int32]
    acquired: Array
    approximate: NDArray[np.bool_]
    part: NDArray[np.intp]
    like: NDArray[np.bool_]
    weight: Array


def _distinct(records: Records, part: NDArray[np.intp], like: NDArray[np.bool_]) -> _Dates:
    """Museums state some thousands of dates, however many records there are."""
    columns: list[NDArray[Any]] = [
        records.first, records.last, records.stated_last, records.acquired, records.open_start,
        records.open_end, records.approximate, part, like,
    ]  # fmt: skip
    first, which = alike(columns)
    begun, cut, last, acquired, open_start, open_end, approximate, in_part, liked = (
        column[first] for column in columns
    )
    return _Dates(
        first=np.where(open_start, np.nan, begun),
        last=np.where(open_end, np.nan, last),
        cut=cut, begun=begun,
        acquired=np.where(acquired > 0, acquired, np.nan),
        approximate=approximate, part=in_part, like=liked,
        weight=np.bincount(which, records.weight, len(first)).astype(float),
    )  # fmt: skip


def _smoothing(dates: _Dates, which: NDArray[np.bool_], last_year: int) -> float:
    """The smoothing under which held-out gifts are likeliest.

    What is held out is whole gifts. They are few, so that the scores of rather different smoothings are
    alike; less smoothing would let single records move whole decades of a shop's prior.
    """
    first, last = (
        np.clip(end, FIRST_YEAR, last_year)[which] - FIRST_YEAR for end in (dates.begun, dates.cut)
    )
    rows = compressed(first, last, dates.weight[which], fold=dates.part[which])
    smooth = smooth_density(rows, last_year - FIRST_YEAR + 1, free_first=True)
    return max(smooth.held_out, key=lambda each: each.score).smoothing


def year_rows(museum: MuseumYears) -> list[dict[str, object]]:
    """Rows of ``year_museum.csv`` at knots, densities in per cent a year, without their provenance.

    ``records``: effective records within half the way to the neighbouring knots.
    """
    rows: list[dict[str, object]] = []
    for knot, near in near_knots(int(museum.years[-1])):
        row: dict[str, object] = {"year": knot}
        for name in (ALL, SCARF, TEXTILE, SHOPS):
            for suffix, of in (
                ("", museum.density),
                ("_lower", museum.lower),
                ("_upper", museum.upper),
            ):
                column = suffix.strip("_") if name == ALL and suffix else name + suffix
                known = of.get(name)
                value = float("nan") if known is None else 100 * float(known[knot - FIRST_YEAR])
                row[column] = f"{value:.4g}"
        row["records"] = f"{museum.near[near].sum():.1f}"
        rows.append(row)
    return rows
