"""The progress file: it goes on where she left, whole or not at all, and what is not ours is refused."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate import ScarfdateError, practice
from scarfdate.practising.progress import ProgressFile
from tests.practising.players import as_the_library, play

AS_OF = 2026


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A file with one round that is over, and two bets of another."""
    path = tmp_path_factory.mktemp("kept") / "mine.json"
    made = practice(6, "hems", progress=path, as_of=AS_OF)
    play(made, "1960s 6, 1970s 4")
    made.round().bet("1955-1972").bet(as_the_library(made.round(), made))
    return path.read_bytes()


def test_it_goes_on_where_she_left(tmp_path: Path, kept: bytes) -> None:
    path = tmp_path / "mine.json"
    path.write_bytes(kept)
    again = practice(progress=path)  # seed, level and year are the file's
    assert (again.settings.seed, again.level.level, again.settings.as_of) == (6, "hems", AS_OF)
    assert len(again.outcomes) == 1 and again.round().number == 2
    assert str(again.round().steps[0].bet) == "1955-1972"
    whole = practice(6, "hems", as_of=AS_OF)
    play(whole, "1960s 6, 1970s 4")
    whole.round().bet("1955-1972").bet(as_the_library(whole.round(), whole))
    assert str(whole.round()) == str(again.round()) and whole.played == again.played
    while not again.round().over and len(again.outcomes) == 1:
        again.round().bet("1960s")
    assert len(practice(progress=path).outcomes) == 2
    assert [one.name for one in tmp_path.iterdir()] == [
        "mine.json"
    ]  # nothing else is left lying about


def test_it_is_whole_or_not_there_at_all(
    tmp_path: Path, kept: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "mine.json"
    path.write_bytes(kept)
    made = practice(progress=path)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(ScarfdateError, match=r"cannot be written .*the bet is laid, not kept"):
        made.round().bet("1960s")
    assert path.read_bytes() == kept and [one.name for one in tmp_path.iterdir()] == ["mine.json"]


def test_of_two_at_once_the_last_one_wins_and_is_told(tmp_path: Path, kept: bytes) -> None:
    path = tmp_path / "mine.json"
    path.write_bytes(kept)
    one, other = practice(progress=path), practice(progress=path)
    one.round().bet("1960s")
    assert one.notes == ()
    other.round().bet("1970s")
    assert "changed by another while you played" in other.notes[0] and other.notes[0] in str(other)
    other.round().bet("1970s")
    assert len(other.notes) == 1
    assert str(practice(progress=path).round().steps[2].bet) == "1970-1979"


def test_other_tables_begin_the_open_round_anew(tmp_path: Path, kept: bytes) -> None:
    plain = json.loads(kept)
    plain["tables"] = "0" * 64
    path = tmp_path / "mine.json"
    path.write_text(json.dumps(plain))
    made = practice(progress=path)
    assert "The tables have changed" in made.notes[0] and made.round().steps == ()
    assert len(made.outcomes) == 1


def _with(**changes: object) -> bytes:
    return json.dumps({"format": "practice of scarfdate", "version": 1} | changes).encode()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is no progress file of practice; name another file"),
        (b"id,fibre\nV001,silk\n", "is no progress file of practice; name another file"),
        (b"[1, 2]", "is no progress file of practice"),
        (b"{}", "is no progress file of practice"),
        (b"[" * 100_000, "is no progress file of practice"),
        (b"\xff\xfe\x00", "is no progress file of practice"),
        (_with(version=2), "has format version '2', and version 1 is read here: a newer version of scarfdate made it; update scarfdate, or name another"),
        (_with(version=0), "has format version '0', and version 1 is read here; name another file"),
        (_with(version="new"), "name another file"),
        (_with(), "is damaged (KeyError"),
        (_with(tables="", settings=[], played=[], open=[]), "is damaged (TypeError"),
    ],
)  # fmt: skip
def test_what_is_none_of_ours_is_refused_and_left_alone(
    tmp_path: Path, content: bytes, says: str
) -> None:
    path = tmp_path / "notes.json"
    path.write_bytes(content)
    with pytest.raises(ScarfdateError) as refusal:
        practice(progress=path)
    assert says in str(refusal.value) and str(refusal.value).startswith("notes.json")
    assert path.read_bytes() == content


@pytest.mark.parametrize("name", ["deal", "again"])
@pytest.mark.parametrize("number", [1_000_000_000, -1])
def test_a_piece_of_a_number_that_was_never_dealt_is_damage(
    tmp_path: Path, kept: bytes, name: str, number: int
) -> None:
    """New pieces are counted on: a number far away would be counted up to for hours."""
    plain = json.loads(kept)
    plain["played"][-1][name] = number
    path = tmp_path / "mine.json"
    path.write_text(json.dumps(plain), encoding="utf-8")
    with pytest.raises(ScarfdateError, match=f"mine.json is damaged .*{name}: 0 to"):
        practice(progress=path)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"seed": 7}, "was begun with seed '6', and now '7' is asked for; ask for the same, or name another"),
        ({"level": "mixed"}, "level 'hems', and now 'mixed' is asked for"),
        ({"pieces": "stock"}, "pieces 'drawn', and now 'stock' is asked for"),
        ({"clues": ["hem"]}, "clues "),
        ({"channel": "auction"}, "channel 'thrift', and now 'auction'"),
        ({"as_of": 2020}, "as_of '2026', and now '2020'"),
    ],
)  # fmt: skip
def test_a_file_of_another_practice_is_refused(
    tmp_path: Path, kept: bytes, given: dict[str, object], says: str
) -> None:
    path = tmp_path / "mine.json"
    path.write_bytes(kept)
    with pytest.raises(ScarfdateError) as refusal:
        practice(progress=path, **given)  # type: ignore[arg-type]
    assert says in str(refusal.value) and path.read_bytes() == kept


def test_a_folder_a_link_and_a_device_are_refused(tmp_path: Path) -> None:
    (tmp_path / "link.json").symlink_to(tmp_path / "elsewhere.json")
    for place in (tmp_path, tmp_path / "link.json", Path("/dev/null"), "nul\0"):
        with pytest.raises(ScarfdateError):
            practice(progress=place)
    with pytest.raises(ScarfdateError, match="cannot be written"):
        practice(progress=tmp_path / "no" / "where.json", as_of=AS_OF).round().bet("1960s")


@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_a_file_damaged_in_any_place_is_refused_or_read(
    tmp_path_factory: pytest.TempPathFactory, kept: bytes, data: st.DataObject
) -> None:
    """Bytes cut out or put in: a refusal by name, or a practice; never another error."""
    first = data.draw(st.integers(0, len(kept)))
    last = data.draw(st.integers(first, min(first + 40, len(kept))))
    more = data.draw(
        st.binary(max_size=6) | st.sampled_from([b"null", b"-1", b'"x"', b"[]", b"1e999"])
    )
    path = tmp_path_factory.mktemp("damaged") / "mine.json"
    path.write_bytes(kept[:first] + more + kept[last:])
    try:
        practice(progress=path).round()
    except ScarfdateError as refusal:
        assert str(refusal)


def test_a_file_too_large_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "mine.json"
    with path.open("wb") as stream:
        stream.truncate(30_000_000)
    with pytest.raises(ScarfdateError, match="too large for a progress file"):
        ProgressFile(path).read()
