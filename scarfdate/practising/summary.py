"""What rounds of practice come to: her scores beside the library's and the prior's, and how they moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.practising.calibration import Calibration, calibration
from scarfdate.practising.outcome import Outcome
from scarfdate.practising.weights import Weights, weights
from scarfdate.show import page
from scarfdate.show.sentence import percent
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas

ENOUGH = 20  # rounds from which on her calibration and her weights are said


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Summary:
    """``outcomes``: the rounds that are over. ``calibration``, ``weights``: how well her chances held and what
    she gives each clue, None before twenty rounds."""

    outcomes: tuple[Outcome, ...]
    calibration: Calibration | None = None
    weights: Weights | None = None

    def to_frame(self) -> pandas.DataFrame:
        """One row a round: the last bet's log and interval scores, hers, the library's and the prior's, and
        whether it was lost."""
        import pandas as pd

        rows = [
            {
                "round": number,
                "known_from": one.played.known_from if one.played.dated else None,
                "known_to": one.played.known_to if one.played.dated else None,
                "log_score": one.hers[-1].log_score,
                "library_log_score": one.library[-1].log_score,
                "prior_log_score": one.prior.log_score,
                "interval_score": one.hers[-1].interval_score,
                "library_interval_score": one.library[-1].interval_score,
                "prior_interval_score": one.prior.interval_score,
                "lost": one.lost,
                "comes_back": bool(one.played.again),
            }
            for number, one in enumerate(self.outcomes, 1)
        ]
        return pd.DataFrame(rows)

    def _means(self) -> list[tuple[str, float, float]]:
        """Who, the mean log score and the mean interval score of the last bets."""
        scores = (
            ("yours", [one.hers[-1] for one in self.outcomes]),
            ("the library's", [one.library[-1] for one in self.outcomes]),
            ("before any clue", [one.prior for one in self.outcomes]),
        )
        return [
            (
                who,
                float(np.mean([one.log_score for one in some])),
                float(np.mean([one.interval_score for one in some])),
            )
            for who, some in scores
        ]

    def __str__(self) -> str:
        count = len(self.outcomes)
        if not count:
            return "No round is over yet."
        played = "1 round is over" if count == 1 else f"{count} rounds are over"
        lines = [f"{played}. Your last bets gave the true decade, on average (geometric mean):"]
        for who, log_score, years in self._means():
            lines.append(
                f"- {who}: {percent(float(np.exp(log_score)))} (log score {log_score:.2f}); "
                f"interval score {years:.0f} years"
            )
        lost = sum(one.lost for one in self.outcomes)
        if lost:
            rounds = "1 round was" if lost == 1 else f"{lost} rounds were"
            lines.append(
                f"{rounds} lost, with less than half the library's chance: such pieces come back."
            )
        if count < ENOUGH:
            lines.append(
                f"After {ENOUGH} rounds stands here how well your chances held, and what you give each clue."
            )
        return "\n".join([*lines, *(str(part) for part in self._parts())])

    def __repr__(self) -> str:
        return f"Summary({len(self.outcomes)} rounds)"

    def _parts(self) -> list[Any]:
        return [part for part in (self.calibration, self.weights) if part is not None]

    def _repr_html_(self) -> str:
        text = str(Summary(outcomes=self.outcomes))
        if self._parts():
            return f"<div>{page.view(text)}{''.join(part._repr_html_() for part in self._parts())}</div>"
        return page.view(text)


def summary_of(outcomes: Sequence[Outcome], priors: Priors) -> Summary:
    """The rounds that are over, with her calibration and weights where there are enough of them."""
    played = [one.played for one in outcomes]
    enough = len(played) >= ENOUGH
    return Summary(
        outcomes=tuple(outcomes),
        calibration=calibration(played) if enough and any(one.dated for one in played) else None,
        weights=weights(played, priors) if enough and any(one.order for one in played) else None,
    )
