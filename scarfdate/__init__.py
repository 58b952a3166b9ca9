"""When was this scarf made? Each clue is a likelihood over years; the answer is a distribution.

The names below are the whole front door; each is loaded when it is first asked for, so that
``import scarfdate`` costs little more than ``import numpy``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from scarfdate.comparison import Comparison, compare
    from scarfdate.dating import Dating
    from scarfdate.edge_rules import Edge, edges
    from scarfdate.errors import (
        Fault,
        PriorsError,
        RangeError,
        ScarfdateError,
        TableError,
        WordError,
    )
    from scarfdate.explanation import Explanation, explain
    from scarfdate.label import Label, read_label
    from scarfdate.learning.helped import before_after, cross_validate, score
    from scarfdate.learning.learned import Learned
    from scarfdate.learning.routes import learn
    from scarfdate.learning.sold_records import SoldRecords, Understood, dry_run, read_sold
    from scarfdate.learning.verdicts import BeforeAfter, Scores
    from scarfdate.many_scarves import date_table
    from scarfdate.medium import Medium, read_medium
    from scarfdate.museum.build import Built, build_priors
    from scarfdate.next_look import NextLooks, next_checks
    from scarfdate.one_scarf import date_scarf
    from scarfdate.pocket import pocket_card
    from scarfdate.pocket_sheet import PocketCard
    from scarfdate.scarf import Scarf
    from scarfdate.simulation import Simulated, simulate
    from scarfdate.slopes import Slopes, table_slopes
    from scarfdate.surprises import Conflict, conflict
    from scarfdate.tables.priors import Priors, load_priors
    from scarfdate.wrong_tables import Sensitivity, sensitivity

__version__ = "0.1.0"

_WHERE = {
    "BeforeAfter": "learning.verdicts",
    "Built": "museum.build",
    "Comparison": "comparison",
    "Conflict": "surprises",
    "Dating": "dating",
    "Edge": "edge_rules",
    "Explanation": "explanation",
    "Fault": "errors",
    "Label": "label",
    "Learned": "learning.learned",
    "Medium": "medium",
    "NextLooks": "next_look",
    "PocketCard": "pocket_sheet",
    "Priors": "tables.priors",
    "PriorsError": "errors",
    "RangeError": "errors",
    "Scarf": "scarf",
    "ScarfdateError": "errors",
    "Scores": "learning.verdicts",
    "Sensitivity": "wrong_tables",
    "Simulated": "simulation",
    "Slopes": "slopes",
    "SoldRecords": "learning.sold_records",
    "TableError": "errors",
    "Understood": "learning.sold_records",
    "WordError": "errors",
    "before_after": "learning.helped",
    "build_priors": "museum.build",
    "compare": "comparison",
    "conflict": "surprises",
    "cross_validate": "learning.helped",
    "date_scarf": "one_scarf",
    "date_table": "many_scarves",
    "dry_run": "learning.sold_records",
    "edges": "edge_rules",
    "explain": "explanation",
    "learn": "learning.routes",
    "load_priors": "tables.priors",
    "next_checks": "next_look",
    "pocket_card": "pocket",
    "read_label": "label",
    "read_medium": "medium",
    "read_sold": "learning.sold_records",
    "score": "learning.helped",
    "sensitivity": "wrong_tables",
    "simulate": "simulation",
    "table_slopes": "slopes",
}

__all__ = [
    "BeforeAfter",
    "Built",
    "Comparison",
    "Conflict",
    "Dating",
    "Edge",
    "Explanation",
    "Fault",
    "Label",
    "Learned",
    "Medium",
    "NextLooks",
    "PocketCard",
    "Priors",
    "PriorsError",
    "RangeError",
    "Scarf",
    "ScarfdateError",
    "Scores",
    "Sensitivity",
    "Simulated",
    "Slopes",
    "SoldRecords",
    "TableError",
    "Understood",
    "WordError",
    "before_after",
    "build_priors",
    "compare",
    "conflict",
    "cross_validate",
    "date_scarf",
    "date_table",
    "dry_run",
    "edges",
    "explain",
    "learn",
    "load_priors",
    "next_checks",
    "pocket_card",
    "read_label",
    "read_medium",
    "read_sold",
    "score",
    "sensitivity",
    "simulate",
    "table_slopes",
]


def __getattr__(name: str) -> object:
    if name not in _WHERE:
        raise AttributeError(f"module 'scarfdate' has no attribute {name!r}")
    found = getattr(import_module(f"scarfdate.{_WHERE[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return __all__
