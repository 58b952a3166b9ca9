"""What an older version wrote is read as it was meant, or refused with what to do; what a newer one wrote is refused.

The files in ``kept`` were written by the code of the commits in their names (see the head of this folder).
"""

from __future__ import annotations

import copy
import csv
import json
import pickle
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import scarfdate
from scarfdate import PriorsError, ScarfdateError, Sorting, load_priors, practice
from scarfdate.cli.front import cli
from scarfdate.columns.columns_map import read_columns_map
from scarfdate.formats import ALL, PRIORS, RESULT, Format
from scarfdate.tables.schema import shipped_folder
from tests.upgrades import KEPT, old_priors

AS_OF = 2026
OLD_RESULT = json.loads((KEPT / "result_5c52719.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return old_priors(tmp_path_factory.mktemp("old"))


@pytest.fixture(scope="module")
def upgraded(old: Path) -> tuple[scarfdate.Priors, list[str]]:
    notes: list[str] = []
    return scarfdate.upgrade_priors(old, old.with_name("new"), say=notes.append), notes


def copied(old: Path, to: Path) -> Path:
    return Path(shutil.copytree(old, to / "mine"))


# ------------------------------------------------------------------ folders of priors


def test_a_folder_of_5c52719_is_refused_with_what_to_do(old: Path) -> None:
    with pytest.raises(PriorsError) as refused:
        load_priors(old)
    first, *rest = refused.value.faults
    assert "scarfdate upgrade-priors OLD NEW" in str(first) and "older format than 2" in str(first)
    lacks = {(fault.file, fault.column) for fault in rest}
    assert {("checks.csv", "words"), ("label_use.csv", "series"), ("doubt.csv", None)} <= lacks


def test_nothing_of_an_older_folder_is_lost(
    old: Path, upgraded: tuple[scarfdate.Priors, list[str]]
) -> None:
    """Every row of every table is in the new folder, cell for cell; what is left out, or new, is told."""
    made, notes = upgraded
    for path in sorted(old.rglob("*.csv")):
        name = path.relative_to(old).as_posix()
        kept = [*csv.DictReader((Path(made.folder) / name).read_text("utf-8").splitlines())]
        before = [*csv.DictReader(path.read_text("utf-8").splitlines())]
        cells = {tuple(row[column] for column in before[0]) for row in kept}
        lost = [row for row in before if tuple(map(str.strip, row.values())) not in cells]
        finer = [
            int(n.split()[1]) for n in notes if n.startswith(name) and "a word that is new" in n
        ]
        left_out = len([n for n in notes if n.startswith(f"{name}: the row")])
        assert len(lost) == left_out + sum(finer), name
        for row in (
            lost if finer else ()
        ):  # another word for rayon is now a kind of it, and the same else
            (now,) = (one for one in kept if [*one.values()][:2] == [*row.values()][:2])
            assert row["reading"] in ("synonym", "one-of") and now["reading"] == "narrower"
            assert {*row["means"].split(" | ")} <= {*now["means"].split(" | ")}
        new = {*kept[0]} - {*before[0]}
        assert new == {n.split()[3] for n in notes if n.startswith(f"{name}: the column")}, name
    tables = {path.relative_to(old).as_posix() for path in old.rglob("*.csv")}
    there = {p.relative_to(made.folder).as_posix() for p in Path(made.folder).rglob("*.csv")}
    assert there - tables == {n.split(":")[0] for n in notes if "the folder had none" in n}
    assert "built_from.csv" not in there  # it would say that old tables were built from new records


def test_an_upgraded_folder_dates_as_5c52719_did(
    upgraded: tuple[scarfdate.Priors, list[str]],
) -> None:
    """Chances of decades of 30 pieces, beside those that 5c52719 gave: half of them differ by less than 1 in 200, in
    total variation, none by more than 1 in 8; with the tables of today they differ by five times as much."""
    stock = pd.read_csv(KEPT / "stock_5c52719.csv", dtype=object)
    then = pd.read_csv(KEPT / "decades_5c52719.csv").to_numpy()

    def apart(priors: scarfdate.Priors | None) -> np.ndarray:
        _, years = scarfdate.date_table(stock, priors=priors, as_of=AS_OF, with_years=True)
        decades = np.add.reduceat(years, np.arange(0, years.shape[1], 10), axis=1)
        return np.abs(decades - then).sum(axis=1) / 2

    own, shipped = apart(upgraded[0]), apart(None)
    assert np.median(own) < 0.005 and own.max() < 0.125
    assert np.median(shipped) > 5 * np.median(own)


@pytest.mark.slow
def test_own_edits_are_kept(old: Path, tmp_path: Path) -> None:
    mine = copied(old, tmp_path)
    slips = (mine / "slips.csv").read_text("utf-8").splitlines()
    own = slips[1].split(",")
    own[1] = "7.5"
    (mine / "slips.csv").write_text("\n".join([slips[0], ",".join(own), *slips[2:]]), "utf-8")
    with (mine / "vocabulary.csv").open("a", encoding="utf-8") as file:
        file.write("fibre,grandmother's cloth,synonym,silk,own\n")
    done = CliRunner().invoke(cli, ["upgrade-priors", str(mine), str(tmp_path / "new")])
    assert done.exit_code == 0, done.output
    assert "rows from the shipped table" in done.output and "no fault" in done.output
    made = load_priors(tmp_path / "new")
    assert made.slips[own[0]] == pytest.approx(0.075)
    assert scarfdate.Scarf(fibre="grandmother's cloth", priors=made).seen["fibre"]
    again = CliRunner().invoke(cli, ["upgrade-priors", str(mine), str(tmp_path / "new")])
    assert again.exit_code == 2 and "is there already" in again.output
    assert {path.name for path in tmp_path.iterdir()} == {"mine", "new"}


def test_what_is_refused_leaves_no_folder_and_names_the_right_one(tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    shutil.copy(shipped_folder() / "slips.csv", mine)
    (mine / "holiday.csv").write_text("day\n1\n", encoding="utf-8")
    done = CliRunner().invoke(cli, ["upgrade-priors", str(mine), str(tmp_path / "new")])
    assert done.exit_code == 2 and "holiday.csv: not a file of a priors folder" in done.output
    assert f"priors folder {mine}" in "".join(done.output.splitlines())
    assert not (tmp_path / "new").exists()


@pytest.mark.slow
def test_single_tables_of_an_older_format(old: Path, tmp_path: Path) -> None:
    """A folder without a descriptor: refused with the same advice, and upgraded to single tables again."""
    mine = tmp_path / "mine"
    mine.mkdir()
    shutil.copy(old / "checks.csv", mine)
    with pytest.raises(PriorsError, match="upgrade-priors"):
        load_priors(mine)
    made = scarfdate.upgrade_priors(mine, tmp_path / "new")
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["checks.csv"]
    assert len(made.checks) == len((old / "checks.csv").read_text("utf-8").splitlines()) - 2


@pytest.mark.slow
def test_what_cannot_be_upgraded_is_told_and_nothing_is_written(old: Path, tmp_path: Path) -> None:
    mine = copied(old, tmp_path)
    (mine / "slips.csv").write_text(
        "family,rate,altered,basis,source,note\nhem,much,,memory,,\n", "utf-8"
    )
    with pytest.raises(PriorsError, match="slips.csv, row 2, column rate"):
        scarfdate.upgrade_priors(mine, tmp_path / "new")
    with pytest.raises(ScarfdateError, match="there is nothing to upgrade"):
        scarfdate.upgrade_priors(shipped_folder(), tmp_path / "new")
    with pytest.raises(PriorsError, match="no such folder"):
        scarfdate.upgrade_priors(tmp_path / "nowhere", tmp_path / "new")
    (tmp_path / "empty").mkdir()
    with pytest.raises(PriorsError, match="holds no priors file"):
        scarfdate.upgrade_priors(tmp_path / "empty", tmp_path / "new")
    assert not (tmp_path / "new").exists()


@pytest.mark.slow
def test_a_folder_states_its_format_and_one_without_it_is_read_where_it_is_whole(
    tmp_path: Path,
) -> None:
    told = json.loads((shipped_folder() / "datapackage.json").read_text("utf-8"))
    assert told["format"] == PRIORS.version
    mine = Path(shutil.copytree(shipped_folder(), tmp_path / "mine"))
    del told["format"]
    (mine / "datapackage.json").write_text(json.dumps(told), "utf-8")
    same = load_priors(mine)
    assert same.hash == load_priors().hash


@pytest.mark.parametrize(
    ("stated", "said"),
    [(99, "update scarfdate"), ("2.0", "versions 1 to 2 are read here"), (0, "read here")],
)
def test_a_folder_of_another_format_is_refused_alone(
    tmp_path: Path, stated: object, said: str
) -> None:
    """One fault, not one for each table that is not as it was."""
    (tmp_path / "datapackage.json").write_text(
        json.dumps({"format": stated, "resources": [{"path": "no.csv"}]}), "utf-8"
    )
    for read in (load_priors, lambda path: scarfdate.upgrade_priors(path, tmp_path / "new")):
        with pytest.raises(PriorsError, match=said) as refused:
            read(tmp_path)  # type: ignore[operator]
        assert len(refused.value.faults) == 1


# ------------------------------------------------------------------ results


def test_an_old_result_says_whether_these_tables_are_behind_it(
    old: Path, upgraded: tuple[scarfdate.Priors, list[str]]
) -> None:
    """The hash of a folder is worked out as it was at 5c52719; an upgraded folder knows the one it came from."""
    made, _ = upgraded
    said = made.behind(OLD_RESULT)
    assert (
        "upgraded from" in said
        and "channel='thrift' and as_of=2026" in said
        and "older version" in said
    )
    other = load_priors().behind(OLD_RESULT)
    assert "Other tables are behind it" in other and OLD_RESULT["priors_hash"][:12] in other
    dating = scarfdate.date_scarf({"fibre": "silk"}, as_of=2020, channel="estate", priors=made)
    for kept in (dating, json.loads(json.dumps(dating.to_dict()))):
        said = made.behind(kept)
        assert "These tables are behind it" in said and "as_of=2020" in said and "estate" in said
        assert "older version" not in said
    assert "These tables" in made.behind(made.hash[:12])  # as a card or a screen shows it
    again = scarfdate.date_scarf({"fibre": "silk"}, as_of=2020, channel="estate", priors=made)
    assert again.to_dict() == dating.to_dict()


@pytest.mark.parametrize("wrong", [None, 5, "", "silk", {}, {"priors_hash": 3}, "abc", "f" * 65])
def test_what_is_no_result(wrong: object) -> None:
    with pytest.raises(ScarfdateError, match="a dating, what its to_dict gave, or the hash"):
        load_priors().behind(wrong)


def test_a_result_of_a_newer_version() -> None:
    newer = {**OLD_RESULT, "format": RESULT.version + 1}
    with pytest.raises(ScarfdateError, match="update scarfdate"):
        load_priors().behind(newer)


def test_a_pickled_dating_of_another_version() -> None:
    dating = scarfdate.date_scarf({"fibre": "silk"}, as_of=AS_OF)
    assert pickle.loads(pickle.dumps(dating)).to_dict() == dating.to_dict()
    state = dating.__getstate__()
    for changed, said in (
        (state | {"format": 2}, "update scarfdate, or date the piece again from its notes"),
        (
            {k: v for k, v in state.items() if k != "_seen"},
            "an older version; date the piece again",
        ),
    ):
        with pytest.raises(ScarfdateError, match=said):
            copy.copy(dating).__setstate__(changed)
    plain = {k: v for k, v in state.items() if k != "format"}  # of before there were versions
    blank = object.__new__(scarfdate.Dating)
    blank.__setstate__(plain)
    assert blank.to_dict() == dating.to_dict()


# ------------------------------------------------------------------ maps, costs, prices, progress, journal


def test_a_sold_book_with_its_map_of_5c52719_is_read_as_then() -> None:
    read = scarfdate.read_sold(KEPT / "sold_5c52719.csv", columns=KEPT / "map_5c52719.toml")
    then = pd.read_csv(KEPT / "sold_read_5c52719.csv", dtype=object)
    every = read.to_frame()
    now = every[every["id"].astype(str).isin(then["id"])]
    assert len(now) == len(then) == len(every) - 2  # a cell that cannot be read once cost the row
    assert now["known_from"].astype(str).tolist() == then["known_from"].tolist()
    assert now["known_to"].astype(str).tolist() == then["known_to"].tolist()
    assert now["known_by"].tolist() == then["known_by"].tolist()
    assert [*map(str, now["id"])] == then["id"].tolist()
    assert read_columns_map(KEPT / "museum_map_5c52719.toml").size_unit == "mm"


def test_progress_of_practice_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "mine.json"
    shutil.copy(KEPT / "practice_5cf8967.json", path)
    again = practice(progress=path)
    assert (again.settings.seed, len(again.outcomes)) == (6, 1)
    again.round().bet("1960s")
    assert json.loads(path.read_text("utf-8"))["version"] == 1


def test_a_sorting_table_goes_on(tmp_path: Path) -> None:
    stock = tmp_path / "stock.csv"
    shutil.copy(KEPT / "journal_stock_1204ac1.csv", stock)
    shutil.copy(KEPT / "journal_1204ac1.json", tmp_path / "stock.csv.on-the-table.json")
    screen = Sorting(stock, as_of=AS_OF).screen()
    assert "polyester" in str(screen)


def test_prices_and_costs_are_read() -> None:
    assert scarfdate.load_prices(KEPT / "prices_8f6dea0").invented
    assert scarfdate.read_costs(KEPT / "costs_8f6dea0.toml").currency == "EUR"


def _map(path: Path, version: object) -> object:
    path.write_text(f"format = {version}\n[columns]\nfibre = 'Stuff'\n", "utf-8")
    return read_columns_map(path)


def _sold(path: Path, version: object) -> object:
    return scarfdate.read_sold(
        pd.DataFrame({"Stuff": ["silk"], "known": ["1960"], "known_by": ["receipt"]}),
        columns={"format": version, "columns": {n: n for n in ("known", "known_by")}},
    )


def _costs(path: Path, version: object) -> object:
    path.write_text(f"format = {version}\npostage = 4\n", "utf-8")
    return scarfdate.read_costs(path)


def _prices(path: Path, version: object) -> object:
    shutil.copytree(KEPT / "prices_8f6dea0", path)
    whole = json.loads((path / "prices.json").read_text("utf-8"))
    (path / "prices.json").write_text(json.dumps(whole | {"version": version}), "utf-8")
    return scarfdate.load_prices(path)


def _progress(path: Path, version: object) -> object:
    whole = json.loads((KEPT / "practice_5cf8967.json").read_text("utf-8"))
    path.write_text(json.dumps(whole | {"version": version}), "utf-8")
    return practice(progress=path)


def _journal(path: Path, version: object) -> object:
    whole = json.loads((KEPT / "journal_1204ac1.json").read_text("utf-8"))
    beside = path.with_name("stock.csv.on-the-table.json")
    beside.write_text(json.dumps(whole | {"format": version}), "utf-8")
    return Sorting(path.with_name("stock.csv"), as_of=AS_OF)


@pytest.mark.parametrize("read", [_map, _sold, _costs, _prices, _progress, _journal])
def test_version_1_is_read_and_a_newer_one_refused(
    read: Callable[[Path, object], object], tmp_path: Path
) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    assert read(tmp_path / "one" / "it", 1) is not None
    with pytest.raises(
        ScarfdateError, match=r"newer version of scarfdate made it; update scarfdate"
    ):
        read(tmp_path / "two" / "it", 2)


@pytest.mark.parametrize("stated", [0, -1, True, 1.0, "1", [1]])
@pytest.mark.parametrize("form", ALL, ids=lambda form: form.what)
def test_what_is_no_version(form: Format, stated: object) -> None:
    with pytest.raises(ScarfdateError, match="has format version .* read here; do so"):
        form.checked(stated, "it", "do so")
    assert form.checked(None, "it") == 1 and form.checked(form.version, "it") == form.version
