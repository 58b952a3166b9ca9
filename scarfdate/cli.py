"""The command line: ``scarfdate date``, ``show``, ``label``, ``check-priors`` and ``build-priors``.

Exit codes: 0 all is well, 1 some rows cannot be read or a fault was found, 2 wrong usage or a file
that cannot be read at all. Text from files is shown as it stands: it never becomes markup, and no
control character of it reaches the terminal.
"""

from __future__ import annotations

import io
import shutil
import sys
from pathlib import Path
from textwrap import wrap
from typing import IO, TYPE_CHECKING, Any

import click

from scarfdate import __version__
from scarfdate.conventions import CHANNEL, FIRST_YEAR, LEVEL
from scarfdate.errors import PriorsError, ScarfdateError, TableError, did_you_mean, shown
from scarfdate.show.say import clean, clipped, fit, say

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from scarfdate.tables.priors import Priors

_WIDTH = 80
_LONG = 20_000  # rows: from here on a person waits long enough to want a bar
_CHUNK = 10_000
_PRINTED = 500  # rows laid out at a time, so that a long table starts to appear at once
_NOTHING = ("year_from", "year_to", "median_year", "decade", "decade_probability",
            "period_probability", "edtf", "predictive_p", "sentence")  # fmt: skip
# the columns of the printed table, and how wide each is
_COLUMNS = (("made", 15), ("decade", 6), ("its chance", 10), ("of its period", 13), ("", 1))
_ID = 20
_WARNED, _BAD = "?", "!"
_LONGEST_LABEL = 10_000  # characters read of a label on standard input
_OF_THE_LABEL = (
    "A label dates the label: look whether it belongs to the piece. Do not sell on it alone."
)


class _Refused(click.ClickException):
    """What the library refuses, as one plain message."""

    exit_code = 2


class _Commands(click.Group):
    """The commands; whatever the library refuses ends as a message, never as a traceback."""

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run; a terminal that cannot write a letter gets a question mark, not a crash."""
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")
        return super().main(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except ScarfdateError as error:
            raise _Refused("\n".join(map(clean, str(error).splitlines()))) from None


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="scarfdate")
def cli() -> None:
    """When was this scarf made? Years, and how sure, from what was seen.

    Start with:  scarfdate show fibre=silk hem=hand-rolled width_cm=90
    """


def main() -> None:
    """The entry point of the command ``scarfdate``."""
    cli(prog_name="scarfdate")


def _model_options(command: Any) -> Any:
    """The options that say what a dating rests on."""
    for option in (
        click.option("--priors", "folder", metavar="DIR", help="Tables of your own."),
        click.option(
            "--as-of", type=int, metavar="YEAR", help="Last possible year; this year if left out."
        ),
        click.option(
            "--level", type=float, default=LEVEL, show_default=True, help="What the years hold."
        ),
        click.option(
            "--channel", default=CHANNEL, show_default=True, help="Where the pieces turned up."
        ),
    ):
        command = option(command)
    return command


@cli.command("date")
@click.argument("file")
@click.option("--out", metavar="FILE", help="Write rows and answers: .csv, .json or .parquet.")
@click.option("--sentences", is_flag=True, help="Print what is said about each piece.")
@click.option("--quiet", is_flag=True, help="Print the counts alone.")
@_model_options
@click.pass_context
def date_command(
    ctx: click.Context, file: str, out: str | None, sentences: bool, quiet: bool,
    channel: str, level: float, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Date every row of FILE (.csv, .xlsx, .json; - reads standard input).

    Prints a table. Rows that cannot be read are told on standard error, and the exit code is 1.
    """
    from scarfdate.reading.files import check_target, read_table, write_table

    if out is not None:
        check_target(out)
    priors = _priors(folder)
    frame = read_table(_source(file))
    answers = _dated(frame, priors, channel, level, as_of)
    if out is not None:
        import pandas as pd

        write_table(pd.concat([frame, answers], axis=1), out)
    ids = _column(frame, "id")
    if not quiet:
        _print_table(answers, ids, sentences)
    bad, warned = answers["errors"].notna(), answers["warnings"].notna()
    pieces = "1 piece" if len(answers) == 1 else f"{len(answers)} pieces"
    counts = (
        f"{pieces}: {int((~bad).sum())} dated, {int(bad.sum())} not read ({_BAD}), "
        f"{int((warned & ~bad).sum())} with a warning ({_WARNED}). "
        f"Years hold {level:.0%}; channel {channel}."
        + (f" Written to {out}." if out is not None else "")
    )
    for line in wrap(counts, _WIDTH - 1, break_long_words=False):
        say(line)
    for place in _places(bad):
        called = ids.iloc[place].strip() if ids is not None else ""
        name = f" ({called})" if called else ""
        where = f"{frame.index.name} {frame.index[place]}{name}"
        say(f"{where}: {answers['errors'].iloc[place]}", err=True)
    if bad.any():
        ctx.exit(1)


@cli.command("show")
@click.argument("seen", nargs=-1, required=True, metavar="FILE|CLUE=VALUE...")
@click.option("--id", "wanted", metavar="ID", help="Which row of FILE, by its id column.")
@_model_options
def show_command(
    seen: tuple[str, ...], wanted: str | None,
    channel: str, level: float, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Show one scarf: the sentence, its decades as bars, the facts.

    \b
    scarfdate show stock.csv --id V012
    scarfdate show fibre=silk hem=hand-rolled width_cm=90
    scarfdate show 'fibre={"silk": 0.8, "polyester": 0.2}' fibre_method=burn
    """
    from scarfdate.answer.one_scarf import date_scarf
    from scarfdate.reading.scarf import Scarf

    priors = _priors(folder)
    if len(seen) == 1 and "=" not in seen[0]:
        clues = _row(seen[0], wanted, priors)
    elif wanted is not None:
        raise click.UsageError("--id goes with one file: scarfdate show FILE --id ID")
    else:
        clues = _pairs(seen, priors)
    scarf = Scarf.from_dict(clues, priors=priors)
    dating = date_scarf(scarf, priors=priors, channel=channel, level=level, as_of=as_of)
    for line in str(dating).splitlines():
        say(line)


@cli.command("label")
@click.argument("lines", nargs=-1, required=True, metavar="TEXT...")
@click.option(
    "--market", metavar="WORD", help="Where it was offered: us, canada, europe, elsewhere."
)
@_model_options
def label_command(
    lines: tuple[str, ...], market: str | None,
    channel: str, level: float, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Read what is printed on a label: its marks, what each bounds, and the years.

    \b
    scarfdate label "PURE SILK" "MADE IN ITALY" "RN 60000"
    scarfdate label --market us "...DE IN JAP"

    Each TEXT is a line; - reads standard input. [cut] or ... says that the label is cut there, ?
    stands for a letter that cannot be made out, and [wash 30] for a printed sign.
    """
    from scarfdate.answer.one_scarf import date_scarf
    from scarfdate.reading.label import read_label
    from scarfdate.reading.scarf import Scarf

    priors = _priors(folder)
    text = sys.stdin.read(_LONGEST_LABEL) if lines == ("-",) else "\n".join(lines)
    label = read_label(text, market, priors=priors)
    for line in str(label).splitlines():
        say(line)
    scarf = Scarf(label_text=text, priors=priors)
    dating = date_scarf(scarf, priors=priors, channel=channel, level=level, as_of=as_of)
    for text in (f"By the label alone: {dating.sentence}", _OF_THE_LABEL):
        for line in wrap(text, _WIDTH - 1):
            say(line)


@cli.command("check-priors")
@click.argument("folder", metavar="DIR")
@click.pass_context
def check_priors_command(ctx: click.Context, folder: str) -> None:
    """Check a folder of priors; tell every fault with its file, row and column.

    The folder stands alone where it has a datapackage.json; otherwise its files replace the shipped
    ones of the same name.
    """
    from scarfdate.tables.priors import load_priors

    _check_folder(folder)
    try:
        known = load_priors(folder)
    except PriorsError as error:
        for fault in error.faults:
            say(str(fault))
        count = len(error.faults)
        say("1 fault" if count == 1 else f"{count} faults")
        ctx.exit(1)
    say(f"no fault: {len(known.families)} families of clues, hash {known.hash[:12]}")


@cli.command("build-priors")
@click.argument("records", nargs=-1, required=True, metavar="RECORDS...")
@click.option("--out", required=True, metavar="DIR", help="Folder that the tables are written to.")
@click.option("--map", "columns", metavar="FILE", help="TOML file: which column is which.")
@click.option("--trade", metavar="FILE", help="Coded trade descriptions, counted apart.")
@click.option(
    "--licence", default="", metavar="TEXT", help="Licence of the records, for every row."
)
@click.option("--priors", "folder", metavar="DIR", help="Expert rows and words of your own.")
def build_priors_command(
    records: tuple[str, ...], out: str, columns: str | None, trade: str | None, licence: str,
    folder: str | None,
) -> None:  # fmt: skip
    """Build the tables that rest on dated records (.csv, .json), such as a museum's export.

    Needs the extra `learn`. Rows that cannot be read are told on standard error and left out.
    """
    from scarfdate.building.build import build_priors

    built = build_priors(
        records, out, columns=columns, trade=trade, licence=licence, priors=_priors(folder),
        say=lambda step: say(f"{step} ...", err=True),
    )  # fmt: skip
    found = built.records
    for fault in (*found.faults, *(built.trade.faults if built.trade else ())):
        say(str(fault), err=True)
    undated = sum(found.undated.values())
    say(
        f"{found.rows} rows: {len(found)} dated records in {found.effective} clumps, "
        f"{undated} without a date, {sum(found.left_out.values()) - undated} left out."
    )
    unread = sum(built.record_clues.unread.values())
    say(f"{unread} words or countries of the records were not read.")
    say(f"{len(built.files)} files written to {out}; check them with check-priors.")


def _check_folder(folder: str) -> None:
    try:
        there = Path(folder).is_dir()
    except ValueError:
        there = False
    if not there:
        raise ScarfdateError(f"{folder}: there is no such folder; check the path")


def _priors(folder: str | None) -> Priors:
    from scarfdate.tables.priors import load_priors

    if folder is not None:
        _check_folder(folder)
    return load_priors(folder)


def _places(wanted: pd.Series) -> list[int]:
    """Where a column of yes and no says yes, counted from 0."""
    return [place for place, yes in enumerate(wanted.tolist()) if yes]


def _source(file: str) -> str | IO[bytes]:
    return sys.stdin.buffer if file == "-" else file


def _column(frame: pd.DataFrame, name: str) -> pd.Series | None:
    """A column by its name as the reader compares names."""
    from scarfdate.reading.cells import column_name

    found = [place for place, column in enumerate(frame.columns) if column_name(column) == name]
    return frame.iloc[:, found[0]] if found else None


def _dated(
    frame: pd.DataFrame, priors: Priors, channel: str, level: float, as_of: int | None
) -> pd.DataFrame:
    """`date_table`, a chunk at a time behind a progress bar where someone is waiting for a long one."""
    from scarfdate.answer.date import date_table

    if len(frame) <= _LONG or not sys.stderr.isatty():
        return date_table(frame, priors=priors, channel=channel, level=level, as_of=as_of)
    import pandas as pd
    from tqdm import tqdm

    parts = []
    with tqdm(total=len(frame), unit=" rows", file=sys.stderr, leave=False) as bar:
        for start in range(0, len(frame), _CHUNK):
            part = frame.iloc[start : start + _CHUNK]
            parts.append(date_table(part, priors=priors, channel=channel, level=level, as_of=as_of))
            bar.update(len(part))
    answers = pd.concat(parts)
    _tell_repeated(frame, answers)
    return answers


def _tell_repeated(frame: pd.DataFrame, answers: pd.DataFrame) -> None:
    """Ids that repeat across chunks: told in the words that `date_table` has for those within one."""
    import pandas as pd

    ids = _column(frame, "id")
    if ids is None:
        return
    plain = ids.str.strip()
    errors: list[Any] = answers["errors"].tolist()
    blank = []
    for place in _places(plain.duplicated() & (plain != "")):
        told = f"id: {shown(ids.iloc[place])} stands in an earlier row, too"
        had = errors[place]
        if pd.isna(had):
            errors[place] = told
            blank.append(place)
        elif not str(had).startswith(told):
            errors[place] = f"{told}; {had}"
    answers["errors"] = pd.Series(errors, index=answers.index, dtype="string")
    emptied = pd.Series(False, index=answers.index)
    emptied.iloc[blank] = True
    for name in _NOTHING:
        answers[name] = answers[name].mask(emptied)


def _print_table(answers: pd.DataFrame, ids: pd.Series | None, sentences: bool) -> None:
    """The table within the width of a screen; with sentences, each under its row."""
    from rich.console import Console
    from rich.padding import Padding
    from rich.text import Text

    width = min(_WIDTH, shutil.get_terminal_size((_WIDTH, 24)).columns)
    console = Console(width=width, markup=False, highlight=False, emoji=False, soft_wrap=False)
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
                ("errors", "not read: "),
            ):
                said = answers[name].iloc[start]
                if isinstance(said, str):
                    console.print(Padding(Text(fit(clean(before + said))), (0, 0, 0, 4)))


def _empty_table(called: str | None) -> Any:
    """A table of columns that are as wide in every part of a long answer; headed if ``called``."""
    from rich.table import Table

    table = Table(box=None, pad_edge=False, show_header=called is not None, padding=(0, 1))
    table.add_column(called or "", width=_ID, no_wrap=True, overflow="crop")
    for name, width in _COLUMNS:
        right = "right" if name.startswith(("its", "of")) else "left"
        table.add_column(name, width=width, no_wrap=True, overflow="crop", justify=right)  # type: ignore[arg-type]
    return table


def _cells(answers: pd.DataFrame, place: int, name: str) -> Sequence[str]:
    """One line of the table: what the piece is called, years, decade, chances, a mark."""
    import pandas as pd

    from scarfdate.show.sentence import percent, years

    row = answers.iloc[place]
    called = clipped(fit(clean(name or str(answers.index[place]))), _ID)
    if pd.notna(row["errors"]):
        return (called, "not read", "", "", "", _BAD)
    return (
        called,
        years(int(row["year_from"]), int(row["year_to"]), FIRST_YEAR),
        str(row["decade"]),
        percent(float(row["decade_probability"])),
        percent(float(row["period_probability"])),
        _WARNED if pd.notna(row["warnings"]) else "",
    )


def _row(file: str, wanted: str | None, priors: Priors) -> dict[str, object]:
    """The clues of one row of a file."""
    from scarfdate.reading.cells import column_name
    from scarfdate.reading.files import read_table

    frame = read_table(_source(file))
    if wanted is None:
        if len(frame) > 1:
            raise click.UsageError(f"the file has {len(frame)} rows; say which one with --id ID")
        places = [0]
    else:
        ids = _column(frame, "id")
        if ids is None:
            raise TableError(f"{file}: there is no column 'id' to look for {shown(wanted)} in")
        plain = ids.str.strip()
        places = _places(plain == wanted.strip())
        if not places:
            hint = did_you_mean(wanted, plain.unique().tolist())
            raise TableError(f"{file}: no row has the id {shown(wanted)}; {hint}")
        if len(places) > 1:
            lines = ", ".join(str(frame.index[place]) for place in places[:5])
            raise TableError(
                f"{file}: the id {shown(wanted)} stands in {len(places)} rows "
                f"({frame.index.name} {lines}); give each piece its own"
            )
    cells = zip(frame.columns, frame.iloc[places[0]], strict=True)
    given = {column_name(column): cell for column, cell in cells if cell.strip()}
    kept = {
        name: cell for name, cell in given.items() if name == "note" or not name.startswith("note")
    }
    return _known(kept, "column", priors)


def _pairs(seen: Sequence[str], priors: Priors) -> dict[str, object]:
    """Clues from arguments such as ``fibre=silk``."""
    from scarfdate.reading.cells import column_name

    found: dict[str, object] = {}
    for text in seen:
        name, equals, value = text.partition("=")
        if not equals:
            raise click.UsageError(
                f"write a clue as name=value, such as fibre=silk; got {shown(text)}"
            )
        if (plain := column_name(name)) in found:
            raise click.UsageError(f"{shown(name)} is given twice; weights are written as JSON")
        found[plain] = value
    return _known(found, "clue", priors)


def _known(given: dict[str, object], what: str, priors: Priors) -> dict[str, object]:
    """The same, once every name is one that a scarf takes."""
    from scarfdate.reading.scarf import keywords

    known = [*keywords(priors), *(f"{name}_method" for name in priors.confusion)]
    for name in given:
        if name not in known:
            raise ScarfdateError(f"{what} {shown(name)} is not known; {did_you_mean(name, known)}")
    return given


if __name__ == "__main__":
    main()
