"""Which pieces of a pile to look at again: at the prompt, against datings and looks of each piece by itself."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from scarfdate import Scarf, cli, date_scarf, date_table, load_priors, next_checks
from scarfdate.answer.rows import scarves
from scarfdate.reading.files import read_table
from scarfdate.why.look_again import pays_most

ROOT = Path(__file__).parents[2]
STOCK = read_table(ROOT / "data" / "stock.csv")
PRIORS = load_priors()
AS_OF = 2026
DOUBTFUL, PAYS = "Look again at these", "One more look pays most here"


def run(pile: pd.DataFrame, path: Path, *more: str) -> str:
    pile.to_csv(path, index=False)
    result = CliRunner().invoke(cli.cli, ["date", str(path), "--as-of", str(AS_OF), *more])
    assert result.exit_code in (0, 1), result.output
    return result.stdout


def listed(output: str, heading: str) -> dict[str, str]:
    """What stands under a heading, by the id of the piece; lines further in belong to the one before."""
    found: dict[str, str] = {}
    lines = iter(output.splitlines())
    for line in lines:
        if line.startswith(heading):
            break
    name = ""
    for line in lines:
        if not line.startswith("  "):
            if found:
                break
            continue
        if m := re.match(r"  line \d+ \((.*?)\): (.*)", line):
            name = m[1]
            found[name] = m[2]
        elif name:
            found[name] += " " + line.strip()
    return found


def clues(row: pd.Series) -> dict[str, object]:
    return {name: cell for name, cell in row.items() if cell}


def test_look_again_names_exactly_the_doubtful_pieces(tmp_path: Path) -> None:
    pile = STOCK[STOCK["id"].isin(["V003", "V039", "V004", "V042", "V060", "V027"])]
    doubtful = {
        row["id"] for _, row in pile.iterrows() if date_scarf(clues(row), as_of=AS_OF).doubts
    }
    assert 0 < len(doubtful) < len(pile)
    for sort in ((), ("--sort", "doubt"), ("--sort", "year", "--picture")):
        assert listed(run(pile, tmp_path / "pile.csv", *sort), DOUBTFUL).keys() == doubtful
    clear = pile[~pile["id"].isin(doubtful)]
    assert DOUBTFUL not in run(clear, tmp_path / "clear.csv")


def test_the_whole_demo_stock(tmp_path: Path) -> None:
    output = run(STOCK, tmp_path / "pile.csv")
    doubt = date_table(STOCK, as_of=AS_OF, columns=["doubt"])["doubt"]
    assert listed(output, DOUBTFUL).keys() == {*STOCK["id"][doubt.notna().to_numpy()]}
    best = listed(output, PAYS)
    assert 0 < len(best) <= 5
    assert all(
        re.search(r": likely to narrow it by [a-z0-9]+ years?\.$", said) for said in best.values()
    )
    assert max(map(len, output.splitlines())) <= 80
    quiet = run(STOCK, tmp_path / "pile.csv", "--quiet")
    assert DOUBTFUL not in quiet and PAYS not in quiet


def test_a_long_list_is_cut_and_the_rest_named(tmp_path: Path) -> None:
    one = STOCK[STOCK["id"] == "V042"]
    pile = pd.concat([one] * 8, ignore_index=True)
    pile["id"] = [f"D{n}" for n in range(8)]
    output = run(pile, tmp_path / "pile.csv")
    assert [*listed(output, DOUBTFUL)] == [f"D{n}" for n in range(5)]
    said = " ".join(output.split())
    assert "and 3 more: line 7 (D5), line 8 (D6), line 9 (D7)." in said
    many = pd.concat([one] * 30, ignore_index=True)
    many["id"] = [f"D{n}" for n in range(30)]
    assert "and 25 more; --sort doubt puts them first." in run(many, tmp_path / "many.csv")


def test_one_more_look_pays_most_where_it_narrows_most_a_minute() -> None:
    """Every look on every piece of a small pile, by hand."""
    pile = STOCK.iloc[[0, 4, 9, 11, 30]].reset_index(drop=True)
    answers = date_table(pile, as_of=AS_OF)
    got = pays_most(pile, answers, priors=PRIORS, channel="thrift", as_of=AS_OF)
    by_hand = []
    for place, row in pile.iterrows():
        looks = next_checks(clues(row), as_of=AS_OF).looks
        if looks:
            best = max(look.narrower / look.minutes for look in looks)
            by_hand.append((best, place))
    by_hand.sort(reverse=True)
    assert [place for place, _ in got] == [place for _, place in by_hand]
    for (_, look), (best, _) in zip(got, by_hand, strict=True):
        assert look.narrower / look.minutes == pytest.approx(best)


def test_rows_are_scarves_as_they_are_written() -> None:
    """Headings, units and words of a dealer; a cell that cannot be read costs that cell."""
    table = pd.DataFrame(
        {"No.": ["1", "2", "3"], "Material": ["silk?", "slik", ""], "Size": ["30 x 30", "", "x"],
         "Edge": ["hr", "hr", ""], "paid": ["3", "4", "5"]}
    )  # fmt: skip
    first, second, third = scarves(table, [0, 1, 2], PRIORS, "in")
    assert first == Scarf(fibre="silk?", size="30 x 30", unit="in", hem="hr")
    assert second == Scarf(hem="hr")
    assert third == Scarf()
    for place, scarf in enumerate(scarves(STOCK, range(len(STOCK)), PRIORS)):
        row = {n: c for n, c in clues(STOCK.iloc[place]).items() if n not in ("id", "note")}
        assert scarf == Scarf.from_dict(row)


def test_a_sheet_of_which_nothing_can_be_read_is_told_nothing(tmp_path: Path) -> None:
    output = run(
        pd.DataFrame({"id": ["A"], "fibre": ["moonbeams"]}), tmp_path / "pile.csv", "--strict"
    )
    assert DOUBTFUL not in output and PAYS not in output


@pytest.mark.slow
@pytest.mark.parametrize("columns", ["40", pytest.param("80", marks=pytest.mark.slow)])
def test_the_picture_fits_the_terminal_and_its_letters(columns: str) -> None:
    environment = os.environ | {
        "PYTHONIOENCODING": "ascii",
        "COLUMNS": columns,
        "PYTHONPATH": str(ROOT),
    }
    command = [
        sys.executable,
        "-m",
        "scarfdate.cli",
        "date",
        str(ROOT / "data" / "stock.csv"),
        "--picture",
    ]
    done = subprocess.run(command, env=environment, capture_output=True, check=True)
    lines = done.stdout.decode("ascii").splitlines()  # raises where a letter is none of ASCII
    drawn = [line for line in lines if re.match(r"V\d{3}", line)]
    assert len(drawn) == len(STOCK)
    assert all(re.search("[=-]", line[6:]) for line in drawn)
    assert max(map(len, drawn)) < int(columns)
    assert lines[0].split() == lines[len(STOCK) + 1].split()  # years above and below
