"""``scarfdate appraise``: one piece, a box, and a sheet, at the prompt."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

import scarfdate
from scarfdate.cli import cli
from scarfdate.worth.terms import INVENTED

ROOT = Path(__file__).parents[2]
BOX, COSTS = str(ROOT / "data" / "box.csv"), str(ROOT / "data" / "costs.toml")
AS_OF = ["--as-of", "2026"]


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(cli, ["appraise", *arguments, *AS_OF])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.output
    return result


def words(text: str) -> str:
    return "".join(text.split())


def test_one_piece() -> None:
    seen = ["fibre=silk", "hem=hand-rolled"]
    result = run(*seen, "--asking", "9", "--costs", COSTS, "--condition", "small pull at edge")
    found = scarfdate.appraise(
        {"fibre": "silk", "hem": "hand-rolled"},
        9,
        COSTS,
        condition="small pull at edge",
        as_of=2026,
    )
    assert result.exit_code == 0 and words(result.output) == words(str(found))
    assert words(INVENTED) in words(result.output)


def test_a_row_of_a_file_brings_its_price_and_condition() -> None:
    result = run(BOX, "--id", "X02", "--costs", COSTS)
    asked = pd.read_csv(BOX).set_index("id")["asked_price"]["X02"]
    assert result.exit_code == 0 and f"at{asked:.2f}EUR" in words(result.output)
    faultless = run(
        BOX, "--id", "X02", "--costs", COSTS, "--condition", "no faults", "--asking", "3"
    )
    assert "at3.00EUR" in words(faultless.output)


def test_a_box() -> None:
    result = run(BOX, "--lot", "180", "--costs", COSTS)
    box = pd.read_csv(BOX, dtype=str, keep_default_na=False)
    assert result.exit_code == 0
    assert words(result.output) == words(str(scarfdate.appraise_lot(box, 180, COSTS, as_of=2026)))
    assert run(BOX, "--lot", "?", "--costs", COSTS).output.startswith("Bid up to")


def test_a_sheet_becomes_a_buying_list_written_whole_or_not_at_all(tmp_path: Path) -> None:
    out = tmp_path / "buy.csv"
    result = run(BOX, "--costs", COSTS, "--out", str(out))
    assert result.exit_code == 0 and words(INVENTED) in words(result.output)
    assert max(map(len, result.output.splitlines())) <= 80
    written = pd.read_csv(out)
    table = scarfdate.appraise_table(
        pd.read_csv(BOX, dtype=str, keep_default_na=False), COSTS, as_of=2026
    )
    assert written["id"].tolist() == table["id"].tolist() and "condition" in written
    assert written["expected_profit"].tolist() == pytest.approx(
        table["expected_profit"].tolist(), abs=0.006
    )
    before = out.read_bytes()
    again = run(BOX, "--costs", COSTS, "--out", str(out))
    assert again.exit_code == 2 and "--force" in again.output and out.read_bytes() == before
    assert run(BOX, "--out", str(tmp_path / "no" / "buy.csv")).exit_code == 2
    assert run(BOX, "--costs", COSTS, "--out", str(out.with_suffix(".json"))).exit_code == 0
    assert len(json.loads(out.with_suffix(".json").read_text("utf-8"))) == 30


def test_cells_that_cannot_be_read_cost_themselves_and_text_runs_as_nothing(tmp_path: Path) -> None:
    sheet, out = tmp_path / "offered.csv", tmp_path / "buy.csv"
    sheet.write_text(
        "id,Material,Asked,Zustand\n=1+1,silk,-4,gremlins\nB,wool,5,no faults\n", "utf-8"
    )
    result = run(str(sheet), "--out", str(out))
    assert result.exit_code == 1
    assert "amount below 0" in result.output and "gremlins" in result.output
    assert "'=1+1" in out.read_text("utf-8") and ",=1+1" not in out.read_text("utf-8")
    assert pd.read_csv(out)["pay_at_most"].notna().all()


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        (["fibre=silk", "--asking", "-4"], "asking: an amount below 0"),
        (["fibre=silk", "--asking", "USD 4"], "USD"),
        (["fibre=silk", "--asking", "1,250"], "write 1250, 12.50 or 12,50"),
        (["fibre=silk", "--asking", "12,50,00"], "local form"),
        ([BOX, "--columns", "nomap.toml"], "nomap.toml"),
        (["fibre=silk", "--risk", "2"], "risk"),
        (["fibre=silk", "--lot", "9"], "--lot"),
        (["fibre=silk", "--out", "x.csv"], "--out"),
        (["fibre=silk", "--costs", "nowhere.toml"], "nowhere.toml"),
        (["fibre=silk", "--prices", "nowhere"], "nowhere"),
        (["fibre=silk", "--condition", "gremlins"], "gremlins"),
        (["fibre=silk", "--season", "monsoon"], "season"),
        (["fibre=silk", "--sell-by", "moon"], "channel"),
        ([BOX, "--asking", "4"], "--asking"),
        ([BOX, "--id", "X99"], "X99"),
        (["nofile.csv"], "nofile.csv"),
    ],
)
def test_what_is_refused_is_named(wrong: list[str], named: str) -> None:
    result = run(*wrong)
    assert result.exit_code == 2 and named in result.output


@pytest.mark.parametrize("verb", ["appraise", "describe"])
def test_faults_may_stand_among_the_clues(verb: str) -> None:
    def run(*arguments: str) -> Result:
        return CliRunner().invoke(cli, [*arguments, *AS_OF])

    one = run(verb, "fibre=silk", "condition=hole 3 mm at the edge")
    assert one.exit_code == 0, one.output
    assert one.stdout == run(verb, "fibre=silk", "--condition", "hole 3 mm at the edge").stdout
    assert one.stdout != run(verb, "fibre=silk").stdout
    for wrong in (("condition=hole",), ("fibre=silk", "condition=hole", "--condition", "stain")):
        refused = run(verb, *wrong)
        assert refused.exit_code == 2
        assert "Traceback" not in refused.output


def test_a_map_says_which_columns_hold_the_price_and_the_faults(tmp_path: Path) -> None:
    """Prices by the decimal sign and the words of the map; a row, a list and a lot as of a sheet in our words."""
    ours, theirs, mapped = (tmp_path / name for name in ("ours.csv", "theirs.csv", "map.toml"))
    ours.write_text(
        "id,fibre,asked_price,condition\nA,silk,12.50 EUR,hole\nB,wool,1250 EUR,no faults\n",
        "utf-8",
    )
    theirs.write_text(
        "Nr;Stoff;Soll kosten;Was daran ist\nA;silk;12,50;hole\nB;wool;1.250;no faults\n", "utf-8"
    )
    mapped.write_text(
        'decimal = ","\ncurrency = "EUR"\n[columns]\nid = "Nr"\nfibre = "Stoff"\nasked_price = "Soll kosten"\n'
        'condition = "Was daran ist"\n',
        "utf-8",
    )
    by_map = ["--columns", str(mapped)]
    listed = run(str(theirs), *by_map)
    assert listed.exit_code == 0 and listed.stdout == run(str(ours)).stdout
    for what in (["--id", "A"], ["--id", "B"], ["--lot", "180,50"]):
        found, expected = run(str(theirs), *what, *by_map), run(str(ours), *what)
        assert found.exit_code == 0 and found.stdout == expected.stdout, what
    described = CliRunner().invoke(cli, ["describe", str(theirs), "--id", "A", *by_map, *AS_OF])
    assert described.exit_code == 0 and "hole" in described.stdout.casefold()
