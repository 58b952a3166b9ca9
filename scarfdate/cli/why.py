"""``explain``, ``next`` and ``compare``: why, what to look at, and which of two is older."""

from __future__ import annotations

import shlex

import click

from scarfdate.cli.front import (
    Layout,
    id_option,
    level_option,
    model_options,
    priors_in,
    row_options,
    say_all,
    say_wrapped,
)
from scarfdate.cli.pieces import piece

_ONE_PIECE = "FILE|CLUE=VALUE..."


@click.command("explain")
@click.argument("seen", nargs=-1, required=True, metavar=_ONE_PIECE)
@id_option
@click.option(
    "--claim", metavar="TEXT", help="Such as 1960s, 'before 1970', '1960s rather than 1970s'."
)
@click.option("--conflict", "with_conflict", is_flag=True, help="Which clue fits the others worst.")
@click.option(
    "--sensitivity", "with_sensitivity", is_flag=True, help="How far wrong tables move the answer."
)
@row_options
@model_options
def explain(
    seen: tuple[str, ...], wanted: str | None, claim: str | None, with_conflict: bool,
    with_sensitivity: bool, layout: Layout,
    channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Explain a dating: what each clue weighs, and what sets its earliest and latest years.

    \b
    scarfdate explain stock.csv --id V012 --claim "1960s rather than 1970s"
    scarfdate explain fibre=silk hem=hand-rolled layout=colour-blocks

    Ten decibans are odds of ten to one. Without --claim, the shortest interval is explained.
    """
    import scarfdate

    priors = priors_in(folder)
    scarf = piece(seen, wanted, priors, layout)
    why = scarfdate.explain(scarf, claim, priors=priors, channel=channel, as_of=as_of)
    say_wrapped(str(why))
    for row in why.to_frame().itertuples():
        say_all(f"  {row.share:+6.1f} decibans  {row.seen}")
    for edge in scarfdate.edges(scarf, priors=priors, channel=channel, as_of=as_of):
        say_wrapped(str(edge))
    if with_conflict:
        found = scarfdate.conflict(scarf, priors=priors, channel=channel, as_of=as_of)
        say_wrapped(str(found))
    if with_sensitivity:
        moved = scarfdate.sensitivity(scarf, priors=priors, channel=channel, as_of=as_of)
        say_wrapped(str(moved))


@click.command("next")
@click.argument("seen", nargs=-1, required=True, metavar=_ONE_PIECE)
@id_option
@click.option("--minutes", type=float, metavar="N", help="How much time there is.")
@click.option("--harmful", is_flag=True, help="List what can harm the piece, too, with cautions.")
@click.option("--worth", type=float, metavar="MONEY", help="What the piece is worth as it is.")
@click.option("--at-stake", type=float, metavar="MONEY", help="What hangs on the right decade.")
@row_options
@model_options
def next_(
    seen: tuple[str, ...], wanted: str | None, minutes: float | None, harmful: bool,
    worth: float | None, at_stake: float | None, layout: Layout,
    channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Say what to look at next on a piece, best first for the time that it takes.

    \b
    scarfdate next fibre=silk form=square
    scarfdate next stock.csv --id V012 --minutes 5
    """
    from scarfdate import next_checks

    priors = priors_in(folder)
    looks = next_checks(
        piece(seen, wanted, priors, layout), priors=priors, channel=channel, as_of=as_of,
        minutes=minutes, harmless=not harmful, worth=worth, at_stake=at_stake,
    )  # fmt: skip
    for line in str(looks).splitlines():
        say_wrapped(line.strip(), "  " if line.startswith(" ") else "")


@click.command("compare")
@click.argument("pieces", nargs=-1, required=True, metavar="FILE|PIECE PIECE")
@click.option(
    "--id", "wanted", multiple=True, metavar="ID", help="Two rows of FILE: give it twice."
)
@row_options
@model_options
@level_option
def compare(
    pieces: tuple[str, ...], wanted: tuple[str, ...], layout: Layout,
    channel: str, level: float, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Say which of two pieces is older, and which clues make the difference.

    \b
    scarfdate compare stock.csv --id V012 --id V033
    scarfdate compare "fibre=silk hem=hand-rolled" "fibre=polyester"
    """
    import scarfdate

    priors = priors_in(folder)
    if len(pieces) == 1 and len(wanted) == 2:
        both = [piece(pieces, name, priors, layout) for name in wanted]
    elif len(pieces) == 2 and not wanted:
        both = [piece(_words(text), None, priors, layout) for text in pieces]
    else:
        raise click.UsageError("give one file and two --id, or two pieces, each between quotes")
    first, second = (
        scarfdate.date_scarf(scarf, priors=priors, channel=channel, level=level, as_of=as_of)
        for scarf in both
    )
    for place, dating in enumerate((first, second)):
        name = f" ({wanted[place]})" if wanted else ""
        say_wrapped(f"The {'second' if place else 'first'}{name}: {dating.sentence}")
    say_wrapped(str(scarfdate.compare(first, second, level)))


def _words(text: str) -> list[str]:
    """What was noted, cell by cell; a word without a "=" belongs to the cell before it."""
    try:
        words = shlex.split(text)
    except ValueError as error:
        raise click.UsageError(f"{text}: {str(error).lower()}; close the quotes") from None
    cells: list[str] = []
    for word in words:
        if "=" in word or not cells:
            cells.append(word)
        else:
            cells[-1] += f" {word}"
    return cells


COMMANDS = (explain, next_, compare)
