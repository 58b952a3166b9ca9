"""Which column of a dealer's book or of a museum's export is which of ours: a map, written as TOML.

    ignore = ["Postage", "Buyer"]      # columns that are left alone

    [columns]                          # our name = their column
    fibre = "Material"
    note = ["Title", "Remarks"]        # several texts are joined by "; "

    [words.fibre]                      # their word = the word of the vocabulary
    Seide = "silk"

    [constants]                        # the same in every record; fills blank cells
    known_by = "receipt"

A map of a dealer's book may also state ``date_order``, ``decimal`` and ``currency``; one of a museum's
export ``size_unit``, ``widest_years``, ``records``, ``unlisted`` and the table ``[kinds]``. Examples:
`data/sold_columns/` and `data/museum_export/`. Local forms are stated here and never guessed.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from scarfdate.clues.kinds import keywords
from scarfdate.errors import ScarfdateError, TableError, did_you_mean, shown
from scarfdate.reading.cells import column_name, read_method, read_observation
from scarfdate.reading.files import printable
from scarfdate.records.money_and_days import DATE_ORDERS, DECIMALS, is_code
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.tables.words import plain

DATES = ("known", "known_from", "known_to")
SOLD = (
    "id", *DATES, "known_by", "judged_by", "sold_on", "listed_on", "sold_price", "sold_currency",
    "sold_channel", "days_to_sell", "costs",
)  # fmt: skip
MUSEUM = (
    "source", "record_id", "object_type", "date_text", "year_begin", "year_end", "medium_text",
    "country", "width_cm", "height_cm", "year_acquired", "licence",
)  # fmt: skip
WAYS = (
    "receipt", "maker-archive", "printed-date", "dated-event", "museum-record", "family-history",
    "label-law", "own-judgement",
)  # fmt: skip
_WAYS_READ = {plain(way): way for way in WAYS} | {"own judgment": "own-judgement"}
JOINT = "; "
_NOTE = "note"  # columns of a dealer's book whose names begin so are kept as they are
# several columns may be joined into one of these, and into notes
_JOINED = {
    SOLD: ("id", "label_text", "maker", "judged_by"),
    MUSEUM: ("object_type", "date_text", "medium_text", "country", "licence"),
}
_TABLES = ("columns", "words", "constants")
_KEYS = {
    SOLD: (*_TABLES, "ignore", "date_order", "decimal", "currency"),
    MUSEUM: (*_TABLES, "ignore", "kinds", "unlisted", "size_unit", "widest_years", "records"),
}
_ALLOWED = {"date_order": DATE_ORDERS, "decimal": DECIMALS, "size_unit": ("cm", "in", "mm")}
_LONGEST_MAP = 2**20  # bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnsMap:
    """A map of columns.

    ``columns``: our name to the columns that hold it (of nested JSON a dotted path, "made.first"; a path
    through a list takes every member, or the one whose number it names, "dates.0.year"); empty where
    the file has our own names. ``words``: our name to (a word as compared, the word it stands for).
    ``constants``: our name to the text that fills blank cells. ``ignore``: columns that are left alone.

    Of a dealer's book: ``date_order``, ``decimal``: None where not stated; ``currency``: "" where not
    stated. Of a museum's export: ``kinds``: object type, in lower case, to kind; ``unlisted``: the kind
    of all other object types, None leaves such records out; ``size_unit``: "cm", "in" or "mm", for sizes
    that state none; ``widest_years``: a wider interval says too little and is left out; ``records``:
    dotted path of the list in a JSON object.
    """

    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    date_order: str | None = None
    decimal: str | None = None
    currency: str = ""
    kinds: Mapping[str, str] = field(default_factory=dict)
    unlisted: str | None = None
    size_unit: str = "cm"
    widest_years: int = 0
    records: str | None = None

    def kind(self, object_type: str) -> str | None:
        """The kind of an object type; of several joined by ";", the first that is listed."""
        whole = " ".join(object_type.casefold().split())
        parts = (whole, *(part.strip() for part in whole.split(";")))
        return next((self.kinds[part] for part in parts if part in self.kinds), self.unlisted)


def read_columns_map(
    path: str | Path, own: tuple[str, ...] = MUSEUM, *, priors: Priors | None = None
) -> ColumnsMap:
    """The map in a TOML file, as at the head of this module.

    ``own``: `MUSEUM` or `SOLD`, whose columns are mapped. What a museum's map does not say of kinds,
    sizes and widths is as in the shipped ``data/museum_export/default.toml``; a table ``[kinds]``
    replaces the shipped one and leaves other object types out, unless ``unlisted`` names a kind for
    them. Raises TableError with everything that is wrong in the file.
    """
    return _mapped(_toml(Path(path)), own, printable(str(path)), priors or load_priors())


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
    keys = {*map(str, written)} & {*_KEYS[own]}
    whole = keys or any(isinstance(value, Mapping) for value in written.values())
    return _mapped(written if whole else {"columns": written}, own, "columns", priors)


def known_names(own: tuple[str, ...], priors: Priors) -> list[str]:
    """Every name that a column of a dealer's book (notes aside) or of a museum's export can have."""
    if own == MUSEUM:
        return [*own, *priors.shares]
    methods = [f"{name}_method" for name in priors.confusion]
    clues = [name for name in keywords(priors) if name not in ("id", _NOTE, "methods")]
    return [*own, *clues, *methods]


def is_name(text: str, names: Sequence[str]) -> bool:
    """Whether a column of this name is read or, being a note of a dealer's book, kept."""
    return text in names or (text.startswith(_NOTE) and "known_by" in names)


def way_of(text: object) -> str:
    """One of `WAYS` as written in whatever case and with or without hyphens; "" for other words."""
    return _WAYS_READ.get(plain(text[:80]), "") if isinstance(text, str) else ""


def places_of(text: str, header: Sequence[str]) -> list[int]:
    """The numbers of the columns of this name: as written, or else in another case."""
    exact = [at for at, name in enumerate(header) if name == text.strip()]
    folded = column_name(text)
    return exact or [at for at, name in enumerate(header) if column_name(name) == folded]


def shipped_exports() -> Path:
    """Where the default map and the invented exports lie: beside the package, or in the wheel."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "data"
    return (inside if inside.is_dir() else package.parent / "data") / "museum_export"


@cache
def _default() -> Mapping[str, Any]:
    return MappingProxyType(_toml(shipped_exports() / "default.toml"))


def _toml(path: Path) -> dict[str, Any]:
    name = printable(str(path))
    try:
        with path.open("rb") as stream:
            content = stream.read(_LONGEST_MAP + 1)
        if len(content) > _LONGEST_MAP:
            raise TableError(
                f"{name}: more than {_LONGEST_MAP} bytes, too long for a map of columns"
            )
        return tomllib.loads(content.decode("utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise TableError(
            f"{name}: not TOML ({error}); data/sold_columns and data/museum_export have examples"
        ) from None
    except UnicodeDecodeError:
        raise TableError(f"{name}: not UTF-8 text; save the file as UTF-8") from None
    except RecursionError:
        raise TableError(f"{name}: no map of columns (tables too deep in one another)") from None
    except FileNotFoundError:
        raise TableError(f"{name}: there is no such file; check the path") from None
    except (OSError, ValueError) as error:
        if isinstance(error, TableError):
            raise
        raise TableError(f"{name}: cannot be read ({error})") from None


def _mapped(
    written: Mapping[Any, Any], own: tuple[str, ...], name: str, priors: Priors
) -> ColumnsMap:
    """The map, once all of its faults are known to be none."""
    reader = _MapReader(own, priors)
    given = dict(written)
    if own == MUSEUM:
        given = {key: _default()[key] for key in ("size_unit", "widest_years")} | given
        if not given.get("kinds"):
            given = {"unlisted": _default()["unlisted"], **given, "kinds": _default()["kinds"]}
    parts = reader.read(given)
    if reader.wrong:
        raise TableError(f"{name}: " + "\n  ".join(reader.wrong))
    return ColumnsMap(**parts)


class _MapReader:
    """Reads the parts of a map, and gathers what is ``wrong`` with them."""

    def __init__(self, own: tuple[str, ...], priors: Priors) -> None:
        self.own, self.priors = own, priors
        self.names = known_names(own, priors)
        self.wrong: list[str] = []

    def read(self, given: Mapping[Any, Any]) -> dict[str, Any]:
        """The fields of a `ColumnsMap`; they hold where nothing is wrong."""
        keys = _KEYS[self.own]
        for key in given:
            if key not in keys:
                hint = did_you_mean(str(key), keys)
                self.wrong.append(f"{shown(key)} is not a key of this map of columns; {hint}")
        parts: dict[str, Any] = {}
        for key, read in (("columns", self._columns), ("words", self._words),
                          ("constants", self._constants), ("kinds", self._kinds)):  # fmt: skip
            table = given.get(key, {})
            if not isinstance(table, Mapping):
                self.wrong.append(f"{key} must be a table, got {shown(table)}; write [{key}]")
            else:
                parts[key] = MappingProxyType(read(table))
        for key, allowed in _ALLOWED.items():
            if key in given and given[key] not in allowed:
                either = " or ".join(map(repr, allowed))
                self.wrong.append(f"{key} must be {either}, got {shown(given[key])}")
        for key in ("unlisted", "records"):
            if key in given and not _texts((given[key],)):
                self.wrong.append(f"{key} must be a text, got {shown(given[key])}")
        widest = given.get("widest_years", 1)
        if not isinstance(widest, int) or isinstance(widest, bool) or widest < 1:
            self.wrong.append(f"widest_years must be a whole number above 0, got {shown(widest)}")
        currency = given.get("currency", "")
        if currency != "" and not (isinstance(currency, str) and is_code(currency)):
            self.wrong.append("currency must be an ISO 4217 code (three capital letters, such as EUR), "
                              f"got {shown(currency)}")  # fmt: skip
        ignore = given.get("ignore", ())
        if ignore and not _texts(ignore):
            self.wrong.append(f"ignore must be a list of names of columns, got {shown(ignore)}")
        else:
            parts["ignore"] = tuple(ignore or ())
        plainly = (*_ALLOWED, "unlisted", "records", "widest_years", "currency")
        return parts | {key: given[key] for key in plainly if key in given}

    def _ours(self, table: str, written: object) -> str:
        folded = column_name(written) if isinstance(written, str) else ""
        if is_name(folded, self.names):
            return folded
        hint = did_you_mean(folded, self.names)
        self.wrong.append(f"[{table}] {shown(written)} is none of our columns; {hint}")
        return ""

    def _columns(self, table: Mapping[Any, Any]) -> dict[str, tuple[str, ...]]:
        read: dict[str, tuple[str, ...]] = {}
        for written, theirs in table.items():
            ours = self._ours("columns", written)
            fields = (theirs,) if isinstance(theirs, str) else theirs
            joined = _JOINED[self.own]
            if not _texts(fields):
                self.wrong.append(f"[columns] {written} must be the name of a column, or a list of names, "
                                  f"got {shown(theirs)}")  # fmt: skip
            elif ours and len(fields) > 1 and ours not in joined and not ours.startswith(_NOTE):
                self.wrong.append(f"[columns] {ours} must be one column, got {len(fields)}; several are "
                                  f"joined only for {', '.join(joined)} and notes")  # fmt: skip
            elif ours in read:
                self.wrong.append(f"[columns] {ours} stands there twice; take one out")
            elif ours:
                read[ours] = tuple(text.strip() for text in fields)
        return read

    def _constants(self, table: Mapping[Any, Any]) -> dict[str, str]:
        read: dict[str, str] = {}
        for written, text in table.items():
            ours = self._ours("constants", written)
            if ours in ("id", "record_id") or not _texts((text,)):
                self.wrong.append(f"[constants] {written} must be a text that all records may share, "
                                  f"got {shown(text)}")  # fmt: skip
            elif ours:
                read[ours] = text.strip()
                if problem := self._problem(ours, text):
                    self.wrong.append(f"[constants] {problem}")
        return read

    def _words(self, table: Mapping[Any, Any]) -> dict[str, Mapping[str, str]]:
        read: dict[str, Mapping[str, str]] = {}
        for written, words in table.items():
            ours = self._ours("words", written)
            if not isinstance(words, Mapping):
                self.wrong.append(f"[words.{written}] must be a table of their word = our word, "
                                  f"got {shown(words)}")  # fmt: skip
            elif ours:
                read[ours] = MappingProxyType(self._words_of(ours, words))
        return read

    def _words_of(self, ours: str, words: Mapping[Any, Any]) -> dict[str, str]:
        read: dict[str, str] = {}
        for theirs, word in words.items():
            if not isinstance(theirs, str) or not isinstance(word, str):
                self.wrong.append(
                    f"[words.{ours}] {theirs} must be a word of ours, got {shown(word)}"
                )
            elif word.strip() and (problem := self._problem(ours, word)):
                self.wrong.append(f"[words.{ours}] {shown(theirs)} = {problem}")
            elif read.setdefault(plain(theirs), word.strip()) != word.strip():
                self.wrong.append(
                    f"[words.{ours}] {shown(theirs)} is read as two words; take one out"
                )
        return read

    def _kinds(self, table: Mapping[Any, Any]) -> dict[str, str]:
        read: dict[str, str] = {}
        for kind, types in table.items():
            if not _texts(types):
                self.wrong.append(
                    f"[kinds] {kind} must be a list of object types, got {shown(types)}"
                )
                continue
            for word in (" ".join(text.casefold().split()) for text in types):
                if read.setdefault(word, kind) != kind:
                    self.wrong.append(
                        f"[kinds] {shown(word)} is counted as {read[word]} and as {kind}"
                    )
        return read

    def _problem(self, ours: str, word: str) -> str:
        """What is wrong with a word that a map gives to one of our columns."""
        try:
            if ours in self.priors.shares:
                read_observation(self.priors, ours, word)
            elif ours.endswith("_method"):
                read_method(self.priors, ours.removesuffix("_method"), word)
        except ScarfdateError as refusal:
            return str(refusal)
        if ours == "known_by" and not way_of(word):
            return f"known_by: {unknown_way(word)}"
        if ours == "sold_currency" and not is_code(word.strip()):
            return f"sold_currency: an ISO 4217 code (three capital letters) is wanted, got {shown(word)}"
        return ""


def unknown_way(cell: object) -> str:
    """What to say of a cell of ``known_by`` that is none of `WAYS`."""
    hint = did_you_mean(plain(str(cell)[:100]), WAYS)
    return f"{shown(cell)} is no way of knowing a date; {hint}"


def _texts(value: object) -> bool:
    return (
        isinstance(value, Sequence)
        and not isinstance(value, str)
        and len(value) > 0
        and all(isinstance(text, str) and text.strip() for text in value)
    )
