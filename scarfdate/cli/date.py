"""``date``, ``show`` and ``label``: a pile, one piece, what a label says."""

from __future__ import annotations

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
    standard_input,
)
from scarfdate.cli.long_file import date_long, is_long
from scarfdate.cli.pieces import column, piece, places, say_left_out, sheet_of
from scarfdate.cli.pile import lists_for, print_picture, say_look_again, say_nothing_noted
from scarfdate.cli.table import BAD, WARNED, dated, print_table
from scarfdate.show.sentence import percent
from scarfdate.show.terminal import clean, say

_LONGEST_LABEL = 10_000  # characters read of a label on standard input
_NO_CLUE = (
    "No clue was read. Write what you see, such as fibre=silk; scarfdate words lists the clues. "
    "What follows holds for any piece from there."
)
_OF_THE_LABEL = (
    "A label tells its own age, not the scarf's: check that it belongs (same thread, no old stitch holes). "
    "Do not sell on it alone."
)


@click.command("date")
@click.argument("file")
@click.option("--out", metavar="FILE", help="Rows and answers: .csv .xlsx .json(l) .parquet.")
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@click.option("--bom", is_flag=True, help="Mark a .csv as UTF-8.")
@row_options
@click.option("--sort", type=click.Choice(["year", "doubt", "width"]), help="Order of the pieces.")
@click.option("--picture", is_flag=True, help="Draw bars, not a table.")
@click.option("--sentences", is_flag=True, help="Print what is said about each piece.")
@click.option("--quiet", is_flag=True, help="Print the counts alone.")
@click.option("--strict", is_flag=True, help="Do not date a row with a cell not read.")
@click.option(
    "--memory",
    metavar="MB",
    type=click.IntRange(min=200),
    help="For a long FILE: the memory.",
)
@click.option(
    "--processes", metavar="N", type=click.IntRange(min=1), help="For a long FILE: how many."
)
@model_options
@level_option
@click.pass_context
def date(
    ctx: click.Context, file: str, out: str | None, force: bool, bom: bool, layout: Layout, sort: str | None, picture: bool, sentences: bool,
    quiet: bool, strict: bool, memory: int | None, processes: int | None,
    channel: str, level: float, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Date every row of FILE: .csv .xlsx .ods .json .jsonl .parquet (- is input).

    Write as you write ("Material", "silk?"). A cell that cannot be read is left out and told on standard
    error (exit code 1), the row dated from the rest. ! is a row not read, ? one with a warning. A FILE
    of over 20 MB goes to --out in parts, without a table.
    """
    from scarfdate.answer.again import beside
    from scarfdate.answer.pile import in_order
    from scarfdate.reading.written import check_out, write_table

    if out is not None:
        check_out(out, force)
    elif bom:
        raise click.UsageError("--bom goes with --out FILE.csv")
    priors = priors_in(folder)
    if out is not None and (memory or processes or is_long(file, out)):
        if layout.sheet or sort or picture or sentences:
            raise click.UsageError(
                "a file dated in parts has no --sheet, --sort, --picture or --sentences"
            )
        odd = date_long(
            file, out, columns=layout.columns, priors=priors, channel=channel, level=level, as_of=as_of, unit=layout.unit,
            on_error="collect" if strict else "leave-out", encoding=layout.encoding, mark=bom, force=force,
            memory=memory, processes=processes,
        )  # fmt: skip
        ctx.exit(1 if odd else 0)
    if memory or processes:
        raise click.UsageError("--memory and --processes go with --out FILE")
    read = sheet_of(file, priors, layout)
    unit = read.unit
    answers = dated(read.clues, priors, channel, level, as_of, unit=unit, strict=strict)
    order = in_order(answers, sort)
    not_used = answers.attrs.get("not_used", ())
    answers, table, ids = (
        answers.iloc[order], read.table.iloc[order], column(read.clues, "id", priors)
    )  # fmt: skip
    ids = None if ids is None else ids.fillna("").astype(str).iloc[order]
    if out is not None:
        write_table(
            beside(table, answers),
            out,
            mark=bom,
            lists=lists_for(table, read.fate, priors),
            new=not force,
        )
    if picture and not quiet:
        names = answers.index.astype(str) if ids is None else ids
        print_picture(answers, names.tolist(), percent(level))
    elif not quiet:
        print_table(answers, ids, sentences)
    bad, warned = answers["errors"].notna(), answers["warnings"].notna()
    partly = answers["not_read"].notna()
    pieces = "1 piece" if len(answers) == 1 else f"{len(answers)} pieces"
    counts = (
        f"{pieces}: {int((~bad).sum())} dated, {int(bad.sum())} not read ({BAD}), "
        f"{int(((warned | partly) & ~bad).sum())} with a warning ({WARNED}). "
        f"Each piece was made within its years with a chance of {level:.0%}; channel {channel}."
        + (f" Written to {out}." if out is not None else "")
    )
    say_wrapped(counts)

    def where(place: int) -> str:
        called = ids.iloc[place].strip() if ids is not None else ""
        name = f" ({called})" if called else ""
        return f"{answers.index.name or 'row'} {answers.index[place]}{name}"

    if not quiet:
        if not picture:
            age = f"{priors.allowances['vintage_age']:g}"
            say_wrapped(f"Vintage: the chance that a piece is {age} years old or more.")
        say_nothing_noted(read.clues.iloc[order], where, priors)
        say_look_again(
            read.clues.iloc[order], answers, where, priors, channel=channel, as_of=as_of, unit=unit
        )
    if not_used:
        say_wrapped(f"Columns not used: {', '.join(map(clean, not_used))}.")
    for place in places(bad):
        say(f"{where(place)}: {answers['errors'].iloc[place]}", err=True)
    say_left_out((where(place), answers["not_read"].iloc[place]) for place in places(partly & ~bad))
    if (bad | partly).any():
        ctx.exit(1)


@click.command("show")
@click.argument("seen", nargs=-1, required=True, metavar="FILE|CLUE=VALUE...")
@id_option
@click.option("--listing", metavar="LANG", help="Only a line for selling: en, de, fr, it.")
@row_options
@model_options
@level_option
def show(
    seen: tuple[str, ...], wanted: str | None, listing: str | None, layout: Layout,
    channel: str, level: float, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Show one scarf: the sentence, its decades as bars, the facts.

    Clues are fibre, hem, size, label_text, motif and more: "scarfdate words" lists them.

    \b
    scarfdate show stock.csv --id V012
    scarfdate show fibre=silk hem=hand-rolled width_cm=90
    scarfdate show "silk square, hand rolled, 90 x 90 cm, made in Italy"
    scarfdate show stock.csv --id V012 --listing de
    scarfdate show 'fibre={"silk": 0.8, "polyester": 0.2}' fibre_method=burn
    """
    from scarfdate import date_scarf

    priors = priors_in(folder)
    scarf = piece(seen, wanted, priors, layout)
    dating = date_scarf(scarf, priors=priors, channel=channel, level=level, as_of=as_of)
    if listing is not None:
        say(dating.for_listing(listing))
        return
    if not [*scarf.clues()]:
        say_wrapped(_NO_CLUE)
    say_all(str(dating))


@click.command("label")
@click.argument("lines", nargs=-1, required=True, metavar="TEXT...")
@click.option(
    "--market", metavar="WORD", help="Where it was first sold: us, canada, europe, elsewhere."
)
@model_options
@level_option
def label(
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
    from scarfdate import Scarf, date_scarf, read_label
    from scarfdate.answer.kind import channel_for

    priors = priors_in(folder)
    text = standard_input().read(_LONGEST_LABEL) if lines == ("-",) else "\n".join(lines)
    read = read_label(text, market, priors=priors)
    say_all(str(read))
    scarf = Scarf(label_text=text, priors=priors)
    if market is not None:
        priors = priors.offered_in(market, channel_for(priors, channel, scarf))
    dating = date_scarf(scarf, priors=priors, channel=channel, level=level, as_of=as_of)
    say_wrapped(f"By the label alone: {dating.sentence}")
    first = dating.earliest
    if first is not None:
        say_wrapped(f"{first} ({first.source}).")
    if market is not None and read.earliest > (0 if first is None else first.year):
        say_wrapped(
            f"First sold in that market it is not before {read.earliest:.0f}, if the label is read "
            "rightly; in others such a label may be older."
        )
    say_wrapped(_OF_THE_LABEL)


COMMANDS = (date, show, label)
