"""What the clues of one scarf weigh for one claim: the numbers, and one paragraph on them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.answer.reasons import WEIGHTY
from scarfdate.show.sentence import percent

if TYPE_CHECKING:
    import pandas


_NAMED = 2  # clues named for and against the claim in the paragraph


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """What the clues of one scarf weigh for one claim, in decibans.

    ``claim``: in words. ``clues``: names, in the order of the running total. ``says``: what each was, in
    words. ``prior_odds``, ``posterior_odds``: of the claim against what it denies. ``decibans``: the
    whole weight of evidence. ``share``: the part of each clue; they add up to ``decibans``. ``alone``:
    the weight of each by itself. ``left_out``: by how much the whole falls where the clue is left out.
    ``running``: the weight after each clue in the order given. ``standard_error``: of each share, 0
    where they are exact. ``no_reason``: clues that are never called a reason, such as a missing label.
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
    no_reason: frozenset[str] = frozenset()

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


_BEYOND_WORDS = 60.0  # decibans, a million to one: a sum's own floor may stand behind more


def in_odds(decibans: float) -> str:
    """Decibans as odds: "about 16 to 1 (12 decibans)"."""
    weight = f"{abs(decibans):.0f}" if abs(decibans) >= 10 else f"{abs(decibans):.1f}"
    return f"{to_one(decibans)} ({weight} {'deciban' if weight == '1.0' else 'decibans'})"


def to_one(decibans: float) -> str:
    """Decibans as odds alone: "about 16 to 1"."""
    if abs(decibans) > _BEYOND_WORDS:
        return "more than a million to one"
    factor = 10 ** (abs(decibans) / 10)
    number = f"{factor:.0f}" if factor >= 10 else f"{factor:.1f}".removesuffix(".0")
    return f"about {number} to 1"


def _side(decibans: float) -> str:
    return "" if round(decibans, 1) == 0 else " for it" if decibans > 0 else " against it"


def paragraph(found: Explanation) -> str:
    """One paragraph: what was claimed, how far the clues move it, and which of them."""
    before, after = found.prior_odds / (1 + found.prior_odds), found.chance
    text = f"The claim: {found.claim}. Before looking: {percent(before)}; now: {percent(after)}."
    if not found.clues:
        return f"{text} Nothing was looked at."
    whole = found.decibans
    if abs(whole) < WEIGHTY:
        text += f" All together, the clues hardly move it, {in_odds(whole)}{_side(whole)}."
    else:
        speak = "for" if whole >= 0 else "against"
        text += f" All together, the clues speak {speak} it, {in_odds(whole)}."
    if not found.exact:
        text += " There are too many clues to share this out exactly: the shares are estimates."
    ranked = sorted(found.clues, key=lambda name: -abs(found.share[name]))
    ranked = [name for name in ranked if name not in found.no_reason]
    for sign, word in ((1, "for"), (-1, "against")):
        some = [n for n in ranked if sign * found.share[n] >= WEIGHTY][:_NAMED]
        if some:
            parts = [f"{found.says[n]}, {to_one(found.share[n])}" for n in some]
            text += f" Most {word} it: {'; '.join(parts)}."
    if not ranked or abs(found.share[ranked[0]]) < WEIGHTY:
        return f"{text} No clue by itself moves it much."
    without = 10 ** ((10 * np.log10(found.posterior_odds) - found.left_out[ranked[0]]) / 10)
    return f"{text} Without {found.says[ranked[0]]} it would be {percent(without / (1 + without))}."
