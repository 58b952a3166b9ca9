"""A mutant put in place: in living functions of a warm process, or in a module as it is imported."""

from __future__ import annotations

import functools
import gc
import importlib.abc
import importlib.machinery
import importlib.util
import inspect
import os
import sys
from collections.abc import Iterator
from types import CodeType, FunctionType, ModuleType
from typing import Any


class Living:
    """What lives in a warm process and a fault must reach: functions of the package, and what is kept of their work.

    Looked for once, before any child is made.
    """

    def __init__(self) -> None:
        from scarfdate import Priors  # not above: a new process has to import the fault first

        self.functions: dict[tuple[str, str, int], list[FunctionType]] = {}
        self.kept: list[Any] = []
        for one in gc.get_objects():
            if type(one) is FunctionType and "scarfdate" in one.__code__.co_filename:
                code = one.__code__
                key = code.co_filename, code.co_qualname, code.co_firstlineno
                self.functions.setdefault(key, []).append(one)
            elif type(one) is functools._lru_cache_wrapper and "scarfdate" in str(one.__module__):
                self.kept.append(one.cache_clear)
            elif type(one) is Priors:
                self.kept.append(one._compiled.clear)

    def plant(self, file: str, source: str, mutated: str) -> bool:
        """Put ``mutated`` in place of ``source`` in the functions that live; False where that is not enough.

        It is not where the change lies in what runs once, when the module is imported: a constant, the body of a
        class, a decorator, a default.
        """
        changed = _changed(compile(source, file, "exec"), compile(mutated, file, "exec"))
        for before, after in changed:
            functions = self.functions.get((file, before.co_qualname, before.co_firstlineno), [])
            if not functions or not before.co_flags & inspect.CO_OPTIMIZED:
                return False
            if before.co_freevars != after.co_freevars:
                return False
            for function in functions:
                function.__code__ = after
        self.forget()
        return bool(changed)

    def forget(self) -> None:
        """What was worked out before is worked out again: it was without the fault."""
        for forget in self.kept:
            forget()


def _changed(before: CodeType, after: CodeType) -> list[tuple[CodeType, CodeType]]:
    """The outermost functions, bodies of classes or modules whose own code differs."""
    inside = list(zip(_nested(before), _nested(after), strict=False))
    same = _own(before) == _own(after) and len(_nested(before)) == len(_nested(after))
    if same and before.co_flags & inspect.CO_OPTIMIZED:  # a function: what it makes is made by it
        same = not any(_changed(*pair) for pair in inside)
        return [] if same else [(before, after)]
    if not same:
        return [(before, after)]
    return [change for pair in inside for change in _changed(*pair)]


def _nested(code: CodeType) -> list[CodeType]:
    return [const for const in code.co_consts if isinstance(const, CodeType)]


def _own(code: CodeType) -> tuple[object, ...]:
    consts = [repr(const) for const in code.co_consts if not isinstance(const, CodeType)]
    return code.co_code, consts, code.co_names, code.co_varnames, code.co_freevars, code.co_cellvars


class _Finder(importlib.abc.MetaPathFinder):
    """Imports one module of the package from another text."""

    def __init__(self, module: str, file: str, mutated: str) -> None:
        self.module, self.file, self.mutated = module, file, mutated

    def find_spec(
        self, name: str, path: object, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if name != self.module:
            return None
        return importlib.util.spec_from_file_location(name, self.file, loader=_Loader(self))


class _Loader(importlib.machinery.SourceFileLoader):
    def __init__(self, finder: _Finder) -> None:
        super().__init__(finder.module, finder.file)
        self.mutated = finder.mutated

    def get_code(self, fullname: str) -> CodeType:
        return compile(self.mutated, self.path, "exec")


def planted_at_import(environment: dict[str, str]) -> Iterator[None]:
    """Install the finder for the module, file and text that a parent process named."""
    file = environment["SCARFDATE_MUTANT_FILE"]
    with open(environment["SCARFDATE_MUTANT_TEXT"], encoding="utf-8") as text:
        mutated = text.read()
    module = environment["SCARFDATE_MUTANT_MODULE"]
    assert module not in sys.modules
    sys.meta_path.insert(0, _Finder(module, file, mutated))
    yield


if os.environ.get("SCARFDATE_MUTANT_FILE"):  # as a plugin of pytest in a new process: -p
    next(planted_at_import(dict(os.environ)))
