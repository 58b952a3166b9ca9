"""What the whole suite watches while it runs, by the audit events of Python (PEP 578).

No test of the suite, whatever it runs in this process, may reach out of this machine, and nothing in the package may
start a program. An event of that kind raises where it happens, so that the test that caused it fails and names it.
Processes that tests start are watched by the same hook: `conftest.py` puts the folder `in_children` first on PYTHONPATH,
and a Python imports the ``sitecustomize`` in it before anything else. One that is started with ``-I`` or ``-E``, or with
an environment made anew, is not; nor is a program that is no Python.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from types import FrameType

CHILDREN = str(
    Path(__file__).parent / "in_children"
)  # on PYTHONPATH, it watches a process that a test starts
PACKAGE = str(Path(__file__).parents[1] / "scarfdate")
_PYTHON = str(Path(subprocess.__file__).parent)  # the standard library
_STARTS = ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.spawn", "os.startfile")
_OF_THIS_MACHINE = ("127.", "::1", "localhost")


class Reached(RuntimeError):
    """Something was done that the package promises never to do."""


def watch() -> None:
    """From now on, until the process ends: an audit hook cannot be taken back."""
    sys.addaudithook(_heard)


def _heard(event: str, args: tuple[object, ...]) -> None:
    if event == "socket.connect":
        address = args[1]
        host = (
            address[0] if isinstance(address, tuple) else ""
        )  # a path is a socket of this machine
        _refuse_host(event, host)
    elif event == "socket.getaddrinfo":
        _refuse_host(event, args[0])
    elif event in _STARTS and _by_the_package(sys._getframe(1)):
        raise Reached(f"{event}: the package started a program: {args[0]!r}")


def _refuse_host(event: str, host: object) -> None:
    text = host.decode() if isinstance(host, bytes) else str(host or "")
    if text and not text.startswith(_OF_THIS_MACHINE):
        raise Reached(f"{event}: {text} is not this machine")


def _by_the_package(frame: FrameType | None) -> bool:
    """Whether the package itself asked for it, and no library that it uses: the nearest that is not Python's own."""
    while frame is not None and _of_python(frame.f_code.co_filename):
        frame = frame.f_back
    return frame is not None and frame.f_code.co_filename.startswith(PACKAGE)


def _of_python(name: str) -> bool:
    return name.startswith((_PYTHON, "<frozen")) and "site-packages" not in name
