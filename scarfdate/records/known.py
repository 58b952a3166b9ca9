"""Records whose years are known, as learning and scoring take them."""

from __future__ import annotations

from typing import Any, Protocol, runtime_checkable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.errors import RangeError, shown


@runtime_checkable
class KnownRecords(Protocol):
    """What is needed of records: the clues, and the first and the last year in which each can have been made.

    `scarfdate.records.sold_records.SoldRecords` has them.
    """

    @property
    def clues(self) -> pd.DataFrame:
        """One row a record, columns as `date_table` takes them."""
        ...

    @property
    def known_from(self) -> NDArray[np.int64]:
        """First possible year of each, inclusive."""
        ...

    @property
    def known_to(self) -> NDArray[np.int64]:
        """Last possible year of each, inclusive."""
        ...


def checked_records(records: Any, *, parts: bool = False) -> None:
    """RangeError for what are no such records; ``parts``: some of them are to be taken as well."""
    if (
        not isinstance(records, KnownRecords)
        or not isinstance(records.clues, pd.DataFrame)
        or (parts and not hasattr(records, "take"))
    ):
        raise RangeError(
            f"records: those of read_sold are allowed, got {shown(type(records).__name__)}; "
            "read a file or a frame with read_sold first"
        )
