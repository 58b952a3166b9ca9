"""A pile as a printed table, dated a chunk at a time behind a progress bar where it is long."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from scarfdate.cli.front import WIDTH
from scarfdate.cli.pieces import column, places
from scarfdate.conventions import FIRST_YEAR
from scarfdate.show.terminal import clean, clipped, fit

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate.tables.priors import Priors

_LONG = 20_000  # rows: from here on a person waits long enough to want a bar
_CHUNK = 10_000
_PRINTED = 500  # rows laid out at a time, so that a long table starts to appear at once
# the columns of the printed table, and how wide each is
_COLUMNS = (
    ("made", 15), ("decade", 6), ("chance", 9), ("not before", 10), ("vintage", 9), ("", 1),
)  # fmt: skip
_ID = 23
WARNED, BAD = "?", "!"


def dated(
    frame: pd.DataFrame, priors: Priors, channel: str, level: float, as_of: int | None, *,
    unit: str | None = None, strict: bool = False,
) -> pd.DataFrame:  # fmt: skip
    """`date_table`, a chunk at a time behind a progress bar where someone is waiting for a long one."""
    from scarfdate.answer.date import COLUMNS, ON_REQUEST, date_table

    columns = [*COLUMNS[:-3], *ON_REQUEST, *COLUMNS[-3:]]  # what is told of the row comes last

    def ask(part: pd.DataFrame) -> pd.DataFrame:
        return date_table(
            part, priors=priors, channel=channel, level=level, as_of=as_of, unit=unit, columns=columns,
            on_error="collect" if strict else "leave-out",
        )  # fmt: skip

    if len(frame) <= _LONG or not sys.stderr.isatty():
        return ask(frame)
    import pandas as pd
    from tqdm import tqdm

    parts = []
    with tqdm(total=len(frame), unit=" rows", file=sys.stderr, leave=False) as bar:
        for start in range(0, len(frame), _CHUNK):
            part = frame.iloc[start : start + _CHUNK]
            parts.append(ask(part))
            bar.update(len(part))
    answers = pd.concat(parts)
    answers.attrs = parts[0].attrs
    _tell_repeated(frame, answers, priors)
    return answers


def _tell_repeated(frame: pd.DataFrame, answers: pd.DataFrame, priors: Priors) -> None:
    """Ids that repeat across chunks: told in the words that `date_table` has for those within one."""
    import pandas as pd

    from scarfdate.answer.frame import repeated_id

    ids = column(frame, "id", priors)
    if ids is None:
        return
    plain = ids.str.strip()
    warnings: list[Any] = answers["warnings"].tolist()
    for place in places(plain.duplicated() & (plain != "")):
        told, had = repeated_id(ids.iloc[place]), warnings[place]
        if pd.isna(had):
            warnings[place] = told
        elif not str(had).startswith(told):
            warnings[place] = f"{told}; {had}"
    answers["warnings"] = pd.Series(warnings, index=answers.index, dtype="string")


def print_table(answers: pd.DataFrame, ids: pd.Series | None, sentences: bool) -> None:
    """The table within the width of a screen; with sentences, each under its row."""
    from rich.console import Console
    from rich.padding import Padding
    from rich.text import Text

    class Screen(Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError  # the command answers for its exit code, not the console

    width = min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns)
    console = Screen(width=width, markup=False, highlight=False, emoji=False, soft_wrap=False)
    step = 1 if sentences else _PRINTED
    called = "id" if ids is not None else str(answers.index.name or "row")
    for start in range(0, len(answers), step):
        table = _empty_table(called if start == 0 else None)
        for place in range(start, min(start + step, len(answers))):
            name = ids.iloc[place].strip() if ids is not None else ""
            table.add_row(*map(Text, _cells(answers, place, name)))
        console.print(table)
        if sentences:
            for name, before in (
                ("sentence", ""),
                ("warnings", "note: "),
                ("not_read", "left out: "),
                ("errors", "not read: "),
            ):
                said = answers[name].iloc[start]
                if isinstance(said, str):
                    console.print(Padding(Text(fit(clean(before + said))), (0, 0, 0, 4)))


def _empty_table(called: str | None) -> Any:
    """A table of columns that are as wide in every part of a long answer; headed if ``called``."""
    from rich.table import Table

    table = Table(box=None, pad_edge=False, show_header=called is not None, padding=(0, 1, 0, 0))
    table.add_column(called or "", width=_ID, no_wrap=True, overflow="crop")
    for name, width in _COLUMNS:
        right = "right" if name in ("chance", "vintage") else "left"
        table.add_column(name, width=width, no_wrap=True, overflow="crop", justify=right)  # type: ignore[arg-type]
    return table


def _cells(answers: pd.DataFrame, place: int, name: str) -> Sequence[str]:
    """One line of the table: what the piece is called, years, decade and its chance, earliest possible
    year, chance of the age that the trade calls vintage, a mark."""
    import pandas as pd

    from scarfdate.show.sentence import percent, years

    row = answers.iloc[place]
    called = clipped(fit(clean(name or str(answers.index[place]))), _ID)
    if pd.notna(row["errors"]):
        return (called, "not read", "", "", "", "", BAD)
    return (
        called,
        years(int(row["year_from"]), int(row["year_to"]), FIRST_YEAR),
        str(row["decade"]),
        percent(float(row["decade_probability"])),
        "" if pd.isna(row["not_before"]) else str(row["not_before"]),
        percent(float(row["vintage_probability"])),
        mark(row),
    )


def mark(row: pd.Series) -> str:
    """The letter beside a row that could not be read, or that has a warning."""
    import pandas as pd

    if pd.notna(row["errors"]):
        return BAD
    return WARNED if pd.notna(row["warnings"]) or pd.notna(row["not_read"]) else ""
