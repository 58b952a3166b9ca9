"""Why: a claim's weight of evidence, shared out among the clues.

The weight of evidence for a claim is the change of its log odds, in decibans: ten times the common
logarithm of the factor (Good 1985, "Weight of evidence: a brief survey", Bayesian Statistics 2, 249-270).
It is shared out by Shapley values over all subsets of the clues, exactly, so that the parts add up to the
whole whatever the order. Beyond twenty clues the shares are a mean over drawn orders, and say so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from scarfdate.answer.reasons import Says
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import CHANNEL, DECIBANS_PER_NAT
from scarfdate.errors import WordError, did_you_mean, is_one_of, shown
from scarfdate.frozen import frozen
from scarfdate.model.exact import joint_of
from scarfdate.model.subsets import log_odds_of_subsets, seen_columns
from scarfdate.tables.priors import Priors
from scarfdate.why.asked import Asked
from scarfdate.why.explanation import Explanation
from scarfdate.why.shapley import shapley
from scarfdate.words.claims import Claim

_EXACT = 20  # clues: the memory of all subsets is some 50 MB here, and doubles with each more
_ORDERS = 400  # drawn beyond that
_SEED = 20


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
    asked = Asked.of(scarf, priors, channel, as_of)
    model, codes, read = asked.model, asked.codes, asked.claim(claim)
    columns = seen_columns(model, codes)
    names = [model.clues[column].name for column in columns]
    told = _told(names, order)
    if len(columns) > _EXACT:
        return _sampled(asked, read, columns, told)
    odds = DECIBANS_PER_NAT * log_odds_of_subsets(model, codes, read, columns)
    share = shapley(odds)
    every = len(odds) - 1
    place = {name: 1 << bit for bit, name in enumerate(names)}
    running, so_far = [], 0
    for name in told:
        so_far |= place[name]
        running.append(float(odds[so_far] - odds[0]))
    return _made(
        asked, read, columns, told,
        prior=float(odds[0]),
        posterior=float(odds[every]),
        share=dict(zip(names, share.tolist(), strict=True)),
        alone={name: float(odds[bit] - odds[0]) for name, bit in place.items()},
        left_out={name: float(odds[every] - odds[every & ~bit]) for name, bit in place.items()},
        running=running,
        error=dict.fromkeys(names, 0.0),
    )  # fmt: skip


def _told(names: Sequence[str], order: Sequence[str]) -> list[str]:
    if isinstance(order, str) or not isinstance(order, Sequence):
        raise WordError(f"order: a list of names of clues is allowed, got {shown(order)}")
    for name in order:
        if not is_one_of(name, names):
            raise WordError(
                f"order: {shown(name)} is no clue that was looked at; {did_you_mean(name, names)}"
            )
    first = list(dict.fromkeys(order))
    return [*first, *(name for name in names if name not in first)]


def _made(
    asked: Asked,
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
    says = Says(asked.model)
    codes = {asked.model.clues[c].name: (c, int(asked.codes[0, c])) for c in columns}
    words = {name: says.clue(*one, asked.measured) for name, one in codes.items()}
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
        no_reason=frozenset(name for name, one in codes.items() if not says.is_reason(*one)),
    )


def _sampled(asked: Asked, claim: Claim, columns: Sequence[int], told: list[str]) -> Explanation:
    """Shares as the mean over drawn orders of the clues, with the standard error of each mean."""
    names = [asked.model.clues[column].name for column in columns]
    rng = np.random.default_rng(_SEED)
    kept: dict[frozenset[int], float] = {}

    def odds(some: frozenset[int]) -> float:
        if some not in kept:
            ordered = [column for column in columns if column in some]
            kept[some] = DECIBANS_PER_NAT * _all_or_none(asked, claim, ordered)
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
        asked, claim, columns, told,
        prior=odds(none),
        posterior=odds(every),
        share=dict(zip(names, rises.mean(axis=0).tolist(), strict=True)),
        alone={n: odds(frozenset({c})) - odds(none) for n, c in zip(names, columns, strict=True)},
        left_out={n: odds(every) - odds(every - {c}) for n, c in zip(names, columns, strict=True)},
        running=running,
        error=dict(zip(names, error.tolist(), strict=True)),
    )  # fmt: skip


def _all_or_none(asked: Asked, claim: Claim, columns: Sequence[int]) -> float:
    """Natural log odds of the claim with just these clues counted."""
    some = {column: asked.rows[column] for column in columns}
    period, later = joint_of(asked.model, some)
    held = [
        float((period * marks[0] + later * marks[1]).sum()) for marks in (claim.says, claim.denies)
    ]
    return float(np.log(held[0]) - np.log(held[1]))
