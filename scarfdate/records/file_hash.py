"""The hash of files of any size, a piece at a time."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from scarfdate.files import open_plain

_PIECE = 2**20  # bytes hashed at a time


def hash_of_files(paths: Sequence[Path]) -> str:
    """What `scarfdate.files.hash_of` gives for the files, a piece at a time."""
    names = Counter(path.name for path in paths)
    digest = hashlib.sha256()
    for path in sorted(
        paths, key=lambda one: (one.name, _tie(one) if names[one.name] > 1 else b"")
    ):
        digest.update(path.name.encode() + b"\0")
        for piece in _pieces(path):
            digest.update(piece)
        digest.update(b"\0")
    return digest.hexdigest()


def _tie(path: Path) -> bytes:
    """An order for files of one name that does not hang on their folders."""
    digest = hashlib.sha256()
    for piece in _pieces(path):
        digest.update(piece)
    return digest.digest()


def _pieces(path: Path) -> Iterator[bytes]:
    """The bytes of a file with one kind of line end."""
    with open_plain(path) as stream:
        held = b""
        while piece := stream.read(_PIECE):
            piece = held + piece
            held = piece[-1:] if piece.endswith(b"\r") else b""
            yield piece.removesuffix(b"\r").replace(b"\r\n", b"\n")
        yield held
