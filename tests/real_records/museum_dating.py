"""Date the scarf-type rows of open museum records by plain rules, and say how it went.

    python -m tests.real_records.museum_dating [FOLDER]

FOLDER holds ``records.csv`` and ``harvested.csv`` (open catalogue records; their README names sources
and licences). Fibre is read from the medium text by the few words below, form from the kind of object,
sides as stated; nothing else is used. The channel is ``museum``.

The museum's own interval is not the truth, and the year prior was built from the same records (as one
broad density by decade), so this is a check of use, not of skill on unseen records.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scarfdate.museum.counts import SCARF_LIKE, clumps, read_records

from scarfdate import date_table, load_priors
from scarfdate.conventions import FIRST_YEAR
from scarfdate.model import compiled

# word in a medium text (English, French, Italian) -> fibre
FIBRE_WORDS = {
    "silk": "silk", "soie": "silk", "seta": "silk", "cotton": "cotton", "coton": "cotton",
    "wool": "wool", "laine": "wool", "cachemire": "wool", "linen": "linen", " lin": "linen",
    "rayon": "rayon", "polyester": "polyester", "nylon": "nylon", "acetate": "acetate",
    "acrylic": "acrylic",
}  # fmt: skip
FORMS = {"handkerchief": "handkerchief", "shawl": "shawl", "bandanna": "bandanna"}
LEVEL = 0.80


def as_seen(rows: list[dict[str, str]]) -> pd.DataFrame:
    """What the plain rules make of the records, as a frame for `date_table`."""
    seen = []
    for row in rows:
        medium = f" {row['medium_text'].casefold()}"
        fibres = sorted({fibre for word, fibre in FIBRE_WORDS.items() if word in medium})
        weights = "{" + ", ".join(f'"{fibre}": {1 / len(fibres)}' for fibre in fibres) + "}"
        sides = [row["width_cm"], row["height_cm"]]
        usable = all(side and 15 <= float(side) <= 400 for side in sides)
        seen.append(
            {
                "fibre": "" if not fibres else fibres[0] if len(fibres) == 1 else weights,
                "form": FORMS.get(row["object_type"], ""),
                "width_cm": float(sides[0]) if usable else np.nan,
                "height_cm": float(sides[1]) if usable else np.nan,
            }
        )
    return pd.DataFrame(seen)


def measure(folder: Path, level: float = LEVEL) -> dict[str, float]:
    """How often the intervals meet, and the log score gained over the prior alone, in nats a record.

    The score of a record is the log of the probability its own interval is given. "recent" counts the
    records that end after the first year of the grid, where there is something to find out.
    """
    rows = read_records([folder / "records.csv", folder / "harvested.csv"])
    scarves = [
        dict(row) for row in clumps([row for row in rows if row["object_type"] in SCARF_LIKE])
    ]
    model = compiled(load_priors(), "museum", None)
    dated, chance = date_table(as_seen(scarves), channel="museum", level=level, with_years=True)
    found: dict[str, float] = {
        "records": len(scarves),
        "bad rows": int(dated["errors"].notna().sum()),
    }
    begin = np.array([max(int(row["year_begin"]), FIRST_YEAR) for row in scarves])
    end = np.array([max(int(row["year_end"]), FIRST_YEAR) for row in scarves])
    good = dated["errors"].isna().to_numpy()
    meets = (dated["year_from"].fillna(0) <= end) & (dated["year_to"].fillna(0) >= begin)
    inside = (model.years >= begin[:, None]) & (model.years <= end[:, None])
    gain = np.log((chance * inside).sum(axis=1)) - np.log((model.year_prior * inside).sum(axis=1))
    held = [
        float(chance[row][(model.years >= a) & (model.years <= b) & inside[row]].sum())
        for row, (a, b) in enumerate(
            zip(dated["year_from"].fillna(0), dated["year_to"].fillna(0), strict=True)
        )
    ]
    recent = good & (end > FIRST_YEAR)
    for name, which in (("all", good), ("recent", recent)):
        found[f"{name}: records"] = int(which.sum())
        found[f"{name}: museum interval meets ours"] = float(meets.to_numpy()[which].mean())
        found[f"{name}: gain over the prior, nats a record"] = float(gain[which].mean())
        found[f"{name}: its standard error"] = float(gain[which].std() / np.sqrt(which.sum()))
    # if the museum is right, what share of its interval's probability lies inside ours
    share = np.array(held) / np.maximum((chance * inside).sum(axis=1), 1e-300)
    found["recent: part of the museum interval's chance inside ours"] = float(share[recent].mean())
    return found


def main() -> None:
    """Print every figure on a line of its own."""
    default = os.environ.get("SCARFDATE_SHARED", str(Path(__file__).parents[3] / "shared"))
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(default) / "museum"
    for name, value in measure(folder).items():
        print(f"{name:60} {value:.3f}" if value != int(value) else f"{name:60} {value:.0f}")


if __name__ == "__main__":
    main()
