"""The analytic derivative of an answer by the shares of the tables, against finite differences.

The differences go through the front door: a table with one share moved, and the piece dated again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest

from scarfdate import Priors, RangeError, WordError, date_scarf, explain, load_priors, table_slopes
from scarfdate.conventions import ZERO_SHARE

NOW = 2026
PIECES: dict[str, dict[str, object]] = {
    "words": {"fibre": "silk", "hem": "hand-rolled", "motif": "floral-small", "weave": "crepe"},
    "a measure beside its word": {"hem": "machine-stitched", "stitches_per_inch": 12.0, "fibre": "rayon"},
    "weights and a parent": {"fibre": {"silk": 0.7, "polyester": 0.3}, "motif": "floral", "label": "intact"},
    "a market clue and a label": {"origin": "japan", "label": "intact", "label_text": "RN 60000"},
}  # fmt: skip


def moved(
    priors: Priors, family: str, key: tuple[str, str], at: int, place: int, by: float
) -> Priors:
    """The same tables with the logarithm of one share larger by ``by``."""
    table = priors.shares[family]
    knots, shares = table.series[key]
    other = np.maximum(shares / shares.sum(axis=1, keepdims=True), ZERO_SHARE)
    other[at, place] *= np.exp(by)
    series: Mapping[tuple[str, ...], tuple[np.ndarray, np.ndarray]] = {
        **table.series,
        key: (knots, other),
    }
    wrong = replace(table, series=MappingProxyType(series))
    return replace(
        priors, shares=MappingProxyType({**priors.shares, family: wrong}), _compiled={}
    )  # fmt: skip


@pytest.mark.parametrize(
    "what",
    [
        pytest.param(what, marks=[pytest.mark.slow] * ("label_text" in PIECES[what]))
        for what in PIECES
    ],
)
@pytest.mark.parametrize(
    "claim",
    ["1950s rather than 1970s"]
    + [pytest.param(claim, marks=pytest.mark.slow) for claim in ("1960s", "period piece")],
)
def test_it_is_the_limit_of_differences(what: str, claim: str) -> None:
    priors, seen = load_priors(), PIECES[what]
    found = table_slopes(seen, claim, as_of=NOW)
    rng = np.random.default_rng(3)
    ranked = list(found.slopes[:4]) + [
        found.slopes[i] for i in rng.choice(len(found.slopes), 6, replace=False)
    ]
    step = 1e-4
    checked = 0
    for slope in ranked:
        table = priors.shares[slope.family]
        at = int(np.flatnonzero(table.series[slope.grade, slope.market][0] == slope.knot)[0])
        place = table.values.index(slope.value)
        log_odds, year = [], []
        for by in (step, -step):
            other = moved(priors, slope.family, (slope.grade, slope.market), at, place, by)
            log_odds.append(np.log(explain(seen, claim, priors=other, as_of=NOW).posterior_odds))
            year.append(date_scarf(seen, priors=other, as_of=NOW).probability)
        if slope.share < 10 * ZERO_SHARE:
            continue  # a share of nothing stands at the smallest one, which a step cannot lower
        checked += 1
        assert slope.odds == pytest.approx((log_odds[0] - log_odds[1]) / (2 * step), abs=1e-6)
        np.testing.assert_allclose(slope.by_year, (year[0] - year[1]) / (2 * step), atol=1e-7)
    assert checked >= 4


def test_what_must_hold() -> None:
    """Probabilities still sum to one, and raising all shares of a knot alike changes nothing."""
    found = table_slopes(PIECES["words"], "1960s", as_of=NOW)
    together: dict[tuple[object, ...], float] = {}
    for slope in found.slopes:
        assert slope.by_year.sum() == pytest.approx(0, abs=1e-12)
        key = (slope.family, slope.knot, slope.grade, slope.market)
        together[key] = together.get(key, 0.0) + slope.odds
    assert max(map(abs, together.values())) < 1e-9
    assert {slope.family for slope in found.slopes} == set(PIECES["words"])
    sizes = [abs(slope.odds) for slope in found.slopes]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[0] > 0.05


def test_words_and_frame() -> None:
    found = table_slopes(PIECES["words"], as_of=NOW)
    assert "It leans most on these shares" in str(found)
    frame = found.to_frame()
    assert list(frame.columns) == ["family", "knot", "grade", "market", "value", "share", "odds"]
    assert len(frame) == len(found.slopes)
    assert "No share of a table was asked" in str(table_slopes({}, "1960s", as_of=NOW))
    with pytest.raises(WordError, match="claim"):
        table_slopes(PIECES["words"], "long ago", as_of=NOW)
    with pytest.raises(RangeError, match="claim"):
        table_slopes(PIECES["words"], "before 1700", as_of=NOW)
