"""What a notebook shows: one of each answer, well-formed, escaped, narrow, in black and white, no word broken, drawings of our own with words."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import scarfdate
from scarfdate import Edge, Edges, Scarf, ScarfdateError, date_scarf, edges, read_label
from scarfdate.conventions import FIRST_YEAR
from scarfdate.practising.bet import read_bet
from scarfdate.practising.calibration import calibration
from scarfdate.practising.history import Played, Step
from scarfdate.practising.outcome import outcome_of
from scarfdate.practising.summary import summary_of
from scarfdate.practising.weights import weights
from scarfdate.show import page
from scarfdate.strokes.sketches import TOUCH
from tests.random_scarves import random_clues

ROOT = Path(__file__).parents[1]
AS_OF = 2026
PRIORS = scarfdate.load_priors()
NARROW = 420  # pixels
# all that a drawing may be made of: it can refer to nothing and run nothing; names without capitals, as they are read
STROKES = {"svg", "title", "desc", "rect", "text", "polyline", "polygon", "path", "ellipse"}
OF_STROKES = {
    "aria-label", "class", "cx", "cy", "d", "fill", "font-family", "font-size", "height", "lengthadjust", "overflow",
    "points", "role", "rx", "ry", "stroke", "stroke-dasharray", "stroke-linecap", "stroke-linejoin", "stroke-width",
    "style", "text-anchor", "textlength", "transform", "viewbox", "width", "x", "xmlns", "y",
}  # fmt: skip
LABEL = 'PURE SILK <b>&"\nMADE IN ITALY\nRN 60000 dry clean only\nFoo-Bar & Sons'
HOSTILE = {
    "fibre": "silk", "hem": "hand-rolled", "motif": "paisley", "size": "90 x 90 cm", "label_text": LABEL,
    "maker": "<script>alert(1)</script>", "note": "<script>alert(2)</script>", "id": "<script>",
}  # fmt: skip
OTHER = {
    "fibre": "polyester",
    "hem": "overlocked",
    "label_text": "100% POLYESTER\nMADE IN JAPAN [cut]",
}
SHEET = pd.DataFrame({"fibre": ["silk", "<b>what</b>"], "hem": ["hand-rolled", ""]}, dtype=object)
SOLD = {"known_by": "receipt", "known": "1965", "hem": "rolled", "note": "<script>"}
TRADED = {
    "id": [f"<script>{at}" for at in range(30)], "maker": ["<script>alert(1)</script>"] * 30, "asked_price": [9] * 30,
    "costs": [3] * 30, "sold_price": ["8 EUR"] * 29 + [None], "days_to_sell": [*range(29), None],
    "listed_on": [None] * 29 + ["2020-01-01"], "bought_on": [None] * 29 + ["2019-12-01"], "sold_currency": ["EUR"] * 30,
    "fibre": ["silk"] * 30,
}  # fmt: skip


def _records(n: int = 60) -> scarfdate.SoldRecords:
    """Pieces drawn from the tables, of known years."""
    made = scarfdate.simulate(None, n, np.random.default_rng(5), as_of=AS_OF)
    known = made.truth_frame()["year"].to_numpy()
    frame = made.frame()[["fibre", "hem", "motif"]]
    frame = frame.assign(known_from=known, known_to=known, known_by="receipt")
    return scarfdate.read_sold(frame, as_of=AS_OF, copies=True)


def _dating(seen: dict[str, str]) -> scarfdate.Dating:
    return date_scarf(Scarf(**seen), as_of=AS_OF)


def _learned(route: str = "counts") -> scarfdate.Learned:
    return scarfdate.learn(_records(), route=route, as_of=AS_OF)


def _table() -> scarfdate.Sorting:
    """A sorting table whose folder is gone again: nothing more is written."""
    with TemporaryDirectory() as folder:
        table = scarfdate.Sorting(f"{folder}/stock.csv", as_of=AS_OF)
        table.choose("hem", "hand-rolled")
        table.note("label_text", LABEL)
    return table


def _played() -> list[Played]:
    """A round on a hostile piece, with a bet before any clue and one after each."""
    seen = {"hem": "hand-rolled", "fibre": "silk", "note": HOSTILE["note"]}
    bets = {None: "1950-1990", "fibre": "1960s 6, 1970s 4", "hem": "1960s"}
    steps = tuple(Step(clue, read_bet(bet, AS_OF)) for clue, bet in bets.items())
    return [
        Played(
            seen=seen, order=("fibre", "hem"), steps=steps, known_from=1962, known_to=1962,
            pieces="own", channel="thrift", as_of=AS_OF,
        )
    ]  # fmt: skip


MAKE: dict[str, Callable[[], Any]] = {
    "Dating": lambda: _dating(HOSTILE),
    "Explanation": lambda: scarfdate.explain(Scarf(**HOSTILE), as_of=AS_OF),
    "Comparison": lambda: scarfdate.compare(_dating(HOSTILE), _dating(OTHER)),
    "Conflict": lambda: scarfdate.conflict(Scarf(**OTHER, motif="paisley"), as_of=AS_OF, draws=20),
    "Sensitivity": lambda: scarfdate.sensitivity(Scarf(**HOSTILE), as_of=AS_OF),
    "Slopes": lambda: scarfdate.table_slopes(Scarf(hem="fringed"), as_of=AS_OF),
    "NextLooks": lambda: scarfdate.next_checks(Scarf(fibre="silk"), as_of=AS_OF),
    "Edges": lambda: edges(Scarf(**HOSTILE), as_of=AS_OF),
    "Edge": lambda: edges(Scarf(**HOSTILE), as_of=AS_OF)[0],
    "Label": lambda: read_label(LABEL),
    "FileDated": lambda: scarfdate.FileDated(
        out=Path("<script>.csv"),
        rows=3,
        bad=1,
        partly=0,
        odd=1,
        resumed=2,
        not_used=(),
        remarks=(),
        seconds=0.5,
    ),
    "WordList": lambda: scarfdate.load_priors().words("hem"),
    "StockUnderstood": lambda: scarfdate.dry_run(SHEET),
    "Understood": lambda: scarfdate.dry_run(pd.DataFrame([SOLD], dtype=object)),
    "SoldRecords": lambda: scarfdate.read_sold(pd.DataFrame([SOLD], dtype=object), as_of=AS_OF),
    "Book": lambda: scarfdate.read_book(pd.DataFrame(TRADED, dtype=object), as_of=AS_OF),
    "Shelf": lambda: scarfdate.shelf(
        scarfdate.read_book(pd.DataFrame(TRADED, dtype=object), as_of=AS_OF), as_of=AS_OF
    ),
    "Costs": lambda: scarfdate.read_costs({"currency": "EUR", "postage": 4}),
    "Prices": scarfdate.load_prices,
    "Appraisal": lambda: scarfdate.appraise(Scarf(**HOSTILE), 9, as_of=AS_OF),
    "LotAppraisal": lambda: scarfdate.appraise_lot(SHEET, 9, as_of=AS_OF),
    "TablesCompared": lambda: scarfdate.compare_priors(
        PRIORS, PRIORS, table=SHEET[:1], as_of=AS_OF
    ),
    "Learned": _learned,
    "Listing": lambda: scarfdate.describe(Scarf(**HOSTILE), as_of=AS_OF),
    "Scores": lambda: scarfdate.score(None, _records(), as_of=AS_OF),
    "BeforeAfter": lambda: scarfdate.before_after(None, _learned().priors, _records(), as_of=AS_OF),
    "PocketCard": lambda: scarfdate.pocket_card(
        as_of=AS_OF, pieces=1_000, rng=np.random.default_rng(3)
    ),
    "Practice": lambda: scarfdate.practice(as_of=AS_OF),
    "Condition": lambda: scarfdate.Condition(
        ["2 small pulls near edge", "stain"], not_read=("<script>alert(3)</script>",)
    ),
    "Sorting": lambda: _table(),
    "Screen": lambda: _table().note("note", "<script>alert(4)</script>"),
    # of no name at the front door, but given back by what has one
    "Trust": lambda: _learned("trust").trust,
    "Weights": lambda: weights(_played()),
    "Calibration": lambda: calibration(_played()),
    "Outcome": lambda: outcome_of(_played()[0], PRIORS),
    "Summary": lambda: summary_of([outcome_of(one, PRIORS) for one in _played()], PRIORS),
    "DatingOverDraws": lambda: _learned().date(Scarf(fibre="silk")),
    "Edges, none": lambda: Edges(),
}
SLOW = {"PocketCard"}
OF_ITS_OWN = {"PocketCard"}  # a page to print, with a style and tests of its own
NAMES = [pytest.param(name, marks=pytest.mark.slow if name in SLOW else ()) for name in MAKE]
VIEWS = [param for param in NAMES if param.values[0] not in OF_ITS_OWN]


@pytest.fixture(scope="module")
def results() -> Callable[[str], tuple[Any, str]]:
    """One of each, made once, and its view."""
    made: dict[str, tuple[Any, str]] = {}

    def one(name: str) -> tuple[Any, str]:
        if name not in made:
            result = MAKE[name]()
            made[name] = (result, result._repr_html_())
        return made[name]

    return one


class Reader(HTMLParser):
    """The text of a page, its tags and styles; tags that do not close each other are told."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.text, self.wrong = "", list[str]()
        self.tags, self.styles, self.outside = set[str](), list[str](), list[str]()
        self.open: list[str] = []
        self.drawn = list[tuple[str, dict[str, str | None]]]()
        self.feed(html)
        self.close()
        self.wrong += self.open

    def _opened(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        given = dict(attrs)
        self.styles.append(given.get("style") or "")
        if "svg" in (tag, *self.open):
            self.drawn.append((tag, given))
        else:
            self.outside += [name for name in given if name not in ("style", "class", "span")]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._opened(tag, attrs)
        if tag not in ("br", "col", "hr"):
            self.open.append(tag)
        if tag in ("p", "td", "th", "li", "div", "caption", "figcaption", "title", "desc"):
            self.text += "\n"

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._opened(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


def numbers(text: str) -> set[str]:
    """All numbers of a text, as they are written."""
    return set(re.findall(r"\d+(?:[.,]\d+)?", text))


def words(text: str) -> set[str]:
    return set(text.split())


def test_every_answer_that_prints_is_a_view() -> None:
    """Walk over the front door: what prints as text of its own is shown in a notebook, and tried here."""
    printing = set()
    for name in scarfdate.__all__:
        kind = getattr(scarfdate, name)
        a_fault = isinstance(kind, type) and issubclass(kind, (ScarfdateError, scarfdate.FileFault))
        if isinstance(kind, type) and not a_fault and kind.__str__ is not object.__str__:
            printing.add(name)
            assert callable(kind._repr_html_), name
    assert printing <= set(MAKE)
    assert printing >= {
        "Dating",
        "Explanation",
        "Comparison",
        "Conflict",
        "Sensitivity",
        "NextLooks",
    }
    assert printing >= {"Label", "Edge", "Learned", "BeforeAfter", "Scores"}


@pytest.mark.parametrize("name", NAMES)
def test_it_says_the_numbers_that_the_text_says(name: str, results: Any) -> None:
    result, html = results(name)
    text = str(result)
    assert text.strip()
    assert not numbers(text) - numbers(Reader(html).text)


@pytest.mark.parametrize("name", VIEWS)
def test_it_says_the_words_that_the_text_says(name: str, results: Any) -> None:
    """Labels and word lists are laid out in tables: there a word may stand beside another sign."""
    result, html = results(name)
    plain = re.compile(r"[^\W_]{3,}")
    assert not {*plain.findall(str(result).lower())} - {*plain.findall(Reader(html).text.lower())}


@pytest.mark.parametrize("name", NAMES)
def test_it_is_well_formed_and_escaped(name: str, results: Any) -> None:
    _, html = results(name)
    read = Reader(html)
    assert read.wrong == []
    assert not read.tags & {"script", "b what", "img", "link", "iframe", "object"}
    assert read.outside == []  # no event, no address, nothing from elsewhere
    assert not re.search(r"<script|url\(|@import|javascript:", html)
    if name not in OF_ITS_OWN:
        ElementTree.fromstring(html)
        assert "style" not in read.tags


@pytest.mark.parametrize("name", NAMES)
def test_drawings_in_it_are_our_own_strokes_with_words_for_who_cannot_see_them(
    name: str, results: Any
) -> None:
    html = results(name)[1]
    read = Reader(html)
    for tag, own in read.drawn:
        assert tag in STROKES and set(own) <= OF_STROKES, tag
        assert own.get("xmlns") in (None, "http://www.w3.org/2000/svg")
        assert {own.get("fill"), own.get("stroke")} <= {None, "none", "#000", "#fff"}
    outer = [own for tag, own in read.drawn if tag == "svg" and "role" in own]
    assert len(outer) == html.count('xmlns="')
    for own in outer:
        assert own["role"] == "img" and len(own["aria-label"] or "") > 20
    if outer and name not in OF_ITS_OWN:
        assert TOUCH in read.text
        assert read.text.count("the bar is") >= len(outer)
        assert len(html) < 500_000


def test_answers_are_shown_with_drawings(results: Any) -> None:
    drawn = {name for name in ("Dating", "Comparison", "WordList") if "<svg" in results(name)[1]}
    assert drawn == {"Dating", "Comparison", "WordList"}
    comparison = Reader(results("Comparison")[1]).text
    for said in ("noted differently", "only of the first", "not noted"):
        assert said in comparison
    twice = scarfdate.compare(
        _dating({"hem": "fringed"}), _dating({"hem": "fringed", "fibre": "silk"})
    )
    alike = Reader(twice._repr_html_())
    assert "the same" in alike.text and "only of the second" in alike.text
    assert not alike.drawn  # of what is alike there is nothing to tell apart
    hems = Reader(results("WordList")[1]).drawn
    assert len([tag for tag, own in hems if "role" in own]) == len(PRIORS.vocabulary.values["hem"])


def test_words_without_a_drawing_say_why() -> None:
    fibres = Reader(PRIORS.words("fibre")._repr_html_()).text
    assert PRIORS.drawings["fibre", "polyester"].reason in fibres
    colours = Reader(PRIORS.words("palette")._repr_html_())
    assert PRIORS.drawings["palette", "*"].reason in colours.text and not colours.drawn
    assert not Reader(PRIORS.words()._repr_html_()).drawn


@pytest.mark.slow
def test_any_piece_is_shown_with_its_drawings() -> None:
    """Random clues, measured and in doubt: a view is well-formed, bounded, and never fails."""
    rng = np.random.default_rng(11)
    shown = 0
    for _ in range(40):
        dating = date_scarf(random_clues(PRIORS, rng, AS_OF), as_of=AS_OF)
        html = dating._repr_html_()
        ElementTree.fromstring(html)
        shown += "<svg" in html
        assert html.count('role="img"') <= 4 and len(html) < 200_000
    assert shown > 20


def test_what_is_in_doubt_is_drawn_as_perhaps() -> None:
    shown = Reader(date_scarf(Scarf(hem="rolled"), as_of=AS_OF)._repr_html_()).text
    assert "hem: perhaps hand-rolled" in shown and "hem: perhaps machine-rolled" in shown
    assert "<svg" not in date_scarf(Scarf(fibre="silk"), as_of=AS_OF)._repr_html_()


def test_what_a_person_wrote_stays_text(results: Any) -> None:
    for name, written in {
        "Dating": "&lt;script&gt;alert(1)&lt;/script&gt;",
        "Label": "PURE SILK",
        "StockUnderstood": "&lt;b&gt;what&lt;/b&gt;",
    }.items():
        assert written in results(name)[1]
    label = results("Label")[1]
    assert "&lt;b&gt;&amp;&quot;" in label
    assert '<b>&"' not in label


@pytest.mark.parametrize("name", VIEWS)
def test_nothing_is_said_by_colour(name: str, results: Any) -> None:
    """No colour is set at all: the view is of one colour, that of the page around it."""
    for style in Reader(results(name)[1]).styles:
        for rule in filter(None, style.split(";")):
            what, _, how = rule.partition(":")
            if what in ("color", "background"):
                assert how in ("inherit", "none")
            assert not re.search(r"#[0-9a-f]{3}|rgb|hsl|opacity", rule)


@pytest.mark.parametrize("name", VIEWS)
def test_no_word_may_be_broken(name: str, results: Any) -> None:
    html = results(name)[1]
    outer = html[: html.index(">")]
    for rule in (
        "word-break:keep-all",
        "overflow-wrap:normal",
        "hyphens:manual",
        "overflow-x:auto",
    ):
        assert rule in outer
    assert not re.search(r"break-all|break-word|anywhere|hyphens:auto|<wbr|\xad|&shy;", html)


@pytest.mark.sampled(4)
@pytest.mark.parametrize("name", VIEWS)
def test_on_a_narrow_page_whole_words_stay_within_it(name: str, results: Any) -> None:
    """Laid out by an engine of other people: every line holds whole words, and ends within the page."""
    weasyprint = pytest.importorskip("weasyprint")
    html = results(name)[1]
    sheet = weasyprint.CSS(
        string=f"@page{{size:{NARROW}px 4000px;margin:0}}body{{margin:0;font:13px sans-serif}}"
    )
    said = {*words(Reader(html).text), "•"}
    lines = 0
    for laid in weasyprint.HTML(string=html).render(stylesheets=[sheet]).pages:
        for box in laid._page_box.descendants():
            inside = [*box.descendants()][1:] if type(box).__name__ == "LineBox" else []
            if inside and not any(type(one).__name__ == "LineBox" for one in inside):
                line = "".join(getattr(one, "text", "") or "" for one in inside)
                assert not words(line) - said, line
                lines += 1
            if getattr(box, "text", None):
                assert box.position_x + box.width <= NARROW + 1, box.text
    assert lines


# ------------------------------------------------------------------------------- labels

LINES = ("twice", "in dashes", "in dots")  # what the lines are called below the label
STYLES = re.compile(r"text-decoration:underline (\w+)[^>]*>([^<]*)</span>")


def _underlined(html: str) -> dict[str, str]:
    """The kind of line under each piece of the label; the explanation below it is left out."""
    return {text: line for line, text in STYLES.findall(html) if text not in LINES}


def test_marks_of_a_label_are_underlined_by_what_they_tell() -> None:
    """Rules of `priors/label_rules.csv`: an origin and a number are bounded; "pure" has no rule."""
    label = read_label("PURE SILK\nMADE IN ITALY\nRN 60000\nFIVE STARS")
    html = label._repr_html_()
    lines = _underlined(html)
    assert lines["MADE IN ITALY"] == lines["RN 60000"] == "double"
    assert lines["PURE SILK"] == "dashed"  # the fibre has only rules that guard
    assert not any("STARS" in piece for piece in lines)
    text = Reader(html).text
    for role in ("speaks of years", "proves no year"):  # in words too, below and by each mark
        assert role in text.lower()
    assert text.lower().count("speaks of years") >= 3
    assert "Underlined twice: speaks of years; in dashes: proves no year" in text
    assert "not read: FIVE STARS" in text
    drawn = re.sub(r"<sup.*?</sup>", "", html)
    assert label.text in Reader(drawn).text  # as it is printed, line by line


def test_a_cut_label_is_drawn_cut_and_called_so() -> None:
    whole, cut = (read_label(f"MADE IN JAPAN{end}")._repr_html_() for end in ("", " [cut]"))
    assert "dashed" in cut.split("MADE IN")[0] and "dashed" not in whole.split("MADE IN")[0]
    assert "cut label or fragment" in cut and "intact label" in whole


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(st.text(max_size=120) | st.text("SILK 10%<>&\"'\n-?[]RNMADE", max_size=120))
def test_any_label_is_drawn_as_it_is_written(text: str) -> None:
    html = read_label(text)._repr_html_()
    ElementTree.fromstring(html)
    start = html.index("min-width:8em")
    drawn = re.sub(r"<sup.*?</sup>", "", html[html.index(">", start) + 1 :])
    shown = Reader(f"<div>{drawn[: drawn.index('</div>')]}</div>").text[1:]
    kept = [a if a.isprintable() or a == "\n" else " " if a.isspace() else "?" for a in text]
    assert shown == "".join(kept)


# ------------------------------------------------------------------------------- pieces


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=80) | st.text("a-–1 %(<&/", max_size=80))
def test_any_text_comes_back_from_the_page(text: str) -> None:
    html = page.view(text, page.table([(text,)], caption=text))
    ElementTree.fromstring(html)
    kept = [a if a.isprintable() or a == "\n" else " " if a.isspace() else "?" for a in text]
    shown = Reader(f"<div>{page.escaped(text)}</div>").text[1:]
    assert shown.replace("\xa0", " ") == "".join(kept)


def test_what_stands_in_columns_stays_apart() -> None:
    assert "known&#8195;when" in page.view("known   when")


def test_words_with_hyphens_and_ranges_stay_on_one_line() -> None:
    html = page.escaped(
        "a hand-rolled hem, 1955-1972 (pre-war), 80 % sure; a - b; so-called and/or"
    )
    held = re.findall(r'nowrap">(.*?)</span>', html)
    assert held == ["hand-rolled", "1955-1972", "(pre-war),", "so-called", "and/or"]
    assert "80&#160;%" in html


@pytest.mark.parametrize(
    ("part", "longest", "width"), [(0.5, 1.0, 5.0), (2.0, 1.0, 10.0), (0.0, 0.0, 0.0)]
)
def test_a_bar_is_as_long_as_its_part(part: float, longest: float, width: float) -> None:
    assert f"width:{width:.2f}em" in page.bar(part, longest, 10.0)


def test_for_and_against_differ_in_side_and_in_filling() -> None:
    toward, against = page.balance(3.0, 6.0), page.balance(-3.0, 6.0)
    assert "width:2.50em" in toward and "width:2.50em" in against
    assert "border-top:.7em solid" in toward and "border-top" not in against
    assert "border-left" in toward and "border-right" in against


def test_an_interval_lies_where_its_years_lie() -> None:
    html = page.stretch(1950, 1970, 1955, (1940, 1980), 20.0)
    assert "margin-left:5.00em;width:2.50em" in html
    assert "width:7.50em" in html


# --------------------------------------------------------------------------------- edges


def test_edges_print_as_sentences_and_are_still_a_tuple() -> None:
    found = edges(Scarf(**OTHER), as_of=AS_OF)
    assert isinstance(found, tuple) and all(isinstance(one, Edge) for one in found)
    assert str(found).split("\n") == [str(one) for one in found]
    assert "Edge(" not in str(found)
    one, other = found
    assert (one.which, other.which) == ("earliest", "latest")
    assert "border-left" in one._repr_html_() and "border-right" in other._repr_html_()


def test_no_edge_is_told() -> None:
    none = edges({}, as_of=FIRST_YEAR + 1)
    assert none == ()
    assert str(none) in none._repr_html_() and str(none).endswith(".")


# ------------------------------------------------------------------------------ what it costs


def test_a_view_of_one_scarf_loads_nothing_heavy() -> None:
    code = (
        "import sys, scarfdate as s; c = s.Scarf(fibre='silk', label_text='MADE IN ITALY');"
        "views = [s.date_scarf(c), s.explain(c), s.read_label('MADE IN ITALY'), s.edges(c)];"
        "[one._repr_html_() for one in views];"
        "print([m for m in sys.modules if m in ('pandas', 'jinja2', 'matplotlib', 'scipy.stats')])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert run.stdout.strip() == "[]", run.stderr
