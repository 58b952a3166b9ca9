"""Years to the text of ISO 8601-2 (EDTF); the forms are at the head of `scarfdate.words.edtf`."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from numbers import Integral

from scarfdate.errors import ScarfdateError, shown

_LAST_YEAR = 9999  # four digits, as in level 0


def interval_text(first: int, last: int, *, open_start: bool = False) -> str:
    """Years ``first`` to ``last``, both inclusive, as EDTF level 1 text.

    One year gives "1962", a whole decade "196X", a whole century "19XX", any other span
    "1958/1969". ``open_start`` says that ``first`` is the first cell of the grid, which stands for
    that year *or any earlier one*; the text then has an open start, "../1905".

    Raises ScarfdateError if the years are not whole numbers in 0 to 9999 with first <= last.

    >>> interval_text(1960, 1969)
    '196X'
    """
    first, last = _checked(first, last)
    if open_start:
        return f"../{last:04d}"
    if first == last:
        return f"{first:04d}"
    if first % 100 == 0 and last == first + 99:
        return f"{first // 100:02d}XX"
    if first % 10 == 0 and last == first + 9:
        return f"{first // 10:03d}X"
    return f"{first:04d}/{last:04d}"


def set_text(stretches: Sequence[tuple[int, int]], *, open_start: bool = False) -> str:
    """One or more stretches of years, ends inclusive, as EDTF text.

    One stretch reads as in :func:`interval_text`. More than one give a level 2 one-of set,
    "[1958..1969,1984..1991]": one of these years, it is not known which. ``open_start`` says that
    the earliest stretch begins with the first cell of the grid ("or earlier"): "[..1905,1984]".

    Raises ScarfdateError if there is no stretch, or they are not in order and apart.
    """
    pairs = [_checked(first, last) for first, last in stretches]
    if not pairs:
        raise ScarfdateError("no stretch of years to write: got none, need at least one")
    if len(pairs) == 1:
        return interval_text(*pairs[0], open_start=open_start)
    for before, after in pairwise(pairs):
        if after[0] <= before[1]:
            raise ScarfdateError(
                f"stretches must ascend and not overlap: got {before[0]}-{before[1]} "
                f"before {after[0]}-{after[1]}"
            )
    members = [f"{a:04d}" if a == b else f"{a:04d}..{b:04d}" for a, b in pairs]
    if open_start:
        members[0] = f"..{pairs[0][1]:04d}"
    return f"[{','.join(members)}]"


def _checked(first: int, last: int) -> tuple[int, int]:
    if not (isinstance(first, Integral) and isinstance(last, Integral)):
        raise ScarfdateError(f"years must be whole numbers: got {shown(first)} to {shown(last)}")
    if not 0 <= first <= last <= _LAST_YEAR:
        raise ScarfdateError(
            f"years must ascend within 0 to {_LAST_YEAR}: got {shown(first)} to {shown(last)}"
        )
    return int(first), int(last)
