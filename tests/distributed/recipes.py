"""The recipes in the docstring of `scarfdate.distributed`, as they stand there, to be run."""

from __future__ import annotations

import ast
import textwrap

import scarfdate.distributed

_HEADS = {"Spark": "Spark, with", "Ray": "Ray Data, which", "DuckDB": "DuckDB, inside"}


def recipe(engine: str) -> str:
    """The code of one engine's recipe."""
    text = scarfdate.distributed.__doc__
    assert text.count(_HEADS[engine]) == 1
    lines = text.partition(_HEADS[engine])[2].partition("::\n")[2].splitlines()
    block = []
    for line in lines:
        if line and not line.startswith("    "):
            break
        block.append(line)
    return textwrap.dedent("\n".join(block)).strip()


def run(code: str, **names: object) -> dict[str, object]:
    """Run a recipe with these names given: all names that there are afterwards, and its last expression as ``last``."""
    tree = ast.parse(code)
    if isinstance(end := tree.body[-1], ast.Expr):
        tree.body[-1] = ast.fix_missing_locations(
            ast.copy_location(ast.Assign([ast.Name("last", ast.Store())], end.value), end)
        )
    exec(compile(tree, "the recipe", "exec"), names)
    return names
