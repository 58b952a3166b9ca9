"""The families of clues, as ``families.csv`` declares them. A new one needs a row and a table."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from scarfdate.errors import Fault
from scarfdate.tables.sheet import Sheet, read_sheet

KINDS = ("shares", "measured", "maker", "dated", "label")
READS = ("making", "style")
_ONE_TABLE = {"maker": "makers.csv", "label": "label_*.csv"}  # kinds whose tables are of one family
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_OTHER_KEYWORDS = (
    "size", "width", "height", "width_cm", "height_cm", "width_in", "height_in", "unit", "fringe",
    "stitches_per_cm", "grams_per_square_metre", "methods", "method", "priors", "id", "note", "any",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
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


def read_families(content: bytes, faults: list[Fault]) -> Mapping[str, Family]:
    """All families, in the order of the file (the order in which a dealer looks)."""
    columns = (
        "family", "kind", "reads", "parent", "name", "unit",
        "low", "high", "usual_low", "usual_high", "step", "worth", "unstated", "trust?",
    )  # fmt: skip
    sheet = read_sheet("families.csv", content, columns, faults)
    families: dict[str, Family] = {}
    for line, row in sheet.rows:
        sheet.basis(line)
        name = sheet.text(line, "family")
        if name in families:
            sheet.fault(line, "family", "the family stands there twice", name)
        kind = sheet.word(line, "kind", KINDS)
        low, high, usual_low, usual_high, step = limits = [
            sheet.optional_number(line, column)
            for column in ("low", "high", "usual_low", "usual_high", "step")
        ]
        if kind == "measured" and (
            any(map(math.isnan, limits)) or limits[0] <= 0 or limits[4] <= 1
        ):
            sheet.fault(
                line, None, "a measured family has low > 0, high, usual range and a step > 1"
            )
        worth = sheet.number(line, "worth", low=0)
        families[name] = Family(
            name,
            kind,
            sheet.word(line, "reads", READS),
            row["parent"],
            sheet.text(line, "name"),
            row["unit"],
            low,
            high,
            usual_low,
            usual_high,
            step,
            worth,
            tuple(filter(None, map(str.strip, row["unstated"].split("|")))),
            sheet.number(line, "trust", low=0, high=1) if row.get("trust") else 1.0,
        )
    _check_names(sheet, list(families.values()))
    for line, row in sheet.rows:
        parent = families.get(row["parent"])
        if row["kind"] == "measured" and (parent is None or parent.kind != "shares"):
            sheet.fault(
                line,
                "parent",
                "a measured family names the shares family it depends on",
                row["parent"],
            )
        elif row["kind"] == "measured" and parent is not None and parent.reads != row["reads"]:
            sheet.fault(line, "reads", "a measured family is read as its parent is", row["reads"])
        elif row["kind"] != "measured" and row["parent"]:
            sheet.fault(line, "parent", "only a measured family has a parent", row["parent"])
    return MappingProxyType(families)


def _check_names(sheet: Sheet, families: Sequence[Family]) -> None:
    """Faults where a family could not be written down, or would share the tables of another."""
    kinds: dict[str, str] = {}
    for (line, _), family in zip(sheet.rows, families, strict=False):
        name = family.name
        if not _NAME.fullmatch(name) or name.startswith("note") or name.endswith("_method"):
            sheet.fault(line, "family", "not a keyword: small letters, digits and _ are", name)
        elif name in _OTHER_KEYWORDS:
            sheet.fault(line, "family", "the name is a keyword of another thing", name)
        if family.kind in _ONE_TABLE and kinds.setdefault(family.kind, name) != name:
            only = f"{_ONE_TABLE[family.kind]} is the table of one family, {kinds[family.kind]}"
            sheet.fault(line, "kind", only, family.kind)
