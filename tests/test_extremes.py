"""At the edges of arithmetic and of what can be claimed: never a number that is none, and the sentence says so."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import scarfdate
from scarfdate import Scarf, ScarfdateError, date_scarf, date_table
from scarfdate.answer.evidence import encode
from scarfdate.conventions import CHANNEL, FIRST_YEAR
from scarfdate.files import csv_bytes
from scarfdate.model import posterior as exact
from scarfdate.model.model import compiled
from scarfdate.tables.schema import shipped_folder

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


def whole(dating: scarfdate.Dating) -> scarfdate.Dating:
    """The same dating, of which every number is one, and whose sentence says how sure it is."""
    assert np.isfinite(dating.probability).all()
    assert dating.probability.sum() == pytest.approx(1, abs=1e-12)
    numbers = [
        dating.period_probability,
        dating.predictive_p,
        *dating.grade.values(),
        *dating.market.values(),
    ]
    assert np.isfinite(numbers).all() and np.isfinite([*dating.weights().values()]).all()
    assert "sure)" in dating.sentence and "nan" not in dating.sentence.lower()
    return dating


@pytest.mark.parametrize("least", [1e-200, 1e-300])
def test_likelihoods_of_1e_300(least: float) -> None:
    """One clue leaves the years before 1950 such a likelihood, another those after: a product of 1e-300 everywhere, and
    so, divided by its sum, the years of before."""
    priors = replace(scarfdate.load_priors(), _compiled={})
    scarf = Scarf(fibre="silk", hem="hand-rolled", size="90 x 90 cm")
    before = date_scarf(scarf)
    model = compiled(priors, CHANNEL, None)
    codes = dict(
        zip([one.name for one in model.clues], encode(model, scarf)[0][0].tolist(), strict=True)
    )
    for name, years in (("fibre", model.years < 1950), ("hem", model.years >= 1950)):
        rows = next(one for one in model.clues if one.name == name).rows
        rows.table[codes[name]].reshape(-1, len(model.years))[:, years] *= least
    after = whole(date_scarf(scarf, priors=priors))
    np.testing.assert_allclose(after.probability, before.probability, rtol=1e-9, atol=1e-300)
    assert after.interval() == before.interval()


def test_a_prior_with_zeros(tmp_path: Path) -> None:
    """Years that never turn up in a channel: they are left out, and what says otherwise is said to be wrong."""
    with (shipped_folder() / "year_channel.csv").open(encoding="utf-8", newline="") as file:
        rows = [*csv.DictReader(file)]
    cells = [
        [0 if n == CHANNEL and int(row["year"]) <= 1950 else row[n] for n in row] for row in rows
    ]
    (tmp_path / "year_channel.csv").write_bytes(csv_bytes([[*rows[0]], *cells]))
    priors = scarfdate.load_priors(tmp_path)
    silk = whole(date_scarf(Scarf(fibre="silk"), priors=priors, as_of=AS_OF))
    assert silk.between(FIRST_YEAR, 1949) < 1e-5
    said = whole(date_scarf(Scarf(known="1920", known_by="receipt"), priors=priors, as_of=AS_OF))
    assert "The years known (1920, receipt): probably a slip or a misreading" in said.sentence
    # nothing is left of the prior: what is known stands alone, and the sentence names it
    only = whole(date_scarf(Scarf(acquired=1930), priors=priors, as_of=AS_OF))
    assert only.interval()[1] <= 1930 and "the year 1930 in which it was acquired" in only.sentence


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        (
            {"known": "1950", "known_by": "receipt", "printed_year": 1990, "fibre": "polyester"},
            "The years known (1950, receipt): probably a slip or a misreading (over 99 %)",
        ),
        (
            {"acquired": 1900, "print_technique": "digital", "printed_year": 1990},
            "The digital printing: probably a slip or a misreading (over 99 %)",
        ),
        (
            {"known": "1885", "known_by": "receipt", "print_technique": "digital", "momme": 5},
            "The years known (1885, receipt): probably a slip or a misreading (over 99 %)",
        ),
    ],
)
def test_certain_things_that_exclude_each_other(seen: dict[str, object], said: str) -> None:
    assert said in whole(date_scarf(seen, as_of=AS_OF)).sentence


def test_the_sentence_of_one_possible_year() -> None:
    one = whole(date_scarf(Scarf(printed_year=1990, fibre="silk"), as_of=1990))
    assert one.interval() == (1990, 1990)
    assert one.sentence.startswith("Made 1990 (80 % sure)")
