"""The number of the next piece, as the dealer numbers hers."""

from __future__ import annotations

import re
from collections.abc import Sequence

_FIRST = "1"
_NUMBERED = re.compile(r"(.*?)([0-9]{1,9})", re.DOTALL)


def next_id(ids: Sequence[str]) -> str:
    """The number after the highest of those that are written as the last one is: V059 makes V060."""
    numbered = [found for found in map(_NUMBERED.fullmatch, map(str.strip, ids)) if found]
    if not numbered:
        return _FIRST if not any(map(str.strip, ids)) else str(len(ids) + 1)
    head, last = numbered[-1].groups()
    highest = max(int(found[2]) for found in numbered if found[1] == head)
    return f"{head}{highest + 1:0{len(last)}d}"
