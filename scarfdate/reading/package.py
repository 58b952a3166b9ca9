"""Packages (.xlsx, .ods) and their XML, by whomever they were made: looked through in pieces before anything is built.

What a package says of its own size counts for nothing: each part is unpacked once, a piece at a time, and let go.
"""

from __future__ import annotations

import io
import zipfile
from copy import copy
from xml.parsers import expat

from scarfdate.errors import TableError

LONGEST_WHOLE = 256 * 2**20  # bytes of what has to be read whole: JSON, an unpacked spreadsheet
_PIECE = 2**16
_PACKED = (
    zipfile.ZIP_STORED,
    zipfile.ZIP_DEFLATED,
)  # what spreadsheets use, and can be unpacked in pieces
# what any package may unpack to, and beyond it how many times its own size; the same for marks of XML
_ROOMY, _TIMES = 2**22, 100
_ROOMY_MARKS, _MARKS_A_BYTE = 2**18, 4


def unpacked_size(content: bytes, name: str) -> int:
    """The bytes of a package once unpacked.

    Raises TableError where they, or the elements in them, are out of all proportion to the file; ValueError and what
    `zipfile` raises for a part that is not what the package says, or has a document type, in which entities grow.
    """
    longest = min(LONGEST_WHOLE, _ROOMY + _TIMES * len(content))
    marks = _ROOMY_MARKS + _MARKS_A_BYTE * len(content)
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        parts = packed.infolist()
        size = sum(part.file_size for part in parts)
        if size > longest:
            raise TableError(
                f"{name}: {size} bytes once unpacked, more than the {longest} allowed; save it as CSV"
            )
        for part in parts:
            marks -= _looked_through(packed, part, marks)
            if marks < 0:
                raise TableError(
                    f"{name}: far more cells than a file of {len(content)} bytes has; save it as CSV"
                )
    return size


def _looked_through(packed: zipfile.ZipFile, part: zipfile.ZipInfo, most: int) -> int:
    """How many marks a part has; no more than ``most`` are counted."""
    if part.compress_type not in _PACKED:
        raise ValueError("a part that is packed as no spreadsheet is")
    further = copy(part)
    further.file_size += 1  # so that a part that goes on behind its end is seen to
    reader = expat.ParserCreate()
    reader.StartDoctypeDeclHandler = _refuse
    is_xml, length, marks = True, 0, 0
    with packed.open(further) as stream:
        while (piece := stream.read(_PIECE)) and marks <= most:
            length += len(piece)
            if is_xml:
                try:
                    reader.Parse(piece)
                    marks += piece.count(b"<")
                except expat.ExpatError:
                    is_xml = False  # a picture; whoever reads it as XML stops here, too
    if length != part.file_size and marks <= most:
        raise ValueError("a part that is not as long as the package says")
    return marks


def _refuse(*_: object) -> None:
    raise ValueError("a document type, which no spreadsheet has")
