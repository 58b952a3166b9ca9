"""A folder of prices: what they say as a table for people, and all draws for the next appraisal.

``effects.csv``: every effect with its interval. ``prices.json``: what the book says as a whole. ``draws.npz``: the
draws, as arrays without any code in them.
"""

from __future__ import annotations

import io
import json
import math
import zipfile
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from scarfdate.conventions import Array
from scarfdate.errors import ScarfdateError, shown
from scarfdate.files import as_path, csv_bytes, read_at_most, safe_cell, write_folder
from scarfdate.formats import PRICES
from scarfdate.reading.package import unpacked_size
from scarfdate.worth.coefficients import Coefficients, Layout
from scarfdate.worth.price_parts import PriceParts
from scarfdate.worth.price_words import effects_frame
from scarfdate.worth.reference import Reference

_EFFECTS, _WHOLE, _DRAWS = "effects.csv", "prices.json", "draws.npz"
_PARTS = ("price", "days", "returns")
_DIGITS = 4
_LONGEST = 2**26  # bytes of a file


def save_prices(prices: PriceParts, folder: str | Path) -> None:
    """Write a new folder, whole or not at all. ScarfdateError where something of that name is there already."""
    write_folder(as_path(folder, "save"), contents(prices), new=True)


def contents(prices: PriceParts) -> dict[str, bytes]:
    """The files of a folder of prices, by name; the same prices give the same bytes."""
    effects = effects_frame(prices)
    rows = effects.round(_DIGITS).itertuples(index=False)
    cells = [[safe_cell(cell) for cell in row] for row in rows]
    whole: dict[str, Any] = {
        "version": PRICES.version,
        "invented": prices.invented,
        "notes": list(prices.notes),
        "reference": asdict(prices.reference),
        "names": {},
    }
    arrays: dict[str, Array] = {"counts": prices.counts}
    for part in _PARTS:
        of: Coefficients | None = getattr(prices, part)
        if of is None:
            continue
        whole["names"][part] = [list(name) for name in of.layout.names]
        arrays[f"{part}/draws"] = of.draws
        arrays |= {f"{part}/spread/{name}": values for name, values in of.spread.items()}
        arrays |= {f"{part}/shape/{name}": values for name, values in of.shape.items()}
    held = io.BytesIO()
    np.savez_compressed(held, allow_pickle=False, **{n: np.float32(a) for n, a in arrays.items()})
    text = json.dumps(whole, indent=1, ensure_ascii=False)
    return {
        _EFFECTS: csv_bytes([list(effects.columns), *cells]),
        _WHOLE: (text + "\n").encode("utf-8"),
        _DRAWS: held.getvalue(),
    }


def read_parts(folder: Path) -> dict[str, Any]:
    """What `Prices` is made of, from a folder. ScarfdateError where a file is missing or is none of prices."""
    try:
        whole = json.loads(read_at_most(folder / _WHOLE, _LONGEST))
        arrays = _arrays(read_at_most(folder / _DRAWS, _LONGEST))
        PRICES.checked(whole["version"], shown(str(folder)), "learn them again")
        found = {part: _coefficients(part, whole["names"], arrays) for part in _PARTS}
        reference = whole["reference"]
        tuples = {name: tuple(v) for name, v in reference.items() if isinstance(v, list)}
        return {
            **found,
            "counts": arrays["counts"],
            "reference": Reference(**{**reference, **tuples}),
            "invented": bool(whole["invented"]),
            "notes": tuple(whole["notes"]),
        }
    except FileNotFoundError as error:
        name = Path(str(error.filename)).name
        raise ScarfdateError(
            f"{shown(str(folder))} is no folder of prices: {name} is missing; write one with Prices.save"
        ) from None
    except ScarfdateError:
        raise
    except Exception as error:  # a broken archive fails in many ways
        raise ScarfdateError(
            f"{shown(str(folder))} cannot be read as prices ({shown(str(error))}); learn them again"
        ) from None


def _arrays(content: bytes) -> dict[str, Array]:
    """Arrays by name, as large as what is there, whatever their heads say. Raises ValueError for any other file."""
    unpacked_size(content, _DRAWS)
    arrays = {}
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        for name in packed.namelist():
            held = packed.read(name)
            head = io.BytesIO(held)
            if np.lib.format.read_magic(head) != (1, 0):
                raise ValueError("arrays of another version")
            shape, in_columns, kind = np.lib.format.read_array_header_1_0(head)
            flat = np.frombuffer(held, kind, math.prod(shape), head.tell())
            array = flat.reshape(shape, order="F" if in_columns else "C")
            arrays[name.removesuffix(".npy")] = np.asarray(array, np.float64)
    return arrays


def _coefficients(
    part: str, names: Mapping[str, Any], arrays: Mapping[str, Array]
) -> Coefficients | None:
    if part not in names:
        return None

    def of(kind: str) -> dict[str, Array]:
        start = f"{part}/{kind}/"
        return {n.removeprefix(start): a for n, a in arrays.items() if n.startswith(start)}

    layout = Layout(tuple((str(group), str(level)) for group, level in names[part]))
    draws = arrays[f"{part}/draws"]
    if draws.ndim != 2 or draws.shape[1] != len(layout):
        raise ValueError(f"{part} has {len(layout)} names and {draws.shape} draws")
    return Coefficients(layout=layout, draws=draws, spread=of("spread"), shape=of("shape"))
