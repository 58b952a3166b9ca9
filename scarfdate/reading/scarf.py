"""`Scarf`: what was seen on one piece, as a frozen value.

Nothing here weighs anything. A `Scarf` only knows which words and numbers a person wrote, that they
make sense, and the one spelling in which each is kept.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from contextlib import suppress
from types import MappingProxyType
from typing import Any

from scarfdate.conventions import METHOD
from scarfdate.errors import RangeError, ScarfdateError, WordError, did_you_mean, shown
from scarfdate.reading.cells import (
    LABEL_AGAINST_MAKE,
    LABEL_AGAINST_TEXT,
    Observation,
    checked_range,
    is_blank,
    read_method,
    read_number,
    read_observation,
    read_side,
    read_year,
    read_yes,
)
from scarfdate.reading.label import Label, read_label
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.words import units

DERIVED = ("long_side", "slenderness")  # measured families worked out from the two sides
SIDES = ("width_cm", "height_cm", "width_in", "height_in", "width", "height", "size")
_LONGEST_NOTE = 10_000
_LONGEST_NAME = 200
_LONGEST_LABEL = 10_000
LABEL_METHOD = "label"  # how a fibre was looked at that the label names


class Scarf:
    """What was seen on one scarf; everything that is not given was not looked at.

    Keywords are the clue families of the vocabulary: a word (``fibre="silk"``), a parent word
    (``motif="floral"``), or weights over words that sum to one (``fibre={"silk": 0.8,
    "polyester": 0.2}``). Further:

    - ``width``, ``height`` with ``unit`` ("cm", "in"), or ``width_cm``, ``height_cm``, ``width_in``,
      ``height_in``, or ``size="90 x 90 cm"``; ``fringe``: "within" or "without" the measure;
    - ``stitches_per_inch`` (or ``stitches_per_cm``), ``momme`` (or ``grams_per_square_metre``);
    - ``depicted_year`` with ``depicted_announced`` (could the event be announced before?);
      ``printed_year`` (a © or date in the print); ``maker``;
    - ``label_text``: what is printed on the label, as `read_label` reads it. It fills ``label``,
      ``origin`` and ``fibre`` where these are not given;
    - ``methods``: how each clue was looked at, such as ``{"fibre": "burn"}``;
    - ``id``, ``note``: kept, never weighed.

    Raises ScarfdateError (or one of its kinds) naming the clue, the value and what is allowed.
    """

    __slots__ = (
        "_hash",
        "announced",
        "fringe",
        "id",
        "label_text",
        "maker",
        "note",
        "numbers",
        "observations",
        "warnings",
    )

    observations: Mapping[str, Observation]
    numbers: Mapping[str, float]
    announced: bool | None
    fringe: str
    maker: str
    label_text: str
    id: str
    note: str
    warnings: tuple[str, ...]
    _hash: int

    def __init__(self, *, priors: Priors | None = None, **seen: Any) -> None:
        known = priors or load_priors()
        seen = {name: value for name, value in seen.items() if not is_blank(value)}
        warnings: list[str] = []
        fields: dict[str, Any] = {
            "id": _text("id", seen.pop("id", ""), _LONGEST_NAME),
            "note": _text("note", seen.pop("note", ""), _LONGEST_NOTE),
            "maker": _text("maker", seen.pop("maker", ""), _LONGEST_NAME),
            "label_text": label_text(seen.pop("label_text", "")),
            "fringe": _fringe(known, seen.pop("fringe", None)),
            "announced": read_yes("depicted_announced", seen.pop("depicted_announced", None)),
        }
        methods = _methods(seen.pop("methods", {}), seen)
        label = read_label(fields["label_text"], priors=known) if fields["label_text"] else None
        if label is not None:
            fill_from_label(known, label, seen, methods)
        numbers = _sides(seen)
        observations: dict[str, Observation] = {}
        _other_units(seen)
        for name, value in seen.items():
            family = known.families.get(name)
            if family is None or name in DERIVED:
                raise WordError(
                    f"no clue {shown(name)} is known; {did_you_mean(name, keywords(known))}"
                )
            if family.kind == "shares":
                found = read_observation(known, name, value, methods.pop(name, None))
                if found is not None:
                    observations[name] = found
            elif family.kind == "dated":
                year = read_year(family, value)
                if year is not None:
                    numbers[name] = float(year)
            else:
                number = read_number(name, value)
                if number is not None:
                    numbers[name] = number
        for name, method in methods.items():
            if name not in known.confusion:
                raise WordError(
                    f"methods: {shown(name)} is not looked at; {did_you_mean(name, list(known.confusion))}"
                )
            read_method(known, name, method)  # refused here too, though nothing was seen
        _check_label(observations)
        if label is not None:
            warnings += checked_label(label, {n: o.word for n, o in observations.items()})
        fields["observations"] = MappingProxyType(dict(sorted(observations.items())))
        fields["numbers"] = MappingProxyType(dict(sorted(numbers.items())))
        for name, value in fields.items():
            object.__setattr__(self, name, value)
        for name, measured in measurements(self, known, warnings).items():
            warning = checked_range(known.families[name], measured)
            if warning:
                warnings.append(warning)
        if self.announced is not None and "depicted_year" not in numbers:
            warnings.append("depicted_announced says nothing without depicted_year")
        object.__setattr__(self, "warnings", tuple(warnings))
        object.__setattr__(self, "_hash", hash(self._key()))

    def _key(self) -> tuple[object, ...]:
        return (
            tuple(self.observations.items()), tuple(self.numbers.items()), self.announced,
            self.fringe, self.maker, self.label_text, self.id, self.note,
        )  # fmt: skip

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"a Scarf cannot be changed: make a new one with another {name}")

    __delattr__ = __setattr__  # type: ignore[assignment]

    def __getattr__(self, name: str) -> object:
        if name.startswith("_"):
            raise AttributeError(name)
        if name in self.observations:
            seen = self.observations[name]
            return seen.word if seen.word is not None else dict(seen.terms)
        if name in self.numbers:
            return self.numbers[name]
        if name in load_priors().families or name in ("width_cm", "height_cm"):
            return None
        raise AttributeError(f"a Scarf has no {name!r}")

    def __eq__(self, other: object) -> bool:
        return self._key() == other._key() if isinstance(other, Scarf) else NotImplemented

    def __hash__(self) -> int:
        return self._hash

    def __repr__(self) -> str:
        return (
            "Scarf("
            + ", ".join(f"{name}={value!r}" for name, value in self.to_dict().items())
            + ")"
        )

    def __reduce__(self) -> tuple[object, tuple[dict[str, object]]]:
        return (Scarf.from_dict, (self.to_dict(),))

    def clues(self) -> Iterator[str]:
        """Names of what was looked at, in alphabetical order."""
        names = {*self.observations, *self.numbers} | ({"maker"} if self.maker else set())
        names |= {"label_text"} if self.label_text else set()
        return iter(sorted(names))

    def to_dict(self) -> dict[str, object]:
        """Everything as plain values: ``Scarf.from_dict(scarf.to_dict()) == scarf``."""
        plain: dict[str, object] = {name: getattr(self, name) for name in ("id",) if self.id}
        for name, seen in self.observations.items():
            plain[name] = seen.word if seen.word is not None else dict(seen.terms)
        plain |= {
            name: (int(v) if name.endswith("_year") else v) for name, v in self.numbers.items()
        }
        if self.announced is not None:
            plain["depicted_announced"] = self.announced
        plain |= {
            name: getattr(self, name)
            for name in ("fringe", "maker", "label_text", "note")
            if getattr(self, name)
        }
        methods = {
            name: seen.method for name, seen in self.observations.items() if seen.method != METHOD
        }
        return plain | ({"methods": methods} if methods else {})

    def to_row(self) -> dict[str, object]:
        """A flat row of a frame: weights as JSON text, methods as ``fibre_method`` and so on."""
        row: dict[str, object] = {}
        for name, value in self.to_dict().items():
            if name == "methods" and isinstance(value, dict):
                row |= {f"{family}_method": method for family, method in value.items()}
            else:
                row[name] = json.dumps(value) if isinstance(value, dict) else value
        return row

    def to_json(self) -> str:
        """JSON text of `to_dict`."""
        return json.dumps(self.to_dict(), ensure_ascii=False)

    @classmethod
    def from_dict(cls, values: Mapping[str, object], *, priors: Priors | None = None) -> Scarf:
        """From `to_dict`, `to_row`, or any mapping with the names of a frame's columns."""
        if not isinstance(values, Mapping) or not all(isinstance(name, str) for name in values):
            raise ScarfdateError(f"a Scarf is made from names and values, got {shown(values)}")
        if "priors" in values or "self" in values:  # names of the constructor's own
            raise WordError("no clue 'priors' or 'self' is known; take the column out")
        return cls(priors=priors, **values)

    @classmethod
    def from_json(cls, text: str, *, priors: Priors | None = None) -> Scarf:
        """From the text of `to_json`."""
        try:
            values = json.loads(text)
        except (ValueError, RecursionError):
            raise ScarfdateError(f"not JSON: {shown(text)}") from None
        return cls.from_dict(values, priors=priors)

    @staticmethod
    def json_schema(priors: Priors | None = None) -> dict[str, object]:
        """A JSON Schema (draft 2020-12) of what `to_dict` gives and `from_dict` takes."""
        known = priors or load_priors()
        weight = {"type": "number", "minimum": 0}
        properties: dict[str, object] = {}
        for name, family in known.families.items():
            if family.kind == "shares":
                words = [*known.vocabulary.values[name], *known.vocabulary.parents[name]]
                several = {"type": "object", "additionalProperties": weight, "minProperties": 1}
                properties[name] = {"anyOf": [{"type": "string", "examples": words}, several]}
            elif family.kind == "measured" and name not in DERIVED:
                properties[name] = {"type": "number", "minimum": family.low, "maximum": family.high}
            elif family.kind == "dated":
                limits = {"minimum": int(family.low), "maximum": int(family.high)}
                properties[name] = {"type": "integer", **limits}
        for name in ("width_cm", "height_cm"):
            properties[name] = {"type": "number", "exclusiveMinimum": 0}
        for name in ("maker", "label_text", "id", "note"):
            properties[name] = {"type": "string"}
        properties["fringe"] = {"enum": list(known.vocabulary.values["fringe"])}
        properties["depicted_announced"] = {"type": "boolean"}
        properties["methods"] = {
            "type": "object",
            "additionalProperties": {"enum": list(known.vocabulary.values["method"])},
        }
        return {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": "Scarf",
            "type": "object",
            "properties": properties,
            "additionalProperties": False,
        }


def label_text(value: object) -> str:
    """The text of a label; ScarfdateError where it is no text, or longer than any label."""
    return _text("label_text", value, _LONGEST_LABEL)


def fill_from_label(
    priors: Priors, label: Label, seen: dict[str, Any], methods: dict[str, object]
) -> None:
    """Put in what the label tells of clues that are not given."""
    for name, word in label.clues_given().items():
        cell = seen.get(name)
        if is_blank(cell) or priors.vocabulary.says_nothing(name, cell):
            seen[name] = word
            if name in label.clues and name == "fibre":
                methods[name] = LABEL_METHOD


def checked_label(label: Label, noted: Mapping[str, str | None]) -> list[str]:
    """Warnings of a label beside the other clues; ScarfdateError where there is said to be none."""
    if noted.get("label") == "none-seen":
        raise ScarfdateError(LABEL_AGAINST_TEXT)
    return label.against(noted)


def keywords(priors: Priors) -> list[str]:
    """Every name a `Scarf` takes."""
    families = [name for name in priors.families if name not in DERIVED]
    return [
        *families, *SIDES, "unit", "fringe", "depicted_announced", "stitches_per_cm",
        "grams_per_square_metre", "methods", "id", "note",
    ]  # fmt: skip


def measurements(scarf: Scarf, priors: Priors, warnings: list[str]) -> dict[str, float]:
    """The measured clues of a scarf, with the long side and the slenderness from the two sides."""
    found = {
        n: v
        for n, v in scarf.numbers.items()
        if priors.families.get(n, None) and priors.families[n].kind == "measured"
    }
    width, height = scarf.numbers.get("width_cm"), scarf.numbers.get("height_cm")
    sides = [side for side in (width, height) if side is not None]
    form = scarf.observations.get("form")
    found |= derived_sides(sides, scarf.fringe, form.word if form else None, priors, warnings)
    return found


def derived_sides(
    sides: list[float], fringe: str, form: str | None, priors: Priors, warnings: list[str]
) -> dict[str, float]:
    """Long side (cm, without the fringe) and slenderness from one or two sides in cm."""
    if not sides:
        return {}
    long, short = max(sides), min(sides)
    if fringe == "within":
        allowance = priors.allowances["fringe_on_long_side"]
        warnings.append(
            f"the size is with the fringe: about {allowance:g} cm were taken off the long side"
        )
        long = max(long - allowance, short) if len(sides) == 2 else max(long - allowance, long / 2)
    if len(sides) == 1:
        warnings.append("only one side is given: it is read as the longer one")
        return {"long_side": long}
    if form == "square" and long / short > priors.allowances["shape_agreement"]:
        warnings.append(f"called square, but its sides are {short:.4g} and {long:.4g} cm")
    checked_range(priors.families["long_side"], short)
    return {"long_side": long, "slenderness": long / short}


def side_numbers(
    priors: Priors, given: Mapping[str, object], form: str | None, warnings: list[str]
) -> dict[str, float]:
    """`derived_sides` from the cells of a row: any of `SIDES`, with unit and fringe."""
    cells = dict(given)
    fringe = _fringe(priors, cells.pop("fringe", None))
    return derived_sides(list(_sides(cells).values()), fringe, form, priors, warnings)


def _text(name: str, value: object, longest: int) -> str:
    text = (
        value if isinstance(value, str) else str(value) if isinstance(value, (int, float)) else None
    )
    if text is None or len(text) > longest:
        raise ScarfdateError(
            f"{name}: text of at most {longest} characters is allowed, got {shown(value)}"
        )
    return text.strip()


def _fringe(priors: Priors, value: object) -> str:
    if is_blank(value):
        return ""
    if not isinstance(value, str):
        raise ScarfdateError(f"fringe: 'within' or 'without' is allowed, got {shown(value)}")
    return priors.vocabulary.canonical("fringe", value)


def _methods(given: object, seen: dict[str, Any]) -> dict[str, object]:
    """Methods from ``methods={...}`` and from ``fibre_method`` columns; the latter leave ``seen``."""
    if isinstance(given, str):
        with suppress(ValueError, RecursionError):
            given = json.loads(given)
    if not isinstance(given, Mapping):
        raise ScarfdateError(
            f'methods: a mapping such as {{"fibre": "burn"}} is allowed, got {shown(given)}'
        )
    methods = dict(given)
    for name in methods:
        if not isinstance(name, str):
            raise ScarfdateError(f"methods: names of clues are allowed, got {shown(name)}")
    for name in [name for name in seen if name.endswith("_method")]:
        methods[name.removesuffix("_method")] = seen.pop(name)
    return methods


def _sides(seen: dict[str, Any]) -> dict[str, float]:
    """Width and height in cm from any of the ways to give them; refuses two ways at once."""
    unit = seen.pop("unit", None)
    if unit is not None and not isinstance(unit, str):
        raise RangeError(f"unit: 'cm' or 'in' is allowed, got {shown(unit)}")
    numbers: dict[str, float] = {}
    used: dict[str, str] = {}
    if "size" in seen:
        text = seen.pop("size")
        used |= {"width": "size", "height": "size"}
        try:
            numbers["width_cm"], numbers["height_cm"] = units.read_size(text, unit)
        except ScarfdateError as error:
            raise RangeError(f"size: {error}") from None
    for name in ("width", "height", "width_cm", "height_cm", "width_in", "height_in"):
        if name not in seen:
            continue
        side, _, ending = name.partition("_")
        value = read_side(name, seen.pop(name), ending or unit)
        if value is None:
            continue
        if side in used:
            raise RangeError(
                f"{name}: the {side} is given twice, as {used[side]} and as {name}; give it once"
            )
        used[side] = name
        numbers[f"{side}_cm"] = value
    return {name: value for name, value in numbers.items() if math.isfinite(value)}


def _other_units(seen: dict[str, Any]) -> None:
    """Per centimetre and grams per square metre become the trade's units."""
    for other, name, convert, unit in (
        ("stitches_per_cm", "stitches_per_inch", units.per_inch, "cm"),
        ("grams_per_square_metre", "momme", units.momme, "g/m²"),
    ):
        number = read_number(other, seen.pop(other, None))
        if number is None:
            continue
        if name in seen:
            raise RangeError(f"{other}: {name} is given too; give it once")
        try:
            seen[name] = convert(number, unit)
        except ScarfdateError as error:
            raise RangeError(f"{other}: {error}") from None


def _check_label(observations: Mapping[str, Observation]) -> None:
    label, make = observations.get("label"), observations.get("label_make")
    if label is not None and make is not None and label.word == "none-seen":
        raise ScarfdateError(LABEL_AGAINST_MAKE)
