"""Files are written whole or not at all, and are known by their hash."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path`` so that a reader sees the old file or the new one, never half."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes a file only its owner can read; give it what a new file would have
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, 0o666 & ~mask)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def csv_bytes(rows: Iterable[Iterable[object]]) -> bytes:
    """Rows of cells as a CSV file: UTF-8, commas, quotes where they are needed, ``\\n`` line ends."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode("utf-8")


def hash_of(parts: Iterable[tuple[str, bytes]]) -> str:
    """SHA-256, as 64 hexadecimal digits, of named contents in the order of their names.

    Line ends are read as one, so that a checkout on another system has the same hash.
    """
    digest = hashlib.sha256()
    for name, content in sorted(parts):
        digest.update(name.encode() + b"\0")
        digest.update(content.replace(b"\r\n", b"\n") + b"\0")
    return digest.hexdigest()
