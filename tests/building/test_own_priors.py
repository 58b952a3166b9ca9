"""Tables are built under the caller's priors throughout; what is built outlives a pickle and a copy.

Records, trade descriptions and words of one's own are invented.
"""

from __future__ import annotations

import copy
import csv
import pickle
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

from scarfdate import Priors, load_priors
from scarfdate.building.build import Built, build_priors, built_from
from scarfdate.building.trade_tables import trade_tables
from scarfdate.errors import PriorsError, ScarfdateError
from scarfdate.tables.priors import shipped_folder

HEADER = "source,record_id,object_type,year_begin,year_end,medium_text,country,year_acquired\n"
OWN_WORDS = """\
origin,freedonia,synonym,italy,invented
form,wimplette,synonym,square,invented
hem,picoted,synonym,hand-rolled,invented
"""
MAP = """\
[columns]
source = "source"
record_id = "record_id"
object_type = "object_type"
year_begin = "year_begin"
year_end = "year_end"
medium_text = "medium_text"
country = "country"
year_acquired = "year_acquired"

[kinds]
scarf-like = ["wimplette"]
printed-textile = ["furnishing print"]
"""
TRADE = """\
seller_key,year_begin,year_end,kind,hem,fibre,motif
s1,1950,1959,object,picoted,silk,dots
s1,1950,1959,object,picoted,silk,floral
s2,1960,1969,object,hemmed,cotton,dots
"""


def extended(folder: Path, name: str, rows: str) -> None:
    """The shipped file with rows of one's own, in a folder of single files."""
    folder.mkdir(exist_ok=True)
    text = (shipped_folder() / name).read_text(encoding="utf-8")
    (folder / name).write_text(text + rows, encoding="utf-8")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("own")
    own = place / "words"
    extended(own, "vocabulary.csv", OWN_WORDS)
    extended(own, "medium_rules.csv", "zephyrine,en,fibre,silk,memory,,invented\n")
    text = (shipped_folder() / "allowances.csv").read_text(encoding="utf-8")
    (own / "allowances.csv").write_text(
        text.replace("seller_cap,3,", "seller_cap,1,").replace("date_half,60,", "date_half,70,"),
        encoding="utf-8",
    )
    rng = np.random.default_rng(4)
    lines = []
    for number in range(60):
        first = 1900 + int(rng.integers(0, 55))
        last = first + int(rng.choice([0, 9, 65]))
        what = "wimplette" if number % 2 else "furnishing print"
        cloth = ("zephyrine", "cotton")[number % 3 == 0]
        lines.append(
            f"m{number % 20},{number},{what},{first},{last},{cloth},Freedonia,{last + number}\n"
        )
    (place / "records.csv").write_text(HEADER + "".join(lines), encoding="utf-8")
    (place / "map.toml").write_text(MAP, encoding="utf-8")
    (place / "trade.csv").write_text(TRADE, encoding="utf-8")
    return place


def build(place: Path, out: str, priors: Priors | None) -> Built:
    return build_priors(
        [place / "records.csv"], place / out, columns=place / "map.toml",
        trade=place / "trade.csv", priors=priors,
    )  # fmt: skip


@pytest.fixture(scope="module")
def built(place: Path) -> Built:
    return build(place, "out", load_priors(place / "words"))


def words_of(built: Built, family: str) -> set[str]:
    return set(built.record_clues.cells[family][0])


@pytest.mark.slow
def test_words_of_ones_own_are_read(built: Built) -> None:
    assert built.trade is not None and not built.trade.faults
    assert not built.record_clues.unread
    assert words_of(built, "fibre") == {"silk", "cotton"}
    assert words_of(built, "origin") <= {"italy", ""}
    assert "square" in words_of(built, "form")
    hems = [row.seen["hem"].word for row in built.trade.rows]
    assert hems == ["hand-rolled", "hand-rolled", "hemmed"]


@pytest.mark.slow
def test_records_without_sizes_leave_the_sizes_as_they_were(built: Built) -> None:
    assert "museum/measured/long_side.csv" not in built.files
    expert = (shipped_folder() / "expert" / "measured" / "long_side.csv").read_text("utf-8")
    columns = ("year", "grade", "given", "median", "spread", "source")
    lines = (expert.splitlines(), built.files["measured/long_side.csv"].decode().splitlines())
    for was, now in zip(*map(csv.DictReader, lines), strict=True):
        assert [float(was[c]) for c in columns[3:5]] == pytest.approx(
            [float(now[c]) for c in columns[3:5]], rel=1e-3
        )
        assert [was[c] for c in columns[:3]] == [now[c] for c in columns[:3]]
        assert was["source"] == now["source"]


@pytest.mark.slow
def test_the_shipped_words_do_not_know_them(place: Path) -> None:
    """The alarm rings: what the test above reads is not read by the shipped words."""
    plain = build(place, "shipped", None)
    assert plain.trade is not None and len(plain.trade.faults) == 2
    assert plain.record_clues.unread == {"Freedonia": 60, "zephyrine": 40}
    assert words_of(plain, "fibre") == {"", "cotton"}


@pytest.mark.slow
def test_numbers_of_ones_own_are_used(built: Built) -> None:
    assert built.trade is not None
    assert [row.weight for row in built.trade.rows] == [0.5, 0.5, 1.0]
    stated = {
        row["statement"]
        for row in csv.DictReader(built.files["museum/intervals.csv"].decode().splitlines())
    }
    assert "31 to 70 years" in stated and "over 60 years" not in stated


@pytest.mark.slow
def test_families_of_the_records_are_asked_for(built: Built) -> None:
    priors = load_priors()
    less = {name: family for name, family in priors.families.items() if name != "fibre"}
    without = replace(priors, families=MappingProxyType(less), _compiled={})
    with pytest.raises(ScarfdateError, match=r"no family fibre.*families\.csv"):
        built_from(built.records, without)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("rows", "match"),
    [
        ("gossip,motif,any,auction,memory,,\n", "gossip"),
        ("trade,motive,any,auction,memory,,\n", "motive"),
        ("trade,motif,stars and bars,auction,memory,,\n", "stars and bars"),
        ("trade,motif,any,bazaar,memory,,\n", "bazaar"),
        ("trade,motif,any,auction,hearsay,,\n", "hearsay"),
    ],
)
def test_a_wrong_row_of_what_tables_are_built_from_is_refused(
    built: Built, tmp_path: Path, rows: str, match: str
) -> None:
    extended(tmp_path, "built_from.csv", rows)
    with pytest.raises(PriorsError, match=f"built_from.csv.*{match}"):
        built_from(built.records, load_priors(tmp_path))


@pytest.mark.slow
def test_a_family_is_not_built_from_what_its_row_does_not_name(place: Path, built: Built) -> None:
    own = shutil.copytree(place / "words", place / "no hems")
    lines = (shipped_folder() / "built_from.csv").read_text("utf-8").splitlines(keepends=True)
    (own / "built_from.csv").write_text("".join(x for x in lines if "hem," not in x), "utf-8")
    less = build(place, "less", load_priors(own))
    assert set(built.files) - set(less.files) == {"shares/hem.csv"}
    compared = less.files["museum/compared.csv"].decode()
    assert "\nhem," in built.files["museum/compared.csv"].decode() and "\nhem," not in compared


@pytest.mark.slow
@pytest.mark.parametrize(
    "again",
    [lambda one: pickle.loads(pickle.dumps(one)), copy.copy, copy.deepcopy],
    ids=["pickle", "copy", "deep copy"],
)
def test_what_is_built_is_the_same_after_a_pickle_and_a_copy(
    built: Built, again: Callable[[Built], Built]
) -> None:
    other = again(built)
    assert other.files == built.files
    assert other.borrowed == built.borrowed
    assert other.smoothing == built.smoothing
    assert other.records.hash == built.records.hash
    np.testing.assert_array_equal(other.years.density["density"], built.years.density["density"])
    for family, shares in built.clues.shares.items():
        np.testing.assert_array_equal(other.clues.shares[family], shares)
    assert built.trade is not None and other.trade is not None
    assert other.trade.rows == built.trade.rows
    own = "form", "hem", "fibre"  # no parent words, so that no shares of the priors are asked for
    one, two = trade_tables(built.trade), trade_tables(other.trade)
    assert all(one[f"{family}.csv"] == two[f"{family}.csv"] for family in own)
    assert (other.record_clues.frame() == built.record_clues.frame()).to_numpy().sum() > 0
