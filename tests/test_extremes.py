"""At the edges of arithmetic and of what can be claimed: never a number that is none, and the sentence says so."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import scarfdate
from scarfdate import Scarf, ScarfdateError, date_scarf, date_table
from scarfdate.conventions import FIRST_YEAR
from scarfdate.model import posterior as exact

AS_OF = 2026
STOCK = pd.read_csv(Path(__file__).parents[1] / "data" / "stock.csv", dtype=object)
CONTRADICTING = Scarf(
    fibre="polyester", weave="lace-net", hem="hemstitched", hem_thread="silk", print_technique="digital",
    uv_glow="none", signature="large", form="bandanna", size="200 x 20 cm", stitches_per_inch=30, origin="Occupied Japan",
    label="intact", label_make="heat-transfer", motif="psychedelic", palette="acid-neon", layout="ends", momme=60,
    depicted_year=1914, printed_year=1925, label_text="IRISH FREE STATE\nRN 150000\nwww.",
)  # fmt: skip


def test_a_product_that_vanishes_is_worked_out_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """The way over logarithms is the same sum: every piece of the stock by both ways."""
    priors = scarfdate.load_priors()
    scarves = [
        Scarf.from_dict(row.dropna().to_dict(), priors=priors) for _, row in STOCK.iterrows()
    ]
    plain = [date_scarf(one, as_of=AS_OF) for one in scarves]
    table = date_table(STOCK, as_of=AS_OF)
    monkeypatch.setattr(exact, "_TINY", np.inf)  # as if every product had vanished
    for one, before in zip(scarves, plain, strict=True):
        again = date_scarf(one, as_of=AS_OF)
        np.testing.assert_allclose(again.probability, before.probability, rtol=1e-9, atol=1e-300)
        assert again.probability.sum() == pytest.approx(1, abs=1e-12)
        assert again.period_probability == pytest.approx(before.period_probability, rel=1e-9)
        assert again.predictive_p == pytest.approx(before.predictive_p, rel=1e-9)
    numbers = table.select_dtypes("number").columns
    again_table = date_table(STOCK, as_of=AS_OF)
    np.testing.assert_allclose(
        again_table[numbers].to_numpy(float), table[numbers].to_numpy(float), rtol=1e-9
    )


def test_clues_that_all_contradict_each_other() -> None:
    dating = date_scarf(CONTRADICTING, as_of=AS_OF)
    assert np.isfinite(dating.probability).all()
    assert dating.probability.sum() == pytest.approx(1, abs=1e-12)
    assert 0 <= dating.predictive_p <= 1
    assert dating.surprising
    assert "probably a slip or a misreading" in dating.sentence
    assert "form" in {doubt.clue for doubt in dating.misreadings if doubt.chance > 0.5}
    found = scarfdate.explain(CONTRADICTING, as_of=AS_OF)
    assert np.isfinite(found.to_frame().select_dtypes("number").to_numpy(float)).all()


@pytest.mark.parametrize("as_of", [FIRST_YEAR + 1, 1900, 1947])
def test_few_possible_years(as_of: int) -> None:
    """The last year is the last that is possible; what came later than it is no crash and no number that is none."""
    possible = [Scarf(), Scarf(fibre="silk", hem="hand-rolled")]
    if as_of < 1914:
        with pytest.raises(ScarfdateError, match=f"1914 lies after {as_of}"):
            date_scarf(CONTRADICTING, as_of=as_of)
    else:
        possible.append(CONTRADICTING)
    for scarf in possible:
        dating = date_scarf(scarf, as_of=as_of)
        assert dating.years[-1] == as_of
        assert np.isfinite(dating.probability).all()
        assert dating.probability.sum() == pytest.approx(1, abs=1e-12)


def test_a_year_that_is_the_last_possible_one_is_possible() -> None:
    dating = date_scarf(Scarf(printed_year=1990), as_of=1990)
    assert dating.interval(0.8) == (1990, 1990)
    with pytest.raises(ScarfdateError, match="1991"):
        date_scarf(Scarf(printed_year=1991), as_of=1990)


def test_one_year_known_to_be_it() -> None:
    dating = date_scarf(
        Scarf(known="1962", known_by="receipt", fibre="polyester", hem="raw"), as_of=AS_OF
    )
    assert np.isfinite(dating.probability).all()
    assert dating.probability.sum() == pytest.approx(1, abs=1e-12)
    assert dating.years[dating.probability.argmax()] == 1962
