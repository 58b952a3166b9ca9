"""Table Schema fields of each sort, made from a few words; and what a description needs to know.

For `scarfdate.tables.descriptor_columns`, `descriptor_evidence` and `descriptor_label`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scarfdate.tables.sheet import BASES

Field = dict[str, object]
Row = Mapping[str, str]

_FIRST, _LAST = 1000, 2300  # years that a knot can stand at


@dataclass(frozen=True)
class Place:
    """A file ``group/kind/family.csv``, or with fewer folders: what is not there is ""."""

    group: str
    kind: str
    family: str

    @classmethod
    def of(cls, name: str) -> Place:
        """From the name in the folder, with forward slashes."""
        *folders, file = name.removesuffix(".csv").split("/")
        return cls("/".join(folders[:-1]), folders[-1] if folders else "", file)


class Words:
    """What a description needs of the vocabulary, families, channels and label marks of a folder."""

    def __init__(
        self,
        vocabulary: Sequence[Row],
        families: Sequence[Row],
        channels: Sequence[Row],
        label_values: Sequence[Row],
    ) -> None:
        self.meanings: dict[str, dict[str, str]] = {}
        for row in vocabulary:
            if row["reading"] == "value":
                self.meanings.setdefault(row["family"], {})[row["word"]] = row["means"]
        self.families = {row["family"]: row for row in families}
        self.channels = channels
        self.marks = [*dict.fromkeys(row["mark"] for row in label_values)]

    def values(self, family: str) -> list[str]:
        """Values of a family, in their written order."""
        return [*self.meanings.get(family, {})]

    def name(self, family: str) -> str:
        """A family as a person reads it."""
        return self.families.get(family, {}).get("name") or family

    def of_shares(self) -> list[str]:
        """The families of the shares kind."""
        return [name for name, row in self.families.items() if row.get("kind") == "shares"]

    def channels_of(self, group: str) -> list[str]:
        """The channels that have their own tables in the folder ``group``."""
        return [row["channel"] for row in self.channels if row.get("tables") == group]


def inferred(column: str, cells: Sequence[str]) -> Field:
    """A column that nobody described: whole numbers, numbers, or else text."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    kind = "string"
    if filled and all(cell.isascii() and cell.removeprefix("-").isdecimal() for cell in filled):
        kind = "integer"
    elif filled and all(_is_number(cell) for cell in filled):
        kind = "number"
    field: Field = {"name": column, "type": kind, "description": "A column of the folder's owner."}
    return field | ({"constraints": {"required": True}} if filled and all(cells) else {})


def _is_number(cell: str) -> bool:
    try:
        return math.isfinite(float(cell)) and "_" not in cell  # Python alone reads 1_000
    except ValueError:
        return False


def provenance(column: str, required: bool) -> Field:
    """``basis``, ``source`` or ``note``."""
    if column == "basis":
        return word(column, "How the numbers of the row are known.", BASES)
    if column == "source":
        return text(column, "Where the numbers of the row come from.", False)
    return text(column, "Remark.", False)


def text(name: str, description: str, required: bool = True) -> Field:
    """Text of any sort."""
    field: Field = {"name": name, "type": "string", "description": description}
    return field | ({"constraints": {"required": True}} if required else {})


def word(name: str, description: str, allowed: Sequence[str], *, required: bool = True) -> Field:
    """One of the words ``allowed``."""
    constraints: dict[str, object] = {"required": True} if required else {}
    constraints["enum"] = [*allowed]
    return {"name": name, "type": "string", "description": description, "constraints": constraints}


def integer(
    name: str,
    description: str,
    low: int | None = None,
    high: int | None = None,
    *,
    required: bool = True,
) -> Field:
    """A whole number, ends included."""
    return number(name, description, low, high, required=required) | {"type": "integer"}


def year(name: str, description: str, low: int = _FIRST, *, required: bool = True) -> Field:
    """A calendar year."""
    return integer(name, description, low, _LAST, required=required)


def decade(name: str, *, required: bool = True) -> Field:
    """A decade, by its first year."""
    what = "First year of the decade; the first one holds all before it, too."
    return year(name, what, required=required)


def number(
    name: str,
    description: str,
    low: float | None = None,
    high: float | None = None,
    *,
    required: bool = True,
) -> Field:
    """A number, ends included."""
    # Table Schema has no open limit: where zero is out, the reader of the table is the stricter one
    constraints: dict[str, object] = {"required": True} if required else {}
    if low is not None:
        constraints["minimum"] = low
    if high is not None:
        constraints["maximum"] = high
    return {"name": name, "type": "number", "description": description, "constraints": constraints}


def share(name: str, meaning: str, *, required: bool = True) -> Field:
    """A share in per cent; ``meaning`` says of what."""
    return number(name, sentence("Per cent.", meaning), 0, 100, required=required)


def sentence(start: str, meaning: str) -> str:
    """``meaning`` after ``start``, with one stop at its end."""
    whole = f"{start} {meaning[:1].upper()}{meaning[1:]}".strip()
    return whole.rstrip(".") + "."
