"""What each clue says of itself: its words, its first year with the reason, what can be a slip of it, its row behind.

Written down by hand from the tables, and asked as the answers ask.
"""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError, replace
from typing import Any

import pytest

from scarfdate import Priors, Scarf, load_priors
from scarfdate.clues.clue import Asked, Clue
from scarfdate.clues.kinds import fields_of
from scarfdate.clues.lags import lags_of
from scarfdate.model.model import compiled
from scarfdate.tables.sheet import Basis
from tests.reference import Reference

AS_OF = 1995

# what was seen, the clue, its words, and its first year with the reason and the source, or None
SAID: list[tuple[dict[str, Any], str, str, tuple[int, str, str] | None]] = [
    ({"fibre": "silk"}, "fibre", "the silk", None),
    ({"fibre": {"silk": 0.7, "rayon": 0.3}}, "fibre", "the silk or the rayon", None),
    ({"fibre": {"silk": 0.4, "rayon": 0.35, "acetate": 0.25}}, "fibre", "the silk or the rayon or another", None),
    ({"fibre": {"silk": 0.85, "rayon": 0.15}}, "fibre", "the fibre (perhaps silk)", None),
    ({"fibre": {"nylon": 0.5, "polyester": 0.5}}, "fibre", "the nylon or the polyester",
     (1939, "there was no nylon earlier", "fact fibre-nylon-1939")),
    ({"fibre": "synthetic"}, "fibre", "the synthetic fibre",
     (1918, "there was no acetate earlier", "fact fibre-acetate-uk-1918")),
    ({"print_technique": "digital"}, "print_technique", "the digital printing",
     (1989, "there was no digital printing earlier", "fact print-inkjet-1991")),
    ({"uv_glow": "bright"}, "uv_glow", "the bright glow under ultraviolet light", None),  # 12 in 100 are older all the same
    ({"hem": "hand-rolled", "stitches_per_inch": 14}, "hem", "the hand-rolled hem (about 14 stitches per inch)", None),
    ({"stitches_per_cm": 4}, "hem", "the stitching (about 10 stitches per inch)", None),
    ({"momme": 6.25}, "weave", "its weight (about 6.3 momme)", None),
    ({"weave": {"twill": 0.6, "satin": 0.4}, "momme": 12}, "weave", "the twill weave or the satin weave (about 12 momme)", None),
    ({"form": "square", "width_cm": 90, "height_cm": 90}, "form", "the square shape (about 89 cm)", None),
    ({"width_cm": 150, "height_cm": 30}, "form", "its size (about 152 cm, about 4.9 times as long as wide)", None),
    ({"maker": "Perriquelle"}, "maker", "the maker's file on Perriquelle", None),
    ({"maker": "perriquelle", "signature": "large"}, "maker", "the maker's file on Perriquelle (large signature)", None),
    ({"printed_year": 1962}, "printed_year", "the year 1962 in the print",
     (1962, "the year 1962 in the print", "lags.csv, common practice")),
    ({"depicted_year": 1937, "depicted_announced": True}, "depicted_year", "the year of its subject (1937)",
     (1934, "the year of its subject (1937), which can have been announced 3 years ahead",
      "lags.csv, common practice")),
    ({"depicted_year": 1937}, "depicted_year", "the year of its subject (1937)",
     (1934, "the year of its subject (1937), which can have been announced 3 years ahead",
      "lags.csv, common practice")),
    ({"depicted_year": 1937, "depicted_announced": False}, "depicted_year", "the year of its subject (1937)",
     (1937, "the year of its subject (1937)", "lags.csv, common practice")),
    ({"acquired": 1962}, "acquired", "the year 1962 in which it was acquired", None),
    ({"known": "1950s"}, "known", "the years known (1950-1959)",
     (1950, "the known years begin in 1950", "known_by.csv, common practice")),
    ({"known": 1950}, "known", "the years known (1950)",
     (1950, "the known years begin in 1950", "known_by.csv, common practice")),
    ({"known_from": 1880}, "known", "the years known (from 1880 on)", None),
    ({"known_to": 1950, "known_by": "museum-record"}, "known",
     "the years known (to 1950 at the latest, museum record)", None),
    ({"label_text": "MADE IN FRANCE"}, "label_text", "the label (country name France)", None),
    ({"label_text": "ALL SILK"}, "label_text", 'the label (the fibre name silk, "all" or "pure" before the fibre)', None),
    ({"label_text": "CA 20000"}, "label_text", "the label (a Canadian identification number)",
     (1972, "a Canadian identification number: Canadian numbers begin on 1 December 1972", "fact ca-number-start")),
    ({"label_text": "RN 01000"}, "label_text", "the label (registration number fur 1000, given about 1954)",
     (1952, "a registration number fur 1000 was given about 1954 (give or take 1 year)", "number table us-rn-fur")),
    ({"label_text": "RN 60000\n© 1950"}, "label_text",
     "the label (a copyright year, registration number 60000, given about 1979)",
     (1970, "a registration number 60000 was given about 1979 (give or take 6 years)", "number table us-rn-linear")),
    ({"label_text": "© 1974\nNEW YORK 16, N.Y.\n100% POLYESTER"}, "label_text",
     "the label (a copyright year, a postal zone number, the fibre name polyester)",
     (1974, "the label has the year 1974", "lags.csv")),
    ({"label_text": "NEW YORK 16, N.Y.\nNYLON"}, "label_text",
     "the label (a postal zone number, the fibre name nylon)",
     (1943, "a postal zone number: zone number between city and state, May 1943 to July 1963; old stationery runs on",
      "fact us-postal-zone-1943")),
]  # fmt: skip

# what was seen, the clue, the year asked for and whether an answer begins with it; the row's file, its words, its fact
BEHIND: list[tuple[dict[str, Any], str, int, bool, str, str, str]] = [
    ({"uv_glow": "bright"}, "uv_glow", 1944, True, "shares/uv_glow.csv", "", "oba-usual-1950"),
    ({"uv_glow": "bright"}, "uv_glow", 1930, True, "shares/uv_glow.csv", "", "oba-discovery-1929"),
    ({"uv_glow": "bright"}, "uv_glow", 1944, False, "shares/uv_glow.csv", "", ""),
    ({"uv_glow": "bright"}, "uv_glow", 1976, True, "shares/uv_glow.csv", "", ""),
    ({"uv_glow": "none"}, "uv_glow", 1944, True, "shares/uv_glow.csv", "", ""),
    ({"label_text": "RN 60000"}, "label_text", 1978, True, "label_numbers.csv",
     "a registration number 60000: given about 1979 (give or take 6 years)", ""),
    ({"label_text": "RN 01000"}, "label_text", 1953, True, "label_numbers.csv",
     "a registration number fur 1000: given about 1954 (give or take 1 year)", ""),
    ({"label_text": "RN 60000"}, "label_text", 1978, False, "label_shown.csv",
     "what the label says, and does not say", ""),
    ({"label_text": "NEW YORK 16, N.Y.\nNYLON"}, "label_text", 1940, True, "label_rules.csv",
     "the fibre name nylon: nylon was first produced in 1939", "read"),
    ({"label_text": "NEW YORK 16, N.Y.\nNYLON"}, "label_text", 1944, True, "label_rules.csv",
     "a postal zone number: zone number", "read"),
    ({"label_text": "MADE IN OCCUPIED JAPAN"}, "label_text", 1946, True, "label_rules.csv",
     "an origin: occupied japan: the order is of February 1947", "read"),
    ({"label_text": "MADE IN OCCUPIED JAPAN"}, "label_text", 1954, False, "label_rules.csv",
     "an origin: occupied japan: the peace treaty ended", "read"),
    ({"label_text": "QUORVELLE"}, "label_text", 1954, False, "label_shown.csv",
     "what the label says, and does not say", ""),
]  # fmt: skip


@pytest.fixture(scope="module")
def priors() -> Priors:
    return load_priors()


def clue_of(priors: Priors, name: str, seen: dict[str, Any]) -> tuple[Clue, Any]:
    model = compiled(priors, "thrift", AS_OF)
    clue = model.clues[model.column[name]]
    return clue, clue.key(Scarf(priors=priors, **seen).seen)[0]


@pytest.mark.parametrize(("seen", "name", "words", "bound"), SAID, ids=lambda one: str(one)[:50])
def test_words_and_first_year(
    priors: Priors, seen: dict[str, Any], name: str, words: str, bound: tuple[int, str, str] | None
) -> None:
    clue, key = clue_of(priors, name, seen)
    assert clue.says(key) == words
    found = clue.bound(key)
    if bound is None:
        assert found is None
    else:
        assert found is not None and found.clue == name
        assert (found.year, found.reason, found.source) == bound


@pytest.mark.parametrize(
    ("seen", "name", "year", "earliest", "file", "words", "fact"), BEHIND, ids=lambda one: str(one)[:50]
)  # fmt: skip
def test_the_row_and_the_fact_nearest_to_a_year(
    priors: Priors, seen: dict[str, Any], name: str, year: int, earliest: bool, file: str, words: str, fact: str
) -> None:  # fmt: skip
    clue, key = clue_of(priors, name, seen)
    found = clue.behind(key, Asked(year, earliest, "fine", "us"))
    assert found.row.file == file
    assert found.says.startswith(words) and (words or not found.says)
    assert fact in found.fact and (fact or not found.fact)


def test_the_row_is_that_of_the_nearest_knot(priors: Priors) -> None:
    """Of the grade and market asked for where the table has them; every row of every shares table is behind its year."""
    seen = {
        "fibre": "silk",
        "hem": "raw",
        "form": "square",
        "label": "intact",
        "signature": "none",
        "origin": "italy",
    }
    for name, word in seen.items():
        table = priors.shares[name]
        clue, key = clue_of(priors, name, {name: word})
        bases = iter(table.bases)
        for (grade, market), (knots, _) in table.series.items():
            rows: list[Basis] = [next(bases) for _ in knots]
            asked = ("fine" if grade == "any" else grade, "us" if market == "any" else market)
            if table.key_of(*asked) != (grade, market):
                continue
            for knot, row in zip(knots, rows, strict=True):
                behind = clue.behind(key, Asked(int(knot), True, *asked)).row
                assert replace(behind, source=row.source) == row
                # the facts of the row that are of other words are left out
                assert {*filter(None, behind.source.split("; "))} <= {*row.source.split("; ")}
    dated, key = clue_of(priors, "printed_year", {"printed_year": 1900})
    for lag, row in zip(priors.lags.series["any"][0], priors.lags.bases, strict=True):
        assert dated.behind(key, Asked(1900 + int(lag), True, "fine", "us")).row == row


@pytest.mark.parametrize("mark", ["rn", "wpl", "fur"])
def test_behind_a_number_stands_the_anchor_of_its_series_nearest_to_it(
    priors: Priors, mark: str
) -> None:
    """And it is the source of the first year that the number bounds."""
    series = priors.label.series["rn-fur" if mark == "fur" else mark]
    seen_behind = seen_bound = 0
    for number, basis in zip(series.numbers.tolist(), series.bases, strict=True):
        text = {"rn": f"RN {number:.0f}", "wpl": f"WPL {number:.0f}", "fur": f"RN {number:05.0f}"}[
            mark
        ]
        clue, key = clue_of(priors, "label_text", {"label_text": text})
        if key is None or not key.marks or not key.marks[0][1].endswith(f"{number:.0f}"):
            continue  # no number that is read as one of the series
        found = clue.behind(key, Asked(int(series.issued(number)[0]), True, "fine", "us"))
        bound = clue.bound(key)
        if found.row.file == "label_numbers.csv":
            seen_behind += 1
            assert found.row == basis
        if bound is not None and "was given about" in bound.reason:
            seen_bound += 1
            assert bound.source == (basis.source or basis.file)
    assert seen_behind and seen_bound


@pytest.mark.parametrize(
    ("seen", "name"),
    [({"printed_year": 1950}, "printed_year"), ({"depicted_year": 1950}, "depicted_year"),
     ({"maker": "Quorvelle"}, "maker"), ({"known_from": 1950, "known_by": "attributed"}, "known"),
     ({"acquired": 1950}, "acquired"), ({"label_text": "100% SILK"}, "label_text")],
)  # fmt: skip
def test_what_else_can_be_a_slip(priors: Priors, seen: dict[str, Any], name: str) -> None:
    """A misread year and a wrong name are of any year; wrong bounds say nothing; a label is that of another piece."""
    clue, key = clue_of(priors, name, seen)
    slip, *of_words = clue.slips(key)
    assert [one.part for one in of_words] == (["fibre"] if name == "label_text" else [])
    assert (slip.part, slip.says, slip.step, slip.rest) == (name, clue.says(key), 1, None)
    years = AS_OF - 1880 + 1
    if name in ("known", "acquired"):
        wrong = priors.known_by["attributed" if name == "known" else "accession-register"].wrong
        assert (slip.chance, slip.seen) == (max(wrong, 1e-12), 1)
    else:
        of_another = priors.altered[name] if name == "label_text" else 1  # the rest is misread
        assert slip.chance == pytest.approx(priors.slips[name] * of_another, rel=1e-12)
        any_year = clue.likelihood(key).mean() if name == "label_text" else 1 / years
        assert slip.seen == pytest.approx(any_year, rel=1e-9)
    assert clue.by_slip(key) == slip.seen


def test_a_name_that_is_not_in_the_file_is_told_in_sixty_letters(priors: Priors) -> None:
    model = compiled(priors, "thrift", AS_OF)
    maker = model.clues[model.column["maker"]]
    key, (warning,) = maker.key(Scarf(maker="q" * 200).seen)
    assert key is None and f"'{'q' * 60}'" in warning and "did you mean" not in warning
    assert maker.key(Scarf(fibre="silk").seen) == (None, ())


def test_what_was_seen_is_frozen_small_and_can_be_a_key(priors: Priors) -> None:
    """Pieces that look the same share a row: what was seen of them is held once, by itself."""
    for field in fields_of(priors):
        for cells in field.specimens()[-2:]:
            one, same = (Scarf(priors=priors, **cells).seen[field.name] for _ in range(2))
            assert one == same and hash(one) == hash(same) and not hasattr(one, "__dict__")
            name = next(iter(one.__dataclass_fields__))  # type: ignore[attr-defined]
            with pytest.raises(FrozenInstanceError):
                setattr(one, name, None)
    model = compiled(priors, "thrift", AS_OF)
    label = clue_of(priors, "label_text", {"label_text": "100% SILK"})[1]
    held: list[Any] = [label, lags_of(priors, "printed_year", "printed_year")]
    held += [measure for clue in model.clues for measure in getattr(clue, "measures", ())]
    for one in held:
        with pytest.raises(FrozenInstanceError):
            setattr(one, next(iter(one.__dataclass_fields__)), None)
    assert not hasattr(label, "__dict__")
    assert hash(label) == hash(clue_of(priors, "label_text", {"label_text": "100% SILK"})[1])


@pytest.mark.parametrize(
    "seen",
    [{"hem": "rolled", "stitches_per_inch": 14}, {"stitches_per_inch": 14}, {"fibre": {"silk": 0.7, "wool": 0.3}},
     {"form": "square", "width_cm": 70, "height_cm": 70}],
)  # fmt: skip
def test_what_can_be_a_slip_of_a_word_and_of_what_is_measured(
    priors: Priors, seen: dict[str, Any]
) -> None:
    """After a slip a word is as likely as it is common, and a measurement is anything within its limits."""
    name = {"stitches_per_inch": "hem"}.get(next(iter(seen)), next(iter(seen)))
    clue, key = clue_of(priors, name, seen)
    common = Reference(priors, "thrift", 1890).common(name)
    word, cells = key
    slips = {slip.part: slip for slip in clue.slips(key)}
    measured = [
        family for family, cell in zip(clue.families[1:], cells, strict=True) if cell is not None
    ]
    assert list(slips) == [name][: word is not None] + measured
    for part, slip in slips.items():
        assert slip.chance == priors.slips[part]
        left = None if len(slips) == 1 else slip.rest
        assert slip.rest == left
        if part == name:
            children = priors.vocabulary.children
            values = priors.vocabulary.values[name]
            each = [w * common[values.index(v)] for t, w in word.terms for v in children(name, t)]
            assert (slip.seen, slip.step) == (pytest.approx(sum(each), rel=1e-9), 1)
            assert left in (None, (None, cells))
        else:
            about = priors.families[part]
            assert slip.seen == pytest.approx(1 / math.log(about.high / about.low), rel=1e-12)
            assert slip.step == pytest.approx(math.log(about.step), rel=1e-12)
            place = clue.families.index(part) - 1
            assert left is None or left == (word, (*cells[:place], None, *cells[place + 1 :]))
    product = math.prod(slip.seen for slip in slips.values())
    assert clue.by_slip(key) == pytest.approx(product, rel=1e-12)


def test_what_holds_if_a_word_is_right(priors: Priors) -> None:
    """Only what can stand by itself: "it is polyester", not "it is hand-rolled"; and nothing of what is measured."""
    for seen, name, part, words in (
        ({"fibre": "polyester"}, "fibre", "fibre", "it is polyester"),
        ({"fibre": {"silk": 0.8, "rayon": 0.2}}, "fibre", "fibre", ""),
        ({"hem": "hand-rolled"}, "hem", "hem", ""),
        ({"weave": "twill", "momme": 12}, "weave", "momme", ""),
        ({"momme": 12}, "weave", "weave", ""),
    ):
        clue, key = clue_of(priors, name, seen)
        assert clue.supposes(key, part) == words


@pytest.mark.parametrize(
    ("seen", "name", "reason"),
    [({"label": "none-seen"}, "label", False), ({"label": {"none-seen": 0.5, "cut-or-fragment": 0.5}}, "label", False),
     ({"fibre": "silk"}, "fibre", True), ({"momme": 12}, "weave", True)],
)  # fmt: skip
def test_a_missing_label_is_no_reason(priors: Priors, seen: dict[str, Any], name: str, reason: bool) -> None:  # fmt: skip
    clue, key = clue_of(priors, name, seen)
    assert clue.is_reason(key) is reason
