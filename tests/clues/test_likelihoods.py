"""What each clue weighs by itself, against plain loops over the same tables (`tests.reference`).

The likelihood of every year, grade and market; the part of it that is a slip or a misreading; and the part that is
no design printed again.
"""

from __future__ import annotations

import functools
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scarfdate import Priors, Scarf, load_priors
from scarfdate.clues.clue import Asked, Clue, Rows
from scarfdate.clues.label import LabelSeen, usual_years
from scarfdate.clues.lags import lags_of
from scarfdate.clues.measured import Measure
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, MARKETS
from scarfdate.model.model import compiled
from tests.clues.own_tables import add_rows
from tests.reference import Reference
from tests.test_doubts_reference import OnlyAmiss

AS_OF = 1964
LABELS: list[dict[str, Any]] = [
    {"label_text": "100% POLYESTER\nDRY CLEAN ONLY\nMADE IN CHINA\nRN 16000"},
    {"label_text": "ALL SILK\nMADE IN OCCUPIED JAPAN\nNEW YORK 16, N.Y."},
    {"label_text": "60% WOOL 40% NYLON\n[wash 30]\nWPL 09000\nREADY MADE IN GREAT BRITAIN"},
    {"label_text": "ARTIFICIAL SILK\nRN 01000\nMADE IN FRANCE", "fibre": "rayon"},
    {"label_text": "100% SILK", "fibre": "polyester", "methods": {"fibre": "burn"}},
    {"label_text": "100% SILK", "label": "cut-or-fragment"},
    {"label_text": "QUORVELLE"},
    {"label_text": "© 1951 Quorvelle\n...DE IN JAP"},
    {"label_text": "100% SOIE / SILK\nwww.quorvelle.example\n©"},
    {"label_text": "© 1999\n...DE IN JAP"},  # later than every year there is
]
DATED: list[dict[str, Any]] = [
    {"printed_year": 1931}, {"printed_year": 1700}, {"depicted_year": 1937},
    {"depicted_year": 1937, "depicted_announced": True}, {"depicted_year": 1882, "depicted_announced": "yes"},
    {"depicted_year": 1600},
]  # fmt: skip
WORDS: list[dict[str, Any]] = [
    {"fibre": "silk"},
    {"fibre": {"silk": 0.7, "synthetic": 0.3}, "methods": {"fibre": "burn"}},
    {"fibre": "lyocell"},
    {"fibre": {"silk": 0.5, "lyocell": 0.3, "modal": 0.2}},
    {"hem": "rolled", "stitches_per_inch": 14},
    {"stitches_per_inch": 5.5},
    {"form": "square", "width_cm": 70, "height_cm": 62},
    {"height_cm": 160, "width_cm": 30},
    {"weave": "twill", "momme": 12},
    {"origin": "japan"},
    {"motif": "floral"},
]


@pytest.fixture(scope="module")
def priors() -> Priors:
    return load_priors()


@functools.cache
def reference(of: type[Reference], as_of: int = AS_OF) -> Reference:
    return of(load_priors(), "thrift", as_of)


def looked_at(
    seen: dict[str, Any], as_of: int = AS_OF
) -> tuple[Scarf, dict[str, tuple[Clue, Any]]]:
    """The scarf, and each clue that says anything of it, with its key."""
    scarf = Scarf(**seen)
    keys = (
        (clue, clue.key(scarf.seen)[0]) for clue in compiled(load_priors(), "thrift", as_of).clues
    )
    return scarf, {clue.name: (clue, key) for clue, key in keys if key is not None}


def rows_of(of: type[Reference], scarf: Scarf, clue: Clue, part: str = "") -> np.ndarray:
    """The same by plain loops, (markets or 1, grades, years)."""
    plain = reference(of)
    if isinstance(plain, OnlyAmiss):
        plain.part = part
    if clue.name == "label_text":
        label = plain.label_clue(scarf)
        assert label is not None
        return np.array([[label[market, grade] for grade in GRADES] for market in MARKETS])
    if clue.name in plain.priors.shares:
        markets = MARKETS if clue.by_market else ("any",)
        every = [[plain.shares_clue(scarf, clue.name, g, m) for g in GRADES] for m in markets]
        return np.array(every)
    row = (
        plain.dated_clue(scarf, clue.name) if clue.name != "maker" else plain.maker_clue(scarf, "")
    )
    return np.array([[row] * len(GRADES)])


@pytest.mark.parametrize(
    ("name", "seen"),
    [("label_text", one) for one in LABELS]
    + [(next(iter(one)), one) for one in DATED]
    + [(("form" if "width_cm" in one else "hem" if "stitches_per_inch" in one else next(iter(one))), one)
       for one in WORDS]
    + [("maker", {"maker": "Gallophane"})],
    ids=str,
)  # fmt: skip
def test_every_year_grade_and_market_is_that_of_the_loops(name: str, seen: dict[str, Any]) -> None:
    scarf, clues = looked_at(seen)
    clue, key = clues[name]
    found = clue.likelihood(key)
    np.testing.assert_allclose(found, rows_of(Reference, scarf, clue), rtol=1e-9)
    for slip in clue.slips(key):
        if (
            getattr(key, "fits", 1) < 1
        ):  # the plain sum of what is misread knows no fibre beside the label
            continue
        amiss = clue.amiss(key, slip.part)
        expected = rows_of(OnlyAmiss, scarf, clue, slip.part)
        np.testing.assert_allclose(amiss, expected, rtol=1e-7, atol=1e-14 * found.max())
        assert (amiss <= found * (1 + 1e-9)).all()


@pytest.mark.parametrize(
    ("family", "column"),
    [("printed_year", "printed_year"), ("depicted_year", "depicted_year"), ("depicted_year", "depicted_announced")],
)  # fmt: skip
def test_lags_are_those_of_the_tables_between_its_knots(
    priors: Priors, family: str, column: str
) -> None:
    """First printings and later ones together are one; what is older than the table is as rare as its last lag."""
    found, plain = lags_of(priors, family, column), reference(Reference)
    every, first, again = plain.lag_shares(family, column)
    assert found.every.tolist() == every
    np.testing.assert_allclose(found.first, first, rtol=1e-9)
    np.testing.assert_allclose(found.again, again, rtol=1e-9, atol=1e-15)
    assert found.first.sum() + found.again.sum() == pytest.approx(1, abs=1e-12)
    assert found.earliest == next(lag for lag, share in zip(every, first, strict=True) if share > 0)
    years = np.array(plain.years)
    for shown in (1600, 1700, 1879, 1882, 1937, 1960, 1963, AS_OF + 2):
        for row, shares in zip(found.by_year(years, shown), (first, again), strict=True):
            share = dict(zip(every, shares, strict=True))
            expected = [plain.after(share, every, year - shown, year) for year in plain.years]
            np.testing.assert_allclose(row, expected, rtol=1e-9, atol=1e-15)


@pytest.mark.parametrize("year", [1931, 1850])
@pytest.mark.parametrize("name", ["printed_year", "label_text"])
def test_a_first_printing_has_no_lag_of_a_reissue(priors: Priors, name: str, year: int) -> None:
    """What is left is the part of the year's lag that is no design printed again, beside the slip."""
    seen = (
        {"printed_year": year} if name == "printed_year" else {"label_text": f"© {year}\n...RVELLE"}
    )
    clue, key = looked_at(seen)[1][name]
    plain = reference(Reference)
    lags, first, again = plain.lag_shares("printed_year", "printed_year")
    parts = []
    for shares in (first, again):
        share = dict(zip(lags, shares, strict=True))
        parts.append(np.array([plain.after(share, lags, y - year, y) for y in plain.years]))
    whole, left = clue.likelihood(key), clue.first_printing(key)
    assert left is not None and clue.design_year(key) == year
    if name == "printed_year":
        slip = priors.slips[name]
        expected = np.broadcast_to((1 - slip) * parts[0] + slip / len(plain.years), whole.shape)
    else:
        # of another piece the label is as before; of this one the chance of the notice is less by what is printed again
        foreign = priors.slips[name] * priors.altered[name]
        slip = 1 - (1 - foreign) * (1 - (priors.slips[name] - foreign))
        misread, by_slip = priors.allowances["mark_misread"], slip * whole.mean()
        n = len(parts[0])  # a misread year may be any
        top = (parts[0] + parts[1]).max()
        window, less = (
            (misread / n + (1 - misread) * p) / top for p in (parts[0] + parts[1], parts[0])
        )
        expected = (whole - by_slip) * less / window + by_slip
    np.testing.assert_allclose(left, expected, rtol=1e-9)


def test_a_first_printing_of_a_maker_is_of_no_window_of_reissues(priors: Priors) -> None:
    clue, key = looked_at({"maker": "Gallophane"}, 2010)[1]["maker"]
    years, slip = np.arange(1880, 2011), priors.slips["maker"]
    windows = priors.makers.of(*key)
    output = sum(w.output(years).sum() for w in windows)
    founder = sum(w.output(years) for w in windows if not w.reissue) / output
    found = clue.first_printing(key)
    assert found is not None and any(w.reissue for w in windows)
    expected = (1 - slip) * founder + slip / len(years)
    np.testing.assert_allclose(found, np.broadcast_to(expected, found.shape), rtol=1e-12)
    clue, key = looked_at({"maker": "Quorvelle"})[1]["maker"]
    assert clue.first_printing(key) is None


def test_a_year_later_than_every_year_there_is_leaves_them_alike() -> None:
    clue, key = looked_at({"label_text": "© 1999\n...DE IN JAP"})[1]["label_text"]
    first = clue.first_printing(key)
    np.testing.assert_allclose(np.asarray(first), clue.likelihood(key), rtol=1e-12)


def test_usual_years_are_the_mean_of_channels_without_tables_of_their_own(priors: Priors) -> None:
    years = np.arange(1880, AS_OF + 1)
    century = priors.century
    usual = [c for c in century.channels.values() if not c.tables]
    assert 1 < len(usual) < len(century.channels)
    expected = sum(century.year(c, years) for c in usual) / len(usual)
    np.testing.assert_allclose(usual_years(priors, years), expected, rtol=1e-12)
    own = {name: c for name, c in century.channels.items() if c.tables}
    none = replace(priors, century=replace(century, channels=own))
    assert np.array_equal(usual_years(none, years), np.full(len(years), 1 / len(years)))


def test_a_guard_never_bounds(priors: Priors, tmp_path: Path) -> None:
    """A row that only keeps a reader from a wrong conclusion changes no chance, even where it has years."""
    blank = {
        "mark": "hand-rolled",
        "market": "any",
        "role": "guard",
        "not_before": "1940",
        "until": "1950",
    }
    row = {**blank, "stock_lag": "2", "means": "invented", "fact": "invented", "status": "memory",
           "basis": "memory", "note": "invented for a test"}  # fmt: skip
    add_rows(tmp_path, "label_rules.csv", [row])
    own = load_priors(tmp_path)
    assert len(own.label.rules) == len(priors.label.rules) + 1
    clues, keys, seen = [], [], Scarf(label_text="HAND ROLLED\n100% SILK")
    for known in (priors, own):
        model = compiled(known, "thrift", AS_OF)
        clues.append(model.clues[model.column["label_text"]])
        keys.append(clues[-1].key(seen.seen)[0])
    found, expected = (clue.likelihood(key) for clue, key in zip(clues, keys, strict=True))
    assert np.array_equal(found, expected)
    assert clues[1].bound(keys[1]) is None
    for earliest in (True, False):
        assert (
            clues[1].behind(keys[1], Asked(1945, earliest, "fine", "us")).row.file
            == "label_shown.csv"
        )


def test_where_nothing_is_printed_again_there_is_no_first_printing() -> None:
    for seen in ({"depicted_year": 1937}, {"label_text": "©"}, {"label_text": "100% SILK"}):
        clue, key = looked_at(seen)[1][next(iter(seen))]
        assert clue.first_printing(key) is None and clue.design_year(key) is None
    clue, _ = looked_at({"label_text": "©"})[1]["label_text"]
    years = [("copyright-year", year) for year in ("1931", "1950", "")]
    key = LabelSeen((("copyright-no-year", ""), *years), intact=True)
    assert clue.design_year(key) == 1950


@pytest.mark.parametrize("name", ["stitches_per_inch", "long_side", "slenderness"])
def test_measurements_are_drawn_as_they_are_weighed(priors: Priors, name: str) -> None:
    """At nine quantiles of 20,000 draws, within five standard errors: a false alarm in 10^5 runs, were the seed free."""
    model = compiled(priors, "thrift", AS_OF)
    clue = next(clue for clue in model.clues if name in clue.families[1:])
    measure: Measure = clue.measures[clue.families.index(name) - 1]  # type: ignore[attr-defined]
    n, value, grade, year = 20_000, 1, 2, 40
    each = [np.full(n, place, dtype=np.intp) for place in (value, grade, year)]
    found = measure.cells(measure.drawn(*each, np.random.default_rng(6)))
    steps, log_step = np.array(measure.steps), np.log(measure.family.step)
    chance = measure.every_density[:, value, grade, year] * log_step
    chance[[0, -1]] /= 2  # of the steps at the limits half is allowed
    assert chance.sum() == pytest.approx(1, abs=0.01)
    below = np.cumsum(chance) / chance.sum()
    for quantile in np.arange(0.1, 1, 0.1):
        place = int(np.searchsorted(below, quantile))
        share = float((found <= steps[place]).mean())
        error = np.sqrt(below[place] * (1 - below[place]) / n)
        assert abs(share - below[place]) < 5 * error, (name, quantile)


def test_a_family_that_is_trusted_less_says_the_power_of_what_it_says(priors: Priors) -> None:
    """And of that the same part is a slip as before."""
    less = replace(priors.families["weave"], trust=0.5)
    own = replace(priors, families={**priors.families, "weave": less})
    full, half = (SharesClue(known, "weave", np.arange(1880, 1921)) for known in (priors, own))
    for seen in ({"weave": "twill"}, {"weave": "twill", "momme": 12}, {"momme": 12}):
        key = full.key(Scarf(**seen).seen)[0]
        whole = full.likelihood(key)
        np.testing.assert_allclose(half.likelihood(key), np.sqrt(whole), rtol=1e-12)
        for part in (slip.part for slip in full.slips(key)):
            share = full.amiss(key, part) / whole
            np.testing.assert_allclose(half.amiss(key, part), share * np.sqrt(whole), rtol=1e-12)


def test_rows_are_kept_once_scaled_and_ready_in_single_precision() -> None:
    """Sixty rows: each under its own number and key, divided by its largest, with the logarithm of what it was."""
    rows, rng = Rows(7), np.random.default_rng(3)
    every = rng.uniform(0.5, 40, (60, 7))
    every[5, 2] = 0.0
    before = Rows.doublings
    for at, row in enumerate(every, start=1):
        if at % 20 == 7:
            rows.light(inverse=True), rows.light(inverse=False)
        assert rows.add(f"row {at}", row, log_scale=at / 8) == at
        assert rows.add(f"row {at}", row * 3) == at  # kept already
    assert Rows.doublings == before + 2 and rows.count == 61 and len(rows.keys) == 61
    assert rows.keys == [None, *(f"row {at}" for at in range(1, 61))]
    top = every.max(axis=1)
    np.testing.assert_array_equal(rows.table[0], np.ones(7))
    np.testing.assert_allclose(rows.table[1:], every / top[:, None], rtol=1e-15)
    expected = np.log(top) + np.arange(1, 61) / 8
    np.testing.assert_allclose(rows.log_scale, [0, *expected], rtol=1e-12)
    light, inverse = rows.light(inverse=False)[:61], rows.light(inverse=True)[:61]
    assert light.dtype == inverse.dtype == np.float32
    np.testing.assert_allclose(light, rows.table, rtol=1e-6)
    positive = rows.table > 0
    np.testing.assert_allclose(inverse[positive], 1 / rows.table[positive], rtol=1e-6)
    assert np.isfinite(inverse).all() and inverse[~positive].min() > 1e29
    given = Rows(2)
    given.add("given", np.array([1.0, 2.0]), top=8.0)
    np.testing.assert_allclose(given.table[1], [0.125, 0.25])
    assert given.log_scale[1] == pytest.approx(np.log(8))
