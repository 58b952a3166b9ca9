"""A priors folder as files: which may be there, which have to be, and what is in them."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path

from scarfdate.errors import FileFault, PriorsError, ScarfdateError, did_you_mean, shown
from scarfdate.files import COMING, hash_of, is_coming, read_at_most
from scarfdate.formats import PRIORS
from scarfdate.tables.schema import schema
from scarfdate.tables.sheet import LONGEST_SHEET, read_sheet

DESCRIPTOR = "datapackage.json"
MISSING = ("the file is missing", "a column is missing", "a row is missing")
# folders of tables of clues; a channel may have its own
_ALIKE = 0.55  # of 1: a file name is mostly alike by its end
KINDS = ("shares", "measured", "confusion")
WORTH = "worth"  # the folder of what a piece is worth
_FOLDERS = ("trade", "museum", WORTH)  # with files by their names, beside those of each kind
_INSIDE = re.compile(r"(?!.*\.\.)[\w.-]+(?:/[\w.-]+)*")  # a path that leads out of no folder
_LONGEST_PATH = 200


def read_folder(folder: Path, faults: list[FileFault], *, links: bool = False) -> dict[str, bytes]:
    """Contents of the files of a folder, by their names with forward slashes.

    Files of a build that was stopped on the way to their places count as being there. ``links``: whether
    files may be links that lead out of it, as installers lay them.
    """
    try:
        coming = read_folder(folder / COMING, faults) if is_coming(folder) else {}
    except ScarfdateError as refusal:
        faults.append(FileFault(COMING, None, None, str(refusal)))
        coming = {}
    places = [folder, *(folder / name for name in (*KINDS, *_FOLDERS) if (folder / name).is_dir())]
    places += sorted(
        place
        for kind in KINDS
        for place in folder.glob(f"*/{kind}")
        if place.is_dir() and not place.parent.name.startswith(".")
    )
    paths = [
        path
        for place in places
        for path in sorted(place.iterdir())
        if path.suffix in (".csv", ".json") and not path.name.startswith(".")
    ]
    files = {}
    top = folder.resolve()
    for path in paths:
        name = path.relative_to(folder).as_posix()
        try:
            if not links and path.exists() and not path.resolve().is_relative_to(top):
                step = "put the file itself there"
                faults.append(
                    FileFault(name, None, None, "a link that leads out of the folder", "", step)
                )
            elif path.exists() or path.is_symlink():
                files[name] = read_at_most(path, LONGEST_SHEET + 1)
        except OSError as error:
            faults.append(FileFault(name, None, None, "cannot be read", str(error.strerror)))
    return {**files, **coming}


def check_names(
    files: Mapping[str, bytes], shipped: Mapping[str, bytes], faults: list[FileFault]
) -> None:
    """Every file of a folder of single files is one that a folder may have."""
    sheet = read_sheet("families.csv", {**shipped, **files}["families.csv"], [])
    possible = [
        f"{kind}/{name}.csv" for kind in (*KINDS, "trade") for name in sheet.distinct("family")
    ]
    known = dict.fromkeys([*shipped, *schema().files, *possible])
    for name in files:
        # in the folder of a channel's own tables the same names stand
        own = name.split("/", 1)[-1] if name.count("/") == 2 else name
        if name not in known and own not in known:
            elsewhere = [each for each in known if each.endswith(f"/{name}")]
            step = did_you_mean(name, sorted({*(elsewhere or known)}), _ALIKE)
            faults.append(FileFault(name, None, None, "not a file of a priors folder", "", step))


def check_listed(files: Mapping[str, bytes], place: Path, faults: list[FileFault]) -> None:
    """Every file that the descriptor lists is there, those that dating does not read, too."""
    try:
        listed = [resource["path"] for resource in json.loads(files[DESCRIPTOR])["resources"]]
    except (ValueError, KeyError, TypeError, RecursionError):
        step = "see the shipped one"
        faults.append(
            FileFault(DESCRIPTOR, None, None, "not a readable Data Package descriptor", "", step)
        )
        return
    for name in listed:
        text = isinstance(name, str) and len(name) <= _LONGEST_PATH
        if not (text and _INSIDE.fullmatch(name)):
            step = "write the path of a file inside the folder, such as shares/fibre.csv"
            problem = "lists what is no path inside the folder"
            faults.append(FileFault(DESCRIPTOR, None, None, problem, shown(name), step))
        elif name not in files and not (place / name).is_file():
            step = "put the file back, or take it off the list"
            faults.append(FileFault(str(name), None, None, MISSING[0], "", step))


def stated_format(files: Mapping[str, bytes]) -> object:
    """The version of the format that the descriptor among some files states; None where it states none."""
    try:
        told = json.loads(files.get(DESCRIPTOR, b"{}"))
    except (ValueError, RecursionError):
        return None  # `check_listed` tells it
    return told.get("format") if isinstance(told, dict) else None


def check_format(files: Mapping[str, bytes], folder: str) -> None:
    """Raises PriorsError where the files are of a format that is not read here."""
    try:
        PRIORS.checked(stated_format(files), "the folder")
    except ScarfdateError as refusal:
        raise PriorsError(folder, [FileFault(DESCRIPTOR, None, "format", str(refusal))]) from None


def missing(name: str, faults: list[FileFault], step: str = "put the file back") -> None:
    """A fault for a file that is not there, unless one of it is known already."""
    if name not in {fault.file for fault in faults}:
        faults.append(FileFault(name, None, None, MISSING[0], "", step))


def hash_of_files(files: Mapping[str, bytes]) -> str:
    """SHA-256 of the files that answers go by, as 64 hexadecimal digits."""
    return hash_of(one for one in files.items() if one[0] != DESCRIPTOR and is_dated_by(one[0]))


def is_dated_by(name: str) -> bool:
    """Whether a file is part of what answers go by; the others say what stands behind it."""
    return kind_of(name)[0] in ("", *KINDS, WORTH)


def kind_of(name: str) -> tuple[str, str]:
    """Kind and family of a file such as ``museum/shares/fibre.csv``; no kind for one at the top."""
    *folders, own = name.removesuffix(".csv").split("/")
    return (folders[-1], own) if folders else ("", own)
