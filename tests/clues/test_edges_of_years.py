"""The last year that is allowed is allowed, and the next is refused, for every kind of year that is noted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scarfdate import Priors, Scarf, ScarfdateError, date_scarf, load_priors
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

    The year 1880 stands for every year up to it.
    """
    seen = {"known_from": first, "known_to": last, "known_by": way}
    dating = date_scarf({k: v for k, v in seen.items() if v is not None}, as_of=AS_OF)
    ratio = dating.probability / date_scarf(Scarf(), as_of=AS_OF).probability
    years = np.asarray(dating.years)
    inside = (years >= (first or 0)) & (years <= (last or AS_OF))
    inside[0] = first is None or first <= 1880
    wrong = max(priors.known_by[way].wrong, 1e-12)
    np.testing.assert_allclose(ratio[inside] / ratio[inside][0], 1, rtol=1e-9)
    np.testing.assert_allclose(ratio[~inside] / ratio[inside][0], wrong, rtol=1e-9)
    assert inside.any() and not inside.all()


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
