"""A folder of prices: what they say as a table for people, and all draws for the next appraisal.

``effects.csv``: every effect with its interval. ``prices.json``: what the book says as a whole. ``draws.npz``: the
draws, as arrays without any code in them.
"""

from __future__ import annotations

import io
import json
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from scarfdate.conventions import Array
from scarfdate.errors import ScarfdateError, shown
from scarfdate.files import as_path, csv_bytes, safe_cell, write_whole
from scarfdate.worth.coefficients import Coefficients, Layout
from scarfdate.worth.price_parts import PriceParts
from scarfdate.worth.price_words import effects_frame
from scarfdate.worth.reference import Reference

_EFFECTS, _WHOLE, _DRAWS = "effects.csv", "prices.json", "draws.npz"
_PARTS = ("price", "days", "returns")
_VERSION = 1
_DIGITS = 4


def save_prices(prices: PriceParts, folder: str | Path) -> None:
    """Write a new folder, whole or not at all. ScarfdateError where something of that name is there already."""
    place = as_path(folder, "save")
    if place.exists() or place.is_symlink():
        raise ScarfdateError(f"save: {shown(str(folder))} is there already; choose a new name")
    if not place.parent.is_dir():
        raise ScarfdateError(f"save: there is no folder {shown(str(place.parent))} to write it in")
    beside = Path(tempfile.mkdtemp(prefix=f".{place.name}.", dir=place.parent))
    try:
        for name, content in contents(prices).items():
            write_whole(beside / name, content)
        beside.chmod(0o755)
        beside.rename(place)
    except BaseException:
        shutil.rmtree(beside, ignore_errors=True)
        raise


def contents(prices: PriceParts) -> dict[str, bytes]:
    """The files of a folder of prices, by name; the same prices give the same bytes."""
    effects = effects_frame(prices)
    rows = effects.round(_DIGITS).itertuples(index=False)
    cells = [[safe_cell(cell) for cell in row] for row in rows]
    whole: dict[str, Any] = {
        "version": _VERSION,
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
        whole = json.loads((folder / _WHOLE).read_bytes())
        with np.load(folder / _DRAWS, allow_pickle=False) as held:
            arrays = {name: np.asarray(held[name], np.float64) for name in held.files}
        if whole["version"] != _VERSION:
            raise ScarfdateError(
                f"{shown(str(folder))} holds prices of another version; learn them again"
            )
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
