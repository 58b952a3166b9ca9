"""Which column of a shop's or marketplace's export is which of ours: a map, written as TOML.

    date_order = "day-month-year"      # of sale dates in numbers: day-month-year, month-day-year, year-month-day
    decimal = ","                      # decimal sign of prices: "." or ","
    currency = "EUR"                   # ISO 4217 code of prices that have none, or only a sign
    ignore = ["Postage", "Buyer"]      # columns that are left alone

    [columns]                          # our name = the export's column
    fibre = "Material"
    note = ["Title", "Remarks"]        # several texts are joined by "; "

    [words.fibre]                      # the export's word = the word of the vocabulary
    Seide = "silk"

    [constants]                        # the same in every record; fills blank cells
    known_by = "receipt"

`data/sold_columns/` has examples. Local forms are stated here and never guessed.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from scarfdate.clues.kinds import keywords
from scarfdate.errors import ScarfdateError, TableError, did_you_mean, nearest, shown
from scarfdate.reading.cells import column_name, read_method, read_observation
from scarfdate.records.money_and_days import DATE_ORDERS, DECIMALS, is_code
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.tables.vocabulary import plain

DATES = ("known", "known_from", "known_to")
OWN = (
    "id", *DATES, "known_by", "judged_by", "sold_on", "listed_on", "sold_price", "sold_currency",
    "sold_channel", "days_to_sell", "costs",
)  # fmt: skip
WAYS = (
    "receipt", "maker-archive", "printed-date", "dated-event", "museum-record", "family-history",
    "label-law", "own-judgement",
)  # fmt: skip
_WAYS_READ = {plain(way): way for way in WAYS} | {"own judgment": "own-judgement"}
_KEPT_AS_IS = "note"
_JOINT = "; "
_JOINED = ("id", "label_text", "maker", "judged_by")  # may be several columns, and so may notes
_KEYS = ("columns", "words", "constants", "date_order", "decimal", "currency", "ignore")
_LONGEST_MAP = 2**20  # bytes


def way_of(text: object) -> str:
    """One of `WAYS` as written in whatever case and with or without hyphens; "" for other words."""
    return _WAYS_READ.get(plain(text[:80]), "") if isinstance(text, str) else ""


@dataclass(frozen=True, slots=True)
class SoldColumns:
    """A map of columns. ``columns``: our name to the columns that hold it; empty where the table has
    our own names. ``words``: our name to (a word as compared, the word it stands for). ``constants``:
    our name to the text that fills blank cells. ``date_order``, ``decimal``: None where not stated;
    ``currency``: "" where not stated. ``ignore``: columns that are left alone.
    """

    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    date_order: str | None = None
    decimal: str | None = None
    currency: str = ""
    ignore: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """Where our columns stand in one table, and what became of each of its columns.

    ``places``: our name to the numbers of the columns that hold it. ``fate``: for each column of the
    table its name, what it is read as ("" if it is not) and a remark.
    """

    places: Mapping[str, tuple[int, ...]]
    fate: tuple[tuple[str, str, str], ...]


def read_sold_columns(path: str | Path, *, priors: Priors | None = None) -> SoldColumns:
    """The map in a TOML file, as at the head of this module.

    Raises TableError with everything that is wrong in the file.
    """
    name = "".join(letter if letter.isprintable() else "?" for letter in str(path))
    try:
        with Path(path).open("rb") as stream:
            content = stream.read(_LONGEST_MAP + 1)
        if len(content) > _LONGEST_MAP:
            raise TableError(f"{name}: more than {_LONGEST_MAP} bytes: no map of columns")
        said = tomllib.loads(content.decode("utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise TableError(f"{name}: not TOML ({error}); see data/sold_columns") from None
    except UnicodeDecodeError:
        raise TableError(f"{name}: not UTF-8 text; save the file as UTF-8") from None
    except RecursionError:
        raise TableError(f"{name}: tables too deep in one another: no map of columns") from None
    except FileNotFoundError:
        raise TableError(f"{name}: there is no such file; check the path") from None
    except (OSError, ValueError) as error:
        if isinstance(error, TableError):
            raise
        raise TableError(f"{name}: cannot be read ({error})") from None
    return _mapped(said, name, priors or load_priors())


def sold_columns(columns: object, *, priors: Priors | None = None) -> SoldColumns:
    """``columns`` as a map: a map, the path of a TOML file, a mapping, or None for our own names.

    A mapping is ours to theirs, or has the keys of a TOML file. Raises TableError with all faults.
    """
    if columns is None:
        return SoldColumns()
    if isinstance(columns, SoldColumns):
        return columns
    if isinstance(columns, (str, Path)):
        return read_sold_columns(columns, priors=priors)
    if not isinstance(columns, Mapping):
        raise TableError(
            f"columns: a TOML file or a mapping of our names to the table's is allowed, got {shown(columns)}"
        )
    whole = any(isinstance(value, Mapping) for value in columns.values()) or not {
        *map(str, columns)
    }.isdisjoint(_KEYS)
    return _mapped(columns if whole else {"columns": columns}, "columns", priors or load_priors())


def known_names(priors: Priors) -> list[str]:
    """Every name that a column of a sold table can have, notes aside."""
    methods = [f"{name}_method" for name in priors.confusion]
    clues = [name for name in keywords(priors) if name not in ("id", "note", "methods")]
    return [*OWN, *clues, *methods]


def _mapped(said: Mapping[Any, Any], name: str, priors: Priors) -> SoldColumns:
    """The map, once all of its faults are known to be none."""
    wrong: list[str] = []
    names = known_names(priors)

    def ours(table: str, written: object) -> str:
        folded = column_name(written) if isinstance(written, str) else ""
        if folded in names or folded.startswith(_KEPT_AS_IS):
            return folded
        hint = did_you_mean(folded, names)
        wrong.append(f"[{table}] {shown(written)} is none of our columns; {hint}")
        return ""

    for key in said:
        if key not in _KEYS:
            wrong.append(
                f"{shown(key)} is not a key of a map of columns; {did_you_mean(str(key), _KEYS)}"
            )
    tables: dict[str, Mapping[Any, Any]] = {}
    for key in ("columns", "words", "constants"):
        table = said.get(key, {})
        tables[key] = table if isinstance(table, Mapping) else {}
        if tables[key] is not table:
            wrong.append(f"{key} must be a table, got {shown(table)}; write [{key}]")
    columns: dict[str, tuple[str, ...]] = {}
    for written, theirs in tables["columns"].items():
        own = ours("columns", written)
        fields = (theirs,) if isinstance(theirs, str) else theirs
        if not _texts(fields):
            wrong.append(
                f"[columns] {written} must be the name of a column, or a list of names, got {shown(theirs)}"
            )
        elif own and len(fields) > 1 and own not in _JOINED and not own.startswith(_KEPT_AS_IS):
            wrong.append(
                f"[columns] {own} must be one column, got {len(fields)}; "
                f"several are joined only for {', '.join(_JOINED)} and notes"
            )
        elif own in columns:
            wrong.append(f"[columns] {own} stands there twice; take one out")
        elif own:
            columns[own] = tuple(text.strip() for text in fields)
    constants: dict[str, str] = {}
    for written, text in tables["constants"].items():
        own = ours("constants", written)
        if own == "id" or not isinstance(text, str) or not text.strip():
            wrong.append(
                f"[constants] {written} must be a text that all records may share, got {shown(text)}"
            )
        elif own:
            constants[own] = text.strip()
            problem = _problem(own, text, priors)
            if problem:
                wrong.append(f"[constants] {problem}")
    words: dict[str, Mapping[str, str]] = {}
    for written, table in tables["words"].items():
        own = ours("words", written)
        if not isinstance(table, Mapping):
            wrong.append(
                f"[words.{written}] must be a table of their word = our word, got {shown(table)}"
            )
        elif own:
            words[own] = MappingProxyType(_words(own, table, wrong, priors))
    for key, allowed in (("date_order", DATE_ORDERS), ("decimal", DECIMALS)):
        if key in said and said[key] not in allowed:
            wrong.append(f"{key} must be {' or '.join(map(repr, allowed))}, got {shown(said[key])}")
    currency = said.get("currency", "")
    if currency != "" and not (isinstance(currency, str) and is_code(currency)):
        wrong.append(
            f"currency must be an ISO 4217 code (three capital letters, such as EUR), got {shown(currency)}"
        )
    ignore = said.get("ignore", ())
    if ignore and not _texts(ignore):
        wrong.append(f"ignore must be a list of names of columns, got {shown(ignore)}")
    if wrong:
        raise TableError(f"{name}: " + "\n  ".join(wrong))
    return SoldColumns(
        MappingProxyType(columns), MappingProxyType(words), MappingProxyType(constants),
        said.get("date_order"), said.get("decimal"), currency, tuple(ignore),
    )  # fmt: skip


def _words(own: str, table: Mapping[Any, Any], wrong: list[str], priors: Priors) -> dict[str, str]:
    read: dict[str, str] = {}
    for theirs, word in table.items():
        if not isinstance(theirs, str) or not isinstance(word, str):
            wrong.append(f"[words.{own}] {theirs} must be a word of ours, got {shown(word)}")
            continue
        problem = _problem(own, word, priors) if word.strip() else ""
        if problem:
            wrong.append(f"[words.{own}] {shown(theirs)} = {problem}")
        elif read.setdefault(plain(theirs), word.strip()) != word.strip():
            wrong.append(f"[words.{own}] {shown(theirs)} is read as two words; take one out")
    return read


def _problem(own: str, word: str, priors: Priors) -> str:
    """What is wrong with a word that a map gives to one of our columns."""
    try:
        if own in priors.shares:
            read_observation(priors, own, word)
        elif own.endswith("_method"):
            read_method(priors, own.removesuffix("_method"), word)
    except ScarfdateError as refusal:
        return str(refusal)
    if own == "known_by" and not way_of(word):
        return f"known_by: no way {shown(word)} is known; {did_you_mean(word, WAYS)}"
    if own == "sold_currency" and not is_code(word.strip()):
        return (
            f"sold_currency: an ISO 4217 code (three capital letters) is wanted, got {shown(word)}"
        )
    return ""


def _texts(value: object) -> bool:
    return (
        isinstance(value, Sequence)
        and not isinstance(value, str)
        and len(value) > 0
        and all(isinstance(text, str) and text.strip() for text in value)
    )


def find_columns(header: Sequence[object], using: SoldColumns, name: str, priors: Priors) -> Found:
    """Where each of our columns stands under a header; TableError where the map and it do not fit."""
    written = [text.strip() if isinstance(text, str) else "" for text in header]
    for text in header:
        column_name(text)  # refuses what is no text
    folded = [column_name(text) for text in written]
    ignored = {column_name(text) for text in using.ignore}
    read: dict[int, list[str]] = {}
    places: dict[str, tuple[int, ...]] = {}
    wrong: list[str] = []
    names = known_names(priors)
    if using.columns:
        for own, fields in using.columns.items():
            at = [_place(text, written, folded) for text in fields]
            for text, (place, problem) in zip(fields, at, strict=True):
                if place is None:
                    wrong.append(f"[columns] {own} = {shown(text)}: {problem}")
                else:
                    read.setdefault(place, []).append(own)
            places[own] = tuple(place for place, _ in at if place is not None)
    else:
        for place, text in enumerate(folded):
            if text in ignored or not (text in names or text.startswith(_KEPT_AS_IS)):
                continue
            if text in places:
                wrong.append(f"column {shown(written[place])} stands there twice; take one out")
            places[text] = (place,)
            read[place] = [text]
    stated = {*places, *using.constants}
    got = (
        f"the columns are {', '.join(map(shown, written[:12]))}{', …' if len(written) > 12 else ''}"
    )
    if not wrong and stated.isdisjoint(DATES):
        wrong.append(
            f"no column says when the pieces were made; wanted is known (one cell), or known_from and "
            f"known_to; {got}; name them so, or say which they are in a map of columns"
        )
    if not wrong and "known_by" not in stated:
        wrong.append(
            f"no column says how that is known; wanted is known_by, one of {', '.join(WAYS)}; {got}; "
            "add it, or state it for all of them under [constants] of a map of columns"
        )
    if wrong:
        raise TableError(f"{name}: " + "\n  ".join(wrong))
    fate = []
    for place, text in enumerate(written):
        remark = ""
        if place not in read and folded[place] not in ignored:
            remark = "not understood" + _near(folded[place], names, mapped=bool(using.columns))
        elif place not in read:
            remark = "ignored"
        fate.append((text, ", ".join(read.get(place, [])), remark))
    return Found(MappingProxyType(places), tuple(fate))


def _place(text: str, written: list[str], folded: list[str]) -> tuple[int | None, str]:
    """The number of a column by its name: as written, or else in another case."""
    for wanted, names in ((text, written), (column_name(text), folded)):
        at = [place for place, name in enumerate(names) if name == wanted]
        if len(at) == 1:
            return at[0], ""
        if at:
            return None, "the table has more than one column of this name; rename one"
    return None, f"the table has no such column; {did_you_mean(text, written)}"


def _near(name: str, names: list[str], *, mapped: bool) -> str:
    if mapped:
        return "; our own name, but not in the map" if name in names else ""
    close = nearest(name, names)
    return "; did you mean " + " or ".join(map(shown, close)) + "?" if close else ""
