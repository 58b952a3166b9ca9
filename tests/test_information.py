"""Bits that a clue carries about the decade, against sums written out by hand.

Mutual information is that of Shannon (1948); the reference below is the plain double sum.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from scarfdate import Scarf, WordError, date_scarf, load_priors
from scarfdate.information import clue_information
from scarfdate.model import compiled
from scarfdate.tables.priors import Priors, shipped_folder

AS_OF = 2026


@pytest.fixture(scope="module")
def shipped() -> dict[tuple[str, str], dict[str, float]]:
    rows = clue_information(as_of=AS_OF).to_dict("records")
    return {(row["family"], row["grade"]): row for row in rows}


def plain_bits(priors: Priors, family: str, grade: int) -> float:
    """The double sum over decades and noted values, market and revival summed out one by one."""
    model = compiled(priors, "thrift", AS_OF)
    clue = model.clues[model.column[family]]
    noted = clue.noted("feel")  # type: ignore[attr-defined]
    shares = clue.shares  # type: ignore[attr-defined]
    joint: dict[tuple[int, int], float] = {}
    for y, year in enumerate(model.years.tolist()):
        for o in range(noted.shape[1]):
            chance = 0.0
            for v in range(noted.shape[0]):
                for k in range(shares.shape[1]):
                    own = shares[v, k, grade]
                    if clue.reads == "style":
                        back = sum(model.looked_back_to[y, s] * own[s] for s in range(len(own)))
                        rho = model.revival_share[y]
                        share = (1 - rho) * own[y] + rho * back
                    else:
                        share = own[y]
                    market = model.market[k, y] if shares.shape[1] > 1 else 1.0
                    chance += noted[v, o] * share * market
            decade = (year - 1880) // 10
            joint[decade, o] = joint.get((decade, o), 0.0) + chance * model.prior[grade, y]
    total = sum(joint.values())
    bits = 0.0
    for (decade, o), mass in joint.items():
        p = mass / total
        of_decade = sum(m for (d, _), m in joint.items() if d == decade) / total
        of_noted = sum(m for (_, n), m in joint.items() if n == o) / total
        bits += p * math.log2(p / (of_decade * of_noted)) if p > 0 else 0.0
    return bits


@pytest.mark.parametrize(("family", "grade"), [("uv_glow", 1), ("label", 2), ("hem_thread", 0)])
def test_bits_of_a_making_clue(family: str, grade: int, shipped: dict) -> None:  # type: ignore[type-arg]
    name = ("fine", "better", "everyday")[grade]
    assert shipped[family, name]["bits"] == pytest.approx(
        plain_bits(load_priors(), family, grade), abs=1e-10
    )


def test_bits_of_a_style_clue_are_those_of_the_mixture(shipped: dict) -> None:  # type: ignore[type-arg]
    assert shipped["layout", "better"]["bits"] == pytest.approx(
        plain_bits(load_priors(), "layout", 1), abs=1e-10
    )


def changed(tmp_path: Path, family: str, late: bool, worth: float) -> Priors:
    """A family of two values that stands still, or changes over in 1960."""
    values = load_priors().vocabulary.values[family]
    (tmp_path / "shares").mkdir()
    with (tmp_path / "shares" / f"{family}.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out)
        writer.writerow(["year", "grade", *values, "basis", "source", "note"])
        for year in (1880, 1959, 1960, 2026):
            share = 100 if late and year >= 1960 else 0 if late else 50
            rest = [0] * (len(values) - 2)
            writer.writerow([year, "any", share, 100 - share, *rest, "memory", "", "invented"])
    text = (shipped_folder() / "families.csv").read_text(encoding="utf-8").splitlines()
    lines = []
    for line in text:
        cells = line.split(",")
        if cells[0] == family:
            cells[11] = str(worth)
        lines.append(",".join(cells))
    (tmp_path / "families.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    slips = (shipped_folder() / "slips.csv").read_text(encoding="utf-8")
    start = slips.index(f"{family},")
    (tmp_path / "slips.csv").write_text(
        slips[:start] + f"{family},0.01,memory,,invented\n" + slips[slips.index("\n", start) + 1 :],
        encoding="utf-8",
    )
    return load_priors(tmp_path)


def of(priors: Priors, family: str) -> dict[str, float]:
    table = clue_information(priors, as_of=AS_OF, draws=100)
    return table[(table.family == family) & (table.grade == "all")].to_dict("records")[0]  # type: ignore[no-any-return]


def test_what_never_moves_says_nothing(tmp_path: Path) -> None:
    found = of(changed(tmp_path, "layout", late=False, worth=40), "layout")
    assert found["bits"] == pytest.approx(0, abs=1e-9)
    assert found["reaches_zero"]


def test_what_changes_over_says_whether_it_was_before(tmp_path: Path) -> None:
    """The bits of a sure change at 1960 are the entropy of "made before 1960"."""
    priors = changed(tmp_path, "label_make", late=True, worth=1000)
    found = of(priors, "label_make")
    before = date_scarf(Scarf(), priors=priors, as_of=AS_OF).between(1880, 1959)
    entropy = -before * math.log2(before) - (1 - before) * math.log2(1 - before)
    assert found["bits"] == pytest.approx(
        entropy, abs=5e-3
    )  # slip and the floor of a share of zero
    assert not found["reaches_zero"]


def test_fewer_records_leave_more_open(tmp_path: Path) -> None:
    wide = []
    for worth in (4, 400):
        folder = tmp_path / str(worth)
        folder.mkdir()
        text = (shipped_folder() / "families.csv").read_text(encoding="utf-8")
        (folder / "families.csv").write_text(
            text.replace(
                "motif,shares,style,,motif,,,,,,,40,", f"motif,shares,style,,motif,,,,,,,{worth},"
            ),
            encoding="utf-8",
        )
        found = of(load_priors(folder), "motif")
        wide.append(found["upper"] - found["lower"])
    assert wide[0] > 3 * wide[1]


def test_an_unknown_channel_is_named() -> None:
    with pytest.raises(WordError, match="thirft"):
        clue_information(channel="thirft")
