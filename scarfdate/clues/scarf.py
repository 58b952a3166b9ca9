"""`Scarf`: what was seen on one piece, as a frozen value.

Nothing here weighs anything. A `Scarf` only holds which words and numbers a person wrote, each in the one
spelling in which it is kept; how they are read is each family's own (`scarfdate.clues.field`).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import suppress
from types import MappingProxyType
from typing import Any

from scarfdate.clues.field import Warnings
from scarfdate.clues.kinds import KEPT, Fields, fields_of, keywords
from scarfdate.errors import ScarfdateError, WordError, did_you_mean, shown
from scarfdate.reading.cells import Observed, is_blank, read_text
from scarfdate.reading.observation import Observation
from scarfdate.tables.priors import Priors, checked_priors

_LONGEST = {"id": 200, "note": 10_000}
_METHOD = "_method"


class Scarf:
    """What was seen on one scarf; everything that is not given was not looked at.

    Keywords are the clue families of the tables: a word (``fibre="silk"``), a parent word
    (``motif="floral"``), or weights over words that sum to one (``fibre={"silk": 0.8,
    "polyester": 0.2}``). Further:

    - ``width``, ``height`` with ``unit`` ("cm", "in"), or ``width_cm``, ``height_cm``, ``width_in``,
      ``height_in``, or ``size="90 x 90 cm"``; ``fringe``: "within" or "without" the measure;
    - ``stitches_per_inch`` (or ``stitches_per_cm``), ``momme`` (or ``grams_per_square_metre``);
    - ``depicted_year`` with ``depicted_announced`` (could the event be announced before?);
      ``printed_year`` (a © or date in the print); ``maker``;
    - ``acquired``: the year in which a museum got the piece, or a date, whose last year counts: it was
      made no later; ``known_from``, ``known_to``: years between which it is known to be made, or
      ``known="20th century"`` for both; they are hard bounds, unless ``known_by`` says how they are
      known ("estimated", "attributed", "museum-record" and so on: ``known_by.csv``);
    - ``label_text``: what is printed on the label, as `read_label` reads it. It fills ``label``,
      ``origin`` and ``fibre`` where these are not given, or say no more than it does ("synthetic"
      beside "100% polyester", or the same fibre with no method);
    - ``methods``: how each clue was looked at, such as ``{"fibre": "burn"}``;
    - ``id``, ``note``: kept, never weighed.

    ``priors``: the tables whose words are read, the shipped ones unless others are given. Dated with
    other tables than it was read with, a scarf is read again with those (`under`), and refused where
    they do not know a clue or a word of it. ``seen``: by family, what was seen; ``warnings``: what
    was odd in it.

    Raises ScarfdateError (or one of its kinds) naming the clue, the value and what is allowed.
    """

    __slots__ = ("_hash", "_names", "_read_with", "id", "note", "seen", "warnings")

    id: str
    note: str
    seen: Mapping[str, Observed]
    warnings: tuple[str, ...]
    _names: tuple[str, ...]
    _read_with: str
    _hash: int

    def __init__(self, *, priors: Priors | None = None, **seen: Any) -> None:
        self._fill(checked_priors(priors), seen, None)

    def _fill(self, known: Priors, seen: Mapping[str, Any], left: list[str] | None) -> None:
        """Read what was seen. What a cell says that is not understood goes into ``left``; without it, it is refused."""
        cells = {name: cell for name, cell in seen.items() if not is_blank(cell)}
        kept = {n: read_text(n, cells.pop(n), _LONGEST[n]) for n in KEPT if n in cells}
        cells = _with_methods(known, cells)
        fields = fields_of(known)
        for name in cells:
            if name not in fields.of_column:
                answer = known.question(name)
                hint = answer.says if answer else did_you_mean(name, keywords(known))
                raise WordError(
                    f"no clue {shown(name)} is known; {hint} (scarfdate words lists them)"
                )
        found, warnings = _read(fields, cells, left)
        self._set(
            kept.get("id", ""), kept.get("note", ""), found, warnings, fields.names, known.hash
        )

    def _set(
        self, id: str, note: str, seen: Mapping[str, Observed], warnings: tuple[str, ...],
        names: tuple[str, ...], read_with: str,
    ) -> None:  # fmt: skip
        values = MappingProxyType(dict(sorted(seen.items())))
        for name, value in (
            ("id", id), ("note", note), ("seen", values), ("warnings", tuple(warnings)),
            ("_names", names), ("_read_with", read_with),
            ("_hash", hash((tuple(values.items()), id, note))),
        ):  # fmt: skip
            object.__setattr__(self, name, value)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"a Scarf cannot be changed: make a new one with another {name}")

    __delattr__ = __setattr__  # type: ignore[assignment]

    def __getattr__(self, name: str) -> object:
        if name.startswith("_"):
            raise AttributeError(name)
        found = self._cells().get(name)
        if found is None and name not in self._names:
            raise AttributeError(f"a Scarf has no {name!r}")
        return found

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Scarf):
            return NotImplemented
        return (self.seen, self.id, self.note) == (other.seen, other.id, other.note)

    def __hash__(self) -> int:
        return self._hash

    def __repr__(self) -> str:
        return f"Scarf({', '.join(f'{n}={value!r}' for n, value in self.to_dict().items())})"

    def __reduce__(self) -> tuple[object, tuple[object, ...]]:
        state = (dict(self.seen), self.warnings, self._names, self._read_with)
        return (_as_it_was, (self.id, self.note, *state))

    @property
    def observations(self) -> Mapping[str, Observation]:
        """What was noted in words, by family."""
        return {name: one for name, one in self.seen.items() if isinstance(one, Observation)}

    def under(self, priors: Priors) -> Scarf:
        """The same, as these tables read it; itself where it was read with them.

        Raises ScarfdateError where they do not know a clue or a word of it.
        """
        if checked_priors(priors).hash == self._read_with:
            return self
        return Scarf.from_dict(self.to_dict(), priors=priors)

    def clues(self) -> Iterator[str]:
        """Names of the families that were looked at, in alphabetical order; sides are "size"."""
        return iter(self.seen)

    def _cells(self) -> dict[str, object]:
        cells: dict[str, object] = {}
        for name, seen in self.seen.items():
            cells |= seen.cells(name)
        return cells

    def to_dict(self) -> dict[str, object]:
        """Everything as plain values: ``Scarf.from_dict(scarf.to_dict()) == scarf``."""
        cells = self._cells()
        methods = {n.removesuffix(_METHOD): cells.pop(n) for n in [*cells] if n.endswith(_METHOD)}
        plain: dict[str, object] = {"id": self.id} if self.id else {}
        plain |= cells | ({"note": self.note} if self.note else {})
        return plain | ({"methods": methods} if methods else {})

    def to_row(self) -> dict[str, object]:
        """A flat row of a frame: weights as JSON text, methods as ``fibre_method`` and so on."""
        row = {"id": self.id} | self._cells() | {"note": self.note}
        return {
            name: json.dumps(value) if isinstance(value, dict) else value
            for name, value in row.items()
            if value != ""
        }

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
        except (ValueError, TypeError, RecursionError):
            raise ScarfdateError(f"not JSON: {shown(text)}") from None
        return cls.from_dict(values, priors=priors)

    @staticmethod
    def json_schema(priors: Priors | None = None) -> dict[str, object]:
        """A JSON Schema (draft 2020-12) of what `to_dict` gives and `from_dict` takes."""
        known = checked_priors(priors)
        properties: dict[str, object] = {}
        for field in fields_of(known):
            properties |= field.schema()
        properties |= {name: {"type": "string"} for name in KEPT}
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


def _as_it_was(id: str, note: str, *state: Any) -> Scarf:
    scarf = Scarf.__new__(Scarf)
    scarf._set(id, note, *state)
    return scarf


def partly_read(cells: Mapping[str, object], priors: Priors) -> tuple[Scarf, tuple[str, ...]]:
    """A scarf of cells by the names of `Scarf`, with what is understood of each, and what is not.

    Raises ScarfdateError for a cell of which nothing is understood, and for two that cannot both be.
    """
    scarf, left = Scarf.__new__(Scarf), list[str]()
    scarf._fill(priors, cells, left)
    return scarf, tuple(left)


def _read(
    fields: Fields, cells: dict[str, Any], left: list[str] | None
) -> tuple[dict[str, Observed], tuple[str, ...]]:
    """What was seen by family, and warnings: of plain words, or else of words as people write them."""
    try:
        return _read_plain(fields, dict(cells), {})
    except ScarfdateError:
        noted = _as_noted(fields, cells, left)
        return _read_plain(fields, cells, noted)


def _read_plain(
    fields: Fields, cells: dict[str, Any], noted: Mapping[str, tuple[Observed | None, Warnings]]
) -> tuple[dict[str, Observed], tuple[str, ...]]:
    """The same where all cells are plain but those that are ``noted``, by family; a family that tells of
    others fills their blank cells, and those that say no more than it does."""
    seen: dict[str, Observed] = {}
    warnings: list[str] = []
    given = {fields.of_column[name].name for name in cells}
    for field in fields.in_turn:
        if field.name not in given:
            continue
        if field.name in noted:
            found, odd = noted[field.name]
        else:
            found, odd = field.reads(*[cells.get(column) for column in field.columns])
        warnings += odd
        if found is None:
            continue
        seen[field.name] = found
        if not field.tells:
            continue
        for name, told in field.fills(found).items():
            taken = fields.by_name[name].takes(told, cells) if name in fields.by_name else {}
            cells |= taken
            if taken and name in noted:
                other = fields.by_name[name]
                again = other.as_noted(*[cells.get(column) for column in other.columns])
                noted = noted if again is None else {**noted, name: (again.value, again.odd)}
            given |= {name} & taken.keys()
    for field in fields.beside_others:
        if field.name in seen:
            warnings += field.beside(seen)
    return seen, tuple(warnings)


def _as_noted(
    fields: Fields, cells: dict[str, Any], left: list[str] | None
) -> dict[str, tuple[Observed | None, Warnings]]:
    """What the cells say that are no plain words; ``cells`` get what these say of other families.

    A part of a cell that is not understood goes into ``left``; without it ScarfdateError is raised.
    """
    noted: dict[str, tuple[Observed | None, Warnings]] = {}
    others: dict[str, object] = {}
    for name in dict.fromkeys(fields.of_column[column].name for column in cells):
        field = fields.by_name[name]
        own = [cells.get(column) for column in field.columns]
        try:
            field.reads(*own)
        except ScarfdateError:
            found = field.as_noted(*own)
            if found is None:
                raise
            if found.unread:
                why = field.told_unread(own, found.unread)
                if left is None:
                    raise WordError(why) from None
                left.append(why)
            noted[name] = found.value, found.odd
            others = {**found.others, **others}
    for name, cell in others.items():
        if name in fields.by_name and fields.by_name[name].says_nothing(cells.get(name)):
            cells[name] = cell
    return noted


def _with_methods(priors: Priors, cells: dict[str, Any]) -> dict[str, Any]:
    """The cells with ``methods={...}`` as ``fibre_method`` and so on."""
    given = cells.pop("methods", {})
    if isinstance(given, str):
        with suppress(ValueError, RecursionError):
            given = json.loads(given)
    if not isinstance(given, Mapping):
        raise ScarfdateError(
            f'methods: a mapping such as {{"fibre": "burn"}} is allowed, got {shown(given)}'
        )
    methods = {}
    for name, method in given.items():
        if not isinstance(name, str):
            raise ScarfdateError(f"methods: names of clues are allowed, got {shown(name)}")
        if name not in priors.confusion:
            hint = did_you_mean(name, list(priors.confusion))
            raise WordError(f"methods: {shown(name)} is not looked at; {hint}")
        methods[name + _METHOD] = None if is_blank(method) else method
    return methods | cells
