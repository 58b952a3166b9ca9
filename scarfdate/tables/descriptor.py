"""``python -m scarfdate.tables.descriptor FOLDER``: describe a priors folder for other programs.

Writes ``datapackage.json`` (Frictionless Data Package with a Table Schema for each CSV), from the
files themselves: names, types, limits and words of every column.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from pathlib import Path

from scarfdate.files import write_whole
from scarfdate.tables.descriptor_columns import field_of
from scarfdate.tables.descriptor_fields import Place, Row, Words
from scarfdate.tables.priors import DESCRIPTOR

EXPERT, MUSEUM = "expert", "museum"
_BUILD = "`scarfdate build-priors`"
# what each single file is, its title first
_FILES = {
    "allowances.csv": ("Allowances", "Single numbers that the reading, the weighing and the building of tables go by."),
    "checks.csv": ("Checks", "What can be looked at, by which method, how many minutes it takes, what it needs, whether it harms the piece, and cautions."),
    "channels.csv": ("Channels", "Where pieces turn up, and which columns, keys and tables hold there."),
    "disagreement_reasons.csv": ("Reasons for disagreements", "Why museum, trade or law say otherwise than is shipped, each in a sentence written by a person; not read in dating."),
    "families.csv": ("Clue families", "Every kind of clue, what it tells of, its unit and its plausible range."),
    "grades.csv": ("Grade by year", "Share of each price tier among surviving pieces of a year, by channel."),
    "information.csv": ("Information about the decade", "How many bits about the decade of making a note of each family carries in a thrift shop, by price tier, with 80 % intervals."),
    "label_numbers.csv": ("Number series of labels", "Years in which numbers of each series printed on labels were issued, as anchors to interpolate between."),
    "label_postcodes.csv": ("Postal codes", "How many digits the postal code of a country has, what mark it is, and what tells the country."),
    "label_rules.csv": ("Rules of labels", "What dated facts of law and habit say of a mark on a label, by market: in which years it can be met, or which conclusion to keep from."),
    "label_shown.csv": ("Marks by year", "How often each mark is shown on full and on brief labels, by market and year, in per cent."),
    "label_style.csv": ("Full labels by year", "Share of full labels among the intact ones of a year, in per cent."),
    "label_use.csv": ("Numbers in use", "How much a number is in use on labels in the years after its issue, in per cent."),
    "label_values.csv": ("Marks of labels", "What each mark of a label and its values are called, where the mark is at home, and the clue that a value names."),
    "label_words.csv": ("Phrases of labels", "What mark each phrase printed on a label is, and with what value."),
    "lags.csv": ("Lags", "How many years after a depicted or printed year pieces were made, as weights."),
    "law_limits.csv": ("Limits by dated facts", "Years before, from or until which a value of a clue can be met, by law, standard, first making or first sale; not read in dating."),
    "lookback_appeal.csv": ("Looks looked back to", "How much later makers looked back to each year's look, as weights."),
    "lookback_lag.csv": ("How far back", "How many years later pieces look back, as weights."),
    "makers.csv": ("Makers", "In which years each maker put out pieces, by form of signature; the shipped ones are invented."),
    "markets.csv": ("Market by year", "Share of each market of first sale among surviving pieces of a year, by channel."),
    "medium_rules.csv": ("Phrases of medium texts", "What each phrase of a museum's medium text says of a family, or does as a connecting word."),
    "medium_together.csv": ("Words of medium texts together", "What two words of one family come to where a medium text has both."),
    "revivals.csv": ("Later pieces", "Share of the pieces made in a year that have an older look."),
    "slips.csv": ("Slips", "How often a note of each family has nothing to do with the making of the piece."),
    "survival.csv": ("Survival", "Share of the pieces made in a year that are still about, by price tier, in per cent; not used in dating."),
    "vocabulary.csv": ("Vocabulary", "The words that may be written, and the one word each is read as."),
    "year_channel.csv": ("Years by channel", "How the years of pieces in a channel differ from those in museums, as factors."),
    "year_museum.csv": ("Years in museums", f"Density of museum records by year of making, by kind of object, with its 80 % band; built by {_BUILD}."),
    "museum/intervals.csv": ("Museum dates", f"Distinct date intervals of museum records with their counts, from which the densities can be fitted again; built by {_BUILD}, not read in dating."),
    "museum/statements.csv": ("How museums state dates", f"Share of each kind of date statement by true year of making, estimated, in per cent; built by {_BUILD}, not read in dating."),
    "museum/borrowed.csv": ("Borrowed from other textiles", f"How well each weight of records of other textiles foretells held-out scarf records; built by {_BUILD}, not read in dating."),
    "museum/compared.csv": ("Sources side by side", f"What expert rows, museum records, trade descriptions and the shipped rows say, by decade, in per cent; built by {_BUILD}, not read in dating."),
    "museum/disagreements.csv": ("Where the sources disagree", f"Rows of museum/compared.csv where museum, trade or law say otherwise than is shipped, with what was followed and why; built by {_BUILD}, not read in dating."),
    "trade/statements.csv": ("What the trade says in general", f"Coded general statements of the trade, counted by decade: opinion, not read in dating; built by {_BUILD}."),
    "trade/long_side.csv": ("What the trade says: long side", f"Long sides in coded trade descriptions, by decade and form: opinion, not read in dating; built by {_BUILD}."),
}  # fmt: skip
_FOLDERS = {
    "shares": ("Shares of {}", "Share of each {} among pieces made in a year, by grade (and market), in per cent."),
    "measured": ("Measures of {}", "Median and spread of the {} of pieces made in a year, by grade and what it goes with."),
    "trade": ("What the trade says: {}", f"Coded trade descriptions of the {{}} counted by decade: opinion, not read in dating; built by {_BUILD}."),
    "confusion": ("Confusion of {}", "What {} is noted when each is true, by how it was looked at, in per cent."),
}  # fmt: skip
_SETS = ("shares", "measured", "confusion")  # folders that a channel may have of its own
_BUILT = ("shares", "measured")  # folders of which the build makes some tables, from expert rows
# how the build names in a row's source what it added to the row
_ADDED = {" museum records (": "museum records", " trade rows (": "trade descriptions"}
# no key where a part of it may be empty, which Table Schema bars, such as the value of a mark
_KEYS = {
    "allowances.csv": ("what",), "channels.csv": ("channel",), "checks.csv": ("family", "method"), "families.csv": ("family",),
    "grades.csv": ("channel", "year"), "information.csv": ("family", "grade"),
    "label_numbers.csv": ("series", "number"), "label_postcodes.csv": ("country", "digits"), "label_shown.csv": ("mark", "market", "year"),
    "label_style.csv": ("year",), "label_use.csv": ("lag",), "label_words.csv": ("phrase",),
    "lags.csv": ("lag",), "law_limits.csv": ("family", "value", "fact"),
    "lookback_appeal.csv": ("year",), "lookback_lag.csv": ("lag",),
    "markets.csv": ("channel", "year"), "revivals.csv": ("year",), "slips.csv": ("family",),
    "survival.csv": ("year",), "vocabulary.csv": ("family", "word"),
    "year_channel.csv": ("year",), "year_museum.csv": ("year",),
    "museum/statements.csv": ("kind", "year"), "museum/borrowed.csv": ("family", "weight"),
    "museum/compared.csv": ("family", "decade", "value"),
    "shares": ("year", "grade", "market"), "measured": ("year", "grade", "given"),
    "confusion": ("method", "true"), "trade": ("family", "decade", "given", "value"),
}  # fmt: skip


def describe(folder: str | Path) -> dict[str, object]:
    """The descriptor of a priors folder, from its files; the same files give the same descriptor.

    Raises OSError where the vocabulary, the families, the channels, the marks of labels or another
    file cannot be read.
    """
    top = Path(folder)
    own = ("vocabulary.csv", "families.csv", "channels.csv", "label_values.csv")
    words = Words(*(_table(top / name)[1] for name in own))
    paths = sorted(path.relative_to(top).as_posix() for path in top.rglob("*.csv"))
    names = [name for name in paths if not any(part.startswith(".") for part in name.split("/"))]
    return {
        "profile": "data-package",
        "name": "scarfdate-priors",
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
        "resources": [_resource(top, name, words) for name in names],
    }


def write_descriptor(folder: str | Path) -> Path:
    """Write ``datapackage.json`` into the folder, whole or not at all; returns its path."""
    target = Path(folder) / DESCRIPTOR
    text = json.dumps(describe(folder), ensure_ascii=False, indent=1)
    write_whole(target, (text + "\n").encode("utf-8"))
    return target


def _table(path: Path) -> tuple[list[str], list[Row]]:
    """Header and rows; a row that is too short has empty cells, one too long loses the rest."""
    with path.open(encoding="utf-8-sig", newline="") as stream:
        lines = csv.reader(stream)
        header = [cell.strip() for cell in next(lines, [])]
        cells = ([*line, *[""] * len(header)] for line in lines if line)
        return header, [dict(zip(header, line, strict=False)) for line in cells]


def _resource(folder: Path, name: str, words: Words) -> dict[str, object]:
    place = Place.of(name)
    header, rows = _table(folder / name)
    title, description = _told(folder, name, rows, words)
    keys = [key for key in _KEYS.get(name, _KEYS.get(place.kind, ())) if key in header]
    schema: dict[str, object] = {
        "fields": [
            field_of(place, column, words, [row[column] for row in rows]) for column in header
        ],
        "missingValues": [""],
    }
    if keys:
        schema["primaryKey"] = keys
    return {
        "name": name.removesuffix(".csv").replace("/", "-").replace("_", "-"),
        "path": name,
        "profile": "tabular-data-resource",
        "title": title,
        "description": description,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema,
    }


def _told(folder: Path, name: str, rows: Sequence[Row], words: Words) -> tuple[str, str]:
    """Title and description of a file."""
    place = Place.of(name)
    if name in _FILES:
        return _FILES[name]
    if place.kind not in _FOLDERS or (place.group and place.kind not in _SETS):
        return place.family, "A table of the folder's owner."
    title, what = (text.format(words.name(place.family)) for text in _FOLDERS[place.kind])
    if place.group == EXPERT:
        told = f"Rows written by people, before records were added; {_BUILD} starts from them."
        return f"Expert rows: {title[:1].lower()}{title[1:]}", f"{what} {told}"
    if place.group:
        channels = words.channels_of(place.group)
        holds = f"In use in channels: {', '.join(channels) or 'none'}."
        made_here = place.group == MUSEUM and place.kind in _BUILT
        made = f" Built by {_BUILD} from museum records." if made_here else ""
        return f"{title}, {place.group}", f"{what} {holds}{made}"
    if place.kind in _BUILT:
        return title, f"{what} {_origin(folder, name, rows)}"
    return title, what


def _origin(folder: Path, name: str, rows: Sequence[Row]) -> str:
    """Whether a table of clues was built, and what the sources of its rows say was added."""
    if not (folder / EXPERT / name).is_file():
        return f"Not built by {_BUILD}: the rows stand as they were written."
    sources = [row.get("source", "") for row in rows]
    added = [what for mark, what in _ADDED.items() if any(mark in source for source in sources)]
    if not added:
        return f"Expert rows, to which {_BUILD} added nothing."
    return f"Expert rows with {' and '.join(added)} added by {_BUILD}."


if __name__ == "__main__":
    import argparse

    parser = argparse.ArgumentParser(
        prog="python -m scarfdate.tables.descriptor", description="Write datapackage.json."
    )
    parser.add_argument("folder", type=Path)
    write_descriptor(parser.parse_args().folder)
