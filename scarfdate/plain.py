"""Plain files are read, and no link or pipe in their place; files on the way to their places are known by hashes."""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
import stat
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, TypeVar

from scarfdate.errors import ScarfdateError, shown

T = TypeVar("T")
# opening a pipe does not wait for its other end; of Windows, bytes are bytes
_AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
COMING = ".scarfdate-coming"  # in a folder: files that are whole, on the way to their places
JOURNAL = (
    ".scarfdate-journal"  # in `COMING`: of each file the hash of what it replaces, and its own
)
_LONGEST_JOURNAL = 2**24  # bytes


def in_short(error: Exception) -> str:
    """What went wrong with a file, without its name, which may be long."""
    return (isinstance(error, OSError) and error.strerror) or str(error)


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
    return io.BufferedReader(_NeverWaiting(handle))


class _NeverWaiting(io.FileIO):
    """What a system tells of itself may come to an end for now: OSError, where Python has no bytes and no error."""

    def readinto(self, room: Any) -> int:
        return int(self._some(super().readinto(room)))

    def readall(self) -> bytes:
        return self._some(super().readall())

    @staticmethod
    def _some(read: T | None) -> T:
        if read is None:
            raise BlockingIOError(errno.EAGAIN, "nothing more to be read now")
        return read


def read_at_most(path: Path, most: int) -> bytes:
    """The bytes of a plain file, no more than ``most`` of them. OSError as `open_plain`."""
    with open_plain(path) as stream:
        return stream.read(most)


def is_coming(folder: Path) -> bool:
    """Whether files lie in `COMING` of a folder, on the way to their places.

    They are believed by the journal beside them: each is as it was written, each replaces what was there then, and
    there is no link on the way. So a folder that came from elsewhere can put nothing in the place of what it does not
    hold itself. Raises ScarfdateError, and nothing is touched, for anything else of that name.
    """
    return bool(coming_in(folder))


def coming_in(folder: Path) -> list[str]:
    """The names of the files in `COMING`; raises as `is_coming` does."""
    coming = folder / COMING
    if not os.path.lexists(coming):
        return []
    try:
        names = list(_plain_files(coming))
        if not names:
            return []
        told = json.loads(read_at_most(coming / JOURNAL, _LONGEST_JOURNAL))
        names.remove(JOURNAL)
        for name in names:
            before, after = told[name]
            check_way(folder, name)
            if after is None or _hash(coming / name) != after:
                raise ValueError(f"{shown(name)} is not as it was written")
            if _hash(folder / name) != before:
                raise ValueError(f"{shown(name)} is another file by now")
    except (OSError, ValueError, LookupError, TypeError, RecursionError) as error:
        reason = "is not in its list" if isinstance(error, LookupError) else in_short(error)
        where = shown(str(folder))
        raise ScarfdateError(
            f"{where}: {COMING} in it is not what this program left there ({reason}); nothing in it was read or "
            "moved; look into it, and move it elsewhere or delete it"
        ) from None
    return names


def _plain_files(folder: Path, inside: str = "") -> Iterator[str]:
    """Names with forward slashes; raises ValueError for whatever is neither a plain file nor a folder."""
    if folder.is_symlink() or not folder.is_dir():
        raise ValueError("it is no folder")
    for path in sorted(folder.iterdir()):
        name, mode = f"{inside}{path.name}", path.lstat().st_mode
        if name.startswith(".") and name != JOURNAL:
            raise ValueError(f"{shown(name)} is hidden")
        if stat.S_ISDIR(mode):
            yield from _plain_files(path, f"{name}/")
        elif stat.S_ISREG(mode):
            yield name
        else:
            raise ValueError(f"{shown(name)} is a link or no file")


def check_way(folder: Path, name: str) -> None:
    """Raises ScarfdateError where what lies between a folder and a file in it is no folder in it."""
    for inside in Path(name).parents:
        place = folder / inside
        if inside.parts and (place.is_symlink() or (place.exists() and not place.is_dir())):
            raise ScarfdateError(f"{shown(str(place))} is a link or no folder; move it")


def journal(folder: Path, files: Mapping[str, bytes]) -> bytes:
    """What stands in `JOURNAL` where these files are to be written into a folder."""
    hashes = {
        name: [_hash(folder / name), hashlib.sha256(content).hexdigest()]
        for name, content in files.items()
    }
    return json.dumps(hashes, indent=1).encode()


def _hash(path: Path) -> str | None:
    """SHA-256 of a plain file; None where there is nothing. OSError as `open_plain`, and for a link."""
    if path.is_symlink():
        raise OSError(errno.ELOOP, f"{shown(path.name)} is a link", str(path))
    try:
        with open_plain(path) as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except FileNotFoundError:
        return None
