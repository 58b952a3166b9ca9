"""Every view, page, card, listing and drawing, made twice: with hostile text in each cell, and with harmless letters.

Both are parsed as a browser parses (or as XML, where it is a drawing). But for the letters of the texts the two have to
be one tree: an element or an attribute that hostile text adds is a hole, and a text that changes is not kept as written.
"""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import tinyhtml5

import scarfdate
from scarfdate import Edges, Priors, Scarf
from scarfdate.practising.bet import read_bet
from scarfdate.practising.calibration import calibration
from scarfdate.practising.history import Played, Step
from scarfdate.practising.outcome import outcome_of
from scarfdate.practising.summary import summary_of
from scarfdate.practising.weights import weights
from scarfdate.tables.schema import shipped_folder
from tests.attack.words import HOSTILE, NAME, SHORT, harmless, priors_with
from tests.package_code import PACKAGE, tree_of

AS_OF = 2026


@dataclass(frozen=True)
class Given:
    """What is put in: ``text`` into cells, ``short`` where only some dozen letters are taken, ``word`` into names of
    values; and the tables of somebody who has them in all cells of theirs.
    """

    text: str
    short: str
    word: str

    @property
    def priors(self) -> Priors:
        return _tables(self.text, self.word)

    @property
    def seen(self) -> dict[str, Any]:
        return {
            "fibre": "silk", "hem": f"hand-rolled{self.word}", "motif": f"paisley{self.word}", "size": "90 x 90 cm",
            "label_text": f"PURE SILK\nMADE IN ITALY\n{self.text}", "maker": self.short, "note": self.text,
            "id": self.short,
        }  # fmt: skip

    @property
    def scarf(self) -> Scarf:
        return Scarf(**self.seen, priors=self.priors)

    @property
    def plain(self) -> Scarf:
        """The same with a label that is read alike: where one sentence hangs on what it shows."""
        return Scarf(**self.seen | {"label_text": "PURE SILK\nMADE IN ITALY"}, priors=self.priors)

    @property
    def other(self) -> Scarf:
        return Scarf(fibre="polyester", hem="overlocked", note=self.text, priors=self.priors)

    @property
    def how(self) -> dict[str, Any]:
        return {"priors": self.priors, "as_of": AS_OF}

    @property
    def sheet(self) -> pd.DataFrame:
        """A stock sheet: hostile headings, ids, words, numbers, labels."""
        rows = {
            "id": [f"1{self.short}", f"2{self.short}"], "fibre": ["silk", self.text],
            "hem": [f"hand-rolled{self.word}", self.short], "width_cm": [self.text, "90"], "maker": [self.short] * 2,
            "label_text": [self.text] * 2, "note": [self.text] * 2, f"note {self.short}": [self.text] * 2,
        }  # fmt: skip
        return pd.DataFrame(rows, dtype=object)

    @property
    def sold(self) -> pd.DataFrame:
        row = {"known_by": "receipt", "known": "1965", "hem": f"hand-rolled{self.word}", "fibre": self.text,
               "note": self.text, "id": self.short, "label_text": self.text, "sold_price": self.text,
               self.short: self.text, "maker": self.short}  # fmt: skip
        return pd.DataFrame([row, {**row, "fibre": "silk", "id": "2"}], dtype=object)

    @property
    def traded(self) -> pd.DataFrame:
        rows = {
            "id": [f"{at}{self.short}" for at in range(30)], "maker": [self.short] * 30, "asked_price": [9] * 30,
            "costs": [3] * 30, "sold_price": ["8 EUR"] * 29 + [self.text], "days_to_sell": [*range(29), None],
            "listed_on": [None] * 29 + ["2020-01-01"], "bought_on": [None] * 29 + ["2019-12-01"],
            "sold_currency": ["EUR"] * 30, "fibre": ["silk"] * 29 + [self.text], "channel": [self.short] * 30,
            "condition": [self.text] * 30, "note": [self.text] * 30,
        }  # fmt: skip
        return pd.DataFrame(rows, dtype=object)

    @property
    def played(self) -> list[Played]:
        bets = {None: "1950-1990", "fibre": "1960s 6, 1970s 4", "hem": "1960s"}
        steps = tuple(Step(clue, read_bet(bet, AS_OF)) for clue, bet in bets.items())
        seen = {name: self.seen[name] for name in ("hem", "fibre", "note")}
        return [Played(seen=seen, order=("fibre", "hem"), steps=steps, known_from=1962, known_to=1962, pieces="own",
                       channel="thrift", as_of=AS_OF)]  # fmt: skip

    def dating(self, scarf: Scarf) -> scarfdate.Dating:
        return scarfdate.date_scarf(scarf, **self.how)

    @property
    def records(self) -> scarfdate.SoldRecords:
        made = scarfdate.simulate(self.priors, 60, np.random.default_rng(5), as_of=AS_OF)
        known = made.truth_frame()["year"].to_numpy()
        frame = made.frame()[["fibre", "hem", "motif"]]
        frame = frame.assign(known_from=known, known_to=known, known_by="receipt", note=self.text)
        frame["id"] = [f"{at}{self.short}" for at in range(60)]
        return scarfdate.read_sold(frame, as_of=AS_OF, copies=True, priors=self.priors)

    def learned(self, route: str = "counts") -> scarfdate.Learned:
        return scarfdate.learn(self.records, self.priors, route=route, as_of=AS_OF)

    def table(self) -> scarfdate.Sorting:
        with TemporaryDirectory() as folder:
            table = scarfdate.Sorting(f"{folder}/stock.csv", **self.how)
            table.choose("hem", f"hand-rolled{self.word}")
            table.note("label_text", self.text)
            table.note("note", self.text)
        return table


ATTACK = Given(HOSTILE, SHORT, NAME)
CALM = Given(harmless(HOSTILE), harmless(SHORT), harmless(NAME))


@cache
def _tables(text: str, word: str) -> Priors:
    return priors_with(text, word)


def _faults(given: Given) -> scarfdate.Condition:
    return scarfdate.Condition(["2 small pulls near edge", "stain"], not_read=(given.text,))


def _spoiled(given: Given) -> pd.DataFrame:
    """A sheet that both tables can date: what is hostile stands where nothing is read."""
    rows = {
        "id": [given.short],
        "fibre": ["silk"],
        "note": [given.text],
        f"note {given.short}": [given.text],
    }
    return pd.DataFrame(rows, dtype=object)


@cache
def _moved() -> scarfdate.Priors:
    """Tables of which one file differs from the shipped ones, so that pieces move by one table."""
    with TemporaryDirectory() as folder:
        text = (shipped_folder() / "slips.csv").read_text(encoding="utf-8")
        (Path(folder) / "slips.csv").write_text(
            text.replace("fibre,1.5,0,", "fibre,40,0,"), encoding="utf-8"
        )
        return scarfdate.load_priors(folder)


# one of each class that shows itself, by the name of the class; what is behind a comma is another of the same
MAKE: dict[str, Callable[[Given], Any]] = {
    "Dating": lambda g: g.dating(g.scarf),
    "Explanation": lambda g: scarfdate.explain(g.scarf, **g.how),
    "Comparison": lambda g: scarfdate.compare(g.dating(g.scarf), g.dating(g.other)),
    "Conflict": lambda g: scarfdate.conflict(g.scarf, draws=20, **g.how),
    "Sensitivity": lambda g: scarfdate.sensitivity(g.scarf, **g.how),
    "Slopes": lambda g: scarfdate.table_slopes(g.scarf, **g.how),
    "NextLooks": lambda g: scarfdate.next_checks(
        Scarf(fibre="silk", note=g.text, priors=g.priors), harmless=False, **g.how
    ),
    "Edges": lambda g: scarfdate.edges(g.plain, **g.how),
    "Edge": lambda g: scarfdate.edges(g.plain, **g.how)[0],
    "Label": lambda g: scarfdate.read_label(g.seen["label_text"], priors=g.priors),
    "WordList": lambda g: g.priors.words("hem"),
    "WordList, motif": lambda g: g.priors.words("motif"),
    "WordList, all": lambda g: g.priors.words(),
    "StockUnderstood": lambda g: scarfdate.dry_run(g.sheet, priors=g.priors),
    "Understood": lambda g: scarfdate.dry_run(g.sold, priors=g.priors),
    "SoldRecords": lambda g: scarfdate.read_sold(g.sold, priors=g.priors, as_of=AS_OF),
    "Book": lambda g: scarfdate.read_book(g.traded, priors=g.priors, as_of=AS_OF),
    "Shelf": lambda g: scarfdate.shelf(
        scarfdate.read_book(g.traded, priors=g.priors, as_of=AS_OF), g.priors, as_of=AS_OF
    ),
    "Costs": lambda g: scarfdate.read_costs({"currency": "EUR", "postage": 4}),
    "Prices": lambda g: replace(scarfdate.load_prices(), notes=(g.text,)),
    "Appraisal": lambda g: scarfdate.appraise(g.scarf, 9, condition=_faults(g), **g.how),
    "LotAppraisal": lambda g: scarfdate.appraise_lot(g.sheet, 9, **g.how),
    "TablesCompared": lambda g: scarfdate.compare_priors(
        scarfdate.load_priors(), _moved(), table=_spoiled(g), as_of=AS_OF
    ),
    "Learned": Given.learned,
    "Listing": lambda g: scarfdate.describe(g.scarf, condition=_faults(g), **g.how),
    "Listing, published": lambda g: scarfdate.describe(g.scarf, condition=_faults(g), **g.how).html,
    "Listing, German": lambda g: scarfdate.describe(g.scarf, language="de", **g.how),
    "Scores": lambda g: scarfdate.score(g.priors, g.records, as_of=AS_OF),
    "BeforeAfter": lambda g: scarfdate.before_after(
        g.priors, g.learned().priors, g.records, as_of=AS_OF
    ),
    "PocketCard": lambda g: scarfdate.pocket_card(
        g.priors, as_of=AS_OF, pieces=1_000, rng=np.random.default_rng(3)
    ),
    "Practice": lambda g: scarfdate.practice(**g.how),
    "Round": lambda g: scarfdate.practice(
        pieces=g.records, rounds=1, level="mixed", **g.how
    ).round(),
    "Condition": _faults,
    "FileDated": lambda g: scarfdate.FileDated(
        out=Path(f"{g.short}.csv"),
        rows=1,
        bad=0,
        partly=0,
        odd=0,
        resumed=0,
        not_used=(),
        remarks=(),
        seconds=0.0,
    ),
    "Sorting": Given.table,
    "Screen": lambda g: g.table().screen(),
    "Drawing": lambda g: scarfdate.draw(g.scarf, priors=g.priors),
    "Drawing, words": lambda g: scarfdate.draw_clue("hem", priors=g.priors),
    "Trust": lambda g: g.learned("trust").trust,
    "Weights": lambda g: weights(g.played, g.priors),
    "Calibration": lambda g: calibration(g.played),
    "Outcome": lambda g: outcome_of(g.played[0], g.priors),
    "Summary": lambda g: summary_of([outcome_of(one, g.priors) for one in g.played], g.priors),
    "DatingOverDraws": lambda g: g.learned().date(
        Scarf(fibre="silk", note=g.text, id=g.short, priors=g.priors)
    ),
    "Edges, none": lambda g: Edges(),
}
# how each is asked to show itself
SHOWS = (
    "_repr_html_",
    "_repr_svg_",
    "_repr_mimebundle_",
    "_repr_markdown_",
    "_repr_latex_",
    "to_html",
)


def shown(made: Any) -> dict[str, str]:
    """All that a result shows, by how it is asked."""
    if isinstance(made, str):
        return {"html": made}
    return {how: str(getattr(made, how)()) for how in SHOWS if hasattr(made, how)}


@dataclass
class Tree:
    """What is in a page: its elements in order, each with its attributes and texts."""

    nodes: list[tuple[Any, ...]] = field(default_factory=list)
    text: str = ""
    typeset: str = ""  # what a program that sets mathematics may look at

    def take(self, element: Any, depth: int = 0, ignored: bool = False) -> Tree:
        tag = element.tag if isinstance(element.tag, str) else "#comment"
        attributes = sorted((name, calm(value)) for name, value in element.attrib.items())
        self.nodes.append((depth, tag, attributes, calm(element.text or "")))
        ignored |= "mathjax_ignore" in element.get("class", "").split()
        self._read(element.text or "", ignored)
        for child in element:
            self.take(child, depth + 1, ignored)
            self.nodes.append((depth, "", [], calm(child.tail or "")))
            self._read(child.tail or "", ignored)
        return self

    def _read(self, text: str, ignored: bool) -> None:
        self.text += text
        self.typeset += "" if ignored else text


def calm(text: str) -> str:
    """A text as `harmless` leaves it; a view shows a question mark for what is no letter."""
    return harmless(text).replace("?", "k")


def parsed(how: str, text: str) -> Tree:
    """A page as a browser has it, a drawing as XML."""
    if how == "_repr_svg_":
        return Tree().take(ElementTree.fromstring(text))
    return Tree().take(tinyhtml5.parse(text))


def kinds(tree: Tree) -> set[tuple[str, str]]:
    """Each element and attribute that there is."""
    return {(tag, name) for _, tag, given, _ in tree.nodes for name in ("", *dict(given))}


@dataclass(frozen=True)
class Tried:
    """``times``: how often hostile text stands in the texts of the page; ``added``: elements and attributes that the
    page has by it; ``same``: whether the two trees are one; ``typeset``: text that may be set as mathematics.
    """

    how: str
    times: int
    added: set[tuple[str, str]]
    same: bool
    typeset: str


def tried(name: str) -> list[Tried]:
    """One view with both texts."""
    pages = [shown(MAKE[name](given)) for given in (ATTACK, CALM)]
    assert [*pages[0]] == [*pages[1]]
    found = []
    for how in pages[0]:
        hostile, quiet = (parsed(how, page[how]) for page in pages)
        times = hostile.text.count("alert(1)") + hostile.text.count("<b/a=")
        found.append(
            Tried(
                how,
                times,
                kinds(hostile) - kinds(quiet),
                hostile.nodes == quiet.nodes,
                hostile.typeset,
            )
        )
    return found


def classes() -> set[str]:
    """Every class of the package that shows itself, read off its code."""
    found = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.ClassDef) and any(
                isinstance(one, ast.FunctionDef) and one.name in SHOWS for one in node.body
            ):
                found.add(node.name)
    return found
