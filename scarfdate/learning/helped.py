"""Did it help? How well priors date records whose years are known, and whether others do better.

The scores, and how a date that is an interval counts, are those of `scarfdate.learning.scores`. "1880"
is the first cell of the grid and stands for all years before it: a known interval that reaches below is
cut there, and the cell weighs as one year.

Every score is a mean over records. Its error comes from drawing records anew (the bootstrap), whole
``groups`` at a time where labels are given: records of one collection hang together, and a hundred of them
show less than a hundred strangers.

Score only records that taught neither of the priors. `cross_validate` sees to that by itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from numbers import Integral
from statistics import NormalDist
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import CHANNEL, FIRST_YEAR, LEVEL
from scarfdate.density.intervals import fold_numbers
from scarfdate.errors import RangeError, ScarfdateError, TableError, shown
from scarfdate.learning import scores
from scarfdate.learning.scores import SURE, Reliability, Uncertain
from scarfdate.many_scarves import BLOCK, date_table
from scarfdate.model import compiled
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.years import Array, Cells, checked_as_of, checked_level

if TYPE_CHECKING:
    import pandas

    from scarfdate.learning.sold_records import SoldRecords

LEVELS = (0.5, 0.8, 0.95)  # of the intervals whose coverage is told
BINS = 10  # of the PIT and of the chances of decades
SCORED = ("log_score", "gain", "crps", "brier", "interval_score")
BETTER, WORSE = "better", "worse"
NO_DIFFERENCE = "no difference that these records can show"
# m differences of one sign are a surprise of 2 / 2^m, by the sign test: fewer units show nothing
LEAST_UNITS = math.floor(math.log2(2 / (1 - SURE))) + 1
_DRAWS = (100, 100_000)
_SEED = 1880
_FOLDS = 5  # the usual choice: fewer teach from too little, more take longer
_SAME = 1e-9  # nats: a difference that is rounding
_DECADE = 10


@dataclass(frozen=True)
class Covered:
    """How often the shortest intervals of ``level`` hold the true year.

    ``held``: the share, with its error. ``said``: what these intervals hold by themselves, on average: of
    whole years a little more than the level, and what ``held`` should be. ``chance_error``: how far
    ``held`` is from it by chance alone, as a standard error. ``least``, ``most``: bounds of ``held``
    whatever the true years within the known intervals; equal where all are exact.
    """

    level: float
    held: Uncertain
    said: float
    chance_error: float
    least: float
    most: float

    @property
    def allowed(self) -> float:
        """How far off ``held`` is at most by chance, 95 % of the time."""
        return NormalDist().inv_cdf((1 + SURE) / 2) * self.chance_error

    @property
    def verdict(self) -> str:
        """Whether ``held`` is "as said", "too seldom" or "too often", beyond what chance allows."""
        off = self.held.mean - self.said
        if abs(off) <= self.allowed + _SAME:
            return "as said"
        return "too seldom" if off < 0 else "too often"


@dataclass(frozen=True, eq=False)
class Scores:
    """How well priors date n records of known years.

    ``means``: by name, the mean of ``log_score`` (nats, 0 at best), ``gain`` (nats over the channel's
    year prior alone), ``crps`` (years, 0 at best), ``brier`` (by decade, 0 at best to 2),
    ``interval_score`` (years, of the central interval at ``level``, 0 at best). ``coverage``: for 50, 80
    and 95 %. ``pit``: share of the records in each tenth of the probability integral transform, 0.1
    each where the priors are right; ``pit_band``: the least and greatest share that chance allows a
    tenth, 95 % of the time. ``calibration``: chances of decades against how often they came true.
    ``each``: by name, the scores of every record, (n,). ``record``: places in the records given.
    ``left_out``: places that could not be dated, and why. ``units``: groups, or else records.
    """

    tables: str
    channel: str
    as_of: int
    level: float
    units: int
    effective: float
    means: Mapping[str, Uncertain]
    coverage: tuple[Covered, ...]
    pit: tuple[Uncertain, ...]
    pit_band: tuple[float, float]
    calibration: Reliability
    record: NDArray[np.intp]
    known: tuple[NDArray[np.int64], NDArray[np.int64]]
    each: Mapping[str, Array]
    left_out: tuple[tuple[int, str], ...]

    def __len__(self) -> int:
        return len(self.record)

    def to_frame(self) -> pandas.DataFrame:
        """One row a score: score, mean, error, lower, upper (95 %), and for coverage said, least, most.

        The last three are Murphy's parts of the Brier score of ``calibration``, without errors.
        """
        import pandas as pd

        rows: list[dict[str, object]] = [
            {"score": name} | vars(found) for name, found in self.means.items()
        ]
        for one in self.coverage:
            bounds = {"said": one.said, "least": one.least, "most": one.most}
            rows.append({"score": f"covered_{100 * one.level:g}"} | vars(one.held) | bounds)
        rows += [
            {"score": f"pit_{place + 1}"} | vars(found) for place, found in enumerate(self.pit)
        ]
        parts = ("reliability", "resolution", "uncertainty")
        rows += [
            {"score": f"decades_{name}", "mean": value}
            for name, value in zip(parts, scores.brier_parts(self.calibration), strict=True)
        ]
        columns = ["score", "mean", "error", "lower", "upper", "said", "least", "most"]
        return pd.DataFrame(rows, columns=columns)

    def records_frame(self) -> pandas.DataFrame:
        """One row a record: its place in the records given, known years (cut to the grid), scores."""
        import pandas as pd

        first, last = self.known
        head = {"record": self.record, "known_from": first, "known_to": last}
        return pd.DataFrame(head | dict(self.each))

    def plot_calibration(self, ax: Any = None) -> Any:
        """How often what was said came true, for decades and for intervals; returns the axis."""
        from scarfdate.show import plot_scores

        part = self.effective / len(self)
        band = [
            _share_band(count * part, said)
            for count, said in zip(self.calibration.count, self.calibration.said, strict=True)
        ]
        return plot_scores.calibration(
            self.calibration,
            np.array(band),
            [(one.said, one.held.mean, one.allowed, one.level) for one in self.coverage],
            f"{_records(len(self))}, channel {self.channel}",
            ax,
        )

    def plot_pit(self, ax: Any = None) -> Any:
        """Histogram of the probability integral transform, with what chance allows; returns the axis."""
        from scarfdate.show import plot_scores

        return plot_scores.pit(
            [one.mean for one in self.pit],
            self.pit_band,
            f"{_records(len(self))}, channel {self.channel}",
            ax,
        )

    def __str__(self) -> str:
        lines = [
            f"{_records(len(self))} of known years, channel {self.channel}, {self.tables}"
            " (ranges: 95 % intervals):"
        ]
        log, gain = self.means["log_score"].mean, self.means["gain"]
        lines.append(
            f"- The known years get {_times(gain.mean)} the chance that the prior alone gives them"
            f" ({_range(gain, _times)}). Log score {log:.3f} nats = {log / math.log(2):.3f} bits a record."
        )
        for name, text in (
            ("crps", "The chances lie {} years from the known years (CRPS, 0 at best)"),
            ("brier", "Brier score of the decades: {} (0 at best, 2 at worst)"),
            (
                "interval_score",
                f"Score of the {100 * self.level:g} % intervals: {{}} years (0 at best)",
            ),
        ):
            found = self.means[name]
            lines.append(f"- {text.format(f'{found.mean:.3g}')}; {_range(found, _plain)}.")
        for one in self.coverage:
            line = (
                f"- {100 * one.level:g} % intervals say they hold {100 * one.said:.0f} %"
                f" and hold {100 * one.held.mean:.0f} %"
            )
            if one.most > one.least:
                line += f" (surely {100 * one.least:.0f} %, at most {100 * one.most:.0f} %)"
            apart = "within chance" if one.verdict == "as said" else f"{one.verdict}, beyond chance"
            lines.append(f"{line}: {apart}.")
        if self.units < LEAST_UNITS:
            lines.append(f"- {_few(self.units)}: the ranges mean little.")
        lines += _intervals(self.known)
        return "\n".join(lines + _lost(self.left_out))


@dataclass(frozen=True, eq=False)
class BeforeAfter:
    """Two priors on the same records. ``difference``: after less before, by score, paired.

    ``verdict``: "better", "worse" or "no difference that these records can show", by whether the 95 %
    interval of the difference of log scores leaves out 0 (and there are at least six units, below
    which not even differences of one sign are a surprise of 5 %). The log score alone decides,
    because it alone is exact for dates that are intervals. ``fold``: (n,) where cross-validated.
    """

    before: Scores
    after: Scores
    difference: Mapping[str, Uncertain]
    fold: NDArray[np.intp] | None = None

    def __len__(self) -> int:
        return len(self.before)

    @property
    def verdict(self) -> str:
        """In words, with no more certainty than there is."""
        found = self.difference["log_score"]
        if self.before.units < LEAST_UNITS or not found.lower * found.upper > 0:
            return NO_DIFFERENCE
        if abs(found.mean) < _SAME:
            return NO_DIFFERENCE
        return BETTER if found.mean > 0 else WORSE

    def to_frame(self) -> pandas.DataFrame:
        """One row a score: before, after, difference (after less before), error, lower, upper, best."""
        import pandas as pd

        rows = [
            {
                "score": name,
                "before": self.before.means[name].mean,
                "after": self.after.means[name].mean,
                "difference": found.mean,
                "error": found.error,
                "lower": found.lower,
                "upper": found.upper,
                "best": "high" if name in ("log_score", "gain") else "low",
            }
            for name, found in self.difference.items()
        ]
        return pd.DataFrame(rows)

    def records_frame(self) -> pandas.DataFrame:
        """One row a record: its place, known years, and each score before, after and the difference."""
        head = self.before.records_frame()[["record", "known_from", "known_to"]]
        if self.fold is not None:
            head["fold"] = self.fold
        for name in SCORED:
            head[f"{name}_before"] = self.before.each[name]
            head[f"{name}_after"] = self.after.each[name]
            head[f"{name}_difference"] = self.after.each[name] - self.before.each[name]
        return head

    def plot(self, ax: Any = None) -> Any:
        """The chance of every record's known years before and after; returns the axis."""
        from scarfdate.show import plot_scores

        return plot_scores.before_after(
            np.exp(self.before.each["log_score"]),
            np.exp(self.after.each["log_score"]),
            f"{_records(len(self))}: {self.verdict}",
            ax,
        )

    def __str__(self) -> str:
        found = self.difference["log_score"]
        word = self.verdict
        how = "" if self.fold is None else f"; {int(self.fold.max()) + 1}-fold cross-validation"
        head = f"{word[0].upper()}{word[1:]} ({_records(len(self))}{how})."
        text = (
            f"{head} After, the known years get {_times(found.mean)} the chance they had before"
            f" ({_range(found, _times)}; log score {found.mean:+.3f} nats a record)."
        )
        if self.before.units < LEAST_UNITS:
            text += f" {_few(self.before.units)}: no difference can be shown, whatever it is."
        elif word == NO_DIFFERENCE:
            text += " There may be a difference within that range, either way."
        lines = [text]
        for name, what in (
            ("crps", "CRPS, years"),
            ("brier", "Brier score of the decades"),
            ("interval_score", f"score of the {100 * self.before.level:g} % intervals, years"),
        ):
            apart = self.difference[name]
            lines.append(
                f"- {what}: {self.after.means[name].mean:.3g} after"
                f" {self.before.means[name].mean:.3g}, {apart.mean:+.2g}"
                f" ({_range(apart, _signed)}); less is better."
            )
        lines += _intervals(self.before.known)
        if self.fold is not None:
            lines.append(
                "- The ranges leave out that the trainings share records, and are a little narrow."
            )
        return "\n".join(lines + _lost(self.before.left_out))


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
    asked = _Asked.of(records, channel, as_of, level, groups, rng, draws)
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
    asked = _Asked.of(held_out, channel, as_of, level, groups, rng, draws)
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
    asked = _Asked.of(records, channel, as_of, level, groups, rng, draws, alike=True)
    most = int(asked.unit.max()) + 1
    if not _whole(folds) or not 2 <= folds <= most:
        raise RangeError(
            f"folds: a whole number from 2 to {most}, the number of groups of records that must"
            f" stay together, is allowed; got {shown(folds)}"
        )
    if not callable(learn):
        raise ScarfdateError(f"learn: a function of records is needed, got {shown(learn)}")
    known = _priors_of(priors, "priors")
    fold = fold_numbers(asked.unit, asked.rng, int(folds))
    before = _dated(known, records, channel, asked.as_of)
    after = _Dated(np.full_like(before.probability, np.nan), np.full(len(fold), np.nan), {})
    for one in range(int(folds)):
        held = np.flatnonzero(fold == one)
        learned = _priors_of(learn(records.take(np.flatnonzero(fold != one))), "what learn gives")
        found = _dated(learned, records.take(held), channel, asked.as_of)
        after.probability[held], after.prior[held] = found.probability, found.prior
        after.wrong.update({int(held[place]): why for place, why in found.wrong.items()})
    names = [_name(known), f"{folds} sets of learned tables"]
    return _compared([before, after], names, asked, fold)


@dataclass(frozen=True, eq=False)
class _Asked:
    """The arguments that all have, checked; known years as cells of the grid."""

    channel: str
    as_of: int
    level: float
    first: Cells
    last: Cells
    unit: Cells
    rng: np.random.Generator
    draws: int

    @staticmethod
    def of(
        records: SoldRecords,
        channel: str,
        as_of: int | None,
        level: float,
        groups: Iterable[object] | None,
        rng: np.random.Generator | None,
        draws: int,
        alike: bool = False,
    ) -> _Asked:
        """RangeError for what is not allowed. ``alike``: groups with records that are alike are joined."""
        lacking = [
            n for n in ("clues", "known_from", "known_to", "take") if not hasattr(records, n)
        ]
        if lacking:
            raise RangeError(
                f"records: those of read_sold are scored, got {shown(type(records).__name__)}"
            )
        if not _whole(draws) or not _DRAWS[0] <= draws <= _DRAWS[1]:
            raise RangeError(
                f"draws: a whole number from {_DRAWS[0]} to {_DRAWS[1]} is allowed, got {shown(draws)}"
            )
        if rng is not None and not isinstance(rng, np.random.Generator):
            raise RangeError(f"rng: a numpy.random.Generator is allowed, got {shown(rng)}")
        year = checked_as_of(as_of)
        begin, end = np.asarray(records.known_from), np.asarray(records.known_to)
        if not len(begin):
            raise TableError("records: there is none to score; give at least one")
        late = np.flatnonzero(end > year)
        if late.size:
            raise RangeError(
                f"as_of: {_records(late.size)} may be later than {year} (record {late[0]}:"
                f" {begin[late[0]]} to {end[late[0]]}); give a later as_of"
            )
        return _Asked(
            channel, year, checked_level(level),
            (np.maximum(begin, FIRST_YEAR) - FIRST_YEAR).astype(np.intp),
            (np.maximum(end, FIRST_YEAR) - FIRST_YEAR).astype(np.intp),
            _units(groups, len(begin), _alike(records) if alike else None),
            rng if rng is not None else np.random.default_rng(_SEED),
            int(draws),
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Dated:
    """P(year) (n, years), NaN where a record cannot be read; log P(known years) by the prior alone."""

    probability: Array
    prior: Array
    wrong: dict[int, str]


def _dated(priors: Priors, records: SoldRecords, channel: str, as_of: int) -> _Dated:
    table, probability = date_table(
        records.clues, priors=priors, channel=channel, as_of=as_of, with_years=True
    )
    year = compiled(priors, channel, as_of).year_prior
    first = np.maximum(records.known_from, FIRST_YEAR) - FIRST_YEAR
    last = np.maximum(records.known_to, FIRST_YEAR) - FIRST_YEAR
    alone = scores.log_score(np.broadcast_to(year, probability.shape), first, last)
    errors = table["errors"]
    return _Dated(
        probability,
        alone,
        {int(row): str(errors.iloc[row]) for row in np.flatnonzero(errors.notna())},
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
    dated: list[_Dated], names: list[str], asked: _Asked, fold: Cells | None = None
) -> BeforeAfter:
    kept = _kept([one.wrong for one in dated], len(asked.first))
    before, after = (
        _scores(name, one, kept, asked) for name, one in zip(names, dated, strict=True)
    )
    apart = np.stack([after.each[name] - before.each[name] for name in SCORED], axis=1)
    unit = np.unique(asked.unit[kept[0]], return_inverse=True)[1]
    found = scores.bootstrap(apart, unit, asked.rng, asked.draws)
    difference = MappingProxyType(dict(zip(SCORED, found, strict=True)))
    return BeforeAfter(before, after, difference, None if fold is None else fold[kept[0]])


def _scores(
    name: str, dated: _Dated, kept: tuple[Cells, tuple[tuple[int, str], ...]], asked: _Asked
) -> Scores:
    at, left_out = kept
    first, last = asked.first[at], asked.last[at]
    years = np.arange(FIRST_YEAR, asked.as_of + 1)
    decade = (years - FIRST_YEAR) // _DECADE
    parts: list[dict[str, Array]] = []
    for start in range(0, len(at), BLOCK):  # several arrays the size of the probabilities are made
        here = slice(start, start + BLOCK)
        case = (dated.probability[at[here]], first[here], last[here])
        log = scores.log_score(*case)
        part = {
            "log_score": log,
            "gain": log - dated.prior[at[here]],
            "crps": scores.crps(*case),
            "brier": scores.brier(*case, decade),
            "interval_score": scores.interval_score(*case, asked.level),
        }
        for level in LEVELS:
            found = scores.coverage(*case, level)
            part |= {f"{what}_{100 * level:g}": values for what, values in vars(found).items()}
        part["pit"] = scores.pit(*case, BINS)
        parts.append(part)
    each = {what: np.concatenate([part[what] for part in parts]) for what in parts[0]}
    tenths = each.pop("pit")
    covered = [f"held_{100 * level:g}" for level in LEVELS]
    unit = np.unique(asked.unit[at], return_inverse=True)[1]
    values = np.column_stack([*(each[what] for what in (*SCORED, *covered)), tenths])
    found_all = scores.bootstrap(values, unit, asked.rng, asked.draws)
    independent = scores.effective(unit)
    shares = [_within_one(one) for one in found_all[len(SCORED) :]]
    return Scores(
        name, asked.channel, asked.as_of, asked.level, int(unit.max()) + 1, independent,
        MappingProxyType(dict(zip(SCORED, found_all, strict=False))),
        tuple(
            _covered(each, level, held, independent)
            for level, held in zip(LEVELS, shares, strict=False)
        ),
        tuple(shares[len(LEVELS) :]),
        _share_band(independent, 1 / BINS),
        scores.reliability(dated.probability[at], first, last, decade, BINS),
        at,
        (first + FIRST_YEAR, last + FIRST_YEAR),
        MappingProxyType(each),
        left_out,
    )  # fmt: skip


def _covered(
    each: Mapping[str, Array], level: float, held: Uncertain, independent: float
) -> Covered:
    said, least, most = (each[f"{what}_{100 * level:g}"] for what in ("said", "least", "most"))
    error = math.sqrt(float((said * (1 - said)).mean()) / independent)
    return Covered(level, held, float(said.mean()), error, float(least.mean()), float(most.mean()))


def _within_one(share: Uncertain) -> Uncertain:
    return Uncertain(share.mean, share.error, max(share.lower, 0.0), min(share.upper, 1.0))


def _share_band(count: float, chance: float) -> tuple[float, float]:
    """What share of ``count`` independent ones chance allows, 95 % of the time."""
    whole = max(int(count), 1)
    low, high = scores.binomial_band(whole, chance)
    return low / whole, high / whole


def _units(groups: Iterable[object] | None, n: int, alike: Cells | None) -> Cells:
    """Group numbers (n,) from 0, joined where records are alike."""
    labels = np.arange(n, dtype=np.intp)
    if groups is not None:
        if isinstance(groups, str) or not isinstance(groups, Iterable):
            raise RangeError(f"groups: one label a record is needed, got {shown(groups)}")
        given = list(groups)
        if len(given) != n:
            raise RangeError(f"groups: {n} labels are needed, one a record, got {len(given)}")
        first: dict[object, int] = {}
        try:
            labels = np.array(
                [
                    place if _blank(one) else first.setdefault(one, place)
                    for place, one in enumerate(given)
                ],
                dtype=np.intp,
            )
        except TypeError:
            raise RangeError("groups: labels are words or numbers, not lists or tables") from None
    if alike is not None:  # the least label of a chain of groups and likenesses, until none moves
        while True:
            lowest = np.full(n, n, dtype=np.intp)
            np.minimum.at(lowest, alike, labels)
            joined = lowest[alike]
            least = np.full(n, n, dtype=np.intp)
            np.minimum.at(least, labels, joined)
            joined = least[labels]
            if (joined == labels).all():
                break
            labels = joined
    return np.asarray(np.unique(labels, return_inverse=True)[1], dtype=np.intp)


def _alike(records: SoldRecords) -> Cells:
    """A number (n,) below n for each record, equal for those alike in clues and known years."""
    read = [name for name in records.clues if not str(name).startswith("note") and name != "id"]
    cells = records.clues[read].itertuples(index=False, name=None)
    first: dict[object, int] = {}
    return np.array(
        [
            first.setdefault((a, b, *(None if _blank(cell) else str(cell) for cell in row)), place)
            for place, (a, b, row) in enumerate(
                zip(records.known_from.tolist(), records.known_to.tolist(), cells, strict=True)
            )
        ],
        dtype=np.intp,
    )


def _blank(cell: object) -> bool:
    if isinstance(cell, str):
        return not cell.strip()
    return cell is None or str(cell) in ("nan", "<NA>", "NaT")


def _priors_of(given: object, name: str) -> Priors:
    if given is None and name in ("priors", "old"):
        return load_priors()
    found = given if isinstance(given, Priors) else getattr(given, "priors", None)
    if not isinstance(found, Priors):
        raise ScarfdateError(
            f"{name}: Priors, or an object that has them as .priors, are needed;"
            f" got {shown(type(given).__name__)}"
        )
    return found


def _whole(value: object) -> bool:
    return isinstance(value, Integral) and not isinstance(value, bool)


def _name(priors: Priors) -> str:
    return f"tables {priors.hash[:8]}"


def _records(count: int) -> str:
    return "1 record" if count == 1 else f"{count} records"


def _few(units: int) -> str:
    return "A single record or group" if units == 1 else f"Only {units} records or groups"


def _intervals(known: tuple[NDArray[np.int64], NDArray[np.int64]]) -> list[str]:
    count = int((known[0] < known[1]).sum())
    if not count:
        return []
    return [
        f"- Of {_records(count)} the year is known as an interval only: CRPS, Brier and interval score"
        " favour there what is even over it; the log score does not."
    ]


def _lost(left_out: tuple[tuple[int, str], ...]) -> list[str]:
    if not left_out:
        return []
    place, why = left_out[0]
    return [f"- {_records(len(left_out))} could not be dated; record {place}: {why}"]


def _times(nats: float) -> str:
    factor = math.exp(min(nats, -math.log(scores.LEAST)))
    return f"{factor:.3g} times"


def _plain(value: float) -> str:
    return f"{value:.3g}"


def _signed(value: float) -> str:
    return f"{value:+.2g}"


def _range(found: Uncertain, form: Callable[[float], str]) -> str:
    if not math.isfinite(found.lower):
        return "no range from one record"
    return f"{form(found.lower).removesuffix(' times')} to {form(found.upper)}"
