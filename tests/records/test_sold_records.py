"""A dealer's sold records: what can teach, what cannot and why; nothing is lost silently."""

from __future__ import annotations

import copy
import datetime
import hashlib
import io
import json
import math
import pickle
import zipfile
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scarfdate import RangeError, Scarf, ScarfdateError, TableError, date_table, load_priors
from scarfdate.columns.names import SOLD, WAYS, known_names
from scarfdate.reading.days import days, sale_date
from scarfdate.reading.money import currency_of, price
from scarfdate.records.known_years import known_years
from scarfdate.records.sold import SoldRecords, dry_run, read_sold, read_sold_columns

NOW = 2024
MONTHS = load_priors().date_words.months
DATA = Path(__file__).parents[2] / "data" / "sold_columns"
GOOD = {"fibre": "silk", "hem": "hand-rolled", "known": "1962", "known_by": "receipt"}
OTHER = {"fibre": "wool", "hem": "raw", "known": "1975", "known_by": "receipt"}


def book(*rows: dict[str, object], **more: object) -> SoldRecords:
    return read_sold(pd.DataFrame(rows, dtype=object), as_of=NOW, **more)


def left(row: dict[str, object], **more: object) -> tuple[str, str]:
    """Kind and reason of a row beside a good one."""
    records = book(row, OTHER, **more)
    assert len(records) + len(records.left_out) == 2
    only = records.left_out.set_index("row").loc[1]
    return only["kind"], only["reason"]


def note_of(records: SoldRecords, part: str) -> str:
    found = [note for note in records.notes if part in note]
    assert found, records.notes
    return found[0]


# --------------------------------------------------------------------------------- known years

# ../shared/facts/worked_examples.md, section 9 (first and last day, here as years), as far as years go
EDTF = [
    ("2008", 2008, 2008), ("2008-12", 2008, 2008), ("2001-02-03", 2001, 2001),
    ("1964/2008", 1964, 2008), ("2004-02-01/2005", 2004, 2005), ("1984?", 1984, 1984),
    ("1984~", 1984, 1984), ("1984%", 1984, 1984), ("199X", 1990, 1999), ("19XX", 1900, 1999),
    ("1999-XX", 1999, 1999), ("/2006", 1, 2006), ("../2006", 1, 2006),
    ("2004-01-01/..", 2004, NOW), ("1984~/2004-06", 1984, 2004),
    ("[1667,1668,1670..1672]", 1667, 1672),
]  # fmt: skip


@pytest.mark.parametrize(("text", "first", "last"), EDTF)
def test_known_reads_edtf(text: str, first: int, last: int) -> None:
    records = book(GOOD | {"known": text})
    assert (records.known_from[0], records.known_to[0]) == (first, last)


@pytest.mark.parametrize("text", ["2016-13-08", "2016-02-39", "2004-(06)?-11", "-0000-01-01"])
def test_what_edtf_calls_not_valid_is_unreadable(text: str) -> None:
    """Not valid in the same section of the examples."""
    kind, reason = left(GOOD | {"known": text})
    assert kind == "unreadable" and "cannot read the date" in reason


@pytest.mark.parametrize(
    ("start", "end", "first", "last"),
    [
        (1958, 1969, 1958, 1969), ("1958", "1969", 1958, 1969), (1958.0, 1969.0, 1958, 1969),
        ("1960s", "197X", 1960, 1979), ("..", "1969", 1, 1969), ("1958", "..", 1958, NOW),
        (None, "before 1950", 1, 1950), ("..", "20th century", 1, 1999),
        (datetime.datetime(1962, 5, 17), "1962-06-01T00:00:00", 1962, 1962),
        (np.datetime64("1962-05-17"), pd.Timestamp(1963, 1, 1), 1962, 1963),
    ],
)  # fmt: skip
def test_two_ends(start: object, end: object, first: int, last: int) -> None:
    records = book({"fibre": "silk", "known_from": start, "known_to": end, "known_by": "receipt"})
    assert (records.known_from[0], records.known_to[0]) == (first, last)


def test_a_blank_end_beside_years_with_two_ends_is_not_guessed() -> None:
    """Of a scarf the last year of `known_to` counts; a book that meant the whole of it would teach otherwise."""
    assert Scarf(known_to="20th century").to_dict() == {"known_to": 1999}
    for row, other in (
        ({"known_from": 1962}, "known_to"), ({"known_to": 1962}, "known_from"),
        ({"known_to": "20th century"}, "known_from"), ({"known_from": "1958/1969"}, "known_to"),
    ):  # fmt: skip
        cells = {"known_from": None, "known_to": None} | row
        kind, reason = left({"fibre": "silk", "known_by": "receipt"} | cells)
        assert kind == "unreadable"
        assert f"{other} is blank" in reason and ".." in reason


def test_both_ways_must_agree() -> None:
    both = GOOD | {"known": "196X", "known_from": 1960, "known_to": 1969}
    assert len(book(both)) == 1
    kind, reason = left(both | {"known_to": 1968})
    assert kind == "unreadable" and "does not agree" in reason


@pytest.mark.parametrize(
    ("cell", "kind"),
    [(None, "no-date"), (" ", "no-date"), (True, "unreadable"), (62, "unreadable"),
     (1962.5, "unreadable"), (b"1962", "unreadable"), ("0000", "unreadable"), ("1900s", "unreadable"),
     ("=1962", "unreadable"), ("x" * 5000, "unreadable"), (math.inf, "unreadable")],
)  # fmt: skip
def test_what_is_no_known_year(cell: object, kind: str) -> None:
    found, reason = left(GOOD | {"known": cell})
    assert found == kind and len(reason) < 600


def test_contradictions_and_the_future() -> None:
    assert left(GOOD | {"known": None, "known_from": 1970, "known_to": 1960})[0] == "contradictory"
    kind, reason = left(GOOD | {"known": "2010", "sold_on": "2005-06-01"})
    assert kind == "contradictory" and "2005" in reason and "2010" in reason
    for future in ({"known": "2031"}, {"known": "1990/2030"}, {"sold_on": "2031-01-01"}):
        kind, reason = left(GOOD | future)
        assert kind == "future" and "after 2024" in reason
    day_after = datetime.date.today() + datetime.timedelta(days=1)
    frame = pd.DataFrame([GOOD | {"sold_on": day_after.isoformat()}, OTHER])
    assert list(read_sold(frame).left_out["kind"]) == ["future"]


def test_an_interval_ends_at_the_sale() -> None:
    records = book(GOOD | {"known": "198X", "sold_on": "1985-03-01"}, OTHER | {"known": "202X"})
    assert records.known_to.tolist() == [1985, NOW]
    assert "rows 1, 2" in note_of(records, "cut off")
    open_end = book(GOOD | {"known": "after 1950", "sold_on": "1999-03-01"})
    assert open_end.known_to[0] == 1999
    assert not open_end.notes


def test_about_is_told() -> None:
    assert "row 1" in note_of(book(GOOD | {"known": "ca. 1962"}, OTHER), "'about'")


# --------------------------------------------------------------------------- how it is known


@pytest.mark.parametrize("word", ["Receipt", "museum record", "MAKER ARCHIVE", "family-history"])
def test_ways_in_any_spelling(word: str) -> None:
    assert book(GOOD | {"known_by": word}).known_by == (word.lower().replace(" ", "-"),)


def test_how_it_is_known_must_be_said() -> None:
    kind, reason = left(GOOD | {"known_by": None})
    assert kind == "no-date" and "how is the date known?" in reason and "maker-archive" in reason
    kind, reason = left(GOOD | {"known_by": "reciept"})
    assert kind == "unreadable" and "did you mean 'receipt'" in reason
    with pytest.raises(TableError, match="no column says how that is known"):
        book({"fibre": "silk", "known": "1962"})


def test_own_judgement_is_refused_by_default() -> None:
    kind, reason = left(GOOD | {"known_by": "own judgment", "judged_by": "hem"})
    assert kind == "circular" and "admit=('own-judgement',)" in reason


def test_own_judgement_is_admitted_without_its_clues() -> None:
    row = GOOD | {"known_by": "own-judgement", "fibre_method": "burn", "motif": "paisley"}
    records = book(row | {"judged_by": "fibre, Hem"}, admit=["own-judgement"])
    seen = records.clues.iloc[0].dropna().to_dict()
    assert seen == {"motif": "paisley"}
    assert left(row, admit=["own-judgement"])[0] == "circular"
    kind, reason = left(row | {"judged_by": "hemm"}, admit=["own-judgement"])
    assert kind == "unreadable" and "did you mean 'hem'" in reason
    kind, reason = left(row | {"judged_by": "fibre; hem; motif"}, admit=["own-judgement"])
    assert kind == "circular" and "no clue is left" in reason


def test_words_of_a_label_do_not_bring_a_judged_clue_back() -> None:
    """`date_table` fills origin and fibre from label_text, so it must go with them."""
    row = GOOD | {"known_by": "own-judgement", "judged_by": "origin", "origin": "italy"}
    row |= {"label_text": "MADE IN ITALY", "weave": "twill"}
    records = book(row, admit="own-judgement")
    assert records.clues.iloc[0].dropna().to_dict() == {
        "fibre": "silk", "hem": "hand-rolled", "weave": "twill",
    }  # fmt: skip


def test_what_was_read_off_a_label_goes_with_it() -> None:
    row = GOOD | {"known_by": "own-judgement", "judged_by": "label_text", "origin": "italy"}
    row |= {"label_text": "MADE IN ITALY", "label_make": "woven", "fibre_method": "label"}
    seen = book(row, admit=["own-judgement"]).clues.iloc[0].dropna().to_dict()
    assert seen == {"hem": "hand-rolled"}


def test_sides_and_counts_go_together() -> None:
    row = GOOD | {"known_by": "own-judgement", "width_in": 30, "height_in": 30, "momme": 12}
    for judged, gone in (
        ("size", {"width_in", "height_in"}),
        ("grams_per_square_metre", {"momme"}),
    ):
        seen = book(row | {"judged_by": judged}, admit=["own-judgement"]).clues.iloc[0].dropna()
        assert {"width_in", "height_in", "momme"} - {*seen.index} == gone


def test_label_law_is_circular_only_beside_the_label() -> None:
    law = GOOD | {"known_by": "label-law"}
    assert len(book(law)) == 1  # no clue was read off the label
    for clue, word in (("label_text", "ALL SILK"), ("label_make", "woven"), ("label", "intact"),
                       ("origin", "italy"), ("fibre_method", "label")):  # fmt: skip
        kind, reason = left(law | {clue: word})
        assert kind == "circular" and "admit=('label-law',)" in reason
        seen = book(law | {clue: word}, admit=["label-law"]).clues.iloc[0].dropna().to_dict()
        expected = {"hem": "hand-rolled"} | ({} if clue == "fibre_method" else {"fibre": "silk"})
        assert seen == expected
    assert left(law | {"label": "none-seen"})[0] == "contradictory"
    assert len(book(law | {"label": "?"})) == 1  # nobody looked
    note = note_of(book(law | {"label_make": "woven"}, OTHER, admit=["label-law"]), "label-law")
    assert note == "label-law: label_make left out, because the date was read from there (row 1)"


def test_dates_on_the_piece_do_not_teach_themselves() -> None:
    print_year = {"printed_year": 1962, "depicted_year": 1961, "depicted_announced": "yes"}
    for way in ("printed-date", "dated-event"):
        records = book(GOOD | print_year | {"known_by": way}, OTHER)
        assert records.clues.iloc[0].dropna().to_dict() == {"fibre": "silk", "hem": "hand-rolled"}
        assert "depicted_year, printed_year not used as a clue" in note_of(records, way)
    kept = book(GOOD | print_year).clues.iloc[0].dropna()
    assert {*print_year} <= {*kept.index}


def test_a_copyright_year_on_the_label_does_not_teach_itself() -> None:
    row = {"known": "1962", "known_by": "printed-date", "hem": "raw"}
    records = book(row | {"label_text": "PURE SILK © 1962 MADE IN ITALY"}, OTHER)
    assert records.clues.iloc[0].dropna().to_dict() == {
        "hem": "raw", "label": "intact", "origin": "italy", "fibre": "silk", "fibre_method": "label",
    }  # fmt: skip
    assert "label_text not used as a clue" in note_of(records, "printed-date")
    plain = book(row | {"label_text": "PURE SILK MADE IN ITALY"}, OTHER)
    assert plain.clues["label_text"][0] == "PURE SILK MADE IN ITALY"


def test_a_museum_record_is_told_of() -> None:
    assert "curators" in note_of(book(GOOD | {"known_by": "museum-record"}, OTHER), "museum")


def test_admit_and_as_of_are_checked() -> None:
    for wrong in (1700, 2500, "2024", True):
        with pytest.raises(RangeError, match="as_of"):
            read_sold(pd.DataFrame([GOOD]), as_of=wrong)
    with pytest.raises(ScarfdateError, match="did you mean 'label-law'"):
        book(GOOD, admit=["label law"])


# ----------------------------------------------------------------------------- copies, counts


def test_ten_copies_count_once() -> None:
    copies = [GOOD | {"id": f"A{n}", "sold_on": "2020-01-02"} for n in range(10)]
    records = book(*copies, OTHER | {"id": "B"})
    assert records.source_row.tolist() == [1, 11]
    assert list(records.left_out["kind"]) == ["duplicate"] * 9
    assert "a copy of row 1" in records.left_out["reason"][0]
    assert note_of(records, "9 rows are copies")
    assert len(book(*copies, copies=True)) == 10
    days_apart = [row | {"sold_on": f"2020-01-0{n + 1}"} for n, row in enumerate(copies[:9])]
    assert len(book(*days_apart)) == 9


def test_a_piece_teaches_once() -> None:
    records = book(GOOD | {"id": "A"}, OTHER | {"id": "A"}, copies=True)
    (kind,), (reason,) = records.left_out["kind"], records.left_out["reason"]
    assert kind == "duplicate" and "stands in row 1" in reason


def test_one_category_only_is_told() -> None:
    records = book(GOOD, OTHER | {"fibre": "pure silk"}, OTHER | {"fibre": None})
    assert "says silk" in note_of(records, "every record that names fibre")
    assert not any("names hem" in note for note in records.notes)
    assert "the same years" in note_of(book(GOOD, OTHER | {"known": 1962}), "every record is known")


def test_a_record_without_a_clue_is_told() -> None:
    assert "row 1" in note_of(book({"known": "1962", "known_by": "receipt"}, OTHER), "no clue")


def test_no_row_can_teach() -> None:
    judged = GOOD | {"known_by": "own-judgement"}
    with pytest.raises(TableError, match="all of 2 records are circular.*judged_by"):
        book(judged, judged | {"hem": "raw"})
    with pytest.raises(TableError, match="the only record is circular"):
        book(judged)
    with pytest.raises(TableError) as caught:
        book(GOOD | {"known": None}, GOOD | {"known_by": "slik"}, judged)
    text = str(caught.value)
    assert "no usable record of 3: 1 unreadable, 1 no-date, 1 circular" in text
    assert "row 2 (index 1): known_by" in text and "'slik'" in text


def test_all_that_is_wrong_with_a_row_is_told_at_once() -> None:
    row = GOOD | {
        "known": "long ago",
        "known_by": "own-judgement",
        "sold_on": "2030-01-01",
    }
    kind, reason = left(row)
    assert kind == "unreadable"
    for part in ("'long ago'", "lies after 2024", "own judgement"):
        assert part in reason


def test_a_cell_that_cannot_be_read_costs_that_cell_as_in_a_dating() -> None:
    """Doubt is weights over words, words of another clue are cells of it, and what is no word is blank: no record is
    lost, and each teaches by the likelihood by which it is dated."""
    cells = ["silk?", "poly/silk", "gzorp", "silk chiffon", "slik"]
    rows = [GOOD | {"fibre": cell, "id": at} for at, cell in enumerate(cells)]
    rows.append(GOOD | {"momme": "heavy", "id": "m"})
    records = book(*rows)
    assert len(records) == len(rows) and records.left_out.empty
    for place, cell in enumerate(cells):
        read = Scarf.from_dict(records.clues.iloc[place].dropna().to_dict())
        seen = read.to_dict().get("fibre")
        if cell in ("gzorp", "slik"):
            assert seen is None
        else:
            known_of = {"hem": "hand-rolled", "fibre": cell}
            assert read.to_dict() == Scarf.from_dict(known_of).to_dict()
    assert records.clues["weave"].tolist()[3] == "chiffon"
    for part in (
        "no word 'gzorp' is known; it is left out (row 3)",
        "did you mean 'silk'",
        "momme: a number",
    ):
        assert note_of(records, part)
    told = dry_run(pd.DataFrame(rows, dtype=object), as_of=NOW).rows
    assert "silk 70 %" in told["clues"][0] and (told["left_out"] == "").all()
    judged = book(
        {"fibre": "silk chiffon", "hem": "raw", "known": "1962", "known_by": "own-judgement",
         "judged_by": "weave", "weave": None},
        OTHER, admit=["own-judgement"],
    )  # fmt: skip
    assert (
        judged.clues["weave"].isna().all()
    )  # what a cell says of another clue is judged from, too


def test_what_is_odd_is_told_with_its_row() -> None:
    records = book(OTHER, GOOD | {"momme": 100})
    assert "unusual" in note_of(records, "row 2")


def test_remarks_that_differ_in_numbers_are_one() -> None:
    rows = [OTHER | {"momme": 100 + n, "id": n} for n in range(9)]
    note = note_of(book(*rows), "unusual")
    assert note == (
        "weight of 100 momme is unusual (usual: 3 to 80), or the like (rows 1, 2, 3, 4, 5 and 4 more)"
    )
    shown = dry_run(pd.DataFrame(rows), as_of=NOW)
    assert "weight of 108 momme" in shown.rows["remarks"][8]


def test_the_clues_are_those_that_date_table_takes() -> None:
    records = book(GOOD | {"id": "A", "note_mine": "x", "width_cm": "35 in"}, OTHER | {"id": "B"})
    assert date_table(records.clues, as_of=NOW)["errors"].isna().all()
    # drawn with repeats, no row is refused for its id
    assert date_table(records.take([0, 0, 1]).clues, as_of=NOW)["errors"].isna().all()


def test_cells_beyond_all_bounds() -> None:
    huge = 10**5000
    names = ("id", "sold_price", "costs", "momme")
    records = book(OTHER, *({name: huge} | GOOD for name in names), copies=True)
    assert records.source_row.tolist() == [1, 2, 3, 4, 5]
    assert note_of(records, "momme: a finite number")
    assert left(GOOD | {"known": huge})[0] == "unreadable"
    assert book(GOOD | {"known": "0000/1950"}).known_from[0] == 1  # there is no year 0


def test_take() -> None:
    records = book(
        GOOD | {"id": "A", "sold_price": 3}, OTHER | {"id": "B"}, GOOD | {"known_by": "x"}
    )
    some = records.take([1, 0, 1])
    assert some.known_from.tolist() == [1975, 1962, 1975] and len(some) == 3
    assert some.sales["id"].tolist() == ["B", "A", "B"]
    assert some.clues.index.tolist() == [0, 1, 2]
    assert some.source_row.tolist() == [2, 1, 2] and some.file_hash == records.file_hash
    assert records.take(np.array([False, True])).known_by == ("receipt",)
    assert len(records.take([])) == 0
    for wrong in ([2], [-1], [True], [0.5], [[0]], "A", [[0], [0, 1]], None):
        with pytest.raises(RangeError):
            records.take(wrong)
    frame = records.to_frame()
    assert frame["price"][0] == 3 and frame["fibre"].tolist() == ["silk", "wool"]
    assert "2 records of 3 can teach" in str(records)


def test_records_can_be_sent_and_copied_and_say_the_same() -> None:
    rows = [
        GOOD | {"sold_price": "40 EUR", "sold_on": "2020-01-02", "note": "x"},
        OTHER,
        {"known": 3},
    ]
    records, shown = book(*rows), dry_run(pd.DataFrame(rows, dtype=object), as_of=NOW)
    for again in (
        *(pickle.loads(pickle.dumps(records, protocol)) for protocol in (2, 5)),
        copy.copy(records),
        copy.deepcopy(records),
    ):
        assert str(again) == str(records) and len(again) == 2
        assert again.to_frame().equals(records.to_frame())
        assert again.left_out.equals(records.left_out)
        assert again.known_by == records.known_by and again.file_hash == records.file_hash
        assert again.take([1]).to_frame().equals(records.take([1]).to_frame())
    for told in (pickle.loads(pickle.dumps(shown)), copy.copy(shown), copy.deepcopy(shown)):
        assert str(told) == str(shown)
        assert told.rows.equals(shown.rows) and told.columns.equals(shown.columns)


# -------------------------------------------------------------------------------- the sale


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        # ISO 8601 calendar dates, with a clock time or without
        ("2024-03-05", None, (2024, 3, 5)), ("2024-03-05T23:59:59Z", None, (2024, 3, 5)),
        ("2024-03-05 08:15", "month-day-year", (2024, 3, 5)),
        ("2024-03-05T08:15:00+02:00", None, (2024, 3, 5)),
        # read by hand in the order stated
        ("03/05/2024", "day-month-year", (2024, 5, 3)), ("03/05/2024", "month-day-year", (2024, 3, 5)),
        ("3.5.2024", "day-month-year", (2024, 5, 3)), ("05. 03. 2024", "day-month-year", (2024, 3, 5)),
        ("2024/03/05", "year-month-day", (2024, 3, 5)), ("2024-3-5", "year-month-day", (2024, 3, 5)),
        ("5 March 2024", None, (2024, 3, 5)), ("Mar 5, 2024", None, (2024, 3, 5)),
        ("5-Mar-2024", None, (2024, 3, 5)), ("Sept 5 2024 4:05 PM", None, (2024, 9, 5)),
        (datetime.datetime(2024, 3, 5, 8), None, (2024, 3, 5)),
        (np.datetime64("2024-03-05T08"), None, (2024, 3, 5)),
    ],
)  # fmt: skip
def test_sale_dates(text: object, order: str | None, day: tuple[int, int, int]) -> None:
    assert sale_date(text, order, MONTHS) == (datetime.date(*day), "", False)


@pytest.mark.parametrize(
    ("text", "order", "why"),
    [
        ("03/05/2024", None, "never guessed"), ("03/05/24", None, "never guessed"),
        ("03/13/2024", "day-month-year", "in no calendar"), ("30/02/2024", "day-month-year", "calendar"),
        ("2023-02-29", None, "in no calendar"), ("24/05/03", "year-month-day", "without its century"),
        ("2024/03/05", "day-month-year", "not in the stated order"), ("2024", None, "not a date"),
        ("5 Maj 2024", None, "a month that is not known"), ("yesterday", None, "not a date"),
        (45356, None, "not a date"), ("=TODAY()", None, "not a date"), ("9" * 10**6, None, "not a date"),
        ("٠٣/٠٥/٢٠٢٤", "day-month-year", "not a date"),
    ],
)  # fmt: skip
def test_what_is_no_sale_date(text: object, order: str | None, why: str) -> None:
    day, problem, _ = sale_date(text, order, MONTHS)
    assert day is None and why in problem


@pytest.mark.parametrize(
    ("cell", "decimal", "stated", "amount", "currency"),
    [
        ("40", None, "", 40, ""), ("40,50", None, "", 40.5, ""), ("1.234,50", None, "", 1234.5, ""), ("40.5", None, "", 40.5, ""), ("40.50", None, "EUR", 40.5, "EUR"),
        ("1.234", ",", "", 1234, ""), ("1.234", ".", "", 1.234, ""), ("1,234", ".", "", 1234, ""),
        ("1,234", ",", "", 1.234, ""), ("1.234.567,89 €", ",", "", 1234567.89, "EUR"),
        ("€ 1 234,50", ",", "", 1234.5, "EUR"), ("CHF 1'234.50", ".", "", 1234.5, "CHF"),
        ("40.-", None, "", 40, ""), ("40,- kr.", ",", "", 40, "SEK"), ("USD40", None, "", 40, "USD"),
        ("$40", None, "", 40, "$"), ("$40", None, "CAD", 40, "CAD"), ("$40 AUD", None, "", 40, "AUD"),
        ("US $40", None, "", 40, "US$"), ("£12.50", ".", "GBP", 12.5, "GBP"),
        (40, ",", "EUR", 40, "EUR"), (6.075, ",", "", 6.075, ""), (Decimal("7.25"), None, "", 7.25, ""),
        (np.float64(3), None, "", 3, ""), ("1 234", ".", "", 1234, ""),
    ],
)  # fmt: skip
def test_prices(
    cell: object, decimal: str | None, stated: str, amount: float, currency: str
) -> None:
    """By hand; codes by their form in ISO 4217, three capital letters."""
    found = price(cell, decimal, {"kr": "SEK"}, stated)
    assert found == (pytest.approx(amount, rel=1e-15), currency, "")


@pytest.mark.parametrize(
    ("cell", "decimal", "stated", "why"),
    [
        ("sold for forty", None, "", "not a price"), ("sold for 40", None, "", "not a price"),
        ("for 40", None, "", "not a price"), ("40 kr", None, "", "[words.sold_currency]"),
        ("1,234", None, "", "never guessed"), ("1.234", None, "", "never guessed"),
        ("40,50", ".", "", 'sign is "."'),
        ("1.23,4", ".", "", 'sign is "."'), ("12.34.567", ",", "", 'sign is ","'),
        ("-40", None, "", "below 0"), (-40, None, "", "below 0"), ("−40 €", None, "", "below 0"),
        ("(40)", None, "", "not a price"), ("0", None, "", "no sale"), (math.inf, None, "", "not a price"),
        ("1e9", None, "", "not a price"), ("nan", None, "", "not a price"), (True, None, "", "not a price"),
        (10**400, None, "", "not a price"), ("9" * 13, ".", "", "more than"), (1e12, None, "", "more than"),
        ("40 EUR", None, "GBP", "in EUR and in GBP"), ("$40", None, "GBP", "GBP is not written with"),
        ("USD 40 CAD", None, "", "in USD and in CAD"), ("40-50", None, "", "not a price"),
        ("=A1*2", None, "", "not a price"), (".50", None, "", "not a price"), ("40 50", None, "", "never"),
        ("٤٠", None, "", "not a price"), (b"40", None, "", "not a price"), ("4" * 10**6, ".", "", "not a price"),
    ],
)  # fmt: skip
def test_what_is_no_price(cell: object, decimal: str | None, stated: str, why: str) -> None:
    found = price(cell, decimal, {}, stated)
    assert math.isnan(found.amount) and why in found.problem


def test_currencies_alone() -> None:
    assert currency_of("eur", {}) == ("EUR", "")
    assert currency_of("€", {}) == ("EUR", "")
    assert currency_of("Kčs", {"kcs": "CSK"}) == ("CSK", "")
    assert "not known" in currency_of("pounds", {})[1]


def test_days() -> None:
    assert [days(cell)[0] for cell in (30, "30", "30 days", "1 day", 0, "30.0")] == [
        30,
        30,
        30,
        1,
        0,
        30,
    ]
    for wrong in (-1, "-1", "a month", True, math.inf, 1e9, "3 weeks"):
        assert math.isnan(days(wrong)[0]) and days(wrong)[1]


def test_a_sale_that_cannot_be_read_still_teaches() -> None:
    row = GOOD | {"sold_price": "sold for forty", "sold_on": "03/05/2020", "days_to_sell": "long",
                  "costs": -3}  # fmt: skip
    records = book(OTHER, row)
    assert len(records) == 2 and records.left_out.empty
    assert records.sales["price"].isna().all() and records.sales["sold_on"].isna().all()
    assert "row 2; such as 'sold for forty'" in note_of(records, "sold_price was not read")
    assert "state date_order" in note_of(records, "sold_on was not read")
    assert note_of(records, "days_to_sell was not read") and note_of(records, "costs was not read")


def test_days_from_the_day_of_listing() -> None:
    # 29 February to 1 April 2024: 1 day left of February, 31 of March
    row = GOOD | {"listed_on": "2024-02-29", "sold_on": "2024-04-01", "days_to_sell": None}
    records = book(row, OTHER | {"listed_on": "2024-04-02", "sold_on": "2024-04-01"})
    assert records.sales["days_to_sell"][0] == 32 and np.isnan(records.sales["days_to_sell"][1])
    assert note_of(records, "lies after sold_on")
    stated = book(row | {"days_to_sell": 30})
    assert stated.sales["days_to_sell"][0] == 30 and note_of(stated, "differs")


def test_costs_are_in_the_currency_of_the_price() -> None:
    records = book(GOOD | {"sold_price": "40 EUR", "costs": "0"}, OTHER | {"sold_price": "40 EUR",
                   "costs": "3 USD"})  # fmt: skip
    assert records.sales["costs"][0] == 0 and np.isnan(records.sales["costs"][1])
    assert note_of(records, "another currency")


def test_a_sign_of_several_currencies_is_told() -> None:
    records = book(
        GOOD | {"sold_price": "$40"}, OTHER | {"sold_price": "$40", "sold_currency": "cad"}
    )
    assert records.sales["currency"].tolist() == ["$", "CAD"]
    assert "(row 1)" in note_of(records, "several currencies")


def test_types_of_the_sales() -> None:
    sales = book(GOOD | {"sold_on": "1650-01-02", "known": "1640"}, OTHER).sales
    assert sales["sold_on"].dtype.kind == "M" and pd.isna(sales["sold_on"][1])
    assert sales["sold_on"][0].year == 1650
    assert {sales[name].dtype.kind for name in ("price", "days_to_sell", "costs")} == {"f"}
    assert sales["channel"].tolist() == ["", ""] and sales["currency"].tolist() == ["", ""]


# ------------------------------------------------------------------------------ files and maps


def test_the_shop_export() -> None:
    """Rows counted, and prices converted, by hand."""
    path, columns = DATA / "shop_export.csv", DATA / "from_a_shop_export.toml"
    records = read_sold(path, columns=columns, as_of=NOW)
    assert records.source_row.tolist() == [1, 2, 3, 4, 7]
    assert records.left_out["row"].tolist() == [5, 6, 8]
    assert records.left_out["kind"].tolist() == ["circular", "circular", "no-date"]
    assert records.left_out["place"].tolist() == ["line 6", "line 7", "line 9"]
    assert records.sales["price"].fillna(-1).tolist() == [48, 1250, 19.5, 35, -1]
    assert records.sales["days_to_sell"].tolist() == [8, 61, 24, 25, 3]
    assert set(records.sales["currency"]) == {"EUR"}  # row 7: that of its costs
    assert records.clues["note"][0] == "Tuch mit Ankern; invented"
    assert records.clues["fibre"].tolist() == ["silk", "silk", "wool", "rayon", "silk"]
    assert records.file_hash == hashlib.sha256(path.read_bytes()).hexdigest()
    admitted = read_sold(path, columns=columns, as_of=NOW, admit=("own-judgement", "label-law"))
    assert admitted.source_row.tolist() == [1, 2, 3, 4, 5, 6, 7]
    # judged by "Rand", the table's own name of the column hem
    assert admitted.clues.loc[4, ["fibre", "hem"]].tolist() == ["silk", None]
    assert admitted.clues["label_text"].isna().all()


def test_the_till_export() -> None:
    records = read_sold(
        DATA / "till_export.csv", columns=DATA / "from_a_till_export.toml", as_of=NOW
    )
    assert records.known_from.tolist() == [1949, 1972, 1, 1983]
    assert records.sales["price"].tolist() == [1040, 14, 22.5, 18]
    assert records.sales["sold_on"].dt.day.tolist() == [13, 14, 14, 15]


def test_the_dry_run_shows_rows_and_columns() -> None:
    shown = dry_run(DATA / "shop_export.csv", columns=DATA / "from_a_shop_export.toml", as_of=NOW)
    assert len(shown.rows) == 8 and shown.rows["left_out"].ne("").sum() == 3
    fate = shown.columns.set_index("column")
    assert fate.loc["Stoff", "read_as"] == "fibre" and fate.loc["Versand", "remark"] == "ignored"
    text = str(shown)
    assert "row 2 (line 3): 1961/1963 by maker-archive" in text
    assert "sold for 1250.00 EUR on 2024-04-06" in text
    assert "LEFT OUT, circular" in text


def test_the_dry_run_shows_what_read_sold_refuses() -> None:
    frame = pd.DataFrame([GOOD | {"known_by": "own-judgement", "fibr": "silk"}])
    shown = dry_run(frame, as_of=NOW)
    assert "circular" in shown.rows["left_out"][0]
    assert "did you mean 'fibre'" in shown.columns.set_index("column").loc["fibr", "remark"]
    with pytest.raises(TableError):
        read_sold(frame, as_of=NOW)


def test_a_column_that_is_not_read_is_told() -> None:
    assert "did you mean 'weave'" in note_of(book(GOOD | {"weav": "twill"}), "'weav' is not read")
    mapped = {"known": "Year", "known_by": "Why", "hem": "Edge"}
    frame = pd.DataFrame([{"Year": "1962", "Why": "receipt", "Edge": "raw", "label": "a brand"}])
    records = read_sold(frame, columns=mapped, as_of=NOW)
    assert "label" not in records.clues
    assert "not in the map" in note_of(records, "'label' is not read")


def test_a_map_tells_all_of_its_faults(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text(
        """
        curency = "EUR"
        currency = "euro"
        date_order = "DMY"
        decimal = ";"
        ignore = "Postage"
        [columns]
        fibr = "Material"
        hem = ["A", "B"]
        weave = 3
        [words.fibre]
        Seide = "slik"
        [words.known_by]
        Zettel = "reciept"
        [constants]
        id = "A"
        """
    )
    with pytest.raises(TableError) as caught:
        read_sold_columns(path)
    for part in ("did you mean 'currency'", "'euro'", "'DMY'", "';'", "'Postage'", "did you mean 'fibre'",
                 "hem must be one column", "weave must be", "'slik'", "'reciept'", "[constants] id"):  # fmt: skip
        assert part in str(caught.value)


@pytest.mark.parametrize(
    ("content", "why"),
    [(b"\xff\xfe", "UTF-8"), (b"columns = 3", r"write \[columns\]"), (b"a = ", "not TOML"),
     (b"a=" + b"[" * 50_000, "no map|not TOML"), (b"#" * (2**20 + 1), "more than")],
)  # fmt: skip
def test_files_that_are_no_map(tmp_path: Path, content: bytes, why: str) -> None:
    path = tmp_path / "map.toml"
    path.write_bytes(content)
    with pytest.raises(TableError, match=why):
        read_sold(pd.DataFrame([GOOD]), columns=path)
    with pytest.raises(TableError, match="no such file"):
        read_sold(pd.DataFrame([GOOD]), columns=tmp_path / "none.toml")
    with pytest.raises(TableError, match="a mapping"):
        read_sold(pd.DataFrame([GOOD]), columns=3)


def test_a_map_that_does_not_fit_the_table() -> None:
    frame = pd.DataFrame([{"Year": "1962", "Material": "silk", "material": "wool"}])
    with pytest.raises(TableError) as caught:
        read_sold(frame, columns={"known": "Yaer", "fibre": "MATERIAL", "known_by": "How"})
    for part in ("did you mean 'Year'", "more than one column", "no such column"):
        assert part in str(caught.value)
    with pytest.raises(TableError, match="known_from and known_to"):
        read_sold(pd.DataFrame([{"fibre": "silk"}]))
    with pytest.raises(TableError, match="stands there twice"):
        read_sold(
            pd.DataFrame(
                [["1962", "receipt", "a", "b"]], columns=["known", "known_by", "hem", "Hem"]
            )
        )


def test_words_and_constants() -> None:
    whole = {
        "words": {"fibre": {"Seide": "silk", "nix": ""}, "known": {"weiß nicht": ""}},
        "constants": {"known_by": "receipt", "fibre": "wool"},
    }
    frame = pd.DataFrame({"fibre": ["SEIDE", "nix", None], "known": ["1962", "1970", "weiß nicht"]})
    records = read_sold(frame, columns=whole, as_of=NOW)
    assert records.clues["fibre"].tolist() == ["silk", "wool"]
    assert records.left_out["kind"].tolist() == ["no-date"]


def test_several_columns_are_joined() -> None:
    frame = pd.DataFrame(
        [{"y": 1962, "why": "receipt", "front": "ALL SILK", "back": "MADE IN ITALY"}]
    )
    columns = {"known": "y", "known_by": "why", "label_text": ["front", "back"]}
    assert read_sold(frame, columns=columns).clues["label_text"][0] == "ALL SILK; MADE IN ITALY"


def test_numbers_of_a_spreadsheet_stay_numbers(tmp_path: Path) -> None:
    """6.075 in a cell is a number, though the decimal sign of texts is a comma."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.append(["nothing here"])
    page = book.create_sheet("Sold")
    page.append(["fibre", "known", "known_by", "sold_on", "sold_price", "costs"])
    page.append(["silk", 1962, "receipt", datetime.date(2024, 3, 5), "1.234,50", 6.075])
    page.append([])
    page.append(["wool", datetime.datetime(1970, 1, 1), "receipt", None, None, "=1+1"])
    path = tmp_path / "sold.xlsx"
    book.save(path)
    columns = {"decimal": ",", "columns": {name: name for name in
               ("fibre", "known", "known_by", "sold_on", "sold_price", "costs")}}  # fmt: skip
    records = read_sold(path, sheet="Sold", columns=columns, as_of=NOW)
    assert records.sales["costs"][0] == 6.075 and records.sales["price"][0] == 1234.5
    assert records.sales["sold_on"][0] == pd.Timestamp(2024, 3, 5)
    assert records.known_from.tolist() == [1962, 1970]
    assert records.source_row.tolist() == [1, 2]
    assert len(read_sold(path.open("rb"), sheet=2, columns=columns, as_of=NOW)) == 2
    with pytest.raises(TableError, match="did you mean 'Sold'"):
        read_sold(path, sheet="Solt")
    for wrong in (0, 3, True):
        with pytest.raises(TableError, match="no sheet"):
            read_sold(path, sheet=wrong)
    with pytest.raises(TableError, match="not one row"):
        read_sold(path)
    (tmp_path / "broken.xlsx").write_bytes(b"PK\3\4" + path.read_bytes()[4:200])
    with pytest.raises(TableError, match="not a spreadsheet"):
        read_sold(tmp_path / "broken.xlsx")
    (tmp_path / "text.xlsx").write_bytes(b"fibre,known\nsilk,1962\n")
    with pytest.raises(TableError, match="not a spreadsheet"):
        read_sold(tmp_path / "text.xlsx")


def test_what_a_spreadsheet_says_of_its_own_size_does_not_matter(tmp_path: Path) -> None:
    """The element dimension of ECMA-376 is a hint; here it names one cell of a full sheet."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for cells in (["fibre", "known", "known_by"], ["silk", 1962, "receipt"]):
        book.active.append(cells)
    book.save(tmp_path / "whole.xlsx")
    with (
        zipfile.ZipFile(tmp_path / "whole.xlsx") as whole,
        zipfile.ZipFile(tmp_path / "says.xlsx", "w") as says,
    ):
        for part in whole.namelist():
            text = whole.read(part)
            if part == "xl/worksheets/sheet1.xml":
                assert b'ref="A1:C2"' in text
                text = text.replace(b'ref="A1:C2"', b'ref="A1:A1"')
            says.writestr(part, text)
    assert len(read_sold(tmp_path / "says.xlsx", as_of=NOW)) == 1


def test_numbers_of_json_stay_numbers(tmp_path: Path) -> None:
    rows = [GOOD | {"known": 1962, "costs": 6.075, "fibre": {"silk": 0.8, "rayon": 0.2}}]
    path = tmp_path / "sold.json"
    path.write_text(json.dumps(rows))
    columns = {"decimal": ",", "constants": {"sold_channel": "fair"}}
    for source in (path, io.StringIO(json.dumps(rows)), io.BytesIO(json.dumps(rows).encode())):
        records = read_sold(source, columns=columns)
        assert records.sales["costs"][0] == 6.075 and records.sales["channel"][0] == "fair"
        assert date_table(records.clues)["errors"].isna().all()


@pytest.mark.parametrize(
    ("content", "why"),
    [(b"", "empty"), (b"known,known_by\n", "not one row"), (b"known\n\x8e\n", "not UTF-8"),
     (b"known,known_by\n1962\n", "too few cells"), (b"known,known_by\n19\x0062,receipt\n", "NUL")],
)  # fmt: skip
def test_files_that_are_no_table(tmp_path: Path, content: bytes, why: str) -> None:
    path = tmp_path / "sold.csv"
    path.write_bytes(content)
    with pytest.raises(TableError, match=why):
        read_sold(path)
    with pytest.raises(TableError, match=why):
        read_sold(io.BytesIO(content))
    for name in ("none.csv", "none.json", "none.xlsx", "none.doc"):
        with pytest.raises(TableError):
            read_sold(tmp_path / name)
    with pytest.raises(TableError, match="folder"):
        read_sold(_folder(tmp_path))
    with pytest.raises(TableError, match="leave sheet out"):
        read_sold(path, sheet="one")


def _folder(tmp_path: Path) -> Path:
    folder = tmp_path / "folder.json"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.mark.parametrize(
    "source",
    [None, 3, [], {}, pd.DataFrame(), pd.DataFrame({1: ["a"]}), pd.DataFrame({"known": ["a\0"]}),
     pd.DataFrame({"known": pd.Series(["a\ud800"], dtype=object)}), pd.DataFrame({"known": ["x" * (2**20 + 1)]})],
)  # fmt: skip
def test_sources_that_are_no_table(source: object) -> None:
    with pytest.raises(TableError):
        read_sold(source)


def test_the_hash_of_a_frame_is_that_of_its_cells() -> None:
    one = book(GOOD, OTHER).file_hash
    assert one == book(GOOD, OTHER).file_hash != book(OTHER, GOOD).file_hash
    assert len(one) == 64


def test_nothing_runs_and_nothing_is_lost_of_cells_that_look_like_formulas() -> None:
    records = book(GOOD | {"note": "=1+1", "id": "=cmd"}, OTHER | {"fibre": "=1+1"})
    assert records.clues["note"][0] == "=1+1" and records.sales["id"][0] == "=cmd"
    assert records.clues["fibre"].tolist() == ["silk", None] and note_of(records, "'=1+1'")


# ------------------------------------------------------------------------------------ any cells

PRIORS = load_priors()
NAMES = known_names(SOLD, PRIORS)
WORDS = st.sampled_from(
    ["1962", "196X", "..", "1958/1969", "receipt", "own-judgement", "label-law", "printed-date", "silk",
     "40,50 €", "$1,234.50", "2020-01-02", "03/04/2020", "hem; fibre", "none-seen", "© 1962 ALL SILK",
     '{"silk": 0.5, "wool": 0.5}', "90 x 90 cm", "=1+1", "", " ", "?", "ca. 1960", "label", "yes"]
)  # fmt: skip
CELLS = st.one_of(
    # a NUL refuses the table, as it does a file
    WORDS, st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12), st.none(), st.booleans(), st.integers(), st.floats(),
    st.decimals(), st.dates(), st.datetimes(), st.binary(max_size=4),
    st.lists(st.integers(), max_size=2), st.dictionaries(st.text(max_size=4), st.floats(), max_size=2),
    st.just(pd.NaT), st.just(pd.NA), st.just(np.datetime64("NaT", "D")), st.just(np.timedelta64(3, "D")),
)  # fmt: skip


@pytest.mark.slow
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_any_cells_are_records_or_are_left_out(data: st.DataObject) -> None:
    """Property: beside a sound row, whatever the cells, rows in = usable + left out."""
    more = data.draw(st.lists(st.sampled_from(NAMES), max_size=8, unique=True))
    names = list(dict.fromkeys(["known", "known_by", *more]))
    rows = data.draw(st.integers(1, 5))
    likely = {
        "known": st.sampled_from(["1962", "196X", "1958/1969", "ca. 1960", "after 1950", 1970]),
        "known_by": st.sampled_from([*WAYS, "Receipt"]),
    }
    # a row that is sound, so that the others are counted and not refused together
    sound = {"known": 1962, "known_by": "receipt"}
    cells = {}
    for name in names:
        cell = st.one_of(likely.get(name, WORDS), likely.get(name, WORDS), CELLS)
        drawn = data.draw(st.lists(cell, min_size=rows, max_size=rows))
        cells[name] = pd.Series([sound.get(name), *drawn], dtype=object)
    frame = pd.DataFrame(cells)
    admit = data.draw(st.sampled_from([(), ("own-judgement",), ("own-judgement", "label-law")]))
    records = read_sold(frame, as_of=NOW, admit=admit, copies=data.draw(st.booleans()))
    assert len(records) + len(records.left_out) == rows + 1
    assert sorted([*records.source_row, *records.left_out["row"]]) == list(range(1, rows + 2))
    assert (records.known_from <= records.known_to).all() and (records.known_to <= NOW).all()
    assert records.left_out["reason"].str.len().gt(0).all()
    assert date_table(records.clues, as_of=NOW)["errors"].isna().all()
    assert {"own-judgement"}.isdisjoint(records.known_by) or "own-judgement" in admit
    assert str(dry_run(frame, as_of=NOW, admit=admit))


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(CELLS, st.sampled_from([None, ".", ","]), st.sampled_from([None, "day-month-year"]))
def test_any_cell_is_read_or_told(cell: object, decimal: str | None, order: str | None) -> None:
    money = price(cell, decimal, {}, "")
    assert bool(money.problem) == math.isnan(money.amount)
    day, problem, _ = sale_date(cell, order, MONTHS)
    assert bool(problem) == (day is None)
    number, problem = days(cell)
    assert bool(problem) == math.isnan(number)
    if cell is not None:
        known = known_years(load_priors().date_words, cell, None, None)
        assert known is not None


@pytest.mark.slow
@settings(max_examples=100, deadline=None)
@given(st.recursive(st.one_of(st.text(max_size=5), st.integers(), st.booleans(), st.sampled_from(SOLD)),
       lambda inner: st.lists(inner, max_size=3)
       | st.dictionaries(st.one_of(st.sampled_from(["columns", "words", "constants", "decimal", "fibre",
                                                    "known", "ignore"]), st.text(max_size=5)),
                         inner, max_size=3), max_leaves=8))  # fmt: skip
def test_any_map_is_read_or_told(columns: object) -> None:
    try:
        read_sold(pd.DataFrame([GOOD]), columns=columns, as_of=NOW)
    except ScarfdateError as error:
        assert str(error)
