"""What in the package writes, found from its code: every way to write that passes the one door by, and all that leads to it.

The door is `scarfdate.files`. What leads to it is found by names: a name is followed to what it is in its module; the
name of a method to each method of that name in a module that is imported, directly or not, and where Python's own
objects have one of that name, to those of classes that the module names. A function that is handed to a class is called
by each of its methods that call a field. So it finds too much rather than too little.
"""

from __future__ import annotations

import ast
import io
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from tests.package_code import PACKAGE, tree_of

DOOR = "files"
DOORS = {
    "files.write_whole", "files.exchange", "files.write_folder", "files.stream_whole", "files.work_folder",
    "files.empty_folder",
}  # fmt: skip
# what every reader of tables may write beside the package's compiled modules; tried by tests/tables/test_cache.py
ITS_OWN = {"tables.cache.Cache.put"}
# ways to write, by their last name; `replace` and `save` only where they cannot be those of text or of our own
_WRITES = {
    "mkstemp", "mkdtemp", "NamedTemporaryFile", "TemporaryFile", "TemporaryDirectory", "SpooledTemporaryFile", "mkdir",
    "makedirs", "renames", "unlink", "remove_file", "rmdir", "removedirs", "rmtree", "copy2", "copyfile",
    "copytree", "move", "symlink", "symlink_to", "hardlink_to", "touch", "chmod", "truncate", "utime", "write_text",
    "write_bytes", "to_excel", "to_parquet", "to_pickle", "to_hdf", "to_feather", "to_netcdf", "to_zarr", "savefig",
    "savez", "savez_compressed", "savetxt", "tofile", "memmap", "mkfifo", "mknod", "write_csv", "write_parquet", "dump",
}  # fmt: skip
_OF_OS = {"replace", "remove", "link", "write", "open"}  # of the module `os`
_TEXT_TOO = {"to_csv", "to_json", "to_html", "to_string"}  # give text where no place is named
# in memory, to nowhere, or only to be read, as the lines themselves say
IN_MEMORY = {
    "cli/front.py": "os.open(os.devnull, os.O_WRONLY)",
    "plain.py": "os.open(path, os.O_RDONLY | _AT_ONCE)",
    "reading/written.py": "frame.to_parquet(out, index=False)",
    "streaming/parts.py": "frame.to_parquet(out, index=False)",
    "worth/price_files.py": "np.savez_compressed(held, ",
}
_OBJECTS = (str, bytes, list, dict, set, tuple, int, float, io.TextIOWrapper, re.Pattern, re.Match, Path, type,
            np.ndarray, np.random.Generator, pd.DataFrame, pd.Series, pd.Index, pd.api.typing.DataFrameGroupBy)  # fmt: skip
_PYTHONS = {name for one in _OBJECTS for name in dir(one)} | {"text", "view", "html", "main"}


@cache
def _within(node: ast.AST) -> list[ast.AST]:
    """All of a piece of code that speaks of names; it is walked over once."""
    kinds = (ast.Name, ast.Attribute, ast.Call, ast.Import, ast.ImportFrom)
    return [one for one in ast.walk(node) if isinstance(one, kinds)]


def _parts(tree: ast.Module) -> Iterator[tuple[str, ast.stmt]]:
    """The functions "f" and methods "Class.f" of a module; under "" what else stands there."""
    for node in tree.body:
        if isinstance(node, ast.ClassDef):
            for one in node.body:
                yield (f"{node.name}.{one.name}" if isinstance(one, ast.FunctionDef) else "", one)
        else:
            yield (node.name if isinstance(node, ast.FunctionDef) else "", node)


def writes_elsewhere(package: Path = PACKAGE) -> list[str]:
    """Every call that writes, or may, in a module that is not the door, as ``module:line: call``."""
    found = []
    for path in sorted(package.rglob("*.py")):
        name = path.relative_to(package).as_posix()
        if name == f"{DOOR}.py":
            continue
        for node in (one for _, part in _parts(tree_of(path)) for one in _within(part)):
            if isinstance(node, ast.Call) and _writes(node):
                text = ast.unparse(node)
                if not text.startswith(IN_MEMORY.get(name, "\0")):
                    found.append(f"{name}:{node.lineno}: {text}")
    return found


def _writes(call: ast.Call) -> bool:
    func = call.func
    if isinstance(func, ast.Name):
        return func.id in _WRITES or (func.id == "open" and _mode(call, 1) != "r")
    if not isinstance(func, ast.Attribute):
        return False
    of = _plain(func.value)
    if func.attr in _WRITES or (of == "os" and func.attr in _OF_OS):
        return True
    if func.attr in _TEXT_TOO:
        return bool(call.args) or any(word.arg in ("path_or_buf", "buf") for word in call.keywords)
    if (
        func.attr == "open"
    ):  # of a path, or of a module such as io; the verb `open` of the sorting table takes a clue
        mode = _mode(call, 1 if of in ("io", "gzip", "bz2", "lzma", "codecs") else 0)
        return bool(mode != "r")
    if func.attr == "rename":  # of a frame: with names
        return not call.keywords
    if (
        func.attr == "replace"
    ):  # of a path: one place; of text and of records there are two or names
        return len(call.args) == 1 and not call.keywords
    return False


def _mode(call: ast.Call, place: int) -> str:
    given = [*call.args[place : place + 1], *(k.value for k in call.keywords if k.arg == "mode")]
    if not given:
        return "r"
    mode = given[0]
    if not isinstance(mode, ast.Constant):
        return "r" if place == 0 else "w"  # a name: of a clue that is opened, or of a mode
    return "w" if set(str(mode.value)) & set("wax+") else "r"


@dataclass
class _Module:
    """A module: where its names come from, its functions and methods, its classes with their methods."""

    name: str
    imported: dict[str, str] = field(default_factory=dict)  # name here: "module.name" there
    bodies: dict[str, list[ast.AST]] = field(default_factory=dict)  # "f", "Class.f": code
    classes: dict[str, list[str]] = field(default_factory=dict)  # by class, names of methods
    returns: dict[str, set[str]] = field(default_factory=dict)  # names in what it gives back
    whole: list[str] = field(default_factory=list)  # modules imported as such


def _read(path: Path, package: Path) -> _Module:
    name = path.relative_to(package).with_suffix("").as_posix().replace("/", ".")
    module = _Module(name.removesuffix(".__init__").replace("__init__", ""))
    tree = tree_of(path)
    for inside, part in _parts(tree):
        if inside:
            _add(module, inside, part)
        else:  # what runs when it is imported, or as a command
            module.bodies.setdefault("", []).append(part)
        for node in _within(part):
            if isinstance(node, ast.Import):
                module.whole += [
                    one.name[len("scarfdate") :].strip(".")
                    for one in node.names
                    if one.name.partition(".")[0] == "scarfdate"
                ]
            elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("scarfdate"):
                come = (node.module or "")[len("scarfdate") :].strip(".")
                for alias in node.names:
                    module.imported[alias.asname or alias.name] = f"{come}.{alias.name}".strip(".")
    for node in tree.body:
        if isinstance(node, ast.ClassDef):
            methods = [one.name for one in node.body if isinstance(one, ast.FunctionDef)]
            module.classes[node.name] = methods
    return module


def _add(module: _Module, name: str, node: ast.FunctionDef) -> None:
    module.bodies.setdefault(name, []).append(node)
    words = set(re.findall(r"\w+", ast.unparse(node.returns))) if node.returns else set()
    module.returns[name] = words


def _plain(node: ast.AST) -> str:
    """A name as it stands; "" for anything else."""
    return node.id if isinstance(node, ast.Name) else ""


def _calls_a_field(body: ast.AST, methods: list[str]) -> bool:
    return any(
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and _plain(node.func.value) == "self"
        and node.func.attr not in methods
        for node in _within(body)
    )


class Calls:
    """Who calls whom in the package."""

    def __init__(self, package: Path = PACKAGE) -> None:
        self.modules = {one.name: one for one in (_read(p, package) for p in package.rglob("*.py"))}
        self.methods = defaultdict(set)  # "save": {"card.pocket.PocketCard.save", ...}
        for module in self.modules.values():
            for owner, names in module.classes.items():
                for name in names:
                    self.methods[name].add(f"{module.name}.{owner}.{name}")
        self.classes = {
            f"{module.name}.{name}": module
            for module in self.modules.values()
            for name in module.classes
        }
        self.seen = {name: self._imports(name) for name in self.modules}  # modules, directly or not
        self.calls = {
            f"{module.name}.{name}".strip("."): {
                one for body in bodies for one in self._called(module, name, body)
            }
            for module in self.modules.values()
            for name, bodies in module.bodies.items()
        }
        for module in self.modules.values():
            for name, bodies in module.bodies.items():
                for body in bodies:
                    self._hand_on(module, name, body)

    def _imports(self, name: str) -> set[str]:
        found, todo = set(), [name]
        while todo:
            one = todo.pop()
            if one in self.modules and one not in found:
                found.add(one)
                come = map(self._front_door, self.modules[one].imported.values())
                homes = [part for full in come for part in (full, full.rpartition(".")[0]) if part]
                todo += [*(homes if one else ()), *self.modules[one].whole]
        return found

    def _hand_on(self, module: _Module, inside: str, body: ast.AST) -> None:
        """Functions that are given to a class: its methods that call a field may call them."""
        for call in _within(body):
            if not isinstance(call, ast.Call) or not isinstance(call.func, ast.Name):
                continue
            owner = next((n for n in self._named(module, call.func.id) if n in self.classes), None)
            if owner is None:
                continue
            given = {
                one
                for value in (*call.args, *(word.value for word in call.keywords))
                if isinstance(value, ast.Attribute)
                for one in self._method(module, inside, value)
            }
            home, _, name = owner.rpartition(".")
            methods = self.classes[owner].classes[name]
            for method in methods:
                bodies = self.modules[home].bodies[f"{name}.{method}"]
                if any(_calls_a_field(one, methods) for one in bodies):
                    self.calls[f"{owner}.{method}"] |= given

    def _called(self, module: _Module, inside: str, body: ast.AST) -> Iterator[str]:
        for node in _within(body):
            # a function that is handed on is as good as called
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                yield from self._named(module, node.id)
            elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load):
                yield from self._method(module, inside, node)

    def _named(self, module: _Module, name: str) -> Iterator[str]:
        full = module.imported.get(name) or f"{module.name}.{name}".strip(".")
        full = self._front_door(full)
        yield full
        yield f"{full}.__init__"
        yield f"{full}.__post_init__"

    def _front_door(self, full: str) -> str:
        """A name that is imported from where it is only handed on, as the place where it is."""
        seen = set()
        while full not in seen:
            seen.add(full)
            home, _, name = full.rpartition(".")
            module = self.modules.get(home)
            if module is not None and name in module.imported and name not in module.bodies:
                full = module.imported[name]
        return full

    def _method(self, module: _Module, inside: str, node: ast.Attribute) -> Iterator[str]:
        name, of = node.attr, _plain(node.value)
        if of in ("self", "cls") and "." in inside:
            owner = inside.partition(".")[0]
            if name in module.classes.get(owner, ()):
                yield f"{module.name}.{owner}.{name}"
                return
        if of == "scarfdate":  # the front door
            yield from self._named(self.modules[""], name)
            return
        for one in self.methods.get(name, ()):
            owner = one.rpartition(".")[0]
            named = owner in module.imported.values() or owner.rpartition(".")[0] == module.name
            if named or (name not in _PYTHONS and self._may_hold(module, owner)):
                yield one

    def _may_hold(self, module: _Module, owner: str) -> bool:
        return "" in self.seen[module.name] or owner.rpartition(".")[0] in self.seen[module.name]

    def reaching(self) -> set[str]:
        """All functions and methods from which the door is reached."""
        callers = defaultdict(set)
        for caller, called in self.calls.items():
            for one in called:
                callers[one].add(caller)
        found, todo = set(), [*DOORS]
        while todo:
            for caller in callers[todo.pop()]:
                if caller not in found | ITS_OWN:
                    found.add(caller)
                    todo.append(caller)
        return found

    def public(self) -> set[str]:
        """The front door: its functions, the public methods of its classes and of all that these give back."""
        front = {self._front_door(one) for one in self.modules[""].imported.values()}
        classes = self.classes
        named = defaultdict(set)
        for full in classes:
            named[full.rpartition(".")[2]].add(full)
        found, todo = set(), [*front]
        while todo:
            one = todo.pop()
            if one in found:
                continue
            found.add(one)
            home, _, name = one.rpartition(".")
            if one in classes:
                own = [m for m in classes[one].classes[name] if not m.startswith("_")]
                todo += [f"{one}.{method}" for method in own]
                continue
            while home and home not in self.modules:
                home, _, owner = home.rpartition(".")
                name = f"{owner}.{name}"
            module = self.modules.get(home)
            for word in module.returns.get(name, ()) if module is not None else ():
                todo += named.get(word, ())
        return found - set(classes)


@cache
def calls_of(package: Path = PACKAGE) -> Calls:
    """Of the code as it is when first asked."""
    return Calls(package)


def commands() -> dict[str, str]:
    """Every command as typed, and the function behind it: verbs of ``scarfdate``, modules run by ``python -m``."""
    from scarfdate.cli import cli

    found = {}
    for name, command in cli.commands.items():
        home = (
            command.callback.__wrapped__
            if hasattr(command.callback, "__wrapped__")
            else command.callback
        )
        found[f"scarfdate {name}"] = f"{home.__module__.removeprefix('scarfdate.')}.{home.__name__}"
    for path in sorted(PACKAGE.rglob("*.py")):
        if (
            '__name__ == "__main__"' in path.read_text(encoding="utf-8")
            and path.name != "__main__.py"
        ):
            name = path.relative_to(PACKAGE).with_suffix("").as_posix().replace("/", ".")
            found[f"python -m scarfdate.{name}"] = f"{name}.main"
    return found


def writers(package: Path = PACKAGE) -> set[str]:
    """Every command, as typed, and every public call, as ``module.name``, from which the door is reached."""
    calls = calls_of(package)
    reaching = calls.reaching()
    typed = {command for command, function in commands().items() if function in reaching}
    return typed | (calls.public() & reaching)
