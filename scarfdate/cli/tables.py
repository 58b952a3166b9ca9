"""``check-priors``, ``compare-priors``, ``build-priors`` and ``upgrade-priors``: tables of one's own."""

from __future__ import annotations

import click

from scarfdate.cli.front import (
    check_folder,
    level_option,
    priors_in,
    say_all,
    say_wrapped,
    source,
)
from scarfdate.conventions import CHANNEL
from scarfdate.errors import PriorsError
from scarfdate.show.terminal import say

_PRINTED = 10_000  # faults: of one file fewer are told, and a folder has some sixty


@click.command("check-priors")
@click.argument("folder", metavar="DIR")
@click.pass_context
def check_priors(ctx: click.Context, folder: str) -> None:
    """Check a folder of priors; tell every fault with its file, row and column.

    The folder stands alone where it has a datapackage.json; otherwise its files replace the shipped
    ones of the same name.
    """

    from scarfdate import load_priors

    check_folder(folder)
    try:
        known = load_priors(folder)
    except PriorsError as error:
        for fault in error.faults[:_PRINTED]:
            say(str(fault))
        count = len(error.faults)
        if count > _PRINTED:
            say(f"and {count - _PRINTED} more; mend these first")
        say("1 fault" if count == 1 else f"{count} faults")
        ctx.exit(1)
    say(f"no fault: {len(known.families)} families of clues, hash {known.hash[:12]}")


@click.command("compare-priors")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
@click.option("--table", metavar="FILE", help="The pile to date; the demo stock if left out.")
@click.option(
    "--as-of", type=int, metavar="YEAR", help="Last possible year; this year if left out."
)
@click.option("--channel", default=CHANNEL, show_default=True, help="Where the pieces turned up.")
@level_option
def compare_priors(
    old: str, new: str, table: str | None, as_of: int | None, channel: str, level: float
) -> None:
    """Say which pieces move from the tables in OLD to those in NEW, how far, and by which file.

    Each file that differs is put by itself into the old tables, and by itself back into the new
    ones. A piece with two hills is compared hill by hill. Takes about two seconds a file.
    """
    from scarfdate.reading.files import read_table
    from scarfdate.why.compare_priors import compare_priors

    both = priors_in(old), priors_in(new)
    say_all(
        str(
            compare_priors(
                *both, None if table is None else read_table(source(table)), channel=channel,
                as_of=as_of, level=level, say=lambda step: say(f"{step} ...", err=True),
            )
        )
    )  # fmt: skip


@click.command("build-priors")
@click.argument("records", nargs=-1, required=True, metavar="RECORDS...")
@click.option(
    "--out", required=True, metavar="DIR", help="New folder that the tables are written to."
)
@click.option("--map", "columns", metavar="FILE", help="TOML file: which column is which.")
@click.option("--trade", metavar="FILE", help="Coded trade descriptions, counted apart.")
@click.option(
    "--licence", default="", metavar="TEXT", help="Licence of the records, for every row."
)
@click.option("--priors", "folder", metavar="DIR", help="Expert rows and words of your own.")
@click.option("--force", is_flag=True, help="Write into a folder that is there, over its tables.")
def build_priors(
    records: tuple[str, ...], out: str, columns: str | None, trade: str | None, licence: str,
    folder: str | None, force: bool,
) -> None:  # fmt: skip
    """Build the tables that rest on dated records (.csv, .json, .jsonl, or a folder of them), such as a museum's export.

    Needs the extra `learn`. Rows that cannot be read are told on standard error and left out.
    """
    from scarfdate.building.build import build_priors

    built = build_priors(
        records, out, columns=columns, trade=trade, licence=licence, priors=priors_in(folder),
        force=force, say=lambda step: say(f"{step} ...", err=True),
    )  # fmt: skip
    found = built.records
    for fault in (*found.faults, *(built.trade.faults if built.trade else ())):
        say(str(fault), err=True)
    for line in found.told():
        say_wrapped(line)
    unread = sum(built.record_clues.unread.values())
    say(f"{unread} words or countries of the records were not read.")
    say(f"{len(built.files)} files written to {out}; check them with check-priors.")


@click.command("upgrade-priors")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
def upgrade_priors(old: str, new: str) -> None:
    """Write a folder of priors of an older format anew, in the present one.

    OLD stays as it is. NEW is a new folder with all that stands in OLD; what OLD lacks is taken from the
    shipped tables, a line for each.
    """
    from scarfdate import upgrade_priors

    check_folder(old)
    made = upgrade_priors(old, new, say=say)
    say(f"Written to {new}: no fault, hash {made.hash[:12]}")


COMMANDS = (check_priors, compare_priors, build_priors, upgrade_priors)
