"""What can be looked at next, and what it costs: ``checks.csv``."""

from __future__ import annotations

from dataclasses import dataclass

from scarfdate.tables.schema import Table

_HURT = ("lamp", "flame", "solvent")


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """Looking at one family by one method: minutes, what is needed, whether it harms the piece, cautions.

    ``least_bits``: what it has to promise before it is offered. ``loss``: the part of the piece's worth
    that the harm costs, 0 to 1.
    """

    family: str
    method: str
    minutes: float
    needs: str
    harms: bool
    least_bits: float
    loss: float
    caution: str


def read_checks(table: Table) -> tuple[Check, ...]:
    """The rows of ``checks.csv``, in their order."""
    found: list[Check] = []
    for row in table.rows:
        check = Check(
            family=row["family"],
            method=row["method"],
            minutes=row["minutes"],
            needs=row["needs"],
            harms=row["harms"] == "yes",
            least_bits=row["least_bits"],
            loss=row["loss"] / 100,
            caution=row["caution"],
        )
        if (check.harms or check.needs in _HURT) and not check.caution:
            table.fault(row, "caution", "what harms or can hurt has a caution")
        found.append(check)
    return tuple(found)
