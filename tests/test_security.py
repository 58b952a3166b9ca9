"""What SECURITY.md promises: each promise names its test, and that test is there."""

from __future__ import annotations

import ast
import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.figures import PAGE, page
from tests.watched import Reached, _by_the_package

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "scarfdate"
TEXT = (ROOT / "SECURITY.md").read_text(encoding="utf-8")
# modules by which text could run as code, a program start, or a line go out
NEVER = {
    "marshal", "shelve", "subprocess", "socket", "ssl", "urllib", "http", "ftplib", "smtplib", "telnetlib", "xmlrpc",
    "requests", "httpx", "aiohttp", "yaml", "webbrowser", "pty", "code", "codeop", "runpy", "cloudpickle", "joblib",
}  # fmt: skip
CALLS = {"eval", "exec", "compile", "__import__", "breakpoint"}
OF_OS = {
    "system",
    "popen",
    "execv",
    "execve",
    "execvp",
    "spawnv",
    "spawnl",
    "startfile",
    "posix_spawn",
    "fork",
}


def test_every_promise_names_a_test_that_is_there() -> None:
    table = TEXT.partition("## Promises")[2].partition("\n## ")[0]
    promises = re.findall(r"^\| (?!promise|---)(.+?) \| (.+) \|$", table, re.M)
    assert len(promises) > 10
    for promise, tests in promises:
        named = re.findall(r"`(tests/[\w/]+\.py)(?:::(\w+))?`", tests)
        assert named, promise
        for path, name in named:
            source = (ROOT / path).read_text(encoding="utf-8")
            assert not name or f"def {name}(" in source, (promise, path, name)


def _imports(tree: ast.AST) -> set[str]:
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.partition(".")[0])
    return found


def _calls(tree: ast.AST) -> set[str]:
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            of = node.func
            if isinstance(of, ast.Name) and of.id in CALLS:
                found.add(of.id)
            elif isinstance(of, ast.Attribute) and isinstance(of.value, ast.Name):
                if of.value.id == "os" and of.attr in OF_OS:
                    found.add(f"os.{of.attr}")
                if of.value.id == "pickle" and of.attr.startswith("load"):
                    found.add(f"pickle.{of.attr}")
                refused = any(
                    word.arg == "allow_pickle" and ast.unparse(word.value) == "False"
                    for word in node.keywords
                )
                stores = of.attr in ("load", "save", "savez", "savez_compressed")
                if of.value.id == "np" and stores and not refused:
                    found.add(f"np.{of.attr} with pickle")
    return found


def test_no_module_can_run_text_start_a_program_or_call_out() -> None:
    modules = sorted(PACKAGE.rglob("*.py"))
    assert len(modules) > 100
    for path in modules:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        assert not _imports(tree) & NEVER, path
        assert not _calls(tree), path


def test_the_watch_over_the_suite_is_awake() -> None:
    """`tests/watched.py` hears a line that goes out, and a program that the package starts."""
    with pytest.raises(Reached, match="not this machine"):
        socket.getaddrinfo("192.0.2.1", 80)  # kept for documentation by RFC 5737: nobody is there
    with socket.socket() as line, pytest.raises(Reached):
        line.connect(("192.0.2.1", 80))
    started = compile(
        "subprocess.run([sys.executable, '-c', ''])", str(PACKAGE / "no_such.py"), "exec"
    )
    with pytest.raises(Reached, match="started a program"):
        exec(started, {"subprocess": subprocess, "sys": sys})
    assert not _by_the_package(sys._getframe())
    subprocess.run([sys.executable, "-c", ""], check=True)  # a test may


def test_the_figures_of_the_page_are_those_that_were_measured() -> None:
    """``python -m tests.figures`` writes them; a hand that changes one parts the page from its files."""
    text = PAGE.read_text(encoding="utf-8")
    assert page(text) == text
