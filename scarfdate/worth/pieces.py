"""Pieces as prices see them: the decade and grade by the exact dating, what was noted, size, condition, maker.

A price does not date a piece: the chances of the decade and grade are those of the dating alone, and so are
those of a fibre, hem or form that nobody noted, given the decade and grade.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.evidence import encode
from scarfdate.answer.one_scarf import as_scarf
from scarfdate.clues.measured_keys import Key
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares import SharesClue
from scarfdate.clues.sides import LONG_SIDE, SLENDERNESS
from scarfdate.conventions import CHANNEL, FIRST_YEAR, GRADES, Array
from scarfdate.errors import RangeError, shown
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.model.posterior import posterior
from scarfdate.reading.cells import as_typed, is_blank
from scarfdate.reading.frames import as_pandas
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.tables.words import plain
from scarfdate.words.units import checked_unit

if TYPE_CHECKING:
    import pandas as pd

VALUED = ("fibre", "hem", "form")  # the families of shares that a price depends on
_DECADE = 10
_MAKER, _ID = "maker", "id"


class Kept(Protocol):
    """A condition, as far as a price asks: `scarfdate.Condition`."""

    @property
    def log_kept(self) -> float:
        """The natural logarithm of the share of a faultless piece's price that is kept; at most 0."""
        ...

    @property
    def log_sd(self) -> float:
        """The standard deviation of that logarithm."""
        ...


@dataclass(frozen=True, eq=False)
class Value:
    """The true value of one family of n pieces: what it is, not what was noted of it.

    ``words`` (values,); ``chances`` (n, cells, values): P(value | decade and grade, all that was noted). Noted by a
    label it is nearly certain, by feel less so, and what nobody noted is as the decade and grade have it.
    """

    words: tuple[str, ...]
    chances: Array

    def take(self, places: NDArray[np.intp]) -> Value:
        """Those of some pieces."""
        return Value(self.words, self.chances[places])


@dataclass(frozen=True, eq=False, kw_only=True)
class Pieces:
    """n pieces. A cell is a decade and a grade: ``decade * len(GRADES) + grade``.

    ``ids`` (n,), "" where there is none; ``decades`` (decades,) their first years, the first of which stands for
    all before it too; ``cells`` (n, cells), P(decade, grade | all that was noted), rows sum to one; ``values``:
    by family (fibre, hem, form) its `Value`; ``log_area`` (n,) of square centimetres, NaN where not measured;
    ``log_kept``, ``log_kept_sd`` (n,): of the condition, NaN where nobody looked at it; ``maker`` (n,) as
    compared (lower case), "" where none was noted; ``not_read``: of a frame, by row what could not be read.
    """

    ids: tuple[str, ...]
    decades: NDArray[np.int64]
    cells: Array
    values: Mapping[str, Value]
    log_area: Array
    log_kept: Array
    log_kept_sd: Array
    maker: tuple[str, ...]
    not_read: Mapping[int, tuple[str, ...]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.ids)

    @classmethod
    def of(
        cls,
        pieces: Any,
        conditions: Sequence[Kept | None] | Kept | None = None,
        priors: Priors | None = None,
        *,
        channel: str = CHANNEL,
        as_of: int | None = None,
        unit: str | None = None,
    ) -> Pieces:
        """``pieces``: a `Scarf` or a mapping, a list of such, or a frame as `date_table` takes it.

        ``conditions``: one a piece, None where nobody looked. ``channel``: where the pieces turned up.
        ``unit``: of sizes of a frame that state none. In a frame what cannot be read is left out, as in `date_table`. Raises ScarfdateError for a scarf that
        cannot be read, RangeError where there are no pieces, or not as many conditions as pieces.
        """
        known = checked_priors(priors)
        model = compiled(known, channel, as_of)
        not_read: Mapping[int, tuple[str, ...]] = {}
        if isinstance(pieces, (Scarf, Mapping)):
            pieces = [pieces]
            conditions = [cast("Kept | None", conditions)] if not _many(conditions) else conditions
        if isinstance(pieces, (list, tuple)):
            scarves = [as_scarf(one, known) for one in pieces]
            codes = [encode(model, scarf)[0] for scarf in scarves]
            ids = tuple(scarf.id for scarf in scarves)
            named = [scarf.seen.get(_MAKER) for scarf in scarves]
            maker = tuple("" if one is None else plain(cast(Any, one).name) for one in named)
            read = np.concatenate(codes) if codes else np.empty((0, len(model.clues)), np.int32)
        else:
            read, ids, maker, not_read = _of_frame(model, as_pandas(pieces), unit)
        if not ids:
            raise RangeError("pieces: there are none; give at least one")
        each = list(cast("Sequence[Kept | None]", conditions)) if _many(conditions) else None
        if each is None:
            each = [cast("Kept | None", conditions)] * len(ids)
        if len(each) != len(ids):
            raise RangeError(f"conditions: one a piece, {len(ids)}, is allowed, got {len(each)}")
        joint = cast(Array, posterior(model, read, keep_joint=np.float64).joint)
        joint = joint.reshape(len(ids), len(GRADES), -1)
        starts = np.arange(0, len(model.years), _DECADE)
        looked = [(np.nan, np.nan) if c is None else (c.log_kept, c.log_sd) for c in each]
        return cls(
            ids=ids,
            decades=(starts + FIRST_YEAR).astype(np.int64),
            cells=in_cells(joint),
            values={
                name: _value(model, read, joint, name) for name in VALUED if name in model.column
            },
            log_area=_log_areas(model, read),
            log_kept=np.array([kept for kept, _ in looked], np.float64),
            log_kept_sd=np.array([sd for _, sd in looked], np.float64),
            maker=maker,
            not_read=not_read,
        )

    def take(self, places: object) -> Pieces:
        """The pieces at some places, (k,) whole numbers from 0 or a mask (n,)."""
        at = np.asarray(places)
        at = np.flatnonzero(at) if at.dtype == bool else at.astype(np.intp)
        return Pieces(
            ids=tuple(self.ids[place] for place in at.tolist()),
            decades=self.decades,
            cells=self.cells[at],
            values={name: value.take(at) for name, value in self.values.items()},
            log_area=self.log_area[at],
            log_kept=self.log_kept[at],
            log_kept_sd=self.log_kept_sd[at],
            maker=tuple(self.maker[place] for place in at.tolist()),
        )


def in_cells(joint: Array) -> Array:
    """P(decade, grade), (..., cells), from P(grade, year), (..., grades, years)."""
    by_decade = _decades(joint).sum(axis=-1)
    return np.asarray(np.swapaxes(by_decade, -1, -2).reshape(*joint.shape[:-2], -1))


def _many(conditions: object) -> bool:
    return isinstance(conditions, Sequence) and not isinstance(conditions, str)


def _of_frame(
    model: Model, frame: pd.DataFrame, unit: str | None
) -> tuple[Codes, tuple[str, ...], tuple[str, ...], dict[int, tuple[str, ...]]]:
    """Row numbers of the clues, ids and makers of a frame, and by row what was not read."""
    from scarfdate.answer.frame import Columns

    columns = Columns(model, frame, checked_unit(unit), strict=False, noted=True)
    block = columns.block(0, len(frame))

    def texts(name: str) -> list[str]:
        cells = columns.cells(name)
        if cells is None:
            return [""] * len(frame)
        return ["" if is_blank(cell) else as_typed(cell).strip() for cell in cells]

    left = {row: tuple(dict.fromkeys(errors)) for row, errors in block.errors.items()}
    return block.codes, tuple(texts(_ID)), tuple(plain(text) for text in texts(_MAKER)), left


def _clue(model: Model, name: str) -> SharesClue:
    clue = model.clues[model.column[name]]
    if not isinstance(clue, SharesClue):
        raise RangeError(f"prices need a table of shares of {shown(name)}")
    return clue


def _value(model: Model, codes: Codes, joint: Array, name: str) -> Value:
    """What is known of one family; ``joint`` (n, grades, years)."""
    clue, column = _clue(model, name), model.apart(codes)[:, model.column[name]]
    cells = -(-len(model.years) // _DECADE) * len(GRADES)
    chances = np.zeros((len(codes), cells, len(clue.values)))
    market = np.zeros(len(codes), np.intp)
    if clue.by_market:
        market = model.by_market.indices(model, codes)
    kinds = column + market * len(clue.rows.keys)
    for kind in dict.fromkeys(kinds.tolist()):
        here = np.flatnonzero(kinds == kind)
        parts, row = divmod(kind, len(clue.rows.keys))
        chances[here] = _by_decade(joint[here], _given_cell(model, clue, row, parts))
    return Value(clue.values, chances)


def _given_cell(model: Model, clue: SharesClue, row: int, market: int) -> Array:
    """P(value | grade, year, what was noted) of one row of a clue, (values, grades, years)."""
    key = clue.rows.keys[row]
    each = clue.shares if key is None else clue.value_fits(key) * clue.shares
    total = each.sum(axis=0)
    given = each / np.where(total > 0, total, 1.0)
    if not total.all():  # where nothing at all was made
        common = each.mean(axis=(1, 2, 3), keepdims=True)
        given = np.where(total > 0, given, common / common.sum())
    if given.shape[1] == 1:
        return np.asarray(given[:, 0])
    parts = model.by_market.parts[market].reshape(-1, *given.shape[2:])
    return np.asarray((given * parts).sum(axis=1))


def _by_decade(joint: Array, given: Array) -> Array:
    """P(value | decade, grade), (n, cells, values), from P(grade, year) and P(value | grade, year)."""
    # each (n or values, grades, decades, years of one)
    weight, chance = _decades(joint), _decades(given)
    summed = weight.transpose(1, 2, 0, 3) @ chance.transpose(1, 2, 3, 0)
    total = weight.sum(axis=3).transpose(1, 2, 0)[..., None]
    even = chance.sum(axis=3).transpose(1, 2, 0)[:, :, None]  # of a cell with no chance at all
    even = even / even.sum(axis=3, keepdims=True)
    found = np.where(total > 0, summed / np.where(total > 0, total, 1.0), even)
    return np.asarray(found.transpose(2, 1, 0, 3).reshape(len(joint), -1, len(given)))


def _decades(rows: Array) -> Array:
    """(..., years) as (..., decades, 10); the last decade may not be over, and is filled up with zeros."""
    *outer, years = rows.shape
    full = np.zeros((*outer, -(-years // _DECADE), _DECADE))
    full.reshape(*outer, -1)[..., :years] = rows
    return full


def _log_areas(model: Model, codes: Codes) -> Array:
    """The natural logarithm of the area of each piece, square centimetres; NaN where not both sides are known."""
    areas = np.full(len(codes), np.nan)
    for column, clue in enumerate(model.clues):
        measures = {m.family.name: m for m in clue.measures} if isinstance(clue, SharesClue) else {}
        if not {LONG_SIDE, SLENDERNESS} <= set(measures):
            continue
        places = [list(measures).index(name) for name in (LONG_SIDE, SLENDERNESS)]
        for row in dict.fromkeys(codes[:, column].tolist()):
            key = cast("Key | None", clue.rows.keys[row])
            if key is None:
                continue
            long, slender = (key[1][place] for place in places)
            if long is not None and slender is not None:
                side = measures[LONG_SIDE].value(long)
                area = side**2 / measures[SLENDERNESS].value(slender)
                areas[codes[:, column] == row] = np.log(area)
    return areas
