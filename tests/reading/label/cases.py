"""The forty invented label texts beside the project (``facts/labels.md``), as data."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

MARKETS = {
    "us": "us",
    "ca": "canada",
    "uk": "europe",
    "eu": "europe",
    "jp": "elsewhere",
    "any": None,
}


@dataclass(frozen=True)
class Case:
    name: str
    market: str | None
    text: str
    intact: bool
    fires: frozenset[str]
    guards: frozenset[str]
    bounds: tuple[str, str, str]  # not before, usual from, until; "-" where there is none


def cases(path: Path) -> list[Case]:
    found = []
    for part in re.split(r"^## ", path.read_text(encoding="utf-8"), flags=re.M)[1:]:
        head = re.match(r"(\w+) \((\w+)\)", part)
        text = re.search(r"```text\n(.*?)\n```", part, re.S)
        bounds = re.search(r"not-before=(\S+); usual-from=(\S+); until=(\S+)", part)
        assert head and text and bounds, part
        found.append(
            Case(
                head.group(1),
                MARKETS[head.group(2)],
                text.group(1),
                "state: intact" in part,
                _ids(part, "fires"),
                _ids(part, "guards"),
                bounds.groups(),
            )
        )
    return found


def _ids(part: str, name: str) -> frozenset[str]:
    line = re.search(rf"^{name}: (.*)$", part, re.M)
    return frozenset(re.findall(r"`([^`]+)`", line.group(1))) if line else frozenset()
