"""What can be done about the faults of a piece, and what they are afterwards."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from scarfdate.tables.worth_condition import ConditionTables, Mending
from scarfdate.worth.fault import Fault
from scarfdate.worth.losses import size_of


def mendings_of(
    faults: Sequence[Fault], tables: ConditionTables
) -> Iterator[tuple[Fault, Mending, tuple[Fault, ...]]]:
    """Each fault with each thing that can be done about it, and all faults after that went well.

    A fault that was mended already, or is too large for it, is left out. What was mended no longer spreads.
    """
    for at, fault in enumerate(faults):
        size = size_of(fault, tables.kinds[fault.kind])
        for mending in tables.mending:
            if mending.kind != fault.kind or fault.mended:
                continue
            if math.isnan(size) or math.isnan(mending.largest) or size <= mending.largest:
                after = replace(fault, mended=mending.won_back, spreading=False)
                yield fault, mending, (*faults[:at], after, *faults[at + 1 :])
