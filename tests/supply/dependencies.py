"""DEPENDENCIES.md: every library in the locks with its licence, its last release and what it is needed for.

Licences are what the releases say of themselves; days of release are the index's, asked through uv.
"""

from __future__ import annotations

import re
import tempfile
import tomllib
from collections import defaultdict
from importlib.metadata import Distribution, distributions
from pathlib import Path

from packaging.utils import canonicalize_name

from tests.supply import ROOT, run
from tests.supply.locks import LAYERS, LOCKS, PYTHONS, Pin, asked, pins

PAGE = ROOT / "DEPENDENCIES.md"
COLUMNS = ("library", "locked", "licence", "last release", "needed for")
AGAIN = "python -m tests.supply dependencies"
UNKNOWN, NOT_HERE = "unknown", "not on Linux"
# What releases from before PEP 639 say in a trove classifier (its last words) or in a field, as an SPDX expression.
# "BSD License" names no version, so neither does this.
AS_SPDX = {
    "MIT License": "MIT",
    "The MIT License (MIT)": "MIT",
    "BSD License": "BSD",
    "Apache Software License": "Apache-2.0",
    "Apache 2.0": "Apache-2.0",
    "Apache License, Version 2.0": "Apache-2.0",
    "ISC License (ISCL)": "ISC",
    "Artistic License": "Artistic-2.0",
    "Python Software Foundation License": "PSF-2.0",
    "Mozilla Public License 1.1 (MPL 1.1)": "MPL-1.1",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Public Domain": "public domain",
    "GNU General Public License (GPL)": "GPL",
    "GNU General Public License v2 or later (GPLv2+)": "GPL-2.0-or-later",
    "GNU Library or Lesser General Public License (LGPL)": "LGPL",
    "GNU Lesser General Public License v2 or later (LGPLv2+)": "LGPL-2.0-or-later",
}
# Words by which the text of a licence is known, where a release says nothing else.
TEXTS = {
    "GNU LESSER GENERAL PUBLIC LICENSE Version 3": "LGPL-3.0-only",
    "Permission is hereby granted, free of charge": "MIT",
    "Redistribution and use in source and binary forms": "BSD",
}
# Licences that ask for nothing but that their notice stays with their own code.
PERMISSIVE = {
    "MIT", "MIT-0", "MIT-CMU", "BSD", "BSD-2-Clause", "BSD-3-Clause", "0BSD", "Apache-2.0", "ISC", "PSF-2.0",
    "Zlib", "CC0-1.0", "Apache-2.0 WITH LLVM-exception", "public domain",
}  # fmt: skip
NOT_SHIPPED = "not in the wheel, nor asked for by it: for tests and releases only"
BY_FILE = "MPL 2.0 binds changes of its own files; it is installed as it is, from its own release"
# The others, each with why an MIT library may stand beside it. None of them is copied, changed or shipped.
REASONS = {
    "tqdm": BY_FILE,
    "certifi": "MPL 2.0; only extras bring it, from its own release",
    "hypothesis": NOT_SHIPPED,
    "pathspec": "for the build only, and nothing of it is in what is built",
    "fqdn": "MPL 2.0; a part of Jupyter, which only the extra `notebooks` brings, from its own release",
    "cons": "LGPL 3; a part of PyMC's own stack, which only the extra `learn` brings, from its own release; "
    "nothing here imports it",
    "odfpy": "a choice of licences, Apache 2.0 among them; " + NOT_SHIPPED,
    "pyagrum": "a choice of licences, MIT among them; " + NOT_SHIPPED,
    "pyphen": "a choice of licences, MPL among them; " + NOT_SHIPPED,
    "text-unidecode": "a choice of licences, the Artistic License among them; " + NOT_SHIPPED,
    "atheris": "its wheels state none; its sources are under Apache 2.0 (from memory); "
    + NOT_SHIPPED,
    "yattag": "LGPL 2.1; a part of what plants faults in a command of ours; " + NOT_SHIPPED,
    "docutils": "in the public domain or BSD but for files that are not installed; " + NOT_SHIPPED,
}


def licence(one: Distribution) -> str:
    """Its expression (PEP 639), or else its classifiers (parted by " / "), its field of old, or what its text is known by."""
    about = one.metadata
    if said := about.get("License-Expression"):
        return said
    found = [
        line.rpartition(" :: ")[2]
        for line in about.get_all("Classifier") or ()
        if line.startswith("License ::")
    ]
    if known := {AS_SPDX.get(name, name) for name in found if name != "OSI Approved"}:
        return " / ".join(sorted(known))
    if field := next(iter((about.get("License") or "").strip().splitlines()), ""):
        return AS_SPDX.get(field, field)
    texts = [file.read_text() for file in one.files or () if "licen" in file.name.lower()]
    words = " ".join(" ".join(texts).split())
    return next((name for text, name in TEXTS.items() if text in words), UNKNOWN)


def doubtful(licence: str) -> set[str]:
    """Of a cell of the table, the licences that are not :data:`PERMISSIVE`."""
    single = re.split(r" AND | OR | / |; |[()]", licence)
    return {one.strip() for one in single if one.strip()} - PERMISSIVE


def licences() -> dict[tuple[str, str], str]:
    """The licence of each locked release, read where the locks were installed for each interpreter, without running it."""
    locks = [part for layer in LAYERS for part in ("--requirements", LOCKS / f"{layer}.txt")]
    found = {}
    for python in PYTHONS:
        with tempfile.TemporaryDirectory() as folder:
            run("uv", "pip", "install", "--quiet", "--no-deps", "--require-hashes", "--target", folder,
                "--python-version", python, *locks)  # fmt: skip
            for one in distributions(path=[folder]):
                found[canonicalize_name(one.name), one.version] = licence(one)
    return found


def last_releases(names: list[str]) -> dict[str, tuple[str, str]]:
    """The newest release of each and its day, or :data:`UNKNOWN` where the index gives none."""
    with tempfile.TemporaryDirectory() as folder:
        wanted, lock = Path(folder) / "names.in", Path(folder) / "pylock.toml"
        wanted.write_text("\n".join(names) + "\n", encoding="utf-8")
        run("uv", "pip", "compile", "--quiet", "--no-deps", "--universal", "--python-version", PYTHONS[-1],
            "--format", "pylock.toml", wanted, "--output-file", lock)  # fmt: skip
        read = tomllib.loads(lock.read_text(encoding="utf-8"))
    found = {}
    for one in read["packages"]:
        files = [*one.get("wheels", ()), *([one["sdist"]] if "sdist" in one else ())]
        days = [file["upload-time"].date().isoformat() for file in files if "upload-time" in file]
        found[one["name"]] = one["version"], min(days, default=UNKNOWN)
    return found


def rows() -> list[tuple[str, str, str, str, str]]:
    """One row a library of the locks: first what the package itself runs on, then what each extra adds."""
    said = licences()
    by_name = defaultdict[str, list[Pin]](list)
    for one in pins():
        by_name[one.name].append(one)
    newest = last_releases(list(by_name))
    wanted = defaultdict[str, list[str]](list)
    for group, ones in asked().items():
        for one in ones:
            wanted[canonicalize_name(one.name)].append(group)
    made = []
    for name, held in by_name.items():
        versions = dict.fromkeys(one.version for one in held)
        terms = dict.fromkeys(said[name, one] for one in versions if (name, one) in said)
        version, day = newest.get(name, ("", UNKNOWN))
        groups = dict.fromkeys(wanted[name]) or [
            "by " + ", ".join(dict.fromkeys(by for one in held for by in one.asked_by))
        ]
        made.append((
            name,
            " and ".join(versions),
            "; ".join(terms) or NOT_HERE,
            f"{day} ({version})" if version and version not in versions else day,
            f"{held[0].layer}: {', '.join(groups)}" if list(groups) != [held[0].layer] else held[0].layer,
        ))  # fmt: skip
    return made


def page(made: list[tuple[str, str, str, str, str]]) -> str:
    """The table, in Markdown."""
    lines = [
        "# What scarfdate is built on",
        "",
        f"Written by `{AGAIN}` from the lock files in `locks/`, from what each release says of its licence and from the "
        "days of release that the index gives (where the newest release is not the locked one, it stands in brackets). "
        "None of it is copied into the wheel, which asks for the rows of the layer `run` alone; what the other "
        "layers are for is in DEVELOPERS.md. A library that only another operating system needs is not installed "
        f"here, and its licence not read: `{NOT_HERE}`.",
        "",
        *("| " + " | ".join(row) + " |" for row in (COLUMNS, ["---"] * len(COLUMNS), *made)),
        "",
        "Those whose licence asks for more than a notice, and why they are all right:",
        "",
        *(f"- {name}: {reason}." for name, reason in sorted(REASONS.items())),
    ]
    return "\n".join(lines) + "\n"


def read() -> list[dict[str, str]]:
    """The rows of DEPENDENCIES.md as it is committed."""
    lines = re.findall(r"^\| (?!library|---)(.+) \|$", PAGE.read_text(encoding="utf-8"), re.M)
    return [dict(zip(COLUMNS, line.split(" | "), strict=True)) for line in lines]


def make() -> None:
    """Write DEPENDENCIES.md."""
    PAGE.write_text(page(rows()), encoding="utf-8")
