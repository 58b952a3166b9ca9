"""Tables in which only two things can be true: made in the earlier stretch of years, or in the later.

Textbook cases of evidence are about two hypotheses. Here each is a stretch of as many years as the other,
all alike, and a clue's values have one chance all through the one and another all through the other. What
is learnt of the year is then what is learnt of the state, and the year has log2(years of a stretch) bits
besides, whatever is found. All numbers here are invented: none says anything about scarves.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scarfdate import Priors, load_priors
from scarfdate.tables.priors import shipped_folder

FIRST, BORDER, AS_OF = 1880, 1953, 2025
EARLY, LATE = f"before {BORDER}", f"{BORDER} or later"  # the claim, and what it denies
STRETCH = BORDER - FIRST  # years of either state
WITHIN = float(np.log2(STRETCH))  # bits of a year whose state is known
SLIP = 1e-4  # the least that slips.csv takes: 0.01 per cent
FLOOR = 1e-6  # of a share of zero (conventions.ZERO_SHARE)
assert AS_OF + 1 - BORDER == STRETCH

Row = dict[str, object]
Chances = tuple[float, float]  # of a value, where the claim is true and where it is not


def two_states(
    folder: Path,
    early: Mapping[str, float],
    families: Mapping[str, Mapping[str, Chances]],
) -> Priors:
    """The shipped tables with further families of clues, and with two states for the year.

    ``early``: the chance of the earlier stretch, by the name of a column of ``year_channel.csv``; evens in
    the columns that are not named. ``families``: by family and value the chance that it is noted. A slip
    takes its part: the shares are so chosen that with it the chances are those asked for, as far as can
    be (see `noted`).
    """
    (folder / "shares").mkdir(parents=True)
    basis: Row = {"basis": "memory", "note": "invented for a test"}
    rows: list[Row]
    for name, more in {
        "families.csv": [
            {"family": f, "kind": "shares", "reads": "making", "name": f.replace("_", " "), "worth": "1"} | basis
            for f in families
        ],
        "vocabulary.csv": [
            {"family": f, "word": v, "reading": "value", "means": basis["note"]}
            for f, values in families.items() for v in values
        ],
        "slips.csv": [{"family": f, "rate": repr(100 * SLIP), "altered": "0"} | basis for f in families],
    }.items():  # fmt: skip
        header, shipped = _shipped(name)
        _write(folder / name, header, [*shipped, *more])
    header, _ = _shipped("checks.csv")
    costs: Row = {
        "method": "feel",
        "words": "look",
        "minutes": "1",
        "harms": "no",
        "least_bits": "0",
        "loss": "0",
    }
    _write(folder / "checks.csv", header, [{"family": f} | costs | basis for f in families])
    for name, values in families.items():
        shares = [dict(zip(values, 100 * own, strict=True)) for own in _shares(values)]
        header = ["year", "grade", *values, "basis", "source", "note"]
        rows = [{"year": y, "grade": "any", **shares[late], **basis} for y, late in _KNOTS]
        _write(folder / "shares" / f"{name}.csv", header, rows)
    header, _ = _shipped("year_museum.csv")
    flat = dict.fromkeys(header[1:-3], 1)
    rows = [{"year": y, **flat, **basis} for y in (FIRST, AS_OF)]
    _write(folder / "year_museum.csv", header, rows)
    header, _ = _shipped("year_channel.csv")
    chance = {column: early.get(column, 0.5) for column in header[1:-4]}
    rows = [
        {
            "year": y,
            "uncertainty": 1,
            **{c: 1 - p if late else p for c, p in chance.items()},
            **basis,
        }
        for y, late in _KNOTS
    ]
    _write(folder / "year_channel.csv", header, rows)
    return load_priors(folder)


def noted(values: Mapping[str, Chances]) -> NDArray[np.float64]:
    """What the tables make of the chances asked for, (2, values): the claim true, and not.

    After a slip each value is as likely as it is common, which is the mean of its chances in the two
    states: so no chance is below ``SLIP`` times that mean. All others are as asked for.
    """
    floored = np.maximum([own / own.sum() for own in _shares(values)], FLOOR)
    floored /= floored.sum(axis=1, keepdims=True)
    return np.asarray((1 - SLIP) * floored + SLIP * floored.mean(axis=0))


_KNOTS = ((FIRST, 0), (BORDER - 1, 0), (BORDER, 1), (AS_OF, 1))  # a year, and the state it is in


def _columns(values: Mapping[str, Chances]) -> list[NDArray[np.float64]]:
    return list(np.array(list(values.values())).T)


def _shares(values: Mapping[str, Chances]) -> list[NDArray[np.float64]]:
    """Shares that with a slip are the chances, by state: from p = (1 - slip) share + slip mean share.

    The two states are as many years, so the mean share is the mean chance.
    """
    each = _columns(values)
    usual = np.mean(each, axis=0)
    return [np.clip((chances - SLIP * usual) / (1 - SLIP), 0, 1) for chances in each]


def _shipped(name: str) -> tuple[list[str], list[dict[str, str]]]:
    with (shipped_folder() / name).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return list(rows[0]), rows


def _write(path: Path, header: Sequence[str], rows: Sequence[Mapping[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(header), restval="")
        writer.writeheader()
        writer.writerows(rows)
