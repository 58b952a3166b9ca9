"""The verbs at the prompt are those of the library: the same names, words and refusals."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result

import scarfdate
from scarfdate import cli

ROOT = Path(__file__).resolve().parent.parent
STOCK = str(ROOT / "data" / "stock.csv")
SOLD = str(ROOT / "data" / "sold.csv")
MAP = str(ROOT / "data" / "sold_columns" / "thrackwindle.toml")
SQUARE = {"fibre": "silk", "hem": "hand-rolled", "layout": "colour-blocks"}
TYPED = [f"{name}={value}" for name, value in SQUARE.items()]
AS_OF = ["--as-of", "2026"]


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(cli.cli, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.output
    return result


def words(text: str) -> str:
    """Text without its line ends, which a screen puts elsewhere."""
    return "".join(text.split())


def test_every_verb_is_a_name_of_the_library() -> None:
    """`show` is `date_scarf`, `date` is `date_table`, and so on; nothing else is at the prompt."""
    of = {
        "show": "date_scarf", "date": "date_table", "explain": "explain", "next": "next_checks",
        "compare": "compare", "label": "read_label", "card": "pocket_card", "learn": "learn",
        "score": "score", "simulate": "simulate", "build-priors": "build_priors",
        "check-priors": "load_priors", "words": "load_priors", "template": "write_template",
        "dry-run": "dry_run", "compare-priors": "compare_priors", "upgrade-priors": "upgrade_priors",
        "appraise": "appraise", "shelf": "shelf", "learn-prices": "learn_prices",
        "describe": "describe", "lessons": "write_lessons", "practice": "practice",
    }  # fmt: skip
    assert set(cli.cli.commands) == set(of)
    assert set(of.values()) <= set(scarfdate.__all__)


def test_explain() -> None:
    result = run("explain", *TYPED, "--claim", "1960s rather than 1970s", *AS_OF)
    why = scarfdate.explain(SQUARE, "1960s rather than 1970s", as_of=2026)
    assert result.exit_code == 0 and words(str(why)) in words(result.output)
    for edge in scarfdate.edges(SQUARE, as_of=2026):
        assert words(str(edge)) in words(result.output)


def test_explain_with_more() -> None:
    result = run("explain", STOCK, "--id", "V012", "--conflict", "--sensitivity", *AS_OF)
    assert result.exit_code == 0 and "ordinary pieces" in " ".join(result.output.split())


# ------------------------------------------------- a row of a file is read in one way by all verbs

ONE_PIECE = [
    ("show",),
    ("show", "--listing", "en"),
    ("explain",),
    ("next",),
    ("describe",),
    ("appraise",),
]


@pytest.fixture
def sheet(tmp_path: Path) -> str:
    """Sizes whose unit stands in the heading alone, and a word that nobody knows."""
    path = tmp_path / "bestand.csv"
    path.write_text(
        "Nr.;Material;Maße (cm);Motiv;VK\n1;Seide;140 x 70;plump;30\n2;Wolle;90 x 90;;8\n"
    )
    return str(path)


@pytest.mark.parametrize("verb", ONE_PIECE)
def test_every_verb_reads_the_unit_of_a_heading(verb: tuple[str, ...], sheet: str) -> None:
    result = run(verb[0], sheet, "--id", "1", *verb[1:], *AS_OF)
    assert "without a unit" not in result.output
    assert "plump" in result.output  # what is not read is named by each of them


def test_a_piece_is_priced_the_same_in_its_sheet_and_by_its_id(sheet: str) -> None:
    row = next(
        line for line in run("appraise", sheet, *AS_OF).output.splitlines() if line.startswith("1 ")
    )
    alone = " ".join(run("appraise", sheet, "--id", "1", *AS_OF).output.split())
    sells_for = row.split()[3]
    assert f"It sells for about {sells_for} " in alone


@pytest.mark.parametrize("verb", [*ONE_PIECE, ("date",), ("dry-run",), ("compare",)])
def test_every_verb_takes_unit_and_sheet(verb: tuple[str, ...], tmp_path: Path) -> None:
    path = tmp_path / "two.xlsx"
    with pd.ExcelWriter(path) as book:
        pd.DataFrame({"id": ["x"], "fibre": ["wool"]}).to_excel(book, sheet_name="a", index=False)
        frame = pd.DataFrame(
            {"id": ["1", "2"], "fibre": ["silk", "cotton"], "size": ["90 x 90", "70x70"]}
        )
        frame.to_excel(book, sheet_name="b", index=False)
    wanted = [] if verb[0] in ("date", "dry-run") else ["--id", "1"]
    wanted += ["--id", "2"] if verb[0] == "compare" else []
    without = run(*verb, str(path), *wanted, "--sheet", "b")
    result = run(*verb, str(path), *wanted, "--sheet", "b", "--unit", "cm")
    assert "without a unit" in " ".join(without.output.split())
    assert "without a unit" not in result.output and "No such option" not in result.output


def test_what_is_not_read_reaches_the_price_of_a_sheet_and_of_a_lot(tmp_path: Path) -> None:
    path = tmp_path / "offered.csv"
    path.write_text("id,fibre,size,asking price\na,sillk,90x90,5\nb,silk,90 x 90,6\n")
    for more in ([], ["--lot", "20"]):
        result = run("appraise", str(path), *more)
        said = " ".join(result.output.split())
        assert result.exit_code == 1
        assert "a: left out: fibre: no word 'sillk'" in said and "a length without a unit" in said
        assert "b: left out: size" in said
    table = scarfdate.appraise_table(pd.read_csv(path))
    assert "sillk" in table.set_index("id")["not_read"]["a"]
    lot = scarfdate.appraise_lot(pd.read_csv(path), unit="cm")
    assert ["sillk" in told for told in lot.not_read[0]] == [True]


@pytest.mark.parametrize(
    ("sizes", "unit"),
    [
        (["90 x 90 cm", "70 x 70"], "cm"), (["34 in", '35"', "36 x 36"], "in"), (["90 x 90 cm", "35 in", "70 x 70"], ""),
        (["90 x 90", "70 x 70"], ""), (["34 in", "90 x 90"], ""), (["35 1/2 in", "34 x 34"], "in"),
    ],
)  # fmt: skip
def test_a_size_without_a_unit_is_in_that_of_all_others(
    tmp_path: Path, sizes: list[str], unit: str
) -> None:
    """Or asked for once, where they do not agree, or where it may well be of another."""
    path = tmp_path / "stock.csv"
    pd.DataFrame({"fibre": "silk", "size": sizes, "sold_price": "5 EUR"}).to_csv(path, index=False)
    for verb in ("date", "dry-run"):
        said = " ".join(run(verb, str(path)).output.split())
        assert ("without a unit is read in" in said) == bool(unit)
        assert ("a length without a unit" in said) == (not unit)
        assert said.count("--unit cm or --unit in") <= 1 or verb == "dry-run"
        if unit:
            assert f"read in {unit}, as all others of the column" in said
    notes = " ".join(scarfdate.read_book(path).notes)
    assert ("is read in" in notes) == bool(unit) and ("a length without a unit" in notes) == (
        not unit
    )


def test_a_book_takes_the_unit_of_its_heading_or_of_the_option(tmp_path: Path) -> None:
    rows = {"fibre": ["silk"], "size": ["90 x 70"], "sold_price": ["5 EUR"]}
    assert any("without a unit" in note for note in scarfdate.read_book(pd.DataFrame(rows)).notes)
    headed = pd.DataFrame(
        {"Size (cm)" if name == "size" else name: cells for name, cells in rows.items()}
    )
    mapped = {name: name if name != "size" else "Size (cm)" for name in rows}
    for book in (
        scarfdate.read_book(headed), scarfdate.read_book(headed, columns=mapped),
        scarfdate.read_book(pd.DataFrame(rows), unit="cm"),
    ):  # fmt: skip
        assert not any("without a unit" in note for note in book.notes)
        assert scarfdate.Scarf.from_dict(dict(book.clues.iloc[0])).seen["size"]


def test_a_claim_that_is_not_understood() -> None:
    result = run("explain", *TYPED, "--claim", "the good old days")
    with pytest.raises(scarfdate.WordError) as refusal:
        scarfdate.explain(SQUARE, "the good old days")
    assert result.exit_code == 2 and words(str(refusal.value)) in words(result.output)


@pytest.mark.slow
def test_next() -> None:
    result = run("next", "fibre=silk", "--minutes", "0.5", *AS_OF)
    looks = scarfdate.next_checks({"fibre": "silk"}, minutes=0.5, as_of=2026)
    assert result.exit_code == 0 and words(str(looks)) == words(result.output)
    harmful = run("next", "fibre=silk", "--harmful", "--worth", "10", "--at-stake", "500", *AS_OF)
    assert harmful.exit_code == 0 and harmful.output != result.output
    assert run("next", "fibre=silk", "--worth", "10").exit_code == 2


@pytest.mark.parametrize(
    "pieces", [[STOCK, "--id", "V012", "--id", "V013"], [" ".join(TYPED), "fibre=polyester"]]
)
def test_compare(pieces: list[str]) -> None:
    result = run("compare", *pieces, *AS_OF)
    assert result.exit_code == 0 and "probably older" in " ".join(result.output.split())


def test_the_example_of_compare_names_what_decides_it() -> None:
    """The help promises "which clues make the difference"."""
    told = " ".join(run("compare", "--help").output.split())
    found = re.search(r"scarfdate compare stock.csv (--id V\d+ --id V\d+)", told)
    assert found is not None
    result = run("compare", STOCK, *found[1].split(), *AS_OF)
    assert "What decides it most: the " in " ".join(result.output.split())


def test_a_clue_is_taken_under_the_name_that_the_next_look_has() -> None:
    """ "Look for a country name", says `next`."""
    assert (
        run("show", "country_name=italy", *AS_OF).output
        == run("show", "origin=italy", *AS_OF).output
    )


@pytest.mark.parametrize(
    "pieces", [[STOCK], [STOCK, "--id", "V012"], ["fibre=silk"], ["fibre='silk", "hem=raw"]]
)
def test_compare_wants_two(pieces: list[str]) -> None:
    assert run("compare", *pieces).exit_code == 2


def test_simulate(tmp_path: Path) -> None:
    out = tmp_path / "pile.csv"
    assert run("simulate", "12", "--seed", "7", "--out", str(out), *AS_OF).exit_code == 0
    drawn = scarfdate.simulate(None, 12, np.random.default_rng(7), as_of=2026).frame()
    written = pd.read_csv(out)
    assert list(written) == list(drawn) and len(written) == 12
    assert written["fibre"].fillna("").tolist() == drawn["fibre"].fillna("").tolist()
    again = run("simulate", "12", "--out", str(out))
    assert again.exit_code == 2 and "--force" in again.output
    assert run("simulate", "3", "--out", str(out), "--force", "--truth").exit_code == 0
    assert run("date", str(out)).exit_code == 0  # the truth is in notes, which dating does not read
    assert "note_true_year" in pd.read_csv(out)


@pytest.mark.parametrize(
    "verb",
    [
        ["date", STOCK, "--out", "new.csv"],
        ["date", STOCK, "--out", "new.csv", "--memory", "400", "--processes", "1"],
        ["describe", "fibre=silk", "--out", "new.md"],
        ["simulate", "3", "--out", "new.json"],
        ["template", "new.xlsx"],
        ["words", "hem", "--drawing", "new.svg"],
    ],
)
def test_what_another_has_written_meanwhile_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, verb: list[str]
) -> None:
    """Two at once with one new name: that it is new is certain only when the whole file gets its name."""
    monkeypatch.chdir(tmp_path)
    out = tmp_path / next(word for word in verb if word.startswith("new."))
    write = os.fsync

    def another(handle: int) -> None:  # what is written is whole, and has not its name yet
        if not out.exists():
            out.write_text("another's")
        write(handle)

    monkeypatch.setattr(os, "fsync", another)
    result = run(*verb)
    assert result.exit_code == 2 and "wasmadebyanothermeanwhile" in words(result.output), (
        result.output
    )
    assert out.read_text() == "another's"
    assert not [path for path in tmp_path.iterdir() if path.is_file() and path != out]
    out.unlink()
    monkeypatch.undo()
    monkeypatch.chdir(tmp_path)
    assert run(*verb).exit_code == 0


@pytest.mark.parametrize(
    "wrong",
    [
        ["-3"],
        ["1000000001"],
        ["99999999999999999999"],
        ["2", "--seed", "-1"],
        ["2", "--looked-at", "7"],
        ["x"],
    ],
)
def test_simulate_refuses(wrong: list[str]) -> None:
    assert run("simulate", *wrong).exit_code == 2


@pytest.mark.learning
@pytest.mark.slow
def test_learn_and_score(tmp_path: Path) -> None:
    """By the quickest route: what is written can be scored, and beside the old tables."""
    out = tmp_path / "mine"
    learned = run("learn", SOLD, "--map", MAP, "--out", str(out), "--route", "counts", *AS_OF)
    assert learned.exit_code == 1, learned.output  # rows are left out
    assert json.loads((out / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    assert run("learn", SOLD, "--map", MAP, "--out", str(out)).exit_code == 2
    assert "is left out: " in " ".join(learned.output.split())  # and why
    scored = run("score", SOLD, "--map", MAP, "--priors", str(out), *AS_OF)
    assert scored.exit_code == 1, scored.output
    beside = run("score", SOLD, "--map", MAP, "--against", str(out), *AS_OF)
    assert beside.exit_code == 1, beside.output


def test_learn_refuses_what_the_library_refuses(tmp_path: Path) -> None:
    result = run("learn", STOCK, "--out", str(tmp_path / "mine"))
    with pytest.raises(scarfdate.TableError) as refusal:
        scarfdate.read_sold(STOCK)
    assert result.exit_code == 2 and words(str(refusal.value)) in words(result.output)


@pytest.mark.slow
def test_card(tmp_path: Path) -> None:
    out = tmp_path / "card.html"
    assert run("card", str(out), "--clue", "fibre", "--clue", "hem", *AS_OF).exit_code == 0
    assert "<html" in out.read_text(encoding="utf-8")
    assert run("card", str(out)).exit_code == 2
    assert run("card", str(tmp_path / "new.html"), "--clue", "hemm").exit_code == 2


def test_one_row_is_asked_for_once_and_a_folder_has_a_name(tmp_path: Path) -> None:
    for verb in ("show", "explain", "next", "describe", "appraise"):
        twice = run(verb, STOCK, "--id", "V001", "--id", "V002")
        assert twice.exit_code == 2 and "--id goes with one row" in twice.output
    for arguments in (["check-priors", ""], ["date", STOCK, "--priors", ""]):
        result = run(*arguments)
        assert result.exit_code == 2 and "the name of the folder is empty" in result.output
    forged = tmp_path / "a\nError: all is well"
    forged.mkdir()
    (forged / "b\nError: still.csv").write_text("x\n1\n", "utf-8")
    for arguments in (["date", STOCK, "--priors", str(forged)], ["check-priors", str(forged)],
                      ["check-priors", f"{forged}/c\nError: d"], ["template", "e\nError: f"]):  # fmt: skip
        output = run(*arguments).output
        assert sum(line.startswith("Error:") for line in output.splitlines()) <= 1
        assert not any(line.startswith(("Error: all", "Error: still", "Error: d", "Error: f"))
                       for line in output.splitlines())  # fmt: skip


def test_columns_of_ones_own_are_no_cells_that_are_not_read(tmp_path: Path) -> None:
    file, out = tmp_path / "mine.csv", tmp_path / "out.csv"
    file.write_text("id,fibre,price\n1,silk,3\n2,gzorp,4\n", "utf-8")
    for more in ([], ["--memory", "400", "--processes", "1"]):
        out.unlink(missing_ok=True)
        strict = run("date", str(file), "--strict", "--out", str(out), *more)
        assert strict.exit_code == 1
        assert "1 dated, 1 not read" in " ".join(strict.output.split())
        assert "Columns not used: price." in strict.output
        assert pd.read_csv(out)["price"].tolist() == [3, 4]


def test_what_could_not_be_read_of_a_book_is_in_the_exit_code(tmp_path: Path) -> None:
    """0 all is well, 1 some cells or rows are not read; what a rule leaves out is read."""
    file = tmp_path / "book.csv"
    lines = ["id,fibre,hem,known,known_by,sold_on,sold_price,currency"]
    lines += [f"{n},silk,raw,{1950 + n},receipt,2024-01-0{n},{n + 7},EUR" for n in range(1, 9)]
    verbs = (["score", str(file)], ["dry-run", str(file)], ["shelf", str(file)])
    for more, code in (
        ([], 0), (["9,wool,raw,1960,own-judgement,2024-01-01,9,EUR"], 0), (["9,gzorp,raw,1960,receipt,,,"], 1),
        (["9,silk,raw,long ago,receipt,2024-01-01,9,EUR"], 1),
    ):  # fmt: skip
        file.write_text("\n".join([*lines, *more]), "utf-8")
        assert [run(*verb, *AS_OF[: 2 * (verb[0] != "dry-run")]).exit_code for verb in verbs] == [
            code
        ] * 3, more


def test_a_row_with_cells_that_cannot_be_read_is_shown_from_the_rest(tmp_path: Path) -> None:
    """As `date` dates it; each cell that was left out is told, and no other."""
    file = tmp_path / "mine.csv"
    file.write_text(
        "id,Material,hem,form,width_cm,height_cm,motif\n7,zzz cloth,hand rolled,square,90,minus two,roses\n",
        "utf-8",
    )
    for verb in ("show", "explain", "next", "appraise"):
        assert run(verb, str(file), "--id", "7").exit_code == 1  # some cells could not be read
    found = CliRunner().invoke(cli.cli, ["show", str(file), "--id", "7"])
    assert found.exit_code == 1
    told = " ".join(found.stderr.split())
    assert told.count("left out:") == 2 and "zzz cloth" in told and "minus two" in told
    row = scarfdate.date_table(pd.read_csv(file, dtype=str)).iloc[0]
    assert found.stdout.startswith(f"Made {row['year_from']}-{row['year_to']} (80 % sure)")
