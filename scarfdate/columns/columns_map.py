"""Which column of a dealer's book or of a museum's export is which of ours: a map, written as TOML.

    format = 1                         # the version of the layout of this file; may be left out
    ignore = ["Postage", "Buyer"]      # columns that are left alone

    [columns]                          # our name = their column
    fibre = "Material"
    note = ["Title", "Remarks"]        # several texts are joined by "; "

    [words.fibre]                      # their word = the word of the vocabulary
    Seide = "silk"

    [constants]                        # the same in every record; fills blank cells
    known_by = "receipt"

The same map reads a dealer's stock and her sold book; it may also state ``unit`` (of sizes that state none),
``decimal``, ``date_order``, ``currency``, ``sheet`` (of a spreadsheet) and ``encoding`` (of a CSV file). One of a museum's
export ``size_unit``, ``widest_years``, ``records``, ``unlisted`` and the table ``[kinds]``. Examples:
`data/sold_columns/` and `data/museum_export/`. Local forms are stated here and never guessed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from scarfdate.columns.map_reader import KEYS, MapReader
from scarfdate.columns.names import MUSEUM
from scarfdate.errors import ScarfdateError, TableError, listed, shown
from scarfdate.formats import MAP
from scarfdate.reading.table import printable
from scarfdate.reading.toml_text import read_toml
from scarfdate.tables.priors import Priors, checked_priors

_LONGEST_MAP, _WHAT = 2**20, "a map of columns"  # bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnsMap:
    """A map of columns.

    ``columns``: our name to the columns that hold it (of nested JSON a dotted path, "made.first"; a path
    through a list takes every member, or the one whose number it names, "dates.0.year"); empty where
    the file has our own names. ``words``: our name to (a word as compared, the word it stands for).
    ``constants``: our name to the text that fills blank cells. ``ignore``: columns that are left alone.

    Of a dealer's book: ``date_order``, ``decimal``, ``sheet``, ``encoding``: None where not stated;
    ``currency``: "" where not stated; a ``unit`` is among the constants. Of a museum's export: ``kinds``: object type, in lower case, to kind; ``unlisted``: the kind
    of all other object types, None leaves such records out; ``by_words``: but those that are words for a scarf are
    scarf-like, which holds where the map lists no kinds; ``size_unit``: "cm", "in" or "mm", for sizes
    that state none; ``widest_years``: a wider interval says too little and is left out; ``records``:
    dotted path of the list in a JSON object, through a list of pages, too.
    """

    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    date_order: str | None = None
    decimal: str | None = None
    currency: str = ""
    sheet: str | None = None
    encoding: str | None = None
    kinds: Mapping[str, str] = field(default_factory=dict)
    unlisted: str | None = None
    size_unit: str = "cm"
    widest_years: int = 0
    records: str | None = None
    by_words: bool = False

    def listed(self, object_type: str) -> str | None:
        """The kind of an object type, None where it is not listed; of several joined by ";", the first that is."""
        whole = " ".join(object_type.casefold().split())
        parts = (whole, *(part.strip() for part in whole.split(";")))
        return next((self.kinds[part] for part in parts if part in self.kinds), None)


def read_columns_map(
    path: str | Path, own: tuple[str, ...] = MUSEUM, *, priors: Priors | None = None
) -> ColumnsMap:
    """The map in a TOML file, as at the head of this module.

    ``own``: `MUSEUM` or `SOLD`, whose columns are mapped. What a museum's map does not say of kinds,
    sizes and widths is as in the shipped ``data/museum_export/default.toml``; a table ``[kinds]``
    replaces the shipped one and leaves other object types out, unless ``unlisted`` names a kind for
    them; without one, object types that the vocabulary knows as scarves are scarf-like, too. Raises TableError with everything that is wrong in the file.
    """
    return _mapped(
        read_toml(Path(path), _LONGEST_MAP, _WHAT),
        own,
        printable(str(path)),
        checked_priors(priors),
    )


def columns_map(columns: object, own: tuple[str, ...], priors: Priors) -> ColumnsMap:
    """``columns`` as a map: a map, the path of a TOML file, a mapping, or None for our own names.

    A mapping is ours to theirs, or has the keys of a TOML file. Raises TableError with all faults.
    """
    if isinstance(columns, ColumnsMap):
        return columns
    if isinstance(columns, (str, Path)):
        return read_columns_map(columns, own, priors=priors)
    if columns is not None and not isinstance(columns, Mapping):
        raise TableError(
            f"columns: a TOML file or a mapping of our names to the table's is allowed, got {shown(columns)}"
        )
    written = columns or {}
    keys = {key for key in written if isinstance(key, str)} & {*KEYS[own]}
    keys |= {"format"} if isinstance(written.get("format"), int) else set()
    whole = keys or any(isinstance(value, Mapping) for value in written.values())
    return _mapped(written if whole else {"columns": written}, own, "columns", priors)


def shipped_exports() -> Path:
    """Where the default map and the invented exports lie: beside the package, or in the wheel."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "data"
    return (inside if inside.is_dir() else package.parent / "data") / "museum_export"


@cache
def _default() -> Mapping[str, Any]:
    return MappingProxyType(read_toml(shipped_exports() / "default.toml", _LONGEST_MAP, _WHAT))


def _mapped(
    written: Mapping[Any, Any], own: tuple[str, ...], name: str, priors: Priors
) -> ColumnsMap:
    """The map, once all of its faults are known to be none."""
    reader = MapReader(own, priors)
    given = dict(written)
    try:
        MAP.checked(given.pop("format", None), name)
    except ScarfdateError as refusal:
        raise TableError(str(refusal)) from None
    by_words = own == MUSEUM and not given.get("kinds")
    if own == MUSEUM:
        given = {key: _default()[key] for key in ("size_unit", "widest_years")} | given
        if by_words:
            given = {"unlisted": _default()["unlisted"], **given, "kinds": _default()["kinds"]}
    parts = reader.read(given, [*_default()["kinds"]] if own == MUSEUM else ())
    if reader.wrong:
        raise TableError(f"{name}: " + listed(reader.wrong))
    return ColumnsMap(**parts, by_words=by_words)
