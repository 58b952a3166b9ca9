"""A folder of prices: what they say as a table for people, and all draws for the next appraisal.

``effects.csv``: every effect with its interval. ``prices.json``: what the book says as a whole. ``draws.npz``: the
draws, as arrays without any code in them.
"""

from __future__ import annotations

import io
import json
import math
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from scarfdate.conventions import Array
from scarfdate.errors import ScarfdateError, shown
from scarfdate.files import as_path, csv_bytes, read_at_most, safe_cell, write_folder
from scarfdate.formats import PRICES
from scarfdate.reading.money import is_code
from scarfdate.reading.package import unpacked_size
from scarfdate.worth.coefficients import ASKED, Coefficients, Layout
from scarfdate.worth.laws import LEAST_NU
from scarfdate.worth.price_parts import PriceParts
from scarfdate.worth.price_words import effects_frame
from scarfdate.worth.reference import Reference

_EFFECTS, _WHOLE, _DRAWS = "effects.csv", "prices.json", "draws.npz"
_PARTS = ("price", "days", "returns")
_DIGITS = 4
_LONGEST = 2**26  # bytes of a file
# wider than any book gives, and narrow enough that no exponential of a sum of such leaves the numbers of a machine
_MOST_LOG, _MOST_SCALE, _MOST_SALES = 25.0, 5.0, 10**9
_MOST_REACH = 600.0
_SHAPES: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "price": {"sigma": (1e-6, _MOST_SCALE), "nu": (LEAST_NU, math.inf)},
    "days": {"shape": (0.1, 1e3)},
    "returns": {},
}


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
    """What `Prices` is made of, from a folder. ScarfdateError where a file is missing or is none of prices, or holds
    what no prices can be: a number that is not finite or that no sum of such bears, another type, draws that do not fit.
    """
    try:
        whole = json.loads(read_at_most(folder / _WHOLE, _LONGEST))
        _check(isinstance(whole, dict), _WHOLE, "names and values are wanted", whole)
        arrays = _arrays(read_at_most(folder / _DRAWS, _LONGEST))
        PRICES.checked(whole["version"], shown(str(folder)), "learn them again")
        _check(
            isinstance(whole["names"], dict), f"{_WHOLE}, names", "parts are wanted", whole["names"]
        )
        found = {part: _coefficients(part, whole["names"], arrays) for part in _PARTS}
        price, counts = found["price"], arrays["counts"]
        reach = 1.0  # of a log price, which the days to sell go by
        for part, of in found.items():
            here = 0.0 if of is None else _reach(of, reach)
            wanted = f"effects that add up to {_MOST_REACH:g} at most are wanted"
            _check(here <= _MOST_REACH, f"{_DRAWS}, {part}/draws", wanted, f"{here:.0f}")
            reach = max(reach, here)
        _check(price is not None, f"{_WHOLE}, names", "price is missing", list(whole["names"]))
        fits = price is not None and counts.shape in ((0,), (len(price.layout),))
        _check(fits, f"{_DRAWS}, counts", "one for each name of price is wanted", counts.shape)
        _check_numbers("counts", counts, 0, _MOST_SALES)
        _check(
            isinstance(whole["invented"], bool),
            f"{_WHOLE}, invented",
            "true or false is wanted",
            whole["invented"],
        )
        _check(_all(str)(whole["notes"]), f"{_WHOLE}, notes", "texts are wanted", whole["notes"])
        return {
            **found,
            "counts": counts,
            "reference": _reference(whole["reference"]),
            "invented": whole["invented"],
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
        own = isinstance(error, _Wrong)
        reason = f"without {error}" if isinstance(error, KeyError) else str(error)
        raise ScarfdateError(
            f"{shown(str(folder))} cannot be read as prices ({reason if own else shown(reason)}); learn them again"
        ) from None


class _Wrong(ValueError):
    """What is wrong in words of our own, which need no shortening."""


def _check(holds: object, where: str, wanted: str, got: object) -> None:
    if not holds:
        raise _Wrong(f"{where}: {wanted}, got {shown(got)}")


def _reach(of: Coefficients, price: float) -> float:
    """How far the effects of one piece can add up; ``price``: that of a log price."""
    widest = {g: float(np.abs(of.draws[:, of.layout.places(g)]).max()) for g in of.layout.groups}
    return sum(size * (price if group == ASKED else 1) for group, size in widest.items())


def _check_numbers(name: str, array: Array, low: float, high: float) -> None:
    wrong = array[~((array >= low) & (array <= high))]
    if wrong.size:
        raise _Wrong(f"{_DRAWS}, {name}: {low:g} to {high:g} is allowed, got {wrong[0]:g}")


def _number(low: float, high: float, kind: type = float) -> Callable[[object], bool]:
    kinds = (int,) if kind is int else (int, float)
    return lambda v: isinstance(v, kinds) and not isinstance(v, bool) and low <= v <= high


def _all(one: type | Callable[[object], bool], *, least: int = 0) -> Callable[[object], bool]:
    """Whether a value is a list of such."""
    test = (lambda v: isinstance(v, one)) if isinstance(one, type) else one
    return lambda some: isinstance(some, list) and len(some) >= least and all(map(test, some))


def _shares(value: object) -> bool:
    return isinstance(value, dict) and all(map(_number(0, 1), value.values()))


_LOG = _number(-_MOST_LOG, _MOST_LOG)
# of each field of `Reference`: what is allowed, in words, and whether a value is that
_FIELDS: Mapping[str, tuple[str, Callable[[Any], bool]]] = {
    "currency": ("an ISO 4217 code, or no text", lambda v: v == "" or (isinstance(v, str) and is_code(v))),
    "n_sold": ("a count", _number(0, _MOST_SALES, int)),
    "n_unsold": ("a count", _number(0, _MOST_SALES, int)),
    "area": ("a logarithm and its deviation", lambda v: _all(_LOG)(v) and len(v) == 2 and v[1] >= 0),
    "kept": ("logarithms of shares, one at least", _all(_number(-_MOST_LOG, 0), least=1)),
    "loss_spread": (f"0 to {_MOST_SCALE:g}", _number(0, _MOST_SCALE)),
    "channels": ("shares by name", _shares),
    "seasons": ("shares by name", _shares),
    "year": ("a text", lambda v: isinstance(v, str)),
    "log_index": ("a logarithm, or null", lambda v: v is None or _LOG(v)),
    "largest_residual": (f"above 0, {_MOST_LOG:g} at most", lambda v: _number(0, _MOST_LOG)(v) and v > 0),
    "paid_of_asked": ("above 0, 1000 at most", lambda v: _number(0, 1e3)(v) and v > 0),
    "uncertainty": ("three variances, or none", lambda v: _all(_number(0, _MOST_LOG**2))(v) and len(v) in (0, 3)),
}  # fmt: skip


# what folders written before a field was there say by leaving it out
_LATER: Mapping[str, Any] = {"paid_of_asked": 1.0}


def _reference(told: Any) -> Reference:
    place = f"{_WHOLE}, reference"
    _check(isinstance(told, dict), place, "names and values are wanted", told)
    told = {**_LATER, **told}
    _check(set(told) == set(_FIELDS), place, f"{', '.join(_FIELDS)} are wanted", list(told))
    for name, value in told.items():
        wanted, allowed = _FIELDS[name]
        _check(allowed(value), f"{place}, {name}", f"{wanted} is allowed", value)
    values: dict[str, Any] = {n: tuple(v) if isinstance(v, list) else v for n, v in told.items()}
    return Reference(**values)


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
            if kind.kind not in "fiu":
                raise _Wrong(f"{_DRAWS}, {shown(name)}: numbers are wanted, got {kind}")
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

    place = f"{_WHOLE}, names, {part}"
    pairs = all(_all(str)(one) and len(one) == 2 for one in names[part])
    _check(pairs, place, "pairs of a group and a level are wanted", names[part])
    layout = Layout(tuple((group, level) for group, level in names[part]))
    _check(len(layout.place) == len(layout), place, "each name once is wanted", names[part])
    draws, spread, shape = arrays[f"{part}/draws"], of("spread"), of("shape")
    if draws.ndim != 2 or not len(draws) or draws.shape[1] != len(layout):
        raise _Wrong(f"{_DRAWS}, {part} has {len(layout)} names and {draws.shape} draws")
    _check(
        set(shape) == set(_SHAPES[part]), f"{_DRAWS}, {part}/shape", "another law", sorted(shape)
    )
    _check_numbers(f"{part}/draws", draws, -_MOST_LOG, _MOST_LOG)
    bounds = {f"{part}/spread/{name}": (v, 0.0, _MOST_LOG) for name, v in spread.items()}
    bounds |= {f"{part}/shape/{name}": (v, *_SHAPES[part][name]) for name, v in shape.items()}
    for name, (values, low, high) in bounds.items():
        one_each = values.shape == (len(draws),)
        _check(one_each, f"{_DRAWS}, {name}", f"{len(draws)} numbers are wanted", values.shape)
        _check_numbers(name, values, low, high)
    return Coefficients(layout=layout, draws=draws, spread=spread, shape=shape)
