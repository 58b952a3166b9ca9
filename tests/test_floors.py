"""Imports run one way: every room stands on a floor and imports only from rooms on floors below.

A room is a folder of the package, or a module at its top. Listed lowest first; rooms of one line do
not import each other. Inside a room modules import each other without a circle. All of it holds for
imports that are for types alone, too. A room that is on no floor fails.
"""

from __future__ import annotations

import ast
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import scarfdate

FLOORS = [
    "errors conventions frozen",
    "plain",
    "files years threads formats",
    "words show density lessons",
    "strokes",
    "tables",
    "reading",
    "clues",
    "columns drawing",
    "model",
    "answer",
    "why card records streaming",
    "scoring",
    "learning building",
    "worth sorting practising",
    "__init__",
    "distributed",
    "cli",
]
PACKAGE = Path(scarfdate.__file__).parent
FLOOR = {name: height for height, line in enumerate(FLOORS) for name in line.split()}
CORE = [
    "errors",
    "conventions",
    "files",
    "plain",
    "formats",
    "years",
    "words",
    "show",
    "strokes",
    "tables",
    "reading",
    "clues",
    "columns",
    "model",
    "answer",
    "why",
]
WORKSHOPS = {
    "records",
    "learning",
    "scoring",
    "density",
    "building",
    "worth",
    "sorting",
    "streaming",
    "distributed",
}


def _modules() -> dict[str, Path]:
    found = {}
    for path in PACKAGE.rglob("*.py"):
        name = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        if not name.startswith(("priors", "data", "notebooks")):
            found[name.removesuffix(".__init__")] = path
    return found


MODULES = _modules()
ROOMS = {name.split(".")[0] for name in MODULES}


@cache
def _imported(path: Path) -> set[str]:
    """Our own modules that a file imports: when loaded, when called, or for types."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= inner if {_plain(name) for name in inner} <= set(MODULES) else {node.module}
    return {_plain(name) for name in found} & set(MODULES)


def _plain(name: str) -> str:
    return "__init__" if name == "scarfdate" else name.removeprefix("scarfdate.")


def _room(module: str) -> str:
    return module.split(".")[0]


def test_every_room_is_on_a_floor_and_every_floor_is_built() -> None:
    assert set(FLOOR) == ROOMS


def test_imports_between_rooms_run_downwards_only() -> None:
    upwards = [
        f"{name} imports {other}"
        for name, path in MODULES.items()
        for other in _imported(path)
        if _room(other) != _room(name) and FLOOR[_room(other)] >= FLOOR[_room(name)]
    ]
    assert not upwards


def test_no_circle_inside_a_room() -> None:
    graph = {
        name: {other for other in _imported(path) if _room(other) == _room(name) and other != name}
        for name, path in MODULES.items()
    }
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        raise AssertionError(" imports ".join(circle.args[1])) from None


def test_the_core_knows_no_workshop() -> None:
    leaks = [
        f"{name} imports {other}"
        for name, path in MODULES.items()
        if _room(name) in CORE
        for other in _imported(path)
        if _room(other) in WORKSHOPS
    ]
    assert not leaks
