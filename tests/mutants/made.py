"""The mutants of a file: every operator of cosmic-ray at every place, or one drawn for each place and kind."""

from __future__ import annotations

import ast
import functools
import random
import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names

# Replacements that hardly any code outlives (a shift of floats, `is` between numbers) would flatter the tests.
_NOT_TRIED = re.compile(
    r"BinaryOperator_\w+_(RShift|LShift|Mod|BitXor|Pow|FloorDiv)$"
    r"|BinaryOperator_(Add|Sub|Mul|Div|Mod|Pow|FloorDiv)_Bit|BinaryOperator_Bit\w+_(Add|Mul|Div)$"
    r"|ComparisonOperator_(Eq|NotEq|Lt|LtE|Gt|GtE)_Is"
)


@dataclass(frozen=True)
class Mutant:
    """One fault: ``operator`` of cosmic-ray at its ``occurrence`` in ``file``, on ``line`` from ``column`` on."""

    file: str
    line: int
    column: int
    operator: str
    occurrence: int

    @functools.cache  # noqa: B019 - a mutant lives as long as the command
    def code(self, source: str) -> str:
        """The whole file with the fault in it."""
        changed = mutate_code(source, get_operator(self.operator)(), self.occurrence)
        assert changed is not None
        return changed

    def change(self, source: str) -> tuple[str, str]:
        """The line without the fault and with it."""
        before, after = source.split("\n"), self.code(source).split("\n")
        at = next(i for i, (a, b) in enumerate(zip(before, after, strict=False)) if a != b)
        return before[at].strip(), after[at].strip()

    @property
    def key(self) -> str:
        return "|".join(str(value) for value in asdict(self).values())


@functools.cache
def mutants_of(root: Path, file: Path, seed: int) -> tuple[Mutant, ...]:
    """Of each place and kind of change one, drawn by ``seed``, so that twelve ways to write + are not twelve faults.

    What lies in an annotation, which nobody evaluates, is left out.
    """
    source = file.read_text(encoding="utf-8")
    annotated = _annotated(source)
    nodes = list(ast_nodes(get_ast(source)))
    places: dict[tuple[tuple[int, int], str], list[Mutant]] = {}
    for name in operator_names():
        operator = get_operator(name)
        if operator.arguments() or _NOT_TRIED.search(name):
            continue
        for start, occurrence in _positions(nodes, operator()):
            if start not in annotated:
                mutant = Mutant(str(file.relative_to(root)), *start, name, occurrence)
                places.setdefault((start, name.partition("_")[0]), []).append(mutant)
    chance = random.Random(f"{seed} {file.name}")
    return tuple(chance.choice(all_here) for _, all_here in sorted(places.items()))


def _positions(nodes: Sequence[Any], operator: Any) -> Iterator[tuple[tuple[int, int], int]]:
    found = ((node, start) for node in nodes for start, _ in operator.mutation_positions(node))
    for occurrence, (node, start) in enumerate(found):
        if (
            getattr(node.parent, "type", "") != "parameters"
        ):  # the * of keywords alone is no product
            yield start, occurrence


class _Annotated:
    """The places (line, column) within annotations."""

    def __init__(self, spans: Sequence[tuple[tuple[int, int], tuple[int, int]]]) -> None:
        self.spans = spans

    def __contains__(self, place: tuple[int, int]) -> bool:
        return any(first <= place < last for first, last in self.spans)


def _annotated(source: str) -> _Annotated:
    found = [
        one
        for node in ast.walk(ast.parse(source))
        for one in (getattr(node, "annotation", None), getattr(node, "returns", None))
        if one is not None
    ]
    return _Annotated([((n.lineno, n.col_offset), (n.end_lineno, n.end_col_offset)) for n in found])


def sampled(mutants: Sequence[Mutant], size: int | None, seed: int) -> list[Mutant]:
    """All, or ``size`` of them drawn by ``seed``, in the order of the file; a smaller sample is part of a larger one."""
    order = list(range(len(mutants)))
    random.Random(seed).shuffle(order)
    return [mutants[place] for place in sorted(order[:size])]
