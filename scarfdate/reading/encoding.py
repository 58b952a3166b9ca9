"""The letters of a CSV file as spreadsheets write them: UTF-8, UTF-16, or Windows-1252.

UTF-16 is known by its mark or by its many NULs. Windows-1252 is recognised only where every letter beyond
ASCII is one that western European text has; any other encoding has to be stated.
"""

from __future__ import annotations

import codecs
import io
import re
from typing import IO

from scarfdate.errors import TableError, shown

SAMPLE = 2**22  # bytes from the start of a file by which its encoding is known
_LONGEST = 256 * 2**20  # bytes of a file that has to be written anew as UTF-8
_WESTERN = frozenset(
    "ÀÁÂÃÄÅÆÇÈÉÊËÌÍÎÏÑÒÓÔÕÖØÙÚÛÜÝßàáâãäåæçèéêëìíîïñòóôõöøùúûüýÿŒœŸ"
    "£€¥©®™°ºª²³½¼¾×–—‘’“”„…•«»¡¿§´·¨±\u00a0\u00ad"
)
# of names on the net and of source code: time grows with the square of the length, or letters are read as commands
_OF_NO_FILE = ("idna", "punycode", "unicode-escape", "raw-unicode-escape", "undefined")
_HIGH_RUN = re.compile(rb"[\x80-\xff]{4}")  # four in a row: two-byte letters of eastern Asia


def as_utf8(stream: IO[bytes], name: str, encoding: str | None) -> tuple[IO[bytes], str, str]:
    """The stream as UTF-8, the first part of its text, and a remark where its encoding was recognised.

    ``encoding``: as stated, any name that Python knows; None looks. What is neither UTF-8 nor recognised
    is left as it is: the reader of the rows tells the place.
    """
    sample = stream.read(SAMPLE)
    joined = io.BufferedReader(Rejoined(sample, stream))
    remark = ""
    if encoding is None:
        encoding = recognised(sample)
        if encoding == "cp1252":
            remark = "read as Windows-1252, as spreadsheets write it; state --encoding if letters look wrong"
    else:
        encoding = _checked(encoding)
    if encoding is None or codecs.lookup(encoding).name in ("utf-8", "ascii"):
        text = sample.decode("utf-8", "replace").removeprefix("\ufeff")
        return joined, text, ""
    content = joined.read(_LONGEST + 1)
    if len(content) > _LONGEST:
        raise TableError(
            f"{name}: more than {_LONGEST} bytes in {encoding}; save the file as UTF-8"
        )
    try:
        text = content.decode(encoding).removeprefix("\ufeff")
        plain = text.encode("utf-8")
    except UnicodeError as error:
        place = ""
        if isinstance(error, UnicodeDecodeError):
            line = content[: error.start].count(b"\n") + 1
            place = f", line {line}"
        raise TableError(
            f"{name}{place}: not text in {encoding}; state another --encoding, or save it as UTF-8"
        ) from None
    return io.BytesIO(plain), text[:SAMPLE], remark


def _checked(encoding: str) -> str:
    try:
        known = codecs.lookup(encoding) if isinstance(encoding, str) else None
    except (LookupError, ValueError):
        known = None
    if known is None or not getattr(known, "_is_text_encoding", True) or known.name in _OF_NO_FILE:
        raise TableError(
            f"encoding: {shown(encoding)} is not known; write utf-8, utf-16, windows-1252, "
            "or as the program that wrote the file calls it"
        )
    return known.name


def recognised(sample: bytes) -> str | None:
    """The encoding that a file must be written anew from; None: UTF-8, or nothing recognised."""
    if sample.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if sample.startswith(codecs.BOM_UTF8):
        return None
    for start, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        half = sample[start:4096:2]
        if len(half) >= 4 and half.count(0) > 0.8 * len(half):
            return encoding
    try:
        codecs.getincrementaldecoder("utf-8")().decode(sample)
        return None
    except UnicodeDecodeError:
        pass
    if b"\0" in sample or _HIGH_RUN.search(sample):
        return None
    try:
        text = sample.decode("cp1252")
    except UnicodeDecodeError:
        return None
    return "cp1252" if all(letter.isascii() or letter in _WESTERN for letter in text) else None


class Rejoined(io.RawIOBase):
    """Bytes already taken from a stream, then the rest of it, which is not closed with this."""

    def __init__(self, head: bytes, rest: IO[bytes]) -> None:
        self._head, self._rest, self._at = head, rest, 0

    def readable(self) -> bool:
        """It can be read."""
        return True

    def readinto(self, buffer: object) -> int:
        """The next bytes."""
        room = memoryview(buffer)  # type: ignore[arg-type]
        part = self._head[self._at : self._at + len(room)]
        self._at += len(part)
        part = part or self._rest.read(len(room))
        room[: len(part)] = part
        return len(part)
