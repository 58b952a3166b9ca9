"""The folder beside an answer in which its parts lie until all are there, so that a kill costs one chunk a process."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from scarfdate.errors import ScarfdateError, shown
from scarfdate.files import empty_folder, write_whole

_FORMAT = 2
JOB = "job.json"
_ENDS = 2**20  # bytes at the start and at the end of a file by which it is known again


def folder_of(out: Path) -> Path:
    """Where the parts of this answer lie."""
    return out.with_name(f".{out.name}.parts")


def fingerprint(path: Path) -> str:
    """A file as it is now: its size, when it was last written, and both of its ends."""
    about = path.stat()
    digest = hashlib.sha256(f"{about.st_size} {about.st_mtime_ns} ".encode())
    with path.open("rb") as stream:
        digest.update(stream.read(_ENDS))
        stream.seek(max(0, about.st_size - _ENDS))
        digest.update(stream.read())
    return digest.hexdigest()


def taken_up(folder: Path, job: Mapping[str, object]) -> bool:
    """Make a folder in which one is alone ready for this job; whether it holds parts of the same one.

    ``job``: everything that an answer hangs on. Parts of another job are taken away, and of a folder that was copied
    from elsewhere, by the number that the system gave it: whoever sends one cannot know that. Raises ScarfdateError where
    something of another program lies there.
    """
    wanted = {"format": _FORMAT, "folder": folder.stat().st_ino, **job}
    known = folder / JOB
    if known.is_file() or known.is_symlink():
        if not known.is_symlink() and _read(known) == json.loads(json.dumps(wanted)):
            return True
        empty_folder(folder)
    elif any(not path.is_dir() for path in folder.iterdir()):
        raise ScarfdateError(f"{shown(str(folder))} is in the way and not of this library; move it")
    write_whole(known, json.dumps(wanted, indent=1).encode())
    return False


def _read(path: Path) -> object:
    try:
        return json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
