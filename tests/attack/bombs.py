"""Files that claim more than they hold, hold more than they weigh, or are no files: how each is made, and who reads it.

Each is made small and at once; what reads it runs in a process of its own (`measured.py`).
"""

from __future__ import annotations

import bz2
import gzip
import io
import json
import os
import socket
import struct
import time
import zipfile
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import scarfdate
from scarfdate.reading.files import read_table
from scarfdate.records.museum import read_records

SHIPPED = Path(scarfdate.__file__).parents[1] / "priors"
MANY = 100_000
_BOOK = (
    '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
    'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
    '<sheets><sheet name="a" sheetId="1" r:id="rId1"/></sheets></workbook>'
)
_RELS = '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{}</Relationships>'
_REL = (
    '<Relationship Id="rId{}" Type="http://schemas.openxmlformats.org/officeDocument/2006/'
    'relationships/{}" Target="{}"/>'
)
_TYPES = (
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/>'
    '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.'
    'spreadsheetml.sheet.main+xml"/>'
    '<Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.'
    'spreadsheetml.worksheet+xml"/></Types>'
)
_STRINGS = (
    '<Override PartName="/xl/sharedStrings.xml" ContentType="application/vnd.openxmlformats-officedocument.'
    'spreadsheetml.sharedStrings+xml"/></Types>'
)
SHEET = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
ROWS = (
    '<row r="1"><c r="A1" t="inlineStr"><is><t>fibre</t></is></c><c r="B1" t="inlineStr"><is><t>hem</t></is></c></row>'
    '<row r="2"><c r="A2" t="inlineStr"><is><t>silk</t></is></c><c r="B2" t="inlineStr"><is><t>raw</t></is></c></row>'
)
ODS = (
    '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>'
    '<table:table table:name="a">{}</table:table></office:spreadsheet></office:body></office:document-content>'
)
_CELL = '<table:table-cell office:value-type="string"><text:p>{}</text:p></table:table-cell>'
LAUGHS = (
    '<!DOCTYPE x [<!ENTITY l0 "silk">'
    + "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    + "]>"
)
BLOWS = f'<!DOCTYPE x [<!ENTITY big "{"a" * MANY}">]>'
OUTSIDE = '<!DOCTYPE x [<!ENTITY out SYSTEM "file:///etc/passwd">]>'


def ods_rows(*cells: str) -> str:
    rows = (f"<table:table-row>{_CELL.format(cell)}</table:table-row>" for cell in cells)
    return "".join(rows)


def _zip(path: Path, parts: Iterable[tuple[str, bytes]], how: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", how) as packed:
        for name, content in parts:
            packed.writestr(name, content)
    return path


def xlsx(path: Path, sheet: str | bytes, *, how: int = zipfile.ZIP_DEFLATED, **parts: str) -> Path:
    """A workbook of one sheet; ``parts``: those that are to be otherwise ("book", "strings")."""
    sheet = sheet.encode() if isinstance(sheet, str) else sheet
    book_rels = _REL.format(1, "worksheet", "worksheets/sheet1.xml")
    whole = {
        "[Content_Types].xml": _TYPES,
        "_rels/.rels": _RELS.format(_REL.format(1, "officeDocument", "xl/workbook.xml")),
        "xl/workbook.xml": parts.get("book", _BOOK),
    }
    if "strings" in parts:
        book_rels += _REL.format(2, "sharedStrings", "sharedStrings.xml")
        whole["xl/sharedStrings.xml"] = parts["strings"]
        whole["[Content_Types].xml"] = _TYPES.replace("</Types>", _STRINGS)
    whole["xl/_rels/workbook.xml.rels"] = _RELS.format(book_rels)
    content = [(name, text.encode()) for name, text in whole.items()]
    return _zip(path, [*content, ("xl/worksheets/sheet1.xml", sheet)], how)


def ods(path: Path, content: str | bytes, *, how: int = zipfile.ZIP_DEFLATED) -> Path:
    """An OpenDocument spreadsheet of one part."""
    content = content.encode() if isinstance(content, str) else content
    return _zip(path, [("content.xml", content)], how)


def _deflated(
    unit: bytes, times: int, before: bytes = b"", after: bytes = b""
) -> tuple[bytes, int, int]:
    """``unit`` again and again, packed a piece at a time; its CRC and its length unpacked."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    out, crc, length = [], 0, 0
    for piece in (before, *(unit for _ in range(times)), after):
        crc, length = zlib.crc32(piece, crc), length + len(piece)
        out.append(packer.compress(piece))
    return b"".join([*out, packer.flush()]), crc, length


def _raw_zip(path: Path, name: str, packed: bytes, crc: int, said: int, how: int = 8) -> Path:
    """A package of one part whose size is what is said, not what is there."""
    head = (20, 0, how, 0, 33, crc, len(packed), said)
    label = name.encode()
    local = b"PK\3\4" + struct.pack("<HHHHHIIIHH", *head, len(label), 0) + label
    central = (
        b"PK\1\2"
        + struct.pack("<HHHHHHIIIHHHHHII", 20, *head, len(label), 0, 0, 0, 0, 0, 0)
        + label
    )
    end = struct.pack("<HHHHIIH", 0, 0, 1, 1, len(central), len(local) + len(packed), 0)
    path.write_bytes(local + packed + central + b"PK\5\6" + end)
    return path


def zip_bomb(path: Path) -> Path:
    """Ten megabytes that are ten gigabytes once unpacked, and say so."""
    unit, times = b" " * 2**20, 100
    piece, _, _ = _deflated(unit, times)
    # the same packed blocks a hundred times over: packing ten gigabytes would take a minute
    block = zlib.compressobj(9, zlib.DEFLATED, -15)
    repeated = block.compress(unit * times) + block.flush(zlib.Z_FULL_FLUSH)
    packed = repeated * times + piece
    return _raw_zip(path, "content.xml", packed, 0, 0xFFFFFFFE)


def lying_zip(path: Path) -> Path:
    """A part that says it is 1,000 bytes, has the sum of these, and is four gigabytes."""
    block = zlib.compressobj(9, zlib.DEFLATED, -15)
    unit = block.compress(b" " * 2**27) + block.flush(zlib.Z_FULL_FLUSH)
    end = zlib.compressobj(9, zlib.DEFLATED, -15).flush()
    return _raw_zip(path, "content.xml", unit * 32 + end, zlib.crc32(b" " * 1000), 1000)


def lying_bzip(path: Path) -> Path:
    """The same, packed as bzip2, which Python unpacks at one go."""
    packed = bz2.compress(b" " * 2**28)
    return _raw_zip(path, "content.xml", packed, zlib.crc32(b" " * 1000), 1000, 12)


def dense_ods(path: Path) -> Path:
    """A quarter of a megabyte that is 250 MB of empty elements once unpacked: several gigabytes as a tree."""
    start, end = ODS.split("{}")
    packed, crc, length = _deflated(b"<a/>" * 2**18, 240, start.encode(), end.encode())
    return _raw_zip(path, "content.xml", packed, crc, length)


def dense_xlsx(path: Path) -> Path:
    """The same as a workbook: cells without content, a quarter of a gigabyte of them in some hundred kilobytes."""
    return xlsx(path, SHEET.format("<row>" + "<c/>" * 60_000_000 + "</row>"))


def nested_zip(path: Path) -> Path:
    """A package in a package in a package."""
    inner = b"x"
    for _ in range(5):
        held = io.BytesIO()
        with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as packed:
            for at in range(8):
                packed.writestr(f"{at}.zip", inner)
        inner = held.getvalue()
    return _zip(path, [("content.xml", inner)])


def overlapping_zip(path: Path) -> Path:
    """A thousand names of one and the same part."""
    packed, crc, length = _deflated(b" " * 2**20, 200)
    label = b"content.xml"
    head = (20, 0, 8, 0, 33, crc, len(packed), length)
    local = b"PK\3\4" + struct.pack("<HHHHHIIIHH", *head, len(label), 0) + label
    one = (
        b"PK\1\2"
        + struct.pack("<HHHHHHIIIHHHHHII", 20, *head, len(label), 0, 0, 0, 0, 0, 0)
        + label
    )
    end = struct.pack("<HHHHIIH", 0, 0, 1000, 1000, len(one) * 1000, len(local) + len(packed), 0)
    path.write_bytes(local + packed + one * 1000 + b"PK\5\6" + end)
    return path


def parquet(path: Path, table: Any, **how: Any) -> Path:
    import pyarrow.parquet as pq

    pq.write_table(table, path, **how)
    return path


def repeated_text(path: Path) -> Path:
    """One cell of a million letters, a hundred thousand times, in a megabyte."""
    import pyarrow as pa

    words = pa.DictionaryArray.from_arrays(
        pa.array(np.zeros(MANY, np.int32)), pa.array(["a" * 2**20])
    )
    return parquet(path, pa.table({"fibre": words}))


def repeated_list(path: Path) -> Path:
    """One cell that is a list of fifty million blanks."""
    import pyarrow as pa

    return parquet(
        path, pa.table({"fibre": pa.array([[None] * 50_000_000], pa.list_(pa.string()))})
    )


def repeated_list_text(path: Path) -> Path:
    """One cell that is a list of a hundred thousand times a text of a million letters."""
    import pyarrow as pa

    words = pa.DictionaryArray.from_arrays(
        pa.array(np.zeros(MANY, np.int32)), pa.array(["a" * 2**20])
    )
    return parquet(path, pa.table({"fibre": pa.ListArray.from_arrays([0, MANY], words)}))


def deep_parquet(path: Path) -> Path:
    """Lists in lists, five hundred deep."""
    import pyarrow as pa

    kind, value = pa.string(), "silk"
    for _ in range(100):
        kind, value = pa.list_(kind), [value]
    return parquet(path, pa.table({"fibre": pa.array([value], kind)}))


def lying_parquet(path: Path) -> Path:
    """A file whose rows are, it says, a quarter of a million times as many."""
    import pyarrow as pa

    held = io.BytesIO()
    pa_table = pa.table({"fibre": ["silk"] * 77})
    import pyarrow.parquet as pq

    pq.write_table(pa_table, held)
    content = held.getvalue()
    path.write_bytes(content.replace(b"\x16\x9a\x01", b"\x16\xfe\xff\xff\xff\x0f"))
    return path


def _text(path: Path, content: bytes | str) -> Path:
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _sparse(path: Path, size: int) -> Path:
    with path.open("wb") as stream:
        stream.truncate(size)
    return path


def _link(path: Path, target: str) -> Path:
    path.symlink_to(target)
    return path


def _fifo(path: Path) -> Path:
    os.mkfifo(path)
    return path


def _socket(path: Path) -> Path:
    line = socket.socket(socket.AF_UNIX)
    here = os.getcwd()
    os.chdir(path.parent)  # the path of a socket is short
    try:
        line.bind(path.name)
    finally:
        os.chdir(here)
    line.close()
    return path


def _loop(path: Path) -> Path:
    path.symlink_to(path.name)
    return path


def _folder(path: Path) -> Path:
    path.mkdir()
    return path


def _priors(
    name: str, put: Callable[[Path], object], *, alone: bool = False
) -> Callable[[Path], Path]:
    """A folder of priors with one strange file; ``alone``: it has a descriptor."""

    def make(path: Path) -> Path:
        path.mkdir()
        (path / name).parent.mkdir(exist_ok=True)
        put(path / name)
        return path

    return make


def _described(listed: object) -> Callable[[Path], Path]:
    text = (
        listed
        if isinstance(listed, str)
        else json.dumps({"resources": [{"name": "a", "path": listed}]})
    )
    return _priors("datapackage.json", lambda path: _text(path, text))


def _prices(name: str, put: Callable[[Path], object]) -> Callable[[Path], Path]:
    """A folder of prices, as the demo has one, with one strange file."""

    def make(path: Path) -> Path:
        scarfdate.load_prices().save(path)
        (path / name).unlink()
        put(path / name)
        return path

    return make


def _draws(path: Path) -> Path:
    """Draws that say they are a hundred million million numbers."""
    head = b"{'descr': '<f4', 'fortran_order': False, 'shape': (1000, 2000000), }"
    head += b" " * (117 - len(head)) + b"\n"
    npy = b"\x93NUMPY\x01\x00" + struct.pack("<H", len(head)) + head + b"\0" * 100
    return _zip(path, [("price/draws.npy", npy), ("counts.npy", npy)])


def _many_draws(path: Path) -> Path:
    """Draws that are there: eight gigabytes of nothing in eight megabytes."""
    head = b"{'descr': '<f4', 'fortran_order': False, 'shape': (1000, 500000), }"
    head += b" " * (117 - len(head)) + b"\n"
    npy = b"\x93NUMPY\x01\x00" + struct.pack("<H", len(head)) + head
    packed, crc, length = _deflated(b"\0" * 2**20, 2000, npy)
    return _raw_zip(path, "counts.npy", packed, crc, length)


@dataclass(frozen=True)
class Bomb:
    """``ending``: of the file's name, "" for a folder; ``read``: what reads it, by name of `READERS`; ``fine``:
    whether an answer is as right as a refusal; ``slow``: whether making or refusing it takes a while.
    """

    ending: str
    make: Callable[[Path], object]
    read: str = "table"
    fine: bool = False
    slow: bool = False

    @property
    def kind(self) -> str:
        """What sort of file it is, by its ending and its reader."""
        if not self.ending or self.read not in ("table", "encoding", "encoding punycode"):
            return f"files and folders for: {self.read}"
        return f"{self.ending[1:]} files"


READERS: dict[str, Callable[[Path], object]] = {
    "table": read_table,
    "dry run": scarfdate.dry_run,
    "book": lambda path: scarfdate.read_sold(path),
    "map": lambda path: scarfdate.read_sold("data/sold.csv", columns=path),
    "costs": scarfdate.read_costs,
    "priors": scarfdate.load_priors,
    "prices": scarfdate.load_prices,
    "progress": lambda path: scarfdate.practice(progress=path),
    "sorting": lambda path: scarfdate.Sorting(path),
    "museum": read_records,
    "encoding": lambda path: read_table(path, encoding="idna"),
    "hanging": lambda path: time.sleep(60),
    "eating": lambda path: bytearray(2**33),
    "dying": lambda path: os._exit(1),
    "encoding punycode": lambda path: read_table(path, encoding="punycode"),
}
_DEEP = "[" * MANY
_FLAT_JSON = '[{"fibre": "silk", "a": %s}]'

BOMBS: dict[str, Bomb] = {
    # packages that are larger than they are
    "zip bomb, 10 MB that are 10 GB": Bomb(".ods", zip_bomb, slow=True),
    "zip bomb as workbook": Bomb(".xlsx", zip_bomb, slow=True),
    "a part that lies about its size": Bomb(".ods", lying_zip),
    "a workbook's part that lies about its size": Bomb(".xlsx", lying_zip, slow=True),
    "a part packed as bzip2 that lies": Bomb(".ods", lying_bzip, slow=True),
    "packages in packages": Bomb(".ods", nested_zip),
    "a thousand names of one part": Bomb(".ods", overlapping_zip, slow=True),
    "250 MB of empty elements in 250 kB": Bomb(".ods", dense_ods, slow=True),
    "250 MB of empty cells in 250 kB": Bomb(".xlsx", dense_xlsx, slow=True),
    # entities
    **{
        f"{what}, {where}": Bomb(ending, lambda path, make=make, text=text: make(path, text))
        for what, kind, name in (
            ("a billion laughs", LAUGHS, "l9"),
            ("quadratic growth", BLOWS, "big"),
            ("a file from outside", OUTSIDE, "out"),
        )
        for where, ending, make, text in (
            (
                "ods",
                ".ods",
                ods,
                kind + ODS.format(ods_rows("fibre", f"&{name};" * (1 if name != "big" else 5000))),
            ),
            (
                "ods behind a long comment",
                ".ods",
                ods,
                f"<!--{' ' * 20_000}-->" + kind + ODS.format(ods_rows("fibre", f"&{name};")),
            ),
            (
                "ods in UTF-16",
                ".ods",
                ods,
                (kind + ODS.format(ods_rows("fibre", f"&{name};"))).encode("utf-16"),
            ),
            ("sheet", ".xlsx", xlsx, kind + SHEET.format(ROWS.replace("silk", f"&{name};"))),
        )
    },
    "a billion laughs, workbook": Bomb(
        ".xlsx",
        lambda path: xlsx(path, SHEET.format(ROWS), book=LAUGHS + _BOOK.replace('"a"', '"&l9;"')),
    ),
    "a billion laughs, shared strings": Bomb(
        ".xlsx",
        lambda path: xlsx(
            path,
            SHEET.format(ROWS),
            strings=LAUGHS + '<sst xmlns="http://schemas.openxmlformats.org/'
            'spreadsheetml/2006/main"><si><t>&l9;</t></si></sst>',
        ),
    ),
    "XInclude": Bomb(
        ".ods",
        lambda path: ods(
            path,
            ODS.format(
                ods_rows(
                    "fibre",
                    '<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="/etc/passwd" parse="text"/>silk',
                )
            ),
        ),
        fine=True,
    ),
    "spans a hundred thousand deep": Bomb(
        ".ods",
        lambda path: ods(
            path,
            ODS.format(ods_rows("fibre", "<text:span>" * MANY + "silk" + "</text:span>" * MANY)),
        ),
    ),
    "blanks that are told, not written": Bomb(
        ".ods",
        lambda path: ods(
            path, ODS.format(ods_rows("fibre", *['<text:s text:c="1000"/>' * 900 + "a"] * 300))
        ),
        fine=True,
    ),
    # JSON and TOML
    "JSON a hundred thousand deep": Bomb(
        ".json", lambda path: _text(path, _FLAT_JSON % (_DEEP + "]" * MANY))
    ),
    "JSON of brackets that never close": Bomb(".json", lambda path: _text(path, _DEEP * 10)),
    "a number of a million digits": Bomb(
        ".json", lambda path: _text(path, _FLAT_JSON % ("1" * 10**6)), fine=True
    ),
    "a fraction of a million digits": Bomb(
        ".json", lambda path: _text(path, _FLAT_JSON % ("1." + "1" * 10**6)), fine=True
    ),
    "a power without bound": Bomb(
        ".json", lambda path: _text(path, _FLAT_JSON % "1e999999999"), fine=True
    ),
    "one name 100,000 times in a record": Bomb(
        ".json",
        lambda path: _text(
            path, "[{" + ",".join(f'"k{at}": 1' for at in range(MANY)) + ', "k99999": 1}]'
        ),
    ),
    "TOML brackets, map": Bomb(".toml", lambda path: _text(path, "a = " + _DEEP), "map"),
    "TOML brackets, costs": Bomb(".toml", lambda path: _text(path, "a = " + "[" * 5_000), "costs"),
    "TOML names with 10,000 dots, map": Bomb(
        ".toml", lambda path: _text(path, ".".join("a" * 30_000) + " = 1"), "map"
    ),
    "TOML names with 10,000 dots, costs": Bomb(
        ".toml", lambda path: _text(path, ".".join("a" * 30_000) + " = 1"), "costs"
    ),
    "TOML tables in tables, costs": Bomb(
        ".toml", lambda path: _text(path, "a = " + "{a=" * 9_000), "costs"
    ),
    # giants
    "a cell of 100 MB": Bomb(
        ".csv", lambda path: _text(path, b"fibre,hem\nsilk," + b"a" * 10**8 + b"\n"), slow=True
    ),
    "a line of 200 MB": Bomb(".csv", lambda path: _text(path, b"a" * (2 * 10**8)), slow=True),
    "a line of 50 MB of commas": Bomb(
        ".csv", lambda path: _text(path, b"," * (5 * 10**7)), slow=True
    ),
    "three million columns": Bomb(
        ".csv", lambda path: _text(path, b"fibre" + b"," * 3_000_000 + b"\nsilk\n")
    ),
    "three million columns below the heading": Bomb(
        ".csv", lambda path: _text(path, b"fibre\nsilk" + b"," * 3_000_000 + b"\n")
    ),
    "a million quotes": Bomb(".csv", lambda path: _text(path, b"fibre,hem\n" + b'"a\n' * 10**6)),
    "a cell of a million letters, sheet": Bomb(
        ".xlsx", lambda path: xlsx(path, SHEET.format(ROWS.replace("silk", "s" * 2**21)))
    ),
    "gzip called csv": Bomb(".csv", lambda path: _text(path, gzip.compress(b"\0" * 10**8))),
    "bzip2 called csv": Bomb(".csv", lambda path: _text(path, bz2.compress(b"\0" * 10**7))),
    "letters by a slow encoding": Bomb(
        ".csv", lambda path: _text(path, b"fibre\n" + b"xn--" + b"a" * 10**6), "encoding"
    ),
    "letters by another slow encoding": Bomb(
        ".csv",
        lambda path: _text(path, b"fibre\n" + b"a" * 300_000 + b"-" + b"z9" * 10**5),
        "encoding punycode",
    ),
    # Parquet
    "one text 100,000 times": Bomb(".parquet", repeated_text),
    "a list of 50,000,000 blanks": Bomb(".parquet", repeated_list, slow=True),
    "a list of one text 100,000 times": Bomb(".parquet", repeated_list_text),
    "lists a hundred deep": Bomb(".parquet", deep_parquet, fine=True),
    "rows that are not there": Bomb(".parquet", lying_parquet),
    # what is no file
    **{
        f"{name} as {ending[1:]}, {read}": Bomb(
            ending, make, read, slow=read != "table" or "urandom" in name or "full" in name
        )
        for name, make in (
            ("/dev/zero", lambda path: _link(path, "/dev/zero")),
            ("/dev/urandom", lambda path: _link(path, "/dev/urandom")),
            ("/dev/full", lambda path: _link(path, "/dev/full")),
            ("a FIFO", _fifo),
            ("a socket", _socket),
            ("a folder", _folder),
            ("a loop of links", _loop),
            ("/proc/self/environ", lambda path: _link(path, "/proc/self/environ")),
            ("/proc/kmsg", lambda path: _link(path, "/proc/kmsg")),
            ("a hole of 3 GB", lambda path: _sparse(path, 3 * 2**30)),
        )
        for ending, read in (
            (".csv", "table"),
            (".xlsx", "table"),
            (".json", "table"),
            (".csv", "book"),
            (".csv", "museum"),
            (".toml", "map"),
            (".toml", "costs"),
            (".json", "progress"),
            (".csv", "sorting"),
        )
        if "hole" not in name or read != "museum"  # which reads files of any size, a row at a time
    },
    # folders that somebody sends
    **{
        f"{name} in a folder of priors": Bomb("", _priors(file, put), "priors")
        for name, file, put in (
            ("a FIFO", "makers.csv", _fifo),
            ("/dev/zero", "makers.csv", lambda path: _link(path, "/dev/zero")),
            ("a hole of 3 GB", "makers.csv", lambda path: _sparse(path, 3 * 2**30)),
            ("a link out of it", "makers.csv", lambda path: _link(path, "/etc/passwd")),
            ("a folder that is a link out of it", "shares", lambda path: _link(path, "/etc")),
            ("a loop of links", "makers.csv", _loop),
            ("a line of 60 MB", "makers.csv", lambda path: _text(path, b"a" * 6 * 10**7)),
        )
    },
    **{
        f"a descriptor that lists {shown}": Bomb("", _described(listed), "priors")
        for shown, listed in (
            ("../../etc/passwd", "../../../../../../../etc/passwd"),
            ("/etc/passwd", "/etc/passwd"),
            ("~/x.csv", "~/x.csv"),
            ("http:", "http://192.0.2.1/x.csv"),
            ("file:", "file:///etc/passwd"),
            ("NUL", "a\0b"),
            ("a number", 5),
            ("a list", [["a"]]),
            ("100,000 letters", "a" * MANY),
            ("CON", "CON"),
            ("nothing but depth", '{"resources": ' + _DEEP),
        )
    },
    **{
        f"{name} in a folder of prices": Bomb("", _prices(file, put), "prices")
        for name, file, put in (
            ("a FIFO", "prices.json", _fifo),
            ("/dev/zero", "prices.json", lambda path: _link(path, "/dev/zero")),
            ("brackets", "prices.json", lambda path: _text(path, _DEEP)),
            ("a hole of 3 GB", "prices.json", lambda path: _sparse(path, 3 * 2**30)),
            ("draws that claim 8 GB", "draws.npz", _draws),
            ("draws of 2 GB in 2 MB", "draws.npz", _many_draws),
            ("a FIFO for draws", "draws.npz", _fifo),
            ("a loop of links", "draws.npz", _loop),
        )
    },
}
