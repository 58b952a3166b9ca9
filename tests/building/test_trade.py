"""What the trade says is counted fairly: by seller, by year, by word, and nothing else is kept.

The small frames are invented. With the coded descriptions beside the project: the committed tables
are what they give.
"""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate import Priors, load_priors
from scarfdate.building.build import expert_view
from scarfdate.building.hems import hem_information
from scarfdate.building.trade import FAMILIES, OBJECT, STATEMENT, Trade, decades, read_trade
from scarfdate.building.trade_counts import long_side_counts, trade_counts
from scarfdate.building.trade_tables import trade_tables
from scarfdate.errors import ScarfdateError, TableError
from scarfdate.tables.priors import shipped_folder

COLUMNS = (
    "seller_key", "source_kind", "year_begin", "year_end", "kind", "revival",
    "form", "hem", "fibre", "signature", "label", "label_make", "label_text", "motif",
    "width_cm", "height_cm",
)  # fmt: skip
CAP = load_priors().allowances["seller_cap"]
BOOKKEEPING = ["decade", "rows", "sellers", "press", "from_parents"]


def invented(folder: Path, rows: list[dict[str, object]], cap: float | None = None) -> Trade:
    """A trade of invented rows: objects of 1950-1959 by seller s1 unless they say otherwise."""
    usual = {"seller_key": "s1", "year_begin": 1950, "year_end": 1959, "kind": OBJECT}
    path = folder / "invented.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS)
        writer.writeheader()
        writer.writerows(usual | row for row in rows)
    return read_trade(path, load_priors(), cap)


def values_of(frame: pd.DataFrame) -> np.ndarray:
    return frame.drop(columns=BOOKKEEPING).to_numpy()


def cell(frame: pd.DataFrame, decade: int, column: str) -> float:
    return float(frame.set_index("decade").loc[decade, column])


def ended(row: dict[str, object]) -> dict[str, object]:
    """The row with its last year in place of its length in years."""
    last = min(int(row["year_begin"]) + int(row["long"]), 2029)
    return {key: value for key, value in row.items() if key != "long"} | {"year_end": last}


ROWS = st.lists(
    st.fixed_dictionaries(
        {
            "seller_key": st.sampled_from(["s1", "s2", "s3"]),
            "year_begin": st.integers(1860, 2020),
            "long": st.integers(0, 60),
            "kind": st.sampled_from([OBJECT, STATEMENT]),
            "revival": st.sampled_from(["", "1"]),
            "hem": st.sampled_from(["", "hand-rolled", "rolled", '{"raw": 0.25, "hemmed": 0.75}']),
            "motif": st.sampled_from(["", "dots", "floral", '{"floral": 0.5, "plain": 0.5}']),
        }
    ).map(ended),
    min_size=1,
    max_size=12,
)
many = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.mark.slow
@many
@given(rows=ROWS, cap=st.floats(0.5, 10))
def test_counts_add_up_to_the_weights_of_the_rows_that_state_them(tmp_path, rows, cap):
    trade = invented(tmp_path, rows, cap)
    for kind in (OBJECT, STATEMENT):
        for family in ("hem", "motif"):
            stating = [
                row.weight
                for row in trade.of(kind)
                if family in row.seen and not (family == "motif" and row.revival)
            ]
            frame = trade_counts(trade, family, kind)
            assert values_of(frame).sum() == pytest.approx(math.fsum(stating))
            assert (values_of(frame) >= 0).all()
            assert (frame["from_parents"] <= values_of(frame).sum(axis=1) + 1e-9).all()
            assert (frame["sellers"] <= frame["rows"]).all()


@many
@given(rows=ROWS, cap=st.floats(0.5, 10))
def test_no_seller_counts_for_more_than_the_cap(tmp_path, rows, cap):
    trade = invented(tmp_path, rows, cap)
    for kind in (OBJECT, STATEMENT):
        for seller in ("s1", "s2", "s3"):
            weights = [row.weight for row in trade.of(kind) if row.seller == seller]
            assert math.fsum(weights) == pytest.approx(min(cap, len(weights)))


@pytest.mark.slow
@many
@given(rows=ROWS, seed=st.integers(0, 99))
def test_order_of_rows_and_names_of_sellers_do_not_matter(tmp_path, rows, seed):
    before = invented(tmp_path, rows)
    places = np.random.default_rng(seed).permutation(len(rows))
    names = {"s1": "z", "s2": "a", "s3": "m"}
    after = invented(
        tmp_path, [rows[k] | {"seller_key": names[rows[k]["seller_key"]]} for k in places]
    )
    for family in ("hem", "motif"):
        for kind in (OBJECT, STATEMENT):
            one, other = (trade_counts(trade, family, kind) for trade in (before, after))
            np.testing.assert_allclose(one, other, atol=1e-12)


def test_a_hundred_equal_rows_of_one_seller_weigh_as_the_cap(tmp_path):
    crowd = [{"hem": "raw"}] * 100 + [{"seller_key": "s2", "hem": "fringed"}]
    few = [{"hem": "raw"}] * int(CAP) + [{"seller_key": "s2", "hem": "fringed"}]
    hundred, three = (trade_counts(invented(tmp_path, rows), "hem") for rows in (crowd, few))
    np.testing.assert_allclose(values_of(hundred), values_of(three))
    assert cell(hundred, 1950, "raw") == pytest.approx(CAP)
    assert cell(hundred, 1950, "fringed") == 1
    assert cell(hundred, 1950, "rows") == 101
    assert cell(hundred, 1950, "sellers") == 2


def test_objects_and_statements_do_not_share_a_cap(tmp_path):
    rows = [{"hem": "raw"}] * 4 + [{"hem": "raw", "kind": STATEMENT}] * 2
    trade = invented(tmp_path, rows)
    assert cell(trade_counts(trade, "hem"), 1950, "raw") == pytest.approx(CAP)
    assert cell(trade_counts(trade, "hem", STATEMENT), 1950, "raw") == 2


def test_an_interval_is_spread_evenly_over_its_years(tmp_path):
    rows = [{"hem": "raw", "year_begin": 1945, "year_end": 1964}]
    frame = trade_counts(invented(tmp_path, rows), "hem").set_index("decade")["raw"]
    assert frame[frame > 0].to_dict() == pytest.approx({1940: 0.25, 1950: 0.5, 1960: 0.25})


def test_the_first_decade_holds_all_before_it(tmp_path):
    rows = [{"hem": "raw", "year_begin": 1860, "year_end": 1899}]
    frame = trade_counts(invented(tmp_path, rows), "hem").set_index("decade")["raw"]
    assert frame[frame > 0].to_dict() == pytest.approx({1880: 0.75, 1890: 0.25})


def test_parents_are_split_by_the_shipped_shares_of_their_decade(tmp_path, priors: Priors):
    """Independent route: shares of each year and grade, averaged by hand."""
    years = np.arange(1950, 1960)
    small, large = (
        np.mean(
            [
                priors.shares["motif"].every_year(np.array([year]))[place, 0, grade, 0]
                for year in years
                for grade in range(3)
            ]
        )
        for place in (
            priors.shares["motif"].values.index(f"floral-{s}") for s in ("small", "large")
        )
    )
    rows = [{"motif": '{"floral": 0.8, "dots": 0.2}'}]
    frame = trade_counts(invented(tmp_path, rows), "motif")
    assert cell(frame, 1950, "dots") == pytest.approx(0.2)
    assert cell(frame, 1950, "floral-small") == pytest.approx(0.8 * small / (small + large))
    assert cell(frame, 1950, "floral-large") == pytest.approx(0.8 * large / (small + large))
    assert cell(frame, 1950, "from_parents") == pytest.approx(0.8)


def test_a_later_piece_in_an_older_look_counts_for_making_only(tmp_path):
    trade = invented(tmp_path, [{"hem": "raw", "motif": "dots", "revival": 1}])
    assert cell(trade_counts(trade, "hem"), 1950, "raw") == 1
    assert values_of(trade_counts(trade, "motif")).sum() == 0
    assert trade.rows[0].revival


def test_contemporary_press_is_kept_and_counted_apart(tmp_path):
    late = {"hem": "raw", "year_begin": 2005, "year_end": 2005}
    rows = [late | {"source_kind": "article"}, late | {"source_kind": "dealer"}]
    frame = trade_counts(invented(tmp_path, rows), "hem")
    assert cell(frame, 2000, "raw") == 2
    assert cell(frame, 2000, "press") == 1


def test_long_sides_by_form(tmp_path):
    rows = [
        {"form": "square", "width_cm": 80, "height_cm": 80},
        {"form": "square", "width_cm": 70, "height_cm": 90},
        {"form": "oblong", "height_cm": 150, "seller_key": "s2"},
        {"form": "oblong"},
    ]
    frame = long_side_counts(invented(tmp_path, rows, cap=9)).set_index("given")
    assert frame.loc["square", "count"] == 2
    assert frame.loc["square", "mean_log_cm"] == pytest.approx(np.log([80, 90]).mean())
    assert frame.loc["square", "sd_log_cm"] == pytest.approx(np.log([80, 90]).std(ddof=1))
    assert math.isnan(frame.loc["oblong", "sd_log_cm"])
    assert frame.loc["any", "rows"] == 3
    assert frame.loc["any", "sellers"] == 2


BAD = [
    ({"hem": "hand roled"}, "hem", "hand-rolled"),
    ({"fibre": '{"silk": 0.4}'}, "fibre", "sum to 1"),
    ({"fibre": '{"silk": 0.4'}, "fibre", "cannot be read"),
    ({"year_begin": 1970}, "year_end", "ends before it begins"),
    ({"year_end": 2044}, "year_end", "ends after"),
    ({"year_begin": "fifties"}, "year_begin", "not a number"),
    ({"year_begin": ""}, "year_begin", "not a number"),
    ({"kind": "objects"}, "kind", "object"),
    ({"seller_key": ""}, "seller_key", "must not be empty"),
    ({"revival": "perhaps"}, "revival", "yes or no"),
    ({"width_cm": "-4"}, "width_cm", ""),
    ({"height_cm": "2"}, "height_cm", "between"),
    ({"label": "none-seen", "label_make": "woven"}, "label_make", "none-seen"),
]


@pytest.mark.parametrize(("bad", "column", "told"), BAD)
def test_a_bad_row_is_told_with_its_place_and_the_others_stay(tmp_path, bad, column, told):
    trade = invented(tmp_path, [{"hem": "raw"}, {"hem": "raw"} | bad, {"hem": "fringed"}])
    assert [row.line for row in trade.rows] == [2, 4]
    (fault,) = trade.faults
    assert (fault.file, fault.row, fault.column) == ("invented.csv", 3, column)
    assert told in str(fault)
    assert [row.weight for row in trade.rows] == [1, 1]


def test_all_faults_of_all_rows_are_told(tmp_path):
    trade = invented(tmp_path, [bad for bad, _, _ in BAD] + [{"hem": "raw"}])
    assert [(fault.row, fault.column) for fault in trade.faults] == [
        (place + 2, column) for place, (_, column, _) in enumerate(BAD)
    ]
    assert len(trade.rows) == 1


@pytest.mark.parametrize(
    "content", [b"", b"seller_key,kind\ns1,object\n", b"\xff\xfe", b"seller_key,year_begin\n"]
)
def test_a_file_without_a_good_row_is_refused(tmp_path, priors, content):
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    with pytest.raises(TableError, match=r"bad\.csv: no row can be read: bad\.csv"):
        read_trade(path, priors)
    with pytest.raises(TableError, match="cannot be read"):
        read_trade(tmp_path / "nowhere.csv", priors)


@pytest.mark.parametrize("cap", [0, -1, math.nan, math.inf])
def test_a_cap_that_caps_nothing_is_refused(tmp_path, cap):
    with pytest.raises(ScarfdateError, match="cap"):
        invented(tmp_path, [{"hem": "raw"}], cap)


def test_unknown_families_and_kinds_are_named(tmp_path):
    trade = invented(tmp_path, [{"hem": "raw"}])
    with pytest.raises(ScarfdateError, match="motif"):
        trade_counts(trade, "motiv")
    with pytest.raises(ScarfdateError, match="object"):
        trade_counts(trade, "hem", "objekt")
    with pytest.raises(ScarfdateError, match="two or more"):
        hem_information(trade)


def test_a_hem_that_follows_the_decade_is_seen_to_do_so(tmp_path, rng):
    """Invented both ways: hems by decade whatever the cloth, then by cloth whatever the decade."""
    rows = []
    for number in range(40):
        late, silk = number % 2, number // 2 % 2
        rows.append(
            {
                "seller_key": f"s{number}",
                "year_begin": 1980 if late else 1950,
                "year_end": 1989 if late else 1959,
                "fibre": "silk" if silk else "cotton",
                "hem": ("fringed", "hand-rolled")[late],
            }
        )
    by_cloth = [
        row | {"hem": "hand-rolled" if row["fibre"] == "silk" else "fringed"} for row in rows
    ]
    for given_rows, one, other in ((rows, "decade", "silk"), (by_cloth, "silk", "decade")):
        found = hem_information(invented(tmp_path, given_rows), rng, draws=300)
        for _, part in found.groupby("hem"):
            part = part.set_index("about")
            assert part.loc[one, "bits"] == pytest.approx(1)
            assert part.loc[one, "p"] < 0.01
            assert part.loc[other, "bits"] == pytest.approx(0, abs=1e-9)
            assert part.loc[other, "p"] > 0.5


def test_what_is_written_names_no_seller_and_no_label_text(tmp_path):
    rows = [
        {"seller_key": "kwx77", "label_text": "Zzyzx Mills", "label": "intact", "hem": "rolled"},
        {"seller_key": "kwx78", "kind": STATEMENT, "hem": "rolled", "form": "square"},
    ]
    tables = trade_tables(invented(tmp_path, rows))
    assert set(tables) == {f"{name}.csv" for name in (*FAMILIES, "long_side", "statements")}
    for content in tables.values():
        text = content.decode("utf-8")
        assert "kwx" not in text
        assert "Zzyzx" not in text
        frame = pd.read_csv(io.StringIO(text), keep_default_na=False)
        assert (frame["basis"] == "common practice").all()
    hem = pd.read_csv(io.BytesIO(tables["hem.csv"]), keep_default_na=False)
    assert hem["decade"].tolist() == decades()
    assert hem["source"][0].startswith("coded trade descriptions: 1 row of 1 seller; SHA-256")
    assert cell(hem, 1950, "hand-rolled") + cell(hem, 1950, "machine-rolled") == pytest.approx(1)
    assert "1.0 of parent words" in hem.set_index("decade").loc[1950, "note"]
    statements = pd.read_csv(io.BytesIO(tables["statements.csv"]))
    assert statements.groupby("family")["effective"].sum().to_dict() == pytest.approx(
        {"form": 1, "hem": 1}
    )


# --- the coded descriptions themselves ------------------------------------------------------------


@pytest.fixture(scope="module")
def coded(shared: Path, priors: Priors) -> Trade:
    return read_trade(
        shared / "trade" / "descriptions.csv", expert_view(priors)
    )  # as the build does


def test_every_coded_row_is_read(coded: Trade):
    assert not coded.faults
    assert len(coded.of(OBJECT)) == 225
    assert len(coded.of(STATEMENT)) == 41


def test_committed_tables_are_what_the_descriptions_give(coded: Trade):
    tables = trade_tables(coded)
    committed = {
        path.name: path.read_bytes() for path in (shipped_folder() / "trade").glob("*.csv")
    }
    assert set(committed) == set(tables)
    for name, content in tables.items():
        assert content == committed[name], name


@pytest.mark.parametrize("family", ["form", "motif", "hem", "fibre"])
def test_the_cap_hardly_moves_the_shares(coded: Trade, shared: Path, priors: Priors, family: str):
    """Caps of 1 to 10 rows a seller; largest shift of any share over all decades, in points."""

    def shares(cap: float) -> np.ndarray:
        trade = read_trade(shared / "trade" / "descriptions.csv", priors, cap)
        each = values_of(trade_counts(trade, family)).sum(axis=0)
        return 100 * each / each.sum()

    at_cap = shares(CAP)
    moved = {cap: float(np.abs(shares(cap) - at_cap).max()) for cap in range(1, 11)}
    assert moved[int(CAP)] == 0
    assert max(moved.values()) < 8
    assert max(moved[2], moved[4], moved[5]) < 4


def test_a_hand_rolled_hem_information_the_cloth_and_not_of_the_decade(coded: Trade):
    found = hem_information(coded, draws=500).set_index(["hem", "about"])
    decade, silk = (found.loc[("hand-rolled, from 1950", about)] for about in ("decade", "silk"))
    assert decade["chance_low"] < decade["bits"] < decade["chance_high"]
    assert silk["bits"] > silk["chance_high"]
    assert silk["beyond_chance"] > decade["beyond_chance"]


def test_the_module_holds_no_families_that_the_tables_do_not(priors: Priors):
    assert set(FAMILIES) <= set(priors.shares)
