"""The likelihood of learning: log P(clues | known years), its gradient, its information, and what is written.

References: the plain implementation of the model (`tests.reference`), the engine that dates, on tables
changed by the same deviations, and differences.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from scarfdate import Priors, Scarf, simulate
from scarfdate.answer.frame import Columns
from scarfdate.conventions import CHANNEL, FIRST_YEAR, Array
from scarfdate.errors import RangeError, TableError
from scarfdate.learning import information
from scarfdate.learning.deviations import CENTRE, LAG, SHARES, SLIP, SPREAD, TIER, Deviations
from scarfdate.learning.learn import learn
from scarfdate.learning.likelihood import Likelihood
from scarfdate.learning.patterns import patterns_of
from scarfdate.learning.write import learned_files
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior
from scarfdate.tables.knots import log_interpolate
from scarfdate.tables.priors import folder_files, priors_of_files
from tests.benchmarks.recovery import moved_shares_table
from tests.random_scarves import random_clues, row_of
from tests.reference import Reference

pytestmark = [pytest.mark.learning, pytest.mark.slow]

AS_OF = 1985
CLOSE = 1e-9

# a record of each kind: clues, first and last year in which it can have been made
KINDS: dict[str, tuple[dict[str, Any], int, int]] = {
    "a word": ({"fibre": "silk"}, 1952, 1952),
    "words": ({"fibre": "rayon", "hem": "machine-rolled", "weave": "crepe"}, 1930, 1949),
    "words noted by a method": ({"fibre": "silk", "hem_thread": "cotton", "methods": {"fibre": "burn"}}, 1930, 1934),
    "weights": ({"fibre": {"silk": 0.7, "polyester": 0.3}, "motif": {"dots": 0.5, "abstract": 0.5}}, 1950, 1959),
    "a parent word": ({"motif": "floral"}, 1940, 1941),
    "a measure beside its word": ({"hem": "machine-stitched", "stitches_per_inch": 12.0}, 1955, 1960),
    "a measure alone": ({"stitches_per_inch": 22.0, "fibre": "silk"}, 1955, 1955),
    "sides": ({"width_cm": 90.0, "height_cm": 86.0, "momme": 12.0}, 1960, 1969),
    "sides and a form": ({"width_cm": 140.0, "height_cm": 30.0, "form": "oblong"}, 1970, 1970),
    "market clues": ({"origin": "japan", "label": "intact", "fibre": "silk"}, 1948, 1975),
    "a label's text": ({"label": "intact", "label_text": "RN 60000\nALL SILK", "fibre": "silk"}, 1970, 1979),
    "a label's text and its origin": ({"label_text": "100% POLYESTER\nMADE IN ITALY", "motif": "paisley"}, 1965, 1985),
    "dated things": ({"printed_year": 1953, "depicted_year": 1937, "depicted_announced": True}, 1950, 1960),
    "style": ({"motif": "psychedelic", "palette": "acid-neon", "layout": "all-over"}, 1964, 1972),
    "style of long ago": ({"motif": "geometric", "palette": "earth", "fibre": "polyester"}, 1985, 1985),
    "nothing seen": ({}, 1950, 1959),
    "the first year and before": ({"fibre": "silk", "hem": "hand-rolled"}, 1700, 1880),
    "any year": ({"fibre": "silk", "motif": "dots", "label": "none-seen"}, 1, 1985),
}  # fmt: skip
SMALL = ("fibre", "hem", "label", "motif", "palette", "form")


@dataclass(frozen=True)
class Records:
    clues: pd.DataFrame
    known_from: NDArray[np.int64]
    known_to: NDArray[np.int64]

    def take(self, places: Sequence[int]) -> Records:
        at = np.asarray(places, dtype=np.intp)
        clues = self.clues.iloc[at].reset_index(drop=True)
        return Records(clues, self.known_from[at], self.known_to[at])


def of_rows(rows: Sequence[dict[str, Any]], first: Sequence[int], last: Sequence[int]) -> Records:
    frame = pd.DataFrame([row_of(row) for row in rows], dtype=object)
    return Records(frame.where(frame.notna(), None), np.array(first), np.array(last))


def kinds(priors: Priors) -> tuple[list[dict[str, Any]], Records]:
    """The records above, one of a maker, and some drawn at random."""
    maker = next(w for of in priors.makers.windows.values() for w in of)
    rng = np.random.default_rng(11)
    rows, first, last = map(list, zip(*KINDS.values(), strict=True))
    rows += [{"maker": maker.maker, "signature": "medium", "fibre": "silk"}]
    rows += [random_clues(priors, rng, AS_OF) for _ in range(8)]
    begin = rng.integers(FIRST_YEAR, AS_OF + 1, 9)
    first += begin.tolist()
    last += np.minimum(begin + rng.integers(0, 20, 9), AS_OF).tolist()
    return rows, of_rows(rows, first, last)


def simulated(
    n: int, seed: int, families: Sequence[str] = (), width: int = 1, priors: Priors | None = None
) -> Records:
    """Pieces from the shipped tables with years known to ``width`` years; ``families``: their columns alone."""
    made = simulate(priors, n, np.random.default_rng(seed), as_of=AS_OF)
    year = made.truth_frame()["year"].to_numpy()
    first = np.maximum(year - seed % width, FIRST_YEAR)
    frame = made.frame()[list(families)] if families else made.frame()
    return Records(
        frame.astype(object).where(frame.notna(), None),
        first,
        np.minimum(first + width - 1, AS_OF),
    )


def likelihood_of(
    priors: Priors,
    records: Records,
    channel: str = CHANNEL,
    *,
    tiers: bool = True,
    as_of: int = AS_OF,
) -> Likelihood:
    model = compiled(priors, channel, as_of)
    return Likelihood(model, patterns_of(model, records), tiers=tiers)


def each_of(likelihood: Likelihood, theta: Array | None = None) -> Array:
    """Log likelihood of every record."""
    likelihood.value(np.zeros(likelihood.deviations.size) if theta is None else theta)
    return likelihood.log_likelihood[likelihood.patterns.pattern_of]


def somewhere(layout: Deviations, seed: int, far: float = 0.7) -> Array:
    """Deviations as their prior has them, of a size of ``far``."""
    rng = np.random.default_rng(seed)
    return layout.unwhitened(
        rng.standard_normal(layout.size), np.full(len(layout.scales), np.log(far))
    )


def moved(priors: Priors, layout: Deviations, theta: Array, channel: str = CHANNEL) -> Priors:
    """Tables changed in memory by deviations, at the knots of both."""
    shares, measured, slips = dict(priors.shares), dict(priors.measured), dict(priors.slips)
    century, knots = priors.century, layout.knots.astype(float)
    names = century.channel(channel)
    parts, years = layout.named(theta), FIRST_YEAR + np.arange(len(layout.basis), dtype=float)
    for part, by in zip(layout.parts, layout.split(theta), strict=True):
        name = part.family
        if part.kind == SHARES:
            shares[name] = moved_shares_table(
                shares[name], years, layout.log_share_shift(name, parts)
            )
        elif part.kind == CENTRE:
            series = {}
            for key, (own, numbers) in measured[name].series.items():
                at = np.union1d(own, knots)
                both = log_interpolate(own, numbers, at).T
                factor = np.exp(np.interp(at, knots, by[0]))
                series[key] = (at, both * np.stack([factor, np.ones_like(factor)], axis=1))
            measured[name] = replace(measured[name], series=MappingProxyType(series))
        elif part.kind == SPREAD:
            series = {  # a spread is a factor: its logarithm is the standard deviation
                key: (own, np.stack([numbers[:, 0], numbers[:, 1] ** np.exp(by[0, 0])], axis=1))
                for key, (own, numbers) in measured[name].series.items()
            }
            measured[name] = replace(measured[name], series=MappingProxyType(series))
        elif part.kind == SLIP:
            odds = slips[name] / (1 - slips[name]) * np.exp(by[0, 0])
            slips[name] = odds / (1 + odds)
        elif part.kind == TIER:
            table, key = (
                (century.grades, names.grades)
                if name == "grade"
                else (century.markets, names.markets)
            )
            own, values = table.series[key]
            series = {**table.series, key: (own, values * np.exp(by[:, 0]))}
            table = replace(table, series=MappingProxyType(series))
            century = replace(century, **{f"{name}s": table})
    return replace(
        priors, shares=MappingProxyType(shares), measured=MappingProxyType(measured),
        slips=MappingProxyType(slips), century=century, _compiled={},
    )  # fmt: skip


def lifted(priors: Priors) -> Priors:
    """Tables in which nothing is impossible: at the least share tables are cut off, deviations are not."""
    shares = {}
    for name, table in priors.shares.items():
        series = {
            key: (knots, np.maximum(own / own.sum(axis=1, keepdims=True), 0.01))
            for key, (knots, own) in table.series.items()
        }
        shares[name] = replace(table, series=MappingProxyType(series), first={})
    return replace(priors, shares=MappingProxyType(shares), limits=(), _compiled={})


def by_engine(
    priors: Priors, records: Records, channel: str = CHANNEL, as_of: int = AS_OF
) -> tuple[Array, Array, Array]:
    """log P(clues | known years) of every record, P(year | clues), P(year), by the engine that dates."""
    model = compiled(priors, channel, as_of)
    block = Columns(model, records.clues).block(0, len(records.clues))
    assert not block.errors
    found = posterior(model, model.apart(block.codes))  # as learning counts what a label says
    years = model.years
    within = (years >= np.minimum(np.maximum(records.known_from, FIRST_YEAR), as_of)[:, None]) & (
        years <= np.maximum(records.known_to, FIRST_YEAR)[:, None]
    )
    log = found.log_evidence + np.log((found.year * within).sum(axis=1))
    return log - np.log(within @ model.year_prior), found.year, model.year_prior


# ------------------------------------------------------------------------- the log likelihood


class WordByWord(Reference):
    """The reference, with what one label says as clues of their own: so learning counts them."""

    def read_off_the_label(self, scarf: Scarf) -> list[str]:
        return []


def as_values(priors: Priors, row: Mapping[str, Any]) -> dict[str, Any]:
    """A narrower word as the value that it is of: its own years are no part of what is learned."""
    known, found, methods = priors.vocabulary, dict(row), dict(row.get("methods", {}))
    for name, cell in row.items():
        own = {word: known.parents[name][word][0] for word in known.narrower.get(name, ())}
        words = {cell: 1.0} if isinstance(cell, str) else cell
        if not isinstance(words, dict) or not own.keys() & words.keys():
            continue
        weights: Counter[str] = Counter()
        for word, weight in words.items():
            weights[own.get(word, word)] += weight
        found[name] = dict(weights)
        if "label" in getattr(priors.confusion.get(name), "matrices", {}):
            methods.setdefault(name, "label")  # a narrower word was read
    if methods:
        found["methods"] = methods
    return found


@pytest.mark.parametrize("channel", [CHANNEL, "museum"])
def test_with_no_deviation_it_is_that_of_the_plain_reference(priors: Priors, channel: str) -> None:
    """log P(clues and year in interval) - log P(interval), by loops over years, grades and markets."""
    rows, records = kinds(priors)
    reference = WordByWord(priors, channel, AS_OF)
    likelihood = likelihood_of(priors, records, channel)
    found = each_of(likelihood)
    prior = np.array(reference.p_year)
    for place, row in enumerate(rows):
        answer = reference.date(Scarf(priors=priors, **as_values(priors, row)))
        first = max(int(records.known_from[place]), FIRST_YEAR) - FIRST_YEAR
        here = slice(first, int(records.known_to[place]) - FIRST_YEAR + 1)
        expected = answer.log_evidence + np.log(answer.year[here].sum() / prior[here].sum())
        assert found[place] == pytest.approx(expected, abs=CLOSE), row
    assert likelihood.value(np.zeros(likelihood.deviations.size)) == pytest.approx(
        found.sum(), abs=CLOSE
    )


def test_with_deviations_it_is_that_of_the_engine_on_tables_moved_alike(priors: Priors) -> None:
    """Shares, centres, spreads, slips, grades and markets moved; tables without impossible values.

    The text of a label is left out: it holds the fibre noted beside it against its own words, with the
    slip of the shipped tables, and is no part of what is learned.
    """
    tables = lifted(priors)
    rows, records = kinds(priors)
    plain = [place for place, row in enumerate(rows) if "label_text" not in row]
    records = of_rows(
        [as_values(priors, rows[place]) for place in plain],
        records.known_from[plain],
        records.known_to[plain],
    )
    likelihood = likelihood_of(tables, records)
    assert {part.kind for part in likelihood.deviations.parts} == {
        SHARES,
        LAG,
        CENTRE,
        SPREAD,
        SLIP,
        TIER,
    }
    before = each_of(likelihood)
    for seed in range(3):
        theta = somewhere(likelihood.deviations, seed)
        found = each_of(likelihood, theta)
        expected, _, _ = by_engine(moved(tables, likelihood.deviations, theta), records)
        np.testing.assert_allclose(found, expected, atol=CLOSE, rtol=0)
        assert np.abs(found - before).max() > 0.1


@pytest.mark.quick
def test_its_years_are_those_of_the_engine(priors: Priors) -> None:
    """Over the known years, P(state | record) summed to years is P(year | clues) within the interval."""
    tables = lifted(priors)
    records = simulated(12, 4, ("fibre", "hem", "motif", "palette", "origin"), width=40)
    likelihood = likelihood_of(tables, records)
    theta = somewhere(likelihood.deviations, 9)
    likelihood.value(theta)
    _, year, _ = by_engine(moved(tables, likelihood.deviations, theta), records)
    found = np.zeros((len(likelihood.patterns), len(likelihood.model.years)))
    np.add.at(found, (likelihood.pattern, likelihood.year), likelihood.responsibility)
    found = found[likelihood.patterns.pattern_of]
    years = likelihood.model.years
    within = (years >= records.known_from[:, None]) & (years <= records.known_to[:, None])
    expected = year * within / (year * within).sum(axis=1, keepdims=True)
    np.testing.assert_allclose(found, expected, atol=CLOSE)


def test_what_tables_hold_as_impossible_does_not_move(priors: Priors) -> None:
    """No entry of a share of nothing at a knot; elsewhere tables are cut off at the least share only."""
    records = simulated(40, 5)
    likelihood = likelihood_of(priors, records)
    layout = likelihood.deviations
    part = next(p for p in layout.parts if (p.kind, p.family) == (SHARES, "fibre"))
    moving = layout.split(np.ones(layout.size))[layout.parts.index(part)]
    nylon = priors.shares["fibre"].values.index("nylon")
    assert moving[nylon, layout.knots <= 1920].sum() == 0
    assert moving[nylon, layout.knots == 1960] == 1
    theta = somewhere(layout, 1)
    found, expected = (
        each_of(likelihood, theta),
        by_engine(moved(priors, layout, theta), records)[0],
    )
    np.testing.assert_allclose(found, expected, atol=2e-3)


def test_repeated_records_are_patterns_with_counts(priors: Priors) -> None:
    records = simulated(30, 6, width=4)
    times = np.random.default_rng(2).permutation(np.repeat(np.arange(30), np.arange(30) % 4))
    once, many = likelihood_of(priors, records), likelihood_of(priors, records.take(times))
    assert len(many.patterns) <= 30 < len(times) == int(many.patterns.count.sum())
    assert (many.deviations.size, many.columns) == (once.deviations.size, once.columns)
    theta = somewhere(once.deviations, 3)
    assert many.value(theta) == pytest.approx(each_of(once, theta)[times].sum(), abs=CLOSE)
    value, slope = many.value_and_gradient(theta)
    by_one = sum(gradient_of(once, theta, place) * (times == place).sum() for place in range(30))
    np.testing.assert_allclose(slope, by_one, atol=1e-9)
    assert value == pytest.approx(many.value(theta))
    counts = np.zeros(len(once.patterns))
    np.add.at(counts, once.patterns.pattern_of[times], 1.0)
    by_count = Likelihood(once.model, once.patterns.only(counts))
    assert by_count.value(theta) == pytest.approx(value, abs=CLOSE)


def gradient_of(likelihood: Likelihood, theta: Array, place: int) -> Array:
    """The gradient of one record."""
    count = np.zeros(len(likelihood.patterns))
    count[likelihood.patterns.pattern_of[place]] = 1.0
    return Likelihood(likelihood.model, likelihood.patterns.only(count)).value_and_gradient(theta)[
        1
    ]


def test_order_and_what_was_not_looked_at_change_nothing(priors: Priors) -> None:
    records = simulated(40, 7, ("fibre", "hem", "motif", "momme"), width=3)
    likelihood = likelihood_of(priors, records)
    theta = somewhere(likelihood.deviations, 4)
    value, slope = likelihood.value_and_gradient(theta)
    order = np.random.default_rng(5).permutation(40)
    other = likelihood_of(priors, records.take(order))
    np.testing.assert_allclose(each_of(other, theta), each_of(likelihood, theta)[order], atol=1e-12)
    assert other.value_and_gradient(theta)[0] == pytest.approx(value, abs=1e-10)
    np.testing.assert_allclose(other.value_and_gradient(theta)[1], slope, atol=1e-10)
    blanks = records.clues.assign(weave=None, origin=None, label_text="", width_cm=np.nan)
    same = likelihood_of(priors, replace(records, clues=blanks))
    assert same.deviations.size == likelihood.deviations.size
    assert same.value(theta) == pytest.approx(value, abs=1e-10)
    bare = of_rows([{}, {"fibre": "silk"}], [1950, 1950], [1950, 1950])
    assert each_of(likelihood_of(priors, bare))[0] == pytest.approx(0, abs=1e-12)


@dataclass(frozen=True)
class Told(Records):
    known_by: tuple[str, ...] = ()


def test_years_that_may_be_another_pieces(priors: Priors) -> None:
    """(1 - w) P(clues | interval) + w P(clues | all years), w by how the years are known; and its slope."""
    rows: list[dict[str, Any]] = [
        {"fibre": "polyester", "hem": "overlocked", "motif": "dots"},
        {"fibre": "silk", "label": "intact", "form": "square"},
        {"fibre": "silk", "print_technique": "digital"},
    ]
    plain = of_rows(rows, [1930, 1950, 1935], [1930, 1969, 1935])
    every = of_rows(rows, [1, 1, 1], [AS_OF] * 3)
    inside, anywhere = (np.exp(each_of(likelihood_of(priors, one))) for one in (plain, every))
    ways = ("family-history", "documented", "museum-record")
    told = Told(plain.clues, plain.known_from, plain.known_to, ways)
    mixed = likelihood_of(priors, told)
    wrong = np.array([priors.known_by[way].wrong for way in ways])
    assert wrong[0] > wrong[2] > wrong[1] == 0
    expected = np.log((1 - wrong) * inside + wrong * anywhere)
    np.testing.assert_allclose(each_of(mixed), expected, atol=1e-9)
    theta = somewhere(mixed.deviations, 6)
    value, slope = mixed.value_and_gradient(theta)
    step = 1e-5 * np.random.default_rng(8).standard_normal(len(theta))
    ahead, behind = mixed.value(theta + step), mixed.value(theta - step)
    assert (ahead - behind) / 2 == pytest.approx(slope @ step, rel=1e-4)
    assert np.isfinite(value)


@pytest.mark.quick
def test_records_that_cannot_be_read_are_named(priors: Priors) -> None:
    model = compiled(priors, CHANNEL, AS_OF)
    wrong = of_rows([{"fibre": "silk"}, {"fibre": "granite"}], [1950, 1950], [1950, 1950])
    with pytest.raises(TableError, match=r"record 2: .*granite"):
        patterns_of(model, wrong)
    with pytest.raises(RangeError, match="none to learn from"):
        patterns_of(model, simulated(1, 1).take([]))
    turned = of_rows([{"fibre": "silk"}], [1960], [1950])
    with pytest.raises(RangeError, match="record 1: its last year lies before its first"):
        patterns_of(model, turned)


# --------------------------------------------------------------------- its slope and its bend


@pytest.mark.parametrize("seed", [0, 1])
def test_the_gradient_is_the_limit_of_differences(priors: Priors, seed: int) -> None:
    """Differences of the fourth order in random directions and entry by entry: off by some 1e-8."""
    records = simulated(25, 8 + seed, width=1 + 5 * seed)
    likelihood = likelihood_of(priors, records)
    layout = likelihood.deviations
    theta = somewhere(layout, seed)
    _, slope = likelihood.value_and_gradient(theta)
    rng = np.random.default_rng(seed)

    def difference(way: Array) -> float:
        step = 1e-4
        near, far = (
            likelihood.value(theta + by * way) - likelihood.value(theta - by * way)
            for by in (step, 2 * step)
        )
        return (8 * near - far) / (12 * step)

    for _ in range(5):
        way = rng.standard_normal(layout.size)
        way /= np.linalg.norm(way)
        assert slope @ way == pytest.approx(difference(way), abs=1e-6)
    # every part: its steepest entry, and another one
    tried = 0
    for part, start, places in zip(layout.parts, layout.starts, layout.free, strict=True):
        own = slope[start : start + len(places)]
        if not len(own):
            continue
        for place in {int(np.abs(own).argmax()), int(rng.integers(len(own)))}:
            way = np.zeros(layout.size)
            way[start + place] = 1.0
            assert own[place] == pytest.approx(difference(way), abs=1e-6), part.family
            tried += 1
    assert tried > 30


@pytest.mark.parametrize("width", [1, 12])
def test_curvature_is_that_of_the_gradient(
    priors: Priors, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Differences of the gradient. With every hidden state kept it is exact (1e-5: what differences lose).

    States less likely than a thousandth of their record are left out otherwise; each can lack no more
    than its chance times a squared score, at most 2, along any entry.
    """
    records = simulated(12, 21, SMALL, width=width)
    likelihood = likelihood_of(priors, records)
    layout = likelihood.deviations
    theta = somewhere(layout, 2, 0.4)
    whole = information.observed_information(likelihood, theta)
    monkeypatch.setattr(information, "_RARE", 0.0)
    exact = information.observed_information(likelihood, theta)
    np.testing.assert_allclose(exact, exact.T, atol=1e-9)
    rng = np.random.default_rng(0)
    step = 1e-4
    for _ in range(12):
        way = rng.standard_normal(layout.size) * (rng.random(layout.size) < 0.3)
        way /= np.linalg.norm(way)
        ahead = likelihood.value_and_gradient(theta + step * way)[1]
        behind = likelihood.value_and_gradient(theta - step * way)[1]
        np.testing.assert_allclose(exact @ way, (behind - ahead) / (2 * step), atol=1e-5)
    likelihood.value(theta)
    rare = likelihood.responsibility[likelihood.responsibility <= 1e-3].sum()
    print(f"left out {rare:.2g} of a record, off by at most {np.abs(whole - exact).max():.2g}")
    assert np.abs(whole - exact).max() <= 2 * rare + 1e-9
    assert np.abs(exact).max() > 0.3


# ---------------------------------------------------------------------------- what is written


def test_written_tables_are_as_likely_as_the_likelihood_says(priors: Priors) -> None:
    """One draw, written with seven digits and read again: the records are as likely, to 1e-4 in all.

    What is impossible is written as none, which is read as the least share: that costs the rest.
    """
    records = simulated(60, 14)
    likelihood = likelihood_of(priors, records)
    theta = somewhere(likelihood.deviations, 6)
    files = folder_files(priors)
    made = learned_files(
        likelihood.model, files, likelihood.deviations, theta[None], "a test", True
    )
    assert {"shares/fibre.csv", "measured/momme.csv", "slips.csv", "grades.csv"} <= set(made)
    written = priors_of_files({**files, **made}, "written")
    again = likelihood_of(written, records)
    found, expected = each_of(again), each_of(likelihood, theta)
    print(f"off by at most {np.abs(found - expected).max():.2g}")
    np.testing.assert_allclose(found, expected, atol=1e-4)
    assert np.abs(expected - each_of(likelihood)).max() > 0.3
    # without leave to learn which grades and markets turn up, they stay
    held = learned_files(
        likelihood.model, files, likelihood.deviations, theta[None], "a test", False
    )
    assert set(made) - set(held) == {"grades.csv", "markets.csv", "channels.csv"}


@pytest.mark.parametrize("route", ["counts", "em"])
def test_tables_by_counts_are_as_likely_as_the_likelihood_says(priors: Priors, route: str) -> None:
    """Seven digits, but for pieces of the few years between a knot at which a value is impossible and the
    first one at which it can be moved: counts move it far, and it is written as none near the former."""
    records = simulated(80, 15)
    learned = learn(records, route=route, as_of=AS_OF)  # type: ignore[arg-type]
    likelihood = likelihood_of(priors, records)
    theta = learned.draws[0]
    expected = each_of(likelihood, theta)
    found = each_of(likelihood_of(learned.priors, records))
    np.testing.assert_allclose(found, expected, atol=5e-3)
    assert np.quantile(np.abs(found - expected), 0.8) < 2e-5
    assert expected.sum() > each_of(likelihood).sum() + 1
