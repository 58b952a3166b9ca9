"""Cells, headings and sizes as people write them, each with what it means, from both front doors."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate import Priors, Scarf, date_scarf, date_table, load_priors
from scarfdate.clues.kinds import keywords
from scarfdate.clues.readable import readable
from scarfdate.columns.names import SOLD
from scarfdate.errors import ScarfdateError, nearest
from scarfdate.reading.headings import heading_column, read_headings
from scarfdate.reading.noted import _NEIGHBOURS, NotedWords
from scarfdate.tables.noted import plain_heading
from scarfdate.tables.words import plain

AS_OF = 2026
NOT_LOOKED = None
# family: cell -> value or values that lead; None: not looked at
CELLS: dict[str, dict[str, str | set[str] | None]] = {
    "fibre": {
        "100% silk": "silk", "silk crepe": "silk", "twill silk": "silk", "reine Seide": "silk", "seta pura": "silk",
        "pure soie": "silk", "seda": "silk", "Naturseide": "silk", "silk?": "silk", "maybe silk": "silk", "SILK ?": "silk",
        "silk? rayon?": {"silk", "rayon"}, "rayon? acetate?": {"rayon", "acetate"}, "silk rayon": "blend",
        "silk (burn test)": "silk", "I think silk": "silk", "feels like silk": "silk", "80% silk 20% wool": "silk",
        "silk mix": "blend", "silk and cotton": "blend", "wool blend": "blend", "Mischgewebe": "blend",
        "silk/poly": {"silk", "polyester"}, "poly/silk": {"silk", "polyester"}, "silk or rayon": {"silk", "rayon"},
        "Seide oder Viskose": {"silk", "rayon"}, "soie ou acétate": {"silk", "acetate"}, "seda o lino": {"silk", "linen"},
        "prob. nylon": "nylon", "poly": "polyester", "poliéster": "polyester", "PES": "polyester", "viscose": "rayon",
        "Viskose": "rayon", "viscosa": "rayon", "Kunstseide": "rayon", "laine": "wool", "Schurwolle": "wool",
        "algodón": "cotton", "coton": "cotton", "Baumwolle": "cotton", "synth": {"nylon", "polyester", "acrylic", "acetate"},
        "??": None, "unsure": None, "can't tell": None, "dunno": None, "weiß nicht": None, "boh": None, "ni idea": None,
        "ne sais pas": None,
    },
    "hem": {
        "hr": "hand-rolled", "HR?": "hand-rolled", "hand rolled?": "hand-rolled", "roulottée": "hand-rolled",
        "roulotté": "hand-rolled", "handgerollt": "hand-rolled", "handrolliert": "hand-rolled", "orlo a mano": "hand-rolled",
        "hand-rolled and stitched": "hand-rolled", "mr": "machine-rolled", "mach": {"machine-rolled", "machine-stitched", "overlocked"},
        "machine or hand rolled": {"machine-rolled", "machine-stitched", "overlocked", "hand-rolled"},
        "frange": "fringed", "Fransen": "fringed", "flecos": "fringed", "overlock?": "overlocked", "surjeté": "overlocked",
        "turned": {"hand-rolled", "machine-rolled", "machine-stitched", "overlocked"}, "Hohlsaum": "hemstitched",
        "bord franc": "raw", "unsure": None, "can't tell": None,
    },
    "form": {
        "sq": "square", "rect": "oblong", "tri": "triangle", "skinny": "oblong", "foulard": {"square", "oblong", "triangle"},
        "fazzoletto": {"handkerchief", "pocket-square", "bandanna", "square"}, "Tuch": {"square", "oblong", "triangle", "shawl"},
        "étole": {"shawl", "oblong"}, "Schal": "oblong", "bufanda": "oblong", "square?": "square",
    },
    "motif": {
        "geo": "geometric", "fiori": {"floral-small", "floral-large"}, "Blumen": {"floral-small", "floral-large"},
        "ships": {"objects", "figures-scene", "emblem-monogram"}, "none": "plain", "à pois": "dots", "kariert": "stripes-checks",
        "fleurs": {"floral-small", "floral-large"}, "tinta unita": "plain", "horses?": "animals",
    },
    "palette": {
        "teal": "single-hue", "blau": "single-hue", "burgundy": {"single-hue", "jewel"}, "b/w": "black-white",
        "schwarz-weiß": "black-white", "faded": None, "verblasst": None, "faded pink": None, "bunt": "multicolour",
        "pink/green": {"single-hue", "pastel", "bright-primary", "multicolour", "other"},
        "navy/white": {"single-hue", "white-cream", "bright-primary", "multicolour", "other"},
    },
    "label": {
        "no": "none-seen", "nein": "none-seen", "yes": {"intact", "cut-or-fragment"}, "care label": {"intact", "cut-or-fragment"},
        "cut off": {"none-seen", "cut-or-fragment"}, "intact, says dry clean only": "intact",
        "MADE IN JAPAN paper tag": {"intact", "cut-or-fragment"}, "?": None,
    },
    "signature": {
        "yes": {"small", "medium", "large"}, "no": "none", "in corner": {"small", "medium", "large"},
        "printed": {"small", "medium", "large"}, "illegible": {"small", "medium", "large"},
    },
    "origin": {"India?": "india", "Italien": "italy", "IT": "italy", "Westdeutschland": "west-germany", "label says Italy": "italy"},
    "print_technique": {"Siebdruck": {"hand-screen", "machine-screen"}, "roller printed?": "engraved-roller"},
    "weave": {"raso": "satin", "satin?": "satin", "mousseline": "chiffon", "twill or satin": {"twill", "satin"}},
}  # fmt: skip
ELSEWHERE = [
    ({"fibre": "silk twill"}, {"fibre": "silk", "weave": "twill"}),
    ({"fibre": "chiffon"}, {"weave": "chiffon"}),
    ({"fibre": "mousseline de soie"}, {"fibre": "silk", "weave": "chiffon"}),
    ({"fibre": "silk (burn test)"}, {"fibre": "silk", "methods": {"fibre": "burn"}}),
    ({"palette": "blue floral"}, {"palette": "single-hue", "motif": "floral"}),
    ({"motif": "floral on navy"}, {"palette": "single-hue", "motif": "floral"}),
    ({"form": "silk scarf"}, {"form": "scarf", "fibre": "silk"}),
    ({"label": "MADE IN JAPAN paper tag"}, {"label": "label", "label_text": "MADE IN JAPAN", "label_make": "paper", "origin": "japan"}),
    ({"label": "intact, says dry clean only"}, {"label": "intact", "label_text": "dry clean only"}),
    ({"label": "paper tag"}, {"label": "label", "label_make": "paper"}),
]  # fmt: skip
# a label that is told and not copied: what stands for it, and the first year by its rule (`label_rules.csv`)
TOLD: list[tuple[str, str, str, int | None]] = [
    ("zip code on tag", "intact", "[zip code] on", 1963), ("sito web", "intact", "[sito web]", 1993),
    ("satin label, care symbols (4)", "intact", "[care symbols] (4)", 1958), ("Pflegezeichen vorh.", "intact", "[Pflegezeichen] vorh", 1958),
    ("wash symbols", "intact", "[wash symbols]", 1958), ("CA number 5 digits", "intact", "[CA number] 5 digits", 1972),
    ("tel no. w area code", "intact", "[tel no. w area code]", 1951), ("barcode sticker", "intact", "[barcode sticker]", 1974),
    ("Waschanleitung in 4 Sprachen", "intact", "[Waschanleitung] in 4 Sprachen", None), ("WPL no.", "intact", "[WPL no.]", 1941),
    ("cut, zip code", "cut-or-fragment", "[zip code]", 1963), ("RN number 60000", "intact", "RN number 60000", 1970),
    ("Made in Italy, care symbols", "intact", "Made in Italy, [care symbols]", 1958),
]  # fmt: skip
# what the trial at the table found to be advised, each the opposite of a help
BAD_HINTS = [
    ("poly or silk", "not silk"), ("maybe silk", "faux silk"), ("material", "maker"), ("paid", "id"),
    ("in corner", "none"), ("turned", "fringed"), ("coronation 1953", "conversational"), ("navy/white", "black-white"),
]  # fmt: skip
HEADINGS = {
    "Material": "fibre", "fabric": "fibre", "FIBER": "fibre", "Stoff": "fibre", "Matière": "fibre", "tessuto": "fibre",
    "tela": "fibre", "edge": "hem", "Saum": "hem", "ourlet": "hem", "orlo": "hem", "dobladillo": "hem", "pattern": "motif",
    "Muster": "motif", "colours": "palette", "colour": "palette", "Color:": "palette", "couleurs": "palette", "signed": "signature",
    "signed?": "signature", "made in": "origin", "Herkunft": "origin", "pays": "origin", "tag": "label", "Etikett": "label",
    "étiquette": "label", "size": "size", "Maße": "size", "misure": "size", "No.": "id", "SKU": "id", "shape": "form",
    "brand": "maker", "Width (cm)": "width_cm", "height in": "height_in", "Breite": "width", "Size (in)": "size",
    "price paid": "", "shelf": "", "EK": "",
}  # fmt: skip


@pytest.fixture(scope="module")
def priors() -> Priors:
    return load_priors()


def leading(priors: Priors, family: str, seen: Any) -> set[str]:
    """The values that weigh most in what was seen."""
    weights: dict[str, float] = {}
    for word, weight in seen.terms:
        for value in priors.vocabulary.children(family, word):
            weights[value] = weights.get(value, 0.0) + weight
    return {value for value, weight in weights.items() if weight > max(weights.values()) / 2}


@pytest.mark.parametrize("family", CELLS)
def test_every_cell_is_read_as_it_is_meant(priors: Priors, family: str) -> None:
    for cell, meant in CELLS[family].items():
        scarf = Scarf(priors=priors, **{family: cell})
        seen = scarf.seen.get(family)
        if meant is None:
            assert seen is None, cell
        else:
            values = {meant} if isinstance(meant, str) else meant
            assert seen is not None, cell
            assert leading(priors, family, seen) == values, cell


@pytest.mark.parametrize(("noted", "meant"), ELSEWHERE, ids=lambda case: str(case)[:40])
def test_what_a_cell_says_of_another_clue_goes_there(
    priors: Priors, noted: dict[str, Any], meant: dict[str, Any]
) -> None:
    assert Scarf(priors=priors, **noted).to_dict() == meant


@pytest.mark.parametrize(("cell", "state", "text", "first"), TOLD)
def test_what_is_told_of_a_label_counts_as_a_mark_and_not_as_all_of_it(
    priors: Priors, cell: str, state: str, text: str, first: int | None
) -> None:
    noted = Scarf(priors=priors, label=cell).to_dict()
    assert (noted["label"], noted["label_text"]) == (state, text + "\n...")
    asked = ["not_before", "not_read"]
    table = date_table(pd.DataFrame({"label": [cell]}), priors=priors, as_of=AS_OF, columns=asked)
    assert pd.isna(table["not_read"].iloc[0])
    not_before = table["not_before"].iloc[0]
    assert first == (None if pd.isna(not_before) else not_before)


COLOURS = {
    "brown, orange, cream": {"earth": 1 / 4, "white-cream": 1 / 4}, "pink, orange, purple": {"pastel": 1 / 4},
    "chartreuse, grey, black": {"acid-neon": 1 / 4, "muted-neutral": 1 / 4, "black-white": 1 / 4},
    "blue, green, yellow": {},
}  # fmt: skip


@pytest.mark.parametrize(("cell", "leads"), COLOURS.items())
def test_each_of_several_colours_counts_for_what_it_stands_for(
    priors: Priors, cell: str, leads: dict[str, float]
) -> None:
    """Each is one vote, and that they are several one more, spread over bright primaries, many colours and others."""
    seen: Any = Scarf(priors=priors, palette=cell).seen["palette"]
    rest = (1 - sum(leads.values())) / 3
    assert dict(seen.terms) == pytest.approx(
        {**leads, "bright-primary": rest, "multicolour": rest, "other": rest}
    )


COMPOUNDS = {
    "Seidenchiffon": {"fibre": "silk", "weave": "chiffon"}, "Baumwollbatist": {"fibre": "cotton", "weave": "plain"},
    "Wollschal": {"fibre": "wool", "form": "oblong"}, "Viskosetuch": {"fibre": "rayon", "form": "tuch"},
    "Seidentuch": {"fibre": "silk", "form": "tuch"}, "Seidenstoff": {"fibre": "silk"}, "Wollmousseline": {"fibre": "wool", "weave": "plain"},
    "Acetatseide": {"fibre": "acetate"}, "Kunstseide": {"fibre": "rayon"}, "Spitzentuch": {"form": "tuch", "weave": "lace-net"},
    "18mm twill": {"momme": 18.0, "weave": "twill"}, "silk - 12 momme approx": {"fibre": "silk", "momme": 12.0},
    "cotton bandana": {"fibre": "cotton", "form": "bandanna"}, "silk foulard": {"fibre": "silk", "weave": "twill"},
    "silk black": {"fibre": "silk", "palette": "black"}, "soie imprimée": {"fibre": "silk", "print_technique": "printed"},
}  # fmt: skip


@pytest.mark.parametrize(("cell", "meant"), COMPOUNDS.items())
def test_words_in_one_and_words_of_other_clues_in_a_fibre_cell(
    priors: Priors, cell: str, meant: dict[str, Any]
) -> None:
    assert Scarf(priors=priors, fibre=cell).to_dict() == meant


@pytest.mark.parametrize("cell", ["Seidenoptik", "Wollzauber", "Glimmerseide", "Seidenraupe"])
def test_half_a_compound_is_not_understood(priors: Priors, cell: str) -> None:
    with pytest.raises(ScarfdateError):
        Scarf(priors=priors, fibre=cell)


def test_a_compound_counts_in_a_description(priors: Priors) -> None:
    told = Scarf(priors=priors, description="schönes Viskosetuch, 70 x 70 cm").to_dict()
    assert told["fibre"] == "rayon"


@pytest.mark.parametrize("cell", ["no care symbols", "care symbols?", "keine Pflegezeichen"])
def test_what_is_denied_of_a_label_or_doubted_is_no_mark(priors: Priors, cell: str) -> None:
    scarf = Scarf(priors=priors, label=cell)
    assert scarf.to_dict() == {} and "denied or in doubt" in scarf.warnings[0]


def test_a_text_that_only_tells_of_the_label_is_read_as_told(priors: Priors) -> None:
    assert Scarf(priors=priors, label_text="WPL no.").seen["label_text"].marks == (("wpl", ""),)
    assert Scarf(priors=priors, label_text="WPL 12345").seen["label_text"].intact


def test_both_doors_read_the_same(priors: Priors) -> None:
    rows = [{family: cell} for family, cells in CELLS.items() for cell in cells]
    rows += [noted for noted, _ in ELSEWHERE]
    table, years = date_table(pd.DataFrame(rows), priors=priors, as_of=AS_OF, with_years=True)
    assert table["not_read"].isna().all(), table["not_read"].dropna().tolist()
    for row, chance in zip(rows, years, strict=True):
        alone = date_scarf(Scarf(priors=priors, **row), priors=priors, as_of=AS_OF)
        np.testing.assert_allclose(chance, alone.probability, atol=1e-12, err_msg=str(row))


def test_what_is_noted_of_a_family_itself_stays(priors: Priors) -> None:
    """ "silk twill" among fibres says nothing of the weave where that was noted."""
    scarf = Scarf(priors=priors, fibre="silk twill", weave="satin")
    assert scarf.to_dict() == {"fibre": "silk", "weave": "satin"}
    rows = pd.DataFrame([{"fibre": "silk twill", "weave": "satin"}, {"fibre": "silk twill"}])
    years = date_table(rows, priors=priors, as_of=AS_OF, with_years=True)[1]
    for row, weave in zip(years, ("satin", "twill"), strict=True):
        plainly = date_scarf(
            Scarf(priors=priors, fibre="silk", weave=weave), priors=priors, as_of=AS_OF
        )
        np.testing.assert_allclose(row, plainly.probability, atol=1e-12)


@pytest.mark.parametrize(("typed", "advice"), BAD_HINTS)
def test_no_hint_that_would_do_harm(priors: Priors, typed: str, advice: str) -> None:
    vocabulary = priors.vocabulary
    every = [
        w for f, values in vocabulary.values.items() for w in (*values, *vocabulary.parents[f])
    ]
    assert advice not in nearest(plain(typed), [*every, *keywords(priors)])


@pytest.mark.parametrize(
    ("typed", "advice"),
    [("slik", "silk"), ("polyster", "polyester"), ("hand rolld", "hand-rolled")],
)
def test_a_slip_of_the_pen_has_its_hint(priors: Priors, typed: str, advice: str) -> None:
    family = "hem" if "rol" in typed else "fibre"
    with pytest.raises(ScarfdateError, match=f"did you mean '{advice}'"):
        Scarf(priors=priors, **{family: typed})


def test_headings_in_five_languages(priors: Priors) -> None:
    known = keywords(priors)
    for heading, column in HEADINGS.items():
        got = "size" if heading == "size" else heading_column(heading, known, priors.headings)[0]
        assert got == column, heading
    assert heading_column("Size (in)", known, priors.headings) == ("size", "in")


def test_no_heading_is_two_columns_and_every_column_is_one(priors: Priors) -> None:
    known = {*keywords(priors), *(f"{name}_method" for name in priors.confusion), "note"}
    assert set(priors.headings.columns.values()) <= {*known, *SOLD}
    for heading, column in priors.headings.columns.items():
        exact = heading.replace(" ", "_")
        assert exact not in known or exact == column, heading
        assert plain_heading(heading) == heading


def test_the_first_of_two_headings_for_a_clue_is_read_and_the_other_told(priors: Priors) -> None:
    found = read_headings(["Material", "Fabric", "paid"], keywords(priors), priors.headings)
    assert found.place == {"fibre": 0}
    assert found.not_used == ("Fabric", "paid")


def test_no_word_means_two_things(priors: Priors) -> None:
    """In a cell a word of its own family goes first; one that two neighbours claim is neither's."""
    vocabulary = priors.vocabulary
    for family, neighbours in _NEIGHBOURS.items():
        reader = NotedWords(priors, family)
        own = {word for word, _ in vocabulary.words(family)}
        claimed: dict[str, set[str]] = {}
        for other in neighbours:
            for word, _ in vocabulary.words(other):
                claimed.setdefault(word, set()).add(other)
        for word, families in claimed.items():
            if word in own and len(word) > 2:
                found = reader.read(f"{word}, {word}")
                assert found is not None
                assert not found.others, (family, word)
            elif len(families) > 1:
                found = reader.read(word)
                assert found is not None
                assert not set(found.others) & families, (family, word)


def test_sizes_with_the_unit_once(priors: Priors) -> None:
    rows = pd.DataFrame(
        {"size": ["30 x 30", "34 1/2 x 35", "35", '"35"', "90 x 90 cm", "c. 30 x 30"]}
    )
    table = date_table(rows, priors=priors, unit="in", as_of=AS_OF)
    assert table["not_read"].isna().all()
    without = date_table(rows, priors=priors, as_of=AS_OF)
    assert without["not_read"].notna().tolist() == [True, True, True, True, False, True]
    for text in without["not_read"].dropna():
        assert "which one? --unit cm or --unit in" in text
    same = Scarf(priors=priors, size="30 x 30 in")
    years = date_table(rows.iloc[[0]], priors=priors, unit="in", as_of=AS_OF, with_years=True)[1]
    np.testing.assert_allclose(years[0], date_scarf(same, as_of=AS_OF).probability, atol=1e-12)
    sides = pd.DataFrame({"width": [30, 90], "height": [30, 90], "unit": [None, "cm"]})
    years = date_table(sides, priors=priors, unit="in", as_of=AS_OF, with_years=True)[1]
    assert not np.allclose(years[0], years[1])
    with pytest.raises(ScarfdateError, match="unit"):
        date_table(rows, unit="furlong")


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        ({"printed_year": "1960s"}, "write it as 1962"),
        ({"printed_year": "62"}, "such as 1962"),
        ({"depicted_year": "before 1960"}, "one year"),
        ({"depicted_year": "1953?"}, "leave it blank where it is in doubt"),
        ({"width": "2025-03-12T00:00:00", "unit": "cm"}, "a date, which the spreadsheet made"),
        ({"width_cm": "1e308"}, "write it out in digits"),
        ({"fibre": "lovely glimmery silk"}, "'glimmery' in 'lovely glimmery silk'"),
    ],
    ids=str,
)
def test_what_a_cell_is_to_say_instead(priors: Priors, seen: dict[str, Any], words: str) -> None:
    with pytest.raises(ScarfdateError, match=words.replace("(", r"\(").replace("?", r"\?")):
        Scarf(priors=priors, **seen)
    told = date_table(pd.DataFrame([seen]), priors=priors, as_of=AS_OF)["not_read"].iloc[0]
    assert words in told


def test_an_approximate_year_is_read_with_a_note(priors: Priors) -> None:
    assert "taken as the year 1960" in Scarf(priors=priors, printed_year="c. 1960").warnings[0]


def test_columns_that_are_nobodys_are_listed_once(priors: Priors) -> None:
    frame = pd.DataFrame({"fabric": ["silk"], "paid": [3], "shelf": ["B"], "notes": ["x"]})
    table = date_table(frame, priors=priors, as_of=AS_OF)
    assert table.attrs["not_used"] == ["paid", "shelf"]
    with pytest.raises(ScarfdateError, match="'paid' is not known"):
        date_table(frame, priors=priors, on_error="raise")


# ------------------------------------------------------------------ what must always hold

MANY = settings(
    deadline=None, derandomize=True, max_examples=60, suppress_health_check=list(HealthCheck)
)
PRIORS = load_priors()
FAMILIES = [name for name in CELLS if name not in ("label",)]
WORDS = {f: sorted({word for word, means in PRIORS.vocabulary.words(f) if means}) for f in FAMILIES}
BITS = st.sampled_from(
    ["?", "maybe", "or", "/", "not", "no", "silk", "poly", "(burn test)", "says", "Japan", "twill", "100%", ",", "tag", "o",
     "MADE IN ITALY", "RN 12345", "??", "faded", "kein", "glimmery", "-", "and", "blue", "rolled", "unsure", "{", '"', "x", "35"]
)  # fmt: skip
GARBLED = st.lists(BITS, min_size=1, max_size=7).map(" ".join)


@MANY
@given(
    st.dictionaries(
        st.sampled_from([*FAMILIES, "label", "size", "label_text"]), GARBLED, min_size=1
    )
)
def test_nothing_typed_crashes(noted: dict[str, str]) -> None:
    try:
        Scarf(priors=PRIORS, **noted)
    except ScarfdateError as error:
        assert len(str(error)) < 1500
    table, years = date_table(
        pd.DataFrame([noted]), priors=PRIORS, as_of=AS_OF, with_years=True, unit="cm"
    )
    assert np.isfinite(years).all()
    assert table["year_from"].notna().all()


@MANY
@given(st.sampled_from(FAMILIES), st.sampled_from(FAMILIES), st.data())
def test_a_cell_that_cannot_be_read_changes_nothing(read: str, lost: str, data: Any) -> None:
    if read == lost:
        return
    word = data.draw(st.sampled_from(WORDS[read]))
    rows = pd.DataFrame([{read: word, lost: "zzgrmpf 77"}, {read: word, lost: None}])
    table, years = date_table(rows, priors=PRIORS, as_of=AS_OF, with_years=True)
    np.testing.assert_array_equal(years[0], years[1])
    assert "zzgrmpf" in table["not_read"].iloc[0]
    assert pd.isna(table["not_read"].iloc[1])


@MANY
@given(
    st.sampled_from(FAMILIES),
    st.sampled_from(["{}?", "maybe {}", "prob. {}", "{} ??", "{}, not sure", "vielleicht {}"]),
    st.booleans(),
    st.data(),
)
def test_doubt_never_moves_further_than_certainty(
    family: str, doubt: str, beside: bool, data: Any
) -> None:
    """A doubted word lies between the word and nothing, year by year: a mixture of the two."""
    word = data.draw(st.sampled_from([w for w in WORDS[family] if len(w) > 2]))
    other = {"width_cm": 90, "momme": 12} if beside else {}
    rows = [{family: word, **other}, {family: doubt.format(word), **other}, {family: None, **other}]
    frame = pd.DataFrame(rows, dtype=object)
    table, (sure, doubted, nothing) = date_table(frame, priors=PRIORS, as_of=AS_OF, with_years=True)
    assert pd.isna(table["not_read"]).all()
    assert abs(doubted - nothing).sum() <= abs(sure - nothing).sum() + 1e-9
    low, high = np.minimum(sure, nothing), np.maximum(sure, nothing)
    assert (doubted >= low - 1e-9).all()
    assert (doubted <= high + 1e-9).all()


@pytest.mark.parametrize(("cell", "fibre", "weave"), [
    ("silk twill", "silk", "twill"), ("silk chiffon", "silk", "chiffon"), ("crêpe de soie", "silk", "crepe"),
    ("satin de soie", "silk", "satin"), ("wool challis", "wool", "plain"), ("cotton muslin", "cotton", "gauze"),
    ("polyester crepe", "polyester", "crepe"), ("silk organza", "silk", "gauze"),
])  # fmt: skip
def test_a_cloth_named_with_its_fibre_says_both_in_either_column(
    cell: str, fibre: str, weave: str
) -> None:
    for column in ("fibre", "weave"):
        seen = Scarf(**{column: cell}).to_dict()
        assert (seen["fibre"], seen["weave"]) == (fibre, weave), column


def test_a_name_of_a_cloth_in_the_column_of_fibres_keeps_the_fibre_in_it() -> None:
    assert Scarf(fibre="china silk").to_dict() == {"fibre": "silk", "weave": "plain"}
    assert "fibre" not in Scarf(fibre="silk screen").to_dict()  # that is a print


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ({"fibre": "poly feels like silk"}, {"fibre": "polyester"}),
        ({"fibre": "silk, like new"}, {"fibre": "silk"}),
        ({"fibre": "wool/nylon 80/20"}, {"fibre": "wool with nylon"}),
        ({"fibre": "cotton / poly (60/40)"}, {"fibre": "cotton with polyester"}),
        ({"size": "50 x 50 cm", "fringe": "4 in, knotted"}, {"hem": "fringed", "width_cm": 50.0}),
        ({"size": "50 x 50 cm", "fringe": "yes"}, {"hem": "fringed", "width_cm": 50.0}),
        ({"size": "50 x 50 cm", "fringe": "no"}, {"width_cm": 50.0}),
        ({"size": "50 x 50 cm", "fringe": "blue"}, {"width_cm": 50.0}),
    ],
)
def test_what_hurried_cells_come_to(cells: dict[str, str], told: dict[str, object]) -> None:
    """What it is goes before what it is like; shares in the order of the words; the fringe costs no size."""
    scarf, left_out = readable(cells, load_priors())
    found = scarf.to_dict()
    assert {name: found.get(name) for name in told} == told
    assert bool(left_out) == ("blue" in cells.values())
    assert ("hem" in found) == ("hem" in told)


def test_blanks_behind_a_size_cost_no_time() -> None:
    start = time.process_time()
    for blanks in (" ", "\t", "\xa0"):
        Scarf(size="90 x 90 cm" + blanks * 20_000)
    assert time.process_time() - start < 0.5


@pytest.mark.parametrize(
    ("cell", "column", "year"),
    [
        ("Olympics 1972", "depicted_year", 1972),
        ("Expo 67", "depicted_year", 1967),
        ("silver jubilee, 1935", "depicted_year", 1935),
        ("Krönung 1953", "depicted_year", 1953),
        ("calendar 1972", "depicted_year", 1972),  # printed in the year before, as often as not
        ("roses, dated 1961", "printed_year", 1961),
        ("© 1961 roses", "printed_year", 1961),
        ("datiert 1955", "printed_year", 1955),
    ],
)
def test_the_year_of_an_event_or_a_date_is_a_clue(cell: str, column: str, year: int) -> None:
    """At both doors; a column of its own goes before what the cell says."""
    seen = Scarf(motif=cell)
    assert seen.warnings == ()
    assert getattr(seen, column) == year
    alone = date_scarf(Scarf(**{column: year}, motif=getattr(seen.seen.get("motif"), "word", None)))
    assert date_scarf(seen).interval() == alone.interval()
    told = date_table(pd.DataFrame({"motif": [cell, cell], column: [None, year + 5]}), as_of=2026)
    assert told["not_read"].isna().all()
    assert told["year_from"].tolist() == [
        date_scarf(Scarf(**{column: one}, motif=getattr(seen.seen.get("motif"), "word", None)), as_of=2026).interval()[0]
        for one in (year, year + 5)
    ]  # fmt: skip


@pytest.mark.parametrize(
    "cell", ["map of London 1968", "roses, 1953", "dated 1950?", "centenary 1870-1970", "1968"]
)
def test_a_year_of_which_nobody_can_tell_what_it_is_weighs_nothing_and_is_told(cell: str) -> None:
    seen = Scarf(motif=cell)
    assert seen.printed_year is seen.depicted_year is None
    (told,) = seen.warnings
    assert "not weighed" in told
    assert "printed_year" in told
    assert date_scarf(seen).interval() == date_scarf(Scarf(motif=getattr(seen.seen.get("motif"), "word", None))).interval()  # fmt: skip
