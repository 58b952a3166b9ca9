"""What sets the edges: the rule or the row that an apprentice can look up."""

from __future__ import annotations

import csv

import pytest

from scarfdate import ScarfdateError, date_scarf, edges, explain, load_priors
from scarfdate.tables.priors import shipped_folder

NOW = 2026


def by_end(seen: dict[str, object], **how: object) -> dict[str, object]:
    return {edge.which: edge for edge in edges(seen, as_of=NOW, **how)}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "which", "words"),
    [
        # Utility clothing and cloth, 1941 to 1952 (fact uk-utility-cc41, read)
        ("CC41", "earliest", "fact uk-utility-cc41"),
        ("CC41", "latest", "fact uk-utility-cc41"),
        # British telephone numbering changes of 16 April 1995 and 22 April 2000 (memory)
        ("Tel 0171 000 0000 PURE SILK", "earliest", "fact uk-london-0171-parallel"),
        ("Tel 0171 000 0000 PURE SILK", "latest", "fact uk-london-0171-parallel"),
    ],
)
def test_a_rule_of_a_label_is_named_with_its_fact(text: str, which: str, words: str) -> None:
    edge = by_end({"label_text": text})[which]
    assert edge.clue == "label_text"
    assert edge.table == "label_rules.csv"
    assert words in edge.source
    assert words in str(edge)


def test_a_number_sets_the_early_edge_and_says_that_it_is_no_date() -> None:
    edge = by_end({"label_text": "100% POLYESTER\nRN 60000\nMADE IN HONG KONG"})["earliest"]
    assert edge.table == "label_numbers.csv"
    assert "numbers stay in use for decades" in str(edge)


def test_a_row_is_the_one_in_the_file() -> None:
    seen = {"fibre": "silk", "hem": "hand-rolled", "motif": "geometric", "layout": "colour-blocks"}
    for edge in edges(seen, as_of=NOW):
        assert edge.line > 1
        with (shipped_folder() / edge.table).open(encoding="utf-8", newline="") as file:
            row = list(csv.reader(file))[edge.line - 1]
        assert edge.basis in row
        assert edge.source in row
        assert abs(int(row[0]) - edge.year) <= 15  # the knot nearest to the edge


def test_the_clue_is_the_heaviest_for_not_beyond_and_the_years_are_the_interval_s() -> None:
    seen = {"fibre": "silk", "hem": "hand-rolled", "layout": "colour-blocks", "depicted_year": 1953}
    found = by_end(seen)
    first, last = date_scarf(seen, as_of=NOW).interval(0.95, kind="central")
    assert (found["earliest"].year, found["latest"].year) == (first, last)
    for which, claim in (("earliest", f"{first} or later"), ("latest", f"{last} or earlier")):
        share = explain(seen, claim, as_of=NOW).share
        assert found[which].clue == max(share, key=lambda name: share[name])
        assert found[which].decibans == pytest.approx(max(share.values()))


def test_without_clues_the_prior_sets_the_edges() -> None:
    for edge in edges({}, as_of=NOW):
        assert edge.clue == "prior"
        assert "whatever the clues" in str(edge)
    with pytest.raises(ScarfdateError, match="a Scarf"):
        edges("silk")  # type: ignore[arg-type]


def test_a_maker_and_a_dated_thing_name_the_row_of_their_tables() -> None:
    maker = next(iter(load_priors().makers.names.values()))
    for seen, table in (({"maker": maker}, "makers.csv"), ({"printed_year": 1962}, "lags.csv")):
        found = by_end(seen)["earliest"]
        assert (found.table, found.clue) == (table, next(iter(seen)))
        with (shipped_folder() / table).open(encoding="utf-8", newline="") as file:
            row = list(csv.reader(file))[found.line - 1]
        assert found.basis in row


def test_the_nearest_dated_fact_stands_beside_the_row_with_its_status() -> None:
    """Facts `fibre-polyester-any-1948` and `occupied-japan-ordered-1947`, as the facts folder has them."""
    early = by_end({"fibre": "polyester", "fibre_method": "burn", "hem": "hand-rolled"})["earliest"]
    assert early.clue == "fibre"
    assert "polyester" in early.fact and early.fact.endswith(
        ("read)", "memory)", "common-practice)")
    )
    assert early.fact in str(early)
    both = by_end({"origin": "occupied-japan", "label": "intact"})
    assert "not before 1947" in both["earliest"].fact


def test_a_number_names_the_row_of_its_series() -> None:
    found = by_end({"label_text": "RN 60000"})["earliest"]
    assert (found.clue, found.table) == ("label_text", "label_numbers.csv")
    with (shipped_folder() / found.table).open(encoding="utf-8", newline="") as file:
        row = list(csv.DictReader(file))[found.line - 2]
    assert (row["series"], row["basis"], row["source"]) == ("rn", found.basis, found.source)


def test_a_rule_of_a_label_tells_its_status() -> None:
    """A mark whose years are a rule's own; words of origin on a label set its edge by their rule."""
    found = by_end({"label_text": "CC41 rayon"})["earliest"]
    assert (found.clue, found.table) == ("label_text", "label_rules.csv")
    assert found.fact in ("read", "memory", "common-practice")
    made_in = by_end({"label_text": "100% silk. Made in Occupied Japan"})["earliest"]
    assert (made_in.clue, made_in.table) == ("label_text", "label_rules.csv")
    assert "occupied japan" in made_in.seen.lower() + made_in.because.lower()


@pytest.mark.parametrize(
    ("seen", "own", "others"),
    [
        ({"fibre": "polyester", "hem": "machine"}, "the polyester", ("acrylic", "nylon")),
        ({"fibre": "nylon"}, "the nylon", ("fact fibre-polyester", "metallic", "escape-clause")),
        ({"origin": "italy", "fibre": "silk"}, "Italy", ("occupied", "Yokohama", "japan")),
    ],
)
def test_no_source_of_another_word_is_given(
    seen: dict[str, str], own: str, others: tuple[str, ...]
) -> None:
    """A row of shares is of all words, and its facts are each of one."""
    told = edges(seen, as_of=NOW)
    assert own in told[0].because or own in told[0].seen
    assert not [word for word in others if word in str(told[0])]
