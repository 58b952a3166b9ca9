"""What faults cost: the part of a faultless piece's price that is left beside them, and how sure that is.

Losses are -log of the part kept, so that they add up. The loss of one fault is a mixture over what was not
noted (its place, its size, whether it spreads, whether it is there at all), of which the mean and the
variance are taken. Faults of one kind are one matter to a buyer: the worst counts in full, each further one by
a part of its own loss, and their errors go together. Faults of different kinds multiply, their errors are
independent. So no fault, no further size, number or spreading can ever raise what is kept.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from itertools import product
from typing import NamedTuple

from scarfdate.conventions import MORE_LIKELY_THAN_NOT
from scarfdate.tables.worth_condition import ANY, ConditionTables, FaultKind, Loss
from scarfdate.worth.fault import Fault

_NO_SIZE = Loss(mm=0.0, loss=0.0, spreading=0.0, log_sd=0.0)


class Kept(NamedTuple):
    """The part of a faultless price that is kept: log of its median (0 or less), the sd of that log, and
    whether only the cloth is left."""

    log_kept: float
    log_sd: float
    cloth_only: bool


class _Cost(NamedTuple):
    loss: float
    log_sd: float


def kept_beside(faults: Iterable[Fault], stated: str | None, tables: ConditionTables) -> Kept:
    """What is kept beside all faults; ``stated``: the grade that a person wrote, which they cannot better."""
    by_kind: dict[str, list[tuple[_Cost, int]]] = {}
    every = tuple(faults)
    for fault in every:
        cost = _cost(fault, tables.kinds[fault.kind])
        by_kind.setdefault(fault.kind, []).append((cost, fault.count))
    costs = [_together(own, tables.kinds[kind].more) for kind, own in by_kind.items()]
    found = _Cost(
        math.fsum(cost.loss for cost in costs),
        math.sqrt(math.fsum(cost.log_sd**2 for cost in costs)),
    )
    if stated is not None:
        grade = tables.grade(stated)
        own = _Cost(-math.log(grade.stated), grade.log_sd)
        found = own if not every or own.loss > found.loss else found
    cloth = -math.log(tables.cloth.stated)
    if found.loss >= cloth or _leaves_cloth(every, tables):
        return Kept(-cloth, tables.cloth.log_sd, True)
    return Kept(-found.loss if found.loss else 0.0, found.log_sd, False)


def size_of(fault: Fault, kind: FaultKind) -> float:
    """The size of a fault in mm, measured or by its word; NaN where nobody noted one."""
    if not kind.mm:
        return math.nan
    if fault.size_mm is not None:
        return fault.size_mm
    return kind.mm[fault.size] if fault.size is not None else math.nan


def _together(costs: list[tuple[_Cost, int]], more: float) -> _Cost:
    """Faults of one kind: the worst in full, of each other one the part that a further one costs."""
    first, *_ = ordered = sorted(costs, key=lambda one: one[0], reverse=True)
    shares = [1 + more * (first[1] - 1), *(more * count for _, count in ordered[1:])]
    parts = [(share, cost) for share, (cost, _) in zip(shares, ordered, strict=True)]
    return _Cost(
        math.fsum(share * cost.loss for share, cost in parts),
        math.fsum(share * cost.log_sd for share, cost in parts),
    )


def _cost(fault: Fault, kind: FaultKind) -> _Cost:
    """Mean and sd of the loss of a single fault, over what was not noted of it."""
    mean = square = 0.0
    for (place, of_place), (size, of_size) in product(
        _possible(fault.place, kind.places), _sizes(fault, kind)
    ):
        rests, spreads, log_sd = _at(kind, place, size)
        for loss, part in ((rests, 1 - _spreads(fault, kind)), (spreads, _spreads(fault, kind))):
            weight = of_place * of_size * part
            mean += weight * loss
            square += weight * (loss**2 + log_sd**2)
    scale = (1 - fault.mended) * (kind.degrees[fault.degree] if fault.degree else 1.0)
    mean, square = fault.sure * scale * mean, fault.sure * scale**2 * square
    return _Cost(mean, math.sqrt(max(square - mean**2, 0.0)))


def _possible(noted: str | None, usual: Mapping[str, float]) -> Iterable[tuple[str, float]]:
    return usual.items() if noted is None else ((noted, 1.0),)


def _sizes(fault: Fault, kind: FaultKind) -> Iterable[tuple[float, float]]:
    """The sizes in mm that a fault can have, each with its chance."""
    size = size_of(fault, kind)
    if not kind.mm or not math.isnan(size):
        return ((size, 1.0),)
    return ((kind.mm[word], share) for word, share in kind.sizes.items())


def _spreads(fault: Fault, kind: FaultKind) -> float:
    return kind.spreads if fault.spreading is None else float(fault.spreading)


def _at(kind: FaultKind, place: str, mm: float) -> tuple[float, float, float]:
    """Loss where it rests, loss where it spreads, and log sd, at one place and size."""
    rows = kind.losses[ANY] if ANY in kind.losses else kind.losses[place]
    below = _NO_SIZE
    for row in rows:
        if mm < row.mm:
            part = (mm - below.mm) / (row.mm - below.mm)
            return (
                below.loss + part * (row.loss - below.loss),
                below.spreading + part * (row.spreading - below.spreading),
                below.log_sd + part * (row.log_sd - below.log_sd),
            )
        below = row
    return below.loss, below.spreading, below.log_sd  # as the largest, or of a kind without a size


def _leaves_cloth(faults: tuple[Fault, ...], tables: ConditionTables) -> bool:
    """Whether two of them together leave only the cloth; doubtful and mended ones do not count."""
    own = [one for one in faults if one.sure > MORE_LIKELY_THAN_NOT and not one.mended]
    kinds = {one.kind for one in own}
    spreading = {one.kind for one in own if one.spreading}
    return any(
        kind in (spreading if spreads else kinds) and beside in kinds
        for kind, spreads, beside in tables.cloth_only
    )
