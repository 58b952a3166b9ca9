"""A pile: its orders, the chance of twenty years, and its picture on paper and in a terminal."""

from __future__ import annotations

import io
import itertools
import re
from pathlib import Path

import matplotlib as mpl
import matplotlib.figure
import numpy as np
import pandas as pd
import pytest
from rich.cells import cell_len

from scarfdate import (
    ScarfdateError,
    TableError,
    date_scarf,
    date_table,
    load_priors,
    plot_pile,
    simulate,
)
from scarfdate.answer.pile import bars, in_order
from scarfdate.reading.files import read_table
from scarfdate.show import pile
from scarfdate.show.terminal import fit
from scarfdate.tables.priors import shipped_folder

mpl.use("Agg")
AS_OF = 2026
STOCK = read_table(Path(__file__).parents[2] / "data" / "stock.csv")
WANTED = [
    "year_from",
    "year_to",
    "median_year",
    "edtf",
    "doubt",
    "predictive_p",
    "vintage_probability",
]


@pytest.fixture(scope="module")
def answers() -> pd.DataFrame:
    return date_table(STOCK, as_of=AS_OF, columns=WANTED)


@pytest.fixture(scope="module")
def drawn(answers: pd.DataFrame) -> list[pile.Bar]:
    return bars(answers, STOCK["id"].tolist())


# Twenty years


def test_the_chance_of_twenty_years_is_that_of_the_years_summed_by_hand(
    answers: pd.DataFrame,
) -> None:
    """What the trade calls vintage: fact vintage-20-years; a year so old that as_of less 20 is not before it."""
    for place in range(0, len(STOCK), 7):
        row = {name: cell for name, cell in STOCK.iloc[place].items() if cell}
        dating = date_scarf(row, as_of=AS_OF)
        by_hand = sum(
            chance
            for year, chance in zip(dating.years, dating.probability, strict=True)
            if year <= 2006
        )
        assert answers["vintage_probability"].iloc[place] == pytest.approx(by_hand, abs=1e-9)


def test_the_age_is_that_of_the_tables(tmp_path: Path) -> None:
    text = (shipped_folder() / "allowances.csv").read_text(encoding="utf-8")
    assert "vintage_age,20," in text
    (tmp_path / "allowances.csv").write_text(
        text.replace("vintage_age,20,", "vintage_age,50,"), encoding="utf-8"
    )
    seen = pd.DataFrame({"fibre": ["polyester"]})
    older = date_table(
        seen, priors=load_priors(tmp_path), as_of=AS_OF, columns=["vintage_probability"]
    )
    dating = date_scarf({"fibre": "polyester"}, as_of=AS_OF)
    assert older["vintage_probability"].iloc[0] == pytest.approx(
        dating.at_least_years_old(50), abs=1e-6
    )
    assert dating.at_least_years_old(50) < dating.at_least_years_old(20)


# Orders


@pytest.mark.parametrize("sort", ["year", "width", "doubt"])
def test_orders(answers: pd.DataFrame, sort: str) -> None:
    order = in_order(answers, sort)
    assert sorted(order) == [*range(len(answers))]
    if sort == "doubt":
        wrong = answers["doubt"].notna().to_numpy()[order]
        assert wrong.any() and not (np.diff(wrong.astype(int)) > 0).any()
        agree = answers["predictive_p"].to_numpy()[order][~wrong]
        assert (np.diff(agree) >= 0).all()
    else:
        key = (
            answers["median_year"] if sort == "year" else answers["year_to"] - answers["year_from"]
        )
        assert (np.diff(key.to_numpy(dtype=float)[order]) >= 0).all()
    assert in_order(answers, None) == [*range(len(answers))]
    with pytest.raises(TableError, match="did you mean 'year'"):
        in_order(answers, "yeer")


def test_rows_that_could_not_be_read_come_last() -> None:
    dated = date_table(
        pd.DataFrame({"fibre": ["moonbeams", "silk"]}), on_error="collect", columns=WANTED
    )
    for sort in ("year", "width", "doubt"):
        assert in_order(dated, sort) == [1, 0]


# In a terminal


@pytest.mark.parametrize("width", [10, 40, 41, 57, 72, 80, 200])
def test_bars_fit_any_width(drawn: list[pile.Bar], width: int) -> None:
    long_names = [pile.Bar(name=f"box 3, the blue with anchors \u8207\u8208 {place}", stretches=bar.stretches, years=bar.years,
                           mark="?") for place, bar in enumerate(drawn[:6])]  # fmt: skip
    for some in (drawn, long_names, drawn[:1], []):
        lines = pile.lines(some, width)
        assert len(lines) == len(some) + 2
        assert max(map(cell_len, lines)) < max(width, 40)


def test_a_bar_stands_over_its_years(drawn: list[pile.Bar]) -> None:
    """Read back from the letters: within two columns' worth of years at either end."""
    lines = pile.lines(drawn, 200)
    at = {int(m[0]): m.start() for m in re.finditer(r"[0-9]{4}", lines[0])}
    first, last = min(at), max(at)
    a_column = (last - first) / (at[last] - at[first])
    for bar, line in zip(drawn, lines[1:-1], strict=True):
        body = line[: at[last] + 40].rsplit("  ", 1)[0]
        runs = [m.span() for m in re.finditer(r"[◂━─]+", body)]
        assert len(runs) == len(bar.stretches), line
        for (begin, end), (start, stop) in zip(runs, bar.stretches, strict=True):
            assert abs(first + (end - at[first]) * a_column - (stop + 1)) <= 2.5 * a_column
            if start is not None:
                assert abs(first + (begin - at[first]) * a_column - start) <= 2.5 * a_column


def test_letters_are_plain_where_the_terminal_has_no_others(
    drawn: list[pile.Bar], monkeypatch: pytest.MonkeyPatch
) -> None:
    for encoding in ("ascii", "latin-1", "cp1252"):
        plain = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
        with monkeypatch.context() as patched:
            patched.setattr("sys.stdout", plain)
            lines = [fit(line) for line in (*pile.lines(drawn, 60), pile.legend("80 %", True))]
        text = "\n".join(lines)
        text.encode(encoding)
        assert text.isascii() and "====" in text and "----" in text and "<" in text


def test_a_piece_of_two_hills_has_two_bars_and_a_doubtful_one_a_thin_bar() -> None:
    some = [
        pile.Bar(name="A", stretches=((1920, 1929), (1960, 1969)), years=""),
        pile.Bar(name="B", stretches=((1950, 1959),), years="", doubtful=True),
        pile.Bar(name="C", stretches=((None, 1905),), years=""),
        pile.Bar(name="D", stretches=(), years="not read", mark="!"),
        pile.Bar(name="E", stretches=((1940, 1949), (1951, 1959)), years=""),
    ]
    a, b, c, d, e = pile.lines(some, 60)[1:-1]
    assert len(re.findall("━+", a)) == 2 and "─" not in a
    assert len(re.findall("─+", b)) == 1 and "━" not in b
    assert c.split()[1].startswith("◂")
    assert d.startswith("D !") and "━" not in d
    assert len(re.findall("━+", e)) == 2  # a gap of one year is a gap


# On paper


def drawn_bars(ax: object) -> int:
    return sum(len(each) for each in ax.containers)  # type: ignore[attr-defined]


@pytest.mark.sampled(1)
@pytest.mark.parametrize("n", [5, 60])
def test_the_picture_has_a_row_a_piece(
    answers: pd.DataFrame, drawn: list[pile.Bar], n: int
) -> None:
    ax = plot_pile(STOCK.iloc[:n], as_of=AS_OF)
    order = in_order(answers.iloc[:n], "year")
    labels = [text.get_text() for text in ax.get_yticklabels()]
    assert labels == STOCK["id"].iloc[order].tolist()
    assert drawn_bars(ax) == sum(len(bar.stretches) for bar in drawn[:n])
    hollow = [box for each in ax.containers for box in each if box.get_facecolor()[:3] == (1, 1, 1)]
    assert len(hollow) == sum(len(bar.stretches) for bar in drawn[:n] if bar.doubtful)
    ax.figure.savefig(io.BytesIO(), format="png")
    boxes = [text.get_window_extent() for text in ax.get_yticklabels()]
    assert all(upper.y0 >= lower.y1 - 2 for upper, lower in itertools.pairwise(boxes))  # pixels
    grey = {
        c
        for each in ax.containers
        for box in each
        for c in (box.get_facecolor(), box.get_edgecolor())
    }
    assert all(r == g == b for r, g, b, _ in grey)  # nothing rests on a colour


@pytest.mark.slow
def test_names_do_not_run_into_each_other_in_a_pile_of_five_hundred() -> None:
    frame = simulate(None, 500, np.random.default_rng(1), as_of=AS_OF).frame()
    ax = plot_pile(frame, as_of=AS_OF, sort="width", names=[f"No. {n}" for n in range(500)])
    ax.figure.savefig(io.BytesIO(), format="png")
    boxes = [text.get_window_extent() for text in ax.get_yticklabels()]
    assert 50 < len(boxes) < 500 and "is named" in ax.get_xlabel()
    assert all(upper.y0 >= lower.y1 - 2 for upper, lower in itertools.pairwise(boxes))
    assert ax.figure.get_size_inches()[1] <= 18


@pytest.mark.slow
def test_answers_are_drawn_as_they_are_read_back_too(answers: pd.DataFrame, tmp_path: Path) -> None:
    path = tmp_path / "dated.csv"
    pd.concat([STOCK, answers], axis=1).to_csv(path, index=False)
    for table in (answers, read_table(path)):
        ax = plot_pile(table, sort="doubt", names=STOCK["id"].tolist())
        assert drawn_bars(ax) == drawn_bars(plot_pile(STOCK, as_of=AS_OF))


def test_an_axis_of_ones_own_and_odd_names() -> None:
    figure = mpl.figure.Figure()
    own = figure.add_subplot()
    assert plot_pile(STOCK.iloc[:3], ax=own, names=["$a_b$", "<b>", "c" * 200]) is own
    figure.savefig(io.BytesIO(), format="png")


@pytest.mark.parametrize(
    ("more", "said"),
    [({"sort": "price"}, "sort: "), ({"names": ["a"]}, "names: one for each of 3"), ({"names": "abc"}, "names"),
     ({"level": 7}, "level"), ({"channel": "thirft"}, "thrift")],
)  # fmt: skip
def test_what_cannot_be_drawn_is_refused(more: dict[str, object], said: str) -> None:
    with pytest.raises(ScarfdateError, match=said):
        plot_pile(STOCK.iloc[:3], **more)  # type: ignore[arg-type]


def test_an_empty_pile_is_drawn_empty() -> None:
    assert drawn_bars(plot_pile(STOCK.iloc[:0], as_of=AS_OF)) == 0
