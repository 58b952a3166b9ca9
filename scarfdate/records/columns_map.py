"""Which field of a museum's export is which of our columns: a map, written as TOML.

The shipped `data/museum_export/` has examples.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from scarfdate.errors import TableError, did_you_mean, shown
from scarfdate.tables.priors import load_priors

OWN = (
    "source", "record_id", "object_type", "date_text", "year_begin", "year_end", "medium_text",
    "country", "width_cm", "height_cm", "year_acquired", "licence",
)  # fmt: skip
_JOINED = ("object_type", "date_text", "medium_text", "country", "licence")  # may be several fields
_SIZE_UNITS = ("cm", "in", "mm")
_KEYS = ("columns", "constants", "kinds", "unlisted", "size_unit", "widest_years", "records")


@dataclass(frozen=True, slots=True)
class ColumnsMap:
    """Which field of an export is which of our columns, and what is the same in every record.

    ``columns``: our name to the fields that hold it (their texts are joined by "; "); empty where
    the export uses our own names. A field of nested JSON is a dotted path ("made.first"); a path
    through a list takes every member, or the one whose number it names ("dates.0.year").
    ``constants``: our name to a text that fills blank cells. ``kinds``: object type, in lower case,
    to kind. ``unlisted``: the kind of all other object types; None leaves such records out.
    ``size_unit``: "cm", "in" or "mm", for sizes that state none. ``widest_years``: a wider interval
    says too little and is left out. ``records``: dotted path of the list in a JSON object.
    """

    columns: Mapping[str, tuple[str, ...]]
    constants: Mapping[str, str]
    kinds: Mapping[str, str]
    unlisted: str | None
    size_unit: str
    widest_years: int
    records: str | None = None

    def kind(self, object_type: str) -> str | None:
        """The kind of an object type; of several joined by ";", the first that is listed."""
        whole = " ".join(object_type.casefold().split())
        if whole in self.kinds:
            return self.kinds[whole]
        for part in whole.split(";"):
            if part.strip() in self.kinds:
                return self.kinds[part.strip()]
        return self.unlisted


def read_columns_map(path: str | Path) -> ColumnsMap:
    """The map in a TOML file; what it does not say is as in the shipped ``default.toml``.

    Tables: ``[columns]``, ``[constants]``, ``[kinds]`` (kind = list of object types; it replaces the
    shipped kinds, and leaves other types out unless ``unlisted`` names a kind for them). Keys above
    them: ``size_unit``, ``widest_years``, ``unlisted``, ``records``. Raises TableError with
    everything that is wrong in the file.
    """
    return _mapped(_toml(Path(path)), str(path), _default())


def columns_map(columns: ColumnsMap | Mapping[str, str | Sequence[str]] | None) -> ColumnsMap:
    """``columns`` as a whole map: a mapping of our names to fields, or None for our own names."""
    if isinstance(columns, ColumnsMap):
        return columns
    return _mapped({"columns": dict(columns)} if columns else {}, "columns", _default())


@cache
def _default() -> ColumnsMap:
    path = shipped_exports() / "default.toml"
    return _mapped(_toml(path), path.name, None)


def shipped_exports() -> Path:
    """Where the default map and the invented exports lie: beside the package, or in the wheel."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "data"
    return (inside if inside.is_dir() else package.parent / "data") / "museum_export"


def _toml(path: Path) -> dict[str, Any]:
    try:
        with path.open("rb") as stream:
            return tomllib.load(stream)
    except tomllib.TOMLDecodeError as error:
        raise TableError(f"{path}: not TOML ({error}); see {shipped_exports().name}") from None
    except UnicodeDecodeError:
        raise TableError(f"{path}: not UTF-8 text; save the file as UTF-8") from None
    except (OSError, ValueError) as error:
        raise TableError(f"{path}: cannot be read ({error})") from None


def _mapped(said: Mapping[str, Any], name: str, default: ColumnsMap | None) -> ColumnsMap:
    wrong: list[str] = []
    for key in said:
        if key not in _KEYS:
            wrong.append(f"{shown(key)} is not a key of a columns map; {did_you_mean(key, _KEYS)}")
    tables: dict[str, dict[str, Any]] = {}
    for key in ("columns", "constants", "kinds"):
        tables[key] = said.get(key, {}) if isinstance(said.get(key, {}), dict) else {}
        if tables[key] is not said.get(key, tables[key]):
            wrong.append(f"{key} must be a table, got {shown(said[key])}; write [{key}]")
    columns: dict[str, tuple[str, ...]] = {}
    for ours, written in tables["columns"].items():
        fields = (written,) if isinstance(written, str) else written
        if ours not in OWN and ours not in _families():
            wrong.append(
                f"[columns] {shown(ours)} is none of our columns; {did_you_mean(ours, known_columns())}"
            )
        elif not _texts(fields):
            wrong.append(
                f"[columns] {ours} must be the name of a field, or a list of names, got {shown(written)}"
            )
        elif len(fields) > 1 and ours not in _JOINED:
            wrong.append(
                f"[columns] {ours} must be one field, got {len(fields)}; "
                f"several are joined only for {', '.join(_JOINED)}"
            )
        else:
            columns[ours] = tuple(fields)
    for ours, written in tables["constants"].items():
        if ours not in OWN and ours not in _families():
            wrong.append(
                f"[constants] {shown(ours)} is none of our columns; {did_you_mean(ours, known_columns())}"
            )
        elif ours == "record_id" or not isinstance(written, str) or not written.strip():
            wrong.append(f"[constants] {ours} must be a text that all records may share, "
                         f"got {shown(written)}")  # fmt: skip
    kinds: dict[str, str] = {}
    for kind, types in tables["kinds"].items():
        if not _texts(types):
            wrong.append(f"[kinds] {kind} must be a list of object types, got {shown(types)}")
            continue
        for word in (" ".join(text.casefold().split()) for text in types):
            if kinds.setdefault(word, kind) != kind:
                wrong.append(f"[kinds] {shown(word)} is counted as {kinds[word]} and as {kind}")
    unit = said.get("size_unit", default.size_unit if default else "cm")
    if unit not in _SIZE_UNITS:
        wrong.append(f"size_unit must be {', '.join(_SIZE_UNITS)}, got {shown(unit)}")
    widest = said.get("widest_years", default.widest_years if default else None)
    if not isinstance(widest, int) or isinstance(widest, bool) or widest < 1:
        wrong.append(f"widest_years must be a whole number above 0, got {shown(widest)}")
    for key in ("unlisted", "records"):
        if key in said and not _texts((said[key],)):
            wrong.append(f"{key} must be a text, got {shown(said[key])}")
    if wrong:
        raise TableError(f"{name}: " + "\n  ".join(wrong))
    unlisted = said.get("unlisted")
    if default is not None and not kinds:
        kinds, unlisted = dict(default.kinds), said.get("unlisted", default.unlisted)
    return ColumnsMap(
        MappingProxyType(columns),
        MappingProxyType({ours: text.strip() for ours, text in tables["constants"].items()}),
        MappingProxyType(kinds),
        unlisted,
        unit,
        widest,
        said.get("records"),
    )


def _texts(value: object) -> bool:
    return (
        isinstance(value, (list, tuple))
        and len(value) > 0
        and all(isinstance(text, str) and text.strip() for text in value)
    )


def _families() -> tuple[str, ...]:
    """The clues that a record may state in words of the vocabulary."""
    return tuple(load_priors().shares)


def known_columns() -> tuple[str, ...]:
    """Our columns, and the clues that a record may state, by their names."""
    return (*OWN, *_families())
