"""`date_table`: a frame in, a frame out, one row a row. A bad cell loses no other cell, a bad row no other row."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Literal, overload

import numpy as np
from numpy.typing import NDArray

from scarfdate import years
from scarfdate.answer.again import without_answers
from scarfdate.answer.blocks import Blocks
from scarfdate.answer.reasons import Notes
from scarfdate.answer.summary import Summary
from scarfdate.conventions import CHANNEL, LEVEL
from scarfdate.errors import ScarfdateError, TableError, did_you_mean, is_one_of, shown
from scarfdate.model.model import Codes, Model
from scarfdate.model.posterior import posterior, year_only
from scarfdate.reading.frames import as_pandas, like
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.words import units

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate.answer.frame import Block

_YEARS = ("year_from", "year_to", "median_year", "younger_from", "younger_to", "not_before")
_CHANCES = (
    "decade_probability", "before_grid", "period_probability", "predictive_p", "vintage_probability",
)  # fmt: skip
COLUMNS = (
    "year_from", "year_to", "median_year", "decade", "decade_probability", "period_probability",
    "before_grid", "younger_from", "younger_to", "edtf", "predictive_p", "sentence", "warnings",
    "not_read", "errors",
)  # fmt: skip
ON_REQUEST = ("not_before", "vintage_probability", "doubt")  # made where they are asked for by name
_LISTS = ("year_probabilities",)  # the same, of many numbers a cell
ANSWERS = (*COLUMNS, *ON_REQUEST, *_LISTS)  # every name that a column of an answer can have
_WANT_JOINT = {"predictive_p", "sentence", "doubt"}
_WANT_POSTERIOR = {"period_probability"}
_LEAVE_OUT = "leave-out"
_ON_ERROR = (_LEAVE_OUT, "collect", "raise")
_KEPT_TEXTS = 100_000  # distinct texts shared between rows of a long table


@overload
def date_table(
    frame: pd.DataFrame, *, priors: Priors | None = ..., channel: str = ..., level: float = ...,
    as_of: int | None = ..., unit: str | None = ..., on_error: str = ..., columns: Sequence[str] | None = ...,
    with_years: Literal[False] = ...,
) -> pd.DataFrame: ...  # fmt: skip


@overload
def date_table(
    frame: pd.DataFrame, *, priors: Priors | None = ..., channel: str = ..., level: float = ...,
    as_of: int | None = ..., unit: str | None = ..., on_error: str = ..., columns: Sequence[str] | None = ...,
    with_years: Literal[True],
) -> tuple[pd.DataFrame, NDArray[np.float64]]: ...  # fmt: skip


def date_table(
    frame: pd.DataFrame,
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    level: float = LEVEL,
    as_of: int | None = None,
    unit: str | None = None,
    on_error: str = "leave-out",
    columns: Sequence[str] | None = None,
    with_years: bool = False,
) -> pd.DataFrame | tuple[pd.DataFrame, NDArray[np.float64]]:
    """Date every row of a frame of scarves.

    ``frame``: of pandas, polars (a lazy one, too), pyarrow or another library that narwhals knows, or a
    relation of DuckDB; the answer is a frame of the same library, lazy where this one is. One row a piece, columns as the keywords of `Scarf` (``width_cm``,
    ``fibre_method``, weights as JSON text in a cell), or headed as people head them ("Material", "Size (in)",
    "Saum": ``headings.csv``); blank cells were not looked at. Words are read as people write them ("silk?",
    "poly/silk"). ``id``, notes, the columns of an earlier answer and columns that are no clue are kept out of
    it; the last are named in ``attrs["not_used"]`` of the answer (of pandas). ``unit`` ("cm", "in", ...): of
    lengths that state none; without it they are not read. The other arguments are those of `date_scarf`.

    Returns a frame with the same index (of pandas): ``year_from``, ``year_to`` (shortest interval at
    ``level``), ``median_year``, ``decade``, ``decade_probability``, ``period_probability``,
    ``before_grid`` (the chance that it is older than 1881, for the first year stands for all before it),
    ``younger_from``, ``younger_to`` (the interval if it is not, where that chance is one in ten or more),
    ``edtf``, ``predictive_p``, ``sentence``, ``warnings``, ``not_read``, ``errors``. ``columns``: those
    of the answer that are wanted, in the order wanted; nothing else is worked out. Four are made only
    so: ``not_before``, the first possible year by everything noted, blank where nothing bounds;
    ``vintage_probability``, the chance that it has the age that the trade calls vintage (20 years:
    ``vintage_age`` in ``allowances.csv``); ``doubt``, what the answer takes for a slip or a misreading, with
    its chance, blank where there is none; ``year_probabilities``, the chance of each year from 1880 to
    ``as_of`` as one array a cell (a list outside pandas and in Parquet). With ``with_years=True`` the
    answer is (frame, probabilities of shape (rows, years)).

    What cannot be read: with ``on_error="leave-out"`` it is left out and named in ``not_read``, and the
    row is dated from the rest. With "collect" such a row is blank but for ``errors`` (and NaN among the
    probabilities), with "raise" all such rows are raised as one TableError, and so is a column that is
    not known.

    Raises TableError for a column that is there twice, for a name among ``columns`` that is none of the
    answer, and where no column of the frame is known; ScarfdateError for another ``unit`` or ``on_error``.
    """
    given = frame
    frame = without_answers(as_pandas(frame), ANSWERS)
    if not is_one_of(on_error, _ON_ERROR):
        allowed = ", ".join(map(repr, _ON_ERROR[:-1]))
        raise ScarfdateError(
            f"on_error: {allowed} or {_ON_ERROR[-1]!r} is allowed, got {shown(on_error)}"
        )
    unit = units.checked_unit(unit)
    level = years.checked_level(level)
    names = checked_columns(columns)
    known = checked_priors(priors)
    blocks = Blocks(frame, known, channel, as_of, unit, strict=on_error == "raise")
    out = _Out(len(frame), len(blocks.model.years) if with_years else 0, names)
    for part in blocks:
        out.fill(part.places, _summary(part.model, part.codes, level, names, part.notes))
        out.tell(part.read, part.start, strict=on_error != _LEAVE_OUT)
    if on_error == "raise" and out.bad.any():
        raise TableError(_all_errors(frame, out))
    table = out.frame(frame.index)
    table.attrs["not_used"] = list(blocks.not_used)
    table = like(given, table)
    return table if out.probability is None else (table, out.probability)


def checked_columns(columns: Sequence[str] | None) -> tuple[str, ...]:
    """The columns of the answer that are wanted, none twice; TableError for a name that is none of it."""
    if columns is None:
        return COLUMNS
    if isinstance(columns, str) or not isinstance(columns, Sequence):
        raise TableError(f"columns: a list of names is allowed, got {shown(columns)}")
    for name in columns:
        if not is_one_of(name, ANSWERS):
            raise TableError(
                f"columns: {shown(name)} is no column of the answer; {did_you_mean(name, ANSWERS)}"
            )
    return tuple(dict.fromkeys(columns))


def _summary(
    model: Model, codes: Codes, level: float, names: Collection[str], notes: Notes
) -> Summary:
    """What the columns need, and no more: the year alone is the quickest."""
    if _WANT_JOINT.isdisjoint(names) and _WANT_POSTERIOR.isdisjoint(names):
        return Summary(model, codes, level, year_only(model, codes), None)
    kept = None if _WANT_JOINT.isdisjoint(names) else np.float32
    whole = posterior(model, codes, keep_joint=kept)
    return Summary(model, codes, level, whole.year, whole, notes)


class _Out:
    """The columns of the answer while they are filled."""

    def __init__(self, n: int, cells: int, names: Sequence[str]) -> None:
        self.names = names
        self.years = {name: np.zeros(n, dtype=np.int16) for name in names if name in _YEARS}
        self.chances = {name: np.zeros(n) for name in names if name in _CHANCES}
        self.lists = {name: np.full(n, None, dtype=object) for name in names if name in _LISTS}
        texts = [name for name in names if name not in (*_YEARS, *_CHANCES, *_LISTS)]
        # what is wrong with a row is always kept: it may have to be raised
        self.texts = {
            name: np.full(n, None, dtype=object)
            for name in (*texts, "errors", "warnings", "not_read")
        }
        self.bad = np.zeros(n, dtype=bool)
        self.probability = np.empty((n, cells)) if cells else None
        self._kept: dict[str, str] = {}

    def fill(self, here: slice | NDArray[np.intp], answer: Summary) -> None:
        """The answers for the rows of these places."""
        for name, values in answer.columns(self.names).items():
            if name in self.years:
                self.years[name][here] = values
            elif name in self.chances:
                self.chances[name][here] = values
            elif name in self.lists:
                rows = np.empty(len(values), dtype=object)
                for place, row in enumerate(values):  # NumPy itself would lay them out as a matrix
                    rows[place] = row
                self.lists[name][here] = rows
            else:
                self.texts[name][here] = self.shared(values)
        if self.probability is not None:
            self.probability[here] = answer.year

    def shared(self, texts: list[str | None]) -> list[str | None]:
        """The same texts, equal ones being one object: a long table repeats itself."""
        if len(self._kept) > _KEPT_TEXTS:
            self._kept.clear()
        return [None if text is None else self._kept.setdefault(text, text) for text in texts]

    def tell(self, block: Block, start: int, *, strict: bool) -> None:
        """Warnings of a block, whose first row is ``start``, and what was not read: errors if ``strict``."""
        for row, found in block.warnings.items():
            self.texts["warnings"][start + row] = "; ".join(dict.fromkeys(found))
        for row, found in block.errors.items():
            if not strict:
                left_out = (text.partition("; allowed: ")[0] for text in found)
                self.texts["not_read"][start + row] = "; ".join(dict.fromkeys(left_out))
                continue
            self.bad[start + row] = True
            self.texts["errors"][start + row] = "; ".join(dict.fromkeys(found))
            if self.probability is not None:
                self.probability[start + row] = np.nan

    def frame(self, index: pd.Index) -> pd.DataFrame:
        """All columns, of nullable types, blank in bad rows."""
        import pandas as pd

        blank = {**self.texts, **self.lists}
        for name in blank.keys() - {"errors", "warnings"}:
            blank[name][self.bad] = None
        columns: dict[str, object] = {
            name: pd.arrays.IntegerArray(values, self.bad | (values == 0))
            for name, values in self.years.items()
        }
        columns |= {
            name: pd.arrays.FloatingArray(values, self.bad.copy())
            for name, values in self.chances.items()
        }
        text = pd.StringDtype("python")
        columns |= {name: pd.array(values, dtype=text) for name, values in self.texts.items()}
        columns |= {
            name: pd.Series(values, index=index, dtype=object)
            for name, values in self.lists.items()
        }
        return pd.DataFrame({name: columns[name] for name in self.names}, index=index, copy=False)


def _all_errors(frame: pd.DataFrame, out: _Out) -> str:
    rows = np.flatnonzero(out.bad)
    lines = [f"  row {row + 1}: {out.texts['errors'][row]}" for row in rows[:100]]
    if len(rows) > len(lines):
        lines.append(f"  and {len(rows) - len(lines)} more")
    head = "1 row" if len(rows) == 1 else f"{len(rows)} rows"
    return f"{head} of {len(frame)} cannot be read:\n" + "\n".join(lines)
