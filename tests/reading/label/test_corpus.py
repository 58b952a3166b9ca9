"""Labels composed from marks are read back to just those marks, and their bounds hold their year.

Source: the composed labels themselves (``compose.py``); years from ``label_rules.csv``.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate.conventions import MARKETS
from scarfdate.reading.label import Label, read_label
from scarfdate.tables.priors import Priors
from tests.conftest import ROOT
from tests.reading.label.compose import (
    FIRST_DECADE,
    FRAGMENT,
    INTACT,
    LAST_DECADE,
    Composed,
    check_digit,
    compose,
    corpus,
)

FILE = ROOT / "data" / "labels.csv"
SHOWN = 12  # labels told of when a test fails
# a mark that no printed phrase gives: it wants the judgement of a reader of the whole wording
# "bar-code" and "phone-area-code" are told of a label, and never copied off it
NEVER = {"city", "care-full", "bar-code", "phone-area-code"}


def committed() -> list[Composed]:
    rows = csv.DictReader(io.StringIO(FILE.read_text(encoding="utf-8")))
    return [
        Composed(
            row["text"], row["market"], int(row["year"]),
            tuple((mark, value) for mark, value in json.loads(row["marks"])), row["state"],
        )
        for row in rows
    ]  # fmt: skip


@pytest.fixture(scope="module")
def labels() -> list[Composed]:
    return committed()


def found_in(label: Label) -> tuple[tuple[str, str], ...]:
    return tuple(sorted({(mark.mark, mark.value) for mark in label.marks}))


def faults_of(label: Composed) -> list[str]:
    """What is read otherwise than composed."""
    read = read_label(label.text)
    found, meant = set(found_in(read)), set(label.marks)
    faults = []
    if found != meant:
        faults.append(f"not read {sorted(meant - found)}, read too much {sorted(found - meant)}")
    if read.state != label.state:
        faults.append(f"is {label.state}, read as {read.state}")
    if label.market not in read.markets:
        faults.append(f"offered in {label.market}, read as {', '.join(read.markets)}")
    if label.state == INTACT and read.flags:
        faults.append(f"flags: {'; '.join(read.flags)}")
    return faults


def told(faults: list[tuple[Composed, list[str]]]) -> str:
    lines = [f"{len(faults)} labels are not read back"]
    for label, each in faults[:SHOWN]:
        lines.append(f"{label.text!r} ({label.market} {label.year}): {'; '.join(each)}")
    return "\n".join(lines)


# --- the file


def test_the_committed_file_is_what_the_composer_writes() -> None:
    assert FILE.read_text(encoding="utf-8") == corpus()


def test_the_file_has_all_decades_markets_and_cut_labels(labels: list[Composed]) -> None:
    assert len(labels) >= 320
    cells = {(label.market, label.year // 10 * 10) for label in labels}
    decades = range(FIRST_DECADE, LAST_DECADE + 1, 10)
    assert cells == {(market, decade) for market in MARKETS for decade in decades}
    cut = sum(label.state == FRAGMENT for label in labels)
    assert 25 <= cut <= 50
    assert len({label.text for label in labels}) == len(labels)


def test_every_mark_is_in_the_file(labels: list[Composed], priors: Priors) -> None:
    """The marks are those of ``label_values.csv``."""
    known = {mark for mark, _ in priors.label.titles} - NEVER
    assert known - {mark for label in labels for mark, _ in label.marks} == set()


@pytest.mark.slow
def test_every_dated_value_can_be_composed(priors: Priors) -> None:
    """The values with bounds of their own are those of ``label_rules.csv``."""
    many = compose(np.random.default_rng(1), 6000, rare=True)
    composed = {pair for label in many for pair in label.marks}
    composed |= {(mark, value.split()[0]) for mark, value in composed if mark == "rn" and value}
    dated = {
        (rule.mark, rule.value)
        for rule in priors.label.rules
        if rule.role == "bound" and rule.value not in ("", "foreign-country")
    }
    # no phrase alone is a full wording, and a S.A.S. is a French one by the rest of the label (`test_corrections`)
    assert dated - composed <= {("care", "full-wording"), ("firm", "sas-france")}


# --- reading back


def test_every_label_of_the_file_is_read_back(labels: list[Composed]) -> None:
    faults = [(label, each) for label in labels if (each := faults_of(label))]
    assert not faults, told(faults)


def test_bounds_hold_the_year_of_each_label(labels: list[Composed]) -> None:
    outside = [label for label in labels if not holds(label)]
    assert not outside, "\n".join(f"{label}" for label in outside[:SHOWN])


def test_a_year_before_all_bounds_is_outside(labels: list[Composed]) -> None:
    """That the test before this one can fail."""
    dated = [
        Composed(label.text, label.market, 1500, label.marks)
        for label in labels
        if not math.isnan(read_label(label.text, label.market).bounds().not_before)
    ]
    assert dated and not any(map(holds, dated))


def holds(label: Composed) -> bool:
    """Whether the bounds hold the year, in the market and in all markets together."""
    here, anywhere = read_label(label.text, label.market), read_label(label.text)
    for read, market in ((here, label.market), (anywhere, None)):
        bounds = read.bounds(market)
        if label.year < bounds.not_before:
            return False
        # the old form is used up after the end: the mean lag of the rule that gives it
        lags = [
            rule.stock_lag
            for mark in read.marks
            for each in (read.markets if market is None else (market,))
            for rule in read.rules_of(mark, each)
            if rule.until == bounds.until
        ]
        if label.year > bounds.until + max(lags, default=0.0):
            return False
    return True


usual = settings(
    deadline=None,
    derandomize=True,
    max_examples=150,
    suppress_health_check=[HealthCheck.too_slow],
)
seeds = st.integers(0, 2**32 - 1)


@pytest.mark.slow
@usual
@given(seeds)
def test_any_composed_label_is_read_back(seed: int) -> None:
    faults = [
        (label, each)
        for label in compose(np.random.default_rng(seed), 8)
        if (each := faults_of(label))
    ]
    assert not faults, told(faults)


@pytest.mark.slow
@usual
@given(seeds)
def test_any_composed_label_is_within_its_bounds(seed: int) -> None:
    for label in compose(np.random.default_rng(seed), 8):
        assert holds(label), label


@pytest.mark.slow
@usual
@given(seeds)
def test_what_is_given_of_the_market_is_kept(seed: int) -> None:
    for label in compose(np.random.default_rng(seed), 4):
        read = read_label(label.text, label.market)
        assert read.markets == (label.market,)
        assert found_in(read) == found_in(read_label(label.text))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("number", "rare"),
    [(8_000, False), (4_000, True), pytest.param(20_000, False, marks=pytest.mark.long)],
)
def test_thousands_of_composed_labels_are_read_back(number: int, rare: bool) -> None:
    """Two lines that are read wrongly only beside each other meet once in thousands of labels."""
    faults = [
        (label, each)
        for label in compose(np.random.default_rng(20), number, rare=rare)
        if (each := faults_of(label))
    ]
    assert not faults, told(faults)


@pytest.mark.parametrize(
    ("text", "marks"),
    [
        ("[CUT]LHEIM, RN 41394  CA55492", {("rn", "41394"), ("ca-number", "55492")}),
        ("…relle - rn 32873  ca-13246", {("rn", "32873"), ("ca-number", "13246")}),
        ("…relle, CA 33118", set()),  # California behind a town that is cut, as likely
        ("Hand Washable, China\nSilk Twill", {("washable", ""), ("origin", "china"), ("fibre", "silk")}),
        ("Dry Clean\nChina • Silk Crepe", {("care", "dry-clean"), ("origin", "china"), ("fibre", "silk")}),
        ("CHINA SILK", {("fibre", "silk")}),
        ("22999 COMO\nsilk crepe", {("postcode-italy", ""), ("fibre", "silk")}),
        ("COMO SILK", {("fibre", "silk")}),
        ("MADE IN\nITALY", {("origin", "italy")}),
    ],
)  # fmt: skip
def test_lines_beside_each_other_are_not_read_together(
    text: str, marks: set[tuple[str, str]]
) -> None:
    assert set(found_in(read_label(text))) == marks


# --- the composer


def test_the_same_seed_composes_the_same() -> None:
    first, again = (compose(np.random.default_rng(7), 30) for _ in range(2))
    assert first == again
    assert first != compose(np.random.default_rng(8), 30)


def test_check_digits_are_those_of_the_standard() -> None:
    """GS1, "How to calculate a check digit manually": 629104150021 has the check digit 3."""
    assert check_digit("629104150021") == "3"


def test_shares_add_up_to_100(labels: list[Composed]) -> None:
    """By the digits that are printed, not by the reader."""
    counted = 0
    for label in labels:
        if ("bilingual", "") in label.marks or label.state == FRAGMENT:
            continue
        found = re.findall(r"(\d+(?:,\d)?) ?%", label.text)
        if len(found) > 1:
            assert sum(float(share.replace(",", ".")) for share in found) == 100, label.text
            counted += 1
    assert counted > 20
