"""The description of a priors folder in an open standard: a Frictionless ``datapackage.json``.

What a column means is written here, in words; which files, columns and values there are is read from
the folder itself. ``python -m scarfdate.tables.descriptor priors`` writes the file.

https://datapackage.org/standard/data-package/ and .../table-schema/
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from scarfdate.conventions import GRADES, MARKETS
from scarfdate.errors import Fault, PriorsError, ScarfdateError, shown
from scarfdate.files import write_whole
from scarfdate.tables.families import KINDS, READS, Family, read_families
from scarfdate.tables.makers import WHAT
from scarfdate.tables.priors import DESCRIPTOR
from scarfdate.tables.shares import ANY
from scarfdate.tables.sheet import BASES, PROVENANCE
from scarfdate.tables.vocabulary import Vocabulary, read_vocabulary

Json = dict[str, Any]

_FOLDERS = ("shares", "measured", "confusion")
_READINGS = ("value", "synonym", "one-of", "missing")


def text(name: str, description: str, **constraints: object) -> Json:
    """A field of text."""
    return _field(name, "string", description, constraints)


def word(name: str, description: str, allowed: Sequence[str], **constraints: object) -> Json:
    """A field that holds one of some words."""
    return _field(name, "string", description, {"enum": list(allowed), **constraints})


def whole(name: str, description: str, **constraints: object) -> Json:
    """A field of whole numbers."""
    return _field(name, "integer", description, {"required": True, **constraints})


def number(name: str, description: str, **constraints: object) -> Json:
    """A field of numbers with a decimal point."""
    return _field(name, "number", description, {"required": True, **constraints})


def _field(name: str, kind: str, description: str, constraints: Mapping[str, object]) -> Json:
    field: Json = {"name": name, "type": kind, "description": description}
    kept = {key: value for key, value in constraints.items() if value is not False}
    return {**field, "constraints": kept} if kept else field


_YEAR = whole(
    "year",
    "knot year; between knots the numbers are interpolated in log space, after the last held flat",
    minimum=1000,
    maximum=2300,
)
_LAG = whole("lag", "years from the one to the other; a knot", minimum=-99, maximum=999)
_CHANNEL = text("channel", "which kind of place the pieces turn up in", required=True)
_PROVENANCE = (
    word("basis", "how the numbers of the row are known", BASES, required=True),
    text(
        "source",
        "where they are from: a publication, a standard, a command, or 'fact' and the id of a dated "
        "fact; blank only for common practice and memory",
    ),
    text("note", "a remark for the next person who edits the row"),
)
_PERCENT = {"minimum": 0, "maximum": 100}

# name of a single file: (title, description, fields, primary key)
_SINGLE: dict[str, tuple[str, str, tuple[Json, ...], tuple[str, ...]]] = {
    "families.csv": (
        "Families of clues",
        "One row a family: what kind of table it has and what can be written for it. "
        "A new family of the kinds shares or measured needs this row, its words and its table.",
        (
            text("family", "name of the family, as a column of a stock table", required=True),
            word("kind", "how its likelihood is made", KINDS, required=True),
            word("reads", "whether it speaks of the making or of the style", READS, required=True),
            text("parent", "of a measured family: the shares family on which it depends"),
            text("name", "what a person calls it", required=True),
            text("unit", "unit of a measured family"),
            number("low", "the least that can be at all", required=False),
            number("high", "the most that can be at all", required=False),
            number("usual_low", "below this a warning is given", required=False),
            number("usual_high", "above this a warning is given", required=False),
            number("step", "ratio between neighbouring cells of measurement", required=False),
            number("worth", "how many records the table counts for", minimum=0),
        ),
        ("family",),
    ),
    "vocabulary.csv": (
        "Vocabulary",
        "The words that a person may write and the one word each is read as. Case, accents, hyphens "
        "and spare blanks make no difference.",
        (
            text("family", "the family of clues, or what else the word is for", required=True),
            text("word", "the word, in lower case", required=True),
            word("reading", "how the word is read", _READINGS, required=True),
            text(
                "means",
                "of a value: what it is; of a synonym: the word it is read as; of a parent word "
                "(one-of): its children with | between them",
            ),
            text("note", "a remark"),
        ),
        ("family", "word"),
    ),
    "slips.csv": (
        "Slip rates",
        "The chance that what was noted has nothing to do with the making of the piece; after a slip "
        "every value is equally likely.",
        (
            text("family", "family of clues", required=True),
            number("rate", "chance of a slip, in per cent", minimum=0.01, maximum=50),
        ),
        ("family",),
    ),
    "makers.csv": (
        "Makers",
        "The dealer's own file: when each maker put out pieces with each form of signature. "
        "The shipped makers are invented; windows of one maker may overlap and then add up.",
        (
            text("maker", "name as it is read on the piece", required=True),
            word("form", "form of the signature", (ANY,), required=True),
            whole("year_from", "first year of the window", minimum=1000, maximum=2300),
            whole("year_to", "last year of the window", minimum=1000, maximum=2300),
            number("rate", "output a year against the maker's other windows", minimum=1e-6),
            number(
                "edge_years", "outside the window output halves every so many years", minimum=0.1
            ),
            word("what", "whose work it is", WHAT, required=True),
        ),
        (),
    ),
    "lags.csv": (
        "Lags behind a date",
        "How long after a date that the print carries or shows a piece was made: chance of each lag.",
        (
            _LAG,
            number("printed_year", "after a year printed on the piece", minimum=0),
            number("depicted_year", "after the thing that is shown", minimum=0),
            number("depicted_announced", "the same, of a thing announced beforehand", minimum=0),
        ),
        ("lag",),
    ),
    "allowances.csv": (
        "Allowances",
        "Single numbers that the reading of a piece needs.",
        (
            text("what", "what the number is for", required=True),
            number("value", "the number", minimum=0),
            text("unit", "its unit", required=True),
        ),
        ("what",),
    ),
    "channels.csv": (
        "Channels",
        "Where pieces turn up, and which columns and rows of the other tables hold there.",
        (
            _CHANNEL,
            text("years", "column of year_channel.csv", required=True),
            text("grades", "channel of grades.csv", required=True),
            text("markets", "channel of markets.csv", required=True),
            text("description", "the channel in words", required=True),
        ),
        ("channel",),
    ),
    "year_museum.csv": (
        "Year prior: what museums record",
        "Density of the years in open museum date records. Built by the command under source.",
        (
            _YEAR,
            number("density", "share of the records a year, of any scale", minimum=0),
            number("records", "how many records stand behind it", minimum=0),
        ),
        ("year",),
    ),
    "year_channel.csv": (
        "Year prior: how a channel differs",
        "Beside what museums record: how many pieces of each year turn up in a channel.",
        (_YEAR, number("uncertainty", "the factor may be wrong by so much either way", minimum=1)),
        ("year",),
    ),
    "grades.csv": (
        "Grades by year",
        "Shares of the price tiers among the pieces of a year, in each channel.",
        (
            _CHANNEL,
            _YEAR,
            *(number(grade, f"grade {grade}, in per cent", **_PERCENT) for grade in GRADES),
        ),
        ("channel", "year"),
    ),
    "markets.csv": (
        "Markets by year",
        "Shares of the markets where the pieces of a year were first sold, in each channel.",
        (
            _CHANNEL,
            _YEAR,
            *(number(market, f"market {market}, in per cent", **_PERCENT) for market in MARKETS),
        ),
        ("channel", "year"),
    ),
    "revivals.csv": (
        "Revivals",
        "Share of later pieces in an older look among the pieces made in a year.",
        (_YEAR, number("share", "in per cent", **_PERCENT)),
        ("year",),
    ),
    "lookback_lag.csv": (
        "Looking back: how far",
        "How readily a later piece looks back so many years.",
        (_LAG, number("weight", "weight, of any scale", minimum=0)),
        ("lag",),
    ),
    "lookback_appeal.csv": (
        "Looking back: to when",
        "How readily a style year is looked back to.",
        (_YEAR, number("weight", "weight, of any scale", minimum=0)),
        ("year",),
    ),
}


def describe(folder: Path) -> Json:
    """The descriptor of a whole priors folder, from its files.

    Raises PriorsError where a file has no place in such a folder or the words cannot be read.
    """
    names = _files(folder)
    faults: list[Fault] = []
    for needed in ("families.csv", "vocabulary.csv"):
        if needed not in names:
            step = "only a whole folder has a descriptor; single files that replace shipped ones need none"
            raise PriorsError(
                str(folder), [Fault(needed, None, None, "the file is missing", "", step)]
            )
    vocabulary = read_vocabulary((folder / "vocabulary.csv").read_bytes(), faults)
    families = read_families((folder / "families.csv").read_bytes(), faults)
    resources = []
    for name in names:
        header, rows = _sheet(folder, name, faults)
        known = _known(name, header, families, vocabulary)
        if known is None:
            step = "take it out, or describe it in scarfdate/tables/descriptor.py"
            faults.append(Fault(name, None, None, "not a file of a priors folder", "", step))
            continue
        title, description, fields, key = known
        missing = [column for column in header if column not in fields]
        if missing:
            faults.append(Fault(name, 1, missing[0], "a column that is not described"))
            continue
        resource: Json = {
            "name": name.removesuffix(".csv").replace("/", "-").replace("_", "-"),
            "path": name,
            "title": title,
            "description": description,
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "schema": {"fields": [fields[column] for column in header]},
        }
        if key:
            resource["schema"]["primaryKey"] = list(key)
        sources = _sources(rows)
        if sources:
            resource["sources"] = [{"title": source} for source in sources]
        resources.append(resource)
    if faults:
        raise PriorsError(str(folder), faults)
    return {
        "name": "scarfdate-priors",
        "title": "Priors for dating scarves",
        "description": (
            "What is known about scarves before one is looked at: shares, measures, confusions and "
            "rates by year of making, grade and market. Every row says how it is known. "
            "Written by `python -m scarfdate.tables.descriptor`; edit the tables, not this file."
        ),
        "licenses": [
            {"name": "MIT", "title": "MIT License", "path": "https://opensource.org/license/mit"}
        ],
        "contributors": [{"title": "The scarfdate founders", "role": "author"}],
        "resources": resources,
    }


def descriptor(folder: Path) -> bytes:
    """`describe` as the bytes of a ``datapackage.json``."""
    return (json.dumps(describe(folder), indent=1, ensure_ascii=False) + "\n").encode()


def write_descriptor(folder: Path) -> Path:
    """Write the descriptor into the folder, whole or not at all; returns where it lies."""
    path = folder / DESCRIPTOR
    write_whole(path, descriptor(folder))
    return path


def _files(folder: Path) -> list[str]:
    """Names of the tables of a folder with forward slashes, single ones first."""
    if not folder.is_dir():
        raise ScarfdateError(f"there is no folder {shown(str(folder))}; name a priors folder")
    places = [folder, *(folder / name for name in _FOLDERS if (folder / name).is_dir())]
    return [
        path.relative_to(folder).as_posix()
        for place in places
        for path in sorted(place.glob("*.csv"))
        if not path.name.startswith(".")
    ]


def _sheet(folder: Path, name: str, faults: list[Fault]) -> tuple[list[str], list[dict[str, str]]]:
    """Header and rows of a table; what is in the cells is checked when the priors are loaded."""
    try:
        content = (folder / name).read_bytes().decode("utf-8-sig")
        reader = csv.DictReader(io.StringIO(content, newline=""), strict=True)
        rows = [dict(row) for row in reader]
    except (UnicodeDecodeError, csv.Error) as error:
        faults.append(Fault(name, None, None, "not readable as CSV", str(error)))
        return [], []
    return list(reader.fieldnames or []), rows


def _known(
    name: str, header: Sequence[str], families: Mapping[str, Family], vocabulary: Vocabulary
) -> tuple[str, str, dict[str, Json], tuple[str, ...]] | None:
    """Title, description, fields by name and primary key of a file; None where it has no place."""
    folder, _, rest = name.rpartition("/")
    family = families.get(rest.removesuffix(".csv"))
    if not folder:
        if name not in _SINGLE:
            return None
        title, description, fields, key = _SINGLE[name]
        fields = (*fields, *_open_fields(name, header, vocabulary))
        if name == "vocabulary.csv":  # words, no numbers: this table alone has no basis
            return title, description, _by_name(fields), key
    elif family is None:
        return None
    else:
        title, description, fields, key = _of_family(folder, family, header, vocabulary)
    return title, description, _by_name((*fields, *_PROVENANCE)), key


def _open_fields(name: str, header: Sequence[str], vocabulary: Vocabulary) -> list[Json]:
    """Fields of a single table that depend on the folder: more channels, forms of signature."""
    if name == "year_channel.csv":
        fixed = {"year", "uncertainty", *PROVENANCE}
        words = "pieces of the year that turn up in channel {} for one in a museum, of any scale"
        return [
            number(column, words.format(column), minimum=0)
            for column in header
            if column not in fixed
        ]
    if name == "makers.csv":
        forms = (*vocabulary.values.get("signature", ()), ANY)
        return [word("form", "form of the signature, or any", forms, required=True)]
    return []


def _of_family(
    folder: str, family: Family, header: Sequence[str], vocabulary: Vocabulary
) -> tuple[str, str, tuple[Json, ...], tuple[str, ...]]:
    """The table of a family of clues: its shares, its measures or its confusions."""
    values = vocabulary.values.get(family.parent or family.name, ())
    grade = word("grade", "price tier that it was made for, or any", (*GRADES, ANY), required=True)
    fields: tuple[Json, ...]
    if folder == "measured":
        fields = (
            _YEAR,
            grade,
            word(
                "given",
                f"value of the family {family.parent}, or any",
                (*values, ANY),
                required=True,
            ),
            number("median", f"half are below it ({family.unit or 'a ratio'})", minimum=1e-6),
            number(
                "spread",
                "68 % lie between median / spread and median x spread",
                minimum=1.001,
                maximum=20,
            ),
        )
        title = f"Measures: {family.title}"
        return title, "A log-normal at each knot.", fields, ("year", "grade", "given")
    meanings = vocabulary.meanings.get(family.name, {})
    shares = tuple(
        number(value, f"in per cent; {meanings.get(value) or value}", **_PERCENT)
        for value in values
    )
    if folder == "confusion":
        methods = vocabulary.values.get("method", ())
        fields = (
            word("method", "how the piece was looked at", methods, required=True),
            word("true", "what it is", values, required=True),
            *shares,
        )
        description = (
            "What is noted, in per cent, for each thing that it truly is. A row adds up to 100."
        )
        return f"Confusion: {family.title}", description, fields, ("method", "true")
    market = word("market", "where it was first sold, or any", (*MARKETS, ANY), required=True)
    with_market = "market" in header
    fields = (_YEAR, grade, *((market,) if with_market else ()), *shares)
    key = ("year", "grade", "market") if with_market else ("year", "grade")
    description = "Shares among all scarves made, in per cent. A row adds up to 100."
    return f"Shares: {family.title}", description, fields, key


def _by_name(fields: Sequence[Json]) -> dict[str, Json]:
    return {field["name"]: field for field in fields}


def _sources(rows: Sequence[Mapping[str, str]]) -> list[str]:
    """The sources that the rows of a table name, each once, in alphabetical order."""
    named: set[str] = set()
    for row in rows:
        source = (row.get("source") or "").strip()
        parts = [part.strip() for part in source.split(";")]
        # only a row of facts is a list; the name of a publication may have a semicolon in it
        named |= set(parts) if all(part.startswith("fact ") for part in parts) else {source}
    return sorted(named - {""})


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the descriptor of the folder that is named on the command line."""
    import argparse

    parser = argparse.ArgumentParser(
        prog="python -m scarfdate.tables.descriptor",
        description="Write the datapackage.json of a whole priors folder.",
    )
    parser.add_argument("folder", type=Path)
    given = parser.parse_args(arguments)
    try:
        print(write_descriptor(given.folder))
    except (ScarfdateError, OSError) as error:
        parser.exit(1, f"{error}\n")


if __name__ == "__main__":
    main()
