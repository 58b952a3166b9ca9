"""Bits that a clue carries about the decade, against sums written out by hand.

Mutual information is that of Shannon (1948); the reference below is the plain double sum.
"""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

from scarfdate import Scarf, WordError, date_scarf, load_priors
from scarfdate.building import information
from scarfdate.building.information import clue_information
from scarfdate.clues.shares import SharesClue
from scarfdate.errors import RangeError
from scarfdate.model.model import Model, compiled
from scarfdate.tables.priors import Priors, shipped_folder

pytestmark = pytest.mark.slow

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
        slips[:start]
        + f"{family},0.01,0,,memory,,invented\n"
        + slips[slips.index("\n", start) + 1 :],
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


@pytest.mark.quick
def test_an_unknown_channel_is_named() -> None:
    with pytest.raises(WordError, match="thirft"):
        clue_information(channel="thirft")


def test_bits_of_a_measured_clue_given_its_parent(shipped: dict) -> None:  # type: ignore[type-arg]
    """The sum over forms, decades and cells, with the density that dating itself uses."""
    model = compiled(load_priors(), "thrift", AS_OF)
    clue = model.clues[model.column["form"]]
    assert isinstance(clue, SharesClue)
    measure = next(m for m in clue.measures if m.family.name == "slenderness")
    cells = range(measure.cell(measure.family.high) + 1)
    grade, bits, mass = 2, 0.0, 0.0
    decade = (model.years - 1880) // 10
    density = np.stack([measure.density(cell)[:, grade] for cell in cells])  # (cells, forms, years)
    density[0] /= 2  # a ratio is never below one: the first cell is half a cell
    density /= density.sum(axis=0)
    for v in range(len(clue.values)):
        state = model.prior[grade] * clue.shares[v, 0, grade]
        joint = np.array(
            [[(row[v] * state)[decade == d].sum() for d in range(15)] for row in density]
        )
        whole = joint.sum()
        mass += whole
        for x, d in np.argwhere(joint > 0):
            alone = joint[x].sum() * joint[:, d].sum() / whole
            bits += joint[x, d] * math.log2(joint[x, d] / alone)
    assert shipped["slenderness", "everyday"]["bits"] == pytest.approx(bits / mass, abs=1e-10)


def test_one_row_a_family_and_grade_on_a_scale_that_makes_sense(shipped: dict) -> None:  # type: ignore[type-arg]
    priors = load_priors()
    told = [f.name for f in priors.families.values() if f.kind in ("shares", "measured")]
    assert list(shipped) == [
        (name, grade) for name in told for grade in ("fine", "better", "everyday", "all")
    ]
    decades = compiled(priors, "thrift", AS_OF).year_prior
    starts = np.arange(1880, AS_OF + 1) // 10
    chances = np.array([decades[starts == start].sum() for start in np.unique(starts)])
    entropy = -float((chances * np.log2(chances)).sum())
    for (name, grade), row in shipped.items():
        assert 0 <= row["lower"] <= row["bits"] <= row["upper"], (name, grade)
        if grade == "all":
            assert row["upper"] < entropy, name
        chance = row["bits"] - row["beyond_chance"]
        assert chance > 0, (name, grade)
        assert row["reaches_zero"] == (row["lower"] <= chance)
        assert row["worth"] == priors.families[name].worth


def test_the_same_call_gives_the_same_frame() -> None:
    first, second = (clue_information(as_of=AS_OF, draws=20) for _ in range(2))
    assert first.equals(second)
    other = clue_information(as_of=AS_OF, draws=20, rng=np.random.default_rng(3))
    assert first["bits"].equals(other["bits"])
    assert not first["upper"].equals(other["upper"])


@pytest.mark.quick
@pytest.mark.parametrize("draws", [0, 19, 2.5, True, "many", 10**9])
def test_a_number_of_draws_that_cannot_be_is_refused(draws: object) -> None:
    with pytest.raises(RangeError, match="draws: a whole number from 20"):
        clue_information(draws=draws)  # type: ignore[arg-type]


def test_drawn_tables_of_endless_worth_are_the_table(rng: np.random.Generator) -> None:
    """Another route to the bits: rows drawn, interpolated by matrix, in single precision."""
    priors = load_priors()
    sure = {name: replace(family, worth=1e7) for name, family in priors.families.items()}
    model = Model(replace(priors, families=MappingProxyType(sure), _compiled={}), "thrift", AS_OF)
    for name, carried in information._families(model):
        # measured tables are drawn in blocks of five years, which tells a little more
        off = 0.006 if priors.families[name].kind == "measured" else 2e-3
        assert carried.drawn(rng, 2).mean(axis=1) == pytest.approx(carried.bits(), abs=off), name


@pytest.mark.statistical
@pytest.mark.parametrize("family", ["signature", "uv_glow", "palette"])
def test_intervals_hold_over_tables_that_were_drawn(family: str, rng: np.random.Generator) -> None:
    """Tables drawn about a known one: the interval, less chance, covers its bits about 8 times in 10.

    About one and the same row for all years it reaches zero at least 9 times in 10.
    """
    priors, times = load_priors(), 40
    table, worth = priors.shares[family], priors.families[family].worth
    truth = _carried(priors, family).bits()[-1]
    average = np.concatenate([shares for _, shares in table.series.values()]).mean(axis=0)
    covered = reached = 0
    for _ in range(times):
        for still in (False, True):
            series = {}
            for key, (knots, shares) in table.series.items():
                about = np.repeat(average[None], len(knots), axis=0) if still else shares
                counts = worth * about / about.sum(axis=1, keepdims=True)
                drawn = [rng.dirichlet(np.maximum(row, 1e-9)) for row in counts]
                series[key] = (knots, np.array(drawn))
            own = replace(table, series=MappingProxyType(series))
            shares_of = MappingProxyType({**priors.shares, family: own})
            carried = _carried(replace(priors, shares=shares_of, _compiled={}), family)
            tables = carried.drawn(rng, 100)[-1]
            chance = carried.still(rng, range(3), 40).mean()
            ends = np.quantile(tables, [0.1, 0.9]) - tables.mean() + carried.bits()[-1] - chance
            if still:
                reached += bool(ends[0] <= 0)
            else:
                covered += bool(ends[0] <= truth <= ends[1])
    # two standard errors of 40 trials below 8 and 9 in 10
    assert covered >= 0.67 * times
    assert reached >= 0.80 * times


def _carried(priors: Priors, family: str) -> information.Shares | information.Measured:
    return dict(information._families(Model(priors, "thrift", AS_OF)))[family]
