"""The command itself, the options that many verbs share, and refusals as plain messages."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from textwrap import wrap
from typing import IO, TYPE_CHECKING, Any, NamedTuple, TextIO

import click

from scarfdate import __version__
from scarfdate.conventions import CHANNEL, LEVEL
from scarfdate.errors import ScarfdateError
from scarfdate.show.terminal import clean, say

if TYPE_CHECKING:
    from scarfdate import Book, SoldRecords
    from scarfdate.tables.priors import Priors

WIDTH = 80
_NOT_READ = "scarfdate.not_read"
_STOPPED, _UNREAD = 130, 141  # exit codes: 128 and the number of the signal


class Refused(click.ClickException):
    """What the library refuses, as one plain message."""

    exit_code = 2


class Commands(click.Group):
    """The commands; whatever the library refuses ends as a message, never as a traceback."""

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run; a terminal that cannot write a letter gets a question mark, not a crash."""
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")
        return super().main(*args, **extra)

    def make_context(self, *args: Any, **extra: Any) -> click.Context:
        """Read what stands in front of a command."""
        with _as_messages():
            return super().make_context(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command."""
        with _as_messages():
            answer = super().invoke(ctx)
            if ctx.meta.get(_NOT_READ):
                ctx.exit(1)
            return answer


@contextmanager
def _as_messages() -> Iterator[None]:
    """Whatever ends a command ends it as a plain message and an exit code, its help, too."""
    try:
        yield
    except click.ClickException as error:  # which repeats what was typed, or copied from somewhere
        vars(error)["message"] = _cleaned(error.message)  # to click it is final
        raise
    except ScarfdateError as error:
        raise Refused(_cleaned(str(error))) from None
    except KeyboardInterrupt:
        raise click.exceptions.Exit(_STOPPED) from None
    except BrokenPipeError:
        _drop_output()
        raise click.exceptions.Exit(_UNREAD) from None
    except OSError as error:
        _drop_output()
        place = "the output" if error.filename is None else str(error.filename)
        raise Refused(clean(f"{place} cannot be written or read: {error.strerror}")) from None


def _cleaned(text: str) -> str:
    return "\n".join(map(clean, text.splitlines()))


def _drop_output() -> None:
    """What is left to print goes nowhere: it would fail again, as a traceback, when Python ends."""
    try:
        output = sys.stdout.fileno()
    except (AttributeError, OSError):
        return  # there is none, or it is no file
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, output)
    os.close(nowhere)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="scarfdate")
def cli() -> None:
    """When was this scarf made? Years, and how sure, from what was seen.

    Start with:  scarfdate show fibre=silk hem=hand-rolled width_cm=90
    """


class ChannelOption(click.Option):
    """The option for where the pieces turned up; its help names the channels of the shipped tables."""

    def get_help_record(self, ctx: click.Context) -> tuple[str, str] | None:
        """The option and its help."""
        from scarfdate.tables.priors import load_priors

        self.help = f"Where they turned up: {', '.join(load_priors().century.channels)}."
        return super().get_help_record(ctx)


def priors_option(command: Any) -> Any:
    """The option for tables of one's own."""
    return click.option("--priors", "folder", metavar="DIR", help="Tables of your own.")(command)


def model_options(command: Any) -> Any:
    """The options that say what a dating rests on."""
    for option in (
        priors_option,
        click.option(
            "--as-of", type=int, metavar="YEAR", help="Last possible year; default: this one."
        ),
        click.option("--channel", cls=ChannelOption, default=CHANNEL, show_default=True),
    ):
        command = option(command)
    return command


class Layout(NamedTuple):
    """How a FILE of pieces is laid out: ``columns``, its map; ``sheet`` of a spreadsheet; ``unit`` of sizes that
    state none; ``encoding`` of a CSV file."""

    columns: str | None
    sheet: str | None
    unit: str | None
    encoding: str | None


def row_options(command: Any) -> Any:
    """The options that say how a FILE of pieces is laid out; the command gets them as ``layout``."""

    @wraps(command)
    def laid_out(*arguments: Any, **options: Any) -> Any:
        layout = Layout(*(options.pop(name) for name in Layout._fields))
        return command(*arguments, layout=layout, **options)

    decorated: Any = laid_out
    for option in (
        click.option("--encoding", metavar="NAME", help="Of a CSV file, if not recognised."),
        click.option("--unit", metavar="UNIT", help="Unit of sizes that state none: cm, in."),
        click.option("--sheet", metavar="NAME", help="Of a spreadsheet: which sheet."),
        click.option(
            "--columns", metavar="MAP.toml", help="Which of your columns is which of ours."
        ),
    ):
        decorated = option(decorated)
    return decorated


def map_options(command: Any) -> Any:
    """The options that say how a dealer's table is laid out."""
    for option in (
        click.option("--unit", metavar="UNIT", help="Unit of sizes that state none: cm, in."),
        click.option("--map", "columns", metavar="FILE", help="TOML file: which column is which."),
        click.option("--sheet", metavar="NAME", help="Which sheet of a spreadsheet."),
    ):
        command = option(command)
    return command


def _only_one(ctx: click.Context, option: click.Parameter, given: tuple[str, ...]) -> str | None:
    """What an option was given, if once; the first of two would be left out without a word."""
    if len(given) > 1:
        raise click.UsageError(f"{option.opts[0]} goes with one row; ask for one after the other")
    return given[0] if given else None


def id_option(command: Any) -> Any:
    """The option for one row of a file."""
    return click.option(
        "--id",
        "wanted",
        multiple=True,
        callback=_only_one,
        metavar="ID",
        help="Which row of FILE, by its id column.",
    )(command)


def level_option(command: Any) -> Any:
    """The option for how much an interval holds."""
    return click.option(
        "--level",
        type=float,
        default=LEVEL,
        show_default=True,
        help="How sure the years are to be: 0.8 is 80 %.",
    )(command)


def check_folder(folder: str) -> None:
    """Refuse what is no folder; an empty name, as of a variable that is not set, is none."""
    if not folder.strip():
        raise ScarfdateError("the name of the folder is empty; name a folder")
    name = clean(folder)
    try:
        there, is_file = Path(folder).is_dir(), Path(folder).is_file()
    except ValueError:
        there = is_file = False
    if is_file:
        raise ScarfdateError(f"{name}: this is a file; name the folder that it lies in")
    if not there:
        raise ScarfdateError(f"{name}: there is no such folder; check the path")


def priors_in(folder: str | None) -> Priors:
    """The tables of a folder, or the shipped ones."""
    from scarfdate.tables.priors import load_priors

    if folder is not None:
        check_folder(folder)
    return load_priors(folder)


def source(file: str) -> str | IO[bytes]:
    """A file by its name; "-" is standard input."""
    return standard_input().buffer if file == "-" else file


def standard_input() -> TextIO:
    """Standard input, where there is one."""
    if sys.stdin is None:  # the caller has closed it
        raise ScarfdateError("-: there is no standard input to read; name a file, or pipe one in")
    return sys.stdin


def not_read(anything: object = True) -> None:
    """Some cells or rows could not be read, where there is ``anything``: the command will end with exit code 1."""
    if anything:
        click.get_current_context().meta[_NOT_READ] = True


def not_read_of(records: SoldRecords | Book) -> None:
    """The same of a book: rows that cannot be read or hold what cannot be, and cells of the others."""
    from scarfdate.records.row import BY_RULE, Unread

    rows = not {*records.left_out["kind"]} <= BY_RULE
    not_read(rows or any(isinstance(note, Unread) for note in records.notes))


def say_all(text: str) -> None:
    """Print text line by line, as it is laid out."""
    for line in text.splitlines():
        say(line)


def say_wrapped(text: str, indent: str = "", err: bool = False, *, hanging: bool = False) -> None:
    """Print one paragraph within the width of a screen; with an indent, its further lines further in, or where
    it is ``hanging`` as far in."""
    further = " " * len(indent) if hanging else indent + "  " if indent else ""
    for line in wrap(
        text, WIDTH - 1, break_long_words=False, initial_indent=indent, subsequent_indent=further
    ):
        say(line, err=err)
