"""Where our columns stand in a dealer's table, what became of each of its columns, and its cells in our words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from types import MappingProxyType

from scarfdate.columns.columns_map import ColumnsMap
from scarfdate.columns.names import DATES, JOINT, SOLD, WAYS, heading_name, known_names, places_of
from scarfdate.errors import TableError, did_you_mean, listed, nearest, shown
from scarfdate.reading.cells import as_typed, column_name, is_blank
from scarfdate.reading.headings import unit_behind
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain

_UNIT = "unit"
_LONGEST_WORD = 200  # characters of a cell that a map can exchange
_SIZES = ("size", "width", "height")  # whose cells need not state their unit
_TEXTS = ("id", "maker", "label_text", "sold_channel")  # a number in them is a text of digits


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Where our columns stand in one table, and what became of each of its columns.

    ``places``: our name to the numbers of the columns that hold it. ``fate``: for each column of the
    table its name, what it is read as ("" if it is not) and a remark. ``unit``: of sizes, where the heading of one
    states it ("Size (in)"), "" where none does.
    """

    places: Mapping[str, tuple[int, ...]]
    fate: tuple[tuple[str, str, str], ...]
    unit: str = ""


def find_columns(
    header: Sequence[object], using: ColumnsMap, name: str, priors: Priors, *, sold: bool = True
) -> Placed:
    """Where each of our columns stands under a header; TableError where the map and it do not fit.

    ``sold``: whether the table has to say when pieces were made and how that is known.
    """
    folded = [column_name(text) for text in header]  # refuses what is no text
    written = [str(text).strip() for text in header]
    ignored = {column_name(text) for text in using.ignore}
    read: dict[int, list[str]] = {}
    places: dict[str, tuple[int, ...]] = {}
    wrong: list[str] = []
    names = known_names(SOLD, priors)
    for own, fields in using.columns.items():
        for text in fields:
            at = places_of(text, written)
            if len(at) == 1:
                read.setdefault(at[0], []).append(own)
                places[own] = (*places.get(own, ()), at[0])
            else:
                problem = (
                    "the table has more than one column of this name; rename one" if at
                    else f"the table has no such column; {did_you_mean(text, written)}"
                )  # fmt: skip
                wrong.append(f"[columns] {own} = {shown(text)}: {problem}")
    if not using.columns:
        for place, text in sorted(enumerate(folded), key=lambda one: one[1] not in names):
            own = "" if text in ignored else heading_name(written[place], priors)
            if not own or (own in places and text not in names):
                continue  # another heading of what there is already: "Color" beside "colour"
            if own in places:
                wrong.append(f"column {shown(written[place])} stands there twice; take one out")
            places[own] = (place,)
            read[place] = [own]
    if sold:
        wrong = wrong or _lacking({*places, *using.constants}, written)
    if wrong:
        raise TableError(f"{name}: " + listed(wrong))
    fate = []
    for place, text in enumerate(written):
        remark = ""
        if place not in read and folded[place] in ignored:
            remark = "ignored"
        elif place not in read:
            remark = _why(text, written, places, priors) if not using.columns else ""
            remark = remark or "not understood" + _near(
                folded[place], names, mapped=bool(using.columns)
            )
        fate.append((text, ", ".join(read.get(place, [])), remark))
    sizes = (written[place] for name in _SIZES for place in places.get(name, ()))
    unit = next((unit for heading in sizes if (unit := unit_behind(heading)[1])), "")
    return Placed(places=MappingProxyType(places), fate=tuple(fate), unit=unit)


def with_unit(using: ColumnsMap, placed: Placed, unit: str | None) -> ColumnsMap:
    """The map with the unit of sizes that state none: of a heading, or else ``unit``; a stated one stands."""
    unit = placed.unit or unit
    if not unit or _UNIT in using.constants or placed.places.keys().isdisjoint(_SIZES):
        return using
    return replace(using, constants={**using.constants, _UNIT: unit})


def _lacking(stated: set[str], written: Sequence[str]) -> list[str]:
    """What no table of sold records can do without."""
    got = (
        f"the columns are {', '.join(map(shown, written[:12]))}{', …' if len(written) > 12 else ''}"
    )
    if stated.isdisjoint(DATES):
        return [
            "no column says when the pieces were made; wanted is known (one cell), or known_from and "
            f"known_to; {got}; name them so, or say which they are in a map of columns"
        ]
    if "known_by" not in stated:
        return [
            f"no column says how that is known; wanted is known_by, one of {', '.join(WAYS)}; {got}; "
            "add it, or state it for all of them under [constants] of a map of columns"
        ]
    return []


def _why(
    heading: str, written: Sequence[str], places: Mapping[str, Sequence[int]], priors: Priors
) -> str:
    """Why a column that is understood is left out; "" for one that is not."""
    own = heading_name(heading, priors)
    if own in places:
        taken = shown(written[places[own][0]])
        return f"{taken} is read as {own} already; write both into one column, or join them by a map of columns"
    if priors.words_of_sheets.says("age", heading.rstrip(" ?")):
        return "left out: what somebody thinks of the age is no clue, and would be counted twice"
    return ""


def _near(name: str, names: list[str], *, mapped: bool) -> str:
    if mapped:
        return "; our own name, but not in the map" if name in names else ""
    close = nearest(name, names)
    return "; did you mean " + " or ".join(map(shown, close)) + "?" if close else ""


def own_cell(using: ColumnsMap, priors: Priors, name: str, cells: Sequence[object]) -> object:
    """A cell of one of our columns, in our words: columns joined, their words exchanged, blanks filled.

    ``cells``: of the columns of the table that hold it, None where blank.
    """
    cell = cells[0] if cells else None
    if len(cells) > 1:
        cell = JOINT.join(as_typed(cell) for cell in cells if cell is not None) or None
    words = using.words.get(name)
    if (
        words
        and isinstance(cell, (str, int, float, Decimal))
        and len(as_typed(cell)) < _LONGEST_WORD
    ):
        cell = words.get(plain(as_typed(cell)), cell)
    if is_blank(cell):
        cell = using.constants.get(name)
    if name in priors.shares and priors.vocabulary.says_nothing(name, cell):
        return None
    if name in _TEXTS and isinstance(cell, (int, float)):
        cell = str(int(cell) if isinstance(cell, float) and cell.is_integer() else cell)
    elif name in _TEXTS and isinstance(cell, Decimal):
        cell = f"{cell:f}"
    return cell
