"""Fields of nested JSON by their dotted paths, as they would stand in a cell of CSV."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from scarfdate.columns.names import JOINT
from scarfdate.reading.json_text import cell_text


class Nested(Exception):
    """A field of the map is a group of fields; ``args[0]`` is its path."""


def field_reader(group: Sequence[str], *, weighed: bool) -> Callable[[dict[str, Any]], str]:
    """What reads a cell from the fields of a record; where it may be ``weighed``, weights over words."""
    if len(group) == 1:
        name, parts = group[0], group[0].split(".")
        return lambda record: _text(field_at(record, name, parts), name, weighed=weighed)
    every = [field_reader([name], weighed=weighed) for name in group]
    return lambda record: joined(read(record) for read in every)


def field_at(value: Any, name: str, parts: Sequence[str]) -> Any:
    """What stands at a dotted path; every member where the path runs through a list."""
    if isinstance(value, dict) and name in value:
        return value[name]
    for at, part in enumerate(parts):
        if isinstance(value, dict):
            value = value.get(part)
        elif isinstance(value, list) and part.isdecimal() and len(part) < 10:
            value = value[int(part)] if int(part) < len(value) else None
        elif isinstance(value, list):
            values = [field_at(member, ".".join(parts[at:]), parts[at:]) for member in value]
            return [member for member in values if member is not None] or None
        else:
            return None
    return value


def _text(value: Any, name: str, *, weighed: bool) -> str:
    """A JSON value as it would stand in a cell of CSV."""
    if isinstance(value, list):
        return joined(_text(member, name, weighed=False) for member in value)
    if isinstance(value, dict) and not weighed:
        raise Nested(name)
    return cell_text(value)


def joined(texts: Iterator[str]) -> str:
    """Several texts as one cell, the blank ones left out."""
    return JOINT.join(text.strip() for text in texts if text.strip())
