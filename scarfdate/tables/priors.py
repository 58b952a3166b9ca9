"""`Priors`: everything that lies in a priors folder, checked as a whole and then frozen."""

from __future__ import annotations

import pickle
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any
from weakref import WeakValueDictionary

import numpy as np

from scarfdate.conventions import CHANNEL, FIRST_YEAR, GRADES
from scarfdate.errors import Fault, PriorsError, ScarfdateError, did_you_mean, shown
from scarfdate.frozen import frozen
from scarfdate.tables.century import Century, read_century
from scarfdate.tables.folder import (
    DESCRIPTOR,
    KINDS,
    check_listed,
    check_names,
    hash_of_files,
    is_dated_by,
    kind_of,
    missing,
    read_folder,
)
from scarfdate.tables.knots import (
    KnotTable,
    MeasuredTable,
    SharesTable,
    read_knot_table,
    read_measured,
    read_shares,
)
from scarfdate.tables.label import LabelRules, read_label_rules
from scarfdate.tables.lists import LIMITS, Check, Limit, read_checks, read_limits
from scarfdate.tables.makers import Makers, read_makers
from scarfdate.tables.medium import MediumRules, read_medium_rules
from scarfdate.tables.noting import ConfusionTable, certain, read_confusion, read_slips
from scarfdate.tables.schema import Table, Words, check, schema
from scarfdate.tables.schema import shipped_folder as shipped_folder
from scarfdate.tables.sheet import read_sheet
from scarfdate.tables.words import Family, Vocabulary, read_families, read_vocabulary
from scarfdate.years import checked_as_of

if TYPE_CHECKING:
    import pandas

_OPTIONAL = (
    "disagreement_reasons.csv",
    "built_from.csv",
)  # at the top of the folder, and not read in dating
_WORDS = ("vocabulary.csv", "families.csv")  # the two by whose words all others are checked


@dataclass(frozen=True)
class _AsRead:
    """What the files gave, field by field: what differs from it was put in its place afterwards."""

    parts: Mapping[str, object]
    files: Mapping[str, bytes]

    @cached_property
    def packed(self) -> bytes:
        return zlib.compress(pickle.dumps(dict(self.files)))


@dataclass(frozen=True, kw_only=True)
class TableSet:
    """Tables of some families that hold in certain channels instead of the usual ones."""

    shares: Mapping[str, SharesTable]
    measured: Mapping[str, MeasuredTable]
    confusion: Mapping[str, ConfusionTable]


@dataclass(frozen=True, eq=False, kw_only=True)
class Priors:
    """Every table about scarves, read-only.

    ``files``: the contents of the files behind it, by name; ``hash``: their SHA-256; ``folder``: where they lay.
    """

    vocabulary: Vocabulary
    families: Mapping[str, Family]
    shares: Mapping[str, SharesTable]
    measured: Mapping[str, MeasuredTable]
    confusion: Mapping[str, ConfusionTable]
    slips: Mapping[str, float]
    altered: Mapping[str, float]
    makers: Makers
    lags: KnotTable
    century: Century
    allowances: Mapping[str, float]
    sets: Mapping[str, TableSet]
    medium: MediumRules
    label: LabelRules
    checks: tuple[Check, ...]
    limits: tuple[Limit, ...]
    says_little: frozenset[str]  # families whose information about the decade may be none
    hash: str
    folder: str
    files: Mapping[str, bytes] = field(repr=False)
    _as_read: _AsRead = field(repr=False)
    _compiled: dict[object, object] = field(default_factory=dict, repr=False)

    def __repr__(self) -> str:
        return f"Priors({self.folder!r}, {len(self.families)} families, hash {self.hash[:12]})"

    def in_channel(self, channel: str) -> Priors:
        """The same priors with the tables that a channel has of its own (`Channel.tables`)."""
        name = self.century.channel(channel).tables
        if not name:
            return self
        own = self.sets[name]
        return replace(
            self,
            shares=frozen({**self.shares, **own.shares}),
            measured=frozen({**self.measured, **own.measured}),
            confusion=frozen(
                {**self.confusion}
                | {
                    family: self.confusion[family].with_own(t)
                    for family, t in own.confusion.items()
                }
            ),
            _compiled={},
        )

    def year_prior_table(
        self, channel: str = CHANNEL, *, as_of: int | None = None
    ) -> pandas.DataFrame:
        """What is known of the year before anything is seen: one row a year, and what it is made of.

        Columns as in `Century.year_table`: what museums record, how the channel differs, their
        product ``prior`` (sums to one), each with an 80 % interval year by year, and ``survival``,
        which dating does not use. Raises WordError for an unknown channel.
        """
        import pandas as pd

        years = np.arange(FIRST_YEAR, checked_as_of(as_of) + 1)
        table = self.century.year_table(self.century.channel(channel), years)
        return pd.DataFrame(table, index=pd.Index(years, name="year"))

    def plot_year(self, channel: str = CHANNEL, *, as_of: int | None = None, ax: Any = None) -> Any:
        """Both factors of P(year) and their product with its interval; returns the matplotlib axis.

        The first year, which stands for all before it, is told in the legend and not drawn.
        """
        from scarfdate.show import plot

        return plot.year_prior(self.year_prior_table(channel, as_of=as_of), channel, ax)

    def __reduce__(self) -> tuple[object, tuple[object, ...]]:
        # the contents go along, for the folder may hold others by then; what was compiled does not
        read = self._as_read
        own = {
            name: getattr(self, name)
            for name, as_read in read.parts.items()
            if getattr(self, name) is not as_read
        }
        folder = str(read.parts["folder"])
        place = "" if folder == str(shipped_folder()) else folder
        return (_restored, (str(read.parts["hash"]), place, read.packed, own))

    def __copy__(self) -> Priors:
        return self

    def __deepcopy__(self, memo: dict[int, object]) -> Priors:
        return self  # nothing in it can be changed


def load_priors(path: str | Path | None = None) -> Priors:
    """The shipped priors, or a folder of your own.

    A folder with a ``datapackage.json`` stands alone: every file that it lists must be there. A
    folder without one holds single files that replace the shipped ones of the same name.

    Raises PriorsError, which carries every fault found with its file, row and column.
    """
    if path is None:
        return _shipped()
    folder = Path(path)
    if not folder.is_dir():
        is_file = folder.exists()
        problem = "this is a file, not a folder" if is_file else "there is no such folder"
        step = "name the folder that it lies in" if is_file else "check the path"
        raise PriorsError(str(path), [Fault(str(path), None, None, problem, "", step)])
    faults: list[Fault] = []
    files = read_folder(folder, faults)
    if DESCRIPTOR in files:
        check_listed(files, folder, faults)
    else:
        shipped = read_folder(shipped_folder(), faults)
        check_names(files, shipped, faults)
        if not files:
            faults.append(Fault(str(path), None, None, "the folder holds no priors file"))
        files = {**shipped, **files}
    return _checked(files, str(path), faults)


def checked_priors(priors: Priors | None) -> Priors:
    """The priors given, the shipped ones for None; ScarfdateError for anything else."""
    if priors is None:
        return load_priors()
    if not isinstance(priors, Priors):
        raise ScarfdateError(
            f"priors: tables as load_priors gives them are allowed, got {shown(priors)}; "
            "write load_priors(folder) for a folder of your own"
        )
    return priors


def folder_files(priors: Priors) -> dict[str, bytes]:
    """The contents of every file behind some priors, by name, as they were read."""
    return dict(priors.files)


def priors_of_files(files: Mapping[str, bytes], folder: str) -> Priors:
    """Priors from the contents of files, checked as a folder is; ``folder``: where they are to lie."""
    return _checked(files, folder, [])


@cache
def _shipped() -> Priors:
    folder = shipped_folder()
    faults: list[Fault] = []
    files = read_folder(folder, faults)
    check_listed(files, folder, faults)
    return _checked(files, str(folder), faults)


@cache
def _shipped_hash() -> str:
    return hash_of_files(read_folder(shipped_folder(), []))


# by the hash of their files, for as long as anybody holds them
_RESTORED: WeakValueDictionary[str, Priors] = WeakValueDictionary()


def _restored(hash_: str, folder: str, packed: bytes, own: Mapping[str, object]) -> Priors:
    """Priors out of a pickle: from the contents that lie in it, read but once in a process."""
    if hash_ == _shipped_hash():
        found = _shipped()
    else:
        known = _RESTORED.get(hash_)
        where = folder or "the tables that came with another version"
        found = known or priors_of_files(pickle.loads(zlib.decompress(packed)), where)
        _RESTORED[hash_] = found
    changed = dict(own)
    if folder and folder != found.folder:
        changed.setdefault("folder", folder)
    return replace(found, **changed, _compiled={}) if changed else found  # type: ignore[arg-type]


def _checked(files: Mapping[str, bytes], folder: str, faults: list[Fault]) -> Priors:
    """All tables from all files; every fault of every file at once."""
    tables = _tables(files, folder, faults)
    vocabulary = read_vocabulary(tables["vocabulary.csv"])
    families = read_families(tables["families.csv"])
    _check_families(tables, vocabulary, families, faults)
    of_clues = _of_clues(tables, vocabulary, families)
    _check_all_there(tables, folder, faults)
    usual = of_clues.pop("")
    slips, altered = read_slips(tables["slips.csv"], tuple(families))
    dated = tables["lags.csv"].names("@families of dated")
    parts: dict[str, Any] = {
        "vocabulary": vocabulary,
        "families": families,
        "shares": usual.shares,
        "measured": usual.measured,
        "confusion": usual.confusion,
        "slips": slips,
        "altered": altered,
        "makers": read_makers(tables["makers.csv"]),
        "lags": read_knot_table(tables["lags.csv"], (*dated, "depicted_announced"), knot="lag"),
        "century": read_century(tables),
        "allowances": _read_allowances(tables["allowances.csv"]),
        "sets": frozen(of_clues),
        "medium": read_medium_rules(tables, vocabulary),
        "label": read_label_rules(tables, vocabulary, families),
        "checks": read_checks(tables["checks.csv"]),
        "limits": read_limits(tables[LIMITS], vocabulary),
        "says_little": _read_information(tables["information.csv"]),
    }
    if faults:
        raise PriorsError(folder, _in_order(faults))
    kept = {name: content for name, content in files.items() if is_dated_by(name)}
    parts |= {"hash": hash_of_files(files), "folder": folder, "files": frozen(kept)}
    return Priors(**parts, _as_read=_AsRead(frozen(parts), parts["files"]))


def _tables(files: Mapping[str, bytes], folder: str, faults: list[Fault]) -> Mapping[str, Table]:
    """Every file that the schema knows, its cells checked.

    Raises PriorsError where there are no words and families, by which all else is checked.
    """
    read = {
        name: read_sheet(name, content, faults)
        for name, content in files.items()
        if schema().of(name) is not None
    }
    words = Words(read)
    tables: dict[str, Table] = {}
    for name in sorted(read, key=lambda name: name not in _WORDS):
        declared = schema().of(name)
        assert declared is not None
        if name not in _WORDS and len(tables) < len(_WORDS):
            break
        kind, family = kind_of(name)
        if kind in KINDS and family not in words.families:
            tables[name] = Table(sheet=read[name])  # there are no words to check it by
            continue
        tables[name] = check(read[name], declared, words)
    for name in _WORDS:
        if name not in tables:
            missing(name, faults)
    if not all(name in tables and tables[name].every for name in _WORDS):
        raise PriorsError(folder, faults)
    return tables


def _in_order(faults: list[Fault]) -> list[Fault]:
    """Faults file by file and row by row; those of a whole file first."""
    files = list(dict.fromkeys(fault.file for fault in faults))
    return sorted(faults, key=lambda fault: (files.index(fault.file), fault.row or 0))


def _check_families(
    tables: Mapping[str, Table],
    vocabulary: Vocabulary,
    families: Mapping[str, Family],
    faults: list[Fault],
) -> None:
    """Every family has its values and its table, and every table its family."""
    for family in families.values():
        if family.kind not in ("shares", "measured"):
            continue
        words = vocabulary.values.get(family.parent or family.name, ())
        if not words:
            faults.append(Fault("vocabulary.csv", None, "family", "has no values for", family.name))
            continue
        for value in family.unstated:
            if value not in words:
                step = did_you_mean(value, words)
                tables["families.csv"].fault(None, "unstated", "is not a value", value, step)
        if f"{family.kind}/{family.name}.csv" not in tables:
            missing(f"{family.kind}/{family.name}.csv", faults, "every family has its table")
    for name, table in tables.items():
        kind, own = kind_of(name)
        if kind in KINDS and own not in families:
            step = did_you_mean(own, list(families))
            table.fault(None, None, "no family of families.csv has this name", "", step)
        elif kind in KINDS and families[own].kind != _of_kind(kind):
            problem = f"a table of {kind} is of a family of the kind {_of_kind(kind)}"
            table.fault(None, None, problem, families[own].kind)
    if tuple(vocabulary.values.get("grade", GRADES)) != GRADES:
        tables["vocabulary.csv"].fault(None, None, f"the grades are {', '.join(GRADES)}")


def _check_all_there(tables: Mapping[str, Table], folder: str, faults: list[Fault]) -> None:
    """Raises PriorsError where a file is missing that dating reads: without it the others are half of a whole."""
    needed = [name for name in schema().files if "/" not in name and name not in _OPTIONAL]
    for name in needed:
        if name not in tables:
            missing(name, faults)
    if any(name not in tables for name in needed):
        raise PriorsError(folder, _in_order(faults))


def _of_kind(kind: str) -> str:
    """The kind of the families that have tables in a folder of this name."""
    return "shares" if kind == "confusion" else kind


def _of_clues(
    tables: Mapping[str, Table], vocabulary: Vocabulary, families: Mapping[str, Family]
) -> dict[str, TableSet]:
    """The tables of clues by the folder that they lie in: "" for the usual ones, else a channel's own."""
    sets = {name.rsplit("/", 2)[0] for name in tables if name.count("/") == 2}
    found = {}
    for group in ("", *sorted(sets)):
        place = f"{group}/" if group else ""
        read: dict[str, dict[str, Any]] = {kind: {} for kind in KINDS}
        for family in families.values():
            for kind, reader in _READERS.items():
                table = tables.get(f"{place}{kind}/{family.name}.csv")
                words = vocabulary.values.get(family.parent or family.name)
                if not words or family.kind != _of_kind(kind):
                    continue
                if table is not None:
                    read[kind][family.name] = reader(family.name, table)
                elif kind == "confusion" and not group:
                    read[kind][family.name] = certain(family.name, words)
        found[group] = TableSet(**{kind: frozen(own) for kind, own in read.items()})
    return found


_READERS: Mapping[str, Callable[[str, Table], Any]] = {
    "shares": read_shares,
    "measured": read_measured,
    "confusion": read_confusion,
}


def _read_allowances(table: Table) -> Mapping[str, float]:
    found = {row["what"]: row["value"] for row in table.rows}
    for name in table.words("what") if table.whole else ():
        if name not in found:
            table.fault(None, "what", "a row is missing", name)
    return frozen(found)


def _read_information(table: Table) -> frozenset[str]:
    """The families of which a note may carry nothing about the decade."""
    return frozenset(
        row["family"]
        for row in table.rows
        if row["reaches_zero"] == "yes" and row["grade"] == "all"
    )
