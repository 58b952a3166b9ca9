"""CSV that a spreadsheet will not run: a cell that looks like a formula is made plain text."""

from __future__ import annotations

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def safe_cell(value: object) -> object:
    """Text that a spreadsheet would take for a formula gets an apostrophe in front."""
    if isinstance(value, str) and value.startswith(_FORMULA):
        return "'" + value
    return value
