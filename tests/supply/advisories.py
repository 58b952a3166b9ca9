"""Known weaknesses of the locked releases, by pip-audit, where an index of advisories can be reached."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterable
from pathlib import Path

from tests.supply import run
from tests.supply.locks import LAYERS, LOCKS

# A release about which advisories are known for years: where none is told of it, none is told of any.
CONTROL = "jinja2==2.4.1"
SERVICES = ("pypi", "osv")
COMMAND = "python -m tests.supply audit"
_AUDIT = ("python", "-m", "pip_audit", "--strict", "--no-deps", "--disable-pip", "--progress-spinner", "off",
          "--timeout", "15", "--format", "json")  # fmt: skip


def _found(service: str, files: Iterable[Path]) -> list[str] | None:
    """The advisories that a service has for the releases in requirements files, or None if it does not answer."""
    asked = [part for file in files for part in ("--requirement", file)]
    try:
        told = run(*_AUDIT, "--vulnerability-service", service, *asked)
    except RuntimeError as error:  # what was found ends the program with 1, too, and so do faults
        told = str(error).partition("\n")[2]
    begins = told.find('{"dependencies"')
    if begins < 0:
        return None
    read, _ = json.JSONDecoder().raw_decode(told[begins:])
    return [
        f"{one['name']} {one['version']}: {flaw['id']}"
        for one in read["dependencies"]
        for flaw in one["vulns"]
    ]


def advisories() -> list[str] | None:
    """Advisories for what the locks hold; None where no index tells of :data:`CONTROL`, so that silence is no good news."""
    with tempfile.TemporaryDirectory() as folder:
        control = Path(folder) / "control.txt"
        control.write_text(CONTROL + "\n", encoding="utf-8")
        for service in SERVICES:
            if _found(service, [control]):
                return _found(service, [LOCKS / f"{layer}.txt" for layer in LAYERS])
    return None
