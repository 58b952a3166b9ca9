"""The headings of a table, read as columns: exact names first, then as people head a column.

A unit behind a heading holds for its column: "Size (in)", "Width cm". A column that is nobody's is not used.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from scarfdate.errors import TableError, shown
from scarfdate.reading.cells import column_name
from scarfdate.tables.noted import Headings, plain_heading
from scarfdate.words.lengths import UNIT_OF_WORD

_KEPT_AS_IS = "note"  # columns that begin so are the dealer's own and are never read
_SIZE, _SIDES = "size", ("width", "height")
_UNIT_BEHIND = re.compile(r"(.*?)[\s_(\[/,]*(?:(?:in|en)\s+)?([a-z]+|[\"'])[\s)\]._]*")
_WHICH_WAY = re.compile(r"(?<=[a-z])[\s(\[,]+[lwhb] ?[x/*] ?[lwhb]\b[\s)\],]*")  # Size (W x L) in
_EITHER = re.compile(r"\s*(?:[/&+,|]|\b(?:and|or)\b)\s*")
_LONGEST = 100  # characters of a heading that can be one of ours
_HEADED_BY = ("cm", "in")  # a side with its unit is a column of its own: width_cm


class Columns(NamedTuple):
    """``place``: the number of each column that is read; ``units``: of columns whose heading states one;
    ``not_used``: the headings of all others."""

    place: dict[str, int]
    units: dict[str, str]
    not_used: tuple[str, ...]


def read_headings(written: Sequence[object], known: Sequence[str], table: Headings) -> Columns:
    """What each heading is read as. Raises TableError where a column is there twice, or has no name of text."""
    names = [column_name(heading) for heading in written]
    place: dict[str, int] = {}
    for at, name in enumerate(names):
        if name in place:
            raise TableError(f"column {shown(written[at])} stands there twice; take one out")
        if name in known:
            place[name] = at
    units: dict[str, str] = {}
    not_used = []
    for at, name in enumerate(names):
        if name in known or name.startswith(_KEPT_AS_IS):
            continue
        column, unit = heading_column(str(written[at]), known, table)
        if not column or column in place:
            if column != _KEPT_AS_IS:
                not_used.append(str(written[at]))
            continue
        place[column] = at
        if unit:
            units[column] = unit
    return Columns(place, units, tuple(not_used))


def heading_column(heading: str, known: Sequence[str], table: Headings) -> tuple[str, str]:
    """The column a heading is read as, "" for none, and the unit of a size that it states, "" for none."""
    if len(heading) > _LONGEST:
        return "", ""
    plain = plain_heading(heading).replace(" ", "_")
    column = plain if plain in known else table.column(heading)
    if column:
        return (column, "") if column in known else ("", "")
    both = {found for part in _EITHER.split(heading) if (found := table.column(part))}
    if len(both) == 1 and both <= {*known} - {
        _SIZE,
        *_SIDES,
    }:  # "Weave/texture": a column of ours, and what no table knows
        return both.pop(), ""
    before, unit = unit_behind(heading)
    if not unit:
        return "", ""
    plain = column_name(before) if before.strip() else ""
    column = plain if plain in (_SIZE, *_SIDES) else table.column(before)
    if column in _SIDES and unit in _HEADED_BY:
        return f"{column}_{unit}", ""
    return (column, unit) if column == _SIZE else ("", "")


def unit_behind(heading: str) -> tuple[str, str]:
    """What stands in front of the unit of a heading, and the unit, "" where it states none: "Size (in)"."""
    parts = _UNIT_BEHIND.fullmatch(_WHICH_WAY.sub(" ", heading[:_LONGEST].strip().casefold()))
    unit = UNIT_OF_WORD.get(parts[2], "") if parts else ""
    return (parts[1], unit) if parts and unit else ("", "")


def heading_of(name: str, known: Sequence[str], table: Headings) -> str:
    """The name of a column or clue as it is known; as it was written (`column_name`) where it is not."""
    plain = column_name(name)
    if plain in known:
        return plain
    column, _ = heading_column(name, known, table)
    return column or plain
