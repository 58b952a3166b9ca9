"""Three pieces from the first look to the stock sheet, by keys alone."""

from __future__ import annotations

import copy
import json
import pickle
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import scarfdate
from scarfdate import Scarf, Sorting, compare, date_scarf, date_table, next_checks
from tests.sorting.table import LARGE, NOW, keys, play, rows, table

# A: the agreeable square; B: two hills; C: clues in conflict (data/stock.csv, V035 and V032)
A = {
    "fibre": "silk",
    "form": "square",
    "hem": "hand-rolled",
    "motif": "geometric",
    "layout": "colour-blocks",
}
BY_KEYS = {
    "A": "fs rs hh mg yk",
    "B": "fs.. wc hf py ln rw z150 x 150 cm<Enter> jo ml cm yb nknotted fringe<Enter>",
    "C": "fs wt hh ps uf gm li kh o/china<Enter> rs z29 x 29 in<Enter> my ca yb",
}


def pressed(text: str) -> list[str]:
    """Spaces part the clues for the reader here; in sizes and notes they are typed."""
    parts = text.split(" ")
    found: list[str] = []
    typing = False
    for part in parts:
        found += [" "] if typing else []
        found += keys(part)
        typing = (part[0] in "zn" and "<" not in part) if not typing else "<" not in part
    return found


@pytest.fixture(scope="module")
def sorted_pile(tmp_path_factory: pytest.TempPathFactory) -> tuple[Sorting, Path]:
    folder = tmp_path_factory.mktemp("pile")
    sorting = table(folder)
    for text in BY_KEYS.values():
        screen = play(sorting, pressed(text))
        assert not screen.messages
        assert screen.place == "clues"
        play(sorting, ["Enter"])
    return sorting, folder / "stock.csv"


def test_the_sheet_has_what_was_seen(sorted_pile: tuple[Sorting, Path]) -> None:
    demo = {row["id"]: row for row in rows(LARGE)}
    a, b, c = rows(sorted_pile[1])
    assert [row.pop("id") for row in (a, b, c)] == ["1", "2", "3"]
    assert a == A
    assert b.pop("note") == "knotted fringe"
    for row, known in ((b, demo["V035"]), (c, demo["V032"])):
        seen = Scarf(**{name: cell for name, cell in known.items() if name not in ("id", "note")})
        assert Scarf(**row).seen == seen.seen


def test_date_reads_the_sheet_as_the_screen_said(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    said = []
    for text in BY_KEYS.values():
        said.append(
            play(sorting, [*pressed(text), "ArrowRight", "ArrowRight"]).piece.answer.sentence
        )
        play(sorting, ["Enter"])
    frame = pd.read_csv(tmp_path / "stock.csv", dtype=str)
    found = date_table(frame, as_of=NOW)
    assert found["sentence"].tolist() == said
    assert not found.attrs["not_used"]
    assert found["not_read"].isna().all()


def test_the_screen_says_what_the_library_says(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    answer = play(sorting, pressed(BY_KEYS["C"])).piece.answer
    seen = Scarf(
        fibre="silk", weave="twill", hem="hand-rolled", print_technique="hand-screen", uv_glow="faint",
        signature="medium", label="intact", label_make="heat-transfer", origin="china", form="square",
        size="29 x 29 in", motif="psychedelic", palette="acid-neon", layout="bordered",
    )  # fmt: skip
    dating = date_scarf(seen, as_of=NOW)
    assert answer.sentence == dating.sentence
    assert all(reason in dating.sentence for reason in answer.reasons)
    assert len(answer.reasons) == 1  # the label, with all that is read off it
    assert dating.earliest is not None
    assert answer.earliest == f"{dating.earliest}."
    best = next_checks(seen, as_of=NOW).looks
    assert answer.next_look.casefold() == (f"{best[0]}." if best else "").casefold()
    decades = dating.decades()
    bars = {bar.label: bar.chance for bar in answer.bars}
    assert bars["1970s"] == decades[1970]
    assert sum(bars.values()) == pytest.approx(1)
    assert bars["before 1881"] + bars["1880s"] == pytest.approx(decades[1880])


def test_pieces_go_into_the_tray_of_their_era_or_where_they_are_put(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    screen = play(sorting, pressed(BY_KEYS["A"]))
    assert [tray.era for tray in screen.trays] == [
        "before 1940", "1940-59", "1960-79", "1980-99", "from 2000",
    ]  # fmt: skip
    assert sum(tray.chance for tray in screen.trays) == pytest.approx(1)
    likeliest = max(screen.trays, key=lambda tray: tray.chance)
    assert [tray for tray in screen.trays if tray.proposed] == [likeliest]
    eras = date_scarf(Scarf(**A), as_of=NOW)
    assert screen.trays[2].chance == pytest.approx(eras.between(1960, 1979))
    screen = sorting.press("Enter")
    assert {tray.era: tray.count for tray in screen.trays}[likeliest.era] == 1
    play(sorting, ["f", "s"])
    screen = sorting.press("1")
    assert screen.trays[0].count == 1 and screen.written == 2
    play(sorting, ["f", "s"])
    assert "no tray" in sorting.to_tray("1960s").messages[0]
    assert sorting.to_tray("from 2000").trays[4].count == 1
    assert len(rows(tmp_path / "stock.csv")) == 3
    assert sorting.press("0").written == 0
    assert sorting.press("Backspace").written == 3


def test_two_pieces_lie_side_by_side(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    play(sorting, pressed(BY_KEYS["A"]))
    screen = sorting.press("=")
    assert screen.hand == "second" and screen.other is not None
    assert [text for _, text in screen.other.noted] == [*A.values()]
    assert not screen.piece.noted and not screen.comparison
    screen = play(sorting, keys("fphvou"))
    first, second = (
        date_scarf(Scarf(**seen), as_of=NOW)
        for seen in (A, {"fibre": "polyester", "hem": "overlocked", "origin": "usa"})
    )
    assert screen.comparison == str(compare(first, second))
    swapped = sorting.press("=")
    assert swapped.hand == "first" and swapped.other == _without_number(screen)
    after = sorting.press("Enter")  # the first is written, the second is in hand
    assert after.other is None and [t for _, t in after.piece.noted] == [
        "polyester", "overlocked", "usa",
    ]  # fmt: skip
    sorting.press("=")
    assert sorting.press("=").other is None  # of the second nothing was noted: put away
    assert [row["fibre"] for row in rows(tmp_path / "stock.csv")] == ["silk"]


def _without_number(screen: scarfdate.Screen) -> object:
    return replace(screen.piece, id="")


def test_a_screen_is_plain_and_prints(tmp_path: Path) -> None:
    sorting = table(tmp_path)
    play(sorting, pressed(BY_KEYS["A"]))
    for screen in (sorting.screen(), sorting.press("="), sorting.press("h"), sorting.press("/")):
        plain = screen.to_dict()
        assert json.loads(json.dumps(plain)) == plain
        assert screen.piece.answer.sentence.split()[0] in str(screen)
        assert "Trays" in screen._repr_html_()
        for same in (copy.deepcopy(screen), pickle.loads(pickle.dumps(screen))):
            assert same == screen and str(same) == str(screen)
    word = next(word for word in screen.open.words if word.word == "hand-rolled")  # type: ignore[union-attr]
    drawn = sorting.drawing(word.drawing)
    assert drawn["svg"].startswith("<svg") and "hand-rolled" in drawn["caption"]
    with pytest.raises(scarfdate.WordError, match="no drawing"):
        sorting.drawing("hem/none")
    with pytest.raises(scarfdate.WordError, match="no drawing"):
        sorting.drawing("maker/")
