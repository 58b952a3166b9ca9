"""A pile put in order, and its answers beside the rows as they were written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate.tables.priors import Priors


def in_order(answers: pd.DataFrame, sort: str | None) -> list[int]:
    """The places of the rows in the order wanted; rows without an answer come last, equal ones stay in turn.

    ``sort``: "year" oldest first, by the middle year; "width" narrowest years first; "doubt" first those of
    which something is in doubt, then those whose clues agree least; None leaves them as they are.
    """
    import pandas as pd

    if sort is None:
        return [*range(len(answers))]
    if sort == "year":
        key = answers["median_year"]
    elif sort == "width":
        key = answers["year_to"] - answers["year_from"]
    else:
        key = (
            answers["predictive_p"] - answers["doubt"].notna()
        )  # a chance: below 0 is what is in doubt
    values = [float("inf") if pd.isna(value) else float(value) for value in key.tolist()]
    return sorted(range(len(values)), key=values.__getitem__)


def beside(table: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """The rows as they were written, and their answers behind them in the place of an earlier answer.

    A column of a person's own that is headed as an answer is kept as a note.
    """
    import pandas as pd

    from scarfdate.answer.again import without_answers
    from scarfdate.reading.cells import column_name

    own = without_answers(table, [*answers.columns])
    own = own.set_axis(
        [f"note_{name}" if column_name(name) in answers.columns else name for name in own.columns],
        axis=1,
    )
    return pd.concat([own, answers], axis=1)


def lists_for(
    table: pd.DataFrame, fate: Sequence[tuple[str, str, str]], priors: Priors
) -> Mapping[str, Sequence[str]]:
    """The drop-down lists of a written sheet, by the person's own heading."""
    from scarfdate.tables.word_list import choices

    found = {}
    for heading, name, _ in fate:
        of = "method" if name.endswith("_method") else name
        if listed := choices(priors.vocabulary, of):
            found[heading] = listed
    return found
