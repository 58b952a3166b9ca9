"""Score daters on museum records that they have not seen.

    python -m tests.real_records.held_out [FOLDER] [--scores FILE] [--fewer]

FOLDER holds ``records.csv`` and ``harvested.csv`` (open catalogue records; their README names sources
and licences). The museum's date is an interval and is taken as right. The score of a record is the log
of the probability that its interval is given; a mean weights every clump of near-copies as one record,
and its standard error is that of a mean over clumps. It leaves out that the ten trainings share most of
their records.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from scarfdate.conventions import FIRST_YEAR, LEVEL
from scarfdate.density.intervals import fold_numbers
from scarfdate.errors import ScarfdateError
from scarfdate.reading.medium import read_medium
from scarfdate.records.museum import Records, folds, read_records
from scarfdate.tables.priors import load_priors
from tests.real_records.baselines import (
    LAST_YEAR,
    YEARS,
    Cases,
    Floats,
    Split,
    boosted_trees,
    decade_naive_bayes,
    prior_alone,
    split_by,
)
from tests.real_records.our_dater import OURS, ours

Dater = Callable[[Cases, Cases], Floats]

FOLDS, SEED = 10, 1
FAMILIES = ("fibre", "weave", "print_technique")
FORMS = ("handkerchief", "shawl", "bandanna")  # object types that are words of the family form
BASE = "prior alone"
_TINY = 1e-300


# ------------------------------------------------------------------------------- scoring


def shortest(chance: Floats, level: float = LEVEL) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Places of the first and last year, both in, (n,) each, of each row's shortest interval.

    ``chance`` (n, years) sums to one by row; the interval holds at least ``level``. Of equally short
    ones the one that holds most, then the earliest.
    """
    total = np.concatenate([np.zeros((len(chance), 1)), np.cumsum(chance, axis=1)], axis=1)
    first = np.zeros(len(chance), dtype=np.int64)
    last = np.zeros(len(chance), dtype=np.int64)
    for row, sums in enumerate(total):
        # a hair less, so that rounding of the sums does not cost a year
        end = np.searchsorted(sums, sums[:-1] + level - 1e-12)
        start = np.flatnonzero(end < len(sums))
        length = end[start] - start
        ties = start[length == length.min()]
        best = ties[int(np.argmax(np.round(sums[end[ties]] - sums[ties], 12)))]
        first[row], last[row] = best, end[best] - 1
    return first, last


def score(chance: Floats, first: ArrayLike, last: ArrayLike, level: float = LEVEL) -> pd.DataFrame:
    """How each row of ``chance`` (n, years) does on a date ``first``..``last`` (n,), years, both in.

    Columns: ``log_score``, log P(date); ``covered``, the part of that probability that lies within the
    shortest interval of ``level`` (if the museum is right and the dater's shape within the date is
    right, the chance that the interval has the year); ``held``, what the interval itself holds:
    ``covered`` should be as much on average, and it is more than ``level`` where single years weigh
    much; ``meets``, whether interval and date have a year in common; ``years``, the interval's length.

    Raises ValueError where a row does not sum to one.
    """
    wrong = np.abs(chance.sum(axis=1) - 1) > 1e-6
    if chance.shape[1:] != YEARS.shape or wrong.any() or not (chance >= 0).all():
        raise ValueError(
            f"chance must be (n, {len(YEARS)}) probabilities that sum to one by row; "
            f"got shape {chance.shape}, {int(wrong.sum())} rows with another sum"
        )
    start, end = np.asarray(first), np.asarray(last)
    inside = (start[:, None] <= YEARS) & (end[:, None] >= YEARS)
    at, to = shortest(chance, level)
    ours = (YEARS[at][:, None] <= YEARS) & (YEARS[to][:, None] >= YEARS)
    whole = (chance * inside).sum(axis=1)
    return pd.DataFrame(
        {
            "log_score": np.log(np.maximum(np.minimum(whole, 1.0), _TINY)),
            "covered": (chance * (inside & ours)).sum(axis=1) / np.maximum(whole, _TINY),
            "held": (chance * ours).sum(axis=1),
            "meets": (inside & ours).any(axis=1),
            "years": to - at + 1,
        }
    )


def ten_folds(
    cases: Cases,
    fold: NDArray[np.integer],
    daters: Mapping[str, Dater],
    level: float = LEVEL,
    tell: Callable[[str], None] = lambda line: None,
) -> pd.DataFrame:
    """Scores of every record by every dater, each part of ``fold`` (n,) dated from all others.

    A dater is a function of training and test cases that gives (n_test, years). The test cases have no
    dates, so that none can look; the index of their clues is that of ``cases``.

    Columns: name, fold, record (place in ``cases``), clump, kind, weight, first, last, and those of
    `score`.
    """
    parts = []
    for one in np.unique(fold):
        held, rest = np.flatnonzero(fold == one), fold != one
        shared = set(cases.clump[held]) & set(cases.clump[rest])
        if shared:
            raise ValueError(f"{len(shared)} clumps lie in fold {one} and in others, too")
        train, test = cases.some(rest), cases.some(held)
        for name, dater in daters.items():
            begun = time.perf_counter()
            found = score(dater(train, test.undated()), test.first, test.last, level)
            tell(f"fold {one}: {name}: {time.perf_counter() - begun:.1f} s")
            head = {
                "name": name,
                "fold": int(one),
                "record": held,
                "clump": test.clump,
                "kind": test.kind,
                "weight": test.weight,
                "first": test.first,
                "last": test.last,
            }
            parts.append(pd.concat([pd.DataFrame(head), found], axis=1))
    return pd.concat(parts, ignore_index=True)


# ------------------------------------------------------------------------------- reports


def mean_by_clump(value: Floats, weight: Floats, clump: NDArray[Any]) -> tuple[float, float]:
    """Weighted mean of (n,) values and its standard error, records of one clump moving together."""
    _, place = np.unique(clump, return_inverse=True)
    count = int(place.max()) + 1
    mean = float(weight @ value / weight.sum())
    if count < 2:
        return mean, float("nan")
    off = np.bincount(place.ravel(), weight * (value - mean), count)
    return mean, float(np.sqrt((off @ off) * count / (count - 1)) / weight.sum())


def report(frame: pd.DataFrame, base: str = BASE, each_record: bool = False) -> pd.DataFrame:
    """One row a group and a dater, from the frame of `ten_folds`.

    Groups: all; those not wholly in the first year ("1880 or earlier"), where there is something to
    find out; by kind; by decade of the middle of the date. Columns: ``records``, ``clumps``; ``score``,
    mean log score; ``gain``, over ``base``, nats a record, and ``se``; ``covered`` with ``covered_se``,
    and ``held`` beside it; ``meets``; ``years``, the median length of the interval. ``each_record``:
    every record counts one, instead of every clump.
    """
    rows = []
    for group, part in _groups(frame):
        wide = {name: one.set_index("record") for name, one in part.groupby("name", sort=False)}
        for name, one in wide.items():
            weight = np.ones(len(one)) if each_record else one["weight"].to_numpy()
            clump = one["clump"].to_numpy()
            gain = (one["log_score"] - wide[base]["log_score"].loc[one.index]).to_numpy()
            mean, error = mean_by_clump(gain, weight, clump)
            covered, covered_error = mean_by_clump(one["covered"].to_numpy(), weight, clump)
            rows.append(
                {
                    "group": group,
                    "name": name,
                    "records": len(one),
                    "clumps": len(np.unique(clump)),
                    "score": float(np.average(one["log_score"], weights=weight)),
                    "gain": mean,
                    "se": error,
                    "covered": covered,
                    "covered_se": covered_error,
                    "held": float(np.average(one["held"], weights=weight)),
                    "meets": float(np.average(one["meets"], weights=weight)),
                    "years": float(np.median(one["years"])),
                }
            )
    return pd.DataFrame(rows)


def differences(
    frame: pd.DataFrame, pairs: Iterable[tuple[str, str]], each_record: bool = False
) -> pd.DataFrame:
    """Mean log score of one dater less that of another, nats a record, and its standard error.

    Columns: group, better (if the difference is above zero), than, difference, se. Groups as in
    `report`.
    """
    rows = []
    for group, part in _groups(frame):
        wide = part.pivot(index="record", columns="name", values="log_score")
        about = part.drop_duplicates("record").set_index("record").loc[wide.index]
        weight = np.ones(len(about)) if each_record else about["weight"].to_numpy()
        for better, than in pairs:
            off = (wide[better] - wide[than]).to_numpy()
            mean, error = mean_by_clump(off, weight, about["clump"].to_numpy())
            rows.append((group, better, than, mean, error))
    return pd.DataFrame(rows, columns=["group", "better", "than", "difference", "se"])


def _groups(frame: pd.DataFrame) -> Iterable[tuple[str, pd.DataFrame]]:
    yield "all", frame
    yield f"after {FIRST_YEAR}", frame[frame["last"] > FIRST_YEAR]
    for kind, part in frame.groupby("kind"):
        yield f"kind: {kind}", part
    middle = (frame["first"] + frame["last"]) // 2
    decade = np.where(
        frame["last"] == FIRST_YEAR,
        f"{FIRST_YEAR} or earlier",
        (middle // 10 * 10).astype(str) + "s",
    )
    for one, part in frame.groupby(decade):
        yield f"middle: {one}", part


# ------------------------------------------------------------------------------- museum records


def museum_cases(records: Records) -> Cases:
    """Museum records as cases: medium text read, form from the kind of object, origin from the country.

    A country that is no word of the vocabulary is "other". Dates are cut to the grid: what ends before
    its first year is in its first year.
    """
    vocabulary = load_priors().vocabulary
    medium = [read_medium(text).clues for text in records.medium_text.words]
    clues: dict[str, NDArray[Any]] = {}
    for family in FAMILIES:
        words = [_cell(clue.get(family, "")) for clue in medium]
        clues[family] = np.array(words, dtype=object)[records.medium_text.codes]
    scarf_like = records.kind.is_word("scarf-like")
    object_type = records.object_type.texts()
    form = np.where(np.isin(object_type, FORMS), object_type, "")
    clues["form"] = np.where(scarf_like, form, "other").astype(object)
    origin = []
    for country in records.country.words:
        try:
            origin.append(vocabulary.canonical("origin", country))
        except ScarfdateError:
            origin.append("other")
    clues["origin"] = np.array(origin, dtype=object)[records.country.codes]
    clues["width_cm"], clues["height_cm"] = records.width_cm, records.height_cm
    return Cases(
        pd.DataFrame(clues),
        np.clip(records.first.astype(np.int64), FIRST_YEAR, LAST_YEAR),
        np.clip(records.last.astype(np.int64), FIRST_YEAR, LAST_YEAR),
        np.asarray(records.weight, dtype=float),
        records.clump.astype(np.int64),
        records.kind.texts(),
    )


def vocabulary_split() -> Split:
    """Parent words and weights over the values of the shipped vocabulary."""
    return split_by(load_priors().vocabulary.children)


def _cell(clue: str | Mapping[str, float]) -> str:
    return clue if isinstance(clue, str) else json.dumps(dict(sorted(clue.items())))


def daters() -> dict[str, Dater]:
    """The three baselines by name."""
    return {
        BASE: prior_alone,
        "naive Bayes": partial(decade_naive_bayes, split=vocabulary_split()),
        "boosted trees": boosted_trees,
    }


def dropping(dater: Dater, *columns: str) -> Dater:
    """A dater that does without some clues."""
    return lambda train, test: dater(train.without(*columns), test.without(*columns))


def gift_folds(records: Records, k: int = FOLDS, seed: int = SEED) -> NDArray[np.intp]:
    """A part for each record, whole gifts (and with them whole clumps) together."""
    return fold_numbers(records.gift, np.random.default_rng(seed), k, records.weight)


def main() -> None:
    """Print how every dater does by clump and by gift; with --fewer, what they do with fewer clues."""
    asked = argparse.ArgumentParser(prog="python -m tests.real_records.held_out")
    default = os.environ.get("SCARFDATE_SHARED", str(Path(__file__).parents[3] / "shared"))
    asked.add_argument("folder", nargs="?", type=Path, default=Path(default) / "museum")
    asked.add_argument("--scores", type=Path, help="write the score of every record as CSV")
    asked.add_argument("--fewer", action="store_true", help="also with fewer clues; 25 minutes")
    given = asked.parse_args()
    records = read_records([given.folder / "records.csv", given.folder / "harvested.csv"])
    cases = museum_cases(records)
    theirs = daters()
    tried: dict[str, Dater] = {**theirs, **ours(records)}
    if given.fewer:
        for label, without in (
            (", no size", ("width_cm", "height_cm")),
            (", no origin", ("origin",)),
            (", no form", ("form",)),
            (", medium text only", ("width_cm", "height_cm", "origin", "form")),
        ):
            for name, dater in theirs.items():
                if name != BASE:
                    tried[name + label] = dropping(dater, *without)
    pairs = [(OURS, "naive Bayes"), ("boosted trees", OURS), ("boosted trees", "naive Bayes")]
    tell = partial(print, file=sys.stderr, flush=True)
    parts = []
    with pd.option_context("display.width", 200, "display.max_rows", None):
        for name, fold, group in (
            ("clump", folds(records, FOLDS, SEED), cases.clump),
            ("gift", gift_folds(records), records.gift),
        ):
            frame = ten_folds(cases, fold, tried, tell=tell)
            frame["clump"] = np.asarray(group)[frame["record"]]  # what moves together in an error
            parts.append(frame.assign(held_out=name))
            table = report(frame)
            print(
                f"\nheld out by {name}: all records, and those not wholly before {FIRST_YEAR + 1}"
            )
            print(table[table["group"].isin(["all", f"after {FIRST_YEAR}"])].round(3).to_string())
            apart = differences(frame, pairs)
            print(apart[apart["group"] == "all"].round(3).to_string(index=False))
            print(f"\nheld out by {name}: {OURS}, by kind and decade")
            print(table[table["name"] == OURS].round(3).to_string(index=False))
    if given.scores:
        pd.concat(parts).to_csv(given.scores, index=False)


if __name__ == "__main__":
    main()
