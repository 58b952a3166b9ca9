"""Files are written whole or not at all, hold no cell that runs as code, and are known by their hash."""

from __future__ import annotations

import csv
import errno
import hashlib
import io
import os
import re
import stat
import tempfile
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from scarfdate.errors import ScarfdateError, shown

# what a spreadsheet reads as the beginning of a formula, at the start of a cell or behind a lone carriage return, which
# some take for the end of a row; blanks, control characters and marks without a width in front are skipped by some, too
_UNSEEN = (
    r"[\x00-\x0c\x0e-\x20\x7f-\xa0\u1680\u2000-\u200f\u2028-\u202f\u205f-\u206f\u3000\ufeff]*+"
)
# the module csv quotes a cell that holds a letter of its row end: before Python 3.13 a carriage return would stand bare
ROW_END = "\r\0\n"
# opening a pipe does not wait for its other end; of Windows, bytes are bytes
_AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_FORMULA = re.compile(rf"(\A(?=[\t\r])|(?:\A|\r(?!\n))(?={_UNSEEN}[=+\-@＝＋－＠]))")


def as_path(name: str | Path, what: str) -> Path:
    """The path of a file or a folder, there or not; ScarfdateError, beginning with ``what``, for what is no path."""
    try:
        path = Path(name)
        path.exists()
    except (OSError, TypeError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "a path is text"
        raise ScarfdateError(f"{what}: {shown(name)} is no path ({reason})") from None
    return path


def open_plain(path: Path) -> io.BufferedReader:
    """A file, opened to be read. OSError also for a pipe, a device, a socket, a folder: of these some have no end, and
    into some nobody may ever write.
    """
    handle = os.open(path, os.O_RDONLY | _AT_ONCE)
    try:
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode):
            reason = "a pipe, a device or a folder, no file; save it as a file"
            raise OSError(errno.EINVAL, reason, str(path))
        if not about.st_size:  # what a system tells of itself can be waited for, too
            os.read(handle, 1)
            os.lseek(handle, 0, os.SEEK_SET)
    except BaseException:
        os.close(handle)
        raise
    return os.fdopen(handle, "rb")


def read_at_most(path: Path, most: int) -> bytes:
    """The bytes of a plain file, no more than ``most`` of them. OSError as `open_plain`."""
    with open_plain(path) as stream:
        return stream.read(most)


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path`` so that a reader sees the old file or the new one, never half."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes a file only its owner can read; give it what a new file would have
        os.chmod(temporary, _mode(path))
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _mode(path: Path) -> int:
    """The rights of the file that is there, or of a new one."""
    with suppress(OSError):
        return stat.S_IMODE(path.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def check_new(target: str | Path, force: bool) -> None:
    """Refuse to write over what is there, unless told to, and what never is to be written over.

    With ``force`` a plain file is replaced; a write-protected one, a link and a device never are. Raises
    ScarfdateError.
    """
    path = Path(target)
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    except (OSError, ValueError) as error:
        raise ScarfdateError(f"{shown(str(target))} cannot be written ({error})") from None
    if stat.S_ISLNK(mode):
        raise ScarfdateError(
            f"{shown(str(target))} is a link to another file; name that file, or a new one"
        )
    if stat.S_ISDIR(mode):
        raise ScarfdateError(f"{shown(str(target))} is a folder; name a file")
    if not stat.S_ISREG(mode):
        raise ScarfdateError(f"{shown(str(target))} is a device, not a file; name a file")
    if not force:
        raise ScarfdateError(
            f"{shown(str(target))} is there already; give another name, or --force to write over it"
        )
    if not mode & 0o222 or not os.access(path, os.W_OK):
        raise ScarfdateError(
            f"{shown(str(target))} is write-protected; give another name, or take the protection off"
        )


def safe_cell(value: object) -> object:
    """Text that a spreadsheet would take for a formula gets an apostrophe in front."""
    return _FORMULA.sub(r"\1'", value) if isinstance(value, str) else value


def csv_bytes(rows: Iterable[Iterable[object]], *, mark: bool = False) -> bytes:
    """Rows of cells as a CSV file: UTF-8, commas, quotes where they are needed, ``\\n`` line ends.

    ``mark``: whether a byte-order mark stands in front, by which spreadsheets know UTF-8.
    """
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator=ROW_END).writerows(rows)
    return text.getvalue().replace(ROW_END, "\n").encode("utf-8-sig" if mark else "utf-8")


def hash_of(parts: Iterable[tuple[str, bytes]]) -> str:
    """SHA-256, as 64 hexadecimal digits, of named contents in the order of their names.

    Line ends are read as one, so that a checkout on another system has the same hash.
    """
    digest = hashlib.sha256()
    for name, content in sorted(parts):
        digest.update(name.encode() + b"\0")
        digest.update(content.replace(b"\r\n", b"\n") + b"\0")
    return digest.hexdigest()
