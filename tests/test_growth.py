"""What DEVELOPERS.md says of the cost of growth: it is what the commands wrote, and they measure the library itself.

More values and more markets are twins, which halve or part a share and change nothing that anybody notes: a piece
noted with one of two twins must date as it did before.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks import growth
from tests.figures import GROWTH, GROWTH_PAGE, page

ROOT = Path(__file__).parents[1]

DATED = """
import sys
from tests.benchmarks.growth import Point, enlarged
values, markets = map(int, sys.argv[1:])
with enlarged(Point(work="", values=values, markets=markets)) as folder:
    from scarfdate import conventions, date_scarf, load_priors
    assert len(conventions.MARKETS) == markets
    priors = load_priors(folder)
    assert len(priors.shares["motif"].values) == 20 * values
    seen = {"motif": "dots", "fibre": "silk", "hem": "hand-rolled", "origin": "italy", "label": "intact"}
    found = date_scarf(seen, priors=priors, as_of=2026)
    assert len(found.market) == markets
    print(*found.probability)
"""


def dated(values: int, markets: int) -> np.ndarray:
    run = subprocess.run(
        [sys.executable, "-c", DATED, str(values), str(markets)], cwd=ROOT, text=True,
        stdout=subprocess.PIPE, check=True,
    )  # fmt: skip
    return np.array(run.stdout.split(), dtype=float)


@pytest.mark.slow
def test_twins_of_values_and_markets_change_no_year() -> None:
    """Up to the least share that a table can have, 1e-6, which a twin has once more."""
    before = dated(1, 4)
    for values, markets in ((4, 4), (1, 9)):
        np.testing.assert_allclose(dated(values, markets), before, atol=2e-5)


def test_an_exponent_is_the_slope_in_the_logarithms() -> None:
    sizes = [1.0, 10.0, 100.0, 1000.0]
    assert growth.exponent(sizes, [3 * size**1.5 for size in sizes]) == pytest.approx((1.5, 0))
    # by hand: of y = 0, 0, 1, 1 at x = 0, 1, 2, 3 the slope is 0.4, the squares left 0.2, over 5 and 2
    slope, error = growth.exponent(sizes, [1.0, 1.0, 10.0, 10.0])
    assert (slope, error) == pytest.approx((0.4, np.sqrt(0.2 / 2 / 5)))


def test_every_line_changes_what_it_says_and_holds_the_rest() -> None:
    for _, lines in growth.TABLES.values():
        for one in lines:
            points = one.points(quick=False)
            assert [getattr(point, one.grows) for point in points] == list(one.sizes)
            held = {tuple(v for k, v in vars(p).items() if k != one.grows) for p in points}
            assert len(held) == 1 and len(one.points(quick=True)) >= 3


def test_developers_md_has_the_figures_that_the_commands_wrote() -> None:
    """``python -m tests.figures`` writes them; a hand that changes one parts the page from its files."""
    text = GROWTH_PAGE.read_text(encoding="utf-8")
    files = sorted(GROWTH.glob("*.json"))
    assert files
    assert page(text, GROWTH) == text
    for file in files:
        kept = json.loads(file.read_text(encoding="utf-8"))
        assert f"### {kept['title']}" in text, file.name
        assert {len(row) for row in kept["rows"]} == {len(kept["columns"])}, file.name
