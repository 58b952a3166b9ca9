"""What was noted, the most surprising first: the results of `scarfdate.why.conflict`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.answer.doubts import Doubt
from scarfdate.show.sentence import MATTERS, percent

if TYPE_CHECKING:
    import pandas


_TEN, _ORDINARY = 10, 2  # in ten: fewer, and it is called unusual


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
    share of pieces drawn from the model whose clues fit as badly or worse, 0 to 1, ties counted half (a mid-p);
    NaN where none were drawn. A prior predictive p-value (Box 1980). ``misread``: what the sentence of the dating takes
    for a mistake, or None: a misreading, such as one print taken for another, counts there as a slip does. ``amiss``: the chance of either for the first;
    ``wrong``: the same for everything noted, by clue.
    """

    clues: tuple[Surprise, ...]
    as_noted: float
    slip: float
    altered: float
    later_piece: float
    predictive_p: float
    misread: Doubt | None = None
    amiss: float = 0.0
    wrong: Mapping[str, float] = field(default_factory=dict)

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
        if self._suspect:  # then the sentence speaks of misreadings too, and so do the bars
            chances = {what: chance for chance, what in self._explained()}
        why = [(name, page.bar(chance), percent(chance)) for name, chance in chances.items()]
        wrong = [(one.seen, self.wrong.get(one.clue, one.slip)) for one in self.clues]
        each = [(seen, page.bar(chance, room=6), percent(chance)) for seen, chance in wrong]
        return page.view(
            str(self),
            page.table(why, caption=f"What explains it: {self.clues[0].seen}", numbers=(2,)),
            page.table(
                each, caption="The chance that each is a slip or a misreading", numbers=(2,)
            ),
        )

    @property
    def _suspect(self) -> bool:
        """Whether the first is doubtful enough to say what explains it."""
        return max(self.amiss, self.clues[0].slip) >= MATTERS

    def _explained(self) -> list[tuple[float, str]]:
        """What the first may be, with its chance, the likeliest first."""
        each = (
            (1 - self.amiss, "it is as you noted"),
            (self.altered, "it was changed after the piece was made"),
            (max(self.amiss - self.altered, 0.0), "you misread or miswrote"),
        )
        return sorted(each, key=lambda one: -one[0])

    def __str__(self) -> str:
        if not self.clues:
            return "Nothing was looked at, so nothing can disagree."
        most = self.clues[0]
        usual = ""
        if not np.isnan(self.predictive_p):
            usual = f" {_as_badly(self.predictive_p)}"
        if most.decibans <= 0:
            return f"Nothing here looks like a slip.{usual}{self._misread(most)}"
        # what was seen may be several things ("the animals shown"), so that no verb goes by it
        if len(self.clues) == 1:
            text = f"Rare here, with no other clue to check it by: {most.seen}."
        elif self._suspect:
            text = f"What fits worst with the other clues: {most.seen}. Check that first."
        else:
            text = f"What fits worst with the other clues, but not badly: {most.seen}."
        if self._suspect:
            told = (f"{percent(chance)}, {what}" for chance, what in self._explained())
            text += f" The chances: {'; '.join(told)}."
        if self.later_piece >= MATTERS:
            text += (
                f" It may also be right on a later piece in an older style "
                f"({percent(self.later_piece)})."
            )
        return f"{text}{self._misread(most)}{usual}"

    def _misread(self, most: Surprise) -> str:
        """That another clue is more likely wrong, and why both are named."""
        if self.misread is None or self.misread.clue == most.clue:
            return ""
        return (
            f" More likely wrong still: {self.misread.seen} ({percent(self.misread.chance)}). That goes better "
            "with the rest, but people mistake it more often."
        )


def _as_badly(predictive_p: float) -> str:
    """How usual it is that clues fit as badly."""
    tenths = round(_TEN * predictive_p)
    if tenths >= _ORDINARY:
        many = "nearly all" if tenths == _TEN else f"{tenths} in 10"
        return f"Nothing unusual: {many} ordinary pieces have clues that fit together no better."
    return f"Unusual: of ordinary pieces {percent(predictive_p)} have clues that fit together as badly."


_FIELDS = tuple(Surprise.__dataclass_fields__)
