"""Did it help? How well priors date records whose years are known, and whether others do better.

The scores, and how a date that is an interval counts, are those of `scarfdate.scoring.rules`. "1880"
is the first cell of the grid and stands for all years before it: a known interval that reaches below is
cut there, and the cell weighs as one year.

Every score is a mean over records. Its error comes from drawing records anew (the bootstrap), whole
``groups`` at a time where labels are given: records of one collection hang together, and a hundred of them
show less than a hundred strangers.

Known years are scored as they stand, however they are known: a year that is another piece's (``wrong`` of
``known_by.csv``, which dating and learning count with) costs every set of tables alike, so that differences hold and the
score of one by itself is too low. Leave out ways that are often wrong, such as a family's history, where that matters.

Score only records that taught neither of the priors. `cross_validate` sees to that by itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.answer.blocks import BLOCK
from scarfdate.answer.date import date_table
from scarfdate.conventions import CHANNEL, FIRST_YEAR, LEVEL
from scarfdate.density.intervals import fold_numbers
from scarfdate.errors import RangeError, ScarfdateError, TableError, shown
from scarfdate.model.model import compiled
from scarfdate.scoring import calibration, rules, uncertain
from scarfdate.scoring.asked import Asked, is_whole
from scarfdate.scoring.before_after import SCORED, BeforeAfter
from scarfdate.scoring.results import BINS, LEVELS, Covered, Scores, share_band
from scarfdate.scoring.uncertain import Uncertain
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.years import Array, Cells

if TYPE_CHECKING:
    from scarfdate.records.sold_records import SoldRecords

_FOLDS = 5  # the usual choice: fewer teach from too little, more take longer
_DECADE = 10


def score(
    priors: object,
    records: SoldRecords,
    *,
    channel: str = CHANNEL,
    as_of: int | None = None,
    level: float = LEVEL,
    groups: Iterable[object] | None = None,
    rng: np.random.Generator | None = None,
    draws: int = 1000,
) -> Scores:
    """Date records of known years and score the answers.

    ``priors``: `Priors`, what has them as ``.priors``, or None for the shipped ones. ``records``: as from
    `read_sold`. ``level``: of the central interval that is scored. ``groups``: one label a record
    (a blank one is a group of its own); whole groups are drawn in the bootstrap. ``rng``: for the
    bootstrap, a fixed seed by default. ``draws``: 100 to 100,000.

    A record that these priors cannot read is in ``left_out``. Raises RangeError for arguments outside
    what is allowed and for records known to be later than ``as_of``, TableError where none can be dated.
    """
    asked = Asked.of(records, channel, as_of, level, groups, rng, draws)
    known = _priors_of(priors, "priors")
    dated = _dated(known, records, channel, asked.as_of)
    kept = _kept([dated.wrong], len(asked.first))
    return _scores(_name(known), dated, kept, asked)


def before_after(
    old: object,
    new: object,
    held_out: SoldRecords,
    *,
    channel: str = CHANNEL,
    as_of: int | None = None,
    level: float = LEVEL,
    groups: Iterable[object] | None = None,
    rng: np.random.Generator | None = None,
    draws: int = 1000,
) -> BeforeAfter:
    """Score the old and the new priors on the same records, which must have taught neither.

    ``old``: None for the shipped ones. Other arguments and errors as for `score`. Records that either
    cannot read are left out of both.
    """
    asked = Asked.of(held_out, channel, as_of, level, groups, rng, draws)
    both = [_priors_of(old, "old"), _priors_of(new, "new")]
    dated = [_dated(known, held_out, channel, asked.as_of) for known in both]
    return _compared(dated, [_name(known) for known in both], asked)


def cross_validate(
    records: SoldRecords,
    learn: Callable[[SoldRecords], object],
    priors: object = None,
    *,
    folds: int = _FOLDS,
    channel: str = CHANNEL,
    as_of: int | None = None,
    level: float = LEVEL,
    groups: Iterable[object] | None = None,
    rng: np.random.Generator | None = None,
    draws: int = 1000,
) -> BeforeAfter:
    """Learn from all folds but one, score on that one, for each in turn; before is ``priors``.

    ``learn``: takes records, gives `Priors` or what has them as ``.priors``. ``folds``: from 2 to the number
    of groups. Records of one group stay in one fold, and so do those that are alike in all clues and
    known years; the bootstrap draws them together, too. ``rng`` lays the folds. Other arguments and
    errors as for `score`.

    The errors leave out that the trainings share records: no unbiased estimate has that in (Y. Bengio and
    Y. Grandvalet 2004, Journal of Machine Learning Research 5, 1089-1105; from memory).
    """
    asked = Asked.of(records, channel, as_of, level, groups, rng, draws, alike=True)
    most = int(asked.unit.max()) + 1
    if not is_whole(folds) or not 2 <= folds <= most:
        raise RangeError(
            f"folds: a whole number from 2 to {most}, the number of groups of records that must"
            f" stay together, is allowed; got {shown(folds)}"
        )
    if not callable(learn):
        raise ScarfdateError(f"learn: a function of records is needed, got {shown(learn)}")
    known = _priors_of(priors, "priors")
    fold = fold_numbers(asked.unit, asked.rng, int(folds))
    before = _dated(known, records, channel, asked.as_of)
    after = _Dated(
        probability=np.full_like(before.probability, np.nan),
        prior=np.full(len(fold), np.nan),
        wrong={},
    )
    for one in range(int(folds)):
        held = np.flatnonzero(fold == one)
        learned = _priors_of(learn(records.take(np.flatnonzero(fold != one))), "what learn gives")
        part = _dated(learned, records.take(held), channel, asked.as_of)
        after.probability[held], after.prior[held] = part.probability, part.prior
        after.wrong.update({int(held[place]): why for place, why in part.wrong.items()})
    names = [_name(known), f"{folds} sets of learned tables"]
    return _compared([before, after], names, asked, fold)


@dataclass(frozen=True, eq=False, kw_only=True)
class _Dated:
    """P(year) (n, years), NaN where a record cannot be read; log P(known years) by the prior alone."""

    probability: Array
    prior: Array
    wrong: dict[int, str]


def _dated(priors: Priors, records: SoldRecords, channel: str, as_of: int) -> _Dated:
    table, probability = date_table(
        records.clues,
        priors=priors,
        channel=channel,
        as_of=as_of,
        on_error="collect",
        with_years=True,
    )
    year = compiled(priors, channel, as_of).year_prior
    first = np.maximum(records.known_from, FIRST_YEAR) - FIRST_YEAR
    last = np.maximum(records.known_to, FIRST_YEAR) - FIRST_YEAR
    alone = rules.log_score(np.broadcast_to(year, probability.shape), first, last)
    errors = table["errors"]
    return _Dated(
        probability=probability,
        prior=alone,
        wrong={int(row): str(errors.iloc[row]) for row in np.flatnonzero(errors.notna())},
    )


def _kept(wrong: Iterable[Mapping[int, str]], n: int) -> tuple[Cells, tuple[tuple[int, str], ...]]:
    """The places that all could date, and the others with the first reason."""
    lost: dict[int, str] = {}
    for reasons in wrong:
        lost = {**reasons, **lost}
    if len(lost) == n:
        raise TableError(f"records: none can be dated; record 0: {lost[0]}")
    good = np.ones(n, dtype=bool)
    good[list(lost)] = False
    return np.flatnonzero(good), tuple(sorted(lost.items()))


def _compared(
    dated: list[_Dated], names: list[str], asked: Asked, fold: Cells | None = None
) -> BeforeAfter:
    kept = _kept([one.wrong for one in dated], len(asked.first))
    before, after = (
        _scores(name, one, kept, asked) for name, one in zip(names, dated, strict=True)
    )
    apart = np.stack([after.each[name] - before.each[name] for name in SCORED], axis=1)
    unit = np.unique(asked.unit[kept[0]], return_inverse=True)[1]
    means = uncertain.bootstrap(apart, unit, asked.rng, asked.draws)
    return BeforeAfter(
        before=before,
        after=after,
        difference=dict(zip(SCORED, means, strict=True)),
        fold=None if fold is None else fold[kept[0]],
    )


def _scores(
    name: str, dated: _Dated, kept: tuple[Cells, tuple[tuple[int, str], ...]], asked: Asked
) -> Scores:
    at, left_out = kept
    first, last = asked.first[at], asked.last[at]
    years = np.arange(FIRST_YEAR, asked.as_of + 1)
    decade = (years - FIRST_YEAR) // _DECADE
    parts: list[dict[str, Array]] = []
    for start in range(0, len(at), BLOCK):  # several arrays the size of the probabilities are made
        here = slice(start, start + BLOCK)
        case = (dated.probability[at[here]], first[here], last[here])
        log = rules.log_score(*case)
        part = {
            "log_score": log,
            "gain": log - dated.prior[at[here]],
            "crps": rules.crps(*case),
            "brier": rules.brier(*case, decade),
            "interval_score": rules.interval_score(*case, asked.level),
        }
        for level in LEVELS:
            covered = calibration.coverage(*case, level)
            part |= {f"{what}_{100 * level:g}": values for what, values in vars(covered).items()}
        part["pit"] = calibration.pit(*case, BINS)
        parts.append(part)
    each = {what: np.concatenate([part[what] for part in parts]) for what in parts[0]}
    tenths = each.pop("pit")
    held = [f"held_{100 * level:g}" for level in LEVELS]
    unit = np.unique(asked.unit[at], return_inverse=True)[1]
    values = np.column_stack([*(each[what] for what in (*SCORED, *held)), tenths])
    means = uncertain.bootstrap(values, unit, asked.rng, asked.draws)
    independent = uncertain.effective(unit)
    shares = [_within_one(one) for one in means[len(SCORED) :]]
    return Scores(
        tables=name,
        channel=asked.channel,
        as_of=asked.as_of,
        level=asked.level,
        units=int(unit.max()) + 1,
        effective=independent,
        means=dict(zip(SCORED, means, strict=False)),
        coverage=tuple(
            _covered(each, level, share, independent)
            for level, share in zip(LEVELS, shares, strict=False)
        ),
        pit=tuple(shares[len(LEVELS) :]),
        pit_band=share_band(independent, 1 / BINS),
        calibration=calibration.reliability(dated.probability[at], first, last, decade, BINS),
        record=at,
        known=(first + FIRST_YEAR, last + FIRST_YEAR),
        each=each,
        left_out=left_out,
    )


def _covered(
    each: Mapping[str, Array], level: float, held: Uncertain, independent: float
) -> Covered:
    expected, least, most = (
        each[f"{what}_{100 * level:g}"] for what in ("expected", "least", "most")
    )
    return Covered(
        level=level,
        held=held,
        expected=float(expected.mean()),
        chance_error=math.sqrt(float((expected * (1 - expected)).mean()) / independent),
        least=float(least.mean()),
        most=float(most.mean()),
    )


def _within_one(share: Uncertain) -> Uncertain:
    return replace(share, lower=max(share.lower, 0.0), upper=min(share.upper, 1.0))


def _priors_of(given: object, name: str) -> Priors:
    if given is None and name in ("priors", "old"):
        return load_priors()
    priors = given if isinstance(given, Priors) else getattr(given, "priors", None)
    if not isinstance(priors, Priors):
        raise ScarfdateError(
            f"{name}: Priors, or an object that has them as .priors, are needed;"
            f" got {shown(type(given).__name__)}"
        )
    return priors


def _name(priors: Priors) -> str:
    return f"tables {priors.hash[:8]}"
