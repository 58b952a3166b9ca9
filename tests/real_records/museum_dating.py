"""Date the scarf-type rows of open museum records, and say how it went.

    python -m tests.real_records.museum_dating [FOLDER]

FOLDER holds ``records.csv`` and ``harvested.csv`` (open catalogue records; their README names sources
and licences). Clues are what the medium text, the kind of object, the country and the sizes say
(`scarfdate.building.record_clues`); the channel is ``museum``. Clumps count once.

The museum's own interval is not the truth, and the tables of that channel were built from the same
records, so this is a check of use, not of skill on unseen records: for that see `held_out`.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np

from scarfdate import date_table, load_priors
from scarfdate.building.record_clues import record_clues
from scarfdate.columns.names import SCARF_LIKE
from scarfdate.conventions import FIRST_YEAR
from scarfdate.model.model import compiled
from scarfdate.records.museum import read_records

LEVEL = 0.80


def measure(folder: Path, level: float = LEVEL) -> dict[str, float]:
    """How often the intervals meet, and the log score gained over the prior alone, in nats a record.

    The score of a record is the log of the probability its own interval is given. "recent" counts the
    records that end after the first year of the grid, where there is something to find out.
    """
    records = read_records([folder / "records.csv", folder / "harvested.csv"])
    records = records.only(records.kind.is_word(SCARF_LIKE))
    priors = load_priors()
    model = compiled(priors, "museum", None)
    dated, chance = date_table(
        record_clues(records, priors).frame(), channel="museum", level=level, with_years=True
    )
    found: dict[str, float] = {
        "records": len(records),
        "clumps": records.effective,
        "bad rows": int(dated["errors"].notna().sum()),
    }
    begin = np.maximum(records.first, FIRST_YEAR)
    end = np.clip(records.last, FIRST_YEAR, model.as_of)
    good = dated["errors"].isna().to_numpy()
    ours = (dated["year_from"].fillna(0).to_numpy(), dated["year_to"].fillna(0).to_numpy())
    meets = (ours[0] <= end) & (ours[1] >= begin)
    inside = (model.years >= begin[:, None]) & (model.years <= end[:, None])
    within = (model.years >= ours[0][:, None]) & (model.years <= ours[1][:, None])
    whole = (chance * inside).sum(axis=1)
    gain = np.log(whole) - np.log((model.year_prior * inside).sum(axis=1))
    # if the museum is right, what share of its interval's probability lies inside ours
    covered = (chance * (inside & within)).sum(axis=1) / np.maximum(whole, 1e-300)
    for name, which in (("all", good), ("recent", good & (end > FIRST_YEAR))):
        weight = records.weight[which] / records.weight[which].sum()
        mean = float(weight @ gain[which])
        found[f"{name}: clumps"] = float(records.weight[which].sum())
        found[f"{name}: museum interval meets ours"] = float(weight @ meets[which])
        found[f"{name}: gain over the prior, nats a record"] = mean
        off = np.bincount(records.clump[which], weight * (gain[which] - mean))
        found[f"{name}: its standard error"] = float(np.sqrt((off**2).sum()))
        found[f"{name}: part of the museum interval's chance inside ours"] = float(
            weight @ covered[which]
        )
    return found


def main() -> None:
    """Print every figure on a line of its own."""
    default = os.environ.get("SCARFDATE_SHARED", str(Path(__file__).parents[3] / "shared"))
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(default) / "museum"
    for name, value in measure(folder).items():
        print(f"{name:60} {value:.3f}" if value != int(value) else f"{name:60} {value:.0f}")


if __name__ == "__main__":
    main()
