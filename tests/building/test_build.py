"""Priors built from records: what is written, whether it loads, whether it is what is shipped."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from scarfdate import load_priors
from scarfdate.building import build
from scarfdate.building.build import Built, build_priors
from scarfdate.building.record_clues import record_clues
from scarfdate.cli import cli
from scarfdate.errors import PriorsError, ScarfdateError, TableError
from scarfdate.records.museum import read_records
from scarfdate.tables.priors import shipped_folder

SHIPPED = shipped_folder()
EXPORTS = Path(__file__).parents[2] / "data" / "museum_export"
MAPS = {"table.csv": "table.toml", "objects.jsonl": "objects.toml"}
LICENCE = "CC0 1.0 (invented records)"
# law and trade speak in it, too: each row has the basis of what speaks against the expert
DISAGREEMENTS = "museum/disagreements.csv"
NOT_VALUES = ("year", "grade", "market", "records", "basis", "source", "note")
YEARS = np.arange(1880, 2026)


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture(scope="module", params=sorted(MAPS))
def built(request, tmp_path_factory) -> tuple[Built, Path]:
    """Priors from an invented export, over a copy of the shipped ones."""
    folder = Path(shutil.copytree(SHIPPED, tmp_path_factory.mktemp("built") / "priors"))
    made = build_priors(
        [EXPORTS / request.param],
        folder,
        columns=EXPORTS / MAPS[request.param],
        licence=LICENCE,
        force=True,
    )
    return made, folder


@pytest.mark.slow
def test_what_is_built_loads_without_faults_and_dates(built):
    made, folder = built
    priors = load_priors(folder)
    assert priors.hash != load_priors().hash
    assert set(made.files) <= set(contents(folder))
    for name, content in made.files.items():
        assert (folder / name).read_bytes() == content
    density = priors.century.year(priors.century.channel("museum"), YEARS)
    assert density.sum() == pytest.approx(1)


@pytest.mark.slow
def test_files_not_built_are_left_as_they_were(built):
    made, folder = built
    before, after = contents(SHIPPED), contents(folder)
    for name in set(before) - set(made.files):
        assert after[name] == before[name], name


@pytest.mark.slow
def test_every_museum_row_says_where_it_comes_from(built):
    made, folder = built
    museum = [name for name in made.files if name.startswith(("museum/", "year_museum"))]
    museum = [name for name in museum if name != DISAGREEMENTS]
    assert len(museum) >= 10
    for name in museum:
        for row in rows_of(folder / name):
            assert row["basis"] == "museum", name
            assert made.records.hash[:16] in row["source"], name
            assert row["source"].endswith(LICENCE), name
            assert "build-priors" in row["source"], name


@pytest.mark.sampled(1)
def test_rows_that_records_moved_say_by_how_many(built):
    made, folder = built
    moved = 0
    for name in ("fibre", "weave", "print_technique"):
        expert = rows_of(SHIPPED / "expert" / "shares" / f"{name}.csv")
        for was, now in zip(expert, rows_of(folder / "shares" / f"{name}.csv"), strict=True):
            assert (was["year"], was["grade"], was["basis"]) == (
                now["year"],
                now["grade"],
                now["basis"],
            )
            values = [column for column in was if column not in NOT_VALUES]
            off = max(abs(float(was[value]) - float(now[value])) for value in values)
            if made.records.hash[:8] in now["source"]:
                moved += 1
            else:
                # fewer than 0.05 records, of at least 40 that the expert's row counts for
                assert now["source"] == was["source"]
                assert off < 0.5, (name, now)
    assert moved > 0


def test_shares_sum_to_a_hundred(built):
    made, folder = built
    tables = [name for name in made.files if "shares/" in name]
    assert len(tables) >= 10
    for name in tables:
        for row in rows_of(folder / name):
            numbers = [float(cell) for column, cell in row.items() if column not in NOT_VALUES]
            assert sum(numbers) == pytest.approx(100, abs=0.01), (name, row)
            assert min(numbers) >= 0, (name, row)


def test_the_impossible_of_the_expert_rows_stays_impossible(built):
    _, folder = built
    zeros = 0
    for name in ("fibre", "weave", "print_technique"):
        expert = rows_of(SHIPPED / "expert" / "shares" / f"{name}.csv")
        for was, now in zip(expert, rows_of(folder / "shares" / f"{name}.csv"), strict=True):
            for column in set(was) - set(NOT_VALUES):
                if float(was[column]) == 0:
                    zeros += 1
                    assert float(now[column]) == 0
    assert zeros > 0


# ------------------------------------------------------------------------------- bad records

HEAD = "source,record_id,object_type,year_begin,year_end,medium_text\n"


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "the file is empty"),
        (HEAD.encode(), "there is not one record in it"),
        ((HEAD + "a,1,scarf,,,silk\n").encode(), "1 undated"),
        ((HEAD + "a,1,scarf,1960,1950,silk\n").encode(), "it begins after it ends"),
        ((HEAD + "a,1,scarf,3050,3059,silk\n").encode(), "year"),
        (b"\x00\xff\xfe" * 40, "not UTF-8"),
    ],
)
def test_nothing_is_written_when_the_records_are_bad(tmp_path, content, says):
    records, folder = tmp_path / "records.csv", tmp_path / "priors"
    records.write_bytes(content)
    shutil.copytree(SHIPPED, folder)
    before = contents(folder)
    with pytest.raises(TableError, match=says):
        build_priors([records], folder, force=True)
    assert contents(folder) == before
    with pytest.raises(TableError, match=says):
        build_priors([records], tmp_path / "fresh")
    assert not (tmp_path / "fresh").exists()


def test_what_is_not_there_is_named(tmp_path):
    table, out = EXPORTS / "table.csv", tmp_path / "out"
    with pytest.raises(TableError, match=r"absent\.csv: there is no such file"):
        build_priors([tmp_path / "absent.csv"], out)
    with pytest.raises(TableError, match=r"absent\.toml"):
        build_priors([table], out, columns=tmp_path / "absent.toml")
    with pytest.raises(TableError, match=r"absent\.csv"):
        build_priors([table], out, columns=EXPORTS / "table.toml", trade=tmp_path / "absent.csv")
    with pytest.raises(TableError, match="empty list"):
        build_priors([], out)
    assert not out.exists()


def test_a_map_with_unknown_columns_is_refused(tmp_path):
    columns = tmp_path / "map.toml"
    columns.write_text('[columns]\nnonsense = "x"\n')
    with pytest.raises(ScarfdateError, match="nonsense.*none of our columns"):
        build_priors([EXPORTS / "table.csv"], tmp_path / "out", columns=columns)
    assert not (tmp_path / "out").exists()


# ------------------------------------------------------------------------------- the shipped tables


def unit_of(cell: str) -> float:
    """One in the last digit that a number is written with."""
    digits = cell.lower().partition("e")[0].partition(".")[2]
    return 10.0 ** -len(digits)


def alike(one: str, other: str) -> bool:
    """Equal as text, or as numbers within a thousandth or one in the last digit of either."""
    if one == other:
        return True
    try:
        mine, its = float(one), float(other)
    except ValueError:
        return False
    return abs(mine - its) <= 1.001 * max(1e-3 * abs(its), unit_of(one), unit_of(other))


def test_alike_is_neither_blind_nor_petty():
    assert alike("12.34", "12.35") and alike("0.001234", "0.001235") and alike("silk", "silk")
    assert not alike("12.34", "12.40") and not alike("", "0") and not alike("silk", "wool")
    assert not alike("1000", "1003")


@pytest.mark.slow
def test_the_shipped_tables_are_what_the_records_make(shared, tmp_path):
    """About a minute: every choice (smoothing, borrowing) is made again."""
    museum = shared / "museum"
    source = rows_of(SHIPPED / "year_museum.csv")[0]["source"]
    made = build_priors(
        [museum / "records.csv", museum / "harvested.csv"],
        tmp_path,
        trade=shared / "trade" / "descriptions.csv",
        licence=source.split("; ", 2)[2],
        force=True,
    )
    assert made.records.hash[:16] in source
    assert len(made.files) > 30
    differ = []
    for name in sorted(made.files):
        fresh, shipped = rows_of(tmp_path / name), rows_of(SHIPPED / name)
        assert list(fresh[0]) == list(shipped[0]), name
        assert len(fresh) == len(shipped), name
        differ += [
            f"{name}, row {place + 2}, {column}: shipped {its[column]}, built {cell}"
            for place, (mine, its) in enumerate(zip(fresh, shipped, strict=True))
            for column, cell in mine.items()
            if not alike(cell, its[column])
        ]
    assert not differ, f"{len(differ)} cells differ, the first: {differ[:5]}"


# ------------------------------------------------------------------------------- order of methods

# What is tested below is textile history as we know it (memory); no rule about it went into the
# tables of `priors/museum`, which rest on what records say and when.


@pytest.fixture(scope="module")
def museum_only() -> dict[str, dict[str, np.ndarray]]:
    """Shares by family, value and year, in per cent, of the museum-only tables."""
    found = {}
    for family in ("print_technique", "fibre"):
        table = load_priors().sets["museum"].shares[family]
        shares = 100 * table.every_year(YEARS)[:, 0, 0]
        found[family] = dict(zip(table.values, shares, strict=True))
    return found


def between(first: int, last: int) -> np.ndarray:
    return (first <= YEARS) & (last >= YEARS)


def test_roller_before_screen(museum_only):
    of = museum_only["print_technique"]
    roller, screen = of["engraved-roller"], of["hand-screen"] + of["machine-screen"]
    # from 1910 block prints take most of what records call just "printed": roller and screen are both few
    assert (roller > 3 * screen)[between(1880, 1905)].all()
    assert (roller > screen)[between(1880, 1930)].all()
    # until 1948 hand screens are all of it (law_limits.csv); from 1995 there are fewer records than
    # `museum_pull` adds of all years, when the roller was common
    assert (screen > 1.5 * roller)[between(1948, 1994)].all()
    assert (screen > roller)[between(1945, 2009)].all()
    turn = int(YEARS[(screen > roller) & (YEARS > 1900)][0])
    print(f"screen overtakes the engraved roller in {turn}")
    assert 1930 < turn < 1950


def test_screen_prevails_after_the_1960s(museum_only):
    of = museum_only["print_technique"]
    screen = of["hand-screen"] + of["machine-screen"]
    share = screen / (screen + of["block"] + of["engraved-roller"])
    print(f"lowest share of screen 1970-1990: {share[between(1970, 1990)].min():.2f}")
    assert (share[between(1970, 1990)] > 0.8).all()
    # half a dozen records near 1995 and 2000, and `museum_pull` adds ten of all years, most of them printed
    # otherwise: screens still lead, by less
    assert (share[between(1991, 2009)] > 0.5).all()
    # none before the patent of 1907 (law_limits.csv); "printed" alone is any method, and a little of it falls to
    # screens from then on, with what `museum_pull` adds of all years
    assert (share[between(1880, 1906)] == 0).all()
    assert (share[between(1907, 1910)] < 0.15).all()
    assert (share[between(1911, 1920)] < 0.2).all()


def test_ink_jet_only_from_the_1990s(museum_only):
    digital = museum_only["print_technique"]["digital"]
    print(
        f"digital: at most {digital[between(1880, 1979)].max():.3f} % before 1980, {digital.max():.1f} % at most"
    )
    assert (digital[between(1880, 1988)] == 0).all()  # law_limits.csv
    # near 2000 and 2010 are 4 and 2 records, and `museum_pull` adds ten of all years: the peak at 2005, with
    # 15, is less drawn down
    assert (digital[between(2000, 2010)] > 3).all()
    assert digital[between(2005, 2005)].item() > 10
    assert (np.diff(digital[between(1988, 2003)]) > 0).all()


def test_ink_jet_rests_on_records_that_say_so(shared):
    """Few: the rise of the table after 1995 is theirs, and no more can be read from it."""
    records = read_records([shared / "museum" / name for name in ("records.csv", "harvested.csv")])
    cells, which = record_clues(records, load_priors()).cells["print_technique"]
    plain = np.array([cell == "digital" for cell in cells])[which]
    begun = sorted(records.first[plain].tolist())
    assert begun, "no record states digital printing: its museum share is but the floor"
    print(f"{len(begun)} records state digital printing, made from {begun[0]}")
    assert begun[0] >= 1990


def test_synthetic_fibres_from_the_1950s(museum_only):
    of = museum_only["fibre"]
    synthetic = of["nylon"] + of["polyester"] + of["acrylic"]
    decades = [float(synthetic[between(year, year + 9)].mean()) for year in range(1930, 1990, 10)]
    print("synthetics by decade from the 1930s, per cent:", np.round(decades, 2))
    assert (synthetic[between(1880, 1930)] < 0.2).all()
    # catalogues say "synthetic" of rayon, too, and the tables do not know when the others began
    assert (synthetic[between(1931, 1939)] < 1).all()
    # most cloth of these museums is silk, cotton and blends: the level is low, the order plain
    assert decades[-1] > 10 * decades[0] and decades[-1] > 3
    assert decades[4] > decades[3] > decades[0]
    assert (of["rayon"] > 3 * of["polyester"])[between(1930, 1955)].all()
    assert (of["polyester"] > of["rayon"])[between(1971, 1999)].all()


@pytest.mark.slow
def test_what_cannot_be_built_or_written_is_said_and_does_not_hang(tmp_path):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    for out, last, kind, words in (
        (tmp_path / "file", 2025, ScarfdateError, "is no folder"),
        (tmp_path / "out", "x", ScarfdateError, "a whole year"),
        (tmp_path / "out", 1950, ScarfdateError, "do not determine a density"),
    ):
        with pytest.raises(kind, match=words):
            build_priors(
                [EXPORTS / "table.csv"], out, columns=EXPORTS / "table.toml", last_year=last
            )
    assert not (tmp_path / "out").exists()


@pytest.mark.slow
def test_a_smoothing_chosen_on_a_sample_is_chosen_on_whole_clumps(monkeypatch):
    """Of more clumps than are needed some are drawn; with no more than that, all are, and nothing changes."""
    records = read_records(EXPORTS / "table.csv", EXPORTS / MAPS["table.csv"])
    assert build._sample(records, records.effective, 7).all()
    few = records.effective // 3
    drawn = build._sample(records, few, 7)
    assert len(np.unique(records.clump[drawn])) == few
    for clump in np.unique(records.clump):
        assert len(set(drawn[records.clump == clump])) == 1
    assert not np.array_equal(drawn, build._sample(records, few, 8))

    tried = []

    def seen(noted, density, fold):
        tried.append((noted.weight.sum(), fold))
        return build.Smoothing(bandwidth=8.0, pull=3.0), []

    monkeypatch.setattr(build, "chosen_smoothing", seen)
    monkeypatch.setattr(build, "_CHOSEN_FROM", few)
    made = build.built_from(records, load_priors(), licence=LICENCE, last_year=2025)
    (weight, fold), *more = tried
    assert not more and weight == pytest.approx(few)  # a clump counts once
    assert len(set(fold.tolist())) > 1
    # the tables themselves rest on all records
    everything = sum(counts.sum() for counts in made.clues.counts.values())
    assert everything > 2 * few


# ------------------------------------------------------------------------------- sizes that are all alike

YEARS_OF = "year_museum.csv"
_HAS_FORM = "source,record_id,object_type,date_text,medium_text,width_cm,height_cm\n"


def _of_sizes(folder: Path, sizes: list[str]) -> Path:
    """Records of sixty years, the sizes of one after the other; blank for those left over."""
    rows = [
        f"a,{number},scarf,{1900 + number},silk; {'printed' if number % 2 else 'twill'},{size},{size}\n"
        for number, size in enumerate([*sizes, *[""] * (60 - len(sizes))])
    ]
    records = folder / "records.csv"
    records.write_text(_HAS_FORM + "".join(rows), encoding="utf-8")
    return records


@pytest.mark.slow
@pytest.mark.parametrize("sizes", [["90"], ["90"] * 5, ["88"] * 60])
def test_sizes_that_are_all_alike_make_whole_tables(tmp_path, sizes):
    """One piece of all has a size, or all have the same: their spread is no nothing to divide by."""
    folder = Path(shutil.copytree(SHIPPED, tmp_path / "priors"))
    made = build_priors([_of_sizes(tmp_path, sizes)], folder, force=True)
    assert not any(b"nan" in content for content in made.files.values())
    long_side = rows_of(folder / "museum" / "measured" / "long_side.csv")
    # a side is read on steps of 3 %
    medians = [float(row["median"]) for row in long_side]
    assert medians == pytest.approx([float(sizes[0])] * len(medians), rel=0.015)
    assert load_priors(folder).hash


@pytest.mark.slow
def test_no_table_is_written_that_check_priors_refuses(tmp_path, monkeypatch):
    """Whatever an estimate may come to, it is held against the schema before a good folder is touched."""
    folder = Path(shutil.copytree(SHIPPED, tmp_path / "priors"))
    before = contents(folder)
    made = build.built_files
    monkeypatch.setattr(
        build, "built_files",
        lambda of: (files := made(of)) | {YEARS_OF: files[YEARS_OF].replace(b",museum,", b"nan,museum,", 1)},
    )  # fmt: skip
    with pytest.raises(PriorsError, match="not a number|is not allowed"):
        build_priors([_of_sizes(tmp_path, ["90", "88"])], folder, force=True)
    assert contents(folder) == before


def test_tables_that_are_there_are_written_over_only_by_force(tmp_path, monkeypatch):
    """A folder may hold rows that somebody wrote by hand; that of an unset variable is the one that one stands in."""
    folder = tmp_path / "mine"
    (folder / "shares").mkdir(parents=True)
    (folder / "shares" / "fibre.csv").write_text("MY OWN ROWS\n", encoding="utf-8")
    before = contents(folder)
    monkeypatch.chdir(tmp_path)
    given = [
        "build-priors",
        str(EXPORTS / "table.csv"),
        "--map",
        str(EXPORTS / "table.toml"),
        "--out",
    ]
    for out, words in (
        ("mine", "is there already; choose a new name, or --force to write over"),
        (".", "is there already"),
        ("", "out: the name is empty"),
        ("nowhere/new", "the folder that it is to lie in is not there"),
    ):
        result = CliRunner().invoke(cli, [*given, out])
        assert result.exit_code == 2, result.output
        assert words in " ".join(result.output.split()), result.output
        assert "reading" not in result.output  # it is refused before the work
    assert contents(folder) == before
    assert [path.name for path in tmp_path.iterdir()] == ["mine"]


@pytest.mark.slow
def test_the_command_says_what_was_left_out_and_why(tmp_path):
    rows = [
        f"a,{number},{'brooch' if number % 3 else 'shawls'},{1900 + number},silk; printed,90,{88 + number % 5}\n"
        for number in range(90)
    ]
    rows += ["a,w,scarf,1600-1990,silk,,\n", "a,u,shawls,vaguely modern,silk,,\n"]
    records = tmp_path / "records.csv"
    records.write_text(_HAS_FORM + "".join(rows), encoding="utf-8")
    result = CliRunner().invoke(cli, ["build-priors", str(records), "--out", str(tmp_path / "out")])
    said = " ".join(result.output.split())
    assert result.exit_code == 0, said
    counts = "92 rows: 90 dated records in 90 clumps; left out: 1 too wide, 1 date not understood."
    for words in (counts, "60 other, 30 scarf-like", "'brooch' (60)", "'vaguely modern' (1)"):
        assert words in said, said
    assert CliRunner().invoke(cli, ["check-priors", str(tmp_path / "out")]).exit_code == 0
