"""Our own dating of museum records, built from the training records alone and used by the front door."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

from scarfdate import date_table, load_priors
from scarfdate.building.build import built_from
from scarfdate.building.record_clues import record_clues
from scarfdate.records.museum import Records
from scarfdate.tables.priors import Priors
from tests.real_records.baselines import LAST_YEAR, Cases, Floats

OURS = "scarfdate"


def built(records: Records, folder: Path) -> Priors:
    """The shipped priors with every museum table built anew from ``records``."""
    made = built_from(
        records,
        load_priors(),
        borrowed={},  # other textiles are borrowed from in the shop channels only
        last_year=LAST_YEAR,
    )
    for name, content in made.files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return load_priors(folder)


class OurDater:
    """Date test cases in the channel ``museum`` with tables built from the training cases.

    Every smoothing is chosen within the training cases. ``kept`` holds the last tables built, for the
    daters that share it.
    """

    def __init__(
        self, records: Records, kept: dict[bytes, Priors], drop: tuple[str, ...] = ()
    ) -> None:
        self.records, self.kept, self.drop = records, kept, list(drop)

    def __call__(self, train: Cases, test: Cases) -> Floats:
        places = train.clues.index.to_numpy()
        key = places.tobytes()
        if key not in self.kept:
            self.kept.clear()
            with tempfile.TemporaryDirectory() as folder:
                self.kept[key] = built(self.records.only(places), Path(folder))
        priors = self.kept[key]
        seen = record_clues(self.records.only(test.clues.index.to_numpy()), priors)
        frame = seen.frame().drop(columns=self.drop)
        table, chance = date_table(
            frame, priors=priors, channel="museum", as_of=LAST_YEAR, with_years=True
        )
        bad = table["errors"].dropna()
        if len(bad):
            raise ValueError(f"{len(bad)} records cannot be read, the first: {bad.iloc[0]}")
        return chance


def ours(records: Records) -> Mapping[str, OurDater]:
    """With all clues, without those that are no words of the medium text, and with none: the prior itself."""
    kept: dict[bytes, Priors] = {}
    without = {
        OURS: (),
        f"{OURS}, no form": ("form",),
        f"{OURS}, medium text only": ("form", "origin", "width_cm", "height_cm"),
        f"{OURS}, nothing noted": (
            "form", "origin", "width_cm", "height_cm", "fibre", "weave", "print_technique",
        ),
    }  # fmt: skip
    return {name: OurDater(records, kept, drop) for name, drop in without.items()}
