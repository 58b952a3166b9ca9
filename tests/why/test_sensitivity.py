"""How an answer moves when a table is wrong: against datings under tables that are wrong indeed."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from scarfdate import RangeError, Scarf, ScarfdateError, date_scarf, load_priors, sensitivity
from scarfdate.answer.evidence import encode
from scarfdate.model.exact import rows_of, year_of
from scarfdate.model.model import compiled
from scarfdate.tables.priors import shipped_folder
from tests.random_scarves import random_clues

NOW = 2026
SEEN = {
    "fibre": "silk", "hem": "hand-rolled", "motif": "geometric", "layout": "colour-blocks",
    "origin": "italy", "label_text": "100% SILK\nRN 60000", "printed_year": 1975,
}  # fmt: skip


def changes(**more: object) -> dict[tuple[str, str], object]:
    found = sensitivity(SEEN, as_of=NOW, **more)
    return {(change.what, change.change): change for change in found.changes}


def test_left_out_is_a_dating_without_the_clue() -> None:
    found = changes()
    for name in ("layout", "motif", "hem", "printed_year"):
        rest = {other: value for other, value in SEEN.items() if other != name}
        dating = date_scarf(rest, as_of=NOW)
        change = found[name, "left out"]
        assert change.median == dating.median
        assert (change.first, change.last) == dating.interval()
        whole = date_scarf(SEEN, as_of=NOW)
        apart = np.abs(dating.probability - whole.probability).sum() / 2
        assert change.apart == pytest.approx(apart, abs=1e-9)


@pytest.mark.parametrize("name", ["layout", "hem"])
def test_a_power_is_a_table_of_powers(tmp_path: Path, name: str) -> None:
    """Shares at knots raised to a power are shares of every year raised to it: they run log-linear."""
    rows = _table(name)
    values = load_priors().vocabulary.values[name]
    for row in rows:
        powers = np.array([float(row[value]) for value in values]) ** 1.5
        # the smallest share that counts is a millionth, of these as of those
        powers = np.maximum(powers / powers.sum(), 1e-9)
        row.update(
            {v: repr(float(100 * p)) for v, p in zip(values, powers / powers.sum(), strict=True)}
        )
    change = changes()[name, "sharpened by a power of 1.5"]
    dating = date_scarf(SEEN, priors=_with(tmp_path, name, rows), as_of=NOW)
    assert abs(change.median - dating.median) <= 1
    assert np.abs(np.subtract((change.first, change.last), dating.interval())).max() <= 1
    base = date_scarf(SEEN, as_of=NOW)
    apart = np.abs(dating.probability - base.probability).sum() / 2
    assert change.apart == pytest.approx(apart, abs=0.01)


def test_a_shift_is_a_table_with_its_knots_moved(tmp_path: Path) -> None:
    rows = _table("layout")
    for row in rows:
        row["year"] = str(int(row["year"]) + 7) if int(row["year"]) > 1880 else row["year"]
    change = changes(shift=7)["layout", "7 years later"]
    dating = date_scarf(SEEN, priors=_with(tmp_path, "layout", rows), as_of=NOW)
    base = date_scarf(SEEN, as_of=NOW)
    apart = np.abs(dating.probability - base.probability).sum() / 2
    assert change.apart == pytest.approx(apart, abs=0.01)
    assert abs(change.median - dating.median) <= 1


def test_another_prior_is_another_channel() -> None:
    change = changes()["prior", "of the channel auction"]
    dating = date_scarf(SEEN, channel="auction", as_of=NOW)
    assert (change.median, change.first, change.last) == (dating.median, *dating.interval())
    assert ("prior", "of the channel museum") not in changes()  # its tables are others


def test_a_flat_prior_leaves_the_likelihood() -> None:
    change = changes()["prior", "flat over years"]
    model = compiled(load_priors(), "thrift", NOW)
    codes, _ = encode(model, Scarf(**SEEN))
    likelihood = year_of(model, rows_of(model, codes)) / model.year_prior
    likelihood /= likelihood.sum()
    assert change.median == int(model.years[np.searchsorted(np.cumsum(likelihood), 0.5)])


def test_the_plain_sum_is_the_engine() -> None:
    """The sum over handed rows against the engine, on random scarves."""
    priors = load_priors()
    model = compiled(priors, "estate", NOW)
    rng = np.random.default_rng(9)
    for _ in range(20):
        scarf = Scarf(**random_clues(priors, rng, NOW))
        codes, _ = encode(model, scarf)
        found = year_of(model, rows_of(model, codes))
        expected = date_scarf(scarf, channel="estate", as_of=NOW).probability
        np.testing.assert_allclose(found, expected, atol=1e-12)


def test_words_and_frame_say_what_was_found() -> None:
    found = sensitivity(SEEN, as_of=NOW)
    dating = date_scarf(SEEN, as_of=NOW)
    assert (found.median, found.first, found.last) == (dating.median, *dating.interval())
    frame = found.to_frame()
    assert (frame["apart"].diff().dropna() <= 0).all()
    assert (frame["moved"] == frame["median"] - found.median).all()
    heaviest = frame[frame["what"] != "prior"].iloc[0]
    clue = f"the {heaviest['what'].replace('_', ' ')}"
    left_out = heaviest["change"] == "left out"
    how = f"Without {clue}" if left_out else f"With the table of {clue} {heaviest['change']}"
    assert f"{how} it moves most" in str(found)
    assert "only another prior can move it" in str(sensitivity({}, as_of=NOW))


def test_the_plot_has_a_bar_for_each_clue_and_the_prior() -> None:
    pyplot = pytest.importorskip("matplotlib.pyplot")
    found = sensitivity(SEEN, as_of=NOW)
    ax = found.plot()
    names = [label.get_text() for label in ax.get_yticklabels()]
    assert set(names) == {change.title for change in found.changes}
    bars, (lines,) = ax.patches[1:], ax.collections[-1:]  # the first patch is the band behind
    for name, bar, line in zip(names, bars, lines.get_segments(), strict=True):
        own = [change for change in found.changes if change.title == name]
        assert bar.get_x() == min(change.median for change in own)
        assert bar.get_width() == pytest.approx(
            max(max(change.median for change in own) - bar.get_x(), 0.4)
        )
        assert line[0][0] == min(change.first for change in own)
        assert line[1][0] == max(change.last for change in own)
    pyplot.close(ax.figure)


@pytest.mark.parametrize(
    "wrong",
    [{"power": 1}, {"power": 11}, {"power": "2"}, {"power": True}, {"shift": 0}, {"shift": 2.5},
     {"shift": 51}, {"shift": None}, {"level": 2}],
)  # fmt: skip
def test_what_cannot_be_asked_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(RangeError):
        sensitivity(SEEN, as_of=NOW, **wrong)  # type: ignore[arg-type]
    with pytest.raises(ScarfdateError):
        sensitivity(3, as_of=NOW)  # type: ignore[arg-type]


def _table(name: str) -> list[dict[str, str]]:
    with (shipped_folder() / "shares" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _with(folder: Path, name: str, rows: list[dict[str, str]]):
    path = folder / "shares" / f"{name}.csv"
    path.parent.mkdir(exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return load_priors(folder)
