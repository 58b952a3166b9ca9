"""What prices say, for people: effects as a table and in per cent, and how much more sales would tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from scarfdate.conventions import Array
from scarfdate.worth.coefficients import ALONE, BASE, CONDITION, MAKER, SIZE, Coefficients
from scarfdate.worth.price_parts import PriceParts

if TYPE_CHECKING:
    import pandas

INVENTED = "INVENTED: learned from an invented book, for trying things out. Learn prices from your own book before you act on any of this."
COLUMNS = ("group", "level", "mean", "sd", "low", "high", "sold")
NONE_NOTED = "none noted"
_LOW, _HIGH = 0.1, 0.9
_NAMED, _LEAST = 3, 5.0  # levels of a group that are named, and the sales that they must have
_TITLES = {
    MAKER: "maker",
    "decade": "decade made",
    "grade": "quality it was made for",
    "year": "year of sale",
}


def centred(of: Coefficients, counts: Array, group: str) -> Array:
    """Effects of a group's levels, (draws, levels), against the average of what was sold."""
    draws = of.group(group)
    weight = counts[of.layout.places(group)]
    if group in ALONE or not weight.sum() > 0:
        return draws
    return np.asarray(draws - (draws @ weight / weight.sum())[:, None])


def effects_frame(prices: PriceParts) -> pandas.DataFrame:
    """`Prices.effects`."""
    import pandas as pd

    of, rows = prices.price, []
    counts = prices.counts if len(prices.counts) else np.zeros(len(of.layout))
    for group in of.layout.groups:
        draws = centred(of, counts, group)
        low, high = np.quantile(draws, (_LOW, _HIGH), axis=0)
        sold = counts[of.layout.places(group)]
        levels = of.layout.levels(group)
        names = levels if group in ALONE else [level or NONE_NOTED for level in levels]
        columns = (draws.mean(axis=0), draws.std(axis=0), low, high, sold)
        rows += [(group, *row) for row in zip(names, *columns, strict=True)]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def in_words(prices: PriceParts) -> str:
    """`Prices` as text."""
    currency = prices.currency or "money of no stated currency"
    many = f"{prices.n_sold} sale{'' if prices.n_sold == 1 else 's'}"
    lines = [INVENTED] if prices.invented else []
    lines.append(
        f"Prices in {currency}, learned from {many}; {prices.n_unsold} unsold pieces count in the days to sell."
    )
    lines += _effects_in_words(prices)
    if prices.reference.uncertainty:
        lines.append(_uncertainty(prices.reference.uncertainty))
    lines += [f"- {note}" for note in prices.notes]
    return "\n".join(lines)


def _effects_in_words(prices: PriceParts) -> list[str]:
    frame = effects_frame(prices)
    lines = []
    for group in prices.price.layout.groups:
        rows = frame[frame["group"] == group]
        if group == BASE:
            continue
        if group == SIZE:
            row = rows.iloc[0]
            low, high, mean = (2 ** float(row[name]) - 1 for name in ("low", "high", "mean"))
            lines.append(f"- twice the area: {_signed(mean)} ({_signed(low)} to {_signed(high)})")
        elif group == CONDITION:
            row = rows.iloc[0]
            low, high = (1 - 0.5 ** float(row[name]) for name in ("low", "high"))
            lines.append(
                f"- faults that by the table of faults halve a price: {_signed(-low)} to {_signed(-high)}"
            )
        else:
            rows = rows[rows["sold"] >= _LEAST].sort_values("mean", ascending=False)
            some = (
                rows if len(rows) <= 2 * _NAMED else rows.iloc[[*range(_NAMED), *range(-_NAMED, 0)]]
            )
            names = ("level", "mean", "low", "high")
            each = [
                f"{level} {_signed(np.expm1(mean))} ({_signed(np.expm1(low))} to {_signed(np.expm1(high))})"
                for level, mean, low, high in zip(*(some[n].tolist() for n in names), strict=True)
            ]
            if each:
                lines.append(f"- {_TITLES.get(group, group)}: {'; '.join(each)}")
    if lines:
        lines.insert(0, "What each thing adds to the average price, with an 80 % interval:")
    return lines


def _uncertainty(parts: tuple[float, ...]) -> str:
    """How wide a price's interval is, and what would narrow it."""
    effects, pieces, _ = parts
    total = sum(parts)
    times = float(np.exp(2 * 1.2816 * np.sqrt(total)))
    of_effects, of_pieces = (round(100 * part / total) for part in (effects, pieces))
    return (
        f"The 80 % interval of a price ends {times:.1f} times as high as it begins. More sales would take away up to "
        f"{of_effects} % of that uncertainty (as a variance), a closer look at the piece up to {of_pieces} %; the "
        "rest is what like pieces differ by."
    )


def _signed(share: float) -> str:
    return f"{100 * share:+.0f} %".replace("-", "−")
