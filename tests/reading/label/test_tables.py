"""What does not hold together in the label tables is named with its file and row; a table alone is enough
for a new mark."""

from __future__ import annotations

import copy
import math
import pickle
from pathlib import Path

import numpy as np
import pytest

from scarfdate import PriorsError, Scarf, ScarfdateError, date_scarf, load_priors, read_label
from scarfdate.reading.label import Bounds, Label
from scarfdate.tables.priors import shipped_folder

PROVENANCE = "common practice,,invented"


def changed(folder: Path, name: str, old: str, new: str) -> Path:
    text = (shipped_folder() / name).read_text(encoding="utf-8")
    assert old in text, old
    (folder / name).write_text(text.replace(old, new, 1), encoding="utf-8")
    return folder


def added(folder: Path, name: str, *rows: str) -> Path:
    at = folder / name
    source = at if at.is_file() else shipped_folder() / name
    at.write_text(
        source.read_text(encoding="utf-8") + "".join(f"{row}\n" for row in rows), encoding="utf-8"
    )
    return folder


@pytest.mark.sampled(6)
@pytest.mark.parametrize(
    ("name", "row", "said"),
    [
        ("label_words.csv", f"invented words,en,fibbre,silk,,{PROVENANCE}", ["column mark", "'fibre'"]),
        ("label_words.csv", f"all silk,en,fibre,silk,,{PROVENANCE}", ["stands there twice"]),
        ("label_words.csv", f"-,en,fibre,silk,,{PROVENANCE}", ["no word that can be read"]),
        ("label_words.csv", f"invented,en,fibre,silk,mars,{PROVENANCE}", ["column markets", "not an allowed word", "'mars'"]),
        ("label_values.csv", f"fibre,invented,a name,,fibre,silkk,{PROVENANCE}", ["not a value of family fibre", "'silk'"]),
        ("label_values.csv", f"care,,care again,,,,{PROVENANCE}", ["stands there twice"]),
        ("label_shown.csv", f"care,us,2100,140,5,{PROVENANCE}", ["between 0 and 100"]),
        ("label_shown.csv", f"care,us,1700,10,5,{PROVENANCE}", ["column year", "rises from row to row"]),
        ("label_shown.csv", f"care,moon,2100,10,5,{PROVENANCE}", ["column market"]),
        ("label_style.csv", f"1900,40,{PROVENANCE}", ["rises from row to row"]),
        ("label_numbers.csv", f"rn,100,1900,1,{PROVENANCE}", ["column number", "rises from row to row"]),
        ("label_numbers.csv", f"rn,999999,2030,0,{PROVENANCE}", ["between 0.1 and 50"]),
        ("label_use.csv", f"any,0,40,{PROVENANCE}", ["column lag", "stands there twice"]),
        ("label_postcodes.csv", f"italy,5,postcode-italy,i,it,{PROVENANCE}", ["stands there twice"]),
        ("label_postcodes.csv", f"itally,6,postcode-italy,i,it,{PROVENANCE}", ["column country", "'italy'"]),
        ("label_postcodes.csv", f"italy,0,postcode-italy,i,it,{PROVENANCE}", ["column digits"]),
        ("label_rules.csv", f"care,,us,bound,,,2000,,1990,2,,,wrong way,f,memory,{PROVENANCE}", ["lies before not_before"]),
        ("label_rules.csv", f"care,,us,bound,,,,,1990,,,,no lag,f,memory,{PROVENANCE}", ["stock lag above 0"]),
        ("label_rules.csv", f"care,,us,binds,,,,,,,,,role,f,memory,{PROVENANCE}", ["column role", "allowed: bound, guard"]),
        ("label_rules.csv", f"care,,us,guard,19,,,,,,,,year,f,memory,{PROVENANCE}", ["between 1000 and 2300"]),
        ("label_rules.csv", f"care,,us,bound,,,,1972,,,140,,share,f,memory,{PROVENANCE}", ["between 0 and 100"]),
        ("label_rules.csv", f"caer,,us,guard,,,,,,,,,mark,f,memory,{PROVENANCE}", ["column mark", "'care'"]),
    ],
)  # fmt: skip
def test_a_faulty_row_is_named(tmp_path: Path, name: str, row: str, said: list[str]) -> None:
    with pytest.raises(PriorsError) as refusal:
        load_priors(added(tmp_path, name, row))
    line = str((shipped_folder() / name).read_text(encoding="utf-8").count("\n") + 1)
    message = str(refusal.value)
    assert name in message
    assert f"row {line}" in message
    for words in said:
        assert words in message


def test_a_rule_that_stands_twice_is_named(tmp_path: Path) -> None:
    rows = (shipped_folder() / "label_rules.csv").read_text(encoding="utf-8").splitlines()
    with pytest.raises(PriorsError, match="stands there twice"):
        load_priors(added(tmp_path, "label_rules.csv", rows[1]))


def test_a_mark_needs_tables_and_no_code(tmp_path: Path) -> None:
    """An invented mark: a wheel, said to be printed from 1990 to 1995 in Europe."""
    added(tmp_path, "label_values.csv", f"wheel,,the wheel,europe,,,{PROVENANCE}")
    added(tmp_path, "label_words.csv", f"sign of the wheel,en,wheel,,,{PROVENANCE}")
    added(
        tmp_path,
        "label_rules.csv",
        f"wheel,,any,bound,,,1990,,1995,1,,,invented,f,memory,{PROVENANCE}",
    )
    added(tmp_path, "label_shown.csv", f"wheel,any,1990,5,2,{PROVENANCE}")
    priors = load_priors(tmp_path)
    label = read_label("Sign of the Wheel\nPURE SILK", priors=priors)
    assert (label.bounds().not_before, label.bounds().until) == (1990, 1995)
    assert label.markets == ("europe",)
    scarf = Scarf(label_text="Sign of the Wheel\nPURE SILK", priors=priors)
    found = date_scarf(scarf, priors=priors, as_of=2026)
    assert found.between(1990, 1996) > 0.8
    assert "the wheel" in found.sentence


def test_a_rule_changed_is_a_dating_changed(tmp_path: Path) -> None:
    own = load_priors(
        changed(
            tmp_path,
            "label_rules.csv",
            "utility-mark,,europe,bound,1941,1941,1941",
            "utility-mark,,europe,bound,1941,1941,1946",
        )
    )
    seen = {"label_text": "CC41\nCOTTON"}
    usual = date_scarf(Scarf(**seen), as_of=2026)
    later = date_scarf(Scarf(**seen, priors=own), priors=own, as_of=2026)
    assert usual.between(1941, 1945) > 0.2
    assert later.between(1941, 1945) < 0.02


def test_no_fact_is_a_number_in_code() -> None:
    """Years and shares of labels stand in the tables; what code holds is how text is cut up."""
    for name in (
        "reading/label",
        "reading/label_forms",
        "reading/label_marks",
        "reading/label_notices",
        "reading/label_series",
        "reading/label_numbers",
        "reading/label_phrases",
        "reading/label_reader",
        "reading/label_signs",
        "reading/label_content",
        "reading/label_says",
        "reading/label_whole",
        "clues/label",
        "clues/mark_chances",
        "tables/label",
    ):
        text = (Path(load_priors.__code__.co_filename).parents[1] / f"{name}.py").read_text(
            encoding="utf-8"
        )
        code = "\n".join(line.split("#")[0] for line in text.split('"""')[::2])
        found = {
            word
            for word in code.replace('"', " ").split()
            if word.isdecimal() and 1800 < int(word) < 2100
        }
        assert not found, (name, found)


def test_levels_are_shares() -> None:
    rules = load_priors().label
    for years, full, brief in rules.shown.values():
        assert (np.diff(years) > 0).all()
        assert ((full >= brief) & (full <= 1) & (brief >= 0)).all()  # a full label shows more


WHEEL = "Sign of the Wheel\nPURE SILK\nMADE IN ITALY RN 60000\nQZXVALLE ..."


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """Tables with an invented mark, word for a market, and postal code."""
    added(tmp_path, "label_values.csv", f"wheel,,the wheel,,,,{PROVENANCE}")
    added(tmp_path, "label_words.csv", f"sign of the wheel,en,wheel,,,{PROVENANCE}")
    added(tmp_path, "label_rules.csv",
          f"wheel,,any,bound,,,1990,,1995,1,,,an invented rule,invented,memory,{PROVENANCE}")  # fmt: skip
    added(tmp_path, "vocabulary.csv", "market,ruritania,synonym,europe,")
    added(tmp_path, "label_postcodes.csv", f"spain,5,postcode-italy,e,,{PROVENANCE}")
    return tmp_path


def tells(label: Label) -> tuple[object, ...]:
    """Everything that a label can be asked."""
    return (
        str(label), repr(label), label.state, label.bounds(), label.bounds("europe"), label.facts(),
        label.facts(role="guard"), label.clues_given(), label.against({"origin": "france"}),
        label.to_frame().to_csv(),
    )  # fmt: skip


@pytest.mark.parametrize(
    "again", [copy.copy, copy.deepcopy, lambda one: pickle.loads(pickle.dumps(one))]
)
def test_a_copy_says_the_same_with_words_of_ones_own(again, own: Path) -> None:  # type: ignore[no-untyped-def]
    priors = load_priors(own)
    for text in (WHEEL, "", "E-80999 QZXVALLE", "© 1962 UMBRIVELLE\nALL WOOL WPL 1234"):
        for market in (None, "us", "ruritania"):
            label = read_label(text, market, priors=priors)
            first = again(label)
            for copied in (first, again(first)):
                assert copied == label
                assert tells(copied) == tells(label)
                assert copied.bounds("ruritania") == label.bounds("europe")
                assert dict(copied.clues) == dict(label.clues)
                with pytest.raises(TypeError):
                    copied.clues["origin"] = "france"  # type: ignore[index]


def test_bounds_are_equal_where_their_years_are() -> None:
    """NaN, for no bound, is equal to itself here, even where it is another object."""
    one = Bounds(not_before=1960.0, usual_from=math.nan, until=math.nan)
    same = Bounds(not_before=1960.0, usual_from=float("nan"), until=float("nan"))
    assert one == same and len({one, same}) == 1
    assert one == pickle.loads(pickle.dumps(one))
    assert one != Bounds(not_before=1960.0, usual_from=math.nan, until=1990.0)
    assert one != Bounds(not_before=1961.0, usual_from=math.nan, until=math.nan)
    assert one != (1960.0, None, None)


def test_a_pickled_label_is_small_and_needs_no_tables(own: Path) -> None:
    label = read_label(WHEEL, "ruritania", priors=load_priors(own))
    sent = pickle.dumps(label)
    assert len(sent) < 60_000  # all rules and phrases have some 500,000 bytes
    for path in own.iterdir():
        path.unlink()
    again = pickle.loads(sent)
    assert (again.bounds().not_before, again.bounds().until) == (1990, 1995)
    assert "an invented rule" in str(again)


def test_the_tables_of_the_caller_are_used_throughout(own: Path) -> None:
    priors = load_priors(own)
    assert read_label(WHEEL, "ruritania", priors=priors).market == "europe"
    with pytest.raises(ScarfdateError, match="market"):
        read_label(WHEEL, "ruritania")
    marks = {mark.mark for mark in read_label("E-80999 QZXVALLE", priors=priors).marks}
    assert "postcode-italy" in marks
    assert not read_label("E-80999 QZXVALLE").marks


@pytest.mark.parametrize("wrong", ["my", 3, object(), {}, Path("priors")])
def test_priors_that_are_none_are_refused(wrong: object) -> None:
    with pytest.raises(ScarfdateError, match=r"priors: .* allowed, got"):
        read_label("PURE SILK", priors=wrong)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "mark"),
    [
        ("SETA\n80999 QZXVALLE", "postcode-italy"),
        ("SEIDE\n80999 QZXVALLE", "postcode-germany-5"),
        ("SOIE\n80999 QZXVALLE", "postcode-france"),
        ("UMBRIVELLE S.r.l.\n80999 QZXVALLE", "postcode-italy"),
        ("UMBRIVELLE GmbH\n80999 QZXVALLE", "postcode-germany-5"),
        ("CH-8999 QZXVALLE", "postcode-switzerland"),
        ("8999 MÜNCHEN", "postcode-germany-4"),
        ("SEIDE\n8999 QZXVALLE", ""),  # four digits may be a style number
        ("SETA SEIDE\n80999 QZXVALLE", ""),  # two languages
        ("SETA\n80999", ""),  # no town
        ("UMBRIVELLE LTD\n80999 QZXVALLE", ""),
    ],
)  # fmt: skip
def test_a_postal_code_is_known_by_its_country(text: str, mark: str) -> None:
    """Each country's number of digits: label_postcodes.csv; towns, and words for silk, as in its rows."""
    codes = [one.mark for one in read_label(text).marks if one.mark.startswith("postcode")]
    assert codes == ([mark] if mark else [])


def test_signs_of_unicode_and_brackets_stand_in_any_order() -> None:
    """A bracket read before a shape that stands before it once shifted the whole text."""
    label = read_label("△ PURE SILK [wash 30] ○ RN 60000 [△]")
    places = [(mark.mark, label.text[mark.start : mark.end]) for mark in label.marks]
    assert ("rn", "RN 60000") in places
    assert ("fibre", "PURE SILK") in places
    assert not label.unread
