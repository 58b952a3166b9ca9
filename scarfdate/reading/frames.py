"""Tables of other libraries: pandas, polars, pyarrow and whatever else narwhals knows, in and out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from scarfdate.errors import TableError, shown

if TYPE_CHECKING:
    import pandas as pd


def as_pandas(frame: object) -> pd.DataFrame:
    """A table of any eager library as a pandas frame of plain cells; one of pandas is given back as it is.

    Raises TableError for anything else.
    """
    import pandas as pd

    if isinstance(frame, pd.DataFrame):
        return frame
    import narwhals.stable.v1 as nw

    try:
        held = nw.from_native(frame, eager_only=True)
    except (TypeError, ValueError):
        raise TableError(
            "a DataFrame of pandas or polars, or a table of pyarrow, is dated, "
            f"got {shown(type(frame).__name__)}; collect a lazy one first"
        ) from None
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


def like(given: object, answer: pd.DataFrame) -> Any:
    """A pandas frame as a table of the library that ``given`` is of; without its index, if not pandas."""
    import pandas as pd

    if isinstance(given, pd.DataFrame):
        return answer
    import narwhals.stable.v1 as nw

    columns = {
        str(name): [None if pd.isna(cell) else cell for cell in column.tolist()]
        for name, column in answer.items()
    }
    of = nw.from_native(given, eager_only=True).implementation
    kinds = {
        str(name): nw.String() if pd.api.types.is_string_dtype(column.dtype)
        else nw.Int64() if pd.api.types.is_integer_dtype(column.dtype) else nw.Float64()
        for name, column in answer.items()
    }  # fmt: skip
    return nw.from_dict(columns, kinds, backend=of).to_native()
