"""The wheel in an environment that has nothing but the locked libraries it asks for, and its bill of materials."""

from __future__ import annotations

import json
from pathlib import Path

from packaging.utils import canonicalize_name

from tests.supply import ROOT, run
from tests.supply.builds import EPOCH, epoch
from tests.supply.locks import LOCKS, pins

# What it does there: prints where it was imported from, and every bit of one dating and of the priors' hash.
DATED = """
import sys, scarfdate
scarf = scarfdate.Scarf(fibre="silk", hem="hand-rolled", label_text="Made in Italy 100% silk", width_cm=88, height_cm=88)
one = scarfdate.date_scarf(scarf, as_of=2026)
print(scarfdate.__file__)
print(scarfdate.load_priors().hash, one.probability.tobytes().hex(), one)
"""


def environment(folder: Path, wheel: Path, interpreter: str) -> Path:
    """The Python of a new environment with the layer ``run`` of the locks and the wheel: no pip, no anything else."""
    run("uv", "venv", "--quiet", "--python", interpreter, folder)
    python = folder / "bin" / "python"
    put = ("uv", "pip", "install", "--quiet", "--no-deps", "--python", python)
    run(*put, "--require-hashes", "--requirements", LOCKS / "run.txt")
    run(*put, wheel)
    return python


def tried(python: Path) -> str:
    """The version of Python with which the wheel did all it was asked. Raises RuntimeError or AssertionError."""
    home = python.parents[1]
    command = home / "bin" / "scarfdate"
    assert "years" in run(command, "show", "fibre=silk", at=home)
    assert "usage" in run(command, "lessons", "--help", at=home).lower()
    assert len(run(command, "date", ROOT / "data" / "stock.csv", at=home).splitlines()) > 20
    here, answer = run(python, "-c", DATED, at=home).split("\n", 1)
    there, source = run(python, "-c", DATED, at=home, PYTHONPATH=str(ROOT)).split("\n", 1)
    assert Path(here).is_relative_to(home) and Path(there).is_relative_to(ROOT), (here, there)
    assert answer == source, "the wheel dates otherwise than its source"
    missing = "import sys; from scarfdate.lessons.contents import lessons; sys.exit(not all(one.path.is_file() for one in lessons()))"
    run(python, "-c", missing, at=home)
    return run(python, "-c", "import platform; print(platform.python_version())").strip()


def materials(python: Path, out: Path) -> dict[str, str]:
    """Write the CycloneDX bill of materials of an environment, checked against its schema; its components' versions.

    It has no time but that of the last commit, no serial number and no folder: made twice, it is the same.
    """
    run("cyclonedx-py", "environment", "--output-reproducible", "--validate", "--pyproject", ROOT / "pyproject.toml",
        "--mc-type", "library", "--output-file", out, python, **{EPOCH: epoch()})  # fmt: skip
    bill = json.loads(out.read_text(encoding="utf-8"))
    return {canonicalize_name(one["name"]): one["version"] for one in bill["components"]}


def unlike_the_lock(components: dict[str, str], version: str) -> list[str]:
    """Where a bill of materials is not what the lock says for this Python ("3.11.7")."""
    locked = {one.name: one.version for one in pins() if one.layer == "run" and one.holds(version)}
    both = components.keys() | locked.keys()
    return [f"{name}: {components.get(name)} in the bill, {locked.get(name)} in the lock"
            for name in sorted(both - {"scarfdate"}) if components.get(name) != locked.get(name)]  # fmt: skip
