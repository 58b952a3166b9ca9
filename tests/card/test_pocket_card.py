"""The card for the pocket: points that add up, fitted and not only rounded, a cost that is true, one page."""

from __future__ import annotations

import copy
import dataclasses
import math
import pickle
import shutil
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from scarfdate import (
    RangeError,
    Scarf,
    ScarfdateError,
    WordError,
    date_table,
    load_priors,
    simulate,
)
from scarfdate.card import fit
from scarfdate.card import page as card_page
from scarfdate.card.card import pocket_card
from scarfdate.card.fit import Group
from scarfdate.card.pocket import PocketCard
from scarfdate.tables.priors import shipped_folder

pytestmark = pytest.mark.slow

NOW = 2026
SEEN = {"hem": "hand-rolled", "fibre": "silk", "hem_thread": "polyester", "motif": "psychedelic"}


@pytest.fixture(scope="module")
def card() -> PocketCard:
    """The shipped thrift card."""
    return pocket_card(as_of=NOW)


@pytest.fixture(scope="module")
def small() -> PocketCard:
    """One that is quickly made, for all that is no matter of numbers."""
    return pocket_card(as_of=NOW, pieces=2_000, rng=np.random.default_rng(3))


def test_points_are_digits_and_the_least_of_a_row_is_none(card: PocketCard) -> None:
    frame = card.to_frame()
    points = frame[list(card.decades)]
    assert all(dtype.kind == "i" for dtype in points.dtypes)
    assert (points.min(axis=1) == 0).all()
    assert points.max(axis=None) <= 9
    assert len(frame) == 1 + sum(len(rows) for rows in card.rows.values())
    assert not frame.duplicated(["clue", "seen"]).any()
    assert card.point_worth**card.doubling == pytest.approx(2)


def test_added_up_by_hand_it_is_the_decade(card: PocketCard) -> None:
    """From the frame alone: the rows that hold each word, added to the first."""
    frame = card.to_frame()
    total = frame[frame["clue"] == "start"][list(card.decades)].iloc[0]
    for clue, word in SEEN.items():
        own = frame[frame["clue"] == clue]
        named = own[[word.replace("-", " ") in seen.split(", ") for seen in own["seen"]]]
        row = named if len(named) else own[own["seen"] == "anything else"]
        if len(row):  # a row of "anything else" that adds nothing is not printed
            total = total + row[list(card.decades)].iloc[0]
    tally = card.decade(SEEN)
    assert list(tally.sums) == total.tolist()
    best = total[::-1].idxmax()  # of equal sums the later
    assert tally.decade == best
    assert tally.ahead == total.max() - total.drop(best).max()
    odds = card.point_worth ** total.to_numpy(dtype=float)
    assert tally.chance == pytest.approx(odds / odds.sum())
    assert card.decade(Scarf(**SEEN)) == tally


def test_words_are_read_as_everywhere(card: PocketCard) -> None:
    """Synonyms are the word; a parent of one row takes it, of several none; what has no row is told."""
    assert card.decade({"hem": "overlock"}).sums == card.decade({"hem": "overlocked"}).sums
    signed = card.decade({"signature": "signed"})
    rows = {row.label for row in card.rows["signature"] if set(row.values) & {"small", "large"}}
    assert (len(signed.rows) == 1) == (len(rows) == 1)
    several = card.decade({"fibre": "not silk"})
    assert several.rows == () and several.left_out == ("fibre",) and several.sums == card.start
    assert card.decade({"label": "none-seen", "momme": 12}).left_out == ("label", "momme")
    either = card.decade({"hem": {"hand-rolled": 0.5, "overlocked": 0.5}})
    assert either.left_out == ("hem",)
    nothing = card.decade({})
    assert nothing.sums == card.start
    sides = dict(card.decade({"width_cm": 40, "height_cm": 39}).rows)
    assert set(sides) == {"long_side", "slenderness"}
    with pytest.raises(WordError, match="no word 'stapled'"):
        card.decade({"hem": "stapled"})
    with pytest.raises(ScarfdateError, match="a Scarf"):
        card.decade("silk")  # type: ignore[arg-type]


def test_a_measurement_takes_the_range_that_holds_it(card: PocketCard) -> None:
    rows = card.rows["stitches_per_inch"]
    assert rows[0].low == -math.inf and rows[-1].high == math.inf
    for row, after in pairwise(rows):
        assert row.high == after.low
        below = card.decade({"stitches_per_inch": row.high - 0.01}).rows[0]
        at = card.decade({"stitches_per_inch": row.high}).rows[0]
        assert (below[1], at[1]) == (row.label, after.label)


def test_the_fit_beats_rounding_and_the_prior_and_trails_the_weights(card: PocketCard) -> None:
    cost = card.cost
    assert cost.unrounded_loss < cost.loss < cost.rounded_loss < cost.prior_loss
    # by more than the noise of the mean; losses of the same pieces differ by far less than each varies
    assert cost.rounded_loss - cost.loss > 3 * cost.loss_error
    assert cost.prior_loss > 3 * cost.loss
    whole = cost.overall
    assert whole["agree"] <= min(whole["near"], whole["two"]) and whole["pieces"] == 1
    assert whole["true"] < whole["exact_true"]
    for by in ("ahead", "clues"):  # the groups are of all pieces, but for those too few to print
        agree = sum(share["pieces"] * share["agree"] for share in cost.by(by).values())
        assert agree == pytest.approx(cost.agree, abs=0.01)
    assert cost.trust_from is not None
    ahead = cost.by("ahead")
    assert all((share["agree"] >= 0.8) == (low >= cost.trust_from) for low, share in ahead.items())


@pytest.mark.statistical
def test_the_cost_on_others_is_the_cost_printed(card: PocketCard) -> None:
    """2,400 other pieces, dated by `date_table` and added up one by one through `decade`.

    Agreement and loss within 4 standard errors of the difference (one in 16,000 by chance).
    """
    rng = np.random.default_rng(77)
    seen, truth = [], []
    for looked_at in np.linspace(0.3, 1, 8):
        made = simulate(None, 300, rng, as_of=NOW, looked_at=looked_at)
        seen.append(made.frame())
        truth.append(made.truth_frame())
    frame = pd.concat(seen, ignore_index=True).drop(columns=["momme", "uv_glow"])
    unlabelled = pd.concat(truth, ignore_index=True)["true_label"] == "none-seen"
    frame.loc[unlabelled, "origin"] = None
    _, years = date_table(frame, as_of=NOW, with_years=True)
    first = int(card.decades[0].removeprefix("before "))
    made_in = np.maximum((np.arange(1880, NOW + 1) - first) // 10 + 1, 0)
    exact = np.stack([years[:, made_in == c].sum(axis=1) for c in range(len(card.decades))], axis=1)
    agree, lost = [], []
    for row, chance in zip(frame.to_dict("records"), exact, strict=True):
        tally = card.decade({n: v for n, v in row.items() if not pd.isna(v)})
        agree.append(tally.decade == card.decades[chance.argmax()])
        lost.append(float(chance @ np.log2(chance / np.array(tally.chance))))
    n, cost = len(agree), card.cost
    error = math.sqrt(cost.agree * (1 - cost.agree) * (1 / n + 1 / cost.pieces))
    print(
        f"agree {np.mean(agree):.3f} ({cost.agree:.3f} printed), loss {np.mean(lost):.3f} ({cost.loss:.3f})"
    )
    assert abs(np.mean(agree) - cost.agree) < 4 * error
    spread = math.hypot(np.std(lost, ddof=1) / math.sqrt(n), cost.loss_error)
    assert abs(np.mean(lost) - cost.loss) < 4 * spread


def test_another_channel_has_another_card(small: PocketCard) -> None:
    other = pocket_card(channel="auction", as_of=NOW, pieces=2_000, rng=np.random.default_rng(3))
    assert other.decades != small.decades
    assert other.start != small.start
    # a card does best at home: the auction loses less on its own pieces than thrift's card does there
    assert other.cost.loss < small.cost.elsewhere.loc["auction", "loss"]
    assert set(small.cost.elsewhere.index) == set(load_priors().century.channels) - {"thrift"}


def test_the_same_call_gives_the_same_card(small: PocketCard) -> None:
    again = pocket_card(as_of=NOW, pieces=2_000, rng=np.random.default_rng(3))
    assert again.to_html() == small.to_html()
    different = pocket_card(as_of=NOW, pieces=2_000, rng=np.random.default_rng(4))
    assert different.to_html() != small.to_html()


@pytest.mark.parametrize("clue", ["hem", "long_side"])
def test_one_clue_is_a_card(clue: str) -> None:
    """With one clue nothing but rounding and joined rows can be lost: the odds add up exactly."""
    one = pocket_card(clues=[clue], as_of=NOW, pieces=2_000)
    assert list(one.rows) == [clue]
    assert one.cost.unrounded_loss < 0.05
    assert "<table" in one.to_html() and str(one)


def test_a_clue_that_says_less_than_the_noise_finds_no_place() -> None:
    """The weight of the cloth carries some hundredths of a bit (information.csv): of 1,000 pieces, none."""
    empty = pocket_card(clues=["momme"], as_of=NOW, pieces=1_000)
    assert empty.rows == {} and "weight" in empty.missing
    assert empty.decade({"momme": 12}).sums == empty.start
    assert "<table" in empty.to_html() and str(empty)


@pytest.mark.parametrize("size", ["A4", "letter"])
@pytest.mark.parametrize("channel", ["thrift", "museum"])
@pytest.mark.slow
def test_it_prints_on_one_page(card: PocketCard, size: str, channel: str) -> None:
    """Laid out by a paged-media engine at 9 point; museum has the most columns and longest words."""
    try:
        import weasyprint
    except (ImportError, OSError):  # it needs the system's text libraries
        pytest.skip("no engine for paged media is installed")
    made = card if channel == "thrift" else pocket_card(channel=channel, as_of=NOW, pieces=4_000)
    # a little lower than the paper, for another engine's letters may wrap a line more
    sheet = weasyprint.CSS(string=f"@page{{size:{size};margin-bottom:14mm}}")
    pages = weasyprint.HTML(string=made.to_html()).render(stylesheets=[sheet]).pages
    assert len(pages) == 1
    assert abs(pages[0].width - (793.7 if size == "A4" else 816)) < 1  # CSS pixels of 1/96 inch


def test_no_more_rows_than_the_page_holds(card: PocketCard, small: PocketCard) -> None:
    for one in (card, small):
        assert card_page.room([len(rows) for rows in one.rows.values()])
        labels = [row.label for rows in one.rows.values() for row in rows if len(row.values) > 1]
        assert all(len(label) <= card_page.longest(len(one.decades)) for label in labels)
        assert one.to_html().count("<td class=") >= len(one.to_frame()) * len(one.decades)
    assert not card_page.room([card_page.LINES, card_page.LINES])


def test_text_fits_a_hundred_letters_and_has_every_row(card: PocketCard) -> None:
    lines = str(card).splitlines()
    assert max(map(len, lines)) <= 100
    for clue, rows in card.rows.items():
        for row in rows:
            digits = [str(point) if point else "·" for point in row.points]
            assert any(
                row.label in line and line.split()[-len(digits) :] == digits for line in lines
            ), (clue, row.label)


def test_the_costs_are_printed(card: PocketCard) -> None:
    page, text = card.to_html(), " ".join(str(card).split())
    for name in ("agree", "near", "two", "true", "exact_true", "two_true"):
        assert f"{100 * card.cost.overall[name]:.0f} %" in text
        assert f"{100 * card.cost.overall[name]:.0f}\u00a0%" in page
    assert f"loses {card.cost.loss:.2f} bits" in page
    assert f"{card.cost.pieces}" in page and card.priors_hash[:12] in page and "thrift" in page
    tally = card.decade(card.example)
    assert f"sum: {tally.decade}, {tally.ahead} ahead" in page
    assert len(tally.rows) == len(card.example) > 1
    assert "<style>" in card._repr_html_() and "@page" not in card._repr_html_()


def test_what_tables_hold_is_escaped(card: PocketCard, tmp_path: Path) -> None:
    bad = "<b>a&b</b>"
    rows = {c: (dataclasses.replace(r[0], label=bad), *r[1:]) for c, r in card.rows.items()}
    hostile = dataclasses.replace(
        card, rows=rows, where=bad, titles=dict.fromkeys(card.rows, bad), example={}
    )
    assert bad not in hostile.to_html() and "&lt;b&gt;a&amp;b&lt;/b&gt;" in hostile.to_html()
    assert bad not in hostile._repr_html_()
    folder = Path(shutil.copytree(shipped_folder(), tmp_path / "priors"))
    file = folder / "families.csv"
    text = file.read_text(encoding="utf-8").replace(",hem thread,", ",<script>,")
    file.write_text(text, encoding="utf-8")
    made = pocket_card(load_priors(folder), clues=["hem_thread"], as_of=NOW, pieces=1_000)
    assert "<script>" not in made.to_html() and "&lt;script&gt;" in made.to_html()


@pytest.mark.parametrize(
    "again",
    [copy.copy, copy.deepcopy, lambda card: pickle.loads(pickle.dumps(card))],
    ids=["copy", "deepcopy", "pickle"],
)
def test_a_copy_says_the_same(small: PocketCard, again) -> None:
    other = again(small)
    assert other == small and other is not small
    assert other.to_html() == small.to_html() and str(other) == str(small)
    assert other.to_frame().equals(small.to_frame())
    assert other.decade(SEEN) == small.decade(SEEN)
    assert again(small.decade(SEEN)) == small.decade(SEEN)
    cost = again(small.cost)
    assert cost == small.cost
    assert cost.shares.equals(small.cost.shares) and cost.elsewhere.equals(small.cost.elsewhere)
    row = small.rows["hem"][0]
    assert again(row) == row
    with pytest.raises(TypeError):  # as closed as the first
        other.rows["hem"] = ()


def test_a_card_of_other_words_is_copied_with_them(tmp_path: Path) -> None:
    """Its tables go along: a word that the shipped ones do not know is read by the copy, too."""
    folder = Path(shutil.copytree(shipped_folder(), tmp_path / "priors"))
    with (folder / "vocabulary.csv").open("a", encoding="utf-8") as file:
        file.write("hem,roly-poly,synonym,hand-rolled,\n")
    made = pocket_card(load_priors(folder), clues=["hem"], as_of=NOW, pieces=1_000)
    seen = {"hem": "roly-poly"}
    assert made.decade(seen) == made.decade({"hem": "hand-rolled"})
    assert pickle.loads(pickle.dumps(made)).decade(seen) == made.decade(seen)
    assert copy.deepcopy(made).decade(seen) == made.decade(seen)
    with pytest.raises(WordError, match="roly-poly"):
        Scarf(**seen)


def test_saved_whole_or_not_at_all(small: PocketCard, tmp_path: Path) -> None:
    target = tmp_path / "card.html"
    assert small.save(target) == target
    assert target.read_text(encoding="utf-8") == small.to_html()
    with pytest.raises(ScarfdateError, match="cannot be written"):
        small.save(tmp_path / "nowhere" / "card.html")
    assert [path.name for path in tmp_path.iterdir()] == ["card.html"]


@pytest.mark.quick
@pytest.mark.parametrize(
    ("wrong", "kind", "says"),
    [
        ({"clues": ["hemm"]}, WordError, "cannot ask 'hemm'; did you mean"),
        ({"clues": ["maker"]}, WordError, "cannot ask 'maker'"),
        ({"clues": [7]}, WordError, "cannot ask '?7"),
        ({"clues": "hem"}, WordError, "a list of names"),
        ({"clues": []}, WordError, "a list of names"),
        ({"channel": "moon"}, WordError, "no channel 'moon'"),
        ({"pieces": 999}, RangeError, "from 1000"),
        ({"pieces": True}, RangeError, "whole number"),
        ({"pieces": 2e3}, RangeError, "whole number"),
        ({"pieces": 10**9}, RangeError, "whole number"),
        ({"rng": 5}, RangeError, "rng: a numpy Generator"),
        ({"as_of": 1885}, RangeError, "two decades"),
        ({"as_of": "soon"}, RangeError, "as_of"),
    ],
)
def test_what_cannot_be_is_refused(wrong: dict[str, object], kind: type, says: str) -> None:
    with pytest.raises(kind, match=says):
        pocket_card(**wrong)  # type: ignore[arg-type]


def made_up(n: int = 400, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Two clues of three rows each, four columns, and soft targets that no weights fit exactly."""
    rng = np.random.default_rng(seed)
    first, second = rng.integers(0, 4, (2, n))
    codes = np.stack([first, np.where(second > 0, second + 3, 0)], axis=1)
    weights = rng.normal(size=(7, 4))
    target = fit.softmax(fit.summed(weights, codes) + 0.5 * rng.normal(size=(n, 4)))
    return codes, target


def penalised(weights: np.ndarray, codes: np.ndarray, target: np.ndarray) -> float:
    """Cross-entropy and ridge, written plainly: piece by piece."""
    total = 0.0
    for piece, wanted in zip(codes, target, strict=True):
        logs = weights[0] + sum(weights[row] for row in piece if row)
        total -= float(wanted @ (logs - np.log(np.exp(logs).sum())))
    off = weights[1:] - weights[1:].mean(axis=1, keepdims=True)
    return total + 0.5 * fit._RIDGE * float((off**2).sum())


def test_weights_are_those_of_a_general_optimiser() -> None:
    """scipy's L-BFGS on the plain cross-entropy: the same least value, to a part in a million."""
    codes, target = made_up()
    found = fit.fit_weights(codes, target, 7)
    best = minimize(
        lambda flat: penalised(flat.reshape(7, 4), codes, target), np.zeros(28), method="L-BFGS-B",
        options={"maxfun": 100_000, "maxiter": 1_000, "ftol": 1e-12},
    )  # fmt: skip
    assert penalised(found, codes, target) == pytest.approx(best.fun, rel=1e-6)


@pytest.mark.quick
def test_no_move_of_a_point_helps_after_the_search() -> None:
    """Every point one up and one down, by the plain cross-entropy; and it beats rounding."""
    codes, target = made_up()
    scale = math.log(2)
    rounded = fit.to_points(fit.fit_weights(codes, target, 7), scale)
    points = fit.search(rounded, scale, codes, target)
    least = penalised(scale * points, codes, target)
    assert least < penalised(scale * rounded, codes, target)
    for row, column in np.ndindex(points.shape):
        for by in (1, -1):
            moved = points.copy()
            moved[row, column] += by
            if np.ptp(moved[row]) <= fit.HIGHEST:
                assert penalised(scale * moved, codes, target) > least - 1e-5


def test_rows_alike_are_joined_and_a_silent_clue_leaves() -> None:
    """Clue 0 has two rows alike of three; clue 1 says nothing; ranges join with neighbours only."""
    groups = [Group(0, (i,), False, False) for i in range(3)]
    groups += [Group(1, (i,), False, False) for i in range(2)]
    groups += [Group(2, (i,), False, True) for i in range(3)]
    rows = [
        [0, 0],
        [2.0, -2],
        [2.0, -2],
        [-2.0, 2],
        [0.1, 0],
        [0.1, 0],
        [1.0, -1],
        [-1.0, 1],
        [1.0, -1],
    ]
    joined = fit.join(
        groups, np.array(rows), np.full(8, 500.0), np.array([0.5, 0.5]),
        fits=lambda group: True, room=lambda sizes: True,
    )  # fmt: skip
    assert sorted((group.clue, group.members) for group in joined) == [
        (0, (0, 1)), (0, (2,)), (2, (0,)), (2, (1,)), (2, (2,)),
    ]  # fmt: skip
    few = fit.join(
        groups, np.array(rows), np.full(8, 500.0), np.array([0.5, 0.5]),
        fits=lambda group: False, room=lambda sizes: sum(sizes) <= 2,
    )  # fmt: skip
    assert [(group.clue, group.members, group.rest) for group in few] == [
        (0, (0, 1), True), (0, (2,), False),
    ]  # fmt: skip


@pytest.mark.quick
def test_losing_nothing_is_no_loss() -> None:
    """KL by hand: of (1/2, 1/2) against (1/4, 3/4) it is log2(2) / 2 + log2(2/3) / 2 bits."""
    half, quarter = np.array([[0.5, 0.5]]), np.array([[0.25, 0.75]])
    assert fit.loss(half, half)[0] == 0
    assert fit.loss(half, quarter)[0] == pytest.approx(0.5 + 0.5 * math.log2(2 / 3))
