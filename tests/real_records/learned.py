"""What `scarfdate.learn` makes of museum records: tables learned on some, scored on others.

    python -m tests.real_records.learned [FOLDER] [--gift] [--folds K] [--scores FILE]

FOLDER holds ``records.csv`` and ``harvested.csv`` (open catalogue records; their README names sources
and licences). Clues are those that the medium text states (fibre, weave, print technique) and the two
sides, for every dater alike; the kind of object and the country of making are left out. Scores, folds and
errors are those of `held_out`.

**A fair "before".** The shipped tables of the channel ``museum`` were made of these very records, and the
shipped tables of the other channels hold some of them: either has seen what it would be tested on. So
learning starts from the rows that people wrote before any record was added (``priors/expert``, and
``shares/origin.csv``, which has none), read in the channel ``museum``: its year prior, estimated anew from
the training part, its grades and its confusion of values. Nothing of a held-out record is in it. Beside it
stands what the library makes of the training part by its own other way, the museum tables of
`build_priors`; it does not rest on ``learn``.

The daters:

    prior alone        the density of years in the training part, smoothed by `baselines`; the zero of gains
    channel prior      the year prior of the channel, from the training part: where the next three start
    expert tables      that prior and the tables as people wrote them
    learned            these tables after ``learn(route="laplace")`` on the training part
    museum tables      tables built from the training part alone (`our_dater`)
    naive Bayes, boosted trees    of `baselines`, given the same clues

``learn`` counts every record as one, so that it is given one record of each clump of near-copies, the
first. A date that is an interval goes in as that interval.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.building.build import EXPERT
from scarfdate.building.record_clues import record_clues
from scarfdate.building.year import date_widths, museum_years, year_rows
from scarfdate.conventions import FIRST_YEAR
from scarfdate.learning.learn import learn
from scarfdate.learning.learned import Learned
from scarfdate.records.museum import Records, folds, read_records
from scarfdate.tables.priors import Priors, folder_files, load_priors
from tests.real_records.baselines import LAST_YEAR, Cases, Floats, boosted_trees, decade_naive_bayes
from tests.real_records.held_out import (
    BASE,
    FOLDS,
    SEED,
    Dater,
    differences,
    gift_folds,
    museum_cases,
    prior_alone,
    report,
    ten_folds,
    vocabulary_split,
)
from tests.real_records.our_dater import OurDater, built

CHANNEL = "museum"
LEFT_OUT = ("form", "origin")
CHANNEL_PRIOR, BEFORE, AFTER = "channel prior", "expert tables", "learned"
BUILT, BAYES, TREES = "museum tables", "naive Bayes", "boosted trees"
PAIRS = (
    (AFTER, BEFORE),
    (AFTER, CHANNEL_PRIOR),
    (AFTER, BUILT),
    (BAYES, AFTER),
    (TREES, AFTER),
    (TREES, BUILT),
)


@dataclass(frozen=True, eq=False)
class Taught:
    """Records to learn from: the clues of each, and the years that it can be of, both in."""

    clues: pd.DataFrame
    known_from: NDArray[np.int64]
    known_to: NDArray[np.int64]


class Trainings:
    """The priors that come of each training part, made when first asked for and kept in ``folder``.

    ``drop``: clues that are left out. ``tell`` hears what was learned.
    """

    def __init__(
        self,
        records: Records,
        folder: Path,
        drop: tuple[str, ...] = LEFT_OUT,
        tell: Callable[[str], None] = lambda line: None,
    ) -> None:
        self.records, self.folder, self.drop, self.tell = records, folder, drop, tell
        self._made: dict[tuple[str, bytes], Priors] = {}

    def museum(self, train: Cases) -> Priors:
        """Every museum table built from the training part."""
        return self._once("museum", train, lambda: built(self._of(train), self._place("museum")))

    def expert(self, train: Cases) -> Priors:
        """The tables as people wrote them, with the museum's years of the training part."""

        def make() -> Priors:
            years = year_rows(museum_years(self._of(train), LAST_YEAR, date_widths(load_priors())))
            table = pd.DataFrame(years).assign(basis="museum", source="training part", note="")
            files = expert_files() | {"year_museum.csv": table.to_csv(index=False).encode()}
            return written(files, self._place("expert"))

        return self._once("expert", train, make)

    def learned(self, train: Cases) -> Priors:
        """`expert` after learning from the training part."""

        def make() -> Priors:
            found = self.learn(train)
            self.tell(str(found))
            self.tell(found.informed().round(3).to_string())
            return found.priors

        return self._once("learned", train, make)

    def learn(self, train: Cases) -> Learned:
        """What the training part teaches over `expert`."""
        return learn(self.taught(train), self.expert(train), channel=CHANNEL, as_of=LAST_YEAR)

    def taught(self, train: Cases) -> Taught:
        """One record of each clump, without the clues that are left out."""
        part = self._of(train)
        _, first = np.unique(part.clump, return_index=True)
        part = part.only(np.sort(first))
        return Taught(
            record_clues(part, load_priors()).frame().drop(columns=list(self.drop)),
            part.first.astype(np.int64),
            part.last.astype(np.int64),
        )

    def dater(self, priors_of: Callable[[Cases], Priors]) -> Dater:
        """Date test cases by some priors of the training part, in the channel ``museum``."""

        def date(train: Cases, test: Cases) -> Floats:
            kept = {train.clues.index.to_numpy().tobytes(): priors_of(train)}
            return OurDater(self.records, kept, self.drop)(train, test)

        return date

    def channel_prior(self, train: Cases, test: Cases) -> Floats:
        """The year prior that the library's daters start from, whatever the clues say."""
        table = self.expert(train).year_prior_table(CHANNEL, as_of=LAST_YEAR)
        return np.tile(table["prior"].to_numpy(), (len(test), 1))

    def _of(self, train: Cases) -> Records:
        return self.records.only(train.clues.index.to_numpy())

    def _place(self, name: str) -> Path:
        return Path(tempfile.mkdtemp(prefix=f"{name}-", dir=self.folder))

    def _once(self, name: str, train: Cases, make: Callable[[], Priors]) -> Priors:
        key = (name, train.clues.index.to_numpy().tobytes())
        if key not in self._made:
            # one training part at a time: compiled priors are large
            self._made = {old: kept for old, kept in self._made.items() if old[1] == key[1]}
            self._made[key] = make()
        return self._made[key]


def expert_files() -> dict[str, bytes]:
    """The channel's tables of clues, by file name, with the rows that people wrote in their place."""
    files = folder_files(load_priors())
    found = {}
    for name in files:
        kind, _, family = name.removeprefix(f"{CHANNEL}/").partition("/")
        if name.startswith(f"{CHANNEL}/") and kind in ("shares", "measured") and family:
            own = f"{kind}/{family}"
            found[name] = files.get(f"{EXPERT}/{own}") or files[own]
    return found


def written(files: Mapping[str, bytes], folder: Path) -> Priors:
    """Priors of which some files replace the shipped ones."""
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return load_priors(folder)


def daters(trainings: Trainings) -> dict[str, Dater]:
    """All daters by name; cases are to be without the clues that are left out."""
    return {
        BASE: prior_alone,
        CHANNEL_PRIOR: trainings.channel_prior,
        BEFORE: trainings.dater(trainings.expert),
        AFTER: trainings.dater(trainings.learned),
        BUILT: trainings.dater(trainings.museum),
        BAYES: partial(decade_naive_bayes, split=vocabulary_split()),
        TREES: boosted_trees,
    }


def main() -> None:
    """Print how every dater does on records held out by clump, or with --gift by gift."""
    asked = argparse.ArgumentParser(prog="python -m tests.real_records.learned")
    default = os.environ.get("SCARFDATE_SHARED", str(Path(__file__).parents[3] / "shared"))
    asked.add_argument("folder", nargs="?", type=Path, default=Path(default) / "museum")
    asked.add_argument("--gift", action="store_true", help="hold out whole gifts, not clumps")
    asked.add_argument("--folds", type=int, default=FOLDS)
    asked.add_argument("--scores", type=Path, help="write the score of every record as CSV")
    given = asked.parse_args()
    records = read_records([given.folder / "records.csv", given.folder / "harvested.csv"])
    cases = museum_cases(records).without(*LEFT_OUT)
    tell = partial(print, file=sys.stderr, flush=True)
    if given.gift:
        fold, group = gift_folds(records, given.folds), np.asarray(records.gift)
    else:
        fold, group = folds(records, given.folds, SEED), cases.clump
    with tempfile.TemporaryDirectory() as folder:
        tried = daters(Trainings(records, Path(folder), tell=tell))
        frame = ten_folds(cases, fold, tried, tell=tell)
    frame["clump"] = group[frame["record"]]  # what moves together in an error
    if given.scores:
        frame.to_csv(given.scores, index=False)
    table, apart = report(frame), differences(frame, PAIRS)
    groups = ["all", f"after {FIRST_YEAR}"]
    with pd.option_context("display.width", 200, "display.max_rows", None):
        print(f"held out by {'gift' if given.gift else 'clump'}, {given.folds} folds")
        print(table[table["group"].isin(groups)].round(3).to_string(index=False))
        print(apart[apart["group"].isin(groups)].round(3).to_string(index=False))
        print(f"\n{AFTER}, by kind and decade")
        print(table[table["name"] == AFTER].round(3).to_string(index=False))


if __name__ == "__main__":
    main()
