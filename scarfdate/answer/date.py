"""`date_table`: a frame in, a frame out, one row a row. A bad row does not lose the good ones."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import TYPE_CHECKING, Any, Literal, overload

import numpy as np
from numpy.typing import NDArray

from scarfdate import years
from scarfdate.answer.again import without_answers
from scarfdate.answer.summary import Summary
from scarfdate.conventions import CHANNEL, FIRST_YEAR, LEVEL
from scarfdate.errors import ScarfdateError, TableError, did_you_mean, shown
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.model.posterior import posterior, year_only
from scarfdate.reading.frames import as_pandas, like
from scarfdate.tables.priors import Priors, checked_priors

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate.answer.frame import Block

_YEARS = ("year_from", "year_to", "median_year")
_CHANCES = ("decade_probability", "period_probability", "predictive_p")
COLUMNS = (
    "year_from", "year_to", "median_year", "decade", "decade_probability", "period_probability",
    "edtf", "predictive_p", "sentence", "warnings", "errors",
)  # fmt: skip
# how each column is had from what is worked out of a block
_ANSWERS: dict[str, Callable[[Summary], Any]] = {
    "year_from": lambda answer: answer.interval[0] + FIRST_YEAR,
    "year_to": lambda answer: answer.interval[1] + FIRST_YEAR,
    "median_year": lambda answer: answer.median + FIRST_YEAR,
    "decade": lambda answer: [f"{start}s" for start in answer.decade[0].tolist()],
    "decade_probability": lambda answer: answer.decade[1],
    "period_probability": lambda answer: answer.period,
    "edtf": lambda answer: answer.edtf,
    "predictive_p": lambda answer: answer.weighing.predictive_p,
    "sentence": lambda answer: answer.sentence,
}
_WANT_JOINT = {"predictive_p", "sentence"}
_WANT_POSTERIOR = {"period_probability"}
BLOCK = 8192  # rows read and summarised at a time: cells that repeat are read once in each
_KEPT_TEXTS = 100_000  # distinct texts shared between rows of a long table


@overload
def date_table(
    frame: pd.DataFrame, *, priors: Priors | None = ..., channel: str = ..., level: float = ...,
    as_of: int | None = ..., on_error: str = ..., columns: Sequence[str] | None = ...,
    with_years: Literal[False] = ...,
) -> pd.DataFrame: ...  # fmt: skip


@overload
def date_table(
    frame: pd.DataFrame, *, priors: Priors | None = ..., channel: str = ..., level: float = ...,
    as_of: int | None = ..., on_error: str = ..., columns: Sequence[str] | None = ..., with_years: Literal[True],
) -> tuple[pd.DataFrame, NDArray[np.float64]]: ...  # fmt: skip


def date_table(
    frame: pd.DataFrame,
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    level: float = LEVEL,
    as_of: int | None = None,
    on_error: str = "collect",
    columns: Sequence[str] | None = None,
    with_years: bool = False,
) -> pd.DataFrame | tuple[pd.DataFrame, NDArray[np.float64]]:
    """Date every row of a frame of scarves.

    ``frame``: of pandas, polars, pyarrow or another eager library that narwhals knows; the answer is a
    frame of the same library. One row a piece, columns as the keywords of `Scarf` (``width_cm``, ``fibre_method``,
    weights as JSON text in a cell); blank cells were not looked at; ``id`` and columns whose name
    begins with ``note`` are kept out of it, and so are the columns of an earlier answer. The other arguments are those of `date_scarf`.

    Returns a frame with the same index (of pandas): ``year_from``, ``year_to`` (shortest interval at ``level``),
    ``median_year``, ``decade``, ``decade_probability``, ``period_probability``, ``edtf``,
    ``predictive_p``, ``sentence``, ``warnings``, ``errors``. A row that cannot be read is blank but for
    ``errors``; with ``on_error="raise"`` all such rows are raised as one TableError. ``columns``: those
    of the answer that are wanted, in the order wanted; nothing else is worked out. With
    ``with_years=True`` the answer is (frame, probabilities of shape (rows, years)), years running
    from 1880 to ``as_of``; a bad row is NaN there.

    Raises TableError for a column that is not known, in the frame or among ``columns``.
    """
    from scarfdate.answer.frame import Columns

    given = frame
    frame = without_answers(as_pandas(frame), COLUMNS)
    if on_error not in ("collect", "raise"):
        raise ScarfdateError(f"on_error: 'collect' or 'raise' is allowed, got {shown(on_error)}")
    level = years.checked_level(level)
    names = _checked_columns(columns)
    known = checked_priors(priors)
    model = compiled(known, channel, as_of)
    reader = Columns(model, frame)
    n = len(frame)
    out = _Out(n, len(model.years) if with_years else 0, names)
    for start in range(0, n, BLOCK):
        stop = min(start + BLOCK, n)
        reader.model = model = compiled(known, channel, model.as_of)  # a new one when it is full
        block = reader.block(start, stop)
        out.fill(slice(start, stop), _summary(model, block.codes, level, names))
        out.tell(block, start)
    if on_error == "raise" and out.bad.any():
        raise TableError(_all_errors(frame, out))
    table = like(given, out.frame(frame.index))
    return table if out.probability is None else (table, out.probability)


def _checked_columns(columns: Sequence[str] | None) -> tuple[str, ...]:
    if columns is None:
        return COLUMNS
    if isinstance(columns, str) or not isinstance(columns, Sequence):
        raise TableError(f"columns: a list of names is allowed, got {shown(columns)}")
    for name in columns:
        if name not in COLUMNS:
            raise TableError(
                f"columns: {shown(name)} is no column of the answer; "
                f"{did_you_mean(str(name), COLUMNS)}"
            )
    return tuple(dict.fromkeys(columns))


def _summary(model: Model, codes: Codes, level: float, names: Collection[str]) -> Summary:
    """What the columns need, and no more: the year alone is the quickest."""
    if _WANT_JOINT.isdisjoint(names) and _WANT_POSTERIOR.isdisjoint(names):
        return Summary(model, codes, level, year_only(model, codes), None)
    whole = posterior(model, codes, keep_joint=not _WANT_JOINT.isdisjoint(names))
    return Summary(model, codes, level, whole.year, whole)


class _Out:
    """The columns of the answer while they are filled."""

    def __init__(self, n: int, cells: int, names: Sequence[str]) -> None:
        self.names = names
        self.years = {name: np.zeros(n, dtype=np.int16) for name in names if name in _YEARS}
        self.chances = {name: np.zeros(n) for name in names if name in _CHANCES}
        texts = [name for name in names if name not in (*_YEARS, *_CHANCES)]
        # what is wrong with a row is always kept: it may have to be raised
        self.texts = {
            name: np.full(n, None, dtype=object) for name in (*texts, "errors", "warnings")
        }
        self.bad = np.zeros(n, dtype=bool)
        self.probability = np.empty((n, cells)) if cells else None
        self._kept: dict[str, str] = {}

    def fill(self, here: slice, answer: Summary) -> None:
        """The answers for a block of rows."""
        for name in self.names:
            if name in self.years:
                self.years[name][here] = _ANSWERS[name](answer)
            elif name in self.chances:
                self.chances[name][here] = _ANSWERS[name](answer)
            elif name in _ANSWERS:
                self.texts[name][here] = self.shared(_ANSWERS[name](answer))
        if self.probability is not None:
            self.probability[here] = answer.year

    def shared(self, texts: list[str]) -> list[str]:
        """The same texts, equal ones being one object: a long table repeats itself."""
        if len(self._kept) > _KEPT_TEXTS:
            self._kept.clear()
        return [self._kept.setdefault(text, text) for text in texts]

    def tell(self, block: Block, start: int) -> None:
        """Warnings and errors of a block, whose first row is ``start``."""
        for row, found in block.warnings.items():
            self.texts["warnings"][start + row] = "; ".join(dict.fromkeys(found))
        for row, found in block.errors.items():
            self.bad[start + row] = True
            self.texts["errors"][start + row] = "; ".join(dict.fromkeys(found))
            if self.probability is not None:
                self.probability[start + row] = np.nan

    def frame(self, index: pd.Index) -> pd.DataFrame:
        """All columns, of nullable types, blank in bad rows."""
        import pandas as pd

        for name in self.texts.keys() & _ANSWERS.keys():
            self.texts[name][self.bad] = None
        columns: dict[str, object] = {
            name: pd.arrays.IntegerArray(values, self.bad.copy())
            for name, values in self.years.items()
        }
        columns |= {
            name: pd.arrays.FloatingArray(values, self.bad.copy())
            for name, values in self.chances.items()
        }
        text = pd.StringDtype("python")
        columns |= {name: pd.array(values, dtype=text) for name, values in self.texts.items()}
        return pd.DataFrame({name: columns[name] for name in self.names}, index=index, copy=False)


def _all_errors(frame: pd.DataFrame, out: _Out) -> str:
    rows = np.flatnonzero(out.bad)
    lines = [f"  row {row + 1}: {out.texts['errors'][row]}" for row in rows[:100]]
    if len(rows) > len(lines):
        lines.append(f"  and {len(rows) - len(lines)} more")
    head = "1 row" if len(rows) == 1 else f"{len(rows)} rows"
    return f"{head} of {len(frame)} cannot be read:\n" + "\n".join(lines)
