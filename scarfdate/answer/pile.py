"""A pile of dated pieces: put in order, and as bars over the years."""

from __future__ import annotations

from collections.abc import Sequence, Sized
from typing import TYPE_CHECKING, Any

from scarfdate.conventions import CHANNEL, FIRST_YEAR, LEVEL
from scarfdate.errors import TableError, did_you_mean, is_one_of, shown
from scarfdate.show import pile
from scarfdate.show.plot import pyplot
from scarfdate.show.sentence import percent, years
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.words.edtf import stretches
from scarfdate.years import checked_level

if TYPE_CHECKING:
    import pandas as pd

SORTS = ("year", "doubt", "width")
_ANSWERS = ("year_from", "year_to", "median_year", "edtf")
_WANTED = [*_ANSWERS, "doubt", "predictive_p", "warnings", "not_read", "errors"]


def in_order(answers: pd.DataFrame, sort: str | None) -> list[int]:
    """The places of the rows in the order wanted; rows without an answer come last, equal ones stay in turn.

    ``sort``: "year" oldest first, by the middle year; "width" narrowest years first; "doubt" first those of
    which something is in doubt, then those whose clues agree least; None leaves them as they are.
    """
    import pandas as pd

    if sort is None:
        return [*range(len(answers))]
    if not is_one_of(sort, SORTS):
        raise TableError(f"sort: {shown(sort)} is no order; {did_you_mean(sort, SORTS)}")

    def number(name: str) -> pd.Series:
        if name not in answers:
            raise TableError(f"sort: for the order {sort!r} the answers need a column {name!r}")
        return pd.to_numeric(answers[name], errors="coerce")

    if sort == "year":
        key = number("median_year")
    elif sort == "width":
        key = number("year_to") - number("year_from")
    else:
        # a chance: below 0 is what is in doubt
        key = number("predictive_p") - _told(answers, "doubt")
    values = [float("inf") if pd.isna(value) else float(value) for value in key.tolist()]
    return sorted(range(len(values)), key=values.__getitem__)


def bars(answers: pd.DataFrame, names: Sequence[str], marks: Sequence[str] = ()) -> list[pile.Bar]:
    """A bar a row: the years of the interval, or the stretches where the densest years lie apart."""
    import pandas as pd

    doubtful = _told(answers, "doubt").tolist()
    found = []
    for place, (name, text) in enumerate(zip(names, answers["edtf"].tolist(), strict=True)):
        mark = marks[place] if marks else ""
        if pd.isna(text) or not str(text).strip():
            found.append(pile.Bar(name=name, stretches=(), years="not read", mark=mark))
            continue
        first, last = (int(answers[end].iloc[place]) for end in ("year_from", "year_to"))
        apart = tuple((a, last if b is None else b) for a, b in stretches(str(text)))
        made = _in_words(apart) if len(apart) > 1 else years(first, last, FIRST_YEAR)
        found.append(
            pile.Bar(name=name, stretches=apart, years=made, doubtful=doubtful[place], mark=mark)
        )
    return found


def _in_words(apart: Sequence[tuple[int | None, int]]) -> str:
    """Two stretches in few letters, "1958-76 1990-99"; of more, the first year and the last."""
    if len(apart) > 2:
        apart = [(apart[0][0], apart[-1][1])]
    said = []
    for a, b in apart:
        same = a is not None and a // 100 == b // 100 and len(apart) > 1
        short = f"{b % 100:02d}" if same else f"{b}"
        said.append(f"to {b}" if a is None else f"{b}" if a == b else f"{a}-{short}")
    return " ".join(said)


def plot_pile(
    frame: pd.DataFrame,
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    level: float = LEVEL,
    as_of: int | None = None,
    unit: str | None = None,
    sort: str | None = "year",
    names: Sequence[str] | None = None,
    ax: Any = None,
) -> Any:
    """The pile at a glance: a thin bar a piece over the years that hold ``level``, sorted; returns the axis.

    Where the densest years of a piece lie apart, it has two bars or more, joined by a dotted line. A piece
    of which something noted is in doubt is hollow. Readable in black and white, for 5 to 500 pieces.

    ``frame``: pieces as `date_table` takes them, or a table of its answers (with ``year_from``, ``year_to``,
    ``median_year`` and ``edtf``; ``doubt`` if wanted), which are drawn as they are, whatever level they were
    made at. ``sort``: "year" oldest first, "width" narrowest first, "doubt" the doubtful first, None as they
    stand. ``names``: one a piece; the column of ids unless given, or else the index. ``ax``: a matplotlib
    axis to draw on. The other arguments are those of `date_table`.

    Raises TableError for another ``sort`` and where there are not as many names as pieces, ScarfdateError where
    matplotlib is not installed, and as `date_table` does.
    """
    from scarfdate.answer.date import date_table
    from scarfdate.reading.frames import as_pandas
    from scarfdate.reading.headings import read_headings

    pyplot()  # told before the pile is dated
    known, table = checked_priors(priors), as_pandas(frame)
    dated = {*_ANSWERS} <= {*table.columns}
    answers = (
        table
        if dated
        else date_table(
            table,
            priors=known,
            channel=channel,
            level=level,
            as_of=as_of,
            unit=unit,
            columns=_WANTED,
        )
    )
    if names is None:
        at = read_headings(list(table.columns), ["id"], known.headings).place.get("id")
        own = table.index if at is None else table.iloc[:, at].fillna("")
        names = [str(name) for name in own]
    elif not isinstance(names, Sized) or isinstance(names, str) or len(names) != len(table):
        raise TableError(
            f"names: one for each of {len(table)} pieces is allowed, got {shown(names)}"
        )
    order = in_order(answers, sort)
    drawn = bars(answers.iloc[order], [str(names[place]) for place in order])
    sure = "" if dated else f" ({percent(checked_level(level))} sure)"
    pieces = "1 piece" if len(drawn) == 1 else f"{len(drawn)} pieces"
    hollow = "; hollow: something noted is in doubt" if any(bar.doubtful for bar in drawn) else ""
    return pile.plot(drawn, f"{pieces}: when each was made{sure}{hollow}", ax)


def _told(answers: pd.DataFrame, name: str) -> pd.Series:
    """Whether a column of text says something in each row; nowhere, where there is no such column."""
    import pandas as pd

    if name not in answers:
        return pd.Series(False, index=answers.index)
    return answers[name].notna() & answers[name].astype(str).str.strip().ne("")
