"""The forty label texts beside the project, mark by mark and bound by bound.

Source: ``facts/labels.md`` (invented texts; the facts they set off are in ``facts/facts.csv``).
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from scarfdate import read_label
from tests.reading.label.cases import Case, cases

# where a text sets off more facts than the case lists; none of them moves a bound
ALSO = {
    "L05": {"gdr-veb-1946"},
    "L08": {"fibre-polyester-any-1948"},
    "L14": {"us-wool-act-effective"},  # wool is named with its percentage
    "L15": {"us-wool-act-effective"},
    "L18": {"artificial-silk-disuse"},  # as a name; the facts guard
    "L24": {"fibre-polyester-any-1948"},
    "L29": {"ca-tla-effective", "ginetex-symbols-1963"},  # as in L28; signs without words
    "L30": {"fibre-viscose-uk-1905"},
    "L35": {"fr-paris-district-disuse"},  # what is usual before 1972 goes out after it
    "L38": {"jp-hgqla-1962"},  # as in L37
    "L40": {"fibre-bamboo-first"},  # not older than the fibre, though it is a rayon
    "L39": {"fibre-lyocell-1992", "china-mass-labels"},
}
# where a bound of the fact is too late (the word is older than the rule, the code than the end of the other)
INSTEAD = {
    "fibre-pure-dye-silk-1938": "pure-dye-word",
    "uk-london-0171-0181": "uk-london-0171-parallel",
}
# L11 lists what "MADE IN CHINA" makes usual on American labels (1980), L39 has the words and not the
# fact: here both have it
# L12 to L15: "100 % wool" is older than the act by choice: no bound, and usual from it on. L18: artificial
# silk, L35: a Paris district without a code fall out of use. L40: the fibre is of 2003.
OTHERWISE = {
    "L39": ("1996", "1980", "-"),
    "L12": ("1941", "1941", "-"),
    "L13": ("1941", "1941", "1980"),
    "L14": ("1980", "1941", "-"),
    "L15": ("1941", "1941", "1980"),
    "L18": ("-", "1890", "1975"),
    "L19": ("1910", "1932", "1955"),  # the word is older than the rules on weighted silk
    "L33": ("1994", "-", "2000"),
    "L35": ("1925", "-", "1972"),
    "L40": ("2003", "2010", "-"),
}


@pytest.fixture(scope="module")
def every(shared: Path) -> list[Case]:
    found = cases(shared / "facts" / "labels.md")
    assert len(found) == 40
    return found


def test_each_label_sets_off_its_facts_and_no_others(every: list[Case]) -> None:
    for case in every:
        label = read_label(case.text, case.market)
        fires = {INSTEAD.get(fact, fact) for fact in case.fires}
        assert set(label.facts()) == fires | ALSO.get(case.name, set()), case.name


def test_what_guards_is_known_and_bounds_nothing(every: list[Case]) -> None:
    for case in every:
        label = read_label(case.text, case.market)
        assert case.guards <= set(label.facts(role="guard")), case.name
        assert not case.guards & set(label.facts()), case.name


def test_each_label_has_its_bounds(every: list[Case]) -> None:
    for case in every:
        bounds = read_label(case.text, case.market).bounds()
        found = tuple(
            "-" if math.isnan(year) else f"{year:.0f}"
            for year in (bounds.not_before, bounds.usual_from, bounds.until)
        )
        assert found == OTHERWISE.get(case.name, case.bounds), case.name


def test_cut_labels_are_told_from_whole_ones(every: list[Case]) -> None:
    for case in every:
        assert read_label(case.text, case.market).intact == case.intact, case.name


def test_the_market_is_one_where_it_can_have_been_offered(every: list[Case]) -> None:
    for case in every:
        if case.market is not None:
            assert case.market in read_label(case.text).markets, case.name
