"""What was noted, the most surprising first: the results of `scarfdate.why.conflict`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.show.sentence import percent

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True, kw_only=True)
class Surprise:
    """One thing noted, beside all the rest.

    ``clue``: its family. ``predicted``: P(what was seen | the rest), of a measurement that of its step.
    ``decibans``: the weight of evidence that it is a slip, noted at random. ``tail``: the chance, given
    the rest, of a value or a step as unlikely as this or more; NaN for weights, texts, names and dated
    things. ``slip``: the chance that it is a slip. ``altered``: of that, the chance that the piece was
    altered: re-hemmed, cut down, a label sewn in.
    """

    clue: str
    seen: str
    predicted: float
    decibans: float
    tail: float
    slip: float
    altered: float


@dataclass(frozen=True, kw_only=True)
class Conflict:
    """Everything noted, the most surprising first, and what explains that first one.

    ``as_noted``, ``slip``, ``altered``, ``later_piece``: the chances that the first one is as it was
    noted on a piece of its period; that it is a slip of the eye or the pen; that the piece was altered;
    and that it is as noted on a later piece in an older look. They sum to one. ``predictive_p``: the
    share of pieces drawn from the model whose clues fit as badly or worse, 0 to 1 (of ties, half); NaN
    where none were drawn. A prior predictive p-value (Box 1980).
    """

    clues: tuple[Surprise, ...]
    as_noted: float
    slip: float
    altered: float
    later_piece: float
    predictive_p: float

    def to_frame(self) -> pandas.DataFrame:
        """One row a thing noted."""
        import pandas as pd

        return pd.DataFrame([vars(each) for each in self.clues], columns=list(_FIELDS))

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        if not self.clues:
            return page.view(str(self))
        chances = {
            "as noted": self.as_noted, "a slip": self.slip, "altered since": self.altered,
            "a later piece": self.later_piece,
        }  # fmt: skip
        why = [(name, page.bar(chance), percent(chance)) for name, chance in chances.items()]
        each = [(one.seen, page.bar(one.slip, room=6), percent(one.slip)) for one in self.clues]
        return page.view(
            str(self),
            page.table(why, caption=f"What explains it: {self.clues[0].seen}", numbers=(2,)),
            page.table(each, caption="The chance that each is a slip", numbers=(2,)),
        )

    def __str__(self) -> str:
        if not self.clues:
            return "Nothing was looked at, so nothing can disagree."
        most = self.clues[0]
        text = ""
        if not np.isnan(self.predictive_p):
            text = (
                f" Of simulated pieces {percent(self.predictive_p)} have clues that fit as badly."
            )
        if most.decibans <= 0:
            return f"Nothing here looks like a slip.{text}"
        held = (
            "Fits the other clues worst" if len(self.clues) > 1 else "No other clue stands beside"
        )
        return (
            f"{held}: {most.seen} ({most.decibans:.1f} decibans for a slip). "
            f"As noted, on a piece of its period: {percent(self.as_noted)}; a slip of the eye or the pen: "
            f"{percent(self.slip)}; altered since it was made: {percent(self.altered)}; a later piece in "
            f"an older look: {percent(self.later_piece)}.{text}"
        )


_FIELDS = tuple(Surprise.__dataclass_fields__)
