"""Where museum, trade and law disagree: invented small tables, then the committed one.

The rules are tried on invented rows. The committed table must be what its function makes of the
committed comparison, and no shipped share may stand against the law without a word.
"""

from __future__ import annotations

import csv
import io
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scarfdate import Priors
from scarfdate.building.build import expert_view
from scarfdate.building.disagreement_table import disagreement_table
from scarfdate.building.disagreements import (
    COLUMNS,
    LARGE,
    NUMBER,
    REASONS,
    disagreements,
    standardised,
)
from scarfdate.building.hems import hem_information
from scarfdate.building.trade import Trade, read_trade
from scarfdate.errors import PriorsError
from scarfdate.tables.lists import LIMITS
from scarfdate.tables.priors import shipped_folder
from scarfdate.tables.schema import schema

PRIORS = shipped_folder()
LIMIT = {
    "family": "fibre", "value": "moss", "not_before": "1950", "usual_from": "1960", "until": "",
    "allowed": "0.5", "fact": "moss-1950", "status": "memory", "basis": "memory",
    "source": "fact moss-1950", "note": "",
}  # fmt: skip


def said(against: str, side: str, why: str, value: str = "any") -> dict[str, str]:
    return {"family": "fibre", "value": value, "against": against, "side": side, "why": why}


def one(**cells: object) -> dict[str, object]:
    """An invented comparison: moss in the 1970s, everyone saying 10 per cent."""
    usual = {
        "family": "fibre", "decade": 1970, "value": "moss", "expert": "10.0",
        "scarves": "10.0", "scarves_number": "20.0", "museum": "10.0", "museum_number": "40.0",
        "trade": "10.0", "trade_number": "30.0", "shipped": "10.0",
    }  # fmt: skip
    return usual | cells


def only(**cells: object) -> dict[str, str]:
    (row,) = disagreements([one(**cells)], [LIMIT], [])
    return row


def committed(name: str) -> list[dict[str, str]]:
    with (PRIORS / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def table() -> list[dict[str, str]]:
    return committed("museum/disagreements.csv")


@pytest.fixture(scope="module")
def coded(shared: Path, priors: Priors) -> Trade:
    return read_trade(shared / "trade" / "descriptions.csv", expert_view(priors))


# The difference


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0.5, 1e5))
def test_the_difference_has_the_sign_of_the_shares_and_is_nothing_where_they_agree(p, q, n):
    found = standardised(p, q, n)
    assert math.isfinite(found)
    assert standardised(p, p, n) == 0
    assert found == -standardised(q, p, n)
    if abs(p - q) > 1e-9:
        assert (found > 0) == (p > q)


@pytest.mark.parametrize("share", [0.02, 0.1, 0.5, 0.9])
def test_the_difference_has_a_standard_deviation_near_one(share, rng):
    n = 200
    drawn = rng.binomial(n, share, 4000) / n
    found = [standardised(p, share, n) for p in drawn]
    assert abs(np.mean(found)) < 0.15
    assert 0.9 < np.std(found) < 1.1


@pytest.mark.parametrize(("p", "q"), [(0.3, 0.25), (0.6, 0.55)])
def test_the_difference_is_the_textbook_one_in_the_middle(p, q):
    n = 1000
    assert standardised(p, q, n) == pytest.approx((p - q) / math.sqrt(q * (1 - q) / n), rel=0.05)


# What is kept


def test_agreement_is_no_row():
    assert disagreements([one()], [LIMIT], []) == []


@pytest.mark.parametrize("kind", ["museum", "trade"])
@pytest.mark.parametrize(("share", "sign"), [("60.0", 1), ("0.0", -1)])
def test_a_share_far_off_is_a_row_against_its_source(kind, share, sign):
    row = only(**{kind: share})
    assert tuple(row) == COLUMNS
    assert row["against"] == kind
    assert sign * float(row["difference"]) >= LARGE
    assert row["law"] == "not before 1950, usual from 1960 (fact moss-1950)"
    assert row["source"].endswith("fact moss-1950")
    assert row["basis"] == {"museum": "museum", "trade": "common practice"}[kind]


def test_few_records_are_not_compared():
    few = one(museum="100.0", museum_number=f"{NUMBER - 0.1}", trade="", trade_number="0.0")
    assert disagreements([few], [], []) == []
    assert len(disagreements([few | {"museum_number": f"{NUMBER}"}], [], [])) == 1


def test_the_larger_of_two_differences_is_told():
    row = only(museum="40.0", trade="90.0")
    assert row["against"] == "trade"
    shares = (0.9, 0.1, 30.0)
    assert float(row["difference"]) == pytest.approx(standardised(*shares), abs=0.05)


def test_order_is_that_of_the_comparison():
    rows = [one(decade=decade, museum="90.0") for decade in (1990, 1970, 1980)]
    found = disagreements(rows, [LIMIT], [])
    assert [row["decade"] for row in found] == ["1990", "1970", "1980"]


# Law


def test_any_share_before_the_law_is_a_row_with_its_number():
    row = only(
        decade=1940, expert="0.0", scarves="0.0", museum="0.5", trade="10.0", shipped="0.0",
        trade_number="1.0",
    )  # fmt: skip
    assert row["against"] == "law"
    assert row["follows"] == "law"
    assert "0.2 museum records before it; 0.1 trade rows before it" in row["law"]
    assert row["basis"] == "memory"


def test_nothing_before_the_law_is_no_row():
    none = one(decade=1930, expert="0.0", scarves="0.0", museum="0.0", trade="0.0", shipped="0.0")
    assert disagreements([none], [LIMIT], []) == []


@pytest.mark.parametrize(("first", "ruled_out"), [("1949", False), ("1950", True)])
def test_a_decade_that_the_first_year_cuts_is_not_ruled_out(first, ruled_out):
    few = one(decade=1940, museum="1.0", trade="", trade_number="0.0", shipped="0.0", expert="0.0")
    found = disagreements([few], [LIMIT | {"not_before": first}], [])
    assert [row["against"] for row in found] == ["law"] * ruled_out


def test_of_several_facts_the_latest_first_year_holds():
    earlier = LIMIT | {"not_before": "1900", "fact": "moss-1900"}
    for limits in ([earlier, LIMIT], [LIMIT, earlier]):
        (row,) = disagreements([one(decade=1930)], limits, [])
        assert row["against"] == "law"
        assert "fact moss-1900" in row["law"]
        assert "fact moss-1950" in row["law"]


def test_the_law_of_another_value_says_nothing():
    assert disagreements([one(decade=1900)], [LIMIT | {"value": "fern"}], []) == []


# What is followed, and why


@pytest.mark.parametrize(
    ("cells", "follows"),
    [
        ({"expert": "30.0", "museum": "70.0", "shipped": "31.0"}, "expert"),
        ({"expert": "30.0", "museum": "70.0", "shipped": "69.0"}, "museum"),
        ({"expert": "30.0", "museum": "90.0", "scarves": "60.0", "shipped": "59.0"}, "scarves"),
        ({"expert": "30.0", "museum": "90.0", "trade": "50.0", "shipped": "49.0"}, "trade"),
        ({"museum": "90.0"}, "expert"),  # a tie of expert, scarves and trade
        ({"decade": 1900, "expert": "20.0", "shipped": "1.0"}, "law"),
        ({"decade": 1900, "expert": "20.0", "shipped": "19.0"}, "expert"),
    ],
)
def test_the_nearest_is_followed(cells, follows):
    assert only(**cells)["follows"] == follows


def test_too_few_records_are_not_followed():
    cells = {"expert": "30.0", "museum": "90.0", "trade": "50.0", "shipped": "49.0"}
    assert only(**cells, trade_number="2.0")["follows"] == "expert"


def test_the_reason_is_the_one_that_fits_best():
    reasons = [
        said("museum", "any", "any any"),
        said("museum", "less", "any less"),
        said("museum", "any", "moss any", "moss"),
        said("museum", "more", "moss more", "moss"),
        said("trade", "any", "of the trade"),
    ]

    def why(**cells: object) -> str:
        (row,) = disagreements([one(**cells)], [], reasons)
        return row["why"]

    assert why(museum="90.0") == "moss more"
    assert why(museum="0.0", museum_number="90.0") == "moss any"
    assert why(museum="90.0", value="fern") == "any any"
    assert why(museum="0.0", museum_number="90.0", value="fern") == "any less"
    assert why(museum="90.0", trade="50.0") == "moss more of the trade"


# The table as a file


def folder_of(place: Path, limits: str, reasons: str) -> Path:
    (place / LIMITS).write_text(limits, encoding="utf-8")
    (place / REASONS).write_text(reasons, encoding="utf-8")
    return place


GOOD_LIMITS = f"{','.join(LIMIT)}\n{','.join(LIMIT.values())}\n"
GOOD_REASONS = (
    "family,value,against,side,why,basis,source,note\nfibre,any,trade,any,because,memory,,\n"
)


def test_trade_counts_of_the_folder_are_put_in_and_given_files_go_first(tmp_path):
    place = folder_of(tmp_path, GOOD_LIMITS, GOOD_REASONS)
    (place / "trade").mkdir()
    header = "decade,moss,fern,rows,sellers,basis,source,note\n"
    (place / "trade" / "fibre.csv").write_text(f"{header}1970,9,1,12,8,memory,,\n", "utf-8")
    silent = one(trade="", trade_number="0.0")
    (row,) = csv.DictReader(io.StringIO(disagreement_table([silent], place).decode()))
    assert (row["trade"], row["trade_number"], row["why"]) == ("90.0", "10.0", "because")
    fresh = {"trade/fibre.csv": f"{header}1970,1,9,12,8,memory,,\n".encode()}
    assert disagreement_table([silent], place, fresh).decode().count("\n") == 1
    (own,) = csv.DictReader(io.StringIO(disagreement_table([one(trade="80.0")], place).decode()))
    assert own["trade"] == "80.0"


def test_every_fault_of_both_files_is_told(tmp_path):
    bad = folder_of(
        tmp_path,
        GOOD_LIMITS.replace("1950,1960", "soon,1960").replace("memory,fact", "guess,fact"),
        GOOD_REASONS.replace("trade,any", "trades,any"),
    )
    with pytest.raises(PriorsError) as caught:
        disagreement_table([one()], bad)
    told = {(fault.file, fault.column) for fault in caught.value.faults}
    assert told == {(LIMITS, "not_before"), (LIMITS, "basis"), (REASONS, "against")}


def test_a_missing_file_is_a_fault(tmp_path):
    with pytest.raises(PriorsError, match=LIMITS):
        disagreement_table([one()], tmp_path)


def test_a_figure_that_nobody_knows_is_a_fault(coded, tmp_path):
    reasons = (PRIORS / REASONS).read_text("utf-8").replace("{decade_bits}", "{decade_bytes}")
    place = folder_of(tmp_path, GOOD_LIMITS, reasons)
    with pytest.raises(PriorsError, match="decade_bytes"):
        disagreement_table(committed("museum/compared.csv"), place, trade=coded)


# The committed files


def test_the_committed_table_is_what_the_function_makes(table):
    """Without the coded descriptions: every row but the pooled one."""
    made = disagreement_table(committed("museum/compared.csv"), PRIORS).decode()
    assert list(csv.DictReader(io.StringIO(made))) == [row for row in table if row["decade"]]
    assert made == disagreement_table(committed("museum/compared.csv"), PRIORS).decode()


def test_the_committed_table_is_the_same_byte_for_byte(coded):
    made = disagreement_table(committed("museum/compared.csv"), PRIORS, trade=coded)
    assert made == (PRIORS / "museum" / "disagreements.csv").read_bytes()


def test_a_hand_rolled_hem_information_grade_in_numbers(coded, table):
    """The pooled row has the figures of `hem_information`, and they bear its sentence out."""
    (row,) = [row for row in table if not row["decade"]]
    assert (row["family"], row["value"], row["against"]) == ("hem", "hand-rolled", "trade")
    found = hem_information(coded).set_index(["hem", "about"]).loc["hand-rolled, from 1950"]
    for about in ("decade", "silk", "grade hints"):
        for column in ("bits", "chance_high"):
            assert f"{found.at[about, column]:.2f}" in row["why"]
    assert found.at["decade", "bits"] < found.at["decade", "chance_high"]
    assert found.at["silk", "bits"] > found.at["silk", "chance_high"]
    assert found.at["grade hints", "bits"] > found.at["grade hints", "chance_high"]


def test_every_committed_row_has_a_reason_and_a_basis(table):
    assert len(table) > 1
    for row in table:
        assert row["why"], row
        assert "{" not in row["why"]
        assert row["basis"] in schema().words["basis"]
        assert row["source"]


def test_limits_are_the_dated_facts(shared):
    with (shared / "facts" / "facts.csv").open(encoding="utf-8", newline="") as file:
        facts = {row["id"]: row for row in csv.DictReader(file)}
    for row in committed(LIMITS):
        fact = facts.get(row["fact"])
        if fact is None:  # known by heart, and said to be
            assert (row["status"], row["basis"]) == ("memory", "memory") and row["note"]
            continue
        assert row["status"] == fact["status"]
        assert row["source"] == f"fact {row['fact']}"
        told = " ".join(fact[column] for column in ("year_from", "year_to", "statement", "note"))
        for column in ("not_before", "usual_from", "until"):
            assert row[column] in told, f"{row['fact']}: {row[column]}"
        if row["status"] != "read":
            # an order or a treaty that is known by heart is no statute that was read
            assert row["basis"] == row["status"].replace("-", " ")


def test_limits_speak_of_the_vocabulary(priors):
    seen = set()
    for row in committed(LIMITS):
        known = priors.vocabulary
        own = {*known.values[row["family"]], *known.narrower[row["family"]]}
        assert row["value"] in own
        assert (row["family"], row["value"], row["fact"]) not in seen
        seen.add((row["family"], row["value"], row["fact"]))
        years = [int(row[c]) for c in ("not_before", "usual_from", "until") if row[c]]
        assert years
        assert all(early <= late for early, late in pairwise(years))
    for row in committed(REASONS):
        assert row["value"] in ("any", *priors.vocabulary.values[row["family"]])


TRACE = 0.011  # per cent


def test_no_shipped_share_stands_before_its_first_year(priors):
    """Every knot of every shipped table: at most a trace (trials before the trade, which dating then takes
    for none), more only where the note says why."""
    looked = 0
    for row in committed(LIMITS):
        if not row["not_before"]:
            continue
        if float(row["allowed"]) > 0:
            assert row["note"]
            assert row["allowed"] in row["note"].split()
        table = priors.shares[row["family"]]
        if row["value"] not in table.values:
            continue  # a narrower word has no share of its own
        place = table.values.index(row["value"])
        for knots, shares in table.series.values():
            early = shares[knots < int(row["not_before"]), place]
            looked += early.size
            assert (early <= max(float(row["allowed"]), TRACE)).all(), (row["family"], row["value"])
    assert looked > 100


def test_what_museums_say_before_the_law_is_told(table):
    """A share of the tables by museums alone against the law has its row in the table."""
    told = {(row["family"], row["value"], row["decade"]) for row in table}
    compared = committed("museum/compared.csv")
    for limit in committed(LIMITS):
        for row in compared if limit["not_before"] else []:
            early = int(row["decade"]) + 10 <= int(limit["not_before"])
            same = (row["family"], row["value"]) == (limit["family"], limit["value"])
            if same and early and row["museum"] and float(row["museum"]) > 0:
                assert (row["family"], row["value"], row["decade"]) in told
