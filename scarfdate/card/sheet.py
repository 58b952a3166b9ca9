"""What is printed of a card, its rows, and a piece added up on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scarfdate.card.cost import Cost


@dataclass(frozen=True, kw_only=True)
class CardRow:
    """One row of a card.

    ``label``: as printed; ``values``: the words that it stands for (empty for a range); ``low`` to
    ``high``: the range of a measurement, the upper end left out (for words without bounds);
    ``points``: whole numbers from 0 to 9, one for each era, the least of them 0. ``lean``: whole numbers from
    -9 to 9, one for each era: what speaks for its later half, or against it.
    """

    label: str
    values: tuple[str, ...]
    low: float
    high: float
    points: tuple[int, ...]
    lean: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Tally:
    """A piece added up on a card.

    ``era``: that of the highest sum, of equal ones the later. ``sums``: one for each era.
    ``ahead``: by how many points it leads. ``chance``: of each era by the card, summing to 1.
    ``half``: by the second step, the half of the era where ``lean``, the sum for its later half, points:
    above nought to the later one.
    ``rows``: clue and label of each row that was added. ``left_out``: clues that were seen, but of
    which the card has no row, or several rows that fit.
    """

    era: str
    sums: tuple[int, ...]
    ahead: int
    chance: tuple[float, ...]
    half: str
    lean: int
    rows: tuple[tuple[str, str], ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """What is printed of a card; `PocketCard` says what each part is."""

    channel: str
    where: str
    as_of: int
    eras: tuple[str, ...]
    halves: tuple[tuple[str, ...], ...]
    start: tuple[int, ...]
    start_lean: tuple[int, ...]
    rows: Mapping[str, tuple[CardRow, ...]]
    titles: Mapping[str, str]
    missing: tuple[str, ...]
    doubling: int
    cost: Cost
    example: Mapping[str, object]
    priors_hash: str
