"""Why: a claim's weight of evidence, shared out among the clues.

The weight of evidence for a claim is the change of its log odds, in decibans: ten times the common
logarithm of the factor (Good 1985, "Weight of evidence: a brief survey", Bayesian Statistics 2, 249-270).
It is shared out by Shapley values over all subsets of the clues, exactly, so that the parts add up to the
whole whatever the order. Beyond twenty clues the shares are a mean over drawn orders, and say so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.answer.evidence import encode
from scarfdate.answer.one_scarf import as_scarf, date_scarf
from scarfdate.answer.summary import Says
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import CHANNEL, DECIBANS_PER_NAT, LEVEL
from scarfdate.errors import WordError, did_you_mean, shown
from scarfdate.frozen import frozen
from scarfdate.model.exact import joint_of, rows_of
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.model.subsets import log_odds_of_subsets, seen_columns
from scarfdate.show.sentence import percent
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.why.shapley import shapley
from scarfdate.words.claims import Claim, read_claim

if TYPE_CHECKING:
    import pandas

_EXACT = 20  # clues: the memory of all subsets is some 50 MB here, and doubles with each more
_ORDERS = 400  # drawn beyond that
_SEED = 20
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


def explain(
    scarf: Scarf | Mapping[str, object],
    claim: object = None,
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
    order: Sequence[str] = (),
) -> Explanation:
    """Explain a claim about one scarf; by default, that it was made in its own shortest interval.

    ``claim``: words such as "1960s", "before 1970", "period piece", "at least 20 years old",
    "1960s rather than 1970s", a year, or a first and a last year. ``order``: names of clues in which
    the running total is told; the others follow. Raises WordError for a claim or a clue that is not
    understood, RangeError where the claim holds no year or every year.
    """
    known = priors or load_priors()
    scarf = as_scarf(scarf, known)
    model = compiled(known, channel, as_of)
    codes, _ = encode(model, scarf)
    if claim is None:
        dating = date_scarf(scarf, priors=known, channel=channel, as_of=model.as_of, level=LEVEL)
        claim = dating.interval()
    asked = read_claim(claim, model.years, model.as_of)
    columns = seen_columns(model, codes)
    names = [model.clues[column].name for column in columns]
    told = _told(names, order)
    if len(columns) > _EXACT:
        return _sampled(model, codes, asked, columns, told)
    odds = DECIBANS_PER_NAT * log_odds_of_subsets(model, codes, asked, columns)
    share = shapley(odds)
    every = len(odds) - 1
    place = {name: 1 << bit for bit, name in enumerate(names)}
    running, so_far = [], 0
    for name in told:
        so_far |= place[name]
        running.append(float(odds[so_far] - odds[0]))
    return _made(
        model, codes, asked, columns, told,
        prior=float(odds[0]),
        posterior=float(odds[every]),
        share=dict(zip(names, share.tolist(), strict=True)),
        alone={name: float(odds[bit] - odds[0]) for name, bit in place.items()},
        left_out={name: float(odds[every] - odds[every & ~bit]) for name, bit in place.items()},
        running=running,
        error=dict.fromkeys(names, 0.0),
    )  # fmt: skip


def _told(names: Sequence[str], order: Sequence[str]) -> list[str]:
    for name in order:
        if name not in names:
            raise WordError(
                f"order: {shown(name)} is no clue that was looked at; {did_you_mean(str(name), names)}"
            )
    first = list(dict.fromkeys(order))
    return [*first, *(name for name in names if name not in first)]


def _made(
    model: Model,
    codes: Codes,
    claim: Claim,
    columns: Sequence[int],
    told: list[str],
    *,
    prior: float,
    posterior: float,
    share: dict[str, float],
    alone: dict[str, float],
    left_out: dict[str, float],
    running: list[float],
    error: dict[str, float],
) -> Explanation:
    says = Says(model)
    words = {model.clues[c].name: says.clue(c, int(codes[0, c])) for c in columns}
    return Explanation(
        claim=claim.text,
        clues=tuple(told),
        says=frozen(words),
        prior_odds=float(10 ** (prior / 10)),
        posterior_odds=float(10 ** (posterior / 10)),
        decibans=posterior - prior,
        share=frozen(share),
        alone=frozen(alone),
        left_out=frozen(left_out),
        running=tuple(running),
        standard_error=frozen(error),
    )


def _sampled(
    model: Model, codes: Codes, claim: Claim, columns: Sequence[int], told: list[str]
) -> Explanation:
    """Shares as the mean over drawn orders of the clues, with the standard error of each mean."""
    names = [model.clues[column].name for column in columns]
    rng = np.random.default_rng(_SEED)
    kept: dict[frozenset[int], float] = {}

    def odds(some: frozenset[int]) -> float:
        if some not in kept:
            ordered = [column for column in columns if column in some]
            kept[some] = DECIBANS_PER_NAT * _all_or_none(model, codes, claim, ordered)
        return kept[some]

    rises = np.empty((_ORDERS, len(columns)))
    for row in rises:
        so_far: frozenset[int] = frozenset()
        for place in rng.permutation(len(columns)).tolist():
            more = so_far | {columns[place]}
            row[place] = odds(more) - odds(so_far)
            so_far = more
    every, none = frozenset(columns), frozenset[int]()
    running, reached = [], none
    for name in told:
        reached = reached | {columns[names.index(name)]}
        running.append(odds(reached) - odds(none))
    error = rises.std(axis=0, ddof=1) / np.sqrt(_ORDERS)
    return _made(
        model, codes, claim, columns, told,
        prior=odds(none),
        posterior=odds(every),
        share=dict(zip(names, rises.mean(axis=0).tolist(), strict=True)),
        alone={n: odds(frozenset({c})) - odds(none) for n, c in zip(names, columns, strict=True)},
        left_out={n: odds(every) - odds(every - {c}) for n, c in zip(names, columns, strict=True)},
        running=running,
        error=dict(zip(names, error.tolist(), strict=True)),
    )  # fmt: skip


def _all_or_none(model: Model, codes: Codes, claim: Claim, columns: Sequence[int]) -> float:
    """Natural log odds of the claim with just these clues counted."""
    rows = rows_of(model, codes)
    period, later = joint_of(model, {column: rows[column] for column in columns})
    held = [
        float((period * marks[0] + later * marks[1]).sum()) for marks in (claim.says, claim.denies)
    ]
    return float(np.log(held[0]) - np.log(held[1]))


def in_odds(decibans: float) -> str:
    """Decibans with their odds: "12 decibans, about 16 to 1"."""
    factor = 10 ** (abs(decibans) / 10)
    number = f"{factor:.0f}" if factor >= 10 else f"{factor:.1f}".removesuffix(".0")
    weight = f"{abs(decibans):.0f}" if abs(decibans) >= 10 else f"{abs(decibans):.1f}"
    what = "deciban" if weight == "1.0" else "decibans"
    return f"{weight} {what}, about {number} to 1"


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
