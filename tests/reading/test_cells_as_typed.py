"""Cells as people type them, at both doors: words of motifs and hems, sizes with their fringe, blanks in words.

How people write is common practice without a source; what a cell means is worked out by hand. Arithmetic beside it
rests on the inch of 2.54 cm (international yard and pound agreement, 1959) and the momme of 4.340 g per square metre.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from scarfdate import Scarf, ScarfdateError, date_table, load_priors
from scarfdate.clues.kinds import fields_of
from scarfdate.clues.sides import Sides
from scarfdate.reading.cells import Observed
from scarfdate.reading.headings import read_headings
from scarfdate.reading.observation import Observation

ROWS = [
    (row["family"], row["cell"], row["means"])
    for row in csv.DictReader(
        Path(__file__).with_name("cells_as_typed.csv").read_text(encoding="utf-8").splitlines()
    )
]
NOT_READ = "?"  # what cannot be understood is told, and never guessed


def in_words(seen: Observed | None, family: str) -> str:
    """What was seen, as the table of this test writes it."""
    if seen is None:
        return ""
    if isinstance(seen, Observation):
        known = load_priors().vocabulary
        return " | ".join(sorted({v for w, _ in seen.terms for v in known.children(family, w)}))
    if isinstance(seen, Sides):
        return " x ".join(f"{side:.7g}" for side in (seen.width, seen.height) if side is not None)
    (value,) = seen.cells(family).values()
    return f"{value:.5g}" if isinstance(value, (int, float)) else str(value)


@pytest.mark.parametrize(("family", "cell", "means"), ROWS)
def test_a_cell_is_what_it_says(family: str, cell: str, means: str) -> None:
    table = date_table(
        pd.DataFrame({family: [cell], "fibre" if family != "fibre" else "hem": [None]}),
        as_of=2026, columns=["not_read"],
    )  # fmt: skip
    told = table["not_read"].iloc[0]
    if means == NOT_READ:
        assert not pd.isna(told)
        with pytest.raises(ScarfdateError):
            Scarf.from_dict({family: cell})
        return
    assert pd.isna(told), told
    seen = Scarf.from_dict({family: cell}).seen
    assert in_words(seen.get(family), family) == means


@pytest.mark.parametrize(
    ("size", "fringe"),
    [
        ('60" + fringe', "without"), ("60 x 11 in incl fringe", "within"), ("180x50 cm, avec franges", "within"),
        ("180 x 50 cm + 10 cm Fransen", "without"), ("170x70 cm con frange", "within"), ("60 x 11 in", ""),
        ('64" x 22" (not including fringe)', "without"),
    ],
)  # fmt: skip
def test_the_fringe_behind_a_size(size: str, fringe: str) -> None:
    assert Scarf(size=size).seen["size"].fringe == fringe
    # her own column goes before
    assert Scarf(size=size, fringe="without").seen["size"].fringe == "without"


@pytest.mark.parametrize(
    ("text", "state"),
    [("no tag", "none-seen"), ("clipped", "cut-or-fragment"), ("illegible", "intact"), ("?", None), ("n/a", None)],
)  # fmt: skip
def test_what_stands_in_the_place_of_a_label_text(text: str, state: str | None) -> None:
    """It is no text of a label: "no tag" was once read as an intact label without a mark."""
    found = Scarf(label_text=text).seen
    assert "label_text" not in found
    known = load_priors().vocabulary
    words = [word for word, _ in found["label"].terms] if "label" in found else []
    assert [*dict.fromkeys(v for w in words for v in known.children("label", w))] == (
        [] if state is None else [state]
    )
    frame = pd.DataFrame({"label_text": [text], "label": [None]})
    other = pd.DataFrame({"label_text": [None], "label": [state]})
    asked = {"as_of": 2026, "columns": ["year_from", "year_to", "sentence"]}
    pd.testing.assert_frame_equal(date_table(frame, **asked), date_table(other, **asked))  # type: ignore[call-overload]


def test_two_lengths_in_one_number_are_near_each_other() -> None:
    """ "26-27 in" is what lies between; "10-60 in" and "35-1/2 in" are something else."""
    assert in_words(Scarf(size="35-1/2 in").seen["size"], "size") == "90.17"
    with pytest.raises(ScarfdateError):
        Scarf(size="10-60 in")


@pytest.mark.parametrize(
    ("heading", "column", "unit"),
    [
        ("Fabric type", "fibre", ""), ("Material(s)", "fibre", ""), ("Weave/texture", "weave", ""),
        ("Pattern/print", "motif", ""), ("Pattern or design", "motif", ""), ("Colour(s)", "palette", ""),
        ("How hemmed", "hem", ""), ("Stitch count", "stitches_per_inch", ""), ("Black light", "uv_glow", ""),
        ("COO", "origin", ""), ("Designer/brand", "maker", ""), ("Label/tag text", "label_text", ""),
        ("Size (W x L in)", "size", "in"), ("W x L (inches)", "size", "in"), ("Maße (B x H) cm", "size", "cm"),
        ("Dimensions en cm", "size", "cm"), ("Length/Width (in)", "size", "in"), ("L x W", "size", ""),
        ("Afmetingen", "size", ""), ("Kleuren", "palette", ""), ("Zusammensetzung", "fibre", ""),
        ("Size/Condition", "", ""), ("Date/era", "", ""), ("Weight", "", ""), ("Year", "", ""),
    ],
)  # fmt: skip
def test_a_heading_is_what_it_says(heading: str, column: str, unit: str) -> None:
    """Common practice, no source; what is no clue, or two, is left alone ("Year" may be a guess, "Weight" in grams)."""
    priors = load_priors()
    known = [name for one in fields_of(priors).in_turn for name in one.columns]
    found = read_headings([heading], known, priors.headings)
    assert found.place == ({column: 0} if column else {})
    assert found.units == ({column: unit} if unit else {})


def test_points_alone_on_a_label_are_a_cut_and_no_blank() -> None:
    assert in_words(Scarf(label_text="...").seen["label"], "label") == "cut-or-fragment"
    assert "label_text" in Scarf(label_text="...").seen


def test_one_piece_of_a_sheet_is_dated_as_the_sheet_dates_it(tmp_path: Path) -> None:
    """`show --id` counts what is understood of a cell, as `date` does, and both tell the rest."""
    from click.testing import CliRunner

    from scarfdate.cli import cli

    of_words = {
        "fibre",
        "hem",
        "form",
        "motif",
        "palette",
        "layout",
        "print_technique",
        "signature",
    }
    rows = [row for row in ROWS if row[2] != NOT_READ and row[0] in of_words]
    rng = np.random.default_rng(18)
    pieces: list[dict[str, str]] = []
    for number in range(12):
        drawn = (rows[place] for place in rng.permutation(len(rows))[:6])
        pieces.append({"id": f"P{number}"} | {name: f"{cell}, qxvorn" for name, cell, _ in drawn})
    frame = pd.DataFrame(pieces)
    sheet = tmp_path / "sheet.csv"
    frame.to_csv(sheet, index=False)
    dated = date_table(frame, as_of=2026, columns=["sentence", "not_read"])
    assert dated["not_read"].str.contains("qxvorn").all()
    for place, piece in enumerate(pieces):
        how = ["show", str(sheet), "--id", piece["id"], "--as-of", "2026"]
        said = " ".join(CliRunner().invoke(cli, how).output.split())
        assert dated["sentence"].iloc[place] in said, piece
