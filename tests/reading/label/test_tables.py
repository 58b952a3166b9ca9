"""What does not hold together in the label tables is named with its file and row; a table alone is enough
for a new mark."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from scarfdate import PriorsError, Scarf, date_scarf, load_priors, read_label
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


@pytest.mark.parametrize(
    ("name", "row", "said"),
    [
        ("label_words.csv", f"invented words,en,fibbre,silk,,{PROVENANCE}", ["column mark", "'fibre'"]),
        ("label_words.csv", f"all silk,en,fibre,silk,,{PROVENANCE}", ["stands there twice"]),
        ("label_words.csv", f"-,en,fibre,silk,,{PROVENANCE}", ["no word that can be read"]),
        ("label_words.csv", f"invented,en,fibre,silk,mars,{PROVENANCE}", ["not a market", "'mars'"]),
        ("label_values.csv", f"fibre,invented,a name,,fibre,silkk,{PROVENANCE}", ["not a value of family fibre", "'silk'"]),
        ("label_values.csv", f"care,,care again,,,,{PROVENANCE}", ["stands there twice"]),
        ("label_shown.csv", f"care,us,2100,140,5,{PROVENANCE}", ["between 0 and 100"]),
        ("label_shown.csv", f"care,us,1700,10,5,{PROVENANCE}", ["years rise"]),
        ("label_shown.csv", f"care,moon,2100,10,5,{PROVENANCE}", ["column market"]),
        ("label_style.csv", f"1900,40,{PROVENANCE}", ["rises from row to row"]),
        ("label_numbers.csv", f"rn,100,1900,1,{PROVENANCE}", ["rise from row to row"]),
        ("label_numbers.csv", f"rn,999999,2030,0,{PROVENANCE}", ["between 0.1 and 50"]),
        ("label_use.csv", f"0,40,{PROVENANCE}", ["rises from row to row"]),
        ("label_rules.csv", f"care,,us,bound,,,2000,,1990,2,,,wrong way,f,memory,{PROVENANCE}", ["lies before not_before"]),
        ("label_rules.csv", f"care,,us,bound,,,,,1990,,,,no lag,f,memory,{PROVENANCE}", ["stock lag above 0"]),
        ("label_rules.csv", f"care,,us,binds,,,,,,,,,role,f,memory,{PROVENANCE}", ["column role", "'bound'"]),
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
        "reading/label_marks",
        "reading/label_phrases",
        "reading/label_reader",
        "reading/label_signs",
        "reading/label_whole",
        "clues/label",
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
