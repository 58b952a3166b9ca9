"""A pile as it is written to a file and drawn in a terminal, and which of its pieces to look at again."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from scarfdate.cli.front import WIDTH, say_wrapped
from scarfdate.show.terminal import say

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate.tables.priors import Priors


_NAMED = 20  # further pieces in doubt that are named under the list


def print_picture(answers: pd.DataFrame, names: Sequence[str], level: str) -> None:
    """A bar of letters a piece, as wide as the terminal."""
    from scarfdate.answer.pile import bars
    from scarfdate.cli.table import mark
    from scarfdate.show import pile

    marks = [mark(row) for _, row in answers.iterrows()]
    drawn = bars(answers, names, marks)
    for line in pile.lines(drawn, shutil.get_terminal_size((WIDTH, 24)).columns):
        say(line)
    say_wrapped(pile.legend(level, any(bar.doubtful for bar in drawn)))


def say_nothing_noted(clues: pd.DataFrame, where: Callable[[int], str], priors: Priors) -> None:
    """Print which rows say nothing of a piece, and what their years are."""
    from scarfdate.answer.rows import nothing_noted

    found = nothing_noted(clues, priors)
    if found:
        named = ", ".join(map(where, found[:_NAMED]))
        more = f" and {len(found) - _NAMED} more" if len(found) > _NAMED else ""
        say_wrapped(
            f"Nothing was noted in {named}{more}: the years are those of any scarf in such a place."
        )


def say_look_again(
    clues: pd.DataFrame, answers: pd.DataFrame, where: Callable[[int], str], priors: Priors, *,
    channel: str, as_of: int | None, unit: str | None,
) -> None:  # fmt: skip
    """Print which pieces to look at again: what is in doubt, and where one more look pays most."""
    from scarfdate.why.look_again import LISTED, in_doubt, pays_most

    doubtful = in_doubt(answers)
    if doubtful:
        say_wrapped("Look again at these: something noted may be a slip or a misreading.")
    for place in doubtful[:LISTED]:
        say_wrapped(f"{where(place)}: {answers['doubt'].iloc[place]}.", "  ")
    if more := doubtful[LISTED:]:
        named = ": " + ", ".join(map(where, more)) if len(more) <= _NAMED else ""
        say_wrapped(f"and {len(more)} more{named or '; --sort doubt puts them first'}.", "  ")
    best = pays_most(clues, answers, priors=priors, channel=channel, as_of=as_of, unit=unit)
    if best:
        say_wrapped("One more look pays most here:")
    for place, look in best:
        say_wrapped(f"{where(place)}: {look}.", "  ")


def lists_for(
    table: pd.DataFrame, fate: Sequence[tuple[str, str, str]], priors: Priors
) -> Mapping[str, Sequence[str]]:
    """The drop-down lists of a written sheet, by the person's own heading."""
    from scarfdate.tables.word_list import choices

    found = {}
    for heading, name, _ in fate:
        of = "method" if name.endswith("_method") else name
        if listed := choices(priors.vocabulary, of):
            found[heading] = listed
    return found
