"""`date_frame`: a frame of Dask in, a lazy frame of Dask out, the same partitions."""

from __future__ import annotations

from collections.abc import Sequence
from operator import getitem
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.frame import repeated_id
from scarfdate.conventions import CHANNEL, LEVEL
from scarfdate.distributed.partition import PartitionDater, partition_dater
from scarfdate.errors import TableError, needed, shown
from scarfdate.reading.cells import as_typed, is_blank
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas as pd

_WHAT = "date_frame"


def date_frame(
    frame: Any,
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    level: float = LEVEL,
    as_of: int | None = None,
    unit: str | None = None,
    on_error: str = "leave-out",
    columns: Sequence[str] | None = None,
) -> Any:
    """Date every row of a DataFrame of Dask (extra ``distributed``), on as many machines as its cluster has.

    The arguments and the answer are those of `date_table`, to the bit: a DataFrame of Dask with the same
    partitions and index, lazy, with the names and types of its columns known beforehand. The tables are one key of
    the graph, named by their content hash, so that they go to each worker once; a partition is dated by itself,
    and dated again by itself where its worker is lost.

    Ids are the one thing that is looked at across partitions: ``warnings`` tells of an id that an earlier row
    had. Where the frame has ids and ``warnings`` are wanted (they are unless ``columns`` leaves them out), the ids are read
    first, and 8 bytes of each come together on one worker (of ten million ids two have the same 8 bytes with a
    chance of three in a million, and one is then told of wrongly); otherwise no partition waits for another.
    Partitions that were finished on a lost worker and not fetched yet are dated again with it, as Dask has it: fetch
    each as it is ready, by ``as_completed(client.compute(answers.to_delayed()), with_results=True)``. What repeats is read once in each partition, so that those of ten thousand rows and more
    cost least. Machines need the same version of this library, and of NumPy and pandas.

    Raises TableError for what is no DataFrame of Dask, NotInstalled without Dask, and as `partition_dater` and
    `date_table` do, before anything is dated; with ``on_error="raise"`` always.
    """
    dask, dd = needed("dask", "distributed", _WHAT), needed("dask.dataframe", "distributed", _WHAT)
    if not isinstance(frame, dd.DataFrame):
        raise TableError(
            f"a DataFrame of Dask is allowed, got {shown(type(frame).__name__)}; date_table dates others"
        )
    dater = partition_dater(
        priors=priors, channel=channel, level=level, as_of=as_of, unit=unit, on_error=on_error, columns=columns
    )  # fmt: skip
    meta = dater(frame._meta)
    key = f"scarfdate-{dater.priors_hash[:16]}-{dask.base.tokenize(dater)}"
    sent = dask.delayed(dater, name=key, traverse=False)
    at = dater.id_column(frame._meta)
    if at is None or "warnings" not in dater.columns:
        return frame.map_partitions(_dated, sent, meta=meta)
    hashes = frame.iloc[:, [at]].map_partitions(_hashes, meta=("id", "uint64")).to_delayed()
    every = dask.delayed(_repeated)(hashes)
    one_by_one = [dask.delayed(getitem)(every, place) for place in range(len(hashes))]
    told = dd.from_delayed(one_by_one, meta=("id", "bool"), verify_meta=False)
    return frame.map_partitions(_dated_and_told, told, sent, at, meta=meta, align_dataframes=False)


def _dated(part: pd.DataFrame, dater: PartitionDater) -> pd.DataFrame:
    answers: pd.DataFrame = dater(part)
    return answers


def _dated_and_told(
    part: pd.DataFrame, repeated: pd.Series, dater: PartitionDater, at: int
) -> pd.DataFrame:
    """The answers to a partition, with a warning for each id that an earlier row has, too."""
    import pandas as pd

    answers = _dated(part, dater)
    rows = np.flatnonzero(repeated.to_numpy())
    if not rows.size:
        return answers
    warnings = answers["warnings"].tolist()
    for row in rows.tolist():
        told = repeated_id(part.iloc[row, at])
        warnings[row] = told if pd.isna(warnings[row]) else f"{told}; {warnings[row]}"
    answers["warnings"] = pd.Series(warnings, part.index, dtype=pd.StringDtype("python"))
    return answers


def _hashes(ids: pd.DataFrame) -> pd.Series:
    """Eight bytes of each id, the same on every machine; 0 where there is none."""
    import pandas as pd

    texts = ["" if is_blank(cell) else as_typed(cell).strip() for cell in ids.iloc[:, 0]]
    hashes = pd.util.hash_array(np.array(texts, dtype=object), categorize=False)
    hashes[np.array(texts, dtype=object) == ""] = 0
    return pd.Series(hashes, index=ids.index, name="id")


def _repeated(hashes: list[pd.Series]) -> list[pd.Series]:
    """Of each partition, which rows have the id of an earlier one, of this partition or another."""
    import pandas as pd

    every = pd.Series(np.concatenate([part.to_numpy() for part in hashes]))
    found: NDArray[np.bool_] = (every.duplicated() & (every != 0)).to_numpy()
    ends = np.cumsum([len(part) for part in hashes])[:-1]
    parts = np.split(found, ends)
    return [
        pd.Series(one, index=part.index, name="id") for one, part in zip(parts, hashes, strict=True)
    ]
