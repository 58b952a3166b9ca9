"""Years known from papers: the year of acquisition and an interval that is to be narrowed."""

from __future__ import annotations

import datetime

import pandas as pd
import pytest

from scarfdate import Scarf, ScarfdateError, conflict, date_scarf, date_table, explain, load_priors

AS_OF = 2020
SEEN = {"fibre": "silk", "form": "square", "hem": "hand-rolled"}


def test_no_piece_is_made_after_it_was_acquired():
    for cell in (
        1962,
        "1962",
        "1962-05-17",
        "1958/1962",
        1962.0,
        datetime.date(1962, 5, 17),
        "1962.0",
    ):
        dating = date_scarf({**SEEN, "acquired": cell}, as_of=AS_OF)
        assert dating.between(1963, AS_OF) < 1e-9
        assert dating.interval()[1] <= 1962


def test_a_known_interval_is_narrowed_in_proportion_to_what_the_clues_say():
    free = date_scarf(SEEN, as_of=AS_OF)
    bound = date_scarf({**SEEN, "known_from": 1901, "known_to": 1950}, as_of=AS_OF)
    inside = (free.years >= 1901) & (free.years <= 1950)
    expected = free.probability * inside / free.probability[inside].sum()
    assert abs(bound.probability - expected).max() < 1e-9


@pytest.mark.parametrize("cells", [
    {"known": "20th century"}, {"known": "1900/1999"}, {"known": "19XX"},
    {"known_from": "1900", "known_to": "20th century"}, {"known_from": 1900, "known_to": 1999.0},
])  # fmt: skip
def test_one_interval_in_five_spellings(cells):
    seen = Scarf(**SEEN, **cells)
    assert (seen.known_from, seen.known_to) == (1900, 1999)
    table = date_table(pd.DataFrame([{**SEEN, **cells}]), as_of=AS_OF)
    assert table["errors"].isna().all()
    dating = date_scarf(seen, as_of=AS_OF)
    assert (table["year_from"][0], table["year_to"][0]) == dating.interval()
    assert dating.between(2000, AS_OF) < 1e-9


def test_an_open_side_stays_open():
    dating = date_scarf({"known": "after 1950"}, as_of=AS_OF)
    assert dating.between(1800, 1949) < 1e-9
    assert dating.between(2000, AS_OF) > 0.05
    assert date_scarf({"known_to": 1870}, as_of=AS_OF).interval() == (1880, 1880)


def test_years_that_are_only_estimated_can_lose():
    """The factor between years within and without is the rate of known_by.csv."""
    hard = date_scarf({"known_from": 1920, "known_to": 1929, "printed_year": 1962}, as_of=AS_OF)
    assert hard.between(1920, 1929) > 0.999
    soft = {"known_from": 1920, "known_to": 1929, "known_by": "estimated"}
    assert date_scarf({**soft, "printed_year": 1962}, as_of=AS_OF).between(1962, AS_OF) > 0.9
    plain, bound = (date_scarf(cells, as_of=AS_OF) for cells in (SEEN, {**SEEN, **soft}))
    rate = load_priors().known_by["estimated"].wrong
    odds = [d.between(1920, 1929) / (1 - d.between(1920, 1929)) for d in (plain, bound)]
    assert odds[1] * rate == pytest.approx(odds[0], rel=1e-9)


@pytest.mark.parametrize(("cells", "names"), [
    ({"acquired": 1950, "known_from": 1960}, ["acquired", "1950", "known_from", "1960"]),
    ({"known_from": 1970, "known_to": 1960}, ["known_from", "1970", "known_to", "1960"]),
    ({"acquired": 999}, ["acquired", "1000", "2199"]),
    ({"acquired": 2021}, ["acquired", "2021", "as_of"]),
    ({"known_from": 2021}, ["known", "2021", "as_of"]),
    ({"acquired": "after 1950"}, ["acquired", "no last year"]),
    ({"acquired": "by chance"}, ["acquired", "by chance"]),
    ({"acquired": 1950.5}, ["acquired", "1950.5", "whole year"]),
    ({"acquired": float("inf")}, ["acquired"]),
    ({"acquired": True}, ["acquired", "True"]),
    ({"known": "1950s", "known_to": 1955}, ["known", "known_to"]),
    ({"known_from": "before 1950"}, ["known_from", "before 1950"]),
    ({"known_to": 3000}, ["known_to", "3000"]),
    ({"known": "1950s", "known_by": "hearsay"}, ["known_by", "hearsay"]),
])  # fmt: skip
def test_wrong_bounds_are_refused_by_name(cells, names):
    with pytest.raises(ScarfdateError) as refusal:
        date_scarf(cells, as_of=AS_OF)
    assert all(name in str(refusal.value) for name in names), refusal.value
    errors = date_table(
        pd.DataFrame([{**cells, "id": "a"}], dtype=object), as_of=AS_OF, on_error="collect"
    )["errors"][0]
    assert all(name in errors for name in names), errors


def test_a_way_of_knowing_without_years_is_only_odd():
    assert any("known_by" in odd for odd in Scarf(known_by="estimated").warnings)


def test_bounds_are_explained_and_what_lies_beyond_a_hard_one_is_at_fault():
    scarf = {**SEEN, "acquired": 1930, "printed_year": 1962}
    assert "1930" in explain(scarf, as_of=AS_OF).says["acquired"]
    assert "1962" in str(date_scarf(scarf, as_of=AS_OF).surprising)
    assert "1962" in str(conflict(scarf, as_of=AS_OF))
    soft = {"known_to": 1930, "known_by": "attributed", "printed_year": 1962}
    assert "1930" in str(date_scarf({**SEEN, **soft}, as_of=AS_OF).surprising)


ABOUT = (
    "ca. 1920",
    "c.1920",
    "1920?",
    "1920~",
    "probably 1920",
    "um 1920",
    "vers 1920",
    "verso il 1920",
)


@pytest.mark.parametrize("text", ABOUT)
def test_years_that_say_about_have_a_width_and_are_not_hard(text):
    """As wide as allowances.csv says, beyond it as often wrong as known_by.csv says; the answer tells it."""
    priors = load_priors()
    width = int(priors.allowances["known_about"])
    dating = date_scarf({**SEEN, "known": text}, as_of=AS_OF)
    first, last = dating.interval()
    assert width >= 5 and 1920 - width <= first < last <= 1920 + width
    assert f'1910-1930, its "ca." taken as {width} years' in dating.sentence
    plain = date_scarf(SEEN, as_of=AS_OF)
    odds = [d.between(1910, 1930) / (1 - d.between(1910, 1930)) for d in (plain, dating)]
    assert odds[1] * priors.known_by["approximate"].wrong == pytest.approx(odds[0], rel=1e-9)
    table = date_table(pd.DataFrame([{**SEEN, "known": text}]), as_of=AS_OF)
    assert (table["year_from"][0], table["year_to"][0]) == dating.interval()


def test_physical_evidence_can_win_over_an_about():
    late = {"fibre": "polyester", "print_technique": "digital"}
    about = date_scarf({**late, "known": "ca. 1920"}, as_of=AS_OF)
    assert about.between(1980, AS_OF) > 0.5 and "years known" in str(about.surprising)
    assert date_scarf({**late, "known": "1920"}, as_of=AS_OF).interval() == (1920, 1920)


def test_an_about_is_written_down_so_that_it_is_read_again():
    for cells in (
        {"known": "ca. 1920"}, {"known": "before ca. 1950"}, {"known": "1930s?"}, {"acquired": "ca. 1950"},
        {"known": "ca. 1920", "known_by": "receipt"}, {"known_from": 1910, "known_by": "approximate"},
    ):  # fmt: skip
        scarf = Scarf(**SEEN, **cells)
        assert Scarf(**scarf.to_dict()).observations == scarf.observations
    assert date_scarf({"acquired": "ca. 1950"}, as_of=AS_OF).between(1951, 1960) > 0.01


@pytest.mark.parametrize("text", ["n.d.", "undated", "no date", "o.J.", "s.d.", "z.j."])
def test_undated_is_a_blank(text):
    table = date_table(pd.DataFrame([{**SEEN, "known": text, "acquired": text}]), as_of=AS_OF)
    assert table["not_read"].isna().all() and table["errors"].isna().all()
    assert (table["year_from"][0], table["year_to"][0]) == date_scarf(SEEN, as_of=AS_OF).interval()


@pytest.mark.parametrize(("text", "first", "last"), [
    ("20. Jh., 2. Hälfte", 1950, 1999), ("vers 1935", 1925, 1945), ("anni '60", 1960, 1969),
    ("Meiji period", 1868, 1912), ("siglo XIX", 1800, 1899), ("12 May 1937", 1937, 1937),
])  # fmt: skip
def test_known_years_in_six_languages(text, first, last):
    dating = date_scarf({"known": text}, as_of=AS_OF)
    assert dating.between(1800 if first < 1880 else first, last) > 0.75


@pytest.mark.parametrize(
    "text", ["May 1937", "12 May 1937", "dated 1937", "12. Mai 1937", "mai 1937"]
)
def test_a_year_in_the_print_may_stand_in_a_date(text):
    assert Scarf(printed_year=text).to_dict()["printed_year"] == 1937
    with pytest.raises(ScarfdateError):
        Scarf(printed_year="2024-03-05")  # what a spreadsheet made of 3-5 is no year
    with pytest.raises(ScarfdateError):
        Scarf(printed_year="May 1937 or June 1938")


@pytest.mark.parametrize(
    "heading", ["Year acquired", "Accession year", "Date d'acquisition", "Erwerbsjahr"]
)
def test_a_museums_heading_for_the_year_of_acquisition_is_read(heading):
    table = date_table(pd.DataFrame([{**SEEN, heading: 1930}]), as_of=AS_OF)
    assert table["year_to"][0] <= 1930


def test_years_that_are_in_doubt_are_spoken_of_in_the_plural():
    dating = date_scarf(
        {
            "fibre": "polyester",
            "print_technique": "digital",
            "known": 1920,
            "known_by": "museum-record",
        },
        as_of=AS_OF,
    )
    (doubt,) = (one for one in dating.doubts if one.clue == "known")
    assert doubt.if_right == "if they are right, the piece was not made before 1920"
    assert doubt.seen in dating.sentence.lower()


def of_first_cell(since: int) -> float:
    """What part of the first cell was made since a year, 1880 or before: the years back by one ratio, counted."""
    age = load_priors().allowances["first_cell_age"]
    each = [(age / (age + 1)) ** back for back in range(2000)]
    return sum(each[: 1880 - since + 1]) / sum(each)


@pytest.mark.parametrize(("text", "since", "last"), [
    ("1880s", 1880, 1889), ("1879/1889", 1879, 1889), ("late 19th century", 1875, 1899), ("1801/1900", 1801, 1900),
])  # fmt: skip
@pytest.mark.parametrize("channel", ["museum-scarf", "thrift"])
def test_bounds_that_reach_into_the_first_cell_leave_the_part_of_it_that_they_hold(
    text: str, since: int, last: int, channel: str
) -> None:
    """ "1880s" is not "1880 and all centuries before, or the 1880s"."""
    seen = Scarf(known=text)
    assert (seen.known_from, seen.known_to) == (since, last)
    prior = date_scarf(Scarf(), as_of=AS_OF, channel=channel).probability
    cell = prior[0] * of_first_cell(since)
    dating = date_scarf(seen, as_of=AS_OF, channel=channel)
    expected = cell / (cell + prior[1 : last - 1880 + 1].sum())
    assert dating.before_grid == pytest.approx(expected, rel=1e-7)  # outside there is a hair


def test_bounds_that_are_doubted_are_doubted_in_the_first_cell_too() -> None:
    wrong = load_priors().known_by["attributed"].wrong
    prior = date_scarf(Scarf(), as_of=AS_OF).probability
    found = date_scarf({"known": "1880s", "known_by": "attributed"}, as_of=AS_OF).probability
    ratio = (found / prior) / (found[5] / prior[5])
    part = of_first_cell(1880)
    assert ratio[0] == pytest.approx(part + (1 - part) * wrong, rel=1e-9)
    assert ratio[20] == pytest.approx(wrong, rel=1e-9)


@pytest.mark.parametrize(
    "cells", [{"known": "18th century"}, {"known": "1875"}, {"known": "1880"}, {"acquired": 1860}]
)
def test_bounds_wholly_within_the_first_cell_are_that_cell(cells: dict[str, object]) -> None:
    for channel in ("museum-scarf", "thrift"):
        assert date_scarf(cells, as_of=AS_OF, channel=channel).before_grid > 0.999


def test_one_year_in_the_wording_does_not_turn_the_answer() -> None:
    """Bounds from 1881 on, from 1880 on, and from 1870 on: more of the first cell, step by step."""
    before = [
        date_scarf({"known": f"{year}/1889"}, as_of=AS_OF, channel="museum-scarf").before_grid
        for year in (1881, 1880, 1875, 1870, 1850)
    ]
    assert before == sorted(before) and before[0] < 1e-9 and before[1] < 0.5
    assert date_scarf({"known": "../1889"}, as_of=AS_OF, channel="museum-scarf").before_grid > 0.9
