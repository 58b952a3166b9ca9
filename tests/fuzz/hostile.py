"""What nobody should write: hostile texts, bytes, cells and frames, most of them made of valid ones that are spoilt.

All names in them are invented.
"""

from __future__ import annotations

import datetime
import io
import json
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd
from hypothesis import strategies as st

VAST = 10**5000  # Python refuses to print a whole number of more than 4300 digits
TEXTS = (
    "", " ", "\0", "\v", "\r", "\r\n", "\n", "\t", ",", ";", '"', '""', "'", "\ufeff", "\u202e", "\u200b", "\ud800", "\udfff",
    "=1+1", "@a", "+1", "-0", "-1", "\uff1d1", "$", "$x^$", "$$", "\\frac{", "<b>", "</script><script>alert(1)</script>",
    "&amp;", "]]>", "../..", "/etc/passwd", "C:\\nul", "a\0b", "%s", "{0}", "{", "}", "[", "]", "(", ")", "1e308", "1e400",
    "-1e308", "nan", "NaN", "inf", "-inf", "0", "00", "1e-320", "9" * 400, "9" * 5000, "0x10", "1_000", "½", "٣", "Ⅷ", "²",
    "None", "null", "true", "NA", "?", "???", "silk?", "silk or rayon", "not silk", "maybe", "a" * 70, "a" * 5_000,
    "or" * 60, "🧣", "e\u0301" * 40, "ﷺ", "İ", "ß", "ŉ", "絹", "1960s", "0000", "9999", "1962-02-30", "19XX", "[1958..1969,", "..",
    "/", "../1960", "ca. ", "before ", "century", "0th century", "90 x 90 cm", "3' 2\"", "35 1/0 in", "1/0", "90x", "12,5",
    "1.234,56 EUR", "EUR", "£5", "[cut]", "...", "RN 00000", "RN " + "9" * 50, "100% SILK", "0% SILK", "© 0000", "MADE IN",
    '{"silk": 0.5, "rayon": 0.5}', '{"silk": 1e308}', '{"silk": NaN}', "{" * 500, "[" * 5000, '{"a":' * 200,
)  # fmt: skip
TEXTS_OF_CSV = (
    "id,fibre\n",
    "fibre;hem\n",
    "sep=;\n",
    '"a\nb"',
    "\x1a",
    "known,known_by\n",
    "%PDF",
    "PK\3\4",
    "\xff\xfe",
)
CELLS: tuple[Any, ...] = (
    *TEXTS, None, True, False, 0, -1, 1, VAST, -VAST, 2**63, -(2**63) - 1, 0.0, -0.0, 1e308, -1e308, 5e-324, float("nan"),
    float("inf"), -float("inf"), np.float32("nan"), np.int64(-1), np.bool_(True), np.array([1, 2]), np.array(3), pd.NA,
    pd.NaT, pd.Timestamp("1962-05-17"), pd.Timestamp.max, datetime.date(1, 1, 1), datetime.datetime(9999, 12, 31),
    datetime.timedelta(days=10**8), Decimal("NaN"), Decimal("sNaN"), Decimal("1e999999"), Fraction(1, 3), 1j, b"silk", b"\xff",
    bytearray(b"x"), (), [], {}, set(), [[]], (("a", ("b", ())),), {"silk": 0.5, "rayon": 0.5}, {"silk": 1e308, "wool": 1e308},
    {"silk": VAST}, {("a", "b"): 1}, {VAST: 1}, {None: None}, {"silk": float("nan")}, {"": 1}, [VAST], ["silk", "rayon"],
    range(3), slice(1), object, len, Ellipsis, frozenset({"silk"}), "x" * 100_000,
)  # fmt: skip


def _one_of(among: tuple[Any, ...]) -> st.SearchStrategy[Any]:
    return st.integers(0, len(among) - 1).map(
        lambda at: among[at]
    )  # not all of them in every report


def hashable(value: object) -> bool:
    try:
        hash(value)
    except TypeError:
        return False
    return True


cells = st.one_of(
    _one_of(CELLS),
    st.text(max_size=12),
    st.text(st.characters(codec=None, categories=None), max_size=8),
    st.integers(),
    st.floats(),
    st.recursive(
        _one_of(CELLS),
        lambda inner: (
            st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3)
        ),
        max_leaves=6,
    ),
)
"""A cell, a keyword, an argument: anything at all."""
names_of_keys = cells.filter(hashable)
"""What can be the key of a mapping."""

hostile_texts = st.one_of(st.sampled_from(TEXTS), st.text(max_size=20))


def spoilt(
    valid: st.SearchStrategy[Any], tokens: tuple[str, ...] = TEXTS
) -> st.SearchStrategy[Any]:
    """Texts or bytes of ``valid``, a few of their places deleted, repeated, cut, changed or filled with tokens."""
    steps = st.lists(
        st.tuples(
            st.sampled_from(("delete", "repeat", "token", "token", "bit", "cut", "swap", "long")),
            st.floats(0, 1),
            st.integers(1, 40),
            st.sampled_from(tokens),
        ),
        max_size=5,
    )
    return st.tuples(valid, steps).map(lambda made: _spoil(*made))


def _spoil(given: Any, steps: list[tuple[str, float, int, str]]) -> Any:
    for step, share, length, token in steps:
        at = int(share * len(given))
        part = given[at : at + length]
        put = token if isinstance(given, str) else token.encode(errors="surrogatepass")
        if step == "delete":
            given = given[:at] + given[at + length :]
        elif step == "repeat":
            given = given[:at] + part * (length % 7 + 2) + given[at:]
        elif step == "token":
            given = given[:at] + put + given[at:]
        elif step == "cut":
            given = given[:at]
        elif step == "swap":
            given = given[at:] + given[:at]
        elif step == "long" and length > 30:  # not often: what takes long shows in long texts alone
            given = given[:at] + (part or put) * (100_000 // len(part or put or "?")) + given[at:]
        elif step == "bit" and part:
            first = given[at]
            turned = (
                chr(ord(first) ^ 1 << length % 7)
                if isinstance(first, str)
                else bytes([first ^ 1 << length % 8])
            )
            given = given[:at] + turned + given[at + 1 :]
    return given


def mixed(
    names: st.SearchStrategy[str], values: st.SearchStrategy[Any]
) -> st.SearchStrategy[dict[str, Any]]:
    """Keywords: known names with values, hostile or not, now and then a name that nobody knows."""
    return st.dictionaries(names | hostile_texts.filter(str), values | cells, max_size=6)


DTYPES = (
    "object",
    "object",
    "object",
    "string",
    "category",
    "Int64",
    "Float64",
    "boolean",
    "float64",
    "datetime64[ns]",
)


@st.composite
def frames(draw: Any, names: tuple[str, ...], values: st.SearchStrategy[Any]) -> pd.DataFrame:
    """A frame of a few rows: columns of every type, headings twice, an index that is odd."""
    rows = draw(st.integers(0, 4))
    headings = draw(st.lists(st.sampled_from(names) | _one_of(CELLS).filter(hashable), max_size=6))
    made = []
    for _ in headings:
        column = pd.Series(
            draw(st.lists(values | cells, min_size=rows, max_size=rows)), dtype=object
        )
        try:
            column = column.astype(draw(st.sampled_from(DTYPES)))
        except Exception:  # such cells are none of that type: as they are
            column = column.astype(object)
        made.append(column)
    frame = pd.concat(made, axis=1) if made else pd.DataFrame(index=range(rows))
    frame.columns = pd.Index(headings, dtype=object)
    odd = draw(st.sampled_from(("plain", "same", "text", "none", "dates", "pairs")))
    if rows and odd != "plain":
        ways = {"same": [0] * rows, "text": ["<b>$"] * rows, "none": [None] * rows,
                "dates": pd.date_range("1960", periods=rows), "pairs": pd.MultiIndex.from_tuples([(0, "a")] * rows)}  # fmt: skip
        frame.index = ways[odd]
    return frame


def files(table: pd.DataFrame) -> dict[str, bytes]:
    """A table of text cells in every kind of file that is read."""
    records = table.to_dict("records")
    made = {
        "csv": table.to_csv(index=False).encode(),
        "json": json.dumps(records).encode(),
        "jsonl": "\n".join(map(json.dumps, records)).encode(),
        "utf-16": table.to_csv(index=False, sep=";").encode("utf-16"),
    }
    for kind, engine in (("xlsx", "openpyxl"), ("ods", "odf"), ("parquet", "pyarrow")):
        held = io.BytesIO()
        if kind == "parquet":
            table.to_parquet(held, engine=engine)
        else:
            table.to_excel(held, index=False, engine=engine)
        made[kind] = held.getvalue()
    return made
