"""What was misread once: each wording of labels by itself, with what it is.

Sources: 16 CFR 303.27 and 300.17 (all); 17 U.S.C. 401 (notices); 16 CFR 303.25 (parts); the dated facts
beside the project for places, posts and money; textile dictionaries for words of cloth.
"""

from __future__ import annotations

import numpy as np
import pytest

from scarfdate import Scarf, date_scarf, load_priors, read_label
from scarfdate.clues.label import LabelClue
from scarfdate.conventions import MARKETS

YEARS = np.arange(1880, 2027)


def pairs(text: str) -> set[tuple[str, str]]:
    return {(mark.mark, mark.value) for mark in read_label(text).marks}


@pytest.fixture(scope="module")
def clue() -> LabelClue:
    return LabelClue(load_priors(), "label_text", YEARS)


@pytest.mark.parametrize(
    "text",
    [
        "crêpe de chine", "CREPE-DE-CHINE", "Crepe de Chine 100% silk", "soie de Chine", "Turkey Red Fast Color",
        "Persian print", "Holland linen", "panama weave", "georgette", "crêpe marocain", "china silk",
    ],
)  # fmt: skip
def test_words_of_cloth_name_no_country(text: str) -> None:
    label = read_label(text)
    assert "origin" not in label.clues
    assert not label.unread


def test_a_country_beside_a_word_of_cloth_is_read() -> None:
    assert read_label("Crêpe de Chine\nMade in Italy").clues["origin"] == "italy"


@pytest.mark.parametrize(
    ("text", "origin"),
    [
        ("MADE IN CHINA (PRC)", "peoples-republic-of-china"),
        ("MADE IN TAIWAN, REPUBLIC OF CHINA", "republic-of-china"),
        ("R.O.C.", "republic-of-china"), ("R.O.K.", "korea"), ("MADE IN OCC. JAPAN", "occupied-japan"),
        ("BR. HONG KONG", "british-hong-kong"), ("EMPIRE MADE", "british-hong-kong"),
        ("fabrication française", "france"), ("MADE lN ITALY", "italy"), ("MADE IN 1TALY", "italy"),
        ("MADE IN MACAU", "other"), ("Сделано в СССР", "ussr"),
    ],
)  # fmt: skip
def test_countries(text: str, origin: str) -> None:
    label = read_label(text)
    assert label.clues["origin"] == origin
    assert not label.flags


@pytest.mark.parametrize(
    "text",
    [
        "ALL SILK",
        "pure silk",
        "ALL WOOL",
        "Pura seta",
        "reine Seide",
        "Шёлк",
        "ΜΕΤΆΞΙ",
        "svila",
        "100% S1LK",
    ],
)
def test_fibres(text: str) -> None:
    label = read_label(text)
    assert label.clues["fibre"] in ("silk", "wool")
    assert (("whole-fibre", "") in pairs(text)) == text.lower().startswith(("all", "pur", "reine"))


@pytest.mark.parametrize(
    ("text", "pair"),
    [
        ("(C) 1978 SILK", ("copyright-year", "1978")), ("Ⓒ 1978", ("copyright-year", "1978")),
        ("c 1978", ("copyright-year", "1978")), ("c1978", ("copyright-year", "1978")),
        ("Copr. '52", ("copyright-year", "1952")), ("© MCMLXV", ("copyright-year", "1965")),
        ("(c)", ("copyright-no-year", "")), ("SILK (R)", ("circle-r", "")),
        ("12/6", ("price-shillings", "")), ("19/11", ("price-shillings", "")),
        ("5/11d", ("price-shillings", "")), ("D.B.G.M.", ("dbgm", "")), ("DBP", ("dbgm", "")),
        ("D.R.P.", ("drp", "")), ("breveté S.G.D.G.", ("sgdg", "")), ("MADE IN EEC", ("origin", "eec")),
        ("MADE IN E.U.", ("origin", "european-union")), ("microfibre", ("microfibre", "")),
        ("recycled polyester", ("fibre", "recycled-polyester")), ("viscose (bamboo)", ("fibre", "bamboo-rayon")),
        ("BUNDESREPUBLIK DEUTSCHLAND", ("origin", "federal-republic")), ("rolled by hand", ("hand-rolled", "")),
        ("hand hot wash", ("care", "wash")), ("dry clean preferable", ("care", "dry-clean")),
        ("[P]", ("care-symbols", "symbols")), ("IT01234567890", ("vat-number", "prefixed")),
        ("RN 82 345", ("rn", "82345")), ("exclusive of decoration", ("exclusive-of", "")),
        ("MACHINE WASH\nDO NOT BLEACH\nTUMBLE DRY\nCOOL IRON", ("care-full", "")),
        ("100% SILK 10O%", ("fibre-percent", "")), ("Design Reg. No. 871234", ("registered-design", "871234")),
    ],
)  # fmt: skip
def test_marks(text: str, pair: tuple[str, str]) -> None:
    assert pair in pairs(text)
    assert not read_label(text).unread


@pytest.mark.parametrize("text", ["RN 82???", "RN ?2345", "🧣", "وشاح", "Ατελιε", "[wash 900]"])
def test_what_cannot_be_read_is_listed_and_nothing_is_made_of_it(text: str) -> None:
    label = read_label(text)
    assert "".join(label.unread).replace(" ", "") == text.replace(" ", "")
    assert not label.marks and not label.flags


def test_an_open_bracket_is_told() -> None:
    assert any("bracket" in flag for flag in read_label("[wash").flags)
    assert not read_label("[wash 30]").flags


def test_parts_of_a_garment_have_percentages_of_their_own() -> None:
    assert not read_label("SHELL 100% SILK\nFRINGE 100% RAYON").flags
    assert read_label("100% SILK\n100% RAYON").flags


def test_one_year_is_no_years() -> None:
    assert "1 year)" in str(read_label("WPL 200"))
    assert "1 years" not in str(read_label("WPL 200"))


@pytest.mark.parametrize(
    ("text", "market"),
    [("NEW YORK, N.Y. 10018", "us"), ("NEW YORK 18, N.Y.", "us"), ("EMPIRE MADE", "europe"),
     ("LONDON W.1.", "europe"), ("ACETATE RAYON\nNEW YORK 16, N.Y.", "us"), ("絹 100%", "elsewhere")],
)  # fmt: skip
def test_wording_with_a_home_is_of_its_market(text: str, market: str) -> None:
    markets = date_scarf(Scarf(label_text=text)).market
    assert markets[market] == max(markets.values())


@pytest.mark.parametrize(
    ("mark", "value", "last"),
    [  # years by which less than a tenth is left
        ("fibre", "artificial-silk", 2000), ("district-london", "", 2000), ("district-paris", "", 2000),
        ("registered-design", "720000", 1960), ("patent", "1234567", 1950), ("sgdg", "", 1980),
        ("drp", "", 1960), ("origin", "eec", 2000), ("fibre", "acetate-rayon", 1985),
        ("rn", "14321", 2025), ("fibre", "weighted-silk", 1960),
    ],
)  # fmt: skip
def test_wordings_and_numbers_fall_out_of_use(
    clue: LabelClue, mark: str, value: str, last: int
) -> None:
    window = clue.chances.window(mark, value)
    assert (window[:, last <= YEARS] < 0.1 * window.max()).all()


@pytest.mark.parametrize(
    ("mark", "value", "first"),
    [("fibre", "bamboo-rayon", 2003), ("dbgm", "", 1949), ("origin", "federal-republic", 1949),
     ("fibre", "recycled-polyester", 2000), ("microfibre", "", 1990), ("vat-number", "prefixed", 1993),
     ("origin", "european-union", 1993), ("firm", "sas-france", 1994)],
)  # fmt: skip
def test_first_years(clue: LabelClue, mark: str, value: str, first: int) -> None:
    assert (
        clue.chances.window(mark, value)[:, first > YEARS] <= clue.chances.misread * 1.001
    ).all()


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("S.A.S. SOIERIES\n100% SOIE", "sas-france"), ("SAS\n69001 LYON FRANCE", "sas-france"),
        ("Société par actions simplifiée", "sas-france"), ("SAS MADE IN FRANCE 100% SILK", "sas-france"),
        ("S.A.S. di un tale\n100% SETA", "sas-italy"), ("S.A.S. MADE IN ITALY", "sas-italy"), ("S.A.S.", "sas"),
        ("S.A.S.\n100% SOIE 100% SETA", "sas"), ("S.A.S. MADE IN FRANCE\nMADE IN ITALY", "sas"),
        ("società in accomandita semplice\nMADE IN FRANCE", "sas-italy"),
    ],
)  # fmt: skip
def test_a_firm_form_of_two_countries_is_that_of_the_label(text: str, value: str) -> None:
    assert [mark.value for mark in read_label(text).marks if mark.mark == "firm"] == [value]


@pytest.mark.parametrize(
    ("text", "about"),
    [("PAT. NO. 1,234,567", 1917), ("Rd. No. 345678", 1899), ("Des. Pat. 50,000", 1917)],
)
def test_numbers_below_the_first_anchor_of_old_bound_from_no_later_year(
    text: str, about: int
) -> None:
    (mark,) = read_label(text).marks
    series = load_priors().label.series[mark.mark]
    assert abs(series.issued(float(mark.value))[0] - about) <= 8


@pytest.mark.parametrize(
    ("mark", "year", "later"),
    [
        ("imported-fabric", 1950, 1987),
        ("tm", 1940, 1965),
        ("copyright-no-year", 1930, 1960),
        ("upc", 1979, 1990),
        ("ean", 1980, 1990),
    ],
)
def test_a_habit_begins_where_its_fact_says(
    clue: LabelClue, mark: str, year: int, later: int
) -> None:
    level = clue.chances.level(mark)[0, MARKETS.index("us")]
    assert level[year == YEARS] < 0.3 * level[later == YEARS]


@pytest.mark.parametrize(
    "text",
    [
        "Utility Collection", "UTILITY", "Model Nr. 14", "MEDAL", "Chino Blue", "Angola", "Scotia", "Linea Uno", "Liner & Wood",
        "Romie", "Belgian Congo", "Bursa", "Queen's Own", "King's Own", "Queen's", "Brooklyn Fane", "Dallas Wexmoor", "Tel. 0039 031 555123", "Reg. Ditte 22418 Como",
        "Art. 22418 Como", "Nr. 22418 Milano", "Ref 8012345678905", "Festival 45 x 45", "Festival Mills, est. 1951",
        "Coronation Mills since 1902", "Festival Collection, style 1951", "Mayfair 1234",
    ],
)  # fmt: skip
def test_plain_words_and_numbers_say_nothing_of_years(text: str) -> None:
    label = read_label(text)
    assert not label.marks
    assert len(label.markets) == len(MARKETS)
    assert date_scarf(Scarf(label_text=text)).earliest is None


@pytest.mark.parametrize(
    ("text", "pair"),
    [
        ("MADE IN ITALLY", ("origin", "italy")),
        ("80% Cottun", ("fibre", "cotton")),
        ("Cottun 80%", ("fibre", "cotton")),
        ("%80 Cottun", ("fibre", "cotton")),
        ("Scarf\nPolyestre\nWexmoor", ("fibre", "polyester")),
        ("Wexmoor, Polyestre", ("fibre", "polyester")),
    ],
)
def test_a_misprint_is_read_where_something_bears_it_out(text: str, pair: tuple[str, str]) -> None:
    assert (*pair, "one letter off") in {(m.mark, m.value, m.how) for m in read_label(text).marks}


@pytest.mark.parametrize(
    ("text", "first", "among"),
    [  # what is stated of the first year, and years that have most of the answer
        ("MADE IN HONG KONG, CHINA\n100% POLYESTER", 1997, (1997, 2026)),
        ("Made in Hong Kong (China)", 1997, (1997, 2026)),
        ("MADE IN NORTHERN IRELAND", 1921, (1921, 2026)),
        ("Hollandsch Fabrikaat", None, (1880, 1960)),
        ("MADE IN PHILIPPINE ISLANDS", None, (1880, 1955)),
        ("Made in Porto Rico", None, (1880, 1955)),
        ("Zellwolle", 1933, (1933, 1970)),
        ("100% Reyon", 1950, (1950, 1985)),
        ("PARIS\nExposition Coloniale 1931\nSOIE", 1931, (1931, 1933)),
        ("Coronation 1953", 1953, (1953, 1955)),
        ("Festival of Britain 1951", 1951, (1951, 1953)),
        ("Olympic Games 1972", 1972, (1972, 1974)),
        ("Queen's Silver Jubilee 1977", 1977, (1977, 1979)),
        ("EXPO 67", 1967, (1967, 1969)),
        ("World Cup '66", 1966, (1966, 1968)),
        ("Médaille d'or Exposition Universelle Paris 1900", 1900, (1902, 2026)),  # a prize of long ago
        ("MADE IN NIPPON", None, (1890, 1940)),
        ("Wexmoor B.V.", 1971, (1971, 2026)),
        ("Wexmoor ApS", 1974, (1974, 2026)),
        ("Wexmoor s.r.o.", None, (1985, 2026)),
        ("Wexmoor Kft.", None, (1985, 2026)),
        ("Wexmoor Sp. z o.o.", None, (1975, 2026)),
        ("Tel. MAYfair 1234", None, (1880, 1975)),
        ("OPÉra 45-12", None, (1880, 1970)),
        ("1-888-555-0148", 1996, (1996, 2026)),
        ("1-866-555-0148", 2000, (2000, 2026)),
        ("Marlsfield, NM 44512", 1963, (1963, 2026)),
        ("By Appointment to H.M. Queen Wexmoria II", None, (1952, 2024)),
        ("EORI GB 123456789000", 2009, (2009, 2026)),
        ("[Triman]", 2014, (2014, 2026)),
    ],
)  # fmt: skip
def test_what_dates_by_its_wording(text: str, first: int | None, among: tuple[int, int]) -> None:
    dating = date_scarf(Scarf(label_text=text))
    assert (dating.earliest.year if dating.earliest else None) == first
    inside = (dating.years >= among[0]) & (dating.years <= among[1])
    assert dating.probability[inside].sum() > 0.6


@pytest.mark.parametrize(
    ("text", "clues"),
    [
        ("Türk Malı", {"origin": "turkey"}),
        ("MADE IN CHINA", {"origin": "china"}),
        ("Made in Hong Kong, China", {"origin": "hong-kong"}),
        ("MADE IN N. IRELAND", {"origin": "great-britain"}),
        ("Vyrobeno v ČR", {"origin": "czech-republic"}),
        ("Vyrobeno v Československu", {"origin": "czechoslovakia"}),
        ("Deutsches Erzeugnis", {"origin": "germany"}),
        ("Schweizer Fabrikat", {"origin": "switzerland"}),
        ("Nederlands Fabrikaat", {"origin": "netherlands"}),
        ("Reinseide", {"fibre": "silk"}),
        ("Halbseide", {"fibre": "blend"}),
        ("100% Polyacrylnitril", {"fibre": "acrylic"}),
        ("Festival of Britain 1951", {}),
    ],
)
def test_words_for_a_country_or_a_fibre(text: str, clues: dict[str, str]) -> None:
    assert read_label(text).clues == clues


@pytest.mark.parametrize(
    "text",
    [
        "Queens, N.Y.",
        "Wexmoor Brooklyn",
        "Dallas",
        "New York Wexmoor",
        "Boston\nWexmoor",
        "Dallas TX 75201",
    ],
)
def test_a_town_in_an_address_is_american(text: str) -> None:
    assert read_label(text).markets == ("us",)


def test_northern_ireland_in_a_column_is_a_part_of_the_united_kingdom() -> None:
    assert date_scarf(Scarf(origin="Northern Ireland")).earliest.year == 1921
