"""What a hem says of the decade in descriptions of the trade, beside what grade and form explain of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from scarfdate.building.decade_bits import weighed
from scarfdate.building.trade import OBJECT, Trade, TradeRow, decades
from scarfdate.building.trade_counts import by_decade, values_of
from scarfdate.conventions import LEVEL, Array
from scarfdate.errors import ScarfdateError

DRAWS = 2000  # permutations: the 10 % point of chance is then good to about 0.7 points
_SEED = 2026


def hem_information(
    trade: Trade, rng: np.random.Generator | None = None, draws: int = DRAWS
) -> pd.DataFrame:
    """Bits that the hem shares with the decade, with stand-ins for grade, and with form.

    Of objects that state hem and fibre, weighted. ``hem``: "all hems" (every value, all decades) or
    "hand-rolled, from 1950" (that hem or not, the part of each interval from ``hand_rolled_from`` of
    ``allowances.csv`` on: from that year sellers claim such hems for every decade). ``about``:

    - "decade": where the stated interval lies. Wide intervals blur it, so the bits are a low count.
    - "silk": silk or not. The best hint of grade here, and a poor one: silk has its own history.
    - "grade hints": how many (0, 1, 2 or 3) of silk, signed, and an intact label not stamped on
      the cloth (a stamped one marks bandannas). Silence counts as none, though it is not absence.
    - "form": its likeliest value or not stated: the rival explanation, as fringes go with shawls.

    Columns further: ``rows``, ``sellers``, ``effective``, ``bits`` (plug-in mutual information),
    ``chance`` (its mean with hems dealt out anew among the rows), ``chance_low``, ``chance_high``
    (80 % of such deals), ``beyond_chance`` (bits - chance), ``p`` (share of deals with as many
    bits). Bits inside the interval of chance are no evidence. Rows of one seller are alike, which a deal
    does not allow for: p is somewhat too small. Sellers name a hem where it sells, so that silk and
    hand-rolled hems are also named together. ``rng`` makes the deals; None: the same every time.

    Raises ScarfdateError where fewer than two objects state both.
    """
    rng = np.random.default_rng(_SEED) if rng is None else rng
    rows = [row for row in trade.of(OBJECT) if "hem" in row.seen and "fibre" in row.seen]
    if len(rows) < 2:
        raise ScarfdateError(
            f"two or more objects must state both hem and fibre, got {len(rows)}; "
            "give more descriptions"
        )
    chosen = replace(trade, rows=tuple(rows))
    _, years, hem, _ = by_decade(chosen, "hem", OBJECT)
    fibre = by_decade(chosen, "fibre", OBJECT)[2]
    weight = np.array([row.weight for row in rows])
    begin = int(trade.priors.allowances["hand_rolled_from"])
    late = np.array(decades()) >= begin
    table = []
    for name, inside in (
        ("all hems", np.ones_like(late)),
        (f"hand-rolled, from {begin}", late),
    ):
        load = weight * years[:, inside].sum(axis=1)
        kept = load > 0
        if kept.sum() < 2:
            continue  # one row has nothing to be compared with
        load, some = load[kept], [row for row, keep in zip(rows, kept, strict=True) if keep]
        silk = _profile(fibre[kept][:, inside])[:, [values_of(trade, "fibre").index("silk")]]
        seen = _profile(hem[kept][:, inside])
        if name != "all hems":
            one = seen[:, [values_of(trade, "hem").index("hand-rolled")]]
            seen = np.hstack([one, 1 - one])
        abouts = {
            "decade": years[kept][:, inside] / years[kept][:, inside].sum(axis=1, keepdims=True),
            "silk": np.hstack([silk, 1 - silk]),
            "grade hints": _hints(silk, some),
            "form": _forms(some),
        }
        for about, profile in abouts.items():
            bits = _bits(load, seen, profile)
            deals = np.array(
                [_bits(load, seen[rng.permutation(len(seen))], profile) for _ in range(draws)]
            )
            low, high = np.quantile(deals, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
            p = (1 + (deals >= bits - 1e-12).sum()) / (1 + draws)
            sizes = (len(some), len({row.seller for row in some}), load.sum())
            chance = deals.mean()
            table.append((name, about, *sizes, bits, chance, low, high, bits - chance, p))
    columns = "hem about rows sellers effective bits chance chance_low chance_high beyond_chance p"
    return pd.DataFrame(table, columns=columns.split())


def _profile(cells: Array) -> Array:
    """Shares of each value in each row, (rows, values), from counts (rows, decades, values)."""
    each = cells.sum(axis=1)
    return np.asarray(each / each.sum(axis=1, keepdims=True))


def _hints(silk: Array, rows: Sequence[TradeRow]) -> Array:
    """Chance of 0, 1, 2 and 3 hints of a better grade in each row, (rows, 4)."""
    hints = np.zeros((len(rows), 4))
    for place, row in enumerate(rows):
        signature, label, make = (row.seen.get(k) for k in ("signature", "label", "label_make"))
        signed = signature is not None and signature.word != "none"
        labelled = label is not None and label.word == "intact"
        stamped = make is not None and make.word == "stamped-on-cloth"
        sure = int(signed) + int(labelled and not stamped)
        hints[place, sure : sure + 2] = 1 - silk[place, 0], silk[place, 0]
    return hints


def _forms(rows: Sequence[TradeRow]) -> Array:
    """The likeliest form of each row, or that none is stated, as ones and zeros."""
    words = []
    for row in rows:
        terms = row.seen["form"].terms if "form" in row.seen else (("", 1.0),)
        words.append(max(terms, key=lambda term: term[1])[0])
    known = sorted(set(words))
    return np.eye(len(known))[[known.index(word) for word in words]]


def _bits(weight: Array, one: Array, other: Array) -> float:
    """Mutual information in bits of two sets of profiles, (rows, a) and (rows, b), weighted."""
    joint = (one * weight[:, None]).T @ other / weight.sum()
    return float(weighed(joint[..., None])[0])
