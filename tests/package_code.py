"""The code of the package as trees, each module parsed once for all tests of a process."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "scarfdate"


@cache
def tree_of(path: Path) -> ast.Module:
    """The tree of a module."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def calls_of(path: Path) -> tuple[ast.Call, ...]:
    """Every call of a module."""
    return tuple(node for node in ast.walk(tree_of(path)) if isinstance(node, ast.Call))


def called(call: ast.Call) -> str:
    """The last name of what is called: "load" of ``np.load(...)``, "" of what has no name."""
    return str(getattr(call.func, "attr", getattr(call.func, "id", "")))
