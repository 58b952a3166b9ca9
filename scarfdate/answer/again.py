"""A table beside its answers; and one that was dated before, whose answers are taken out and worked out anew."""

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


def beside(table: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """The rows as they were written, and their answers behind them in the place of an earlier answer.

    A column of a person's own that is headed as an answer is kept as a note.
    """
    import pandas as pd

    own = without_answers(table, [*answers.columns])
    mine = [f"note_{n}" if column_name(n) in answers.columns else n for n in own.columns]
    names = [*mine, *answers.columns]
    whole = pd.concat([own, answers], axis=1, ignore_index=True)
    try:
        whole.columns = pd.Index(names)
    except UnicodeEncodeError:  # a heading that pandas cannot hold as text
        whole.columns = pd.Index(names, dtype=object)
    return whole
