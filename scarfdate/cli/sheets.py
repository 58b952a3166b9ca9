"""``words``, ``template`` and ``dry-run``: what may be written, a sheet to write it in, what was understood."""

from __future__ import annotations

import click

from scarfdate.cli.front import not_read, priors_in, priors_option, say_all, say_wrapped, source
from scarfdate.errors import ScarfdateError, shown


@click.command("words")
@click.argument("clue", required=False)
@click.option(
    "--drawing", metavar="OUT.svg", help="Write a drawing of each word to a new file, too."
)
@click.option("--all", "every", is_flag=True, help="All that is read as each word, however much.")
@priors_option
def words(clue: str | None, drawing: str | None, every: bool, folder: str | None) -> None:
    """List the words of a CLUE with what they mean; without one, list the clues.

    \b
    scarfdate words
    scarfdate words hem
    scarfdate words hem --all
    scarfdate words hem --drawing hem.svg
    """
    priors = priors_in(folder)
    if drawing and clue:
        from scarfdate.drawing.draw import draw_clue

        draw_clue(clue, priors=priors).save(drawing)
    elif drawing:
        raise ScarfdateError(
            "--drawing: name a clue, such as: scarfdate words hem --drawing hem.svg"
        )
    listed = priors.words(clue)
    say_all(listed.text() if every else str(listed))


@click.command("template")
@click.argument("out", metavar="OUT.xlsx")
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@priors_option
def template(out: str, force: bool, folder: str | None) -> None:
    """Write an empty sheet for your pieces: a column a clue, with its words to choose from.

    Fill in what you see, leave blank what you did not look at, and date it: scarfdate date OUT.xlsx
    """
    from scarfdate.columns.template import write_template
    from scarfdate.reading.written import check_out

    if not out.casefold().endswith(".xlsx"):
        raise ScarfdateError(f"{shown(out)}: a template is an .xlsx file; write its name so")
    check_out(out, force)
    count = write_template(out, priors=priors_in(folder), new=not force)
    say_wrapped(f"An empty sheet of {count} columns written to {out}.")


@click.command("dry-run")
@click.argument("file")
@click.option("--columns", metavar="MAP.toml", help="Which of your columns is which of ours.")
@click.option(
    "--sheet", metavar="NAME", help="Of a spreadsheet: which sheet; the first if left out."
)
@click.option("--encoding", metavar="NAME", help="Of a CSV file, such as windows-1252 or utf-16.")
@click.option("--unit", metavar="UNIT", help="Unit of sizes that state none: cm, in.")
@click.option("--rows", type=int, default=20, show_default=True, help="How many rows to print.")
@priors_option
def dry_run(
    file: str, columns: str | None, sheet: str | None, encoding: str | None, unit: str | None,
    rows: int, folder: str | None,
) -> None:  # fmt: skip
    """Show what is understood of FILE, column by column and cell by cell; nothing is dated.

    A stock sheet or a book of sold pieces (one that says in known and known_by when pieces were made).
    """
    import scarfdate

    understood = scarfdate.dry_run(
        source(file),
        columns=columns,
        sheet=sheet,
        encoding=encoding,
        unit=unit,
        priors=priors_in(folder),
    )
    say_all(understood.to_string(rows=max(0, rows)))
    not_read(understood.unread)


COMMANDS = (words, template, dry_run)
