"""Our own dating of museum records, built from the training records alone and used by the front door."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

from scarfdate import date_table, load_priors
from scarfdate.museum.build import built_from
from scarfdate.museum.clue_tables import Smoothing
from scarfdate.museum.noted import said
from scarfdate.museum.records import Records
from scarfdate.tables.priors import Priors
from tests.real_records.baselines import LAST_YEAR, Cases, Floats

# chosen by `build-priors` from all records by held-out likelihood; held fixed here for speed
SMOOTHING = Smoothing(5.0, 3.0)
YEAR_SMOOTHINGS = {"scarf_like": 1e5, "textile": 1e2}


def built(records: Records, folder: Path) -> Priors:
    """The shipped priors with every museum table built anew from ``records``."""
    made = built_from(
        records,
        load_priors(),
        smoothing=SMOOTHING,
        year_smoothings=YEAR_SMOOTHINGS,
        borrowed={},
        last_year=LAST_YEAR,
    )
    for name, content in made.files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return load_priors(folder)


class OurDater:
    """Date test cases in the channel ``museum`` with tables built from the training cases."""

    def __init__(self, records: Records, drop: tuple[str, ...] = ()) -> None:
        self.records, self.drop = records, list(drop)

    def __call__(self, train: Cases, test: Cases) -> Floats:
        places = train.clues.index.to_numpy()
        with tempfile.TemporaryDirectory() as folder:
            priors = built(self.records.only(places), Path(folder))
            seen = said(self.records.only(test.clues.index.to_numpy()), priors)
            frame = seen.frame().drop(columns=self.drop)
            table, chance = date_table(
                frame, priors=priors, channel="museum", as_of=LAST_YEAR, with_years=True
            )
        bad = table["errors"].dropna()
        if len(bad):
            raise ValueError(f"{len(bad)} records cannot be read, the first: {bad.iloc[0]}")
        return chance


def ours(records: Records) -> Mapping[str, OurDater]:
    """With all clues, and without those that are no words of the medium text."""
    return {
        "scarfdate": OurDater(records),
        "scarfdate, no form": OurDater(records, ("form",)),
        "scarfdate, medium text only": OurDater(
            records, ("form", "origin", "width_cm", "height_cm")
        ),
    }
