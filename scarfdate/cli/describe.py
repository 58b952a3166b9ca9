"""``describe``: a piece, or every row of a table, put into words for a buyer."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scarfdate.cli.front import (
    WIDTH,
    Layout,
    Refused,
    id_option,
    model_options,
    priors_in,
    row_options,
    say_all,
    say_wrapped,
)
from scarfdate.cli.pieces import apart, column, pairs, row_of, say_left_out, sheet_of
from scarfdate.files import check_new, write_whole
from scarfdate.show.terminal import say
from scarfdate.tables.listing import LANGUAGES

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate.tables.priors import Priors
    from scarfdate.worth.listing import Listing

_FORMS = {".txt": "text", ".md": "markdown", ".html": "html", ".json": "json"}
_BESIDE = (".csv", ".xlsx", ".parquet")  # the rows as they were, and the listing behind them
_RULE = "-" * (WIDTH - 1)


@click.command("describe")
@click.argument("seen", nargs=-1, required=True, metavar="FILE|CLUE=VALUE...")
@id_option
@click.option("--condition", metavar="TEXT", help="Its faults: '2 small pulls near edge'.")
@click.option("--language", type=click.Choice(LANGUAGES), default="en", show_default=True)
@click.option(
    "--as", "form", type=click.Choice([*_FORMS.values()]), help="Print only what to publish."
)
@click.option(
    "--out", metavar="FILE", help="Write it: .txt .md .html .json; of a table .csv .xlsx too."
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@row_options
@model_options
@click.pass_context
def describe(
    ctx: click.Context, seen: tuple[str, ...], wanted: str | None, condition: str | None, language: str,
    form: str | None, out: str | None, force: bool, layout: Layout, channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Describe one piece, or every row of FILE, for sale: what it is, its age, its faults.

    Photographs to take are printed below; they are for you.

    \b
    scarfdate describe fibre=silk hem=hand-rolled size="90 x 90 cm"
    scarfdate describe stock.csv --id V012 --language de --as html
    scarfdate describe stock.csv --out listings.md
    """
    from scarfdate.worth.describe import describe_table
    from scarfdate.worth.listing import document

    ending = _ending(out, force)
    priors = priors_in(folder)
    seen, condition = apart(seen, condition)
    table, clues, unit, many = _rows(seen, wanted, priors, layout)
    if condition is not None:
        if len(clues) != 1:
            raise click.UsageError("--condition is of one piece: clues, or FILE with --id ID")
        clues = clues.assign(condition=[condition])
    found = describe_table(
        clues, language=language, priors=priors, channel=channel, as_of=as_of, unit=unit
    )
    if out is not None:
        if ending in _BESIDE:
            _write_beside(table, found, out, new=not force)
        else:
            write_whole(
                Path(out), document(found, _FORMS[ending], many=many).encode(), new=not force
            )
        say_wrapped(f"{len(found)} described. Written to {out}.")
    elif form is not None:
        say_all(document(found, form, many=many))
    else:
        _print(found)
    if _told(found, clues, priors):
        ctx.exit(1)


def _ending(out: str | None, force: bool) -> str:
    """The ending of the file to be written, before the work is done."""
    if out is None:
        return ""
    from scarfdate.reading.written import check_out

    ending = Path(out).suffix.casefold()
    if ending not in (*_FORMS, *_BESIDE):
        raise Refused(f"{out}: endings written: {', '.join((*_FORMS, *_BESIDE))}")
    if ending in _BESIDE:
        check_out(out, force)
    else:
        check_new(out, force)
    return ending


def _rows(
    seen: Sequence[str], wanted: str | None, priors: Priors, layout: Layout
) -> tuple[pd.DataFrame, pd.DataFrame, str | None, bool]:
    """The rows as they were written, the same by our names, the unit of sizes, and whether they are a table."""
    import pandas as pd

    if len(seen) > 1 or "=" in seen[0]:
        if wanted is not None:
            raise click.UsageError("--id goes with one file, as in: FILE --id ID")
        frame = pd.DataFrame([pairs(seen, priors)], dtype=object)
        return frame, frame, layout.unit, False
    if wanted is None:
        read = sheet_of(seen[0], priors, layout)
        return read.table, read.clues, read.unit, True
    return *row_of(seen[0], wanted, priors, layout), False


def _write_beside(table: pd.DataFrame, found: Sequence[Listing], out: str, *, new: bool) -> None:
    from scarfdate.reading.written import write_table

    texts = {
        "listing_title": [one.title for one in found],
        "listing": [one.text for one in found],
    }
    own = [name for name in table.columns if str(name) not in texts]
    write_table(table[own].assign(**texts), out, new=new)


def _print(found: Sequence[Listing]) -> None:
    """Each as it prints, within the width of a screen, with a line between two."""
    for place, one in enumerate(found):
        if place:
            say(_RULE)
        for line in str(one).splitlines():
            if line.startswith("- "):
                say_wrapped(line[2:], "- ", hanging=True)
            elif line:
                say_wrapped(line)
            else:
                say("")


def _told(found: Sequence[Listing], clues: pd.DataFrame, priors: Priors) -> bool:
    """Whether a cell was left out of any; each is told on standard error."""
    ids = column(clues, "id", priors)

    def where(place: int) -> str:
        called = str(ids.iloc[place]).strip() if ids is not None else ""
        return f"{clues.index.name or 'row'} {clues.index[place]}{f' ({called})' if called else ''}"

    return say_left_out(
        (where(place), reason) for place, one in enumerate(found) for reason in one.left_out
    )


COMMANDS = (describe,)
