"""What a curator is told of scarves of the 20th century, with tables that rest on none of them.

    python -m tests.real_records.curator [FOLDER]

FOLDER holds ``records.csv`` and ``harvested.csv`` (open catalogue records; their README names sources and
licences). Whole gifts are held out together, in five parts; all tables are built anew from the rest, with
the smoothings that all records chose. Dated are the scarf-like records that begin in 1901 or later and are
dated within forty years, in the channel ``museum-scarf``; and, in the channel ``museum``, all records.

Scarves are scored given that they are younger than 1881, which such a date says: the score of a record is
the log of the probability that its interval is given, its gain that over the prior alone of the channel
in the same fold. ``covered`` is the part of that probability inside the 80 % interval, as in `held_out`.
Records dated within ten years are told by themselves: the wider a date, the more of what is covered inside it is the
dating's own word.
By decade (of the middle of the date, dated within forty years) the intervals are as they come. It takes
five minutes.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate import Priors, date_table, load_priors
from scarfdate.building.build import built_from, expert_view
from scarfdate.building.clue_tables import Smoothing
from scarfdate.building.combined import Borrowing
from scarfdate.building.record_clues import record_clues
from scarfdate.building.trade import Trade, read_trade
from scarfdate.columns.names import SCARF_LIKE
from scarfdate.conventions import FIRST_YEAR
from scarfdate.model.model import compiled
from scarfdate.records.museum import Records, read_records
from scarfdate.tables.priors import shipped_folder
from tests.real_records.baselines import LAST_YEAR, YEARS, Floats
from tests.real_records.held_out import gift_folds, mean_by_clump, shortest

PARTS, SEED = 5, 1
FROM, WIDEST = 1901, 40  # years: dates that say something about the 20th century
CLOSE = 10  # years: where a date is wider, what is covered is more and more the dating's own word for itself
SCARVES, ALL_KINDS = "museum-scarf", "museum"
# as `build-priors` chose them from all records; held fixed, so that only the records change
SMOOTHING = Smoothing(bandwidth=5.0, pull=3.0)
YEAR_SMOOTHINGS = {"scarf_like": 215443.469, "textile": 2154.435}


def chosen_borrowing() -> dict[str, Borrowing]:
    """The weights that the shipped tables were built with."""
    table = pd.read_csv(shipped_folder() / "museum" / "borrowed.csv")
    return {
        str(family): Borrowing(
            family=str(family),
            weight=float(of.loc[of["taken"] == "yes", "weight"].iloc[0]),
            scores=tuple(zip(of["weight"], of["gain"], of["error"], strict=True)),
            records=float(of["records"].iloc[0]),
        )
        for family, of in table.groupby("family")
    }


def rebuilt(records: Records, trade: Trade | None, folder: Path) -> Priors:
    """The shipped priors with every table that rests on records built anew from these."""
    made = built_from(
        records,
        load_priors(),
        trade=trade,
        last_year=LAST_YEAR,
        smoothing=SMOOTHING,
        year_smoothings=YEAR_SMOOTHINGS,
        borrowed=chosen_borrowing(),
    )
    for name, content in made.files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return load_priors(folder)


def of_scarves(records: Records) -> NDArray[np.bool_]:
    """The scarf-like records of 1901 and later that are dated within forty years."""
    narrow = records.last - records.first + 1 <= WIDEST
    return np.asarray(records.kind.is_word(SCARF_LIKE) & (records.first >= FROM) & narrow)


def scored(chance: Floats, prior: Floats, records: Records) -> pd.DataFrame:
    """Gain over ``prior`` (years,) and ``covered`` of each record, from ``chance`` (n, years)."""
    first, last = (np.clip(end, FIRST_YEAR, LAST_YEAR) for end in (records.first, records.last))
    inside = (first[:, None] <= YEARS) & (last[:, None] >= YEARS)
    at, to = shortest(chance)
    ours = (YEARS[at][:, None] <= YEARS) & (YEARS[to][:, None] >= YEARS)
    whole = (chance * inside).sum(axis=1)
    return pd.DataFrame(
        {
            "gain": np.log(whole) - np.log((prior * inside).sum(axis=1)),
            "covered": (chance * (inside & ours)).sum(axis=1) / whole,
            "middle": (first + last) // 2,
            "narrow": last - first + 1 <= WIDEST,
            "close": last - first + 1 <= CLOSE,
            "weight": records.weight,
            "gift": records.gift,
        }
    )


def younger(chance: Floats) -> Floats:
    """Probabilities (..., years) given that it is younger than the first year of the grid."""
    rest = np.where(np.arange(chance.shape[-1]) > 0, chance, 0.0)
    return np.asarray(rest / rest.sum(axis=-1, keepdims=True))


def measured(folder: Path) -> Mapping[str, pd.DataFrame]:
    """Scores of every held-out record: of scarves, and of all kinds, as at the head of this module."""
    records = read_records([folder / "records.csv", folder / "harvested.csv"])
    path = folder.parent / "trade" / "descriptions.csv"
    trade = read_trade(path, expert_view(load_priors())) if path.is_file() else None
    part = gift_folds(records, PARTS, SEED)
    found: dict[str, list[pd.DataFrame]] = {SCARVES: [], ALL_KINDS: []}
    for one in range(PARTS):
        with tempfile.TemporaryDirectory() as place:
            priors = rebuilt(records.only(np.flatnonzero(part != one)), trade, Path(place))
        for channel in found:
            chosen = (part == one) & (of_scarves(records) if channel == SCARVES else True)
            held = records.only(np.flatnonzero(chosen))
            table, chance = date_table(
                record_clues(held, priors).frame(),
                priors=priors, channel=channel, as_of=LAST_YEAR, with_years=True,
            )  # fmt: skip
            if table["errors"].notna().any():
                raise ValueError(f"records that cannot be read: {table['errors'].dropna().iloc[0]}")
            prior = compiled(priors, channel, LAST_YEAR).year_prior
            if channel == SCARVES:
                chance, prior = younger(chance), younger(prior)
            found[channel].append(scored(chance, prior, held))
    return {channel: pd.concat(each, ignore_index=True) for channel, each in found.items()}


def mean(frame: pd.DataFrame, column: str) -> tuple[float, float]:
    """Mean of a column, clumps counting once, and its standard error over gifts."""
    of, weight = frame[column].to_numpy(), frame["weight"].to_numpy()
    return mean_by_clump(of, weight, frame["gift"].to_numpy())


def by_decade(frame: pd.DataFrame) -> pd.DataFrame:
    """Of all kinds, by decade of the middle of the date: records, their weight, and what is covered."""
    dated = frame[frame["narrow"]]
    rows = [
        (f"{decade}s", len(of), of["weight"].sum(), mean(of, "covered")[0])
        for decade, of in dated.groupby(dated["middle"] // 10 * 10)
    ]
    return pd.DataFrame(rows, columns=["decade", "records", "clumps", "covered"])


def main() -> None:
    """Print how it goes."""
    asked = argparse.ArgumentParser(prog="python -m tests.real_records.curator")
    default = os.environ.get("SCARFDATE_SHARED", str(Path(__file__).parents[3] / "shared"))
    asked.add_argument("folder", nargs="?", type=Path, default=Path(default) / "museum")
    found = measured(asked.parse_args().folder)
    for channel, frame in found.items():
        value, error = mean(frame[frame["close"]], "covered")
        print(
            f"{channel}, {frame['close'].sum()} dated within {CLOSE} years: covered {value:.3f} ({error:.3f})"
        )
        for column in ("gain", "covered"):
            value, error = mean(frame, column)
            each = frame[column].mean()
            print(
                f"{channel}, {len(frame)} records: {column} {value:.3f} ({error:.3f}); "
                f"every record counting one, {each:.3f}"
            )
    print(by_decade(found[ALL_KINDS]).round(3).to_string(index=False))


if __name__ == "__main__":
    main()
