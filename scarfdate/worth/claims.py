"""What a listing claims, clause by clause, each with the number it stands on."""

from __future__ import annotations

from dataclasses import dataclass

TITLE, SEEN, SIZE, AGE, FOR, AGAINST, DOUBT, CONDITION, CARE, BASIS, PHOTOGRAPHS = (
    "title", "seen", "size", "age", "for", "against", "doubt", "condition", "care", "basis", "photographs",
)  # fmt: skip
PUBLISHED = (TITLE, SEEN, SIZE, AGE, FOR, AGAINST, CONDITION, BASIS)
FOR_THE_SELLER = (
    DOUBT,
    CARE,
    PHOTOGRAPHS,
)  # what is to be looked at again, cautions, pictures: in no view published


@dataclass(frozen=True, kw_only=True)
class Claim:
    """One clause of a listing.

    ``clause``: as it stands in the listing, in its language; ``number``: what it stands on, a chance (0 to 1), a
    year, a count, a length in cm (of two sides both), or decibans; ``basis``: in plain English what the number is
    and where it comes from; ``kind``: what the clause is about, such as "years" or a family of clues;
    ``section``: the part of the listing in which it stands.
    """

    clause: str
    number: float | tuple[float, ...]
    basis: str
    kind: str
    section: str
