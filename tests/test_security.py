"""What SECURITY.md promises: each promise names its test, and that test is there."""

from __future__ import annotations

import ast
import re
import socket
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest

from tests.figures import PAGE, page
from tests.package_code import PACKAGE, called, calls_of, tree_of
from tests.watched import Reached, _by_the_package

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "SECURITY.md").read_text(encoding="utf-8")
# modules by which text could run as code, a program start, or a line go out
NEVER = {
    "marshal", "shelve", "subprocess", "socket", "ssl", "urllib", "http", "ftplib", "smtplib", "telnetlib", "xmlrpc",
    "requests", "httpx", "aiohttp", "yaml", "webbrowser", "pty", "code", "codeop", "runpy", "cloudpickle", "joblib",
    "ctypes", "cffi", "dill", "imp", "pip", "ensurepip", "tarfile", "asyncio", "socketserver", "lxml",
}  # fmt: skip
CALLS = {"eval", "exec", "compile", "__import__", "breakpoint"}
# of a module or of any object: what starts a program, lays rubbish where others can, reads text as code, unpacks
# files wherever they say
METHODS = {
    "system", "popen", "execl", "execle", "execlp", "execv", "execve", "execvp", "execvpe", "spawnl", "spawnle", "spawnv",
    "spawnve", "spawnlp", "spawnvp", "posix_spawn", "startfile", "fork", "forkpty", "mktemp", "extract", "extractall",
    "unpack_archive", "read_pickle", "to_pickle", "read_html", "read_xml", "read_sql", "read_clipboard", "eval", "query",
    "run_path", "run_module", "from_pickle", "unsafe_load",
}  # fmt: skip
STORES = {"load", "save", "savez", "savez_compressed", "read_array"}
# what is called by these names is looked at, whoever owns it
LOOKED_AT = METHODS | STORES | {"loads", "import_module", "Environment", "Template"}
READS_XML = re.compile(r"(fromstring|iterparse|XMLParser|XML|minidom|sax)$")
# calls that are what they are for: where, and why nobody can put in a text of his own
KNOWN_CALLS = {
    ("errors.py", "import_module"),  # names of modules that stand in the code, told by an extra
    ("__init__.py", "import_module"),  # names of the front door
    ("reading/frames.py", "given.query"),  # of a relation of DuckDB, a text that stands in the code
}
# XML of other people is read here, behind a look for document types in `reading/package.py`
XML_OF_PEOPLE = {"reading/package.py", "reading/opendocument.py", "reading/spreadsheet.py"}


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


def _calls(calls: Iterable[ast.Call]) -> set[str]:
    found = set()
    for node in calls:
        of = node.func
        fixed = bool(node.args) and isinstance(node.args[0], ast.Constant)
        if isinstance(of, ast.Name) and of.id == "import_module" and fixed:
            continue  # a name that stands in the code
        if isinstance(of, ast.Name) and of.id in {*CALLS, "import_module", "mktemp"}:
            found.add(of.id)
        elif isinstance(of, ast.Attribute) and of.attr in LOOKED_AT:
            owner = ast.unparse(of.value)
            words = {word.arg: ast.unparse(word.value) for word in node.keywords}
            if of.attr in METHODS or (of.attr == "import_module" and owner == "importlib"):
                found.add(f"{owner}.{of.attr}")
            if owner == "pickle" and of.attr.startswith("load"):
                found.add(f"pickle.{of.attr}")
            if (
                owner.startswith("np")
                and of.attr in STORES
                and words.get("allow_pickle") != "False"
            ):
                found.add(f"np.{of.attr} with pickle")
            if of.attr == "Environment" and owner == "jinja2" and words.get("autoescape") != "True":
                found.add("jinja2 that escapes nothing")
            if owner == "jinja2" and of.attr == "Template":
                found.add("jinja2 that escapes nothing")
    return found


@pytest.mark.slow
def test_no_module_can_run_text_start_a_program_or_call_out() -> None:
    modules = sorted(PACKAGE.rglob("*.py"))
    assert len(modules) > 100
    for path in modules:
        name = path.relative_to(PACKAGE).as_posix()
        assert not _imports(tree_of(path)) & NEVER, path
        assert {(name, call) for call in _calls(calls_of(path))} <= KNOWN_CALLS
        if name not in XML_OF_PEOPLE:
            reads = {called(call) for call in calls_of(path)}
            assert not [one for one in reads if READS_XML.search(one)], path


@pytest.mark.parametrize(
    "planted",
    [
        "eval(text)", "import_module(text)", "importlib.import_module(text)", "pandas.read_pickle(path)", "frame.query(text)",
        "np.load(path)", "np.load(path, allow_pickle=True)", "jinja2.Environment()", "jinja2.Template(text)",
        "os.execvp(a, b)", "tempfile.mktemp()", "packed.extractall(folder)", "pickle.loads(content)",
    ],
)  # fmt: skip
def test_the_look_at_the_code_sees_what_is_planted(planted: str) -> None:
    assert _calls(node for node in ast.walk(ast.parse(planted)) if isinstance(node, ast.Call))
    assert _imports(ast.parse("import ctypes\nfrom tarfile import open")) <= NEVER


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


def test_the_watch_goes_on_in_children() -> None:
    """A process that a test starts, and one that this starts: both are watched, though nothing in them asks for it."""
    reach = "import socket; socket.create_connection(('192.0.2.1', 80), 1)"
    inner = f"import subprocess, sys; sys.exit(subprocess.run([sys.executable, '-c', {reach!r}]).returncode)"
    for code in (reach, inner):
        run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
        assert run.returncode == 1 and "Reached: socket." in run.stderr, run.stderr


def test_the_figures_of_the_page_are_those_that_were_measured() -> None:
    """``python -m tests.figures`` writes them; a hand that changes one parts the page from its files."""
    text = PAGE.read_text(encoding="utf-8")
    assert page(text) == text
