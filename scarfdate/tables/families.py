"""The families of clues, as ``families.csv`` declares them; a new one needs a row and a table."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.tables.checked import Row, Table

_ONE_TABLE = {"maker": "makers.csv", "label": "label_*.csv"}  # kinds whose tables are of one family
_NAME = re.compile(r"[a-z][a-z0-9_]*")
DESCRIPTION = "description"  # the column of a description in free words
_OTHER_KEYWORDS = (
    "size", "width", "height", "width_cm", "height_cm", "width_in", "height_in", "unit", "fringe",
    "stitches_per_cm", "grams_per_square_metre", "methods", "method", "priors", "id", "note", "any",
    DESCRIPTION,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """One family of clues.

    ``low`` to ``high`` is what can be at all, ``usual_low`` to ``usual_high`` what passes without a
    warning (NaN where there is no number); ``step`` is the ratio between neighbouring cells on which
    measurements are read; ``worth`` how many records the table counts for. ``unstated``: values that records pass over in
    silence, so that how seldom they are named says nothing. ``trust``, 0 to 1: the power to which what a
    shares family says is raised, 1 unless a dealer's records say less (`scarfdate.learning.trust`).
    """

    name: str
    kind: str
    reads: str
    parent: str
    title: str
    unit: str
    low: float
    high: float
    usual_low: float
    usual_high: float
    step: float
    worth: float
    unstated: tuple[str, ...] = ()
    trust: float = 1.0


def read_families(table: Table) -> Mapping[str, Family]:
    """All families, in the order of the file (the order in which a dealer looks)."""
    families: dict[str, Family] = {}
    for row in table.every:
        trust = row.get("trust", math.nan)
        families[row["family"]] = row.read_as(
            Family,
            name=row["family"],
            title=row["name"],
            unstated=tuple(filter(None, map(str.strip, row["unstated"].split("|")))),
            trust=1.0 if math.isnan(trust) else trust,
        )
    kinds: dict[str, str] = {}
    for row in table.rows:
        _check_name(table, row, kinds)
        _check_measured(table, row, families)
    return MappingProxyType(families)


def _check_name(table: Table, row: Row, kinds: dict[str, str]) -> None:
    """A family that could not be written down, or that would share the tables of another."""
    name, kind = row["family"], row["kind"]
    if not _NAME.fullmatch(name) or name.startswith("note") or name.endswith("_method"):
        table.fault(row, "family", "not a keyword: small letters, digits and _ are", name)
    elif name in _OTHER_KEYWORDS:
        table.fault(row, "family", "the name is a keyword of another thing", name)
    if kind in _ONE_TABLE and kinds.setdefault(kind, name) != name:
        only = f"{_ONE_TABLE[kind]} is the table of one family, {kinds[kind]}"
        table.fault(row, "kind", only, kind)


def _check_measured(table: Table, row: Row, families: Mapping[str, Family]) -> None:
    """What a measured family needs, and no other has."""
    own = families[row["family"]]
    parent = families.get(own.parent)
    if own.kind != "measured":
        if own.parent:
            table.fault(row, "parent", "only a measured family has a parent", own.parent)
        return
    limits = (own.low, own.high, own.usual_low, own.usual_high, own.step)
    if any(map(math.isnan, limits)) or own.low <= 0 or own.step <= 1:
        problem = "a measured family has low > 0, high, usual range and a step > 1"
        table.fault(row, None, problem)
    if parent is None or parent.kind != "shares":
        problem = "a measured family names the shares family it depends on"
        table.fault(row, "parent", problem, own.parent)
    elif parent.reads != own.reads:
        table.fault(row, "reads", "a measured family is read as its parent is", own.reads)
