"""What can be looked at next, and what it costs: ``checks.csv``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scarfdate.errors import Fault
from scarfdate.tables.families import Family
from scarfdate.tables.sheet import read_sheet

NEEDS = ("", "lens", "microscope", "tape", "scales", "lamp", "flame", "solvent")


@dataclass(frozen=True, slots=True)
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


def read_checks(
    content: bytes, families: Mapping[str, Family], methods: Sequence[str], faults: list[Fault]
) -> tuple[Check, ...]:
    """The rows of ``checks.csv``, in their order."""
    columns = ("family", "method", "minutes", "needs", "harms", "least_bits", "loss", "caution")
    sheet = read_sheet("checks.csv", content, columns, faults)
    found: list[Check] = []
    for line, row in sheet.rows:
        sheet.basis(line)
        check = Check(
            sheet.word(line, "family", tuple(families)),
            sheet.word(line, "method", tuple(methods)),
            sheet.number(line, "minutes", low=0.1, high=600),
            sheet.word(line, "needs", NEEDS),
            sheet.word(line, "harms", ("yes", "no")) == "yes",
            sheet.number(line, "least_bits", low=0, high=10),
            sheet.number(line, "loss", low=0, high=100) / 100,
            row["caution"],
        )
        if any((check.family, check.method) == (each.family, each.method) for each in found):
            sheet.fault(line, "method", "the check stands there twice", check.family)
        if (check.harms or check.needs in ("lamp", "flame", "solvent")) and not check.caution:
            sheet.fault(line, "caution", "what harms or can hurt has a caution")
        found.append(check)
    return tuple(found)
