"""One fault of a piece: its kind, how large it is, where, how many, and whether it spreads."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass, field, fields
from numbers import Integral
from typing import Any

from scarfdate.errors import RangeError, ScarfdateError, WordError, did_you_mean, shown
from scarfdate.reading.cells import as_float
from scarfdate.tables.worth_condition import DEGREES, KINDS, LONGEST_MM, PLACES, SIZES

MOST = 999  # of one kind: nobody counts further


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a piece, as it was seen.

    ``kind``: pull, run, hole, stain, fade, tear, moth, loose-hem, colour-bleed, odour, repair or crease.
    ``size_mm``: its longest stretch in mm. ``place``: centre, edge, corner or on-signature. ``count``: how
    many alike. ``spreading``: whether it still grows. None: not noted.

    ``size``: tiny, small, medium or large, where nobody measured it (``size_mm`` goes before it). ``degree``:
    faint or strong. ``counted``: False where the number is only about right. ``sure``: the chance, above 0
    to 1, that it is there at all. ``named``: how a listing calls it, a word of ``fault_phrases.csv`` ("yellowing", a
    fault of the kind fade), None as its kind. ``mended``: the part of what it costs, 0 to 1, that mending has won back.

    Raises WordError for an unknown word and RangeError for a number that cannot be.
    """

    kind: str
    size_mm: float | None = None
    place: str | None = None
    count: int = 1
    spreading: bool | None = None
    _: KW_ONLY
    size: str | None = None
    degree: str | None = None
    counted: bool = True
    sure: float = 1.0
    mended: float = 0.0
    named: str | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        _check_word("kind", self.kind, KINDS)
        for name, known in (("place", PLACES), ("size", SIZES), ("degree", DEGREES)):
            if getattr(self, name) is not None:
                _check_word(name, getattr(self, name), known)
        for name, allowed in (("spreading", (None, True, False)), ("counted", (True, False))):
            if not any(getattr(self, name) is one for one in allowed):
                listed = ", ".join(map(str, allowed))
                got = shown(getattr(self, name))
                raise ScarfdateError(f"{name} of a fault: {listed} are allowed, got {got}")
        if self.named is not None and not isinstance(self.named, str):
            raise ScarfdateError(f"named of a fault: a text is allowed, got {shown(self.named)}")
        if self.size_mm is not None:
            most = LONGEST_MM / 1000
            self._keep("size_mm", 0, LONGEST_MM, f"longer than 0 mm, and at most {most:g} m")
        self._keep("sure", 0, 1, "above 0, and at most 1; leave out a fault that is not there")
        if as_float(self.mended) != 0:
            self._keep("mended", 0, 1, "from 0 to 1")
        whole = isinstance(self.count, Integral) and not isinstance(self.count, bool)
        if not whole or not 1 <= self.count <= MOST:
            step = "leave out a fault that is not there"
            got = shown(self.count)
            raise RangeError(
                f"count of a fault: a whole number from 1 to {MOST}, got {got}; {step}"
            )
        object.__setattr__(self, "count", int(self.count))

    def _keep(self, name: str, above: float, most: float, allowed: str) -> None:
        """Keep a number as a float; RangeError where it does not lie above one and at most at the other."""
        number = as_float(getattr(self, name))
        if number is None or not (math.isfinite(number) and above < number <= most):
            raise RangeError(f"{name} of a fault: {allowed}, got {shown(getattr(self, name))}")
        object.__setattr__(self, name, number)


def fault_of(told: Mapping[str, Any]) -> Fault:
    """A fault from a mapping with the names of its fields; WordError for another name."""
    names = [field.name for field in fields(Fault)]
    for name in told:
        if name not in names:
            step = did_you_mean(name, names)
            raise WordError(f"a fault has no {shown(name)}; {step}")
    if "kind" not in told:
        raise ScarfdateError(f"a fault needs its kind; allowed: {', '.join(KINDS)}")
    return Fault(**told)


def _check_word(name: str, word: object, known: tuple[str, ...]) -> None:
    if not isinstance(word, str) or word not in known:
        step = did_you_mean(word if isinstance(word, str) else "", known)
        raise WordError(f"{name} of a fault: no word {shown(word)} is known; {step}")
