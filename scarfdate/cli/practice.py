"""``practice``: rounds in which one dates pieces oneself, at the prompt."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import click

from scarfdate.cli.front import model_options, priors_in, say_wrapped, standard_input
from scarfdate.errors import ScarfdateError
from scarfdate.show.terminal import say

if TYPE_CHECKING:
    from scarfdate.practising.practice import Practice
    from scarfdate.practising.round import Round

_LEAVE = ("q", "quit")
_ASKED = "Your bet: "
_LONGEST_BET = 10_000  # characters
_ASK = ("?", "h", "help")
_HELP = (
    'Ten chips on decades: "1960s 6, 1970s 4". Or the years between which it was made, as you would say them '
    'and be right four times in five: "1955-1972", "1960s". q ends and keeps what was played.'
)


class LevelOption(click.Option):
    """The option for the level; its help names the levels of the shipped tables."""

    def get_help_record(self, ctx: click.Context) -> tuple[str, str] | None:
        """The option and its help."""
        from scarfdate.tables.priors import load_priors

        tables = load_priors().practice
        self.help = f"What it is about: {', '.join(tables.levels if tables else ())}."
        return super().get_help_record(ctx)


@click.command("practice")
@click.option("--seed", type=int, metavar="N", help="The same number, the same pieces.")
@click.option("--level", cls=LevelOption, metavar="WORD")
@click.option("--clue", "clues", multiple=True, metavar="NAME", help="Show only these; repeat it.")
@click.option(
    "--pieces", default="drawn", show_default=True, metavar="WORD|FILE",
    help="drawn, stock, labels, or a file of your own dated pieces.",
)  # fmt: skip
@click.option("--rounds", type=int, default=20, show_default=True, metavar="N", help="How many.")
@click.option(
    "--bet", type=click.Choice(["chips", "interval"]), default="chips", show_default=True,
    help="What is asked for; the other is taken, too.",
)  # fmt: skip
@click.option("--progress", metavar="FILE", help="Keep everything there, and go on with it.")
@model_options
def practice(
    seed: int | None, level: str | None, clues: tuple[str, ...], pieces: str, rounds: int, bet: str,
    progress: str | None, channel: str, as_of: int | None, folder: str | None,
) -> None:  # fmt: skip
    """Practise: date pieces yourself, clue by clue, and see what your bets were worth.

    \b
    scarfdate practice --level first-steps --progress mine.json
    scarfdate practice --pieces labels --bet interval

    Before each clue and after the last you lay ten chips on decades, or name the years. Then comes the
    year, with your scores beside the library's.
    """
    import scarfdate

    made = scarfdate.practice(
        seed, level, list(clues) or None, pieces=pieces, rounds=rounds, bet=bet, progress=progress,
        channel=channel, as_of=as_of, priors=priors_in(folder),
    )  # fmt: skip
    _say(str(made))
    say_wrapped(_HELP)
    _play(made)
    _say(str(made.summary()))
    for note in made.notes:
        say_wrapped(f"Note: {note}")
    if progress is None and made.outcomes:
        say_wrapped("Nothing of it is kept; --progress FILE keeps it.")


def _play(made: Practice) -> None:
    """Round after round, until all are played or she leaves."""
    lines = standard_input()
    if isinstance(lines, io.TextIOWrapper):
        lines.reconfigure(errors="replace")  # a byte that is no letter would be met for ever
    while len(made.outcomes) < made.rounds:
        played = made.round()
        say("")
        _say(str(played))
        while not played.over:
            typed = _typed()
            if typed is None or typed.strip().casefold() in _LEAVE:
                return
            if typed.strip().casefold() in _ASK:
                say_wrapped(_HELP)
                continue
            before = len(played.shown)
            try:
                played.bet(typed)
            except ScarfdateError as error:
                say_wrapped(str(error))
                continue
            _say_what_is_new(played, before)


def _say_what_is_new(played: Round, before: int) -> None:
    if played.over:
        _say(str(played.outcome))
        return
    for clue in played.shown[before:]:
        say("")
        _say(f"You see: {clue}")
    drawing = played.clue_drawing
    if drawing is not None:
        say_wrapped(drawing.alt, "  ")
    say_wrapped(
        f"Next comes: {played.next_clue}." if played.next_clue else "This is your last bet."
    )


def _typed() -> str | None:
    """What was typed, None where nothing more will come."""
    lines = standard_input()
    if lines.isatty():  # where what is typed can be mended
        try:
            return input(_ASKED)
        except EOFError:
            say("")
            return None
    click.echo(_ASKED, nl=False)
    line = lines.readline(_LONGEST_BET + 1)
    if len(line) > _LONGEST_BET:
        raise ScarfdateError(f"-: a bet has at most {_LONGEST_BET} characters; is it one?")
    if not line:
        say("")
        return None
    return line.removesuffix("\n")


def _say(text: str) -> None:
    for line in text.splitlines():
        say_wrapped(line, "  " if line.startswith("- ") else "") if line.strip() else say("")


COMMANDS = (practice,)
