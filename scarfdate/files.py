"""Files are written whole or not at all, hold no cell that runs as code, and are known by their hash."""

from __future__ import annotations

import csv
import errno
import hashlib
import io
import os
import re
import secrets
import shutil
import stat
import sys
import time
from collections.abc import Container, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from scarfdate.errors import ScarfdateError, shown
from scarfdate.plain import COMING as COMING
from scarfdate.plain import JOURNAL, check_way, coming_in, journal
from scarfdate.plain import in_short as in_short
from scarfdate.plain import is_coming as is_coming
from scarfdate.plain import open_plain as open_plain
from scarfdate.plain import read_at_most as read_at_most

# what a spreadsheet reads as the beginning of a formula, at the start of a cell or behind a lone carriage return, which
# some take for the end of a row; blanks, control characters and marks without a width in front are skipped by some, too
_UNSEEN = (
    r"[\x00-\x0c\x0e-\x20\x7f-\xa0\u1680\u2000-\u200f\u2028-\u202f\u205f-\u206f\u3000\ufeff]*+"
)
# the module csv quotes a cell that holds a letter of its row end: before Python 3.13 a carriage return would stand bare
ROW_END = "\r\0\n"
# where a cell begins for a spreadsheet: at its own beginning, and, as some read a file, behind a semicolon, a tab or a
# line end within it; a dash with a blank behind it begins a list
_FORMULA = re.compile(
    rf"(\A(?=[\t\r])|(?:\A|\r(?!\n))(?={_UNSEEN}[=+\-@＝＋－＠])|[;|\t\n](?={_UNSEEN}(?:[=@＝＠]|[+\-＋－][\w(])))"
)
_WITHIN = re.compile(r"[\r\n\t;|]")


def as_path(name: str | Path, what: str) -> Path:
    """The path of a file or a folder, there or not; ScarfdateError, beginning with ``what``, for what is no path."""
    if isinstance(name, str) and not name.strip():
        raise ScarfdateError(f"{what}: the name is empty; name a file or a folder")
    try:
        path = Path(name)
        path.exists()
        if "\0" in str(path):  # `exists` says no more than that it is not there
            raise ValueError
    except (OSError, TypeError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "a path is text"
        raise ScarfdateError(f"{what}: {shown(name)} is no path ({reason})") from None
    return path


def write_whole(path: Path, content: bytes, *, new: bool = False) -> None:
    """Write ``content`` to ``path`` so that a reader sees the old file or the new one, never half.

    Until it is whole it lies beside ``path`` under a name that begins with ``.scarfdate-``. Who writes into a folder
    holds the folder, by a lock that the system takes back from a process that dies. So whatever lies there under
    such a name when the next writer comes is of a dead one, and is swept away. A second writer waits; of two the
    last whole one stays, unless it is to be a ``new`` file. Where the system locks no folders, nothing is swept, and the
    rest holds.

    Raises ScarfdateError for what is never written over (a folder, a link, a device, a protected file) and for a
    ``new`` file that is there, OSError that names ``path`` where it cannot be written, and after ten seconds of waiting.
    """
    check_new(path, force=True)
    with _only_writer(path.parent):
        _put(path, content, new)


def exchange(path: Path, before: bytes | None, after: bytes | None) -> bool:
    """Put ``after`` where ``before`` is, None for no file; False, and nothing is done, where something else is there.

    Nobody else who writes by this module comes in between. Raises as `write_whole` does.
    """
    check_new(path, force=True)
    with _only_writer(path.parent):
        try:
            there = path.read_bytes()
        except FileNotFoundError:
            there = None
        if there != before:
            return False
        if after is not None:
            _put(path, after)
        elif before is not None:
            path.unlink()
        return True


def write_folder(folder: Path, files: Mapping[str, bytes], *, new: bool = False) -> None:
    """Write files, by their names with forward slashes, into a folder: all of them or none.

    A folder that is not there is written beside its place and then named. In one that is, all files are written into
    a folder that is then named `COMING`, by which they hold, and moved to their places from there. Where a kill
    comes between, the next writer moves the rest, and until then a reader takes what lies in `COMING`, both only
    where `is_coming` believes it.

    Raises ScarfdateError where it cannot be written, or is there although it is to be ``new``.
    """
    name = shown(str(folder))
    check_folder_for(folder, new=new)
    try:
        if folder.is_dir():
            for one in files:
                check_way(folder, one)
                check_new(folder / one, force=True)
            with _only_writer(folder):
                _put_files(folder / COMING, {**files, JOURNAL: journal(folder, files)})
                try:
                    _arrive(folder)
                except OSError as error:
                    raise ScarfdateError(
                        f"{name}: all files are written, but not all could be moved to their places "
                        f"({error.strerror}); they are read from {COMING} in it until the next writing moves them"
                    ) from None
        else:
            with _only_writer(folder.absolute().parent):
                _put_files(folder, files)
    except FileExistsError:
        raise ScarfdateError(f"{name} was made by another meanwhile; choose a new name") from None
    except OSError as error:
        raise ScarfdateError(f"{name} cannot be written ({error.strerror})") from None


def check_folder_for(folder: Path, *, new: bool, force_helps: bool = False) -> None:
    """Refuse a folder that cannot be written into, or is there although it is to be ``new``, before the work is done.

    ``force_helps``: whether there is an option to write into it all the same, which is then said. Raises
    ScarfdateError.
    """
    name = shown(str(folder))
    if os.path.lexists(folder) and not folder.is_dir():
        raise ScarfdateError(f"{name} is no folder; name a folder, or a new one")
    if new and os.path.lexists(folder):
        force = ", or --force to write over what is in it" if force_helps else ""
        raise ScarfdateError(f"{name} is there already; choose a new name{force}")
    if not folder.absolute().parent.is_dir():
        raise ScarfdateError(f"{name}: the folder that it is to lie in is not there; make it first")


@contextmanager
def stream_whole(path: Path, beside: Path, *, new: bool = False) -> Iterator[IO[bytes]]:
    """Write a long file bit by bit; where the block ends well, it gets the name ``path``.

    ``beside``: a folder of the same drive, of this writer alone, in which it grows. Raises as `write_whole` does.
    """
    check_new(path, force=True)
    growing = beside / "whole"
    _remove(growing)  # of a dead run, or a link
    with growing.open("xb") as stream:
        yield stream
        stream.flush()
        os.fsync(stream.fileno())
    with _only_writer(path.parent):
        rights = _rights(path)
        if rights is not None:
            growing.chmod(rights)
        _name(growing, path, new)


@contextmanager
def work_folder(folder: Path) -> Iterator[None]:
    """Make a folder of this library's own, or find it there, and be alone in it for as long as the block takes.

    Where the block ends well, the folder goes, with all that is in it. Raises ScarfdateError where another program is at
    work in it, and where it cannot be made.
    """
    name = shown(str(folder))
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise ScarfdateError(f"{name} is in the way; move it")
    lock = folder / _ALONE
    try:
        lock.mkdir(parents=True, exist_ok=True)
        handle = _opened(lock)
    except OSError as error:
        raise ScarfdateError(f"{name} cannot be made ({error.strerror})") from None
    try:
        if not _held(handle):
            raise ScarfdateError(f"another program is at work in {name}; wait for it")
        yield
        shutil.rmtree(folder)
    finally:
        _let_go(handle)


def empty_folder(folder: Path, but: Container[str] = ()) -> None:
    """Take away all that lies in a folder of this library's own but what says that somebody is at work in it.

    ``but``: names of what else stays.
    """
    for path in folder.iterdir():
        if path.name != _ALONE and path.name not in but:
            _remove(path)


_ALONE = "at-work"
_LOCK = ".scarfdate-lock"  # where a folder itself cannot be locked
_PART = re.compile(r"\.scarfdate-[0-9a-f]{12}")  # not whole yet
_WAIT = 10.0  # seconds, for another who writes

if sys.platform == "win32":
    import msvcrt

    def _opened(folder: Path) -> int:
        # the system takes the file away with the last handle on it
        return os.open(folder / _LOCK, os.O_RDWR | os.O_CREAT | os.O_TEMPORARY)

    def _held(handle: int) -> bool:
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except PermissionError:
            return False
        return True

    _let_go = os.close

else:
    import fcntl

    def _opened(folder: Path) -> int:
        return os.open(folder, os.O_RDONLY)

    def _held(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _let_go(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)  # closing is not enough where a fork copied the handle
        os.close(handle)


@contextmanager
def _only_writer(folder: Path) -> Iterator[None]:
    """Hold a folder, and clear up what dead writers left in it."""
    try:
        handle = _opened(folder)
    except OSError:  # a folder that may be written, not read; or none, as will be found out
        yield
        return
    try:
        locked = True
        until = time.monotonic() + _WAIT
        try:
            while not _held(handle):
                if time.monotonic() > until:
                    told = "another program is writing into its folder; try again"
                    raise TimeoutError(errno.ETIMEDOUT, told, str(folder))
                time.sleep(0.005)
        except TimeoutError:
            raise
        except OSError:  # a drive that knows no locks
            locked = False
        if locked:
            _clear(folder)
        yield
    finally:
        _let_go(handle)


def _clear(folder: Path) -> None:
    _arrive(folder)
    with suppress(OSError):
        for name in os.listdir(folder):
            if _PART.fullmatch(name):
                _remove(folder / name)


def _arrive(folder: Path) -> None:
    """Move what is whole to its places."""
    coming = folder / COMING
    for name in coming_in(folder):
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        os.replace(coming / name, place)
    if coming.is_dir():
        for inside in sorted(coming.rglob("*/"), reverse=True):
            if inside.is_dir():
                inside.rmdir()
        (coming / JOURNAL).unlink(missing_ok=True)  # last, for by it the rest is known
        coming.rmdir()


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        with suppress(OSError):
            path.unlink()


def _put_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """A folder that is not there yet, or an empty one, with all of its files."""
    part = _part_beside(folder)
    try:
        part.mkdir()
        for name, content in files.items():
            (part / name).parent.mkdir(parents=True, exist_ok=True)
            _write(part / name, content, None)
        os.rename(part, folder)
    except BaseException:
        _remove(part)
        raise


def _put(path: Path, content: bytes, new: bool = False) -> None:
    part = _part_beside(path)
    try:
        _write(part, content, _rights(path))
        _name(part, path, new)
    except OSError as error:
        _remove(part)
        raise OSError(
            error.errno, error.strerror, str(path)
        ) from None  # it, not the part, is known
    except BaseException:
        _remove(part)
        raise


def _name(part: Path, path: Path, new: bool) -> None:
    """Give what is whole its name; ScarfdateError where it is to be ``new`` and another has made it meanwhile."""
    if not new:
        os.replace(part, path)
        return
    try:
        try:
            os.link(part, path)  # fails where the name is taken, whoever took it
        except FileExistsError:
            raise
        except OSError:  # a drive that knows no second names of a file
            with path.open("xb"):
                pass
            os.replace(part, path)
    except FileExistsError:
        raise ScarfdateError(
            f"{shown(str(path))} was made by another meanwhile; give another name"
        ) from None
    _remove(part)


def _part_beside(path: Path) -> Path:
    return path.with_name(f".scarfdate-{secrets.token_hex(6)}")


def _write(path: Path, content: bytes, rights: int | None) -> None:
    with path.open("xb") as stream:
        if rights is not None:
            path.chmod(rights)  # before there is anything in it to read
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _rights(path: Path) -> int | None:
    """The rights of the file that is there, None where a new one gets those of any new file."""
    try:
        return stat.S_IMODE(path.stat().st_mode)
    except FileNotFoundError:
        return None


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
        raise ScarfdateError(
            f"{shown(str(target))} cannot be written ({in_short(error)})"
        ) from None
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
    if not isinstance(value, str) or not value:
        return value
    # most cells, at once
    if value[0].isalnum() and value[0].isascii() and not _WITHIN.search(value):
        return value
    return _FORMULA.sub(r"\1'", value)


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
