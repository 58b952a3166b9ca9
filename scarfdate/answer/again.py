"""A table that was dated before: its answers are taken out, so that they are worked out anew."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from scarfdate.reading.cells import column_name

if TYPE_CHECKING:
    import pandas as pd

_SURE = {"year_from", "year_to"}  # beside a third one, nobody else heads columns so
_WANTED = 3


def without_answers(frame: pd.DataFrame, names: Collection[str]) -> pd.DataFrame:
    """The frame without the columns ``names`` of an earlier answer; itself where it holds none.

    A dealer's own column "decade" or "sentence" alone is no earlier answer and stays.
    """
    written = [column_name(name) if isinstance(name, str) else "" for name in frame.columns]
    had = {*written} & {*names}
    if not had >= _SURE or len(had) < _WANTED:
        return frame
    return frame.iloc[:, [at for at, name in enumerate(written) if name not in had]]
