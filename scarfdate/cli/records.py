"""``card``, ``learn``, ``score`` and ``simulate``: from records to tables, and from tables to paper."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from scarfdate.cli.front import (
    level_option,
    map_options,
    model_options,
    not_read_of,
    priors_in,
    say_all,
    say_wrapped,
)
from scarfdate.errors import ScarfdateError, shown
from scarfdate.files import as_path, check_folder_for, check_new, csv_bytes, safe_cell
from scarfdate.show.terminal import say

if TYPE_CHECKING:
    from scarfdate import SoldRecords

_REASONS = 5  # of rows left out that are told


def _sold_options(command: Any) -> Any:
    admit = click.option(
        "--admit",
        multiple=True,
        metavar="KIND",
        help="Circular dates to let in: own-judgement, label-law.",
    )
    return admit(map_options(command))


@click.command("card")
@click.argument("out", metavar="OUT.html")
@click.option(
    "--clue",
    "clues",
    multiple=True,
    metavar="NAME",
    help="A clue to choose among; all if left out.",
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@model_options
def card(
    out: str, clues: tuple[str, ...], force: bool,
    channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Make the card for the pocket: one printed sheet of points, fitted to the exact answer.

    \b
    scarfdate card card.html --channel estate
    """
    from scarfdate import pocket_card

    check_new(out, force)
    made = pocket_card(priors_in(folder), channel, clues=list(clues) or None, as_of=as_of)
    say(f"Written to {made.save(out, new=not force)}.")


@click.command("learn")
@click.argument("file")
@click.option(
    "--out", required=True, metavar="DIR", help="New folder that the tables are written to."
)
@_sold_options
@click.option(
    "--route",
    default="laplace",
    show_default=True,
    help="laplace, hierarchical, counts, em or trust.",
)
@click.option(
    "--all-that-turned-up",
    "everything",
    is_flag=True,
    help="The records are all that came in, not only what was bought.",
)
@model_options
def learn(
    file: str, out: str, columns: str | None, sheet: str | None, unit: str | None, admit: tuple[str, ...], route: str,
    everything: bool, channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Learn the tables from sold records (FILE) whose years are known, and write them to a new folder.

    \b
    scarfdate learn sold.csv --map sold.toml --out my-priors
    scarfdate score later.csv --map sold.toml --priors my-priors

    Needs the extra `learn`. Records whose date was read off the clues are left out and counted.
    """
    import scarfdate

    check_folder_for(as_path(out, "--out"), new=True)
    priors = priors_in(folder)
    records = scarfdate.read_sold(
        file, columns=columns, priors=priors, admit=admit, sheet=sheet, as_of=as_of, unit=unit
    )
    say_all(str(records))
    _say_reasons(records)
    learned = scarfdate.learn(
        records, priors, route=route, channel=channel, as_of=as_of, all_that_turned_up=everything
    )
    learned.save(out)
    say_all(str(learned))
    say(
        f"Written to {out}; check whether it helped with score, on records that were not used here."
    )


def _say_reasons(records: SoldRecords) -> None:
    """Why rows were left out, the first of each reason; on standard error."""
    first = records.left_out.drop_duplicates("reason").iloc[:_REASONS]
    for row in first.itertuples():
        say_wrapped(f"row {row.row} ({row.place}) is left out: {row.reason}", err=True)
    not_read_of(records)


@click.command("score")
@click.argument("file")
@_sold_options
@click.option(
    "--against", metavar="DIR", help="Other tables, scored on the same records: better or worse?"
)
@level_option
@model_options
def score(
    file: str, columns: str | None, sheet: str | None, unit: str | None, admit: tuple[str, ...], against: str | None,
    level: float, channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Score datings of records (FILE) whose years are known: log score, years off, intervals.

    \b
    scarfdate score later.csv --priors my-priors
    scarfdate score later.csv --priors old-priors --against my-priors
    """
    import scarfdate

    priors = priors_in(folder)
    records = scarfdate.read_sold(
        file, columns=columns, priors=priors, admit=admit, sheet=sheet, as_of=as_of, unit=unit
    )
    _say_reasons(records)
    if against is None:
        result: object = scarfdate.score(priors, records, channel=channel, as_of=as_of, level=level)
    else:
        result = scarfdate.before_after(
            priors, priors_in(against), records, channel=channel, as_of=as_of, level=level
        )
    say_all(str(result))


@click.command("simulate")
@click.argument("n", type=int)
@click.option(
    "--out",
    metavar="FILE",
    help="Write the pieces: .csv, .xlsx, .json or .parquet; printed as CSV if left out.",
)
@click.option(
    "--seed", type=int, default=1, show_default=True, help="The same seed gives the same pieces."
)
@click.option(
    "--looked-at",
    type=float,
    default=0.6,
    show_default=True,
    help="Chance that a clue was looked at.",
)
@click.option(
    "--truth", is_flag=True, help="Add what is true of each piece (year, grade, market, mode)."
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@model_options
def simulate(
    n: int, out: str | None, seed: int, looked_at: float, truth: bool, force: bool,
    channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Draw N scarves from the tables, as a dealer's sheet, for practice or for trying things out.

    \b
    scarfdate simulate 40 --seed 7 --out pile.csv
    """
    import numpy as np
    import pandas as pd

    from scarfdate import simulate as draw
    from scarfdate.reading.written import check_out, write_table

    if seed < 0:
        raise ScarfdateError(f"--seed: a whole number from 0 is allowed, got {shown(seed)}")
    if out is not None:
        check_out(out, force)
    drawn = draw(
        priors_in(folder),
        n,
        np.random.default_rng(seed),
        channel=channel,
        as_of=as_of,
        looked_at=looked_at,
    )
    frame = drawn.frame()
    if truth:
        known = pd.DataFrame(dict(drawn.truth)).add_prefix("note_true_")
        frame = pd.concat(
            [frame, known.rename(columns=lambda name: name.replace("true_true_", "true_"))], axis=1
        )
    if out is None:
        plain = frame.astype(object).where(frame.notna(), "").map(safe_cell)
        say_all(csv_bytes([map(safe_cell, plain.columns), *plain.to_numpy().tolist()]).decode())
    else:
        write_table(frame, out, new=not force)
        say_wrapped(f"{n} simulated pieces written to {out}; nothing about them is real.")


COMMANDS = (card, learn, score, simulate)
