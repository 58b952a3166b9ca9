"""What can go wrong in the looking: confusion by method, and slips.

A *confusion* is an eye or a test that takes one value for another (silk for polyester by feel). A
*slip* is a note that has nothing to do with the making of the piece: a re-hemmed edge, a label sewn
in from elsewhere, a slip of the pen. What slips put down is mostly what is common.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import METHOD, Array
from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.tables.checked import Table
from scarfdate.tables.lists import not_where
from scarfdate.tables.sheet import Basis
from scarfdate.tables.words import Vocabulary

_LABEL_TEXT = "label_text"
_ROUNDING = 1e-3  # what the shares of a family may miss one by


@dataclass(frozen=True)
class ConfusionTable:
    """P(noted | true, method): ``matrices`` maps a method to (true values, noted values)."""

    family: str
    matrices: Mapping[str, Array]
    bases: tuple[Basis, ...] = field(repr=False)

    def matrix(self, method: str) -> Array:
        """The matrix of a method; WordError where this family is not looked at that way."""
        if method not in self.matrices:
            hint = did_you_mean(method, sorted(self.matrices))
            raise WordError(f"{self.family}: cannot be looked at by {shown(method)}; {hint}")
        return self.matrices[method]

    def with_own(self, own: ConfusionTable) -> ConfusionTable:
        """This table with the methods of another in the place of its own."""
        matrices = MappingProxyType({**self.matrices, **own.matrices})
        return ConfusionTable(self.family, matrices, (*self.bases, *own.bases))


def certain(family: str, values: Sequence[str]) -> ConfusionTable:
    """The table of a family that nobody confuses by eye: what is noted is what it is."""
    matrix = np.eye(len(values))
    matrix.flags.writeable = False
    return ConfusionTable(family, MappingProxyType({METHOD: matrix}), ())


def read_confusion(family: str, table: Table) -> ConfusionTable:
    """``confusion/<family>.csv``: method, true, one column a noted value in per cent."""
    values = table.names("@values")
    found: dict[str, dict[str, list[float]]] = {}
    for row in table.rows:
        found.setdefault(row["method"], {})[row["true"]] = [row[value] for value in values]
    if table.whole and METHOD not in found:
        table.fault(None, "method", f"rows for the method {METHOD!r} are missing")
    matrices = {}
    for method, rows in found.items():
        for value in values:
            if table.whole and value not in rows:
                table.fault(None, "true", f"a row is missing for method {method}", value)
        matrix = np.array([rows.get(value, [100 / len(values)] * len(values)) for value in values])
        matrix /= matrix.sum(axis=1, keepdims=True)
        matrix.flags.writeable = False
        matrices[method] = matrix
    return ConfusionTable(family, MappingProxyType(matrices), tuple(r.basis for r in table.rows))


def read_slips(
    table: Table, families: Sequence[str]
) -> tuple[Mapping[str, float], Mapping[str, float]]:
    """``slips.csv``: for each family the chance of a slip, and the part of slips that is an altered piece.

    Both between 0 and 1, from per cent. Altered: re-hemmed, cut down, a label sewn in later; the rest
    are slips of the eye and the pen.
    """
    rates = {row["family"]: row["rate"] / 100 for row in table.rows}
    altered = {row["family"]: row["altered"] / 100 for row in table.rows}
    for family in families if table.whole else ():
        if family not in rates:
            table.fault(None, "family", "a slip rate is missing", family)
    return MappingProxyType(rates), MappingProxyType(altered)


def read_on_cloth(
    table: Table, families: Collection[str], vocabulary: Vocabulary
) -> Mapping[str, NDArray[np.bool_]]:
    """``not_where`` of ``slips.csv``: by family its values of a label that is on the cloth itself, (values,)."""
    found: dict[str, NDArray[np.bool_]] = {}
    for row in table.rows:
        for family, word in not_where(table, row, families, vocabulary):
            if row["family"] != _LABEL_TEXT or not word or family not in vocabulary.values:
                table.fault(
                    row,
                    "not_where",
                    f"a word is wanted, and in the row of {_LABEL_TEXT}",
                    row["not_where"],
                )
                continue
            values = vocabulary.values[family]
            meant = np.isin(values, tuple(vocabulary.children(family, word)))
            found[family] = found.get(family, np.zeros(len(values), bool)) | meant
    return MappingProxyType(found)


def read_slip_values(table: Table, vocabulary: Vocabulary) -> Mapping[str, Array]:
    """``slip_values.csv``: of each family in it, how slips fall on its values, (values,), adding up to one."""
    found: dict[str, Array] = {}
    for row in table.rows:
        values = vocabulary.values[row["family"]]
        if row["value"] not in values:
            step = did_you_mean(row["value"], values)
            table.fault(row, "value", f"is not a value of {row['family']}", row["value"], step)
            continue
        shares = found.setdefault(row["family"], np.zeros(len(values)))
        shares[values.index(row["value"])] = row["share"] / 100
    for family, shares in found.items() if table.whole else ():
        if abs(shares.sum() - 1) > _ROUNDING:
            problem = "the shares of a family add up to 100"
            table.fault(None, "share", problem, f"{family}: {100 * shares.sum():.4g}")
        shares /= max(shares.sum(), _ROUNDING)
        shares.flags.writeable = False
    return found
