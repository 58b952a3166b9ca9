"""What a label makes of the years, through the front door."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scarfdate import (
    Scarf,
    ScarfdateError,
    WordError,
    date_scarf,
    date_table,
    load_priors,
    read_label,
)
from scarfdate.answer.dating import Dating
from scarfdate.conventions import MARKETS
from scarfdate.show.sentence import capital

NOW = 2026
CHANNELS = ("thrift", "estate", "auction")
SHOPS = [*CHANNELS, "thrift-us"]


def dated(channel: str = "thrift", **seen: object) -> Dating:
    return date_scarf(Scarf(**seen), channel=channel, as_of=NOW)


def at(dating: Dating, part: float) -> int:
    """The year by which ``part`` of the probability lies."""
    return int(dating.years[np.searchsorted(np.cumsum(dating.probability), part)])


def before(dating: Dating, year: int) -> float:
    return float(dating.probability[dating.years < year].sum())


@pytest.mark.parametrize("channel", SHOPS)
def test_no_label_is_nearly_no_news(channel: str) -> None:
    """Labels are cut off, and many were never sewn in (facts us-tfpia-label-removable, ca-scarf-nonpermanent,
    uk-label-not-sewn): the median moves by less than two years."""
    blank = date_scarf(Scarf(), channel=channel, as_of=NOW)
    none = dated(channel, label="none-seen")
    assert abs(at(none, 0.5) - at(blank, 0.5)) < 2
    assert np.abs(none.probability - blank.probability).sum() / 2 < 0.05


@pytest.mark.parametrize("number", [14000, 25000, 60000, 90000, 105000])
@pytest.mark.parametrize("channel", SHOPS)
def test_a_number_alone_bounds_from_below_and_stays_in_use_for_decades(
    channel: str, number: int
) -> None:
    """Numbers stay in use for decades (fact us-rn-never-expires, read), and fall out of use as firms die
    (the note of the number table us-rn: a lag of 0 to 40 years with a heavy tail)."""
    found = dated(channel, label_text=f"...QUORVELLE\nRN {number}")
    issued, spread = load_priors().label.series["rn"].issued(number)
    assert at(found, 0.975) >= min(issued + 30, NOW - 10)
    assert at(found, 0.5) <= issued + 25
    assert before(found, int(issued - 3 * spread)) < 0.02


def test_a_number_bounds_from_below_and_says_so() -> None:
    sentence = dated(label_text="RN 60000").sentence
    assert "registration number 60000, given about 1979" in sentence
    told = " ".join(str(read_label("RN 60000")).split())
    assert "the piece is not older than its number; numbers stay in use for decades" in told


@pytest.mark.parametrize(
    ("text", "given"),
    [
        ("DES. PAT. 345000", "about 1994"), ("DES. PAT. 250000", "about 1979"), ("DES. PAT. 54359", "about 1920"),
        ("DES. PAT. 80254", "about 1930"), ("DES. PAT. 148267", "about 1948"), ("DES. PAT. 900000", "after about 2003"),
        ("Rd. No. 944932", "about 1970"), ("Rd. No. 356442", "about 1900"), ("Rd. No. 849730", "about 1947"),
        ("U.S. PAT. NO. 223211", "about 1880"), ("U.S. PAT. NO. 640167", "about 1900"), ("PAT. 2,314,098", "about 1943"),
        ("BRIT. PAT. 512345", "about 1940"), ("PAT. NO. 512345\nMADE IN ENGLAND", "about 1940"),
        ("U.S. PAT. 512345\nMADE IN ENGLAND", "about 1894"), ("Pat. No. 633754 Gt. Britain", "about 1950"),
        ("RN 60000", "about 1979"), ("RN 170000", "after about 2019"),
    ],
)  # fmt: skip
def test_a_number_is_of_the_year_of_its_table(text: str, given: str) -> None:
    """Years from memory of the offices' tables of the first numbers of each year (label_numbers.csv). A number
    beyond the last row is of any year after it."""
    told = " ".join(str(read_label(text)).split())
    assert f"given {given}" in told
    year = int(given.split()[-1])
    found = dated(label_text=text)
    assert before(found, year - 20) < 0.25 and found.between(year, NOW) > 0.4
    if "after" in given:
        assert found.between(year, year + 3) < 0.4  # not squeezed onto its last row


def test_a_patent_of_another_series_has_no_american_year() -> None:
    """British numbers began anew each year before 1916, French ones are another series."""
    for text in ("BRIT. PAT. 12345", "BREVET NO 512345", "BREVETTO N 512345"):
        assert "given" not in str(read_label(text)), text
        assert "us" not in read_label(text).markets or len(read_label(text).markets) > 1


def test_protection_that_ends_is_no_number_in_use_for_decades() -> None:
    """A design patent ran for 14 years at most (35 U.S.C. 173), a registered design for 15."""
    for text in ("DES. PAT. 152,874", "Rd. No. 849730", "U.S. PAT. 2314098", "BRIT. PAT. 512345"):
        told = " ".join(str(read_label(text)).split())
        assert "decades" not in told and "hardly more than that much younger" in told
    design, number = dated(label_text="DES. PAT. 152,874"), dated(label_text="RN 13700")
    assert before(design, 1970) > before(number, 1980)


def test_what_follows_from_one_act_is_not_counted_twice() -> None:
    """Percentages and number come under the same act: together less than the sum of each alone."""

    def weight(text: str) -> float:
        d = dated(label_text=text, channel="thrift-us")
        blank = dated(label="intact", channel="thrift-us")
        odds = [(1 - before(x, 1960)) / before(x, 1960) for x in (d, blank)]
        return 10 * math.log10(odds[0] / odds[1])

    both = weight("QUORVELLE\n100% SILK\nRN 13700")
    percent, number = weight("QUORVELLE\n100% SILK"), weight("QUORVELLE\nALL SILK\nRN 13700")
    print(f"percentages {percent:.1f}, number {number:.1f}, both {both:.1f} decibans")
    assert percent > 2 < number
    assert max(percent, number) < both < percent + number - 1


def test_marks_lead_where_the_making_is_silent_and_can_lose_where_it_speaks() -> None:
    label = {"label_text": "100% POLYESTER\nRN 60000", "fibre": "silk", "fibre_method": "burn"}
    alone = dated(**label)
    assert before(alone, 1959) < 0.15
    # common practice, no source: a piece of the 1920s to 1930s by everything but its label
    old = {
        "hem": "hand-rolled", "print_technique": "block", "uv_glow": "none", "hem_thread": "silk",
        "stitches_per_inch": 16, "weave": "crepe", "origin": "france",
    }  # fmt: skip
    without = dated("auction", fibre="silk", fibre_method="burn", **old)
    with_label = dated("auction", **label, **old)
    assert before(without, 1959) > 0.9
    # silk by the burn test under "100% polyester": the label is rather of another piece, and said to be;
    # how far it loses is for the tables, that it loses for these clues is not
    assert before(with_label, 1959) > 0.5
    doubt = with_label.doubts[0]
    assert doubt.clue == "label_text" and doubt.chance > 0.5
    assert "probably of another piece, or misread" in with_label.sentence
    scarf = Scarf(**label, **old)
    assert any(
        "the label says polyester, you noted silk; your note counts" in text
        for text in scarf.warnings
    )


def test_a_label_that_does_not_fit_is_named_and_can_lose() -> None:
    """A coronation announced beforehand, a hem and a block print (common practice, no source) against a
    number that was given about 1979."""
    old = {
        "depicted_year": 1937, "depicted_announced": True, "hem": "hand-rolled",
        "hem_thread": "silk", "print_technique": "block", "weave": "crepe",
    }  # fmt: skip
    fits, does_not = dated("estate", **old), dated("estate", label_text="RN 60000", **old)
    assert before(does_not, 1945) > 0.5
    assert does_not.predictive_p < 0.2 < fits.predictive_p
    # what is more likely wrong than right is told as such, with what follows if it is right after all
    doubt = does_not.doubts[0]
    assert doubt.clue in ("label_text", "depicted_year") and doubt.chance > 0.5
    assert f"{capital(doubt.seen)}: probably {doubt.wrong}" in does_not.sentence
    assert doubt.if_right in does_not.sentence
    assert "The clues disagree" not in does_not.sentence  # told once
    assert "a slip" not in fits.sentence


def test_a_replaced_label_loses_to_five_clues() -> None:
    """A slip: the years before the issue keep what the making says, divided by no more than the slip."""
    seen = {
        "print_technique": "digital",
        "print_technique_method": "microscope",
        "hem": "overlocked",
    }
    modern = dated(label_text="CC41\nRAYON", fibre="polyester", fibre_method="burn", **seen)
    assert before(modern, 1975) < 0.05


def test_absence_counts_on_an_intact_label_only_and_where_a_rule_asks() -> None:
    whole = dated("thrift-us", label_text="QUORVELLE\nSILK\nMADE IN U.S.A.")
    part = dated("thrift-us", label_text="...QUORVELLE\nSILK\nMADE IN U.S.A.")
    full = dated("thrift-us", label_text="QUORVELLE\n100% SILK\nDRY CLEAN ONLY\nMADE IN U.S.A.")
    assert at(whole, 0.5) < at(part, 0.5) - 5  # no percentages, no care: earlier
    assert at(full, 0.5) > at(whole, 0.5) + 10
    # the same words with the state of the label said to be a fragment
    said = dated("thrift-us", label_text="QUORVELLE\nSILK\nMADE IN U.S.A.", label="cut-or-fragment")
    np.testing.assert_allclose(said.probability, part.probability, atol=1e-12)


def test_a_dated_souvenir_is_of_its_year_and_a_picture_of_any_year_after() -> None:
    """A day announced before is printed a little before and shortly after; an old thing at any time."""
    announced = dated(depicted_year=1953, depicted_announced=True)
    assert announced.between(1951, 1955) > 0.6
    assert announced.between(1951, 1952) > 0.02
    old = dated(depicted_year=1889)
    assert old.between(1950, NOW) > 0.3
    assert before(old, 1888) < 0.05
    printed = dated(label_text="© 1962 QUORVELLE")
    assert before(printed, 1961) < 0.1
    assert printed.between(1970, NOW) > 0.05


# --- real cloth


@pytest.fixture(scope="module")
def numbered(shared: Path) -> list[dict[str, str]]:
    """Open museum records (CC0 and open licences; see the README beside them) with a number on them."""
    with (shared / "museum" / "harvested.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if "RN " in row["marks_text"]]
    assert len(rows) >= 6
    return rows


@pytest.mark.parametrize("channel", ["thrift", "estate", "museum"])
def test_numbers_on_real_cloth_leave_the_years_before_issue_no_more_than_a_slip(
    numbered: list[dict[str, str]], channel: str
) -> None:
    """Dated "1930-50" by the museum, with a number of the series that began in 1959 (fact us-rn-start-1959,
    read): the likelihood of every year before the issue is no more than the slip's."""
    slip = load_priors().slips["label_text"]
    early = 0
    for row in numbered:
        marks = f"...{row['marks_text'].removeprefix('printed: ')}"
        label = read_label(marks, "us")
        assert any(mark.mark == "rn" for mark in label.marks), marks
        assert label.bounds().not_before == 1959
        piece = dated(channel, label_text=marks)
        prior = date_scarf(Scarf(label="cut-or-fragment"), channel=channel, as_of=NOW)
        ratio = (piece.probability / prior.probability)[prior.years < 1956]
        later = (piece.probability / prior.probability)[prior.years >= 1965].max()
        assert ratio.max() <= 2 * slip * later
        assert before(piece, 1959) <= slip
        if int(row["year_end"]) < 1959:
            early += 1
            museum = piece.between(int(row["year_begin"]), int(row["year_end"]))
            print(
                f"{row['date_text']} by the museum, number {marks}: {museum:.2f} by its marks ({channel})"
            )
            assert museum < (0.10 if channel != "museum" else 0.30)
    assert early >= 2  # the lesson is in the file


# --- the cell, and what it fills


def test_a_cell_fills_what_is_blank_and_nothing_else() -> None:
    scarf = Scarf(label_text="100% SILK\nMADE IN JAPAN", origin="france")
    assert (scarf.label, scarf.fibre, scarf.origin) == ("intact", "silk", "france")
    assert scarf.observations["fibre"].method == "label"
    assert any(
        "the label says japan, you noted france; your note counts" in text
        for text in scarf.warnings
    )
    assert Scarf.from_dict(scarf.to_dict()) == scarf
    assert Scarf.from_json(scarf.to_json()) == scarf
    assert Scarf(label_text="") == Scarf()


def test_a_table_says_what_one_scarf_says() -> None:
    rows = [
        {"id": "1", "label_text": "100% SILK\nMADE IN ITALY"},
        {"id": "2", "label_text": "...DE IN JAP", "fibre": "rayon"},
        {"id": "3", "label_text": None, "fibre": "silk"},
        {"id": "4", "label_text": "RN 60000", "label": "cut-or-fragment"},
        {"id": "5", "label_text": "60% SILK 30% WOOL", "origin": "france"},
        {"id": "6", "label_text": 12345},
    ]
    frame, years = date_table(pd.DataFrame(rows), as_of=NOW, with_years=True)
    assert frame["errors"].isna().all()
    for row, chance in zip(rows, years, strict=True):
        alone = date_scarf(Scarf.from_dict(row), as_of=NOW)
        np.testing.assert_allclose(chance, alone.probability, atol=1e-12)
    assert "add up to 90" in frame["warnings"].iloc[4]


def test_bad_cells_are_named_and_never_stop_the_others() -> None:
    rows = [
        {"label_text": "ALL SILK", "label": "none-seen"},
        {"label_text": "x" * 10_001},
        {"label_text": "=HYPERLINK(1)"},
        {"label_text": "\x00\x1b[31m RN 1e9 \ud800"},
    ]
    # as objects: a column of text may refuse half a character before we see it
    frame = date_table(pd.DataFrame(rows, dtype=object), as_of=NOW)
    assert "none-seen" in frame["not_read"].iloc[0]
    assert "10000 characters" in frame["not_read"].iloc[1]
    assert frame["not_read"].iloc[2:].isna().all()
    with pytest.raises(ScarfdateError, match="none-seen"):
        Scarf(label_text="ALL SILK", label="none-seen")
    with pytest.raises(ScarfdateError, match="a text is allowed"):
        read_label(3)  # type: ignore[arg-type]
    for market in ("mars", "", 3):
        with pytest.raises(WordError, match="market"):
            read_label("ALL SILK", market)  # type: ignore[arg-type]


def test_clue_order_and_reading_twice_change_nothing() -> None:
    a = dated(label_text="100% SILK RN 60000", hem="hand-rolled")
    b = dated(hem="hand-rolled", label_text="100% SILK RN 60000")
    np.testing.assert_array_equal(a.probability, b.probability)
    # the order of the lines makes no difference, nor does a mark that stands twice
    c = dated(label_text="RN 60000\n100% SILK\nRN 60000", hem="hand-rolled")
    np.testing.assert_allclose(a.probability, c.probability, atol=1e-12)


# --- the market, and the first line


@pytest.mark.parametrize("channel", ["thrift", "museum"])
@pytest.mark.parametrize(
    "text", ["", "ACETATE RAYON", "100% SILK\nMADE IN ITALY", "100% VISCOSE", "RN 60000"]
)
def test_a_known_market_is_that_part_of_the_whole(text: str, channel: str) -> None:
    """The datings of the four markets, each as often as the whole says, add up to that of the whole."""
    priors = load_priors()
    whole = date_scarf(Scarf(label_text=text), channel=channel, as_of=NOW)
    parts = {
        market: date_scarf(
            Scarf(label_text=text),
            priors=priors.offered_in(market, whole.channel),
            channel=channel,
            as_of=NOW,
        )
        for market in MARKETS
    }
    added = sum(whole.market[market] * part.probability for market, part in parts.items())
    np.testing.assert_allclose(added, whole.probability, atol=1e-6)
    assert all(part.market[market] > 0.999 for market, part in parts.items())


def test_what_is_given_of_the_market_moves_the_years() -> None:
    """Acetate rayon went out in 1953 in the United States, in 1972 in Canada (label_rules.csv)."""
    priors = load_priors()
    scarf = Scarf(label_text="ACETATE RAYON")
    medians = [
        at(date_scarf(scarf, priors=priors.offered_in(market, "thrift"), as_of=NOW), 0.5)
        for market in ("us", "europe", "canada")
    ]
    assert medians == sorted(medians) and medians[-1] - medians[0] > 8
    with pytest.raises(WordError, match="market"):
        priors.offered_in("mars", "thrift")


HEADLINES = [
    "100% SILK SOIE\nCA 01234\nMADE IN ITALY FABRIQUÉ EN ITALIE", "CA 27815\n100% POLYESTER", "WPL 4021\n50% WOOL",
    "RN 99120\n65% ACRYLIC 35% WOOL", "MADE IN GERMANY US-ZONE\nKUNSTSEIDE", "100% VISCOSE\n[wash 30]", "RN 60000",
    "DES. PAT. 345000", "GB/T 29862-2013", "© 1953 Prints", "VEB\nEVP 14,50 M", "NEW YORK 16, N.Y.", "WWW.SILK.EXAMPLE",
    "Dallas, TX 75207-3104", "0171 493 0142", "100% MODAL\n39,90 €", "POLYAMIDE", "RAYON", "MADE IN PAKISTAN",
]  # fmt: skip


@pytest.mark.parametrize("text", HEADLINES)
def test_the_first_line_agrees_with_the_marks_and_the_first_possible_year(text: str) -> None:
    label, dating = read_label(text), dated(label_text=text)
    head = str(label).splitlines()[0]
    first = dating.earliest
    told = re.search(r"not before (\d{4})", head)
    assert (None if told is None else int(told[1])) == (None if first is None else first.year)
    usual = re.search(r"usual from (\d{4})", head)
    assert usual is None or told is None or int(usual[1]) > int(told[1])
