"""The years that a date text allows, and how a text is refused that allows none."""

from __future__ import annotations

from typing import NamedTuple

from scarfdate.errors import ScarfdateError

SHOWN = 60

ALLOWED = (
    "allowed: 1962, 1962-05, 1962-05-17, 196X, 19XX, 1984?, 1984~, 1984%, 1958/1969, ../1969, "
    "1958/.., [1958..1969,1984], or words such as 'ca. 1968', '1960s', 'late 1960s', '1958-69', "
    "'20th century', 'before 1960', 'after 1945'"
)


class Years(NamedTuple):
    """The first and the last year, None for an open end, and whether the text says that it is not sure."""

    first: int | None
    last: int | None
    approximate: bool


def refusal(text: str, reason: str) -> ScarfdateError:
    """The error that names a date text, why it cannot be read, and what is allowed."""
    shown = text if len(text) <= SHOWN else text[:SHOWN] + "…"
    return ScarfdateError(f"cannot read the date {shown!r}: {reason}; {ALLOWED}")


def hull(start: Years, end: Years, text: str) -> Years:
    """From the first year of one to the last of the other; refused where these run backwards or name no year."""
    if start.first is None and end.last is None:
        raise refusal(text, "it names no year")
    # ends that overlap (1965/196X) are sound; ends that run backwards are a slip of the pen
    if start.first is not None and end.last is not None and end.last < start.first:
        raise refusal(text, "it ends before it starts")
    return Years(start.first, end.last, start.approximate or end.approximate)
