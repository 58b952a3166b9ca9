"""Tables of other libraries: pandas, polars, pyarrow, DuckDB and whatever else narwhals knows, in and out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.errors import TableError, shown

if TYPE_CHECKING:
    import pandas as pd

# lazy tables of one machine; what is spread over many is not brought into one memory unasked
_LAZY = ("polars", "duckdb")
_ALLOWED = "a DataFrame of pandas or polars (a lazy one, too), a table of pyarrow or a relation of DuckDB is allowed"


def as_pandas(frame: object) -> pd.DataFrame:
    """A table of any library as a pandas frame of plain cells; one of pandas is given back as it is.

    A lazy one of polars and a relation of DuckDB are worked out here. Raises TableError for anything else.
    """
    import pandas as pd

    if isinstance(frame, pd.DataFrame):
        return frame
    held = _held(frame)
    names = held.columns
    cells: dict[int, Any] = {}
    for place, name in enumerate(names):
        column = held[name]
        plain = column.to_list()
        numeric = column.dtype.is_numeric() and None not in plain
        cells[place] = pd.Series(plain, dtype=None if numeric else object)
    out = pd.DataFrame(cells, index=pd.RangeIndex(len(held)))
    out.columns = pd.Index(names, dtype=object)
    return out


def _held(frame: Any) -> Any:
    """A table as narwhals holds it in memory."""
    import narwhals.stable.v2 as nw

    try:
        given = nw.from_native(frame)
    except (TypeError, ValueError):
        raise TableError(f"{_ALLOWED}, got {shown(type(frame).__name__)}") from None
    if not isinstance(given, nw.LazyFrame):
        return given
    if given.implementation.value not in _LAZY:
        raise TableError(
            f"{_ALLOWED}, got one of {given.implementation.value}; bring it into memory first"
        )
    try:
        return given.collect()
    except ImportError as error:
        raise TableError(
            f"a relation of DuckDB is read by {error.name or 'pyarrow'}, which is not installed: "
            "pip install pyarrow"
        ) from None


def like(given: Any, answer: pd.DataFrame) -> Any:
    """A pandas frame as a table of the library that ``given`` is of; without its index, if not pandas.

    A lazy table is answered by a lazy one, a relation by a relation of the same connection. Cells that hold
    arrays become lists.
    """
    import pandas as pd

    if isinstance(given, pd.DataFrame):
        return answer
    import narwhals.stable.v2 as nw

    cells: dict[str, list[Any]] = {}
    kinds: dict[str, Any] = {}
    for name, column in answer.items():
        plain = column.astype(object).where(column.notna(), None).tolist()
        kind: Any = nw.Float64()
        if any(isinstance(each, np.ndarray) for each in plain):
            kind = nw.List(nw.Float64())
            plain = [None if each is None else each.tolist() for each in plain]
        elif pd.api.types.is_string_dtype(column.dtype):
            kind = nw.String()
        elif pd.api.types.is_integer_dtype(column.dtype):
            kind = nw.Int64()
        cells[str(name)], kinds[str(name)] = plain, kind
    of = nw.from_native(given)
    if of.implementation.is_duckdb():
        answers = nw.from_dict(cells, kinds, backend="pyarrow").to_native()  # noqa: F841
        # only a relation knows its own connection, which finds `answers` among the names of this function
        try:
            return given.query("pieces", "SELECT * FROM answers")
        except Exception as error:  # closed, or told not to look for names of Python
            raise TableError(
                f"the relation's connection does not take the answer ({type(error).__name__}); "
                "give a table of pyarrow instead: relation.to_arrow_table()"
            ) from None
    table = nw.from_dict(cells, kinds, backend=of.implementation)
    return (table.lazy() if isinstance(of, nw.LazyFrame) else table).to_native()
