"""The sentence from outside: what it quotes, what it credits, and that every line of the screen says the same."""

from __future__ import annotations

import csv
import re
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from scarfdate import (
    PriorsError,
    Scarf,
    conflict,
    date_scarf,
    date_table,
    edges,
    explain,
    load_priors,
    simulate,
)
from scarfdate.tables.priors import shipped_folder

AS_OF = 2026
STOCK = shipped_folder().parent / "data" / "stock.csv"
LONGEST = 385  # letters, five lines of a terminal: years in two parts, a later piece, and a label in doubt
_RANGE = re.compile(r"(?:Made|if younger:) (?:(\d{4})-)?(\d{4})( or earlier)? \(80 % sure\)")


@pytest.fixture(scope="module")
def stock() -> pd.DataFrame:
    return pd.read_csv(STOCK)


@pytest.fixture(scope="module")
def dated(stock: pd.DataFrame) -> pd.DataFrame:
    return date_table(stock, as_of=AS_OF)


@pytest.fixture(scope="module")
def drawn() -> pd.DataFrame:
    """Pieces of every kind, with much noted and little."""
    rng = np.random.default_rng(20)
    parts = [simulate(None, 60, rng, as_of=AS_OF, looked_at=share).frame() for share in (0.2, 0.8)]
    return pd.concat(parts, ignore_index=True)


def said(sentence: str) -> tuple[int | None, int]:
    """First and last year of a sentence, the first None for "or earlier"."""
    found = _RANGE.search(sentence)
    assert found, sentence
    if found[3]:
        return None, int(found[2])
    return int(found[1] or found[2]), int(found[2])


def of_row(row: pd.Series) -> dict[str, object]:
    return {name: cell for name, cell in row.items() if not pd.isna(cell)}


@pytest.mark.parametrize("channel", ["thrift", "estate", "museum"])
def test_the_range_is_that_of_the_table(drawn: pd.DataFrame, channel: str) -> None:
    table = date_table(drawn, as_of=AS_OF, channel=channel)
    for row in table.itertuples():
        first, last = said(row.sentence)
        told_apart = "Older than 1881" in row.sentence
        ends = (row.younger_from, row.younger_to) if told_apart else (row.year_from, row.year_to)
        assert last == ends[1]
        assert first == (None if ends[0] <= 1880 else ends[0])


def test_every_line_of_the_screen_gives_the_same_range(stock: pd.DataFrame) -> None:
    pieces = [of_row(row) for _, row in stock.iloc[::4].iterrows()]
    datings = [date_scarf(seen, as_of=AS_OF) for seen in pieces]
    datings += [date_scarf(seen, as_of=AS_OF, channel="museum") for seen in pieces[::3]]
    for dating in datings:
        first, last = said(dating.sentence)
        screen = str(dating)
        assert f"For a catalogue: {'..' if first is None else first}/{last} " in screen.replace(
            f": {last} ", f": {last}/{last} "
        )
        assert "[" not in screen  # no second range of other years


@pytest.mark.parametrize(
    ("seen", "noted"),
    [
        ({"form": "square", "size": "90 x 90 cm"}, "its size (90 cm square)"),
        ({"form": "square", "width_cm": 90, "height_cm": 90.0}, "its size (90 cm square)"),
        ({"form": "oblong", "size": "30x150cm"}, "(30 x 150 cm)"),
        ({"size": "34 1/2 x 35 in"}, "its size (34 1/2 x 35 in)"),
        ({"width": 88.5, "height": 89, "unit": "cm"}, "(88.5 x 89 cm)"),
        ({"width_in": "35 1/2", "height_in": 36}, "(35 1/2 x 36 in)"),
        ({"hem": "machine-rolled", "stitches_per_inch": 9}, "(9 stitches per inch)"),
        ({"hem": "machine-stitched", "stitches_per_cm": 8}, "(8 stitches per cm)"),
        ({"weave": "twill", "momme": 17}, "(17 momme)"),
    ],
)
def test_what_was_measured_is_quoted_as_it_was_noted(seen: dict[str, object], noted: str) -> None:
    """For one piece, in a table, and wherever else the clue is named."""
    one = date_scarf(seen, as_of=AS_OF)
    named = [*one.weights(), *explain(seen, as_of=AS_OF).says.values()]
    assert [text for text in named if noted in text] == named
    table = date_table(pd.DataFrame([seen]), as_of=AS_OF)
    assert table["sentence"][0] == one.sentence
    assert "about" not in one.sentence
    assert noted in one.sentence or "hardly narrow it down" in one.sentence


def test_numbers_are_quoted_in_a_long_table(stock: pd.DataFrame, dated: pd.DataFrame) -> None:
    """Wherever a size is named it is that of the row, unit and all."""
    named = 0
    for row, sentence in zip(stock.itertuples(), dated["sentence"], strict=True):
        inside = re.search(r"\(([\d.]+)(?: x ([\d.]+))? (cm|in)( square)?\)", sentence)
        if inside is None:
            continue
        named += 1
        sides = (
            (row.width_cm, row.height_cm) if inside[3] == "cm" else (row.width_in, row.height_in)
        )
        assert float(inside[1]) == sides[0]
        assert float(inside[2] or inside[1]) == sides[1]
    assert named > 15


def test_a_missing_label_is_never_the_reason(drawn: pd.DataFrame) -> None:
    """Nor that there is one: what is on it can be."""
    for state in ("none-seen", "cut-or-fragment", "label removed", "none-seen?"):
        pieces = drawn.drop(columns=["label_make", "label_text"], errors="ignore")
        sentences = date_table(pieces.assign(label=state), as_of=AS_OF)["sentence"]
        reasons = sentences.str.extract(r"mainly because of ([^.]*)\.")[0].dropna()
        assert len(reasons) > 80
        assert not reasons.str.contains("label").any()
    italy = date_scarf({"origin": "italy", "label": "none-seen"}, as_of=AS_OF)
    assert "mainly because of the country name Italy." in italy.sentence
    assert "The missing label tells you almost nothing about age." in str(italy)
    paragraph = str(explain({"label": "none-seen", "hem": "hand-rolled"}, "1960s", as_of=AS_OF))
    assert "label" not in paragraph


def test_the_clue_credited_speaks_for_the_decade_named(stock: pd.DataFrame) -> None:
    """By the exact shares of `explain`, a way of weighing of its own; on two hills, too."""
    two_hills = [
        {"fibre": "silk", "form": "square", "print_technique": "block", "hem": "overlocked"},
        {"motif": "geometric", "layout": "colour-blocks", "palette": "acid-neon", "fibre": "silk"},
        {"depicted_year": 1937, "motif": "commemorative", "fibre": "polyester"},
    ]
    checked = 0
    for seen in [*two_hills, *(of_row(row) for _, row in stock.iloc[::3].iterrows())]:
        dating = date_scarf(seen, as_of=AS_OF)
        decade = re.search(r"most likely in the (\d{4}s)", dating.sentence)
        because = re.search(r"mainly because of (.*?)\.(?: |$)", dating.sentence)
        if decade is None or because is None:
            continue
        found = explain(seen, decade[1], as_of=AS_OF)
        credited = {
            name: at for name, text in found.says.items() if (at := because[1].find(text)) >= 0
        }
        assert credited, dating.sentence
        first = min(credited, key=lambda name: credited[name])
        assert found.share[first] > 0, (dating.sentence, dict(found.share))
        able = [share for name, share in found.share.items() if name not in found.no_reason]
        assert found.share[first] >= max(able) - 3, (dating.sentence, dict(found.share))
        checked += 1
    assert checked > 15


def test_the_length_of_a_sentence(dated: pd.DataFrame, drawn: pd.DataFrame) -> None:
    assert dated["sentence"].str.len().max() <= LONGEST
    assert date_table(drawn, as_of=AS_OF)["sentence"].str.len().quantile(0.95) <= LONGEST


def test_no_word_of_the_tables_stands_where_a_phrase_belongs(dated: pd.DataFrame) -> None:
    """No clue name beside its value, no underscore, no bare "with 76 %"."""
    for sentence in dated["sentence"]:
        assert not re.search(
            r"_|\bgoing most by\b|with \d+ %|\b(?:motif|layout|palette|hem) [a-z]+-", sentence
        )
        assert not re.search(r"\ba (?:8|11 |18 )", sentence)


def test_the_screen_is_no_verdict(stock: pd.DataFrame) -> None:
    for _, row in stock.iloc[::10].iterrows():
        dating = date_scarf(of_row(row), as_of=AS_OF)
        screen = " ".join(str(dating).split())
        assert screen.count("authenticity") == 1
        assert "Of its period" not in screen
        later = re.search(r"later piece in an older style: (under )?(\d+) %", screen)
        assert later and abs(int(later[2]) - 100 * (1 - dating.period_probability)) <= 1
        assert "authentic" not in dating.sentence


def test_not_before_is_the_year_of_the_table_to_the_year(stock: pd.DataFrame) -> None:
    """On the screen, in the sentence and in the column: never rounded, never softened."""
    table = date_table(stock, as_of=AS_OF, columns=["not_before", "sentence"])
    first = {
        int(float(row["not_before"]))
        for row in csv.DictReader((shipped_folder() / "law_limits.csv").open(encoding="utf-8"))
        if row["not_before"]
    }
    bounded = 0
    for (_, row), year, sentence in zip(
        stock.iterrows(), table["not_before"], table["sentence"], strict=True
    ):
        for told in re.findall(r"not made before (\d{4})", sentence):
            assert int(told) in first
        if not pd.isna(year) and bounded < 12:
            bounded += 1
            screen = str(date_scarf(of_row(row), as_of=AS_OF))
            assert re.findall(r"^Not before (\d{4}): ", screen, re.MULTILINE) == [str(year)]
    assert bounded > 5
    reason = str(date_scarf({"fibre": "polyester"}, as_of=AS_OF).earliest)
    assert reason == "Not before 1948: there was no polyester earlier"


def test_conflict_names_the_clue_that_the_sentence_suspects() -> None:
    """A block print with a later hem: the edge fits worst, the print is more likely wrong, and both are told."""
    older = {
        "fibre": "silk", "form": "square", "weave": "crepe", "print_technique": "block", "palette": "pastel",
        "motif": "floral-small", "layout": "bordered", "hem_thread": "silk", "hem": "overlocked",
    }  # fmt: skip
    for seen in (older, {"print_technique": "block", "hem": "overlocked"}, {"fibre": "silk"}):
        suspected = date_scarf(seen, as_of=AS_OF).doubts
        text = str(conflict(seen, as_of=AS_OF, draws=0))
        for doubt in suspected[:1]:
            assert doubt.seen in text[0].lower() + text[1:]
    assert "fits worst" in str(conflict(older, as_of=AS_OF, draws=0))


def test_every_word_has_a_phrase() -> None:
    """ "mainly because of ..." reads on, and says no word twice running."""
    priors = load_priors()
    for family in priors.families.values():
        words = (
            *priors.vocabulary.values.get(family.name, ()),
            *priors.vocabulary.parents.get(family.name, {}),
        )
        for word in (*words, "1953"):
            phrase = priors.wording.phrase(family.name, word, family.title)
            assert re.match(r"(?:the|its) \S", phrase), phrase
            parts = phrase.lower().replace("-", " ").split()
            assert all(a != b for a, b in pairwise(parts)), phrase
            assert "{" not in phrase


def test_edges_are_sentences() -> None:
    for seen in ({}, {"fibre": "silk", "layout": "colour-blocks"}, {"label_text": "RN 60000"}):
        for edge in edges(seen, as_of=AS_OF):
            text = str(edge)
            assert re.match(r"Hardly made (?:before|after) \d{4}[,:] ", text) and text.endswith(".")
            assert "decibans" not in text


def test_a_phrase_for_an_unknown_word_is_a_fault(tmp_path) -> None:
    (tmp_path / "wording.csv").write_text(
        "family,word,phrase,reason\nhem,rolld,the rolled hem,yes\n"
    )
    with pytest.raises(PriorsError, match="neither a value nor a parent word of hem"):
        load_priors(tmp_path)
    (tmp_path / "wording.csv").write_text(
        "family,word,phrase,reason\nlayout,colour-blocks,the fields of colour,yes\n"
    )
    own = load_priors(tmp_path)
    text = date_scarf({"layout": "colour-blocks"}, priors=own, as_of=AS_OF).sentence
    assert "mainly because of the fields of colour" in text
    # a family without a row is named by its own words
    other = date_scarf({"palette": "acid-neon"}, priors=own, as_of=AS_OF).sentence
    assert "mainly because of the palette (acid neon)" in other


def test_a_scarf_is_the_same_however_its_size_was_written() -> None:
    written = Scarf(size="90 x 90 cm"), Scarf(width_cm=90, height_cm="90")
    assert written[0] == written[1] and hash(written[0]) == hash(written[1])
    assert Scarf.from_dict(written[0].to_dict()) == written[0]


def test_a_valley_within_the_years_is_told(stock: pd.DataFrame) -> None:
    """What stretches of the densest years hold a tenth or more, a decade or more apart, stands in the sentence: a shawl
    of 1890 or of the 1990s is not one of the years between."""
    shawl = {"fibre": "wool", "form": "shawl", "motif": "paisley", "size": "165 x 335 cm"}
    told = 0
    for row in [shawl, *(of_row(row) for _, row in stock.iterrows())]:
        dating = date_scarf(Scarf.from_dict(row), as_of=AS_OF)
        if "hardly narrow" in dating.sentence:
            continue
        first, last = dating.interval()
        apart: list[tuple[int, int]] = []
        for start, end in dating.region():
            inside = end >= first and start <= last
            if inside and apart and start - apart[-1][1] <= 10:
                apart[-1] = apart[-1][0], end
            elif inside:
                apart.append((start, end))
        named = [years for years in apart if dating.between(*years) >= 0.1]
        told += len(named) > 1
        assert (", hardly between." in dating.sentence) == (len(named) > 1), dating.sentence
        for start, end in named if len(named) > 1 else ():
            years = f"{start}-{end}" if start > 1880 else f"{end} or earlier"
            assert f"{years} ({round(100 * dating.between(start, end))} %)" in dating.sentence
        beyond = len(named) > 1 and (named[0][0] < first or named[-1][1] > last)
        # the interval and the stretches are then two statements, and the sentence says which to take
        assert ("Better: either" in dating.sentence) == beyond, dating.sentence
    assert told > 1


COPY = {
    "form": "headscarf",
    "fibre": "polyester",
    "label_text": "CC41",
    "print_technique": "digital",
}
LARGE = {"form": "large handkerchief", "fibre": "silk", "size": "32 x 32 in", "hem": "hand hemmed"}
SLOGANS = COPY | {"motif": "wartime slogans", "size": "70 x 70 cm", "hem": "overlocked"}


def test_what_is_doubted_is_no_reason(stock: pd.DataFrame) -> None:
    """For one piece and in a table: nobody is told "mainly because of" what is then called a slip."""
    pieces = [LARGE, SLOGANS, COPY, *(of_row(row) for _, row in stock.iterrows())]
    table = date_table(pd.DataFrame(pieces), as_of=AS_OF)["sentence"]
    doubted = 0
    for seen, sentence in zip(pieces, table, strict=True):
        dating = date_scarf(seen, as_of=AS_OF)
        assert dating.sentence == sentence
        for doubt in dating.doubts:
            doubted += 1
            assert not any(reason.startswith(doubt.seen) for reason in dating.reasons), sentence
    assert doubted > 5
    assert date_scarf(LARGE, as_of=AS_OF).doubts[0].clue == "form"


def test_a_first_year_that_the_interval_passes_over_has_a_reserve(stock: pd.DataFrame) -> None:
    """ "Made 1975-2026" and "Not before 1989" are no two facts: what sets the year may be misread."""
    reserved = 0
    for seen in [SLOGANS, COPY, *(of_row(row) for _, row in stock.iloc[::4].iterrows())]:
        dating = date_scarf(seen, channel="dealer", as_of=AS_OF)
        told = re.search(r"^Not before (\d{4})(, if this is noted rightly)?: ", str(dating), re.M)
        if told is None:
            assert dating.earliest is None
            continue
        assert bool(told[2]) == (dating.interval()[0] < int(told[1]))
        reserved += bool(told[2])
        for year in re.findall(r"not made before (\d{4})", dating.sentence):
            assert int(year) > dating.interval()[0]  # an earlier one says nothing
    assert reserved > 1


@pytest.mark.parametrize("seen", [COPY, SLOGANS, LARGE, {"fibre": "silk"}, {}])
def test_the_ways_in_which_the_clues_go_together_add_up(seen: dict[str, object]) -> None:
    """Each thing is wrong in as many of them as its own doubt says, which is worked out without them."""
    dating = date_scarf(seen, channel="dealer", as_of=AS_OF)
    assert sum(one.chance for one in dating.readings) == pytest.approx(1)
    named = {text for one in dating.readings for text in one.wrong}
    for doubt in dating.misreadings:
        if doubt.seen in named:
            of_it = sum(one.chance for one in dating.readings if doubt.seen in one.wrong)
            assert of_it == pytest.approx(doubt.chance, abs=1e-9)
        else:
            assert doubt.chance < 0.1
    chances = [one.chance for one in dating.readings]
    assert chances == sorted(chances, reverse=True)


def test_clues_that_cannot_all_be_right_are_told_with_the_years_of_each_way() -> None:
    """A wartime mark on a digital print of polyester: the cloth or the mark, and which asks for fewer mistakes."""
    text = " ".join(str(date_scarf(COPY, channel="dealer", as_of=AS_OF)).split())
    assert "can hardly all be right (under 1 %): something is misread, altered or copied." in text
    assert re.search(
        r"Either the polyester and the digital printing are wrong, and it was made 19[45]\d-19[45]\d \(\d+ %\); "
        r"or the label \(the utility mark\) is wrong, and it was made 20\d\d-20\d\d \(\d+ %\)\.",
        text,
    )
    assert "The fewest mistakes: the label (the utility mark) alone." in text
    assert "A copied label is not meant." in text
    # without the mark they go together
    rest = {name: cell for name, cell in COPY.items() if name != "label_text"}
    agreed = str(date_scarf(rest, channel="dealer", as_of=AS_OF))
    assert "hardly all be right" not in agreed and "copied label" not in agreed


def test_decades_without_a_chance_are_one_row_and_never_none() -> None:
    net = {
        "form": "shawl",
        "fibre": "cotton net",
        "size": "60 x 230 cm",
        "palette": "black, silver",
    }
    screen = str(date_scarf(net, channel="museum", as_of=AS_OF))
    rows = re.findall(r"^ +((?:before )?\d{4}s?(?:-\d{4}s)?) .* (<?\d+%)$", screen, re.MULTILINE)
    assert len(rows) > 5
    few = [place for place, (_, chance) in enumerate(rows) if chance in ("0%", "<1%")]
    assert all(b - a > 1 for a, b in pairwise(few)), rows
    assert "0%" not in [chance for _, chance in rows]


def test_of_the_younger_the_stretches_are_said_to_be_of_them() -> None:
    net = {
        "form": "shawl",
        "fibre": "cotton net",
        "size": "60 x 230 cm",
        "palette": "black, silver",
    }
    sentence = date_scarf(net, channel="museum", as_of=AS_OF).sentence
    assert "Older than 1881" in sentence
    assert re.search(r"[Oo]f the younger either|If younger, there is an? ", sentence), sentence
    assert "Either" not in sentence and "There is" not in sentence


def test_a_market_is_named_only_where_it_is_nearly_certain(stock: pd.DataFrame) -> None:
    """A law of one country is often that of another, too: "Made in" was asked for by several."""
    hankie = {"form": "hankie", "fibre": "cotton", "size": "12 x 12 in", "hem": "rolled",
              "print_technique": "machine embroidered", "label_text": "Made in Switzerland"}  # fmt: skip
    numbered = {"form": "square", "fibre": "polyester", "label_text": "RN 60000\n100% POLYESTER"}
    told = 0
    for seen in [hankie, numbered, *(of_row(row) for _, row in stock.iloc[::4].iterrows())]:
        dating = date_scarf(seen, channel="dealer", as_of=AS_OF)
        sure = max(dating.market.values()) >= load_priors().allowances["listing_sure"]
        assert ("Probably first offered" in " ".join(str(dating).split())) == sure
        told += sure
    assert told
    assert "offered for sale in the United States" not in str(date_scarf(hankie, as_of=AS_OF))


def test_an_event_that_may_have_been_announced_is_asked_after() -> None:
    """A coronation's scarf is sold months before it; where nobody says, it may be one of those."""
    seen = {"depicted_year": 1953, "form": "square", "fibre": "rayon"}
    open_one = " ".join(str(date_scarf(seen, as_of=AS_OF)).split())
    assert (
        "Not before 1950: the year of its subject (1953), which can have been announced" in open_one
    )
    assert "Was the event of 1953 announced ahead, as a coronation or a fair is?" in open_one
    for said in ("yes", "no"):
        told = date_scarf(seen | {"depicted_announced": said}, as_of=AS_OF)
        assert "announced ahead, as" not in str(told)
        assert (told.interval()[0] < 1953) == (said == "yes")
    assert "announced" not in str(date_scarf({"printed_year": 1953}, as_of=AS_OF))


def test_what_may_be_any_of_many_words_is_named_by_its_family() -> None:
    """Not "the bright primary colours or the many colours or another", none of which was noted."""
    seen = {"palette": "brown, orange, cream", "fibre": "silk", "motif": "dots, stripes, flowers"}
    dating = date_scarf(seen, as_of=AS_OF)
    assert {"the colours as noted", "the pattern as noted"} <= {*dating.noted().values()}
    assert "or another" not in str(dating)
    two = date_scarf({"motif": "dots or stripes"}, as_of=AS_OF).noted()["motif"]
    assert two == "the dots or the stripes or checks"
