"""The last year that is allowed is allowed, and the next is refused, for every kind of year that is noted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scarfdate import Priors, Scarf, ScarfdateError, date_scarf, load_priors
from scarfdate.clues.lags import lags_of
from scarfdate.tables.priors import Priors as Tables
from tests.clues.own_tables import _BASIS, add_rows, family, slip

AS_OF = 1980


def ahead(priors: Tables) -> int:
    return int(priors.allowances["future_years"])


def last_allowed(priors: Tables) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    late = AS_OF + ahead(priors)
    return [
        ({"printed_year": AS_OF}, {"printed_year": AS_OF + 1}),
        ({"depicted_year": AS_OF}, {"depicted_year": AS_OF + 1}),
        (
            {"depicted_year": late, "depicted_announced": True},
            {"depicted_year": late + 1, "depicted_announced": True},
        ),
        ({"acquired": AS_OF}, {"acquired": AS_OF + 1}),
        ({"known_from": AS_OF}, {"known_from": AS_OF + 1}),
        ({"known_from": 1950, "known_to": 1950}, {"known_from": 1951, "known_to": 1950}),
        ({"known_from": 1950, "acquired": 1950}, {"known_from": 1951, "acquired": 1950}),
    ]


def test_the_last_year_is_allowed_and_the_next_is_not(priors: Priors) -> None:
    assert ahead(priors) > 0
    for allowed, refused in last_allowed(priors):
        found = date_scarf(allowed, as_of=AS_OF).probability
        assert np.isfinite(found).all(), allowed
        with pytest.raises(
            ScarfdateError, match=str(max(v for v in refused.values() if v is not True))
        ):
            date_scarf(refused, as_of=AS_OF)


@pytest.mark.parametrize("way", ["documented", "attributed"])
@pytest.mark.parametrize(
    ("first", "last"), [(1950, 1959), (1950, None), (None, 1959), (1860, 1959), (1880, 1881)]
)
def test_within_bounds_every_year_is_as_likely_as_before(
    priors: Priors, way: str, first: int | None, last: int | None
) -> None:
    """P(year | bounds) over P(year) has one value inside the bounds and one outside: the chance that they are wrong.

    The year 1880 stands for every year up to it: bounds that begin in or before it hold a part of that cell.
    """
    seen = {"known_from": first, "known_to": last, "known_by": way}
    dating = date_scarf({k: v for k, v in seen.items() if v is not None}, as_of=AS_OF)
    ratio = dating.probability / date_scarf(Scarf(), as_of=AS_OF).probability
    years = np.asarray(dating.years)
    inside = (years >= (first or 0)) & (years <= (last or AS_OF))
    wrong = max(priors.known_by[way].wrong, 1e-12)
    age = priors.allowances["first_cell_age"]
    held = 1.0 if first is None else 1 - (age / (1 + age)) ** max(1881 - first, 0)
    cell, one = ratio[0], ratio[1:][inside[1:]][0]
    np.testing.assert_allclose(cell / one, held + (1 - held) * wrong, rtol=1e-9)
    ratio, inside = ratio[1:], inside[1:]
    np.testing.assert_allclose(ratio[inside] / ratio[inside][0], 1, rtol=1e-9)
    np.testing.assert_allclose(ratio[~inside] / ratio[inside][0], wrong, rtol=1e-9)
    assert inside.any() and not inside.all()


@pytest.mark.parametrize("name", ["depicted_year", "printed_year"])
@pytest.mark.parametrize("shown", [1789, 1815, 1851, 1876])
def test_a_year_before_the_grid_makes_no_piece_of_a_thrift_shop_old(name: str, shown: int) -> None:
    """Of what was made before 1881 few pieces bear just this year: a centenary is as likely, where there are more pieces."""
    old = date_scarf({name: shown}, as_of=2026, channel="thrift").before_grid
    assert old < 0.015
    assert old > date_scarf(Scarf(), as_of=2026, channel="thrift").before_grid


def test_the_chances_of_all_years_shown_are_one_in_the_first_cell_too(priors: Priors) -> None:
    """Over all years that can be shown P(year shown | year made) sums to one, however many years a cell stands for."""
    lags = lags_of(priors, "printed_year", "printed_year")
    years = np.arange(1880, AS_OF + 1)
    every = [sum(lags.by_year(years, shown)) for shown in range(1880 - 140, AS_OF + 1)]
    total = np.sum(every, axis=0)
    assert total[0] == pytest.approx(
        1, abs=0.05
    )  # the oldest of the cell show older years than these
    beyond = (lags.first + lags.again)[-1]  # each year that is older than the table reaches
    assert total[-1] == pytest.approx(1 + beyond * (AS_OF - 1740 - lags.every[-1]), abs=0.05)


def test_a_style_that_depends_on_the_market_is_refused(tmp_path: Path) -> None:
    add_rows(tmp_path, "families.csv", [family("edge_look", "shares") | {"reads": "style"}])
    add_rows(tmp_path, "slips.csv", [slip("edge_look")])
    add_rows(tmp_path, "vocabulary.csv", [
        {"family": "edge_look", "word": word, "reading": "value", "means": word} for word in ("bold", "shy")
    ])  # fmt: skip
    add_rows(tmp_path, "shares/edge_look.csv", [
        {"year": year, "grade": "any", "market": market, "bold": bold, "shy": str(100 - int(bold)), **_BASIS}
        for market, bold in (("us", "80"), ("any", "30")) for year in ("1880", "1950")
    ])  # fmt: skip
    own = load_priors(tmp_path)
    with pytest.raises(ScarfdateError, match="style family cannot depend on the market"):
        date_scarf(Scarf(), priors=own, as_of=AS_OF)


@pytest.mark.parametrize("year", [1937, 1962, 1990])
def test_a_year_on_a_label_is_doubted_as_the_same_year_in_print(year: int) -> None:
    """A misread year can be any year there as here; a label may be of another piece besides."""
    printed = date_scarf({"printed_year": year}, as_of=2026)
    label = date_scarf({"label_text": f"COPYRIGHT {year}"}, as_of=2026)
    chance = {doubt.clue: doubt.chance for each in (printed, label) for doubt in each.misreadings}
    assert 0.5 < chance["label_text"] / chance["printed_year"] < 2
    assert 0.5 < label.between(1880, year - 1) / printed.between(1880, year - 1) < 2
