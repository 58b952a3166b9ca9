"""Files are written whole or not at all, hold no cell that runs as code, and are known by their hash."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import re
import shutil
import stat
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from scarfdate.errors import ScarfdateError, shown

# what a spreadsheet reads as the beginning of a formula, at the start of a cell or behind a lone carriage return, which
# some take for the end of a row; blanks, control characters and marks without a width in front are skipped by some, too
_UNSEEN = (
    r"[\x00-\x0c\x0e-\x20\x7f-\xa0\u1680\u2000-\u200f\u2028-\u202f\u205f-\u206f\u3000\ufeff]*+"
)
# the module csv quotes a cell that holds a letter of its row end: before Python 3.13 a carriage return would stand bare
_ROW_END = "\r\0\n"
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


def move_whole(path: Path, target: Path) -> None:
    """Give a finished file of the same drive the name ``target``: a reader sees the old file or this one."""
    check_new(target, force=True)
    with path.open("rb") as stream:
        os.fsync(stream.fileno())
    os.chmod(path, _mode(target))
    os.replace(path, target)


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
    csv.writer(text, lineterminator=_ROW_END).writerows(rows)
    return text.getvalue().replace(_ROW_END, "\n").encode("utf-8-sig" if mark else "utf-8")


def hash_of(parts: Iterable[tuple[str, bytes]]) -> str:
    """SHA-256, as 64 hexadecimal digits, of named contents in the order of their names.

    Line ends are read as one, so that a checkout on another system has the same hash.
    """
    digest = hashlib.sha256()
    for name, content in sorted(parts):
        digest.update(name.encode() + b"\0")
        digest.update(content.replace(b"\r\n", b"\n") + b"\0")
    return digest.hexdigest()


def write_folder(folder: Path, files: Mapping[str, bytes], *, new: bool = True) -> None:
    """Write files, by their names with forward slashes, into a ``new`` folder: all of them or none.

    Raises ScarfdateError where something of that name is there already, or where it cannot be written.
    """
    name = shown(str(folder))
    if new and os.path.lexists(folder):
        raise ScarfdateError(f"{name} is there already; choose a new name")
    if not folder.absolute().parent.is_dir():
        raise ScarfdateError(f"{name}: the folder that it is to lie in is not there; make it first")
    beside = None
    try:
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.absolute().parent))
        for one, content in files.items():
            (beside / one).parent.mkdir(parents=True, exist_ok=True)
            write_whole(beside / one, content)
        beside.chmod(0o755)
        beside.rename(folder)
    except OSError as error:
        raise ScarfdateError(f"{name} cannot be written ({error.strerror})") from None
    finally:
        if beside is not None:
            shutil.rmtree(beside, ignore_errors=True)
