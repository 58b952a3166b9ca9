"""What a user meets first: imports, names, the demo stock, printing."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import scarfdate
from scarfdate import Scarf, compare, date_scarf, date_table

ROOT = Path(__file__).parents[1]
HEAVY = ("pandas", "scipy.stats", "matplotlib", "arviz", "pymc")


def test_import_loads_nothing_heavy() -> None:
    code = (
        "import sys, scarfdate; print([m for m in sys.modules if m.split('.')[0] in %r or m in %r])"
    )
    names = {name.split(".")[0] for name in HEAVY} - {"scipy"}
    run = subprocess.run(
        [sys.executable, "-c", code % (sorted(names), HEAVY)],
        capture_output=True, text=True, check=True, cwd=ROOT,
    )  # fmt: skip
    assert run.stdout.strip() == "[]"


def test_dating_one_scarf_loads_no_pandas() -> None:
    code = (
        "import sys, scarfdate as s; d = s.date_scarf(s.Scarf(fibre='silk')); d.sentence; str(d);"
        "print([m for m in sys.modules if m in ('pandas', 'matplotlib', 'scipy.stats')])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert run.stdout.strip() == "[]", run.stderr


def test_public_names_are_what_all_says() -> None:
    assert sorted(scarfdate.__all__) == scarfdate.__all__
    for name in scarfdate.__all__:
        assert getattr(scarfdate, name).__doc__
    with pytest.raises(AttributeError):
        scarfdate.nothing_of_the_kind  # noqa: B018


@pytest.fixture(scope="module")
def stock() -> pd.DataFrame:
    return pd.read_csv(ROOT / "data/stock.csv", dtype=str, keep_default_na=False)


def test_demo_stock_is_dated_sensibly(stock: pd.DataFrame) -> None:
    """Of 60 invented pieces about 80 % lie in their intervals (binomial, 0.1 % on the low side)."""
    truth = pd.read_csv(ROOT / "tests/demo/stock_truth.csv").set_index("id")
    dated = date_table(stock.set_index("id"))
    assert len(dated) == len(truth) == 60
    assert dated["errors"].isna().all()
    year = truth.loc[dated.index, "true_year"]
    inside = (dated["year_from"] <= year) & (year <= dated["year_to"])
    assert inside.sum() >= 38
    assert (dated["median_year"] - year).abs().median() <= 12


def test_table_columns_types_and_index(stock: pd.DataFrame) -> None:
    frame = stock.set_index(pd.Index([f"row {n}" for n in range(len(stock))], name="place"))
    dated, chance = date_table(frame, with_years=True, as_of=2020)
    assert list(dated.columns) == [
        "year_from", "year_to", "median_year", "decade", "decade_probability",
        "period_probability", "before_grid", "younger_from", "younger_to", "edtf", "predictive_p",
        "sentence", "warnings", "not_read", "errors",
    ]  # fmt: skip
    assert dated.index.equals(frame.index)
    assert all(pd.api.types.is_extension_array_dtype(kind) for kind in dated.dtypes)
    assert chance.shape == (60, 2020 - 1880 + 1)
    np.testing.assert_allclose(chance.sum(axis=1), 1)
    assert dated["sentence"].str.len().max() <= 300  # with what is in doubt of a piece
    assert not dated["sentence"].str.contains("genuine|authentic", case=False).any()


def test_empty_table() -> None:
    dated = date_table(pd.DataFrame({"fibre": []}))
    assert len(dated) == 0
    assert "sentence" in dated


def test_a_dating_prints_and_escapes() -> None:
    dating = date_scarf(Scarf(fibre="silk", maker="<script>alert(1)</script>", note="<b>"))
    assert "<script>" not in dating._repr_html_()
    assert "&lt;script&gt;" in dating._repr_html_()
    text = str(dating)
    assert max(map(len, text.splitlines())) <= 80
    assert "1960s" in text


def test_a_dating_answers() -> None:
    dating = date_scarf(Scarf(fibre="silk", hem="hand-rolled", motif="paisley"), as_of=2026)
    assert len(dating.years) == len(dating.probability)
    assert dating.interval(0.5)[0] >= dating.interval(0.95)[0]
    assert sum(dating.decades().values()) == pytest.approx(1)
    assert dating.at_least_years_old(0) == pytest.approx(1)
    assert dating.at_least_years_old(20) == pytest.approx(dating.between(1880, 2006))
    assert dating.style_years().sum() == pytest.approx(1)
    assert sum(dating.grade.values()) == pytest.approx(1)
    assert sum(dating.market.values()) == pytest.approx(1)
    assert dating.priors_hash == scarfdate.load_priors().hash
    assert dating.to_frame()["probability"].sum() == pytest.approx(1)
    assert dating.to_dict()["as_of"] == 2026
    apart = compare(dating, date_scarf(Scarf(fibre="polyester"), as_of=2026))
    assert apart.first_before + apart.same_year + apart.second_before == pytest.approx(1)
    assert apart.first_before > apart.second_before


def test_plot_on_the_callers_axis() -> None:
    matplotlib = pytest.importorskip("matplotlib")
    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    _, ax = plt.subplots()
    assert date_scarf(Scarf(fibre="nylon")).plot(ax) is ax
    assert len(ax.lines) == 1
    plt.close("all")


def test_a_result_can_be_had_again_later() -> None:
    early = date_scarf(Scarf(fibre="silk"), as_of=1990)
    assert early.years[-1] == early.as_of == 1990
    assert early.between(1991, 2026) == 0
