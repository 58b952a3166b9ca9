"""`Priors`: everything that lies in a priors folder, checked as a whole and then frozen."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.conventions import CHANNEL, FIRST_YEAR, GRADES
from scarfdate.errors import Fault, PriorsError, did_you_mean
from scarfdate.files import hash_of
from scarfdate.tables.century import Century, read_century
from scarfdate.tables.checks import Check, read_checks
from scarfdate.tables.families import Family, read_families
from scarfdate.tables.label import LABEL_FILES, LabelRules, read_label_rules
from scarfdate.tables.limits import LIMITS, Limit, read_limits
from scarfdate.tables.looking import ConfusionTable, certain, read_confusion, read_slips
from scarfdate.tables.makers import Makers, read_makers
from scarfdate.tables.measured import MeasuredTable, read_measured
from scarfdate.tables.medium import MEDIUM_FILES, MediumRules, read_medium_rules
from scarfdate.tables.shares import KnotTable, SharesTable, read_knot_table, read_shares
from scarfdate.tables.sheet import read_sheet
from scarfdate.tables.vocabulary import Vocabulary, read_vocabulary
from scarfdate.years import checked_as_of

if TYPE_CHECKING:
    import pandas

DESCRIPTOR = "datapackage.json"
_SINGLE = (
    "families.csv", "vocabulary.csv", "slips.csv", "makers.csv", "lags.csv", "allowances.csv",
    "channels.csv", "year_museum.csv", "year_channel.csv", "grades.csv", "markets.csv",
    "revivals.csv", "lookback_lag.csv", "lookback_appeal.csv", "survival.csv", "information.csv", *MEDIUM_FILES,
    *LABEL_FILES, "checks.csv", LIMITS,
)  # fmt: skip
_ALLOWANCES = (
    "fringe_on_long_side",
    "shape_agreement",
    "future_years",
    "surprise_named",
    "vintage_age",
    "antique_age",
    "museum_record",
    "trade_row",
    "mark_misread",
    "mark_elsewhere",
    "channel_worth",
    "table_shift",
    "table_knots", "table_error_length", "table_error_scale", "table_shift_scale",
)  # fmt: skip
_FOLDERS = ("shares", "measured", "confusion")
_SETS = ("shares", "measured", "confusion")  # what a channel may have tables of its own for


@dataclass(frozen=True)
class TableSet:
    """Tables of some families that hold in certain channels instead of the usual ones."""

    shares: Mapping[str, SharesTable]
    measured: Mapping[str, MeasuredTable]
    confusion: Mapping[str, ConfusionTable]


@dataclass(frozen=True, eq=False)
class Priors:
    """Every table about scarves, read-only. ``hash`` is the SHA-256 of the files it came from."""

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
            shares=MappingProxyType({**self.shares, **own.shares}),
            measured=MappingProxyType({**self.measured, **own.measured}),
            confusion=MappingProxyType(
                {**self.confusion}
                | {
                    family: self.confusion[family].with_own(t)
                    for family, t in own.confusion.items()
                }
            ),
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

    def __reduce__(self) -> tuple[object, tuple[str]]:
        return (load_priors, (self.folder,))


def shipped_folder() -> Path:
    """Where the priors that came with the library lie: beside the package, or inside the wheel."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "priors"
    return inside if inside.is_dir() else package.parent / "priors"


def load_priors(path: str | Path | None = None) -> Priors:
    """The shipped priors, or a folder of your own.

    A folder with a ``datapackage.json`` stands alone: every file that it lists must be there. A
    folder without one holds single files that replace the shipped ones of the same name.

    Raises PriorsError, which carries every fault found with its file, row and column.
    """
    if path is None:
        return _shipped()
    folder = Path(path)
    faults: list[Fault] = []
    if not folder.is_dir():
        raise PriorsError(
            str(path),
            [Fault(str(path), None, None, "there is no such folder", "", "check the path")],
        )
    files = _read_folder(folder, faults)
    if DESCRIPTOR not in files:
        shipped = _read_folder(shipped_folder(), faults)
        families = {**shipped, **files}["families.csv"]
        known = [*shipped, *_possible(families)]
        for name in files:
            own = "/".join(_set_of(name)[1:])
            if name not in known and f"{own}.csv" not in known:
                step = did_you_mean(name, sorted(known))
                faults.append(Fault(name, None, None, "not a file of a priors folder", "", step))
        if not files:
            faults.append(Fault(str(path), None, None, "the folder holds no priors file"))
        files = {**shipped, **files}
    return _checked(files, str(path), faults)


def folder_files(priors: Priors) -> dict[str, bytes]:
    """The contents of every file behind some priors, by name: their own folder over the shipped one.

    Raises PriorsError where the files are no longer those that were read.
    """
    faults: list[Fault] = []
    if not Path(priors.folder).is_dir():
        step = "save the priors as a folder first, and load that"
        raise PriorsError(
            priors.folder, [Fault(priors.folder, None, None, "there is no such folder", "", step)]
        )
    files = _read_folder(Path(priors.folder), faults)
    if DESCRIPTOR not in files:
        files = {**_read_folder(shipped_folder(), faults), **files}
    if not faults and hash_of((n, c) for n, c in files.items() if n != DESCRIPTOR) != priors.hash:
        step = "load the priors again"
        faults.append(
            Fault(
                priors.folder, None, None, "the files have changed since they were read", "", step
            )
        )
    if faults:
        raise PriorsError(priors.folder, faults)
    return files


def priors_of_files(files: Mapping[str, bytes], folder: str) -> Priors:
    """Priors from the contents of files, checked as a folder is; ``folder``: where they are to lie."""
    return _checked(files, folder, [])


@cache
def _shipped() -> Priors:
    folder = shipped_folder()
    faults: list[Fault] = []
    files = _read_folder(folder, faults)
    return _checked(files, str(folder), faults)


def _possible(families: bytes) -> list[str]:
    """Names of table files that the declared families may have."""
    declared = read_families(families, [])
    return [f"{folder}/{name}.csv" for folder in _FOLDERS for name in declared]


def _set_of(name: str) -> tuple[str, str, str]:
    """Set, kind and family of a file such as ``museum/shares/fibre.csv``; all empty for others."""
    parts = name.removesuffix(".csv").split("/")
    return (parts[0], parts[1], parts[2]) if len(parts) == 3 and parts[1] in _SETS else ("", "", "")


def _read_folder(folder: Path, faults: list[Fault]) -> dict[str, bytes]:
    """Contents of the files of a folder, by their names with forward slashes."""
    files = {}
    places = [folder, *(folder / name for name in _FOLDERS if (folder / name).is_dir())]
    places += sorted(
        place for kind in _SETS for place in folder.glob(f"*/{kind}") if place.is_dir()
    )
    for place in places:
        for path in sorted(place.iterdir()):
            name = path.relative_to(folder).as_posix()
            if (
                path.is_file()
                and path.suffix in (".csv", ".json")
                and not path.name.startswith(".")
            ):
                try:
                    files[name] = path.read_bytes()
                except OSError as error:
                    faults.append(Fault(name, None, None, "cannot be read", str(error.strerror)))
    return files


def _check_listed(files: Mapping[str, bytes], folder: str, faults: list[Fault]) -> None:
    """Every file that the descriptor lists is there, those that dating does not read, too."""
    # a folder without a descriptor is completed by the shipped one, which lists the shipped files
    own = Path(folder)
    place = own if (own / DESCRIPTOR).is_file() else shipped_folder()
    try:
        listed = [resource["path"] for resource in json.loads(files[DESCRIPTOR])["resources"]]
    except (ValueError, KeyError, TypeError):
        step = "see the shipped one"
        faults.append(
            Fault(DESCRIPTOR, None, None, "not a readable Data Package descriptor", "", step)
        )
        return
    for name in listed:
        if name not in files and not (place / name).is_file():
            step = "put the file back, or take it off the list"
            faults.append(Fault(str(name), None, None, "the file is missing", "", step))


def _checked(files: Mapping[str, bytes], folder: str, faults: list[Fault]) -> Priors:
    """All tables from all files; every fault of every file at once."""
    if DESCRIPTOR in files:
        _check_listed(files, folder, faults)
    known = {fault.file for fault in faults}
    for name in _SINGLE:
        if name not in files and name not in known:
            faults.append(Fault(name, None, None, "the file is missing", "", "put the file back"))
    if any(name not in files for name in ("families.csv", "vocabulary.csv")):
        raise PriorsError(folder, faults)
    vocabulary = read_vocabulary(files["vocabulary.csv"], faults)
    families = read_families(files["families.csv"], faults)
    shares: dict[str, SharesTable] = {}
    measured: dict[str, MeasuredTable] = {}
    confusion: dict[str, ConfusionTable] = {}
    methods = vocabulary.values.get("method", ())
    for family in families.values():
        words = vocabulary.values.get(family.parent or family.name, ())
        if family.kind not in ("shares", "measured"):
            continue
        if not words:
            faults.append(Fault("vocabulary.csv", None, "family", "has no values for", family.name))
            continue
        for value in family.unstated:
            if value not in words:
                step = did_you_mean(value, words)
                faults.append(
                    Fault("families.csv", None, "unstated", "is not a value", value, step)
                )
        name = f"{family.kind}/{family.name}.csv"
        if name not in files:
            if name not in known:
                faults.append(
                    Fault(name, None, None, "the file is missing", "", "every family has its table")
                )
        elif family.kind == "shares":
            shares[family.name] = read_shares(family.name, files[name], words, faults)
        else:
            measured[family.name] = read_measured(family.name, files[name], words, faults)
        if family.kind == "shares":
            table = files.get(f"confusion/{family.name}.csv")
            confusion[family.name] = (
                certain(family.name, words)
                if table is None
                else read_confusion(family.name, table, words, methods, faults)
            )
    sets = _read_sets(files, families, vocabulary, faults)
    for name in files:
        place, _, rest = name.partition("/")
        rest = rest if place in _FOLDERS else f"{_set_of(name)[2]}.csv" if _set_of(name)[0] else ""
        if rest and (rest.removesuffix(".csv") not in families):
            step = did_you_mean(rest.removesuffix(".csv"), list(families))
            faults.append(
                Fault(name, None, None, "no family of families.csv has this name", "", step)
            )
    if any(name not in files for name in _SINGLE):
        raise PriorsError(folder, faults)
    slips, altered = read_slips(files["slips.csv"], tuple(families), faults)
    makers = read_makers(files["makers.csv"], vocabulary.values.get("signature", ()), faults)
    dated = [*(f.name for f in families.values() if f.kind == "dated"), "depicted_announced"]
    lags = read_knot_table("lags.csv", files["lags.csv"], dated, faults, knot="lag")
    try:
        century = read_century(files, faults, tuple(sets))
    except (KeyError, IndexError) as error:
        faults.append(
            Fault(
                "channels.csv",
                None,
                None,
                "the tables of the prior do not fit together",
                str(error),
            )
        )
    allowances = _read_allowances(files["allowances.csv"], faults)
    medium = read_medium_rules(files, vocabulary, families, faults)
    label = read_label_rules(files, vocabulary, families, faults)
    checks = read_checks(files["checks.csv"], families, methods, faults)
    limits = read_limits(files[LIMITS], vocabulary, families, faults)
    little = _read_information(files["information.csv"], tuple(families), faults)
    if tuple(vocabulary.values.get("grade", GRADES)) != GRADES:
        faults.append(Fault("vocabulary.csv", None, None, f"the grades are {', '.join(GRADES)}"))
    if faults:
        raise PriorsError(folder, faults)
    return Priors(
        vocabulary,
        families,
        MappingProxyType(shares),
        MappingProxyType(measured),
        MappingProxyType(confusion),
        slips,
        altered,
        makers,
        lags,
        century,
        allowances,
        sets,
        medium,
        label,
        checks,
        limits,
        little,
        hash_of((name, content) for name, content in files.items() if name != DESCRIPTOR),
        folder,
    )


def _read_sets(
    files: Mapping[str, bytes],
    families: Mapping[str, Family],
    vocabulary: Vocabulary,
    faults: list[Fault],
) -> Mapping[str, TableSet]:
    """Tables that lie in a folder of their own, such as ``museum/shares/fibre.csv``."""
    found: dict[str, TableSet] = {}
    shares: dict[str, dict[str, SharesTable]] = {}
    measured: dict[str, dict[str, MeasuredTable]] = {}
    confusion: dict[str, dict[str, ConfusionTable]] = {}
    methods = vocabulary.values.get("method", ())
    for file, content in files.items():
        name, kind, own = _set_of(file)
        if own not in families or families[own].kind != ("shares" if kind == "confusion" else kind):
            continue
        words = vocabulary.values.get(families[own].parent or own, ())
        if not words:  # said already, of the usual tables
            continue
        folder = f"{name}/{kind}"
        if kind == "shares":
            table = read_shares(own, content, words, faults, folder=folder)
            shares.setdefault(name, {})[own] = table
        elif kind == "measured":
            sizes = read_measured(own, content, words, faults, folder=folder)
            measured.setdefault(name, {})[own] = sizes
        else:
            looked = read_confusion(own, content, words, methods, faults, folder=folder)
            confusion.setdefault(name, {})[own] = looked
    for name in sorted({*shares, *measured, *confusion}):
        found[name] = TableSet(
            MappingProxyType(shares.get(name, {})),
            MappingProxyType(measured.get(name, {})),
            MappingProxyType(confusion.get(name, {})),
        )
    return MappingProxyType(found)


def _read_allowances(content: bytes, faults: list[Fault]) -> Mapping[str, float]:
    sheet = read_sheet("allowances.csv", content, ("what", "value", "unit"), faults)
    found: dict[str, float] = {}
    for line, _ in sheet.rows:
        sheet.basis(line)
        found[sheet.word(line, "what", _ALLOWANCES)] = sheet.number(line, "value", low=0)
    for name in _ALLOWANCES:
        if sheet.rows and name not in found:
            sheet.fault(None, "what", "a row is missing", name)
    return MappingProxyType(found)


def _read_information(
    content: bytes, families: tuple[str, ...], faults: list[Fault]
) -> frozenset[str]:
    columns = ("family", "grade", "bits", "lower", "upper", "beyond_chance", "reaches_zero")
    sheet = read_sheet("information.csv", content, columns, faults)
    found: set[str] = set()
    for line, _ in sheet.rows:
        sheet.basis(line)
        family = sheet.word(line, "family", families)
        grade = sheet.word(line, "grade", (*GRADES, "all"))
        for column in ("bits", "lower", "upper"):
            sheet.number(line, column, low=0)
        sheet.number(line, "beyond_chance")
        if sheet.word(line, "reaches_zero", ("yes", "no")) == "yes" and grade == "all":
            found.add(family)
    return frozenset(found)


def shared_vocabulary() -> Vocabulary:
    """The shipped vocabulary, for a `Scarf` made without priors of its own."""
    return _shipped().vocabulary
