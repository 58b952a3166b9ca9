"""When was this scarf made? Each clue is a likelihood over years; the answer is a distribution.

The names below are the whole front door; each is loaded when it is first asked for, so that
``import scarfdate`` costs little more than ``import numpy``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scarfdate.answer.dataset import date_dataset
    from scarfdate.answer.date import date_table
    from scarfdate.answer.dating import Dating
    from scarfdate.answer.one_scarf import date_scarf
    from scarfdate.answer.pile import plot_pile
    from scarfdate.building.build import Built, build_priors
    from scarfdate.card.card import pocket_card
    from scarfdate.card.pocket import PocketCard
    from scarfdate.clues.scarf import Scarf
    from scarfdate.columns.template import write_template
    from scarfdate.columns.understood import StockUnderstood
    from scarfdate.drawing.draw import draw, draw_clue
    from scarfdate.drawing.drawing import Drawing
    from scarfdate.errors import (
        FileFault,
        PriorsError,
        RangeError,
        ScarfdateError,
        TableError,
        WordError,
    )
    from scarfdate.learning.learn import learn
    from scarfdate.learning.learned import Learned
    from scarfdate.lessons.pages import write_lessons
    from scarfdate.model.drawing import Simulated, simulate
    from scarfdate.practising.practice import Practice, practice
    from scarfdate.reading.label import Label, read_label
    from scarfdate.reading.medium import Medium, read_medium
    from scarfdate.records.sold import dry_run, read_sold
    from scarfdate.records.sold_records import SoldRecords
    from scarfdate.records.understood import Understood
    from scarfdate.scoring.before_after import BeforeAfter
    from scarfdate.scoring.results import Scores
    from scarfdate.scoring.score import before_after, cross_validate, score
    from scarfdate.sorting.screen import Screen
    from scarfdate.sorting.sorting import Sorting
    from scarfdate.sorting.table import sorting_table
    from scarfdate.tables.priors import Priors, load_priors
    from scarfdate.tables.word_list import WordList
    from scarfdate.why.changes import Sensitivity
    from scarfdate.why.compare import Comparison, compare
    from scarfdate.why.compare_priors import compare_priors
    from scarfdate.why.conflict import conflict
    from scarfdate.why.edges import Edge, Edges, edges
    from scarfdate.why.explain import explain
    from scarfdate.why.explanation import Explanation
    from scarfdate.why.looks import NextLooks
    from scarfdate.why.moved import TablesCompared
    from scarfdate.why.next_checks import next_checks
    from scarfdate.why.sensitivity import sensitivity
    from scarfdate.why.slopes import Slopes, table_slopes
    from scarfdate.why.surprises import Conflict
    from scarfdate.worth.appraisal import Appraisal
    from scarfdate.worth.appraise import appraise
    from scarfdate.worth.book import Book, read_book
    from scarfdate.worth.buying_list import appraise_table
    from scarfdate.worth.condition import Condition
    from scarfdate.worth.condition_columns import conditions_of
    from scarfdate.worth.costs import Costs, read_costs
    from scarfdate.worth.describe import describe, describe_table
    from scarfdate.worth.fault import Fault
    from scarfdate.worth.learn_prices import learn_prices
    from scarfdate.worth.listing import Listing
    from scarfdate.worth.lot import LotAppraisal, appraise_lot
    from scarfdate.worth.prices import Prices, load_prices
    from scarfdate.worth.shelf import Shelf, shelf

__version__ = "0.1.0"

_WHERE = {
    "Appraisal": "worth.appraisal",
    "BeforeAfter": "scoring.before_after",
    "Book": "worth.book",
    "Built": "building.build",
    "Comparison": "why.compare",
    "Condition": "worth.condition",
    "Conflict": "why.surprises",
    "Costs": "worth.costs",
    "Dating": "answer.dating",
    "Drawing": "drawing.drawing",
    "Edge": "why.edges",
    "Edges": "why.edges",
    "Explanation": "why.explanation",
    "Fault": "worth.fault",
    "FileFault": "errors",
    "Label": "reading.label",
    "Learned": "learning.learned",
    "Listing": "worth.listing",
    "LotAppraisal": "worth.lot",
    "Medium": "reading.medium",
    "NextLooks": "why.looks",
    "PocketCard": "card.pocket",
    "Practice": "practising.practice",
    "Prices": "worth.prices",
    "Priors": "tables.priors",
    "PriorsError": "errors",
    "RangeError": "errors",
    "Scarf": "clues.scarf",
    "ScarfdateError": "errors",
    "Scores": "scoring.results",
    "Screen": "sorting.screen",
    "Sensitivity": "why.changes",
    "Shelf": "worth.shelf",
    "Simulated": "model.drawing",
    "Slopes": "why.slopes",
    "SoldRecords": "records.sold_records",
    "Sorting": "sorting.sorting",
    "StockUnderstood": "columns.understood",
    "TableError": "errors",
    "TablesCompared": "why.moved",
    "Understood": "records.understood",
    "WordError": "errors",
    "WordList": "tables.word_list",
    "appraise": "worth.appraise",
    "appraise_lot": "worth.lot",
    "appraise_table": "worth.buying_list",
    "before_after": "scoring.score",
    "build_priors": "building.build",
    "compare": "why.compare",
    "compare_priors": "why.compare_priors",
    "conditions_of": "worth.condition_columns",
    "conflict": "why.conflict",
    "cross_validate": "scoring.score",
    "date_scarf": "answer.one_scarf",
    "date_dataset": "answer.dataset",
    "date_table": "answer.date",
    "describe": "worth.describe",
    "describe_table": "worth.describe",
    "draw": "drawing.draw",
    "draw_clue": "drawing.draw",
    "dry_run": "records.sold",
    "edges": "why.edges",
    "explain": "why.explain",
    "learn": "learning.learn",
    "learn_prices": "worth.learn_prices",
    "load_prices": "worth.prices",
    "load_priors": "tables.priors",
    "next_checks": "why.next_checks",
    "plot_pile": "answer.pile",
    "pocket_card": "card.card",
    "practice": "practising.practice",
    "read_book": "worth.book",
    "read_costs": "worth.costs",
    "read_label": "reading.label",
    "read_medium": "reading.medium",
    "read_sold": "records.sold",
    "score": "scoring.score",
    "sensitivity": "why.sensitivity",
    "shelf": "worth.shelf",
    "simulate": "model.drawing",
    "sorting_table": "sorting.table",
    "table_slopes": "why.slopes",
    "write_lessons": "lessons.pages",
    "write_template": "columns.template",
}

__all__ = [
    "Appraisal",
    "BeforeAfter",
    "Book",
    "Built",
    "Comparison",
    "Condition",
    "Conflict",
    "Costs",
    "Dating",
    "Drawing",
    "Edge",
    "Edges",
    "Explanation",
    "Fault",
    "FileFault",
    "Label",
    "Learned",
    "Listing",
    "LotAppraisal",
    "Medium",
    "NextLooks",
    "PocketCard",
    "Practice",
    "Prices",
    "Priors",
    "PriorsError",
    "RangeError",
    "Scarf",
    "ScarfdateError",
    "Scores",
    "Screen",
    "Sensitivity",
    "Shelf",
    "Simulated",
    "Slopes",
    "SoldRecords",
    "Sorting",
    "StockUnderstood",
    "TableError",
    "TablesCompared",
    "Understood",
    "WordError",
    "WordList",
    "appraise",
    "appraise_lot",
    "appraise_table",
    "before_after",
    "build_priors",
    "compare",
    "compare_priors",
    "conditions_of",
    "conflict",
    "cross_validate",
    "date_dataset",
    "date_scarf",
    "date_table",
    "describe",
    "describe_table",
    "draw",
    "draw_clue",
    "dry_run",
    "edges",
    "explain",
    "learn",
    "learn_prices",
    "load_prices",
    "load_priors",
    "next_checks",
    "plot_pile",
    "pocket_card",
    "practice",
    "read_book",
    "read_costs",
    "read_label",
    "read_medium",
    "read_sold",
    "score",
    "sensitivity",
    "shelf",
    "simulate",
    "sorting_table",
    "table_slopes",
    "write_lessons",
    "write_template",
]


def __getattr__(name: str) -> object:
    if name not in _WHERE:
        raise AttributeError(f"module 'scarfdate' has no attribute {name!r}")
    found = getattr(import_module(f"scarfdate.{_WHERE[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return __all__
