"""``python -m scarfdate.tables.descriptor FOLDER``: describe a priors folder for other programs.

Writes ``datapackage.json`` (Frictionless Data Package with a Table Schema for each CSV), from the
files themselves: names, types, limits and words of every column.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from pathlib import Path

from scarfdate.conventions import GRADES, MARKETS
from scarfdate.files import write_whole
from scarfdate.tables.makers import WHAT
from scarfdate.tables.priors import DESCRIPTOR
from scarfdate.tables.shares import ANY
from scarfdate.tables.sheet import BASES, PROVENANCE

Field = dict[str, object]

_KINDS = ("shares", "measured", "dated", "maker")
_READS = ("making", "style")
_READINGS = ("value", "synonym", "one-of", "missing")
# what each file at the top is, its title first
_FILES = {
    "allowances.csv": ("Allowances", "Single numbers that the reading and the weighing go by."),
    "channels.csv": ("Channels", "Where pieces turn up, and which columns and keys of other tables hold there."),
    "families.csv": ("Clue families", "Every kind of clue, what it tells of, its unit and its plausible range."),
    "grades.csv": ("Grade by year", "Share of each price tier among surviving pieces of a year, by channel."),
    "lags.csv": ("Lags", "How many years after a depicted or printed year pieces were made, as weights."),
    "lookback_appeal.csv": ("Looks looked back to", "How much later makers looked back to each year's look, as weights."),
    "lookback_lag.csv": ("How far back", "How many years later pieces look back, as weights."),
    "makers.csv": ("Makers", "In which years each maker put out pieces, by form of signature; the shipped ones are invented."),
    "markets.csv": ("Market by year", "Share of each market of first sale among surviving pieces of a year, by channel."),
    "revivals.csv": ("Later pieces", "Share of the pieces made in a year that have an older look."),
    "slips.csv": ("Slips", "How often a note of each family has nothing to do with the making of the piece."),
    "vocabulary.csv": ("Vocabulary", "The words that may be written, and the one word each is read as."),
    "year_channel.csv": ("Years by channel", "How the years of pieces in a channel differ from those in museums, as factors."),
    "year_museum.csv": ("Years in museums", "Density of museum records by year of making, built from counts."),
}  # fmt: skip
_FOLDERS = {
    "shares": ("Shares of {}", "Share of each {} among pieces made in a year, by grade (and market), in per cent."),
    "measured": ("Measures of {}", "Median and spread of the {} of pieces made in a year, by grade and what it goes with."),
    "trade": ("What the trade says: {}", "Coded trade descriptions counted by decade: opinion, not read in dating."),
    "confusion": ("Confusion of {}", "What {} is noted when each is true, by how it was looked at, in per cent."),
}  # fmt: skip
_KEYS = {
    "allowances.csv": ("what",), "channels.csv": ("channel",), "families.csv": ("family",),
    "grades.csv": ("channel", "year"), "lags.csv": ("lag",), "lookback_appeal.csv": ("year",),
    "lookback_lag.csv": ("lag",), "markets.csv": ("channel", "year"), "revivals.csv": ("year",),
    "slips.csv": ("family",), "vocabulary.csv": ("family", "word"), "year_channel.csv": ("year",),
    "year_museum.csv": ("year",), "shares": ("year", "grade", "market"),
    "measured": ("year", "grade", "given"), "confusion": ("method", "true"),
    "trade": ("family", "decade", "given", "value"),
}  # fmt: skip


def describe(folder: str | Path) -> dict[str, object]:
    """The descriptor of a priors folder, from its files; the same files give the same descriptor.

    Raises OSError where the vocabulary, the families or another file cannot be read.
    """
    place = Path(folder)
    words = _Words(place)
    paths = sorted(path.relative_to(place).as_posix() for path in place.rglob("*.csv"))
    names = [name for name in paths if not any(part.startswith(".") for part in name.split("/"))]
    return {
        "profile": "data-package",
        "name": "scarfdate-priors",
        "title": "Priors for dating scarves",
        "description": (
            "What was made when: every number that scarfdate goes by, each row with its basis. "
            "Years 1880 to today; the first year stands for itself and all before it."
        ),
        "licenses": [
            {"name": "MIT", "title": "MIT License", "path": "https://opensource.org/licenses/MIT"}
        ],
        "resources": [_resource(place, name, words) for name in names],
    }


def write_descriptor(folder: str | Path) -> Path:
    """Write ``datapackage.json`` into the folder, whole or not at all; returns its path."""
    target = Path(folder) / DESCRIPTOR
    text = json.dumps(describe(folder), ensure_ascii=False, indent=1)
    write_whole(target, (text + "\n").encode("utf-8"))
    return target


class _Words:
    """The vocabulary and the families of a folder, as far as a description needs them."""

    def __init__(self, folder: Path) -> None:
        rows = _rows(folder / "vocabulary.csv")
        self.meanings: dict[str, dict[str, str]] = {}
        for row in rows:
            if row["reading"] == "value":
                self.meanings.setdefault(row["family"], {})[row["word"]] = row["means"]
        self.families = {row["family"]: row for row in _rows(folder / "families.csv")}

    def values(self, family: str) -> list[str]:
        """Values of a family, in their written order."""
        return [*self.meanings.get(family, {})]

    def name(self, family: str) -> str:
        """A family as a person reads it."""
        return self.families.get(family, {}).get("name") or family


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return [dict(row) for row in csv.DictReader(stream)]


def _header(path: Path) -> list[str]:
    with path.open(encoding="utf-8-sig", newline="") as stream:
        return [cell.strip() for cell in next(csv.reader(stream), [])]


def _resource(folder: Path, name: str, words: _Words) -> dict[str, object]:
    kind, _, rest = name.rpartition("/")
    family = rest.removesuffix(".csv")
    if kind in _FOLDERS:
        title, description = (text.format(words.name(family)) for text in _FOLDERS[kind])
    else:
        title, description = _FILES.get(name, (family, "A table of the folder's owner."))
    header = _header(folder / name)
    keys = [key for key in _KEYS.get(kind or name, ()) if key in header]
    schema: dict[str, object] = {
        "fields": [_field(kind, family, column, words) for column in header],
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


def _field(kind: str, family: str, column: str, words: _Words) -> Field:
    """One column of ``kind/family.csv`` (``kind`` is "" for a file at the top)."""
    if column in PROVENANCE:
        return _provenance(column, required=family != "vocabulary")
    if column == "year":
        return _integer(
            "year", "Year of the knot; values between knots are interpolated.", 1000, 2300
        )
    if column == "grade":
        allowed = [*GRADES] if kind == "" else [*GRADES, ANY]
        return _word(column, "Price tier the piece was made for.", allowed)
    if column == "market":
        return _word(column, "Where the piece was first sold.", [*MARKETS, ANY])
    if kind == "trade":
        return _trade(column, words)
    if kind == "measured":
        return _measured(family, column, words)
    if kind == "confusion" and column in ("method", "true"):
        if column == "method":
            return _word(column, "How it was looked at.", words.values("method"))
        return _word(column, "What it is in truth.", words.values(family))
    if kind in ("shares", "confusion"):
        meaning = words.meanings.get(family, {}).get(column, "")
        return _share(column, meaning)
    return _top(family, column, words)


def _measured(family: str, column: str, words: _Words) -> Field:
    about = words.families.get(family, {})
    unit = f" ({about['unit']})" if about.get("unit") else ""
    if column == "given":
        parent = about.get("parent", "")
        what = f"Value of {words.name(parent)} that the row holds for."
        return _word(column, what, [*words.values(parent), ANY])
    if column == "median":
        return _number(column, f"Median{unit}.", above=0)
    return _number(column, "Factor within which 68 % lie on either side of the median.", 1, 20)


def _trade(column: str, words: _Words) -> Field:
    if column == "decade":
        return _integer(
            column, "First year of the decade; the first holds all before it.", 1000, 2300
        )
    if column == "family":
        return _word(column, "Family of clues.", [*words.families])
    if column == "given":
        return _word(column, "Form that the row holds for.", [*words.values("form"), ANY])
    if column == "value":
        return _text(column, "Value of the family.")
    if column in ("rows", "sellers"):
        return _integer(column, f"How many {column} say so.", 0, 10**6)
    if column == "mean_log_cm":
        return _number(column, "Mean natural logarithm of the long side in cm.")
    if column == "sd_log_cm":
        return _number(column, "Its standard deviation; empty below two rows.", 0, required=False)
    return _number(column, "Effective count of rows.", 0)


def _top(file: str, column: str, words: _Words) -> Field:
    """A column of a file at the top of the folder."""
    if file == "vocabulary":
        return {
            "family": _text(column, "Family the word belongs to."),
            "word": _text(column, "The word as a person writes it."),
            "reading": _word(
                column,
                "A value itself, a synonym, one of several values, or nothing seen.",
                [*_READINGS],
            ),
            "means": _text(column, "Meaning of a value; else what the word is read as.", False),
        }.get(column, _text(column, "Remark.", False))
    if file == "families":
        return _family(column)
    if file in ("grades", "markets") and column != "channel":
        return _share(column, f"Pieces of the {'tier' if file == 'grades' else 'market'} {column}.")
    if file == "channels":
        what = {
            "channel": "Name of the channel.",
            "years": "Column of year_channel.csv that holds for it.",
            "grades": "Key of grades.csv that holds for it.",
            "markets": "Key of markets.csv that holds for it.",
        }
        return _text(column, what.get(column, "What the channel is."))
    if file == "makers":
        return _maker(column, words)
    if file == "year_channel" and column != "uncertainty":
        return _number(column, f"Factor on the museum density in the channel {column}.", 0)
    if column == "family":
        return _word(column, "Family of clues.", [*words.families])
    texts = {
        "channel": "Key that channels.csv refers to.",
        "what": "What the number is for.",
        "unit": "Unit of the number.",
    }
    if column in texts:
        return _text(column, texts[column])
    if column == "lag":
        return _integer(column, "Years later.", -99, 999)
    if file == "revivals" or column == "rate":
        return _share(column, "")
    numbers = {
        "value": "The number.",
        "weight": "Weight, of any scale.",
        "density": "Density a year, of any scale.",
        "records": "Records behind the row.",
        "uncertainty": "Factor by which the row may be off.",
    }
    return _number(column, numbers.get(column, "Weight, of any scale."), 0)


def _family(column: str) -> Field:
    if column == "kind":
        return _word(column, "How the family is weighed.", [*_KINDS])
    if column == "reads":
        return _word(column, "Whether it tells of the making or of the style.", [*_READS])
    numbers = {
        "low": "Least possible number.",
        "high": "Greatest possible number.",
        "usual_low": "Least usual number; below it a warning is given.",
        "usual_high": "Greatest usual number; above it a warning is given.",
        "step": "Factor between neighbouring cells of the measure.",
        "worth": "How many sold records weigh as much as the table of the family.",
    }
    if column in numbers:
        return _number(column, numbers[column], 0, required=False)
    texts = {
        "family": "Name of the family, as a column is headed.",
        "parent": "Family whose value a measure goes with.",
        "name": "Name as a person reads it.",
        "unit": "Unit of the measure.",
    }
    return _text(column, texts.get(column, "Remark."), column in ("family", "name"))


def _maker(column: str, words: _Words) -> Field:
    if column == "form":
        return _word(column, "Form of the signature.", [*words.values("signature"), ANY])
    if column == "what":
        return _word(column, "What the years are.", [*WHAT])
    if column in ("year_from", "year_to"):
        return _integer(column, f"{'First' if column == 'year_from' else 'Last'} year.", 1000, 2300)
    if column == "rate":
        return _number(column, "Output a year, relative to the maker's other rows.", above=0)
    if column == "edge_years":
        return _number(column, "Years in which output falls by half outside the window.", 0.1, 50)
    return _text(column, "Name of the maker.")


def _provenance(column: str, required: bool) -> Field:
    if column == "basis":
        return _word(column, "How the numbers of the row are known.", [*BASES])
    if column == "source":
        return _text(column, "Where the numbers of the row come from.", False)
    return _text(column, "Remark.", False)


def _text(name: str, description: str, required: bool = True) -> Field:
    field: Field = {"name": name, "type": "string", "description": description}
    return field | ({"constraints": {"required": True}} if required else {})


def _word(name: str, description: str, allowed: Sequence[str]) -> Field:
    constraints = {"required": True, "enum": [*allowed]}
    return {"name": name, "type": "string", "description": description, "constraints": constraints}


def _integer(name: str, description: str, low: int, high: int) -> Field:
    constraints = {"required": True, "minimum": low, "maximum": high}
    return {"name": name, "type": "integer", "description": description, "constraints": constraints}


def _number(
    name: str,
    description: str,
    low: float | None = None,
    high: float | None = None,
    *,
    above: float | None = None,
    required: bool = True,
) -> Field:
    constraints: dict[str, object] = {"required": True} if required else {}
    if above is not None:
        low = above  # Table Schema has no open limit; the reader of the table is the stricter one
    if low is not None:
        constraints["minimum"] = low
    if high is not None:
        constraints["maximum"] = high
    return {"name": name, "type": "number", "description": description, "constraints": constraints}


def _share(name: str, meaning: str) -> Field:
    text = f"Per cent. {meaning[:1].upper()}{meaning[1:]}".strip().rstrip(".") + "."
    return _number(name, text, 0, 100)


if __name__ == "__main__":
    import argparse

    parser = argparse.ArgumentParser(
        prog="python -m scarfdate.tables.descriptor", description="Write datapackage.json."
    )
    parser.add_argument("folder", type=Path)
    write_descriptor(parser.parse_args().folder)
