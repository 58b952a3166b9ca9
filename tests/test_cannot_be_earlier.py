"""What cannot be earlier: bounds by facts and printed years, designs printed again, and what is told of doubts.

The examples are those of dealers' first tries: a hard fact beside a printed year, where an answer before the fact
is right only if something noted is wrong, and must say so.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from scarfdate import Scarf, date_scarf, date_table, load_priors, read_label, simulate
from scarfdate.answer.evidence import encode
from scarfdate.clues.clue import Amiss
from scarfdate.clues.shares import SharesClue
from scarfdate.model.model import compiled
from scarfdate.model.posterior import posterior
from scarfdate.show.sentence import capital
from scarfdate.tables.priors import Priors

AS_OF = 2026
PRIORS = load_priors()
PLACES = ("thrift", "estate", "dealer")


def dated(channel: str = "thrift", **seen: object):  # type: ignore[no-untyped-def]
    return date_scarf(seen, channel=channel, as_of=AS_OF)


# ------------------------------------------------------------- a word is not a slip because it is rare


@pytest.mark.parametrize("channel", PLACES)
@pytest.mark.parametrize(
    ("seen", "first", "last", "at_most"),
    [
        ({"print_technique": "digital"}, 1880, 1988, 0.10),  # ink-jets for cloth: from 1989
        ({"label_make": "heat-transfer"}, 1880, 1969, 0.03),
        ({"origin": "siam"}, 1955, AS_OF, 0.15),  # Thailand from 1939, and again from 1949
        ({"origin": "czech-republic"}, 1880, 1992, 0.05),
        ({"origin": "formosa"}, 1976, AS_OF, 0.08),
    ],
)
def test_a_rare_word_is_believed(
    channel: str, seen: dict[str, str], first: int, last: int, at_most: float
) -> None:
    assert dated(channel, **seen).between(first, last) <= at_most


@pytest.mark.parametrize("family", sorted(PRIORS.shares))
def test_slips_fall_as_words_are_common_and_as_often_as_ever(family: str) -> None:
    """P(noted | true) sums to one, and differs from the confusion by the rate times one law for all truths."""
    model = compiled(PRIORS, "thrift", AS_OF)
    clue = model.clues[model.column[family]]
    assert isinstance(clue, SharesClue)
    rate, usual = PRIORS.slips[family], PRIORS.usual_shares[family]
    assert usual.sum() == pytest.approx(1)
    for method, table in PRIORS.confusion[family].matrices.items():
        noted = clue.noted(method)
        np.testing.assert_allclose(noted.sum(axis=1), 1)
        by_slip = noted - (1 - rate) * table
        np.testing.assert_allclose(by_slip, np.broadcast_to(rate * usual, noted.shape), atol=1e-12)
    # of everything that lies about: the mean over years, grades and markets
    every = PRIORS.shares[family].every_year(np.arange(1880, 2026))
    np.testing.assert_allclose(usual, every.mean(axis=(1, 2, 3)), rtol=0.05, atol=1e-4)


def test_drawn_slips_follow_the_same_law() -> None:
    """Where a label shows a country no-one confuses it with another: what is noted of another is the slip."""
    n, family = 60_000, "origin"
    drawn = simulate(PRIORS, n, np.random.default_rng(3), as_of=AS_OF, looked_at=1.0)
    usual, rate = PRIORS.usual_shares[family], PRIORS.slips[family]
    values = PRIORS.vocabulary.values[family]
    confused = PRIORS.confusion[family].matrix("feel")
    true = np.array([values.index(v) for v in drawn.truth[f"true_{family}"]])
    noted = [None if v is None else values.index(str(v)) for v in drawn.seen[family]]
    there = np.array([place is not None for place in noted])
    assert 0.05 < there.mean() < 0.2  # a label in five pieces, and a country on two of three
    counts = np.bincount([place for place in noted if place is not None], minlength=len(values))
    expected = ((1 - rate) * confused[true[there]] + rate * usual).sum(axis=0)
    far = (counts - expected) / np.sqrt(np.maximum(expected, 1))
    assert np.abs(far[expected > 5]).max() < 5


# ------------------------------------------------------------------- first years hold in every table


@pytest.mark.parametrize("channel", sorted(PRIORS.century.channels))
def test_without_a_slip_nothing_is_before_its_first_year(channel: str) -> None:
    """Row by row of law_limits.csv: the part of the likelihood that is no slip and no misreading is nothing."""
    model = compiled(PRIORS, channel, AS_OF)
    looked = 0
    for limit in PRIORS.limits:
        if np.isnan(limit.not_before):
            continue
        clue = model.clues[model.column[limit.family]]
        assert isinstance(clue, SharesClue)
        early = model.years < limit.not_before
        if limit.value in clue.values:
            place = clue.values.index(limit.value)
            assert clue.shares[place][..., early].max(initial=0.0) <= limit.allowed / 100
        if limit.allowed:
            continue
        looked += 1
        for method in PRIORS.confusion[limit.family].matrices:
            seen = Scarf(**{limit.family: limit.value}, methods={limit.family: method})
            key, _ = clue.key(seen.seen)
            assert key is not None
            right = clue.likelihood(key) - clue.amiss(key, limit.family)
            assert np.abs(right[..., early]).max(initial=0.0) < 1e-15
            assert right[..., ~early].max() > 0
    assert looked > 20


# -------------------------------------------------------------------- a printed year and a hard fact


@pytest.mark.parametrize(
    ("seen", "first", "printed"),
    [
        ({"fibre": "polyester", "printed_year": 1925}, 1948, 1925),
        ({"fibre": "nylon", "printed_year": 1930}, 1939, 1930),
        ({"printed_year": 1962, "print_technique": "digital"}, 1989, 1962),
        ({"printed_year": 1962, "label_text": "www.example.com"}, 1993, 1962),
        ({"label_text": "© 1962 www.example.com"}, 1993, 1962),
    ],
)
def test_a_design_printed_again_explains_both(
    seen: dict[str, object], first: int, printed: int
) -> None:
    """The year of the print, and what did not exist then: the cloth is younger than its design."""
    found = dated(**seen)
    assert found.earliest is not None
    assert found.earliest.year == first
    assert found.reissue > 0.5
    assert found.median >= first
    assert "an old design printed again later" in found.sentence
    assert f"{printed} is the year of the design, not of the cloth" in found.sentence
    if found.interval()[0] < first:
        assert ": possibly a slip or a misreading" in found.sentence


@pytest.mark.parametrize("channel", ["estate", "museum"])
def test_where_it_is_rather_a_misreading_the_sentence_says_so(channel: str) -> None:
    """Among old pieces another fibre taken for polyester is likelier than a design printed again."""
    found = dated(channel, fibre="polyester", printed_year=1925)
    first = found.doubts[0]
    assert (first.clue, first.seen) == ("fibre", "the polyester")
    assert first.chance > 0.5
    told = "if it is polyester, 1925 is the year of the design, not of the cloth"
    assert told in first.says
    assert "The polyester: probably a slip or a misreading" in found.sentence
    assert told in found.sentence


def test_what_is_shown_in_the_future_of_the_other_clues_is_doubted() -> None:
    found = dated(depicted_year=2020, origin="west-germany")
    assert [doubt.clue for doubt in found.doubts] == ["depicted_year"]
    assert found.doubts[0].chance > 0.9
    assert "the year of its subject (2020)" in found.sentence
    assert str(found.earliest) == (
        "Not before 2017: the year of its subject (2020), which can have been announced 3 years ahead"
    )


def test_a_makers_reissues_are_told() -> None:
    """The demo's file of Ibberlace: 1951-1962, and the archive printed again in 1998-2010."""
    found = dated(maker="Ibberlace", print_technique="digital")
    assert found.reissue > 0.9
    assert "printed again later" in found.sentence
    assert dated(maker="Ibberlace").reissue == pytest.approx(
        dated(maker="Ibberlace").between(1980, AS_OF), abs=0.03
    )
    assert dated(maker="Osselwick", print_technique="digital").reissue == 0


@pytest.mark.parametrize("channel", ["thrift", "estate", "museum-scarf"])
@pytest.mark.parametrize("year", [1890, 1939, 1962, AS_OF])
def test_not_before_is_not_softened(channel: str, year: int) -> None:
    """The interval of a printed year begins with it at the earliest, unless a doubt of it is told."""
    for seen in ({"printed_year": year}, {"label_text": f"© {year}"}):
        found = dated(channel, **seen)
        assert found.earliest is not None
        assert found.earliest.year == year
        # where the years begin before it, the line says that the thing may be misread
        assert re.search(
            rf"Not before {year}(, if this is noted rightly)?:", re.sub(r"\s+", " ", str(found))
        )
        if found.interval()[0] < year:
            assert re.search("slip or a misreading|of another piece, or misread", found.sentence)
        assert found.between(1880, year - 1) <= max(d.chance for d in found.misreadings) + 1e-9


# Years of fibres: of lyocell an application for its name of January 1992 (60 FR 62352), of elastane 1959, of acrylic
# 1950, of nylon 1939 (the shared facts); what a cell comes to, worked out by hand.
NARROWER = [
    ("lyocell", "lyocell", 1992), ("silk with lyocell", "silk with lyocell", 1992),
    ("wool and acrylic", "blend with acrylic", 1950), ("80% wool 20% acrylic", "wool with acrylic", 1950),
    ("95 % cotton, 5 % elastane", "cotton with elastane", 1959), ("polycotton", "blend with polyester", 1948),
    ("poly/cotton", "blend with polyester", 1948), ("wool & nylon", "blend with nylon", 1939),
    ("70% silk 20% nylon 10% acrylic", "silk with acrylic", 1950),
]  # fmt: skip


@pytest.mark.parametrize(("cell", "word", "first"), NARROWER)
def test_a_kind_of_fibre_and_what_is_mixed_in_have_years_of_their_own(
    cell: str, word: str, first: int
) -> None:
    scarf = Scarf(fibre=cell)
    assert (scarf.fibre, scarf.fibre_method) == (word, "label")  # nobody feels which
    found = date_scarf(scarf, as_of=AS_OF)
    assert found.earliest is not None and found.earliest.year == first
    # before it only a slip or a misreading has brought it about
    amiss = max(each.chance for each in found.misreadings)
    assert found.between(1880, first - 1) <= amiss + 1e-9
    assert Scarf.from_dict(scarf.to_dict()) == scarf
    table = date_table(pd.DataFrame({"fibre": [cell]}), as_of=AS_OF, columns=["sentence"])
    assert table["sentence"].iloc[0] == found.sentence


# Years of states from memory: Croatia independent in June 1991, Iran for Persia from March 1935, the double monarchy to
# November 1918, zones of Germany 1945 to 1949 (on labels to about 1952), the Czechoslovak Socialist Republic 1960-1990.
STATES = [
    ("Croatia", 1991, 2026), ("Persia", 1880, 1950), ("Austria-Hungary", 1880, 1930),
    ("US Zone Germany", 1945, 1962), ("ČSSR", 1960, 2002), ("Nippon", 1880, 1945), ("Viet Nam", 1945, 2026),
]  # fmt: skip


@pytest.mark.parametrize(("name", "first", "last"), STATES)
def test_a_name_of_a_state_has_years_of_its_own(name: str, first: int, last: int) -> None:
    """In the column, as on a label: two thirds within the years, however common the country is later."""
    found = dated(origin=name)
    assert found.between(first, last) > 2 / 3
    if first > 1880:
        assert found.earliest is not None and found.earliest.year == first
        amiss = max(each.chance for each in found.misreadings)
        assert found.between(1880, first - 1) <= amiss + 1e-9


@pytest.mark.parametrize(
    ("motif", "first"), [("sputnik", 1957), ("moon landing", 1969), ("smiley faces", 1963)]
)
def test_what_is_shown_cannot_be_older_than_itself(motif: str, first: int) -> None:
    """The first satellite of October 1957, the landing of July 1969, the yellow face of 1963 (memory)."""
    found = dated(motif=motif)
    assert found.earliest is not None and found.earliest.year == first
    amiss = max(each.chance for each in found.misreadings)
    assert found.between(1880, first - 1) <= amiss + 1e-9


@pytest.mark.parametrize("cell", ["silk or acrylic", "wool, not acrylic", "silk? acrylic?"])
def test_what_may_not_be_there_bounds_nothing(cell: str) -> None:
    assert dated(fibre=cell).earliest is None


def test_what_the_label_says_in_other_words_is_known_by_the_label() -> None:
    for cell in ("acetate", "100% acetate", "acetate satin"):
        scarf = Scarf(fibre=cell, label_text="100% ACETATE")
        assert (scarf.fibre, scarf.fibre_method) == ("acetate", "label"), cell
        assert not [one for one in date_scarf(scarf, as_of=AS_OF).doubts if one.clue == "fibre"]
    assert Scarf(fibre="acetate satin", label_text="100% SILK").fibre_method is None


def test_an_event_can_be_announced() -> None:
    """Nobody need say that a coronation was announced: most events on scarves were."""
    unforeseen = dated(depicted_year=1953, depicted_announced="no").earliest
    assert (unforeseen.year, unforeseen.source) == (1953, "lags.csv, common practice")
    for said in ({"depicted_announced": "yes"}, {}):
        dating = dated(depicted_year=1953, **said)
        assert dating.earliest.year == 1950
        assert "announced 3 years ahead" in dating.earliest.reason
        assert dating.earliest.source == "lags.csv, common practice"
        # common practice, no source: in the shops from the autumn before, hardly made when it is over
        assert dating.between(1952, 1953) > (0.6 if said else 0.5)


def test_nothing_noted_bounds_nothing() -> None:
    found = dated(form="square", motif="floral")
    assert found.earliest is None
    assert found.reissue == 0
    assert "Not before" not in str(found)
    assert dated().misreadings == ()


# ----------------------------------------------------------------------------- properties of any piece


def without_doubts(priors: Priors, scarf: Scarf, channel: str) -> np.ndarray:
    """The likelihood of every year with every part taken as it was noted, its largest being one."""
    model = compiled(priors, channel, AS_OF)
    codes, _ = encode(model, scarf)
    making = np.ones((1, 3, len(model.years)))
    for column in np.flatnonzero(codes[0]).tolist():
        clue = model.clues[column]
        key = clue.rows.keys[codes[0, column]]
        right = clue.likelihood(key) - sum(clue.amiss(key, s.part) for s in clue.slips(key))
        making = making * np.maximum(right, 0.0)
    most = making.max(axis=(0, 1))
    return np.asarray(most / max(most.max(), 1e-300))


@pytest.mark.parametrize("channel", ["thrift", "estate", "museum"])
def test_the_earliest_is_never_later_than_what_is_possible(channel: str) -> None:
    """Where nothing noted is wrong the first possible year has no chance before `earliest`.

    Clues of a making alone: the style of a piece can be that of any time.
    """
    rng = np.random.default_rng(11)
    facts = [limit for limit in PRIORS.limits if not np.isnan(limit.not_before)]
    for _ in range(40):
        limit = facts[rng.integers(len(facts))]
        seen: dict[str, object] = {limit.family: limit.value}
        seen["printed_year"] = int(rng.integers(1885, 2020))
        if rng.random() < 0.5:
            seen["label_text"] = str(rng.choice(["www.example.com", "© 1971"]))
        scarf = Scarf(**seen)
        found = date_scarf(scarf, channel=channel, as_of=AS_OF)
        chance = without_doubts(PRIORS, scarf, channel)
        possible = found.years[chance > 1e-12]
        if possible.size:
            assert found.earliest.year <= possible[0]
            # and it bounds: a printed year and a first year are the latest of both, exactly
            if "label_text" not in seen:
                assert found.earliest.year == possible[0]


def test_a_number_bounds_but_for_the_far_tail_of_when_it_was_given() -> None:
    """About 1979, give or take six years: three spreads before that nothing is left but a misreading."""
    found = dated(label_text="RN 60000")
    assert found.earliest.year == 1970
    assert "registration number 60000 was given about 1979" in found.earliest.reason
    misread = max(doubt.chance for doubt in found.misreadings)
    assert found.between(1880, 1969) < misread + 1e-3


@pytest.mark.parametrize(("text", "begins"), [
    ("RN 13670", 1959), ("RN 20000", 1959), ("RN 26000", 1959), ("RN 33000", 1959), ("WPL 101", 1941), ("WPL 1500", 1941),
    ("RN 150 FUR", 1952), ("Reg. Design No. 9", 1884),
])  # fmt: skip
def test_no_number_was_given_before_its_series_began(text: str, begins: int) -> None:
    """However wide the spread of its year; and the label alone and the dating name the same first year."""
    bound = date_scarf({"label_text": text}, as_of=2026).earliest
    assert bound is not None and bound.year >= begins
    assert read_label(text).earliest == bound.year


def test_every_doubt_of_a_table_is_that_of_the_piece() -> None:
    """The short way of a long table finds the same doubts as the whole sum, piece by piece."""
    drawn = simulate(PRIORS, 150, np.random.default_rng(5), as_of=AS_OF, looked_at=0.4)
    table = date_table(drawn.frame(), as_of=AS_OF, columns=["sentence", "doubt", "not_before"])
    named = 0
    for row, scarf in zip(table.itertuples(), drawn.scarves(), strict=True):
        one = date_scarf(scarf, as_of=AS_OF)
        assert one.sentence == row.sentence
        if one.doubts:
            named += 1
            assert capital(one.doubts[0].seen) in row.sentence
            assert one.doubts[0].seen in row.doubt
        bound = one.earliest
        assert pd.isna(row.not_before) if bound is None else row.not_before == bound.year
    assert named > 5


def test_the_bound_that_spares_the_sum_is_one() -> None:
    """P(a part is amiss) is never more than what `scarfdate.model.amiss` promises."""
    from scarfdate.model.amiss import parts_amiss

    model = compiled(PRIORS, "thrift", AS_OF)
    drawn = simulate(PRIORS, 40, np.random.default_rng(8), as_of=AS_OF, looked_at=0.5)
    for scarf in drawn.scarves():
        codes, _ = encode(model, scarf)
        whole = posterior(model, codes).log_evidence[0]
        for one in parts_amiss(model, codes):
            unit = next(u for u in model.units if one.column in u)
            rest = codes.copy()
            rest[:, list(unit)] = 0
            clue = model.clues[one.column]
            amiss = clue.amiss(clue.rows.keys[codes[0, one.column]], one.part.part)
            others = np.log(amiss.max())
            for column in unit:
                if column != one.column and codes[0, column]:
                    other = model.clues[column]
                    others += np.log(other.likelihood(other.rows.keys[codes[0, column]]).max())
            most = posterior(model, rest).log_evidence[0] + others - whole
            assert np.log(max(one.chance, 1e-300)) <= most + 1e-9


def test_the_part_that_is_amiss_is_a_part() -> None:
    """For every clue and key seen: nothing below zero, and no more than the whole."""
    model = compiled(PRIORS, "thrift", AS_OF)
    drawn = simulate(PRIORS, 60, np.random.default_rng(4), as_of=AS_OF, looked_at=0.7)
    for scarf in drawn.scarves():
        codes, _ = encode(model, scarf)
        for column in np.flatnonzero(codes[0]).tolist():
            clue = model.clues[column]
            key = clue.rows.keys[codes[0, column]]
            whole = clue.likelihood(key)
            for slip in clue.slips(key):
                amiss = clue.amiss(key, slip.part)
                assert (amiss > 0).all()
                assert (amiss <= whole * (1 + 1e-12)).all()
                assert clue.index(Amiss(key, slip.part)) == clue.index(Amiss(key, slip.part))
