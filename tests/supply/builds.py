"""The wheel and the sdist: built twice under different circumstances, compared by bytes, and looked into."""

from __future__ import annotations

import os
import random
import re
import shutil
import tarfile
import zipfile
from collections.abc import Iterable
from pathlib import Path

from tests.supply import ROOT, run
from tests.supply.locks import project

NEVER = {"__pycache__", ".ipynb_checkpoints"}
ADDED = {"PKG-INFO", "pyproject.toml", ".gitignore"}  # by the build, or what it needs
NO_GIT = 1_577_836_800  # 2020-01-01: without a commit to take the time of, any time will do
EPOCH = "SOURCE_DATE_EPOCH"


def files() -> set[str]:
    """What a release is made of: the files that pyproject lists for the sdist, as paths from the root."""
    found = {"pyproject.toml", ".gitignore"}
    for name in project()["tool"]["hatch"]["build"]["targets"]["sdist"]["include"]:
        whole = ROOT / name
        inside = whole.rglob("*") if whole.is_dir() else [whole]
        found |= {
            str(one.relative_to(ROOT))
            for one in inside
            if one.is_file() and not NEVER & set(one.parts)
        }
    return found


def epoch() -> str:
    """The time of the last commit, in seconds."""
    try:
        return run("git", "log", "-1", "--format=%ct").strip()
    except (RuntimeError, OSError):
        return str(NO_GIT)


def copy(folder: Path, names: Iterable[str], when: float) -> None:
    """The sources in another folder, written in this order, all of them last changed at this time."""
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(ROOT / name, folder / name)
        os.utime(folder / name, (when, when))


def build(source: Path, out: Path, *kinds: str) -> dict[str, bytes]:
    """What the build leaves in ``out``, by name; ``kinds`` are ``sdist`` and ``wheel``."""
    wanted = [part for kind in kinds for part in ("-t", kind)]
    run(
        "python",
        "-m",
        "hatchling",
        "build",
        "--directory",
        out,
        *wanted,
        at=source,
        **{EPOCH: epoch()},
    )
    return {
        one.name: one.read_bytes() for one in sorted(out.iterdir()) if one.suffix in (".whl", ".gz")
    }


def twice(folder: Path) -> tuple[dict[str, bytes], list[str]]:
    """Both built in two folders, and a wheel from the sdist; the first's bytes, and in words where they differ."""
    names = sorted(files())
    shuffled = random.Random(17).sample(names, len(names))
    made = []
    for at, order, when, mask in (
        ("one", names, 1e9, 0o022),
        ("an other/place", shuffled, 1.6e9, 0o077),
    ):
        before = os.umask(mask)
        try:
            copy(folder / at, order, when)
            made.append(build(folder / at, folder / at / "dist", "sdist", "wheel"))
            if mask == 0o077:  # once more from what the sdist holds
                sdist = next((folder / at / "dist").glob("*.gz"))
                with tarfile.open(sdist) as whole:
                    whole.extractall(folder / "sdist", filter="data")
                made.append(build(next((folder / "sdist").iterdir()), folder / "again", "wheel"))
        finally:
            os.umask(before)
    first, *others = made
    differ = [f"{name} differs, by {len(first[name])} and {len(other[name])} bytes"
              for other in others for name in other if first.get(name) != other[name]]  # fmt: skip
    return first, differ


def looked_into(folder: Path) -> list[str]:
    """In words, what is in the wheel and the sdist of ``folder`` that should not be, or is missing."""
    wheel, sdist = next(folder.glob("*.whl")), next(folder.glob("*.tar.gz"))
    there = files()
    with zipfile.ZipFile(wheel) as opened:
        inside = {name: opened.read(name) for name in opened.namelist()}
        stamps = {one.date_time for one in opened.infolist()}
    about = next(name for name in inside if name.endswith(".dist-info/METADATA")).removesuffix(
        "METADATA"
    )
    says = inside[f"{about}METADATA"].decode()
    shipped = {name if name.startswith("scarfdate/") else f"scarfdate/{name}" for name in there
               if name.startswith(("scarfdate/", "priors/", "data/", "notebooks/"))}  # fmt: skip
    own = {
        f"{about}{name}"
        for name in ("METADATA", "WHEEL", "RECORD", "entry_points.txt", "licenses/LICENSE")
    }
    with tarfile.open(sdist) as opened:
        packed = {one.name.partition("/")[2]: one for one in opened.getmembers() if one.isfile()}
        owners = {(one.uname, one.gname, one.uid, one.gid) for one in packed.values()}
    found = [f"the wheel has {name}" for name in sorted(inside.keys() - shipped - own)]
    found += [f"the wheel lacks {name}" for name in sorted((shipped | own) - inside.keys())]
    found += [f"the sdist has {name}" for name in sorted(packed.keys() - there - ADDED)]
    found += [f"the sdist lacks {name}" for name in sorted((there | ADDED) - packed.keys())]
    here = [
        str(place).encode()
        for place in (ROOT, Path.home(), folder.absolute())
        if len(str(place)) > len("/root")
    ]
    found += [f"{name} of the wheel names a folder of this machine" for name, text in sorted(inside.items())
              if any(place in text for place in here)]  # fmt: skip
    if not re.search(r"^License-Expression: MIT$(?s:.*)^License-File: LICENSE$", says, re.M):
        found.append("the wheel's metadata do not say MIT and LICENSE (PEP 639)")
    if len(stamps) != 1 or owners != {("", "", 0, 0)}:
        found.append(
            f"times or owners of the builder are in it: {sorted(stamps)[:3]}, {sorted(owners)[:3]}"
        )
    return found
