"""Second families of a kind, from tables alone: they work at both doors, or are refused with the reason."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scarfdate import (
    Priors,
    PriorsError,
    Scarf,
    date_scarf,
    date_table,
    edges,
    explain,
    load_priors,
)  # fmt: skip
from scarfdate.clues.kinds import fields_of
from tests.clues.own_tables import add_rows, family, slip, with_own_families

AS_OF = 1990


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Priors:
    return with_own_families(tmp_path_factory.mktemp("own"))


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"woven_year": 1951}, "the woven year (1951)"),
        ({"weight_grams": 55.0}, " g"),
        ({"weight_grams": 55.0, "fibre": "milkdown"}, "the acrylic (55 g)"),
        ({"backing": "card"}, "the backing (paper card)"),
        ({"backing": {"net": 0.7, "paper-card": 0.3}, "woven_year": "1951"}, "the woven year (1951)"),
    ],
)  # fmt: skip
def test_both_doors_weigh_it(own: Priors, cells: dict[str, object], words: str) -> None:
    dating = date_scarf(cells, priors=own, as_of=AS_OF)
    nothing = date_scarf({}, priors=own, as_of=AS_OF)
    assert np.abs(dating.probability - nothing.probability).max() > 1e-4
    frame = pd.DataFrame([cells | {"note": "x"}], dtype=object)
    table, years = date_table(frame, priors=own, as_of=AS_OF, with_years=True)
    assert np.abs(years[0] - dating.probability).max() < 1e-12
    assert table["errors"].isna().all()
    told = explain(cells, "1945-1959", priors=own, as_of=AS_OF)
    assert words in " ".join(told.says.values())


def test_a_woven_year_is_weighed_as_its_lags_say(own: Priors) -> None:
    """Its lags, its reissues and its slips are copies of those of ``printed_year``, and so is the answer."""
    same = date_scarf({"printed_year": 1951}, priors=own, as_of=AS_OF)
    woven = date_scarf({"woven_year": 1951}, priors=own, as_of=AS_OF)
    assert woven.interval() == same.interval()
    assert np.abs(woven.probability - same.probability).max() < 1e-12
    early = {edge.which: edge for edge in edges({"woven_year": 1951}, priors=own, as_of=AS_OF)}
    assert early["earliest"].table == "lags.csv"


def test_a_year_to_come_is_refused_at_both_doors(own: Priors) -> None:
    with pytest.raises(ValueError, match="woven_year: 1995 lies after 1990"):
        date_scarf({"woven_year": 1995}, priors=own, as_of=AS_OF)
    table = date_table(pd.DataFrame({"woven_year": [1995]}), priors=own, as_of=AS_OF)
    assert "woven_year: 1995 lies after 1990" in table["not_read"].iloc[0]


def test_a_measurement_outside_its_limits_is_refused_at_both_doors(own: Priors) -> None:
    with pytest.raises(ValueError, match="weight_grams: must lie between 1 and 2000 g"):
        Scarf(weight_grams=5000, priors=own)
    table = date_table(pd.DataFrame({"weight_grams": [5000.0, 40.0]}), priors=own, as_of=AS_OF)
    assert "weight_grams: must lie between 1 and 2000 g" in table["not_read"].iloc[0]
    assert pd.isna(table["not_read"].iloc[1])


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (family("workshop", "maker"), "makers.csv is the table of one family, maker"),
        (family("hang_tag", "label"), "label_*.csv is the table of one family, label_text"),
        (family("size", "shares"), "the name is a keyword of another thing"),
        (family("Backing Card", "shares"), "not a keyword"),
        (family("fibre_method", "shares"), "not a keyword"),
        (family("noted_on", "shares"), "not a keyword"),
        (family("colour", "colours"), "column kind"),
    ],
)  # fmt: skip
def test_what_cannot_work_is_refused_with_the_reason(
    tmp_path: Path, row: dict[str, str], reason: str
) -> None:
    add_rows(tmp_path, "families.csv", [row])
    add_rows(tmp_path, "slips.csv", [slip(row["family"])])
    with pytest.raises(PriorsError) as raised:
        load_priors(tmp_path)
    fault = next(fault for fault in raised.value.faults if reason in str(fault))
    assert fault.file == "families.csv" and fault.row is not None


def test_a_dated_family_without_its_lags_is_refused(tmp_path: Path) -> None:
    limits = {"low": "1700", "high": "2199", "usual_low": "1880", "usual_high": "2199"}
    add_rows(tmp_path, "families.csv", [family("woven_year", "dated", **limits)])
    add_rows(tmp_path, "slips.csv", [slip("woven_year")])
    with pytest.raises(PriorsError, match=r"lags.csv.*woven_year"):
        load_priors(tmp_path)


def test_methods_in_one_column_of_a_table_are_refused_and_not_passed_over() -> None:
    with pytest.raises(ValueError, match="'methods'.*fibre_method"):
        date_table(pd.DataFrame({"fibre": ["silk"], "methods": ['{"fibre": "burn"}']}))


def test_a_family_of_two_values_shows_weights_over_both(own: Priors) -> None:
    shown = [cells["backing"] for cells in fields_of(own).by_name["backing"].specimens()]
    assert {"paper-card": 0.75, "net": 0.25} in shown
