"""What the clues of one scarf weigh for one claim: the numbers, and one paragraph on them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.show.sentence import percent

if TYPE_CHECKING:
    import pandas


_NAMED = 2  # clues named for and against the claim in the paragraph
_WEIGHTY = 1.0  # decibans: about the smallest change of odds that people can feel (Good 1985)


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """What the clues of one scarf weigh for one claim, in decibans.

    ``claim``: in words. ``clues``: names, in the order of the running total. ``says``: what each was, in
    words. ``prior_odds``, ``posterior_odds``: of the claim against what it denies. ``decibans``: the
    whole weight of evidence. ``share``: the part of each clue; they add up to ``decibans``. ``alone``:
    the weight of each by itself. ``left_out``: by how much the whole falls where the clue is left out.
    ``running``: the weight after each clue in the order given. ``standard_error``: of each share, 0
    where they are exact.
    """

    claim: str
    clues: tuple[str, ...]
    says: Mapping[str, str]
    prior_odds: float
    posterior_odds: float
    decibans: float
    share: Mapping[str, float]
    alone: Mapping[str, float]
    left_out: Mapping[str, float]
    running: tuple[float, ...]
    standard_error: Mapping[str, float]

    @property
    def exact(self) -> bool:
        """Whether the shares are exact, or a mean over drawn orders."""
        return not any(self.standard_error.values())

    @property
    def chance(self) -> float:
        """P(the claim | all clues), given that it or what it denies is true."""
        return self.posterior_odds / (1 + self.posterior_odds)

    def to_frame(self) -> pandas.DataFrame:
        """One row a clue, the heaviest share first."""
        import pandas as pd

        frame = pd.DataFrame(
            {
                "clue": list(self.clues),
                "seen": [self.says[name] for name in self.clues],
                "share": [self.share[name] for name in self.clues],
                "alone": [self.alone[name] for name in self.clues],
                "left_out": [self.left_out[name] for name in self.clues],
                "running": list(self.running),
            }
        )
        return frame.sort_values("share", key=abs, ascending=False, ignore_index=True)

    def plot(self, ax: Any = None) -> Any:
        """The shares as bars, for the claim to the right; returns the matplotlib axis."""
        from scarfdate.show import plot

        names = sorted(self.clues, key=lambda name: self.share[name])
        return plot.shares(
            [self.says[name] for name in names],
            [self.share[name] for name in names],
            self.claim,
            ax,
        )

    def __str__(self) -> str:
        return paragraph(self)

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        ranked = sorted(self.clues, key=lambda name: -abs(self.share[name]))
        most = max((abs(share) for share in self.share.values()), default=0.0)
        rows = [
            (
                page.under(
                    self.says[name], f"{in_odds(self.share[name])}{_side(self.share[name])}"
                ),
                page.balance(self.share[name], most, room=7),
            )
            for name in ranked
        ]
        caption = "What each clue weighs: a hollow bar to the left is against it, a full one for it"
        drawn = [page.table(rows, caption=caption)] if rows else []
        return page.view(str(self), *drawn)


def in_odds(decibans: float) -> str:
    """Decibans with their odds: "12 decibans, about 16 to 1"."""
    factor = 10 ** (abs(decibans) / 10)
    number = f"{factor:.0f}" if factor >= 10 else f"{factor:.1f}".removesuffix(".0")
    weight = f"{abs(decibans):.0f}" if abs(decibans) >= 10 else f"{abs(decibans):.1f}"
    what = "deciban" if weight == "1.0" else "decibans"
    return f"{weight} {what}, about {number} to 1"


def _side(decibans: float) -> str:
    return "" if round(decibans, 1) == 0 else " for it" if decibans > 0 else " against it"


def paragraph(found: Explanation) -> str:
    """One paragraph: what was claimed, how far the clues move it, and which of them."""
    before, after = found.prior_odds / (1 + found.prior_odds), found.chance
    text = f"The claim: {found.claim}. Before looking: {percent(before)}; after: {percent(after)}."
    if not found.clues:
        return f"{text} Nothing was looked at."
    whole = found.decibans
    side = "for" if whole >= 0 else "against"
    text += f" All clues together weigh {in_odds(whole)} {side} it."
    if not found.exact:
        text += " The shares are a mean over drawn orders of the clues, not exact."
    ranked = sorted(found.clues, key=lambda name: -abs(found.share[name]))
    for sign, word in ((1, "For it"), (-1, "Against it")):
        some = [n for n in ranked if sign * found.share[n] >= _WEIGHTY][:_NAMED]
        if some:
            parts = [f"{found.says[n]} ({in_odds(found.share[n])})" for n in some]
            text += f" {word} most: {' and '.join(parts)}."
    heaviest = ranked[0]
    if abs(found.share[heaviest]) < _WEIGHTY:
        return f"{text} No clue moves it by as much as one deciban."
    without = 10 ** ((10 * np.log10(found.posterior_odds) - found.left_out[heaviest]) / 10)
    return f"{text} Without {found.says[heaviest]} it would be {percent(without / (1 + without))}."
