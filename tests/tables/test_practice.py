"""Levels and pairs of practice: what has no sense is refused with its row, and a folder without them is as before."""

from __future__ import annotations

from pathlib import Path

import pytest

from scarfdate import PriorsError, load_priors, practice
from scarfdate.tables.practice import LEVELS, PAIRS

SHIPPED = Path(load_priors().folder)


@pytest.mark.parametrize(
    ("name", "row", "says"),
    [
        (PAIRS, "hem,hand-rolled,hand-rolled,near,Same.,,memory,,", "is the same word as one"),
        (PAIRS, "hem,hand-roled,raw,near,Hm.,,memory,,", "is not a value of hem"),
        (PAIRS, "hem,raw,silk,near,Hm.,,memory,,", "is not a value of hem"),
        (PAIRS, "hem,raw,selvedge,middling,Hm.,,memory,,", "middling"),
        (LEVELS, "weights,momme,,3,near,Weights alone.,memory,,", "no pair of practice_pairs.csv is of this level"),
        (LEVELS, "edges,hem,,0,near,None.,memory,,", "0"),
    ],
)  # fmt: skip
def test_a_row_without_sense_is_refused(tmp_path: Path, name: str, row: str, says: str) -> None:
    text = (SHIPPED / name).read_text(encoding="utf-8") + row + "\n"
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(PriorsError) as refusal:
        load_priors(tmp_path)
    fault = refusal.value.faults[0]
    assert fault.file == name and fault.row == len(text.splitlines())
    assert says in str(fault)


def test_a_level_of_ones_own_can_be_played(tmp_path: Path) -> None:
    head = (SHIPPED / LEVELS).read_text(encoding="utf-8").splitlines()[0]
    row = "edges,hem,fibre,2,near|clear,Edges and fibres.,memory,,"
    (tmp_path / LEVELS).write_text(f"{head}\n{row}\n", encoding="utf-8")
    own = load_priors(tmp_path)
    played = practice(1, "edges", priors=own, as_of=2026).round()
    for _ in range(3):
        played.bet("1960s")
    assert {*played.outcome.played.order} == {"hem", "fibre"}


def test_the_two_words_of_a_near_pair_are_apart_only_by_the_family() -> None:
    """Every pair stands once, whichever word comes first."""
    tables = load_priors().practice
    assert tables is not None
    named = [(pair.family, frozenset((pair.one, pair.other))) for pair in tables.pairs]
    assert len(set(named)) == len(named)
    assert {pair.pairs for pair in tables.pairs} == {"near", "clear"}
