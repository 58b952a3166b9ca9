"""Clue tables from records: what is known of them by arithmetic, and by simulation with a known truth."""

from __future__ import annotations

import math
import time
import tracemalloc

import numpy as np
import pytest

from scarfdate.building import clue_tables
from scarfdate.building.clue_tables import (
    FamilyLikelihood,
    RecordLikelihoods,
    Smoothing,
    chosen_smoothing,
    fit,
    log_likelihood,
)
from scarfdate.conventions import Array

YEARS = 80
SMOOTHING = Smoothing(bandwidth=5.0, pull=3.0)


def dates(year: np.ndarray, wide: np.ndarray, years: int = YEARS) -> Array:
    """P(date as stated | year), (n, years): spans of ``wide`` years, as a museum names decades."""
    first = year // wide * wide
    at = np.arange(years)
    return ((at >= first[:, None]) & (at < (first + wide)[:, None])).astype(float)


def drawn(shares: Array, year: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A value for each record of a year, from shares (values, years)."""
    return (rng.random(len(year)) > shares.cumsum(axis=0)[:, year]).sum(axis=0)


def stated(fits: Array, which: Array, *measured: Array | float) -> FamilyLikelihood:
    """One family: fits, row numbers and, for a measured one, logs, slip and width."""
    names = ("log", "slip", "width")[: len(measured)]
    return FamilyLikelihood(
        fits=fits, which=which, least=0.01, **dict(zip(names, measured, strict=True))
    )  # type: ignore[arg-type]


def likelihoods(
    dated: Array, weight: Array, families: dict[str, FamilyLikelihood]
) -> RecordLikelihoods:
    return RecordLikelihoods(dated=dated, weight=weight, families=families)


def two_families(n: int, years: int, rng: np.random.Generator) -> tuple[RecordLikelihoods, Array]:
    """Anything a record can say: words, parent words, nothing, with and without a measurement."""
    words = np.array([[1, 0, 0], [0, 1, 0], [1, 1, 0], [0.2, 0.1, 0.9], [1, 1, 1]], dtype=float)
    forms = np.array([[1, 0], [0, 1], [1, 1], [0.6, 0.4], [1, 1]], dtype=float)
    log = np.array([3.1, 4.2, 3.4, np.nan, np.nan])
    noted = likelihoods(
        dates(rng.integers(0, years, n), rng.choice([1, 3, 5], n), years),
        rng.choice([1.0, 0.5, 0.25], n),
        {
            "fibre": stated(words, rng.integers(0, len(words), n)),
            "form": stated(forms, rng.integers(0, len(forms), n), log, 0.04, 2.5),
        },
    )
    density = rng.random(years) + 0.2
    return noted, density / density.sum()


# ------------------------------------------------------------------------------- the reference


def normal(x: float, centre: float, spread: float) -> float:
    off = (x - centre) / spread
    return math.exp(-off * off / 2) / (spread * math.sqrt(2 * math.pi))


def plain(
    noted: RecordLikelihoods, density: Array, smoothing: Smoothing, rounds: int
) -> dict[str, dict]:
    """Rounds of the estimate in loops and dictionaries, from the formulas alone."""
    n, years = noted.dated.shape
    near = {
        (a, b): 0.0
        if (a == 0) != (b == 0)
        else math.exp(-0.5 * ((a - b) / smoothing.bandwidth) ** 2)
        for a in range(years)
        for b in range(years)
    }
    share, size, values = {}, {}, {}
    for family, of in noted.families.items():
        values[family] = range(of.fits.shape[1])
        share[family] = {
            (v, y): 1 / len(values[family]) for v in values[family] for y in range(years)
        }
        if of.log is not None:
            known = [x for x in of.log.tolist() if not math.isnan(x)]
            mean = sum(known) / len(known)
            deviation = math.sqrt(sum((x - mean) ** 2 for x in known) / len(known))
            size[family] = {(v, y): (mean, deviation) for v in values[family] for y in range(years)}
    count, posterior = {}, {}
    for _ in range(rounds):

        def usual(family: str, i: int, v: int, y: int) -> tuple[float, float]:
            """P(measured | value, year), and the part of it that is no slip."""
            of = noted.families[family]
            if of.log is None or math.isnan(of.log[of.which[i]]):
                return 1.0, 0.0
            right = (1 - of.slip) * normal(of.log[of.which[i]], *size[family][v, y])  # noqa: B023
            return right + of.slip / of.width, right

        def fits(family: str, i: int, v: int) -> float:
            of = noted.families[family]
            return float(of.fits[of.which[i], v])

        joint = {
            (family, i, v, y): fits(family, i, v) * share[family][v, y] * usual(family, i, v, y)[0]
            for family in noted.families
            for i in range(n)
            for v in values[family]
            for y in range(years)
        }
        chance = {
            (family, i, y): sum(joint[family, i, v, y] for v in values[family])
            for family in noted.families
            for i in range(n)
            for y in range(years)
        }
        for i in range(n):
            raw = [
                noted.dated[i, y] * density[y] * math.prod(chance[f, i, y] for f in noted.families)
                for y in range(years)
            ]
            for y in range(years):
                posterior[i, y] = raw[y] / sum(raw)
        fresh_share, fresh_size = {}, {}
        for family, of in noted.families.items():

            def load(i: int, v: int, y: int, family: str = family) -> float:
                part = joint[family, i, v, y] / chance[family, i, y]  # noqa: B023
                return noted.weight[i] * posterior[i, y] * part

            says = [i for i in range(n) if len(set(of.fits[of.which[i]].tolist())) > 1]
            count[family] = {
                (v, y): sum(load(i, v, y) for i in says)
                for v in values[family]
                for y in range(years)
            }
            overall = [sum(count[family][v, y] for y in range(years)) + 0.5 for v in values[family]]
            fresh_share[family] = {}
            for y in range(years):
                close = [
                    sum(near[y, z] * count[family][v, z] for z in range(years))
                    for v in values[family]
                ]
                for v in values[family]:
                    drawn_to = smoothing.pull * overall[v] / sum(overall)
                    fresh_share[family][v, y] = (close[v] + drawn_to) / (
                        sum(close) + smoothing.pull
                    )
            if family not in size:
                continue
            moment = {}
            for power in range(3):
                for v in values[family]:
                    for y in range(years):
                        moment[power, v, y] = 0.0
                        for i in range(n):
                            whole, right = usual(family, i, v, y)
                            if right:
                                part = load(i, v, y) * right / whole
                                moment[power, v, y] += part * of.log[of.which[i]] ** power
            every = [
                sum(moment[p, v, y] for v in values[family] for y in range(years)) for p in range(3)
            ]
            fresh_size[family] = {}
            for v in values[family]:
                total = [
                    sum(moment[p, v, y] for y in range(years))
                    + smoothing.pull * every[p] / every[0]
                    for p in range(3)
                ]
                for y in range(years):
                    m0, m1, m2 = (
                        sum(near[y, z] * moment[p, v, z] for z in range(years))
                        + smoothing.pull * total[p] / total[0]
                        for p in range(3)
                    )
                    fresh_size[family][v, y] = (
                        m1 / m0,
                        math.sqrt(max(m2 / m0 - (m1 / m0) ** 2, 1e-4)),
                    )
        share, size = fresh_share, fresh_size
    return {"share": share, "size": size, "count": count, "posterior": posterior}


@pytest.mark.parametrize("rounds", [1, 3])
def test_the_estimate_is_that_of_plain_loops(rng, monkeypatch, rounds):
    noted, density = two_families(25, 12, rng)
    monkeypatch.setattr(clue_tables, "_ROUNDS", rounds)
    monkeypatch.setattr(clue_tables, "_SETTLED", 0.0)
    found = fit(noted, density, SMOOTHING)
    wanted = plain(noted, density, SMOOTHING, rounds)
    for family, shares in found.shares.items():
        for (v, y), share in wanted["share"][family].items():
            assert shares[v, y] == pytest.approx(share, abs=1e-10)
            assert found.counts[family][v, y] == pytest.approx(
                wanted["count"][family][v, y], abs=1e-10
            )
    for (v, y), (centre, spread) in wanted["size"]["form"].items():
        assert found.sizes["form"][0][v, y] == pytest.approx(centre, abs=1e-10)
        assert found.sizes["form"][1][v, y] == pytest.approx(spread, abs=1e-10)
    year = found.year(noted, slice(None))
    for (i, y), chance in wanted["posterior"].items():
        assert year[i, y] == pytest.approx(chance, abs=1e-10)


# ------------------------------------------------------------------------------- arithmetic


def test_years_of_a_record_sum_to_one_and_stay_within_its_date(rng):
    noted, density = two_families(200, 30, rng)
    found = fit(noted, density, SMOOTHING)
    year = found.year(noted, slice(None))
    np.testing.assert_allclose(year.sum(axis=1), 1, atol=1e-12)
    assert (year[noted.dated == 0] == 0).all()
    for family, shares in found.shares.items():
        np.testing.assert_allclose(shares.sum(axis=0), 1, atol=1e-12)
        stated = noted.families[family].stated[noted.families[family].which]
        assert found.counts[family].sum() == pytest.approx(noted.weight[stated].sum())


def same(one: clue_tables.ClueTables, other: clue_tables.ClueTables) -> None:
    for family in one.shares:
        np.testing.assert_allclose(one.shares[family], other.shares[family], atol=1e-11)
        np.testing.assert_allclose(one.counts[family], other.counts[family], atol=1e-9)
    for family, sizes in one.sizes.items():
        for mine, its in zip(sizes, other.sizes[family], strict=True):
            np.testing.assert_allclose(mine, its, atol=1e-9)


def test_the_order_of_the_records_does_not_matter(rng):
    noted, density = two_families(120, 30, rng)
    order = rng.permutation(120)
    turned = noted.some(order)
    one, other = fit(noted, density, SMOOTHING), fit(turned, density, SMOOTHING)
    same(one, other)
    every = slice(None)
    np.testing.assert_allclose(one.year(noted, every)[order], other.year(turned, every), atol=1e-11)


def test_records_alike_are_one_of_their_weight(rng, monkeypatch):
    """300 records of few kinds, merged and in blocks of 7, make the tables that they make one by one."""
    noted, density = two_families(40, 30, rng)
    noted = noted.some(rng.integers(0, 40, 300)).weighted(rng.random(300))
    apart = rng.integers(0, 3, 300)
    merged, first, which = noted.alike(apart)
    assert len(merged.weight) == len(first) <= 120
    assert (apart[first][which] == apart).all()
    assert merged.weight.sum() == pytest.approx(noted.weight.sum())
    whole = fit(noted, density, SMOOTHING)
    monkeypatch.setattr(clue_tables, "_BLOCK", 7)
    same(whole, fit(merged, density, SMOOTHING))
    np.testing.assert_allclose(
        log_likelihood(merged, density, whole)[which],
        log_likelihood(noted, density, whole),
        atol=1e-11,
    )


def test_a_weight_of_two_is_the_record_twice(rng):
    noted, density = two_families(60, 30, rng)
    same(
        fit(noted.weighted(np.where(np.arange(60) < 20, 2.0, 1.0)), density, SMOOTHING),
        fit(noted.some(np.r_[np.arange(60), np.arange(20)]), density, SMOOTHING),
    )


def test_what_is_not_stated_changes_nothing(rng):
    noted, density = two_families(60, 30, rng)
    silent = {f: int(np.flatnonzero(~of.stated).max()) for f, of in noted.families.items()}
    assert math.isnan(noted.families["form"].log[silent["form"]])
    more = likelihoods(
        np.concatenate([noted.dated, dates(rng.integers(0, 30, 500), np.full(500, 5), 30)]),
        np.concatenate([noted.weight, np.ones(500)]),
        {
            f: stated(of.fits, np.r_[of.which, np.full(500, silent[f])], of.log, of.slip, of.width)
            for f, of in noted.families.items()
        },
    )
    before, after = fit(noted, density, SMOOTHING), fit(more, density, SMOOTHING)
    same(before, after)
    np.testing.assert_allclose(log_likelihood(more, density, after)[60:], 0, atol=1e-12)


def test_a_parent_word_is_shared_out_as_its_children_are():
    fits = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0]], dtype=float)
    which = np.repeat([0, 1, 2, 3], [200, 100, 150, 300])
    noted = likelihoods(np.ones((750, 20)), np.ones(750), {"fibre": stated(fits, which)})
    counts = (
        fit(noted, np.full(20, 0.05), Smoothing(bandwidth=12.0, pull=0.01))
        .counts["fibre"]
        .sum(axis=1)
    )
    assert counts[2] == pytest.approx(150)
    assert counts[:2].sum() == pytest.approx(600)
    assert counts[0] / counts[1] == pytest.approx(2, abs=0.05)


# ------------------------------------------------------------------------------- known truth


def rising(years: int = YEARS) -> Array:
    """One value gives way to another over some decades; a third keeps its tenth."""
    late = 1 / (1 + np.exp(-(np.arange(years) - years / 2) / 8))
    return np.array([0.9 * (1 - late), 0.9 * late, np.full(years, 0.1)])


@pytest.mark.statistical
def test_known_shares_are_found_from_dates_that_are_spans():
    """Mean error of a share over the years, 4,000 records of spans up to 20 years: below 0.03."""
    rng = np.random.default_rng(5)
    errors, plainly = [], []
    for _ in range(5):
        year = rng.integers(0, YEARS, 4000)
        noted = likelihoods(
            dates(year, rng.choice([1, 10, 20], 4000, p=[0.3, 0.4, 0.3])),
            np.ones(4000),
            {"print": stated(np.eye(3), drawn(rising(), year, rng))},
        )
        found = fit(noted, np.full(YEARS, 1 / YEARS), SMOOTHING).shares["print"]
        errors.append(np.abs(found - rising()).mean())
        # every record spread evenly over its date, which is what a table by decade does
        spread = noted.dated / noted.dated.sum(axis=1, keepdims=True)
        counted = np.eye(3)[noted.families["print"].which].T @ spread
        plainly.append(np.abs(counted / counted.sum(axis=0) - rising()).mean())
    print(
        f"mean error {np.mean(errors):.4f}, worst run {max(errors):.4f}; evenly spread {np.mean(plainly):.4f}"
    )
    assert max(errors) < 0.03
    assert np.mean(errors) < np.mean(plainly)


@pytest.mark.statistical
def test_sizes_are_found_by_value():
    """Centre within 0.03 and spread within a sixth, with 3 % of the measurements wrong."""
    rng = np.random.default_rng(6)
    n, steps = 3000, 0.03
    year, value = rng.integers(0, YEARS, n), rng.integers(0, 2, n)
    centre, spread = np.array([3.5, 4.5]), np.array([0.25, 0.12])
    log = rng.normal(centre[value], spread[value])
    log = np.where(rng.random(n) < 0.03, rng.uniform(1.6, 6.4, n), log)
    log = np.where(rng.random(n) < 0.2, np.nan, np.rint(log / steps) * steps)
    known = rng.random(n) < 0.7  # the others give their size alone
    noted = likelihoods(
        dates(year, np.full(n, 10)),
        np.ones(n),
        {
            "form": stated(
                np.where(known[:, None], np.eye(2)[value], 1.0), np.arange(n), log, 0.03, 4.8
            )
        },
    )
    found = fit(noted, np.full(YEARS, 1 / YEARS), SMOOTHING)
    mean, deviation, records = found.sizes["form"]
    print(np.abs(mean - centre[:, None]).max(axis=1), (deviation / spread[:, None]).mean(axis=1))
    assert np.abs(mean.mean(axis=1) - centre).max() < 0.03
    assert np.abs(deviation.mean(axis=1) / spread - 1).max() < 1 / 6
    # every sound measurement counts once, whether or not the form was stated
    assert records.sum() == pytest.approx(0.97 * (~np.isnan(log)).sum(), rel=0.02)


@pytest.mark.statistical
def test_held_out_records_choose_a_smoothing_that_suits_them():
    """Shares that never change want a wide kernel; shares that turn in a few years a narrow one."""
    rng = np.random.default_rng(8)
    n = 1200
    year = rng.integers(0, YEARS, n)
    still = np.tile([[0.6], [0.3], [0.1]], YEARS)
    turning = np.where(
        (np.arange(YEARS) // 12) % 2, np.array([[0.9], [0.05], [0.05]]), [[0.05], [0.9], [0.05]]
    )
    started = time.process_time()
    chosen = {}
    for name, truth in (("still", still), ("turning", turning)):
        noted = likelihoods(
            dates(year, np.full(n, 2)),
            np.ones(n),
            {"print": stated(np.eye(3), drawn(truth, year, rng))},
        )
        smoothing, scores = chosen_smoothing(noted, np.full(YEARS, 1 / YEARS), np.arange(n) % 5)
        chosen[name] = smoothing
        assert dict(scores)[smoothing] == max(score for _, score in scores)
        assert len(scores) == len(clue_tables.BANDWIDTHS) * len(clue_tables.PULLS)
    assert chosen["still"] == Smoothing(
        bandwidth=max(clue_tables.BANDWIDTHS), pull=max(clue_tables.PULLS)
    )
    assert chosen["turning"].bandwidth == min(clue_tables.BANDWIDTHS)
    assert time.process_time() - started < 30


# ------------------------------------------------------------------------------- memory


def test_memory_is_not_that_of_all_records_by_all_years(rng, monkeypatch):
    """100,000 records of a hundred years would be 80 MB an array; merged, and one by one in blocks, it is not."""
    n, years = 100_000, 100
    noted, density = two_families(300, years, rng)
    noted = noted.some(rng.integers(0, 300, n))
    monkeypatch.setattr(clue_tables, "_ROUNDS", 2)
    tracemalloc.start()
    merged, _, _ = noted.alike()
    fit(merged, density, SMOOTHING)
    of_merged = tracemalloc.get_traced_memory()[1]
    tracemalloc.reset_peak()
    fit(noted, density, SMOOTHING)
    in_blocks = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(merged.weight) <= 300
    assert of_merged < n * years * 8 / 8
    assert in_blocks < n * years * 8 / 2
