"""The lock files of ``locks/``: every release that CI tests with, by its hashes, for all interpreters at once.

One file a layer, each only with what the layers that it lies on (`ON`) do not have. The index they were made from is
nowhere in them.
"""

from __future__ import annotations

import re
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.supply import ROOT, run

LOCKS = ROOT / "locks"
LAYERS = ("run", "build", "dev", "peers", "browser", "fuzz", "mutants", "release")
ON = {
    "dev": ("run", "build"),
    "peers": ("run", "build", "dev"),
    "browser": ("run", "build", "dev"),
    "fuzz": ("run", "build", "dev"),
    "mutants": ("run", "build", "dev"),
    "release": ("run", "build"),
}
EDITABLE = "editables"  # what the build asks for when it is asked for an editable wheel
PYTHONS = ("3.11", "3.13")
AGAIN = "python -m tests.supply lock"
HEAD = "# Layer {layer}{on}. Made by `{again}`; install with `pip install --no-deps --require-hashes -r`.\n"
_PIN = re.compile(r"^([\w.-]+)==(\S+)(?: ; (.+?))? \\$", re.M)
_UV = (
    "uv",
    "pip",
    "compile",
    "--quiet",
    "--no-header",
    "--universal",
    "--python-version",
    PYTHONS[0],
)


@dataclass(frozen=True)
class Pin:
    """One release in a lock: where its marker holds, which layer brings it and who asks for it."""

    name: str
    version: str
    marker: str
    layer: str
    asked_by: tuple[str, ...]

    def holds(self, python: str) -> bool:
        """Whether it is installed on this Python ("3.11" or "3.11.7"), on Linux."""
        return not self.marker or Marker(self.marker).evaluate(on(python))


def on(python: str) -> dict[str, str]:
    """What markers are to be read with for a version of Python, on Linux."""
    full = python if python.count(".") > 1 else f"{python}.0"
    there = {"python_version": full.rpartition(".")[0], "python_full_version": full}
    return there | {"sys_platform": "linux", "platform_system": "Linux", "os_name": "posix"}


def project() -> dict[str, object]:
    """The tables of pyproject.toml."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def asked() -> dict[str, list[Requirement]]:
    """What pyproject asks for: ``run``, ``build`` and each extra, without the project's own extras."""
    whole = project()
    lists = {"run": whole["project"]["dependencies"], "build": whole["build-system"]["requires"]}
    lists |= whole["project"]["optional-dependencies"]
    read = {name: [Requirement(line) for line in lines] for name, lines in lists.items()}
    return {name: [one for one in ones if one.name != "scarfdate"] for name, ones in read.items()}


def blocks(text: str) -> list[str]:
    """A lock's entries: the line of each release with those of its hashes and of who asked."""
    return re.findall(r"^[\w.-]+==.*\n(?:[ \t]+.*\n)*", text, re.M)


def pins() -> list[Pin]:
    """What the lock files hold, in the order of layers."""
    found = []
    for layer in LAYERS:
        for block in blocks((LOCKS / f"{layer}.txt").read_text(encoding="utf-8")):
            name, version, marker = _PIN.match(block).groups(default="")
            by = re.findall(r"^ +#(?: via)? +(\S+)", block.replace("# via\n", "\n"), re.M)
            found.append(Pin(name, version, marker, layer, tuple(by)))
    return found


def make() -> None:
    """Resolve everything together at its newest, then write each layer at those releases."""
    builds = [*project()["build-system"]["requires"], EDITABLE]
    with tempfile.TemporaryDirectory() as folder:
        build, whole = Path(folder) / "build.in", Path(folder) / "whole.txt"
        build.write_text("\n".join(builds) + "\n", encoding="utf-8")
        run(*_UV, "--all-extras", "pyproject.toml", build, "--output-file", whole)
        lines = dict[str, set[str]]()
        for layer in LAYERS:
            wanted = [build] if layer == "build" else ["pyproject.toml"]
            wanted += ["--extra", layer] if layer in ON else []
            written = run(*_UV, "--generate-hashes", "--constraint", whole, *wanted)
            written = re.sub(r"^ +#   -c .*\n", "", written, flags=re.M)
            entries = {
                one.partition("\n")[0]: one
                for one in blocks(written.replace(f"-r {build}", "build"))
            }
            lines[layer] = set(entries)
            below = set().union(*(lines[other] for other in ON.get(layer, ())))
            on = f", on {' and '.join(ON[layer])}" if layer in ON else ""
            text = HEAD.format(layer=layer, on=on, again=AGAIN)
            text += "".join(one for line, one in entries.items() if line not in below)
            (LOCKS / f"{layer}.txt").write_text(text, encoding="utf-8")


def faults() -> list[str]:
    """Where the locks are not what pyproject asks for, by interpreter; none is good."""
    found = []
    held = pins()
    for python in PYTHONS:
        versions = {one.name: one for one in held if one.holds(python)}
        for group, wanted in asked().items():
            for one in wanted:
                if one.marker and not one.marker.evaluate(on(python)):
                    continue
                pin = versions.get(canonicalize_name(one.name))
                if pin is None or not one.specifier.contains(pin.version, prereleases=True):
                    there = pin.version if pin else "nothing"
                    found.append(
                        f"{python}, {group}: pyproject asks for {one}, the lock has {there}; run `{AGAIN}`"
                    )
    return found
