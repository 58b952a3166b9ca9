"""``scarfdate shelf`` at the prompt: what the library says, and a table that is written whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result

from scarfdate import cli, learn_prices, load_prices, read_book, shelf
from tests.demo import make_book


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(cli.cli, ["shelf", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first 40 pieces of the invented book."""
    path = tmp_path_factory.mktemp("book") / "some.csv"
    rows = pd.read_csv(make_book.BOOK, dtype=str, keep_default_na=False)
    rows[:40].to_csv(path, index=False)
    return path


def test_it_says_what_the_library_says_and_writes_its_table(file: Path, tmp_path: Path) -> None:
    out = tmp_path / "sells.csv"
    result = run(str(file), "--closed-on", "2026-09-30", "--as-of", "2026", "--out", str(out))
    sells = shelf(read_book(file, closed_on="2026-09-30", as_of=2026), as_of=2026)
    assert result.exit_code == 0
    assert str(sells) in result.output
    pd.testing.assert_frame_equal(pd.read_csv(out), sells.table, check_dtype=False, rtol=1e-9)
    again = run(str(file), "--out", str(out))
    assert again.exit_code == 2  # a file that is there is not written over


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["--currency", "GBP"], "EUR"),
        (["--closed-on", "3/4/2024"], "closed_on"),
        (["--out", "nowhere/at/all.csv"], "is not there"),
        (["--map", "nothing.toml"], "no such file"),
    ],
)
def test_slips_are_one_message_and_no_file(file: Path, arguments: list[str], named: str) -> None:
    result = run(str(file), *arguments)
    assert result.exit_code == 2
    assert named in result.output


@pytest.mark.slow
def test_prices_are_learned_at_the_prompt_as_in_the_library(tmp_path: Path) -> None:
    out = tmp_path / "mine"
    given = [str(make_book.BOOK), "--closed-on", "2026-09-30", "--as-of", "2026", "--out", str(out)]
    result = CliRunner().invoke(cli.cli, ["learn-prices", *given])
    assert result.exit_code == 1, result.output  # prices that are none, rows left out
    book = read_book(make_book.BOOK, closed_on="2026-09-30", as_of=2026)
    learned = learn_prices(book, as_of=2026)
    assert str(learned) in result.output
    assert not load_prices(out).invented
    same = load_prices(out).effects()
    pd.testing.assert_frame_equal(same, learned.effects(), rtol=1e-9)
    said = CliRunner().invoke(
        cli.cli, ["appraise", "fibre=silk", "--prices", str(out), "--as-of", "2026"]
    )
    assert said.exit_code == 0 and "invented" not in said.output
    assert (
        CliRunner().invoke(cli.cli, ["learn-prices", *given]).exit_code == 2
    )  # it is there already


def test_a_sheet_without_sales_is_refused() -> None:
    result = run(str(make_book.ROOT / "data/stock.csv"))
    assert result.exit_code == 2
    assert "no piece has the price of its sale" in result.output


def test_a_book_in_two_currencies_is_refused_by_name() -> None:
    folder = make_book.ROOT / "data"
    result = run(str(folder / "sold.csv"), "--map", str(folder / "sold_columns/thrackwindle.toml"))
    assert result.exit_code == 2
    assert "EUR" in result.output
    assert "GBP" in result.output
    assert "nothing is converted here" in " ".join(result.output.split())
