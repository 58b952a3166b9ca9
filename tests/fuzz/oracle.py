"""One input through one call: what came of it, and what may never come of any input.

Only a `ScarfdateError` may come out, with a message of bounded length; no warning; within a fixed time and a second
for each megabyte of the input; nothing is written outside the folder of the test, no program started, no line out.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from scarfdate import PriorsError, ScarfdateError, TableError

T = TypeVar("T")
MEGABYTE = 1_000_000
SMALL = 50_000  # bytes: of what is smaller, the fixed part of the time tells nothing of its length
A_MESSAGE, OF_FAULTS = (
    3_000,
    20_000,
)  # characters; a table, a map or a folder has many faults at once
_NAMELESS = tempfile.gettempdir()
_PACKAGE = f"{os.sep}scarfdate{os.sep}"
_STARTS = ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "socket.connect")
_WRITES = ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.symlink", "os.link", "os.truncate")
_BESIDE = ("os.remove", "os.rmdir", "os.mkdir")
_NOT_SHOWN = (DeprecationWarning, PendingDeprecationWarning, ImportWarning, ResourceWarning)


class Fault(AssertionError):
    """Something that may not come of any input. ``kind``: what it is and where, the same for the same fault."""

    def __init__(self, kind: str, told: str = "") -> None:
        self.kind = kind
        super().__init__(f"{kind}\n{told}" if told else kind)


class _TooSlow(BaseException):
    """Raised by the clock in the middle of a call; nothing in the package may catch it."""


@dataclass
class Tally:
    """What came of all inputs so far. ``per_megabyte``: seconds, of inputs that are not small."""

    inputs: int = 0
    refused: int = 0
    slowest: float = 0.0
    per_megabyte: float = 0.0
    faults: dict[str, str] = field(default_factory=dict)

    def as_json(self) -> str:
        """All of it, with the most that this process ever held, in megabytes, and its seconds of the processor."""
        used = resource.getrusage(resource.RUSAGE_SELF)
        more = {"memory": used.ru_maxrss / 1000, "processor": used.ru_utime + used.ru_stime}
        return json.dumps(asdict(self) | more)


@dataclass
class Ask:
    """Makes calls and watches them. ``base``: seconds of the processor that a call may take however short its input."""

    tally: Tally
    base: float = 2.0
    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="fuzz-")))

    def __call__(
        self, call: Callable[[], T], given: object = None, base: float | None = None
    ) -> T | None:
        """What a call returns, None where it refuses. ``given``: its input, for its size. Raises `Fault`."""
        size = size_of(given)
        allowed = (base or self.base) + size / MEGABYTE
        self.tally.inputs += 1
        began = time.process_time()
        digits = sys.get_int_max_str_digits()
        sys.set_int_max_str_digits(sys.int_info.default_max_str_digits)
        try:
            with (
                warnings.catch_warnings(record=True) as warned,
                _watched(self.folder),
                _timed(allowed),
            ):
                warnings.simplefilter("always")
                found = call()
        except ScarfdateError as refusal:
            self._refused(refusal)
            found = None
        except _TooSlow as late:
            raise Fault(f"more than {allowed:.0f} s {_place(late)}", _told(late)) from None
        except Fault:
            raise
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            raise Fault(f"{type(error).__name__} {_place(error)}", _told(error)) from error
        finally:
            sys.set_int_max_str_digits(digits)
        took = time.process_time() - began
        self.tally.slowest = max(self.tally.slowest, took)
        if size >= SMALL:
            self.tally.per_megabyte = max(self.tally.per_megabyte, took * MEGABYTE / size)
        for one in warned:
            if not issubclass(one.category, _NOT_SHOWN):
                where = Path(one.filename).name
                raise Fault(f"{one.category.__name__} leaks from {where}", str(one.message))
        return found

    def _refused(self, refusal: ScarfdateError) -> None:
        self.tally.refused += 1
        message = str(refusal)
        bound = OF_FAULTS if isinstance(refusal, (PriorsError, TableError)) else A_MESSAGE
        if not 0 < len(message) <= bound:
            raise Fault(
                f"message too long or empty {_place(refusal)}", f"{len(message)}: {message[:400]}"
            )


def holds(what: bool, kind: str, told: object = "") -> None:
    """Raise a `Fault` where something that must hold of an answer does not."""
    if not what:
        raise Fault(kind, repr(told)[:400])


def size_of(given: object) -> int:
    """About how many bytes an input is."""
    if isinstance(given, str):
        return len(given.encode(errors="surrogatepass"))
    if isinstance(given, (bytes, bytearray)):
        return len(given)
    if isinstance(given, Mapping):
        return sum(size_of(key) + size_of(value) for key, value in given.items())
    if isinstance(given, (list, tuple, set, frozenset)):
        return sum(map(size_of, given))
    if hasattr(given, "memory_usage"):
        return sum(size_of(cells.tolist()) for _, cells in given.items())
    return given.bit_length() // 8 + 1 if isinstance(given, int) else 8


def _place(error: BaseException) -> str:
    """Where in the package an error came from; not its line, which moves."""
    frames = [one for one in traceback.extract_tb(error.__traceback__) if _PACKAGE in one.filename]
    if not frames:
        return "outside of the package"
    *_, last = frames
    return f"in {last.filename.rpartition(_PACKAGE)[2]} {last.name}"


def _told(error: BaseException) -> str:
    return "".join(traceback.format_exception(error, limit=-12))[-4_000:]


class _timed:
    """A limit on processor time; a regular expression looks at the clock as well."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds

    def __enter__(self) -> None:
        self.before = signal.signal(signal.SIGPROF, self._ring)
        signal.setitimer(signal.ITIMER_PROF, self.seconds, 1)

    def __exit__(self, *error: object) -> None:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, self.before)

    @staticmethod
    def _ring(*_: Any) -> None:
        raise _TooSlow


_folder: str | None = None  # what may be written in, while a call is watched
_hooked = False


class _watched:
    def __init__(self, folder: Path) -> None:
        self.folder = str(folder)

    def __enter__(self) -> None:
        global _folder, _hooked
        if not _hooked:  # a hook cannot be taken back
            sys.addaudithook(_heard)
            _hooked = True
        _folder = self.folder

    def __exit__(self, *error: object) -> None:
        global _folder
        _folder = None


def _heard(event: str, args: tuple[Any, ...]) -> None:
    if _folder is None:
        return
    if event in _STARTS:
        raise Fault(f"{event} {args[0]!r:.80}")
    if event == "open":
        path, _, flags = args
        if not isinstance(flags, int) or flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) == 0:
            return
    elif event in _WRITES:
        path = args[0]
        if event in _BESIDE and args[-1] != -1:  # named from a folder that is held open
            path = os.path.join(os.readlink(f"/proc/self/fd/{args[-1]}"), os.fsdecode(path))
    else:
        return
    if isinstance(path, (str, bytes)):
        whole = os.path.abspath(os.fsdecode(path))
        # what Python and the plotting library keep, and a file without a name
        cached = "__pycache__" in whole or "matplotlib" in whole or whole in (os.devnull, _NAMELESS)
        if not whole.startswith(_folder) and not cached:
            raise Fault(f"{event} outside of the folder", whole)
