"""Keys: none means two things in one place, and every word can be reached."""

from __future__ import annotations

from pathlib import Path

import pytest

from scarfdate import Priors, Sorting, load_priors
from scarfdate.errors import PriorsError
from scarfdate.sorting.clue import clues_of
from scarfdate.sorting.keyboard import KEYS
from scarfdate.tables.priors import shipped_folder
from scarfdate.tables.sorting import key_of_each
from tests.sorting.table import keys, play, table


@pytest.fixture
def sorting(tmp_path: Path) -> Sorting:
    return table(tmp_path)


def test_no_key_means_two_things_in_one_place(priors: Priors) -> None:
    clues = clues_of(priors)
    trays = list("12345")
    of_clues = [clue.key for clue in clues.values()]
    places = {"clues": [*of_clues, *trays, *(key.key for key in KEYS["clues"])]}
    for name, clue in clues.items():
        places[name] = [*clue.keys.values(), *(key.key for key in KEYS["words"])]
    places["typing"] = [key.key for key in KEYS["typing"]]
    for place, found in places.items():
        assert all(found), f"a key is missing in {place}"
        assert len(found) == len(set(found)), f"a key means two things in {place}"
    # what is typed is one letter; what does something while typing is not
    assert all(len(key) > 1 for key in places["typing"])


def test_every_clue_and_every_word_has_a_key_but_for_countries(priors: Priors) -> None:
    for name, clue in clues_of(priors).items():
        missing = set(clue.words) - clue.keys.keys()
        assert not missing or name == "origin"


def test_every_verb_of_a_key_is_one_of_the_table() -> None:
    assert all(callable(getattr(Sorting, key.verb)) for some in KEYS.values() for key in some)


@pytest.mark.parametrize("clue", ["hem", "motif", "label_make", "fringe"])
def test_each_word_is_chosen_by_its_key(sorting: Sorting, clue: str) -> None:
    here = sorting.clues[clue]
    for word, key in list(here.keys.items())[:4]:
        screen = play(sorting, [here.key, key])
        assert next(one.noted for one in screen.clues if one.name == clue) == word
        sorting.press("Backspace")


@pytest.mark.parametrize(
    ("typed", "word"),
    [("republic of china", "republic-of-china"), ("gdr", "east-germany"), ("SIAM", "siam"),
     ("bangl", "bangladesh"), ("holland", "netherlands"), ("czech rep", "czech-republic")],
)  # fmt: skip
def test_all_countries_are_reached_by_typing(sorting: Sorting, typed: str, word: str) -> None:
    screen = play(sorting, ["o", "/", *typed, "Enter"])
    assert screen.piece.noted == (("origin", word),) and not screen.messages


def test_each_of_the_countries_is_the_first_when_it_is_typed(sorting: Sorting) -> None:
    for word in sorting.clues["origin"].words:
        screen = play(sorting, ["o", "/", *word])
        assert screen.open is not None and screen.open.words[0].word == word
        play(sorting, ["Escape", "Escape"])


def test_a_wider_word_and_a_doubt_are_typed(sorting: Sorting) -> None:
    screen = play(sorting, ["m", "/", *"floral", "Enter"])
    assert screen.piece.noted == (("motif", "floral"),)
    screen = play(sorting, ["f", "/", *"silk?", "Enter"])
    fibre = next(one for one in screen.clues if one.name == "fibre")
    assert fibre.noted.startswith("silk (70 %)") and fibre.sure == pytest.approx(0.7)
    # the slider is of the word that weighs most
    screen = sorting.doubt(0)
    assert dict(screen.piece.noted)["fibre"] == "silk"


def test_arrows_reach_every_word_without_its_key(sorting: Sorting) -> None:
    screen = play(sorting, keys("<ArrowDown><ArrowDown> <ArrowDown><ArrowDown><Enter>"))
    assert screen.piece.noted == (("hem", "machine-stitched"),)
    assert play(sorting, keys("h<ArrowUp>")).open.words[1].marked  # type: ignore[union-attr]


def test_other_keys_do_nothing_and_say_so(sorting: Sorting) -> None:
    before = sorting.screen()
    for key in ("Tab", "Shift", "F5", "", "ü", "€", "Escape", 7, None, "ArrowLeft1"):
        after = sorting.press(key)  # type: ignore[arg-type]
        assert (after.piece, after.place, after.trays) == (before.piece, before.place, before.trays)
    assert "does nothing here" in sorting.press("€").said
    assert sorting.press("H").open is not None  # with the shift key down


def test_initials_alone_where_a_folder_states_no_keys() -> None:
    assert key_of_each(("silk", "wool", "cotton", "cashmere"), {}) == {
        "silk": "s", "wool": "w", "cotton": "", "cashmere": "",
    }  # fmt: skip
    assert key_of_each(("cotton", "cashmere"), {"cotton": "c"}) == {"cotton": "c", "cashmere": ""}


def test_faulty_keys_are_named(tmp_path: Path) -> None:
    """A key of two words, a word that is none, a key of two clues, a sign that is no key, no clue, a tray's number."""
    faulty = {
        "hem,hand-rolled,v": "overlocked already",
        "hem,hand rolld,3": "not a value of hem",
        "weave,*,f": "fibre already",
        "hem,lace-edged,ä": "small letter",
        "hemm,*,v": "hemm",
        "form,*,7": "numbers are of the trays",
    }
    lines = (shipped_folder() / "sorting_keys.csv").read_text(encoding="utf-8").splitlines()
    named = {",".join(row.split(",")[:2]) for row in faulty}
    kept = [line for line in lines if ",".join(line.split(",")[:2]) not in named]
    rows = [f"{row},common practice,," for row in faulty]
    path = tmp_path / "sorting_keys.csv"
    path.write_text("\n".join([*kept, *rows]) + "\n", encoding="utf-8")
    with pytest.raises(PriorsError) as refused:
        load_priors(tmp_path)
    text = [str(fault) for fault in refused.value.faults]
    assert len(text) == len(faulty)
    for said in faulty.values():
        assert any(said in fault for fault in text), said
