"""Nothing before it was made, up to slips: the dated facts against whole datings.

A fibre, a process or a country's name that did not exist yet can only have been noted by mistake. So
a piece with that one clue, seen by a label or a microscope, must hardly be older than the fact.
"""

from __future__ import annotations

import csv
import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from scarfdate import Scarf, date_scarf
from scarfdate.answer.evidence import encode
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior
from scarfdate.tables.priors import Priors

AS_OF = 2026
TRACE = 1.1e-4  # of all pieces: trials before the trade, and the floor under a share of nothing

# fact, family, value: the fact's year is the first in which there can be such a piece
NOT_BEFORE = [
    ("fibre-viscose-uk-1905", "fibre", "rayon"),
    ("fibre-acetate-uk-1918", "fibre", "acetate"),
    ("fibre-nylon-1939", "fibre", "nylon"),
    ("fibre-acrylic-1950", "fibre", "acrylic"),
    ("fibre-polyester-any-1948", "fibre", "polyester"),
    ("print-screen-patent-1907", "print_technique", "hand-screen"),
    ("print-auto-flat-screen-1948", "print_technique", "machine-screen"),
    ("print-transfer-1957", "print_technique", "transfer"),
    ("print-inkjet-1991", "print_technique", "digital"),
    ("stitch-synthetic-thread", "hem_thread", "polyester"),
    ("fibre-nylon-1939", "hem_thread", "monofilament"),
    ("czech-republic-not-before", "origin", "czech-republic"),
    ("china-republic-prc", "origin", "peoples-republic-of-china"),
    ("siam-thailand", "origin", "thailand"),
    ("india-british-independence", "origin", "pakistan"),
    ("bangladesh-not-before", "origin", "bangladesh"),
    ("occupied-japan-ordered-1947", "origin", "occupied-japan"),
]
SURE = ("label", "microscope")  # ways of looking that hardly take one fibre for another


@pytest.fixture(scope="module")
def first_years(shared: Path) -> dict[str, int]:
    """The year of every fact that bounds from below."""
    with (shared / "facts" / "facts.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["kind"] == "not-before"]
    return {row["id"]: int(row["year_from"]) for row in rows if row["year_from"]}


def chance_noted(priors: Priors, family: str, value: str, method: str) -> tuple[float, float]:
    """P(noted | it cannot be) at most, from slips and confusions alone, and P(noted) altogether."""
    values = priors.vocabulary.values[family]
    place = values.index(value)
    slip = priors.slips[family]
    others = np.delete(priors.confusion[family].matrix(method)[:, place], place)
    by_mistake = slip * priors.usual_shares[family][place] + (1 - slip) * (
        float(others.max()) + TRACE
    )
    model = compiled(priors, "thrift", AS_OF)
    seen = Scarf(**{family: value}, methods={family: method})
    codes, _ = encode(model, seen)
    return by_mistake, math.exp(float(posterior(model, codes).log_evidence[0]))


@pytest.mark.parametrize(("fact", "family", "value"), NOT_BEFORE)
def test_before_the_fact_there_are_only_mistakes(
    first_years: dict[str, int], priors: Priors, fact: str, family: str, value: str
) -> None:
    """P(older | noted) is at most P(older) P(noted by mistake) / P(noted), for every method."""
    last = first_years[fact] - 1
    older = date_scarf(Scarf(), as_of=AS_OF).between(1880, last)
    for method in priors.confusion[family].matrices:
        by_mistake, noted = chance_noted(priors, family, value, method)
        seen = Scarf(**{family: value}, methods={family: method})
        found = date_scarf(seen, as_of=AS_OF).between(1880, last)
        assert found <= older * by_mistake / noted
        assert found < older


@pytest.mark.parametrize(("fact", "family", "value"), NOT_BEFORE[:5])
def test_no_fibre_before_it_was_made_up_to_the_slip_rate(
    first_years: dict[str, int], priors: Priors, fact: str, family: str, value: str
) -> None:
    """By label or microscope the chance of an impossible age is below the rate of slips."""
    for method in SURE:
        dating = date_scarf(Scarf(**{family: value}, methods={family: method}), as_of=AS_OF)
        assert dating.between(1880, first_years[fact] - 1) < priors.slips[family] / 2


@pytest.mark.parametrize("channel", ["thrift", "estate", "auction"])
def test_polyester_with_the_clues_of_its_time(
    first_years: dict[str, int], priors: Priors, channel: str
) -> None:
    """The same through every channel but museums, where so many pieces are old that a slip counts."""
    seen = Scarf(fibre="polyester", hem="machine-stitched", methods={"fibre": "microscope"})
    dating = date_scarf(seen, channel=channel, as_of=AS_OF)
    assert dating.between(1880, first_years["fibre-polyester-any-1948"] - 1) < priors.slips["fibre"]


@pytest.mark.parametrize(("fact", "family", "value"), NOT_BEFORE)
def test_the_tables_hold_nothing_before_the_fact(
    first_years: dict[str, int], priors: Priors, fact: str, family: str, value: str
) -> None:
    """Row by row: at knots before the fact the share is nothing, or a trial's trace."""
    place = priors.shares[family].values.index(value)
    for knots, shares in priors.shares[family].series.values():
        early = shares[knots < first_years[fact], place]
        assert early.size
        assert (early / 100 <= TRACE).all(), f"{family} {value} before {first_years[fact]}"


def test_every_fact_that_a_table_names_is_there(shared: Path, priors: Priors) -> None:
    """A source such as "fact fibre-nylon-1939" names a row of the facts."""
    with (shared / "facts" / "facts.csv").open(encoding="utf-8", newline="") as file:
        known = {row["id"] for row in csv.DictReader(file)}
    tables = [*priors.shares.values(), *priors.measured.values(), *priors.confusion.values()]
    century = priors.century
    tables += [century.revivals, century.grades, century.markets, century.museum, century.factors]
    named = 0
    for table in tables:
        for basis in table.bases:
            words = basis.source.replace(",", " ").replace(";", " ").split()
            for word, following in pairwise(words):
                if word == "fact":
                    named += 1
                    assert following in known, f"{basis.file}, row {basis.row}: {following}"
    assert named > 50
