"""Three plain daters that know nothing of the library's model: what it has to be compared with.

    (a) `year_prior_alone`    the density of years in the training records, whatever the clues say
    (b) `decade_naive_bayes`  decades, each clue independent given the decade
    (c) `boosted_trees`       decades, gradient-boosted trees on the same clues (scikit-learn)

All three see dates as intervals. (b) and (c) give probabilities of decades, spread over the years of a
decade in proportion to (a), so that all three are scored on years. Whatever is chosen (how much to
smooth, how many trees) is chosen by cross-validation within the training records.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from scarfdate.conventions import FIRST_YEAR

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Split = Callable[[str, str], Mapping[str, float]]

LAST_YEAR = 2025
YEARS = np.arange(FIRST_YEAR, LAST_YEAR + 1)
SIZES = ("width_cm", "height_cm")
# the first year stands for all before it, and so is a "decade" of its own
DECADE_OF_YEAR = np.where(YEARS == FIRST_YEAR, 0, (YEARS - FIRST_YEAR) // 10 + 1)
DECADES = int(DECADE_OF_YEAR.max()) + 1
_IN_DECADE = np.arange(DECADES)[:, None] == DECADE_OF_YEAR  # (decades, years)

_TINY = 1e-300
_EM_ROUNDS, _EM_SETTLED = 400, 1e-7
_INNER = 3  # parts of the cross-validation within the training records


@dataclass(frozen=True, eq=False)
class Cases:
    """n records to learn from or to date.

    ``clues``: a frame of n rows. The columns `SIZES` are cm, NaN where not known; every other column
    is text: a value, a parent word, weights as JSON, or "" where nothing is stated. Its index is left
    as it is and says which record a row is. ``first``, ``last`` (n,): years, both in, within
    1880..2025; ``weight`` (n,): how much each record counts; ``clump`` (n,): equal for records that are
    near-copies; ``kind`` (n,): of object, for reports only.
    """

    clues: pd.DataFrame
    first: Ints
    last: Ints
    weight: Floats
    clump: Ints
    kind: NDArray[np.object_]

    def __post_init__(self) -> None:
        columns = (self.first, self.last, self.weight, self.clump, self.kind)
        if any(len(column) != len(self.clues) for column in columns):
            raise ValueError(f"each column must have {len(self.clues)} places, as the clues have")
        wrong = (self.first > self.last) | (self.first < FIRST_YEAR) | (self.last > LAST_YEAR)
        if wrong.any():
            raise ValueError(
                f"years must run forward within {FIRST_YEAR}..{LAST_YEAR}; "
                f"{int(wrong.sum())} records do not, the first in place {int(wrong.argmax())}"
            )

    def __len__(self) -> int:
        return len(self.first)

    def some(self, which: ArrayLike) -> Cases:
        """The records that a mask (n,) or places name."""
        rows = np.asarray(which)
        return Cases(
            self.clues[rows] if rows.dtype == bool else self.clues.iloc[rows],
            self.first[rows],
            self.last[rows],
            self.weight[rows],
            self.clump[rows],
            self.kind[rows],
        )

    def undated(self) -> Cases:
        """The same, every date as wide as can be: what a dater may see of the records it dates."""
        return replace(
            self,
            first=np.full(len(self), FIRST_YEAR),
            last=np.full(len(self), LAST_YEAR),
        )

    def without(self, *columns: str) -> Cases:
        """The same without some columns of clues."""
        return replace(self, clues=self.clues.drop(columns=list(columns)))

    def inside(self) -> NDArray[np.bool_]:
        """Which years each record's date allows, (n, years)."""
        return np.asarray((self.first[:, None] <= YEARS) & (self.last[:, None] >= YEARS))


def log_chance(chance: Floats, cases: Cases) -> Floats:
    """Log of the probability that ``chance`` (n, years) gives to each record's date, (n,)."""
    return np.asarray(np.log(np.maximum((chance * cases.inside()).sum(axis=1), _TINY)))


# ------------------------------------------------------------------------------- (a) the prior

BANDWIDTHS = (1.0, 2.0, 4.0)  # years
EVEN = 2.0  # records spread evenly over all years: no year is impossible for want of a record


def year_prior_alone(train: Cases, bandwidth: float | None = None) -> Floats:
    """The density of years, (years,), from dates that are intervals; it sums to one.

    EM: each record is shared out over its years in proportion to the density, and the shares counted.
    The counts are smoothed in every round (Silverman, Jones, Wilson and Nychka 1990, cited from memory)
    with a Gaussian kernel of ``bandwidth`` years, chosen by held-out likelihood if None; the first year
    lends nothing to the others, nor they to it.
    """
    if bandwidth is None:
        bandwidth = _best(
            train, BANDWIDTHS, lambda part, rest, b: _every(year_prior_alone(part, b), rest)
        )
    smooth = _kernel(bandwidth)
    inside, index = np.unique(
        np.column_stack([train.first, train.last]), axis=0, return_inverse=True
    )
    weight = np.bincount(index.ravel(), train.weight, len(inside))
    allowed = ((inside[:, :1] <= YEARS) & (inside[:, 1:] >= YEARS)).astype(float)
    density = np.full(len(YEARS), 1 / len(YEARS))
    for _ in range(_EM_ROUNDS):
        counts = density * (allowed.T @ (weight / (allowed @ density))) + EVEN / len(YEARS)
        fresh = smooth @ counts
        fresh /= fresh.sum()
        change = float(np.abs(fresh - density).max())
        density = fresh
        if change < _EM_SETTLED:
            break
    return np.asarray(density)


def prior_alone(train: Cases, test: Cases) -> Floats:
    """(a) as a dater: (n_test, years), every row the same."""
    return _every(year_prior_alone(train), test)


def _every(density: Floats, test: Cases) -> Floats:
    return np.tile(density, (len(test), 1))


def _kernel(bandwidth: float) -> Floats:
    """(years, years), columns sum to one: where the counts of each year go."""
    if bandwidth <= 0:
        return np.eye(len(YEARS))
    kernel = np.exp(-0.5 * ((YEARS[:, None] - YEARS) / bandwidth) ** 2)
    kernel[0, 1:] = kernel[1:, 0] = 0.0
    return np.asarray(kernel / kernel.sum(axis=0))


def _within_decade(density: Floats) -> Floats:
    """P(year | decade), (decades, years)."""
    within = _IN_DECADE * np.maximum(density, _TINY)
    return np.asarray(within / within.sum(axis=1, keepdims=True))


def inner_parts(train: Cases, parts: int = _INNER, seed: int = 0) -> Ints:
    """A part of ``train`` for each of its records, (n,), whole clumps together."""
    clumps, place = np.unique(train.clump, return_inverse=True)
    return np.asarray((np.random.default_rng(seed).permutation(len(clumps)) % parts)[place.ravel()])


def _inner(train: Cases) -> Iterator[tuple[Cases, Cases]]:
    part = inner_parts(train)
    for one in range(_INNER):
        yield train.some(part != one), train.some(part == one)


def _best(train: Cases, choices: Sequence[Any], date: Callable[[Cases, Cases, Any], Floats]) -> Any:
    """The choice under which records of ``train`` that were held out are likeliest."""
    scores = np.zeros(len(choices))
    for rest, held in _inner(train):
        for place, choice in enumerate(choices):
            scores[place] += held.weight @ log_chance(date(rest, held.undated(), choice), held)
    return choices[int(scores.argmax())]


# ------------------------------------------------------------------------- (b) naive Bayes

PULLS = (1.0, 3.0, 10.0, 30.0)  # records by which each decade is drawn to the shares of all decades
TRUSTS = (0.5, 0.75, 1.0)  # power of the clues' likelihood: below one where clues repeat each other
BINS = 6  # of the log of each side, equally filled
_ROUNDS = 15
_ONCE = 0.5  # Laplace: records added to each value overall


def decade_naive_bayes(
    train: Cases,
    test: Cases,
    split: Split | None = None,
    missing_speaks: bool = False,
    pull: float | None = None,
    trust: float | None = None,
) -> Floats:
    """(b): (n_test, years).

    ``split``: from a family and a cell to weights over values (a parent word or JSON weights shared
    over its children; anything else is a value); None takes every text as a value of its own.
    ``missing_speaks``: a blank is one more value, rather than nothing at all. ``pull`` and ``trust``
    are chosen by cross-validation within ``train`` where None.

    Decades of the training records are latent within their dates: EM, started from (a).
    """
    read = split or _own_value
    density = year_prior_alone(train)
    pulls = PULLS if pull is None else (pull,)
    trusts = TRUSTS if trust is None else (trust,)
    choices = list(product(pulls, trusts))
    scores = np.zeros(len(choices))
    if len(choices) > 1:
        for rest, held in _inner(train):
            fits = _all_fits(rest, held, read, missing_speaks)
            for place, choice in enumerate(choices):
                # the density is that of all of `train`: the same for every choice
                found = _naive(rest, density, fits, *choice)
                scores[place] += held.weight @ log_chance(found, held)
    best = choices[int(scores.argmax())]
    return _naive(train, density, _all_fits(train, test, read, missing_speaks), *best)


def _own_value(family: str, text: str) -> dict[str, float]:
    return {text: 1.0}


def _naive(
    train: Cases, density: Floats, fits: Sequence[tuple[Floats, Floats]], pull: float, trust: float
) -> Floats:
    within = _within_decade(density)
    overlap = train.inside() @ within.T  # (n, decades): P(date | decade)
    shares = [np.full((fit.shape[1], DECADES), 1 / fit.shape[1]) for fit, _ in fits]
    stated = [(fit != fit[:, :1]).any(axis=1)[:, None] for fit, _ in fits]
    decade = _IN_DECADE @ density
    for _ in range(_ROUNDS):
        likely = [fit @ share for (fit, _), share in zip(fits, shares, strict=True)]
        belief = overlap * decade * np.exp(trust * _log_product(likely))
        belief *= (train.weight / np.maximum(belief.sum(axis=1), _TINY))[:, None]
        decade = belief.sum(axis=0) + EVEN / DECADES
        decade /= decade.sum()
        for place, (fit, _) in enumerate(fits):
            load = stated[place] * belief / np.maximum(likely[place], _TINY)
            counts = shares[place] * (fit.T @ load)
            overall = counts.sum(axis=1) + _ONCE
            drawn = counts + pull * (overall / overall.sum())[:, None]
            shares[place] = drawn / drawn.sum(axis=0)
    likely = [fit @ share for (_, fit), share in zip(fits, shares, strict=True)]
    belief = decade * np.exp(trust * _log_product(likely))
    return np.asarray(belief / belief.sum(axis=1, keepdims=True) @ within)


def _log_product(likely: Sequence[Floats]) -> Floats:
    """Log of a product of (n, decades), each row's largest 0."""
    total = np.sum([np.log(np.maximum(one, _TINY)) for one in likely], axis=0)
    return np.asarray(total - total.max(axis=1, keepdims=True))


def _all_fits(
    train: Cases, test: Cases, read: Split, missing_speaks: bool
) -> list[tuple[Floats, Floats]]:
    return [_fits(train, test, column, read, missing_speaks) for column in train.clues.columns]


def _fits(
    train: Cases, test: Cases, column: str, read: Split, missing_speaks: bool
) -> tuple[Floats, Floats]:
    """P(cell | value), (n, values), in training and test records; ones where nothing is stated."""
    if column in SIZES:
        logs = [np.log(cases.clues[column].to_numpy(dtype=float)) for cases in (train, test)]
        known = logs[0][~np.isnan(logs[0])]
        edges = np.unique(np.quantile(known, np.arange(1, BINS) / BINS)) if len(known) else known
        cells = [
            [{} if np.isnan(one) else {str(np.searchsorted(edges, one, side="right")): 1.0}
             for one in log]
            for log in logs
        ]  # fmt: skip
    else:
        cells = []
        for cases in (train, test):
            texts = [str(text) for text in cases.clues[column]]
            meaning = {text: read(column, text) if text else {} for text in set(texts)}
            cells.append([meaning[text] for text in texts])
    if missing_speaks:
        cells = [[cell or {"": 1.0} for cell in part] for part in cells]
    values = sorted({value for cell in cells[0] for value in cell})
    place = {value: at for at, value in enumerate(values)}
    found = []
    for part in cells:
        fit = np.zeros((len(part), max(len(values), 1)))
        for row, cell in enumerate(part):
            for value, weight in cell.items():
                if value in place:
                    fit[row, place[value]] = weight
        fit[~fit.any(axis=1)] = 1.0  # not stated, or a value that no training record has
        found.append(fit)
    return found[0], found[1]


def split_by(children: Callable[[str, str], Sequence[str]]) -> Split:
    """A `Split` from what a word stands for: JSON weights as they are, a parent word evenly.

    ``children``: from a family and a word to the values that it stands for (itself, if a value).
    Weights are as in the library: how well each value fits what was seen. So a parent word fits each
    child fully.
    """

    def split(family: str, text: str) -> dict[str, float]:
        stated = json.loads(text) if text.startswith("{") else {text: 1.0}
        found: dict[str, float] = {}
        for word, weight in stated.items():
            for child in children(family, word):
                found[child] = max(found.get(child, 0.0), float(weight))
        return found

    return split


# ----------------------------------------------------------------------- (c) boosted trees


@dataclass(frozen=True)
class TreeSettings:
    """Of the trees: small trees, and few of them, for there are some thousand records.

    ``rounds`` is the most that is tried, ``every`` the step at which it is: the best by
    cross-validation within the training records is taken, with a mixture of ``even`` times (a). The
    rest was set once, by trying some dozen settings on two thirds of the museum records against the
    last third: if that flatters anyone, it is the trees. Sharing a record out over its decades once
    more by what the trees found for it (EM) was tried as well, and did worse.
    """

    learning_rate: float = 0.12
    leaves: int = 8
    least_in_leaf: int = 15
    l2: float = 1.0
    features: float = 0.6  # share of the clues that each split may choose from
    rounds: int = 160
    every: int = 20
    even: tuple[float, ...] = (0.003, 0.01, 0.03)
    rare: int = 4  # values in fewer training records are one value
    seed: int = 0


def boosted_trees(train: Cases, test: Cases, settings: TreeSettings | None = None) -> Floats:
    """(c): (n_test, years).

    A training record enters once for each decade that its date meets, with a weight in proportion to
    (a) within both, so that it counts as much as any other altogether. Blanks and texts that say more
    than one value are values of their own: what is *not* stated speaks, too, and with it whose
    catalogue it is. Sides are logs, and may be missing.
    """
    using = settings or TreeSettings()
    stages = list(range(using.every, using.rounds + 1, using.every))
    score = np.zeros((len(stages), len(using.even)))
    for rest, held in _inner(train):
        prior = year_prior_alone(rest)
        overlap = held.inside() @ _within_decade(prior).T
        base = np.exp(log_chance(_every(prior, held), held))
        for at, decades in enumerate(_staged(rest, held, prior, using, stages)):
            trees = (decades * overlap).sum(axis=1)
            for place, even in enumerate(using.even):
                mixed = (1 - even) * trees + even * base
                score[at, place] += held.weight @ np.log(np.maximum(mixed, _TINY))
    at, place = np.unravel_index(int(score.argmax()), score.shape)
    prior = year_prior_alone(train)
    *_, decades = _staged(train, test, prior, using, [stages[int(at)]])
    even = using.even[int(place)]
    return np.asarray((1 - even) * decades @ _within_decade(prior) + even * prior)


def _staged(
    train: Cases, test: Cases, density: Floats, using: TreeSettings, stages: Sequence[int]
) -> Iterator[Floats]:
    """P(decade) of the test records, (n_test, decades), after each of ``stages`` rounds."""
    from sklearn.ensemble import HistGradientBoostingClassifier
    from threadpoolctl import threadpool_limits

    columns = list(train.clues.columns)
    encoded = [_encoded(train, test, column, using.rare) for column in columns]
    inside = (train.inside() * density) @ _IN_DECADE.T  # (n, decades)
    inside *= (train.weight / inside.sum(axis=1))[:, None]
    row, decade = np.nonzero(inside > 1e-3 * train.weight[:, None])
    x = np.column_stack([one for one, _ in encoded])
    model = HistGradientBoostingClassifier(
        learning_rate=using.learning_rate,
        max_iter=stages[-1],
        max_leaf_nodes=using.leaves,
        min_samples_leaf=using.least_in_leaf,
        l2_regularization=using.l2,
        max_features=using.features,
        categorical_features=[column not in SIZES for column in columns],
        early_stopping=False,
        random_state=using.seed,
    )
    with threadpool_limits(1):
        model.fit(x[row], decade, sample_weight=inside[row, decade])
        known = np.asarray(model.classes_, dtype=int)
        wanted = set(stages)
        seen = np.column_stack([one for _, one in encoded])
        for rounds, chance in enumerate(model.staged_predict_proba(seen), 1):
            if rounds in wanted:
                decades = np.zeros((len(test), DECADES))
                decades[:, known] = chance
                yield decades


def _encoded(train: Cases, test: Cases, column: str, rare: int) -> tuple[Floats, Floats]:
    """A column as numbers, (n,) each; text as codes, NaN for a value that no training record has."""
    if column in SIZES:
        one, other = (np.log(cases.clues[column].to_numpy(dtype=float)) for cases in (train, test))
        return one, other
    words = train.clues[column].astype(str)
    counts = words.value_counts()
    code = {word: float(at) for at, word in enumerate(sorted(counts.index[counts >= rare]))}
    seldom = float(len(code))
    for word in counts.index[counts < rare]:
        code[word] = seldom
    return (
        words.map(code).to_numpy(dtype=float),
        test.clues[column].astype(str).map(code).to_numpy(dtype=float),
    )
