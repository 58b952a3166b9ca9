"""``shelf`` and ``learn-prices``: what sells, and for how much."""

from __future__ import annotations

from typing import Any

import click

from scarfdate.cli.front import (
    level_option,
    map_options,
    model_options,
    not_read_of,
    priors_in,
    say_all,
    source,
)
from scarfdate.files import as_path, check_folder_for
from scarfdate.show.terminal import say


def book_options(command: Any) -> Any:
    """The options that say how a book of bought and sold pieces is to be read."""
    for option in (
        click.option(
            "--closed-on", metavar="DAY", help="When unsold pieces were counted, as 2026-09-30."
        ),
        click.option(
            "--currency", metavar="CODE", help="Of money that states none: EUR, GBP, USD ..."
        ),
    ):
        command = option(command)
    return map_options(command)


@click.command("shelf")
@click.argument("file")
@click.option("--out", metavar="FILE", help="Write the table: .csv, .xlsx, .json or .parquet.")
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@book_options
@level_option
@model_options
def shelf(
    file: str, out: str | None, force: bool, columns: str | None, sheet: str | None, unit: str | None,
    currency: str | None, closed_on: str | None, level: float, channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """What sells: a book (FILE) of bought and sold pieces by decade, fibre, maker and price.

    \b
    scarfdate shelf book.csv --closed-on 2026-09-30
    scarfdate shelf book.xlsx --map book.toml --out sells.csv

    One row a piece, sold or not; unsold ones are counted in how long pieces hang.
    """
    import scarfdate
    from scarfdate.reading.written import check_out, write_table

    if out is not None:
        check_out(out, force)
    priors = priors_in(folder)
    book = scarfdate.read_book(
        source(file), columns=columns, priors=priors, currency=currency, closed_on=closed_on, as_of=as_of,
        sheet=sheet, unit=unit,
    )  # fmt: skip
    sells = scarfdate.shelf(book, priors, channel=channel, as_of=as_of, level=level)
    if out is not None:  # before anything is printed: who reads it may leave
        write_table(sells.table, out, new=not force)
    for note in book.notes:
        say(f"note: {note}", err=True)
    not_read_of(book)
    say_all(str(sells))
    if out is not None:
        say(f"\nThe table is written to {out}.")


@click.command("learn-prices")
@click.argument("file")
@click.option(
    "--out", required=True, metavar="DIR", help="New folder that the prices are written to."
)
@book_options
@click.option("--route", default="laplace", show_default=True, help="laplace or hierarchical.")
@model_options
def learn_prices(
    file: str, out: str, columns: str | None, sheet: str | None, unit: str | None, currency: str | None,
    closed_on: str | None, route: str, channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Learn prices, days to sell and returns from a book (FILE) of bought and sold pieces.

    \b
    scarfdate learn-prices book.csv --out my-prices
    scarfdate appraise offered.csv --prices my-prices

    One row a piece, sold or not. Needs the extra `learn`.
    """
    import scarfdate

    check_folder_for(as_path(out, "--out"), new=True)
    priors = priors_in(folder)
    book = scarfdate.read_book(
        source(file), columns=columns, priors=priors, currency=currency, closed_on=closed_on, as_of=as_of,
        sheet=sheet, unit=unit,
    )  # fmt: skip
    for note in book.notes:
        say(f"note: {note}", err=True)
    not_read_of(book)
    prices = scarfdate.learn_prices(
        book, priors, route=route, channel_of_finding=channel, as_of=as_of
    )
    say_all(str(prices.save(out)))
    say(f"Written to {out}; appraise takes them with --prices {out}.")


COMMANDS = (shelf, learn_prices)
