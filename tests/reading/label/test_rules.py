"""Every rule both ways: the year before it holds as carefully as the year after.

Sources: ``facts/facts.csv`` beside the project (statutes, standards, publications; each with its own
source and status), and what is named beside the single checks.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from scarfdate import load_priors, read_label
from scarfdate.clues.label import LabelClue, LabelSeen
from scarfdate.conventions import MARKETS
from tests.reading.label.snapshot import YEARS, snapshot

ROWS = load_priors().label.rules
COUNTRIES = load_priors().vocabulary.values["origin"]
BOUNDING = [rule for rule in ROWS if rule.role == "bound"]
# years that a row takes from the note of its fact, or from its own market, and why
ELSEWHERE = {
    ("ginetex-symbols-1963", "not_before"),  # the note: 1958 as hard bound, 1963 as usual
    ("ginetex-symbols-1963", "usual"),
    ("ca-tla-effective", "usual"),  # percentages by choice are older than the law
    ("ca-tla-effective", "not_before"),
    ("fibre-vinyon-saran", "not_before"),  # saran 1941, vinyon 1939, both in the statement
    ("de-ges-gesch", "until"),  # the note: D.R.G.M. ends in 1945
    ("eu-euro-not-before", "usual"),  # the statement: cash prices from 2002
    ("jp-postal-1968", "not_before"),  # the note: seven digits since 1998
    ("uk-decimal-price", "until"),  # the statement: not after, in shillings
    ("uk-decimal-price", "not_before"),
    ("uk-london-district", "until"),  # the statement: usual up to about 1975
    ("us-wool-act-effective", "not_before"),  # "100 % wool" by choice is older than the act
    ("us-wool-act-effective", "usual"),
    ("west-germany-interval", "until"),  # the Federal Republic kept its name in 1990
    ("hong-kong-british", "until"),  # the note: Empire Made is a mark of the 1950s and 1960s
    ("de-ges-gesch", "not_before"),  # the note: D.B.G.M. and D.B.P. after 1949
    ("eu-vat-number", "not_before"),  # the note: country prefixes from 1993
    ("us-copyright-year-lower", "not_before"),
}
AT_THE_TURN = ("ceylon", "sri-lanka", "british-india", "pakistan")


@pytest.fixture(scope="module")
def clue() -> LabelClue:
    return LabelClue(load_priors(), "label_text", YEARS)


@pytest.fixture(scope="module")
def facts(shared: Path) -> dict[str, dict[str, str]]:
    with (shared / "facts" / "facts.csv").open(encoding="utf-8", newline="") as file:
        return {row["id"]: row for row in csv.DictReader(file)}


def test_every_year_of_a_rule_is_that_of_its_fact(facts: dict[str, dict[str, str]]) -> None:
    for rule in BOUNDING:
        fact = facts.get(rule.fact)
        if fact is None:  # told by its source and note, in the row itself
            assert rule.means and rule.status in ("memory", "read"), rule.fact
            continue
        assert rule.status == fact["status"], rule.fact
        if rule.value in AT_THE_TURN:  # one name ends and another begins in one year of the fact
            year = float(fact["year_from"] or fact["year_to"])
            assert year in (rule.not_before, rule.until), rule.value
            continue
        first = float(fact["year_from"]) if fact["year_from"] else math.nan
        last = float(fact["year_to"]) if fact["year_to"] else math.nan
        for name, year, kinds in (
            ("not_before", first, ("not-before", "interval")),
            ("usual", first, ("usual-from",)),
            ("until", last, ("until", "interval")),
        ):
            mine = getattr(rule, name)
            if (rule.fact, name) in ELSEWHERE or (math.isnan(mine) and fact["kind"] not in kinds):
                continue
            assert mine == year, (rule.fact, name)


def test_memory_is_called_memory_and_lore_common_practice(facts: dict[str, dict[str, str]]) -> None:
    for rule in ROWS:
        status = facts[rule.fact]["status"] if rule.fact in facts else rule.status
        expected = {"memory": {"memory"}, "common-practice": {"common practice"}}
        assert rule.basis in expected.get(status, {"statute", "published"}), rule.fact


def test_what_guards_has_no_say_in_any_year(clue: LabelClue) -> None:
    """A mark whose rules all guard is as possible in 1900 as in 2000."""
    bound = {rule.mark for rule in BOUNDING}
    only = {rule.mark for rule in ROWS} - bound
    assert {"depose", "design-patent"} <= only
    for mark in only - {*load_priors().label.series}:
        assert np.ptp(clue.chances.window(mark, "")) == 0, mark


HARD = [
    (mark, value, market, rule)
    for mark, value, market in sorted(
        {
            (rule.mark, rule.value, market)
            for rule in BOUNDING
            for market in MARKETS
            # which country it is, is the clue origin: tests/test_facts.py holds its edges
            if rule.market in ("any", market)
            and rule.value != "foreign-country"
            and not (rule.mark == "origin" and rule.value in COUNTRIES)
            # numbers and years of their own: below
            and rule.mark not in ("copyright-year", *load_priors().label.series)
        }
    )
    for rule in [tuple(r for r in load_priors().label.set_off(mark, value, market) if r.role == "bound")]
]  # fmt: skip


@pytest.mark.parametrize(("mark", "value", "market", "rules"), HARD)
def test_the_year_before_and_the_year_after(clue, mark, value, market, rules) -> None:
    window = dict(
        zip(YEARS.tolist(), clue.chances.window(mark, value)[MARKETS.index(market)], strict=True)
    )
    starts = [r.not_before for r in rules if not math.isnan(r.not_before)]
    ends = [r.until for r in rules if not math.isnan(r.until)]
    if starts:
        first = int(max(starts))
        assert window[first - 1] == pytest.approx(clue.chances.misread)  # no more than a misreading
        assert window[first] > 0.1
        assert window[first + 1] >= window[first]
    if ends:
        last = int(min(ends))
        lag = next(r.stock_lag for r in rules if r.until == last)
        assert window[last] >= window[last - 1] > 0.1  # the law's last year is whole
        assert window[last + 1] == pytest.approx(
            clue.chances.misread + (window[last] - clue.chances.misread) * math.exp(-1 / lag),
            rel=1e-9,
        )


def test_enacted_is_not_in_force(clue: LabelClue) -> None:
    """The day of a signature weighs nothing: 15 U.S.C. 68 was approved in 1940 and applied in 1941;
    the textile act was law in 1958 and applied in 1960 (facts us-wool-act-enacted, us-tfpia-enacted)."""
    apart = [r for r in ROWS if r.enacted < r.in_force]
    assert {r.fact for r in apart} >= {
        "us-wool-act-effective",
        "us-fiber-percent-usual",
        "us-circle-r",
    }
    # by choice "100 % wool" is older than the act: the habit changes, there is no bound
    wool = dict(zip(YEARS.tolist(), clue.chances.level("wool-percent")[0, 0], strict=True))
    assert 0.03 < wool[1939] < 0.1 < 0.45 < wool[1942]


def test_the_number_rule_of_collectors_is_followed_with_a_spread() -> None:
    """(number - 13670) / 2365 + 1959 (fact us-rn-linear-lore, common practice): never as a date."""
    series = load_priors().label.series["rn"]
    for number in (25495, 42435, 60000, 72830, 90000):
        year, spread = series.issued(number)
        assert year == pytest.approx((number - 13670) / 2365 + 1959, abs=0.6)
        # both examples on the page read are errors of 3 and of more than 10 years, of use and not of issue
        assert 2 < spread < 4
    assert series.issued(10**6)[0] == series.years[-1]  # never after what the anchors support


def test_wool_numbers_begin_and_end_with_their_series() -> None:
    """00101 to 13669, 1941 to 1959 (fact us-wpl-range, read)."""
    wool = load_priors().label.series["wpl"]
    assert wool.issued(101)[0] == 1941
    assert wool.issued(13669)[0] == 1959


def test_a_fragment_counts_what_is_there_and_not_what_is_missing(clue: LabelClue) -> None:
    marks = (("fibre", "silk"), ("origin", "italy"))
    whole = clue.marks_given_year(LabelSeen(marks, intact=True))
    part = clue.marks_given_year(LabelSeen(marks, intact=False))
    us, year = 0, int(np.flatnonzero(YEARS == 1990)[0])
    early = int(np.flatnonzero(YEARS == 1950)[0])
    # a whole American label of 1990 without percentages is rare, a cut one says nothing of them
    assert whole[us, year] / part[us, year] < 0.3 < whole[us, early] / part[us, early]
    # where no rule makes a label bear them they are missing as often in every year
    europe = MARKETS.index("europe")
    ratio = whole[europe] / part[europe]
    np.testing.assert_allclose(ratio, ratio[0])


def test_the_snapshot_of_all_years_is_current() -> None:
    committed = (Path(__file__).parent / "years.csv").read_text(encoding="utf-8")
    assert snapshot().splitlines() == committed.splitlines(), (
        "python -m tests.reading.label.snapshot tests/reading/label/years.csv, and read what changed"
    )


@pytest.mark.parametrize(
    ("text", "market", "not_before", "until"),
    [
        # Treaty of Peace with Japan, in force 28 April 1952; order of 20 February 1947
        ("MADE IN OCCUPIED JAPAN", None, 1947, 1952),
        # 15 U.S.C. 68 as amended in 1980: "recycled" for "reprocessed" and "reused"
        ("40% REPROCESSED WOOL 60% WOOL", "us", 1941, 1980),
        # Regulation (EU) 1007/2011, article 12, applied from 8 May 2012
        ("Contains non-textile parts of animal origin", "eu", 2012, math.nan),
        # 16 CFR 423.8(g) as amended: symbols without words from 1 July 1997
        ("[wash 30] [triangle] [iron] [circle P]", "us", 1997, math.nan),
        # 63 FR 7508: ISO 2076 names lawful from 16 March 1998
        ("100% VISCOSE", "us", 1998, math.nan),
        ("100% VISCOSE", "eu", 1905, math.nan),
        # Pub. L. 93-596: the Patent Office renamed on 2 January 1975
        ("Reg. U.S. Pat. Off.", None, math.nan, 1975),
        ("Reg. U.S. Pat. & Tm. Off.", None, 1975, math.nan),
    ],
)  # fmt: skip
def test_bounds_of_statutes(text, market, not_before, until) -> None:
    bounds = read_label(text, market).bounds()
    assert bounds.not_before == pytest.approx(not_before, nan_ok=True)
    assert bounds.until == pytest.approx(until, nan_ok=True)
