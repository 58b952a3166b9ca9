"""The parts of a map of columns read from their tables, and everything that is wrong with them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from scarfdate.columns.names import (
    MUSEUM,
    NOTE,
    SOLD,
    is_name,
    known_names,
    unknown_way,
    way_of,
)
from scarfdate.errors import ScarfdateError, did_you_mean, nearest, shown
from scarfdate.reading.cells import column_name
from scarfdate.reading.days import DATE_ORDERS
from scarfdate.reading.money import DECIMALS, is_code
from scarfdate.reading.observation import read_method, read_observation
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain

# several columns may be joined into one of these, and into notes
_JOINED = {
    SOLD: ("id", "label_text", "maker", "judged_by", "condition"),
    MUSEUM: ("object_type", "date_text", "medium_text", "country", "licence"),
}
_TABLES = ("columns", "words", "constants")
KEYS = {
    SOLD: (
        *_TABLES,
        "ignore",
        "date_order",
        "decimal",
        "currency",
        "unit",
        "sheet",
        "encoding",
    ),
    MUSEUM: (*_TABLES, "ignore", "kinds", "unlisted", "size_unit", "widest_years", "records"),
}
_ALLOWED = {"date_order": DATE_ORDERS, "decimal": DECIMALS, "size_unit": ("cm", "in", "mm"),
            "unit": ("cm", "in", "mm")}  # fmt: skip


class MapReader:
    """Reads the parts of a map, and gathers what is ``wrong`` with them."""

    def __init__(self, own: tuple[str, ...], priors: Priors) -> None:
        self.own, self.priors = own, priors
        self.names = known_names(own, priors)
        self.wrong: list[str] = []

    def read(self, given: Mapping[Any, Any], kinds: Sequence[str] = ()) -> dict[str, Any]:
        """The fields of a `ColumnsMap`; they hold where nothing is wrong.

        ``kinds`` of object that have a meaning here: one that is nearly such a word is a slip, any other one's own.
        """
        self.kinds = kinds
        keys = KEYS[self.own]
        for key in given:
            if not isinstance(key, str) or key not in keys:
                hint = did_you_mean(key, keys)
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
        for key in ("unlisted", "records", "sheet", "encoding"):
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
        plainly = (
            *_ALLOWED,
            "unlisted",
            "records",
            "widest_years",
            "currency",
            "sheet",
            "encoding",
        )
        if "unit" in given:  # in front of the table, or under [constants]: the same
            constants = {"unit": given["unit"], **parts.get("constants", {})}
            parts["constants"] = MappingProxyType(constants)
        return parts | {key: given[key] for key in plainly if key in given and key != "unit"}

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
                self.wrong.append(f"[columns] {ours or shown(written)} must be the name of a column, or a list of names, "
                                  f"got {shown(theirs)}")  # fmt: skip
            elif ours and len(fields) > 1 and ours not in joined and not ours.startswith(NOTE):
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
                self.wrong.append(f"[constants] {ours or shown(written)} must be a text that all records may share, "
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
                self.wrong.append(f"[words] {ours or shown(written)} must be a table of their word = our word, "
                                  f"got {shown(words)}")  # fmt: skip
            elif ours:
                read[ours] = MappingProxyType(self._words_of(ours, words))
        return read

    def _words_of(self, ours: str, words: Mapping[Any, Any]) -> dict[str, str]:
        read: dict[str, str] = {}
        for theirs, word in words.items():
            if not isinstance(theirs, str) or not isinstance(word, str):
                self.wrong.append(
                    f"[words.{ours}] {shown(theirs)} must be a word of ours, got {shown(word)}"
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
            if kind not in self.kinds and (close := nearest(str(kind), self.kinds, 1)):
                self.wrong.append(
                    f"[kinds] {shown(kind)} is no kind; did you mean {shown(close[0])}?"
                )
            if not _texts(types):
                self.wrong.append(
                    f"[kinds] {shown(kind)} must be a list of object types, got {shown(types)}"
                )
                continue
            for word in (" ".join(text.casefold().split()) for text in types):
                if read.setdefault(word, kind) != kind:
                    self.wrong.append(
                        f"[kinds] {shown(word)} is counted as {shown(read[word])} and as {shown(kind)}"
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


def _texts(value: object) -> bool:
    return (
        isinstance(value, Sequence)
        and not isinstance(value, str)
        and len(value) > 0
        and all(isinstance(text, str) and text.strip() for text in value)
    )
