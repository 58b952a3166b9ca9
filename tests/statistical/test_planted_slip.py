"""One gross slip planted in an otherwise fair piece: is the right clue named?

Pieces are drawn from the tables, each looked at by eye. Then one clue is overwritten by something that
cannot be, or hardly, at its time: a fibre, a process, a country's name or a thread that came later (or
was long gone). `Dating.surprising` must name that clue. A slip between things that a time had both
surprises nobody, and is not tried here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from scarfdate import Scarf, date_scarf, load_priors, simulate

pytestmark = pytest.mark.statistical

AS_OF, PIECES = 2026, 9000
# true years first to last; clue, value, method; what `surprising` says of it
SLIPS = [
    (1880, 1938, "fibre", "polyester", "microscope", "polyester"),
    (1880, 1938, "fibre", "acrylic", "label", "acrylic"),
    (1880, 1938, "fibre", "nylon", "burn", "nylon"),
    (1880, 1945, "print_technique", "transfer", "microscope", "transfer"),
    (1880, 1955, "print_technique", "digital", "label", "digital"),
    (1880, 1940, "hem_thread", "polyester", "burn", "polyester"),
    (1880, 1935, "origin", "bangladesh", "feel", "bangladesh"),
    (1975, 2026, "origin", "occupied-japan", "feel", "occupied-japan"),
]


@dataclass
class Planted:
    """For one slip: how often it was named, and the agreement before and after."""

    named: list[bool]
    before: list[float]
    after: list[float]


@pytest.fixture(scope="module")
def planted() -> dict[str, Planted]:
    known = load_priors()
    drawn = simulate(known, PIECES, np.random.default_rng(1763), as_of=AS_OF, looked_at=0.8)
    year = np.array(drawn.truth["year"], dtype=int)
    mode = np.array(drawn.truth["mode"])
    rows = list(zip(*drawn.seen.values(), strict=True))
    found: dict[str, Planted] = {}
    for first, last, family, value, method, says in SLIPS:
        these = np.flatnonzero((year >= first) & (year <= last) & (mode == "period"))[:60]
        one = found[f"{family} {value}"] = Planted([], [], [])
        for place in these:
            seen = {n: v for n, v in zip(drawn.seen, rows[place], strict=True) if v is not None}
            slip = {**seen, family: value, "methods": {family: method}}
            if family == "origin":
                slip["label"] = seen["label"] = "intact"
            dating = date_scarf(Scarf(**slip), as_of=AS_OF)
            one.named.append(says in (dating.surprising or ""))
            one.before.append(date_scarf(Scarf(**seen), as_of=AS_OF).agreement)
            one.after.append(dating.agreement)
    return found


def test_the_planted_slip_is_named(planted: dict[str, Planted]) -> None:
    """Chance alone would name one clue of about twelve. The rest look of another time by themselves."""
    every: list[bool] = []
    for what, one in planted.items():
        print(f"\n{what}: named in {np.mean(one.named):.2f} of {len(one.named)}", end="")
        assert len(one.named) >= 20
        assert np.mean(one.named) >= 0.5, what
        every += one.named
    print(f"\nall: {np.mean(every):.3f} of {len(every)}")
    assert np.mean(every) >= 0.7


def test_a_planted_slip_lowers_the_agreement(planted: dict[str, Planted]) -> None:
    before = np.concatenate([one.before for one in planted.values()])
    after = np.concatenate([one.after for one in planted.values()])
    print(f"\nmedian agreement {np.median(before):.3f} before, {np.median(after):.3f} after")
    print(f"below 0.05: {(before < 0.05).mean():.3f} before, {(after < 0.05).mean():.3f} after")
    assert (after < before).mean() > 0.8
    assert np.median(after) < np.median(before) - 0.1
