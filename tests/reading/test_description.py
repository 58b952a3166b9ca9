"""A description in free words: what it tells of a piece, through the front doors.

The cases say what a colleague in the trade would understand (common practice, no source).
"""

from __future__ import annotations

import json
import time

import pandas as pd
import pytest

from scarfdate import PriorsError, Scarf, date_scarf, date_table, dry_run, load_priors, read_sold
from scarfdate.tables.priors import priors_of_files

AS_OF = 2026
# the text; what it tells, as the columns would say it
CASES = [
    ("silk square, hand rolled hem, 90 x 90 cm, made in Italy",
     {"fibre": "silk", "form": "square", "hem": "hand-rolled", "width_cm": 90.0, "height_cm": 90.0, "origin": "italy"}),
    ("polyester oblong scarf with paisley print, machine hem, label Made in Japan",
     {"fibre": "polyester", "form": "oblong", "motif": "paisley", "hem": "machine hem", "origin": "japan"}),
    ("Vintage 1960s silk twill scarf, floral print, hand-rolled edges, 34\" x 34\"",
     {"fibre": "silk", "weave": "twill", "motif": "floral", "hem": "hand-rolled", "width_cm": 86.36, "height_cm": 86.36}),
    ("carré de soie, roulotté main, motif équestre, fabriqué en France",
     {"form": "square", "fibre": "silk", "hem": "hand-rolled", "motif": "equestrian", "origin": "france"}),
    ("Nickituch Seide handrolliert, gepunktet, 50 x 50 cm, Etikett fehlt",
     {"form": "neckerchief", "fibre": "silk", "hem": "hand-rolled", "motif": "dots", "label": "none-seen", "width_cm": 50.0, "height_cm": 50.0}),
    ("foulard in seta stampata, orlo a mano, prodotto in Italia",
     {"fibre": "silk", "print_technique": "printed", "hem": "hand-rolled", "origin": "italy"}),
    ("Pañuelo de seda, dobladillo enrollado a mano, flores, hecho en España",
     {"fibre": "silk", "hem": "hand-rolled", "motif": "floral", "origin": "spain"}),
    ("Hem: hand rolled. Fabric: viscose. Colours: navy and red", {"hem": "hand-rolled", "fibre": "rayon"}),
    ("100% silk. 35 in square (89 cm square)",
     {"fibre": "silk", "fibre_method": "label", "form": "square", "width_cm": 88.9, "height_cm": 88.9}),
    ("cotton bandana, print of birds, selvedge edges", {"fibre": "cotton", "form": "bandanna", "motif": "animals", "hem": "selvedge"}),
    ("silk square, 36 inches, a 2 cm hole", {"fibre": "silk", "form": "square", "width_cm": 91.44}),
    ("Made in UK, poly", {"origin": "great-britain", "fibre": "polyester"}),
]  # fmt: skip
# the text; families of which it says nothing, though it has a word of them
NOTHING = [
    ("a lovely linen look, cotton feel", "weave fibre"),
    ("satin-like finish", "weave"),
    ("velvet touch, imitation lace", "weave"),
    ("polyester, mended with cotton thread", "hem_thread"),
    ("comes in a paper box", "fibre"),
    ("from the 1950s, from a house in Japan", "origin"),
    ("a company gift, soft and dark, signed for delivery", "motif palette uv_glow signature"),
    ("red, blue and white", "palette"),
    ('a scarf called "Roses of Italy"', "motif origin"),
    ("job lot of three silk scarves", "fibre"),
    ("30 x 30 cm box, the scarf 90 x 90 cm", "size"),
    ("silk scarf with 30 cm fringe", "size"),
    ("machine washable, hand wash only", "hem"),
]


@pytest.mark.parametrize(("text", "told"), CASES)
def test_what_a_description_tells(text: str, told: dict[str, object]) -> None:
    found = Scarf(description=text).to_dict()
    assert found.pop("description") == text
    for name, value in told.items():
        if name in ("width_cm", "height_cm"):
            assert found[name] == pytest.approx(value)
        elif name == "fibre_method":
            assert found["methods"] == {"fibre": value}
        else:
            own = Scarf(**{name: value}).to_dict()[name]
            assert found[name] == own
    assert {*found} - {"methods"} == {*told} - {"fibre_method"}


@pytest.mark.parametrize(("text", "families"), NOTHING)
def test_a_likeness_and_what_is_not_of_the_piece_say_nothing(text: str, families: str) -> None:
    assert not {*Scarf(description=text).seen} & {*families.split()}


def test_doubt_is_doubt_and_a_denial_is_one() -> None:
    doubted = Scarf(description="silk? square").to_dict()["fibre"]
    assert doubted == Scarf(fibre="silk?").to_dict()["fibre"]
    either = Scarf(description="silk or polyester, hand rolled").to_dict()
    assert either["fibre"] == Scarf(fibre="silk or polyester").to_dict()["fibre"]
    denied = Scarf(description="not silk").to_dict()["fibre"]
    assert denied == Scarf(fibre="not silk").to_dict()["fibre"]


def test_a_piece_is_dated_as_by_columns_at_both_doors() -> None:
    text = "silk square, hand rolled hem, made in Italy, geometric print, 90 x 90"
    columns = {"fibre": "silk", "form": "square", "hem": "hand rolled", "origin": "italy", "motif": "geometric",
               "size": "90 x 90", "unit": "cm"}  # fmt: skip
    one = date_scarf(Scarf(description=text, unit="cm"), as_of=AS_OF)
    other = date_scarf(Scarf(**columns), as_of=AS_OF)
    assert (one.probability == other.probability).all()
    rows = pd.DataFrame({"id": ["a"], "Item description": [text]})
    table = date_table(rows, as_of=AS_OF, unit="cm")
    assert table["median_year"].tolist() == [other.median]
    assert table["sentence"].tolist() == [other.sentence]


def test_a_column_of_its_own_goes_before_what_the_description_says() -> None:
    both = Scarf(description="silk square, floral", fibre="polyester", motif="rose")
    assert both.to_dict()["fibre"] == "polyester"
    assert both.to_dict()["motif"] == Scarf(motif="rose").to_dict()["motif"]
    assert [one for one in both.warnings if "fibre" in one] == [
        "fibre: the description says silk, you noted polyester; your note counts"
    ]
    assert not any("motif" in one for one in both.warnings)  # a rose is a flower


def test_a_quoted_label_is_read_as_a_label_of_which_a_part_is_known() -> None:
    told = Scarf(description='oblong, label reads "100% POLYESTER MADE IN JAPAN", hand washed')
    other = Scarf(form="oblong", label_text="100% POLYESTER MADE IN JAPAN\n...")
    assert told.seen["label_text"] == other.seen["label_text"]
    assert date_scarf(told, as_of=AS_OF).median == date_scarf(other, as_of=AS_OF).median


def test_a_text_of_several_pieces_is_told() -> None:
    scarf = Scarf(description="bundle of 12 silk scarves")
    assert set(scarf.seen) == {"description"}
    assert "several pieces" in scarf.warnings[0]


def test_the_dry_run_says_what_was_understood() -> None:
    text = dry_run(
        pd.DataFrame({"Titel": ["Tuch aus Seide, handrolliert", "ein Geschenk"]})
    ).to_string()
    assert "Titel: 'Tuch aus Seide, handrolliert' -> fibre silk, hem hand-rolled" in text
    assert "Titel: 'ein Geschenk' -> nothing of a clue" in text


def test_no_description_teaches() -> None:
    frame = pd.DataFrame(
        {"known": [1962, 1984], "known_by": "receipt", "fibre": ["silk", "polyester"],
         "description": ["rayon square", "a wool shawl"]}
    )  # fmt: skip
    sold = read_sold(frame, as_of=AS_OF)
    assert "description" not in sold.clues and "form" not in sold.clues
    assert any("with a description: kept, and not read here" in note for note in sold.notes)


def test_time_grows_with_the_length_and_any_text_is_read() -> None:
    Scarf(description="silk")
    for piece in ('"a ', "90 x ", "silk? ", "- ", "label reads “", "not ", "1/2 "):
        times = []
        for length in (2_000, 8_000):
            text = (piece * length)[:length]
            start = time.process_time()
            Scarf(description=text)
            times.append(time.process_time() - start)
        assert times[1] < 0.3 + 12 * times[0], piece


def test_a_round_trip_says_the_same() -> None:
    scarf = Scarf(description="silk? square, floral, 90 x 90 cm")
    again = Scarf.from_dict(json.loads(json.dumps(scarf.to_dict())))
    assert again.seen == scarf.seen


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        ("silk,en,,alone", "wants a family"),
        ("lovely,en,fibre,passed over", "is of no family"),
        (",en,fibre,names", "has no letter or sign"),
        ("like,en,,aside", "the word stands twice"),
        (",any,fibre,never", "the family stands twice"),
        ("silk,en,fibre,sometimes", "sometimes"),
    ],
)
def test_a_spoiled_row_of_the_table_is_refused(row: str, problem: str) -> None:
    files = dict(load_priors().files)
    files["descriptions.csv"] += f"{row}\n".encode()
    with pytest.raises(PriorsError) as refused:
        priors_of_files(files, "spoiled")
    assert problem in str(refused.value)


def test_a_word_of_ones_own_is_understood_without_code() -> None:
    files = dict(load_priors().files)
    files["descriptions.csv"] = files["descriptions.csv"].replace(
        b",any,palette,never\n", b",any,palette,alone\n"
    )
    own = priors_of_files(files, "own")
    assert "palette" in Scarf(description="a navy square", priors=own).seen
    assert "palette" not in Scarf(description="a navy square").seen


def test_a_table_with_one_column_of_words() -> None:
    texts = pd.DataFrame({"description": ["silk square hand rolled", "nylon, pink roses"]})
    columns = pd.DataFrame(
        {
            "fibre": ["silk", "nylon"],
            "form": ["square", None],
            "hem": ["hand-rolled", None],
            "motif": [None, "roses"],
        }
    )
    read, other = (date_table(one, as_of=AS_OF) for one in (texts, columns))
    assert read["sentence"].tolist() == other["sentence"].tolist()


@pytest.mark.parametrize(
    ("text", "column", "year"),
    [
        ("Munich Olympics 1972 souvenir scarf, rayon", "depicted_year", 1972),
        ("Coronation scarf of the Queen 1953, silk", "depicted_year", 1953),
        ("souvenir of the Expo 67, polyester", "depicted_year", 1967),
        ("bought 1980; silver jubilee 1977 scarf", "depicted_year", 1977),
        ("silk square, dated 1961 in the corner", "printed_year", 1961),
        ("Silk scarf 1953", "depicted_year", None),
        ("a lovely coronation scarf, bought at a fair in 1988", "depicted_year", None),
        ("no date, silk, 1953", "printed_year", None),
        ("coronation 1937 and jubilee 1935", "depicted_year", None),
        ("from an exhibition 2019, silk shawl", "depicted_year", None),
    ],
)
def test_the_year_of_an_event_or_a_date_stands_right_behind_it(
    text: str, column: str, year: int | None
) -> None:
    assert getattr(Scarf(description=text), column) == year


def test_a_square_of_inches_is_no_square_in_the_pattern() -> None:
    seen = Scarf(description='silk scarf, equestrian print, 34" square')
    assert seen == Scarf(
        description='silk scarf, equestrian print, 34" square',
        fibre="silk", motif="equestrian", size='34" square', form="square",
    )  # fmt: skip
    shawl = Scarf(description="embroidered silk shawl, 52 in square, long fringe, peonies")
    assert [shawl.seen[name].word for name in ("form", "hem", "motif")] == ["shawl", "fringed", "floral"]  # fmt: skip


def test_the_number_of_a_label_stands_on_a_label() -> None:
    seen = Scarf(description="Bandana, red paisley cotton, RN 14193 fast color")
    assert "RN 14193" in str(seen.label_text)
    assert date_scarf(seen).earliest == date_scarf(Scarf(label_text="RN 14193\n...")).earliest
    assert Scarf(description="a lovely RN nurse scarf, 14193 sold").label_text is None


@pytest.mark.parametrize(
    ("text", "column", "cell"),
    [
        ("silk sq, h/r", "hem", "hand-rolled"),
        ("rayon square, m/c rolled", "hem", "machine-rolled"),
        ("wool shawl, 18 inch macrame fringe", "size", None),  # of the fringe, not of the shawl
        (
            "4'6 x 7'8 shawl, wool",
            "size",
            None,
        ),  # feet and inches without their sign are not guessed
        ("horse bit print silk twill square 90cm hand rolled", "form", "square"),
        ("horse bit print silk twill square 90cm hand rolled", "motif", "objects"),
    ],
)
def test_what_a_dealer_types_in_a_hurry(text: str, column: str, cell: str | None) -> None:
    assert getattr(Scarf(description=text).seen.get(column), "word", None) == cell


@pytest.mark.parametrize(
    ("text", "sides"),
    [('net shawl 25" x 8ft', (63.5, 243.84)), ("2 yds x 1 yd muslin", (182.88, 91.44))],
)
def test_feet_and_yards_are_units(text: str, sides: tuple[float, float]) -> None:
    """The international yard of 0.9144 m (agreement of 1959)."""
    size = Scarf(description=text).seen["size"]
    assert (size.width, size.height) == pytest.approx(sides)


def test_the_mark_of_wartime_cloth_stands_on_a_label() -> None:
    seen = date_scarf(Scarf(description="utility CC41 rayon square"))
    assert seen.between(1941, 1953) > 0.8
