"""Learned tables as files of a priors folder: whole rows, with the basis ``records``.

Written is what lies in the middle of the prior where nothing was learned, so that no table moves without evidence: the
posterior means of log shares and log measurements, and the posterior medians of slip rates. The mean of a rare share or
of a rate lies above the middle of its prior, the more so the less is known, and would rise with every learning.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, GRADES, MARKETS, ZERO_SHARE, Array
from scarfdate.errors import ScarfdateError
from scarfdate.learning.deviations import CENTRE, LAG, SHARES, SLIP, SPREAD, TIER, Deviations
from scarfdate.learning.prior import moved_rate
from scarfdate.model.model import Model
from scarfdate.tables.knots import (
    KnotTable,
    MeasuredTable,
    SharesTable,
    interpolate_shares,
    log_interpolate,
)
from scarfdate.tables.priors import Priors

Row = Mapping[str, object]
_BASIS, _SLIP_VALUES = "records", "slip_values.csv"


def learned_files(
    model: Model,
    files: Mapping[str, bytes],
    layout: Deviations,
    draws: Array,
    source: str,
    tiers: bool,
) -> dict[str, bytes]:
    """The tables that differ from the parent's, by name in the folder, by the middle of ``draws``.

    ``draws`` (n, size) of theta. ``source``: what every learned row names. ``tiers``: whether the
    channel's shares of grades and markets are written, too.
    """
    named = [layout.named(draw) for draw in draws]
    each = {key: np.stack([one[key] for one in named]) for key in named[0]}
    made: dict[str, bytes] = {}
    by_slip: list[Row] = []
    tables = model.channel.tables
    for part in layout.parts:
        # a part that has not moved was not learned: its table stays the parent's
        if part.kind == SHARES and any(each[kind, part.family].any() for kind in (SHARES, LAG)):
            name = _place(files, tables, "shares", part.family)
            shifts = np.stack([layout.log_share_shift(part.family, one) for one in named])
            # between knots a deviation is a straight line, and what a lag does is not
            years = model.years if each[LAG, part.family].any() else layout.knots
            rows = shares_rows(
                model.priors.shares[part.family], years, shifts[..., years - FIRST_YEAR]
            )
            made[name] = _written(rows, source)
            by_slip += _slip_values(model.priors, part.family)
        elif part.kind == CENTRE and (
            each[CENTRE, part.family].any() or each[SPREAD, part.family].any()
        ):
            name = _place(files, tables, "measured", part.family)
            table = model.priors.measured[part.family]
            by = each[CENTRE, part.family].mean(axis=0)[0]
            wider = float(np.exp(each[SPREAD, part.family]).mean())
            made[name] = _written(_measured_rows(table, layout.knots, by, wider), source)
    if by_slip:
        stated, learned = _read(files.get(_SLIP_VALUES, b""))[1], {row["family"] for row in by_slip}
        kept = [row for row in stated if row["family"] not in learned]
        made[_SLIP_VALUES] = _written([*kept, *by_slip], source)
    if any(moved.any() for (kind, _), moved in each.items() if kind == SLIP):
        made["slips.csv"] = _slips(files["slips.csv"], each, source)
    if tiers and any(moved.any() for (kind, _), moved in each.items() if kind == TIER):
        made |= _tiers(model, files, each, source)
    return made


def trusted_file(content: bytes, exponent: Mapping[str, float], source: str) -> bytes:
    """``families.csv`` with the trust exponent of each family in the column ``trust``."""
    header, rows = _read(content)
    if "trust" not in header:
        header.insert(header.index("basis"), "trust")
    for row in rows:
        row.setdefault("trust", "")
        if row["family"] in exponent:
            row |= {"trust": f"{exponent[row['family']]:g}", "basis": _BASIS, "source": source}
    return _csv(header, rows)


def shares_rows(table: SharesTable, years: NDArray[np.int64], shifts: Array) -> list[Row]:
    """Rows of a shares table whose log shares are shifted by the mean of some shifts (n, values, years): at its
    own knots and at these years, between which the shifts are straight lines."""
    from scipy.special import softmax

    shift, rows = shifts.mean(axis=0), list[Row]()
    for (grade, market), (own, stated) in table.series.items():
        at = np.union1d(own, years).astype(float)
        now = np.log(interpolate_shares(own, stated, at))  # (values, knots of both)
        # an impossible value stays so: it is at the least share in the parent's table
        impossible = now < np.log(2 * ZERO_SHARE)
        basis = np.stack([np.interp(at, years, row) for row in np.eye(len(years))], axis=1)
        shares = softmax(now + shift @ basis.T, axis=0)
        shares[impossible] = 0.0
        shares = 100 * shares / shares.sum(axis=0)
        for place, year in enumerate(at.astype(int).tolist()):
            head = {"year": year, "grade": grade} | ({"market": market} if table.by_market else {})
            rows.append(head | dict(zip(table.values, _numbers(shares[:, place]), strict=True)))
    return rows


def _measured_rows(
    table: MeasuredTable, knots: NDArray[np.int64], by: Array, wider: float
) -> list[Row]:
    rows: list[Row] = []
    for (grade, given), (own, numbers) in table.series.items():
        at = np.union1d(own, knots).astype(float)
        median, spread = log_interpolate(own, numbers, at)
        median = median * np.exp(np.interp(at, knots, by))
        spread = np.exp(np.log(spread) * wider)
        for year, one, two in zip(at.astype(int).tolist(), median, spread, strict=True):
            row = {"year": year, "grade": grade, "given": given}
            rows.append(row | {"median": f"{one:.7g}", "spread": f"{max(two, 1.001):.7g}"})
    return rows


def _slip_values(priors: Priors, family: str) -> list[Row]:
    """What slips of a family put down, kept as it was: records move what pieces are, not how one mistakes them."""
    shares = priors.usual_shares[family]
    # as many digits as there are: what the likelihood was computed with is what is read again
    return [
        {"family": family, "value": value, "share": repr(100 * share)}
        for value, share in zip(priors.shares[family].values, shares.tolist(), strict=True)
    ]


def _slips(content: bytes, each: Mapping[tuple[str, str], Array], source: str) -> bytes:
    header, rows = _read(content)
    for row in rows:
        moved = each.get((SLIP, row["family"]))
        if moved is not None and moved.any():
            rate = np.median(moved_rate(float(row["rate"]) / 100, moved[:, 0, 0]))
            row["rate"] = f"{min(max(100 * float(rate), 0.01), 50):.6g}"
            row |= {"basis": _BASIS, "source": source}
    return _csv(header, rows)


def _tiers(
    model: Model, files: Mapping[str, bytes], each: Mapping[tuple[str, str], Array], source: str
) -> dict[str, bytes]:
    """Rows of their own for the grades and markets of this channel, and the channel pointed to them."""
    made = {}
    channel, own = model.channel, f"{model.channel.name}-records"
    century = model.priors.century
    for name, family, words, table, key in (
        ("grades.csv", "grade", GRADES, century.grades, channel.grades),
        ("markets.csv", "market", MARKETS, century.markets, channel.markets),
    ):
        header, rows = _read(files[name])
        rows = [row for row in rows if row["channel"] != own]
        for year, shares in _tier_rows(table, key, each[TIER, family]):
            row = dict.fromkeys(header, "") | {"channel": own, "year": str(year)}
            rows.append(
                row | dict(zip(words, shares, strict=True)) | {"basis": _BASIS, "source": source}
            )
        made[name] = _csv(header, rows)
    header, rows = _read(files["channels.csv"])
    for row in rows:
        if row["channel"] == channel.name:
            row |= {"grades": own, "markets": own, "basis": _BASIS, "source": source}
    made["channels.csv"] = _csv(header, rows)
    return made


def year_files(
    model: Model, files: Mapping[str, bytes], knots: NDArray[np.int64], at: Array, source: str
) -> dict[str, bytes]:
    """A column of its own for the channel's factor of the years, exp(c) times the parent's."""
    own = f"{model.channel.name}-records"
    header, rows = _read(files["year_channel.csv"])
    if own not in header:
        header.insert(header.index("uncertainty"), own)
    for row in rows:
        moved = float(row[model.channel.years]) * float(
            np.exp(np.interp(int(row["year"]), knots, at))
        )
        row[own] = f"{moved:.7g}"
    made = {"year_channel.csv": _csv(header, rows)}
    header, rows = _read(files["channels.csv"])
    for row in rows:
        if row["channel"] == model.channel.name:
            row |= {"years": own, "basis": _BASIS, "source": source}
    return made | {"channels.csv": _csv(header, rows)}


def _tier_rows(table: KnotTable, key: str, deviations: Array) -> list[tuple[int, list[str]]]:
    from scipy.special import softmax

    knots, values = table.series[key]
    log = np.log(np.maximum(values / values.sum(axis=1, keepdims=True), ZERO_SHARE))
    mean = softmax(log + deviations[:, None, :, 0], axis=2).mean(axis=0)  # (knots, kinds)
    return [
        (int(year), _numbers(100 * shares))
        for year, shares in zip(knots.tolist(), mean, strict=True)
    ]


def _place(files: Mapping[str, bytes], tables: str, kind: str, family: str) -> str:
    own = f"{tables}/{kind}/{family}.csv"
    return own if tables and own in files else f"{kind}/{family}.csv"


def _numbers(shares: Array) -> list[str]:
    return [f"{share:.7g}" for share in shares.tolist()]


def _written(rows: Sequence[Row], source: str) -> bytes:
    whole = [dict(row) | {"basis": _BASIS, "source": source, "note": ""} for row in rows]
    if not whole:
        raise ScarfdateError("learning: a table without rows cannot be written")
    return _csv(list(whole[0]), whole)


def _read(content: bytes) -> tuple[list[str], list[dict[str, str]]]:
    reader = csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline=""))
    rows = [dict(row) for row in reader]
    return list(reader.fieldnames or ()), rows


def _csv(header: Sequence[str], rows: Sequence[Mapping[str, object]]) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, header, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")
