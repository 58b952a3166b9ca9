"""The views and the record: what a person typed is harmless in each, and other programs read them.

Outside references: markdown-it-py (CommonMark) for the Markdown, Python's HTML parser for the HTML, jsonschema with
a schema written by hand (``product_schema.json``), the package edtf for dates.
"""

from __future__ import annotations

import copy
import json
import math
import pickle
from html.parser import HTMLParser
from pathlib import Path

import edtf
import jsonschema
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from scarfdate import Scarf, ScarfdateError, WordError, date_scarf, describe, describe_table
from scarfdate.tables.listing import LANGUAGES
from scarfdate.worth.condition import Condition
from tests.worth import pieces

AS_OF = pieces.AS_OF
SCHEMA = json.loads((Path(__file__).parent / "product_schema.json").read_text("utf-8"))
HOSTILE = (
    "<script>alert(1)</script>", "</script><img src=x onerror=alert(1)>", "**bold** _it_ `code` # head",
    "[x](javascript:alert(1)) ![i](http://a.b/c.png)", "<http://a.b> http://a.b a@b.cd &lt; &amp;", "{word} {0.__class__} %s",
    "- item\n1. item\n> quote\n| a | b |", "\x1b[31mred\x07 \u202eturned \u2028 line", "=1+1", "$x$ ~~s~~ \\\\ \\<",
)  # fmt: skip
QUOTES = ("“", "„", "«")


class Tags(HTMLParser):
    """The tags of a view, their attributes, and its text."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags, self.attributes, self.text = set[str](), set[str](), ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.text += data


def test_a_record_is_laid_out_for_people_in_their_own_letters() -> None:
    found = describe(
        {"hem": "hand-rolled", "width_cm": 90, "height_cm": 86}, language="de", as_of=AS_OF
    )
    assert json.loads(found.json) == found.record
    assert found.json.startswith('{\n "@context"') and '\n  {\n   "@type"' in found.json
    assert "ü" in found.json and "\\u00fc" not in found.json
    inches = [
        side["value"]
        for name in ("width", "height")
        for side in found.record[name]
        if side["unitCode"] == "INH"
    ]
    assert inches == [35.43, 33.86]  # to a hundredth


def test_every_view_says_every_clause() -> None:
    found = describe({"hem": "hand-rolled", "fibre": "silk"}, condition="pull at edge", as_of=AS_OF)

    def letters(text: str) -> str:
        return "".join(filter(str.isalnum, text)).casefold()

    clauses = [claim.clause for claim in found.claims if claim.section != "photographs"]
    assert len({claim.section for claim in found.claims}) > 5
    for view in (found.text, found.markdown, Tags(found.html).text):
        assert [one for one in clauses if letters(one) not in letters(view)] == []


@pytest.fixture(scope="module")
def hostile() -> list[tuple[str, object]]:
    return [
        (typed, describe(
            Scarf(fibre="silk", id=typed, note=typed, maker=typed, label_text=f"RN 60000\n{typed}"),
            condition=Condition.read(f"hole, {typed}"), as_of=AS_OF, language=language,
        ))
        for typed in HOSTILE for language in ("en", "fr")
    ]  # fmt: skip


def test_html_holds_nothing_that_was_typed_but_as_text(hostile):
    for typed, one in hostile:
        for html in (one.html, one._repr_html_()):
            read = Tags(html)
            assert read.tags <= {"div", "p", "b", "ul", "li", "span"}, typed
            assert read.attributes <= {"class", "style"}, typed
            assert "javascript" not in html.replace("[x](javascript:alert(1))", "")


def test_markdown_holds_no_markup_that_was_typed(hostile):
    """Rendered with everything on, raw HTML and links without marks, too."""
    render = MarkdownIt("gfm-like", {"html": True, "linkify": False})
    for typed, one in hostile:
        read = Tags(render.render(one.markdown))
        assert read.tags <= {"h1", "h2", "ul", "li"}, (typed, one.markdown)
        assert not read.attributes
        said = {" ".join(line.split()) for line in read.text.splitlines() if line.strip()}
        plain = {line.removeprefix("- ") for line in one.text.splitlines() if line}
        assert said == plain


def test_plain_text_holds_no_letter_that_steers_a_terminal(hostile):
    for _, one in hostile:
        assert all(letter.isprintable() or letter == "\n" for letter in one.text + str(one))


def test_the_record_cannot_end_a_script(hostile):
    for typed, one in hostile:
        assert not {"<", ">", "&", "\u2028"} & {*one.json}
        assert json.loads(one.json) == one.record
        assert one.record["sku"] == "".join(
            " " if c.isspace() else c if c.isprintable() else "?" for c in typed.strip()
        )


@settings(max_examples=30, deadline=None)
@given(st.text(max_size=60))
def test_no_cell_can_crash_it_or_become_markup(typed):
    cells = {
        name: [typed]
        for name in ("id", "fibre", "size", "label_text", "note", "condition", "holes")
    }
    (one,) = describe_table(pd.DataFrame(cells, dtype=object), as_of=AS_OF)
    assert Tags(one.html).tags <= {"div", "p", "b", "ul", "li", "span"}
    render = MarkdownIt("gfm-like", {"html": True, "linkify": False})
    assert Tags(render.render(one.markdown)).tags <= {"h1", "h2", "ul", "li"}
    assert json.loads(one.json.encode()) == one.record


def test_what_was_typed_is_quoted_and_otherwise_kept_out():
    one = describe(
        Scarf(note="a note", maker="Somebody", label_text="PURE SILK\nHAND WASH"), as_of=AS_OF
    )
    assert "Label as noted: “PURE SILK / HAND WASH”" in one.text
    assert "a note" not in str(one) and "Somebody" not in one.text + one.json


@pytest.mark.parametrize(
    "typed", ["GENUINE SILK", "100% AUTHENTIC", "ECHT SEIDE", "véritable soie", "RARE", "x" * 200]
)
def test_a_label_or_a_number_that_says_too_much_is_not_quoted(typed):
    for language in LANGUAGES:
        one = describe(Scarf(id=typed[:100], label_text=typed), as_of=AS_OF, language=language)
        assert typed[:100].casefold() not in one.text.casefold() or len(typed) > 120
        assert not any(mark in one.text for mark in QUOTES)


def test_records_are_of_the_terms_of_schema_org():
    check = jsonschema.Draft202012Validator(SCHEMA)
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    met = set()
    for place, (scarf, dating, condition) in enumerate([*pieces.drawn(20, seed=6), *pieces.odd()]):
        one = describe(scarf, dating, condition, language=LANGUAGES[place % 4])
        record = one.record
        check.validate(record)
        met |= {*record} | {each["name"] for each in record["additionalProperty"]}
        assert record["name"] == one.title and record["description"] == one.text
        for made in record["additionalProperty"]:
            if made["name"] == "date made":
                assert years_of(made["value"]) == (made.get("minValue"), made["maxValue"])
                held = dating.between(made.get("minValue", 1880), made["maxValue"])
                chance = next(
                    c for c in record["additionalProperty"] if c["name"] == "chance of these years"
                )
                assert (
                    chance["value"] == pytest.approx(100 * held, abs=0.051) and held >= 0.8 - 1e-9
                )
    assert {"material", "pattern", "width", "height", "date made", "fault"} <= met


def years_of(text: str) -> tuple[int | None, int | None]:
    """First and last year by the package edtf."""
    read = edtf.parse_edtf(text)
    lower, upper = read.lower_strict(), read.upper_strict()
    return None if lower == -math.inf else lower[0], None if upper == math.inf else upper[0]


@pytest.mark.parametrize(
    "spoil",
    [
        {"brand": "x"}, {"itemCondition": "new"}, {"width": [{"@type": "QuantitativeValue", "value": 1, "unitCode": "INH"}]},
        {"additionalProperty": [{"@type": "PropertyValue", "name": "date made", "value": "1960s"}]},
    ],
)  # fmt: skip
def test_the_schema_refuses_what_is_of_no_such_term(spoil):
    record = describe({"fibre": "silk"}, as_of=AS_OF).record | spoil
    assert not jsonschema.Draft202012Validator(SCHEMA).is_valid(record)


def test_a_worthless_piece_is_damaged_and_one_side_has_its_own_term():
    one = describe({"height_cm": 90}, condition="spreading run, hole", as_of=AS_OF)
    assert one.record["itemCondition"] == "https://schema.org/DamagedCondition"
    assert one.record["height"][0]["value"] == 90 and "width" not in one.record
    assert one.record["height"][1]["value"] == pytest.approx(90 / 2.54, abs=0.005)


def test_copies_say_the_same():
    one = describe(pieces.REISSUED, condition="stain", as_of=AS_OF, language="de")
    for other in (pickle.loads(pickle.dumps(one)), copy.deepcopy(one), copy.copy(one)):
        assert other == one and str(other) == str(one) and other.json == one.json
    one.record["name"] = "changed"
    assert one.record["name"] == one.title


def test_a_dating_made_before_says_the_same_and_a_narrow_one_is_widened():
    scarf = Scarf(fibre="silk", hem="hand-rolled")
    expected = describe(scarf, as_of=AS_OF)
    assert describe(scarf, date_scarf(scarf, as_of=AS_OF)) == expected
    assert describe(scarf, date_scarf(scarf, as_of=AS_OF, level=0.5)) == expected
    wide = describe(scarf, date_scarf(scarf, as_of=AS_OF, level=0.95))
    assert next(c for c in wide.claims if c.kind == "years").number >= 0.95


def test_what_does_not_belong_is_refused():
    scarf = Scarf(fibre="silk")
    with pytest.raises(ScarfdateError, match="another piece"):
        describe(scarf, date_scarf(Scarf(fibre="wool"), as_of=AS_OF))
    with pytest.raises(ScarfdateError, match="^dating: "):
        describe(scarf, "1960s")
    with pytest.raises(WordError, match="^language: .*en"):
        describe(scarf, language="es")
    with pytest.raises(WordError, match="^language: "):
        describe_table(None, language="")
    with pytest.raises(WordError, match="glorp"):
        describe(scarf, condition="glorp")
    assert describe(scarf, condition=" ", as_of=AS_OF) == describe(scarf, as_of=AS_OF)


def test_a_dating_by_other_tables_is_refused(tmp_path):
    from scarfdate import load_priors
    from scarfdate.tables.priors import shipped_folder

    text = (shipped_folder() / "slips.csv").read_text("utf-8")
    (tmp_path / "slips.csv").write_text(text.replace("fibre,", "fibre,1", 1), "utf-8")
    dating = date_scarf(Scarf(fibre="silk"), priors=load_priors(tmp_path), as_of=AS_OF)
    with pytest.raises(ScarfdateError, match="other tables"):
        describe(Scarf(fibre="silk"), dating)
