"""What selling costs: read from TOML, with nothing taken for granted and every slip named."""

from __future__ import annotations

import copy
import pickle
from pathlib import Path

import numpy as np
import pytest

from scarfdate import Costs, ScarfdateError, TableError, read_costs

ROOT = Path(__file__).parents[2]


def test_the_file_that_comes_along_states_everything() -> None:
    costs = read_costs(ROOT / "data" / "costs.toml")
    assert costs.currency == "EUR" and costs.not_stated == ()
    assert "fee: 6 % of the price" in str(costs) and "EUR" in costs._repr_html_()
    assert pickle.loads(pickle.dumps(costs)) == copy.deepcopy(costs) == costs


def test_what_is_not_stated_counts_as_nothing_and_is_named() -> None:
    costs = read_costs({"currency": "EUR", "postage": 4})
    assert costs.net(np.array(20.0)) == 16 and costs.a_piece == 0 and costs.interest == 0
    assert "fee percent" in str(costs) and "a last day" in str(costs)
    assert "postage" not in str(costs).partition("Not stated")[2]


def test_without_a_last_day_it_is_not_asked_what_clearing_brings() -> None:
    told = str(read_costs({"currency": "EUR", "fee_percent": 5})).partition("Not stated")[2]
    assert (
        "cleaning" in told and "minutes" in told and "a last day" in told and "cleared" not in told
    )
    told = str(read_costs({"currency": "EUR", "days_at_most": 100})).partition("Not stated")[2]
    assert "cleaning" in told and "cleared at" in told and "a last day" not in told


def test_a_file_of_64_kilobytes_is_read_and_no_longer_one(tmp_path: Path) -> None:
    file, text = tmp_path / "costs.toml", "postage = 4\n#"
    file.write_text(text + "x" * (2**16 - len(text)), "utf-8")
    assert read_costs(file).postage == 4
    file.write_text(text + "x" * (2**16 - len(text) + 1), "utf-8")
    with pytest.raises(TableError, match=r"costs\.toml"):
        read_costs(file)


def test_a_year_of_interest_is_the_interest_of_a_year() -> None:
    costs = Costs(interest_percent_a_year=7)
    assert np.exp(costs.interest * 365.25) == pytest.approx(1.07)


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"fee_percent": 101}, "fee_percent: a number from 0 to 100 %"),
        ({"postage": -1}, "postage: a number from 0"),
        ({"cleared_at": 1.5}, "cleared_at: a number from 0 to 1"),
        ({"minutes": "ten"}, "minutes"),
        ({"packing": float("nan")}, "packing"),
        ({"days_at_most": True}, "days_at_most"),
        ({"currency": "euro"}, "ISO 4217"),
        ({"currency": 3}, "ISO 4217"),
        ({"postge": 4}, "did you mean 'postage'"),
    ],
)
def test_what_cannot_be_is_refused_by_name(wrong: dict[str, object], named: str) -> None:
    with pytest.raises(TableError, match=named):
        read_costs(wrong)


def test_all_faults_of_a_file_are_told_at_once(tmp_path: Path) -> None:
    file = tmp_path / "costs.toml"
    file.write_text("fee_percent = 120\npostage = -4\nrent = 3\n", "utf-8")
    with pytest.raises(TableError) as refusal:
        read_costs(file)
    text = str(refusal.value)
    assert (
        all(name in text for name in ("fee_percent", "postage", "rent"))
        and text.count("costs.toml") == 3
    )


@pytest.mark.parametrize(
    "content", [b"fee_percent = \n", b"\xff\xfe\x00", b"[fees]\na = 1\n", b"a" * 70000]
)
def test_a_file_that_is_none_is_refused(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "costs.toml"
    file.write_bytes(content)
    with pytest.raises(TableError, match=r"costs\.toml"):
        read_costs(file)


@pytest.mark.parametrize("given", ["/no/such/costs.toml", "", "a\0b", 7, ["fee"]])
def test_what_is_no_file_is_refused(given: object) -> None:
    with pytest.raises(ScarfdateError):
        read_costs(given)  # type: ignore[arg-type]


def test_amounts_are_given_by_their_names() -> None:
    with pytest.raises(TypeError):  # twelve amounts in a row are soon mixed up
        Costs("EUR", 12)  # type: ignore[misc]
    with pytest.raises(AttributeError):
        Costs().postage = 3  # type: ignore[misc]
