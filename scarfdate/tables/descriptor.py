"""``python -m scarfdate.tables.descriptor FOLDER``: describe a priors folder for other programs.

Writes ``datapackage.json`` (Frictionless Data Package with a Table Schema for each CSV) from the schema of the
tables and from the words of the folder: names, types, limits and words of every column.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from scarfdate.errors import FileFault, PriorsError, ScarfdateError
from scarfdate.files import read_at_most, write_whole
from scarfdate.formats import PRIORS
from scarfdate.tables.column import NUMBERS, Column, WrongCell
from scarfdate.tables.folder import DESCRIPTOR, KINDS
from scarfdate.tables.schema import TableSchema, Words, schema
from scarfdate.tables.sheet import LONGEST_SHEET, Sheet, read_sheet

EXPERT, MUSEUM = "expert", "museum"
_BUILT = ("shares", "measured")  # folders of which the build makes some tables, from expert rows
# how the build names in a row's source what it added to the row
_ADDED = {" museum records (": "museum records", " trade rows (": "trade descriptions"}
_TYPES = {"number": "number", "share": "number", "whole": "integer", "year": "integer"}


def describe(folder: str | Path) -> dict[str, object]:
    """The descriptor of a priors folder, from its files; the same files give the same descriptor.

    Raises OSError where a file cannot be read, PriorsError where one is no table.
    """
    top = Path(folder)
    paths = [path.relative_to(top).as_posix() for path in top.rglob("*.csv")]
    names = [name for name in paths if not any(part.startswith(".") for part in name.split("/"))]
    files = {name: read_at_most(top / name, LONGEST_SHEET + 1) for name in names}
    return described(files, str(folder))


def descriptor_bytes(files: Mapping[str, bytes], called: str = "the tables") -> bytes:
    """``datapackage.json`` of tables by their names in a folder. Raises PriorsError where one is no table."""
    return _as_json(described(files, called))


def _as_json(description: Mapping[str, object]) -> bytes:
    return (json.dumps(description, ensure_ascii=False, indent=1) + "\n").encode("utf-8")


def described(files: Mapping[str, bytes], called: str = "") -> dict[str, object]:
    """`describe` for the contents of files by name. Raises PriorsError where one is no table."""
    faults: list[FileFault] = []
    tables = sorted(name for name in files if name.endswith(".csv"))
    sheets = {name: read_sheet(name, files[name], faults) for name in tables}
    if faults:
        raise PriorsError(called, faults)
    words = Words(sheets)
    return {
        "profile": "data-package",
        "name": "scarfdate-priors",
        "format": PRIORS.version,
        "title": "Priors for dating scarves",
        "description": (
            "What was made when: every number that scarfdate goes by, each row with its basis, and "
            "what stands behind the numbers that were built from records. "
            "Years 1880 to today; the first year stands for itself and all before it. Rows from "
            "museum records name the licences of those records in their source."
        ),
        "licenses": [
            {"name": "MIT", "title": "MIT License", "path": "https://opensource.org/licenses/MIT"}
        ],
        "resources": [_resource(sheet, words) for sheet in sheets.values()],
    }


def write_descriptor(folder: str | Path) -> Path:
    """Write ``datapackage.json`` into the folder, whole or not at all; returns its path."""
    target = Path(folder) / DESCRIPTOR
    write_whole(target, _as_json(describe(folder)))
    return target


def _resource(sheet: Sheet, words: Words) -> dict[str, object]:
    declared = schema().of(sheet.name)
    columns = declared.columns(words, sheet.header, sheet.name) if declared else ()
    known = {column.name: column for column in columns}
    title, description = _told(sheet, declared, words)
    described: dict[str, object] = {
        "fields": [
            _field(known[name], sheet.name, words) if name in known else _inferred(sheet, name)
            for name in sheet.header
        ],
        "missingValues": [""],
    }
    key = [name for name in (declared.key if declared else ()) if name in sheet.header]
    if key:
        described["primaryKey"] = key
    return {
        "name": sheet.name.removesuffix(".csv").replace("/", "-").replace("_", "-"),
        "path": sheet.name,
        "profile": "tabular-data-resource",
        "title": title,
        "description": description,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": described,
    }


def _field(column: Column, file: str, words: Words) -> dict[str, object]:
    """A column as a Table Schema field."""
    constraints: dict[str, object] = {} if column.blank else {"required": True}
    if column.type in NUMBERS:
        limits = {"minimum": column.low, "maximum": column.high}
        constraints |= {name: limit for name, limit in limits.items() if limit is not None}
    elif column.type == "words":
        # in brackets, since a validator may put ^ and $ around a pattern as it stands
        one = f"({'|'.join(column.words or ())})"
        constraints["pattern"] = rf"({one}( *\| *{one})*)"
    elif column.words:
        constraints["enum"] = [*column.words]
    elif column.pattern:
        constraints["pattern"] = column.pattern
    kind = _TYPES.get(column.type, "string")
    said = _filled(column.says, file, words, column.name)
    if column.type == "share":
        said = f"Per cent. {said[:1].upper()}{said[1:]}"
    field: dict[str, object] = {"name": column.name, "type": kind}
    field["description"] = said.strip().rstrip(".") + "."
    return field | ({"constraints": constraints} if constraints else {})


def _filled(text: str, file: str, words: Words, column: str = "") -> str:
    """A title or a sentence of the schema with the names of one file put in."""
    if "{" not in text:
        return text
    family = file.split("/")[-1].removesuffix(".csv")
    unit = words.families.get(family, {}).get("unit", "")
    meaning = words.meanings.get(family, {}).get(column, "")
    return text.format(
        name=words.name(family), parent=words.name(words.parent(family)),
        unit=f" ({unit})" if unit else "", word=column, meaning=meaning,
        Meaning=meaning[:1].upper() + meaning[1:],
    )  # fmt: skip


def _inferred(sheet: Sheet, name: str) -> dict[str, object]:
    """A column that nobody declared: whole numbers, numbers, or else text."""
    cells = sheet.columns.get(name, ())
    filled = [cell for cell in cells if cell]
    kinds = [kind for kind in ("whole", "number") if filled and _all(kind, filled)]
    field: dict[str, object] = {"name": name, "type": _TYPES[kinds[0]] if kinds else "string"}
    field["description"] = schema().remarks["unknown column"]
    return field | ({"constraints": {"required": True}} if filled and all(cells) else {})


def _all(kind: str, cells: Sequence[str]) -> bool:
    column = Column(name="", type=kind)
    try:
        return all(column.value(cell) is not None for cell in cells)
    except WrongCell:
        return False


def _told(sheet: Sheet, declared: TableSchema | None, words: Words) -> tuple[str, str]:
    """Title and description of a file."""
    remarks = schema().remarks
    *folders, file = sheet.name.removesuffix(".csv").split("/")
    if declared is None:
        return file, remarks["unknown"]
    title = _filled(declared.title, sheet.name, words)
    what = _filled(declared.description, sheet.name, words)
    kind = folders[-1] if folders else ""
    if kind not in KINDS:
        return title, what
    group = "/".join(folders[:-1])
    if group == EXPERT:
        return f"Expert rows: {title[:1].lower()}{title[1:]}", f"{what} {remarks[EXPERT]}"
    if group:
        channels = [
            row["channel"]
            for row in words.sheets["channels.csv"].rows
            if row.get("tables") == group
        ]
        made = [remarks["built for a channel"]] if group == MUSEUM and kind in _BUILT else []
        holds = remarks["a channel"].format(channels=", ".join(channels) or "none")
        return f"{title}, {group}", " ".join([what, holds, *made])
    return title, f"{what} {_origin(sheet, words)}" if kind in _BUILT else what


def _origin(sheet: Sheet, words: Words) -> str:
    """Whether a table of clues was built, and what the sources of its rows say was added."""
    remarks = schema().remarks
    if f"{EXPERT}/{sheet.name}" not in words.sheets:
        return remarks["not built"]
    sources = sheet.distinct("source")
    added = [what for mark, what in _ADDED.items() if any(mark in source for source in sources)]
    if not added:
        return remarks["nothing added"]
    return remarks["added"].format(added=" and ".join(added))


def main() -> None:
    """Describe the folder that is named."""
    import argparse

    parser = argparse.ArgumentParser(
        prog="python -m scarfdate.tables.descriptor", description="Write datapackage.json."
    )
    parser.add_argument("folder", type=Path)
    try:
        write_descriptor(parser.parse_args().folder)
    except (OSError, ScarfdateError) as error:
        parser.exit(2, f"{error}\n")


if __name__ == "__main__":
    main()
