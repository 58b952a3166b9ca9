"""What to look at next: for each thing not yet looked at, the bits it promises before looking.

The expected information of a look is the entropy of the year now, less what it will be on average over
what may be found (Lindley 1956, "On a measure of the information provided by an experiment", Annals of
Mathematical Statistics 27, 986-1005). It is worked out exactly, over every value that can be noted or
every step that can be measured. A clue that was looked at by a weaker method counts as it is: what the
better method adds is on top. What a label's text, a maker or a dated print would say is not foreseen: no
table says how often they are found.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from numbers import Real
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.answer.evidence import encode
from scarfdate.answer.one_scarf import as_scarf
from scarfdate.answer.summary import decade_sums
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares import SharesClue
from scarfdate.clues.sides import measurements
from scarfdate.conventions import CHANNEL, LEVEL, METHOD, Array
from scarfdate.errors import RangeError, shown
from scarfdate.model.exact import joint_of, rows_of
from scarfdate.model.model import Model, compiled
from scarfdate.tables.lists import Check
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.years import cumulative, shortest_interval

if TYPE_CHECKING:
    import pandas

_DRAWS = 40  # of what may be found, for the worth of a set
_SEED = 11
_LITTLE = 0.01  # bits: less is not worth a minute


@dataclass(frozen=True)
class Look:
    """One check and what it promises.

    ``bits``: expected information on the year. ``narrower``: expected years by which the 80 % interval
    shrinks. ``surer``: expected rise, 0 to 1, of the chance that the most probable decade is the right
    one. ``minutes``, ``harms``, ``caution``: as ``checks.csv`` has them.
    """

    clue: str
    method: str
    bits: float
    narrower: float
    surer: float
    minutes: float
    harms: bool
    caution: str

    @property
    def bits_per_minute(self) -> float:
        """What a minute of it promises."""
        return self.bits / self.minutes


def _named(look: Look) -> str:
    """The clue, and the method unless it is eyes and fingers."""
    return look.clue if look.method == METHOD else f"{look.clue} by {look.method}"


@dataclass(frozen=True)
class NextLooks:
    """All checks, the best by bits a minute first; ``plan``: the best set within the minutes given.

    ``held_back``: harmful or dangerous checks that were asked for and are not offered, with the reason.
    ``plan_bits`` is what the plan promises altogether, a mean over draws with ``plan_error`` as its
    standard error; without minutes there is no plan.
    """

    looks: tuple[Look, ...]
    plan: tuple[Look, ...]
    plan_bits: float
    plan_error: float
    held_back: tuple[tuple[Look, str], ...] = ()

    def to_frame(self) -> pandas.DataFrame:
        """One row a check."""
        import pandas as pd

        names = ["clue", "method", "bits", "narrower", "surer", "minutes", "harms", "caution"]
        frame = pd.DataFrame([vars(look) for look in self.looks], columns=names)
        frame.insert(6, "bits_per_minute", [look.bits_per_minute for look in self.looks])
        return frame

    def __str__(self) -> str:
        if not self.looks:
            return "There is nothing left to look at."
        lines = []
        for look in self.looks[:5]:
            lines.append(
                f"{_named(look)}: {look.bits:.2f} bits in {look.minutes:g} min, "
                f"{look.narrower:.0f} years narrower" + (" (harms the piece)" if look.harms else "")
            )
            if look.caution and (look.harms or look.bits > _LITTLE):
                lines.append(f"  take care: {look.caution}")
        lines += [f"Not {_named(look)}: {why}." for look, why in self.held_back]
        if self.plan:
            names = ", ".join(_named(look) for look in self.plan)
            lines.append(f"Within the time: {names}: about {self.plan_bits:.2f} bits.")
        return "\n".join(lines)


def next_checks(
    scarf: Scarf | Mapping[str, object],
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
    minutes: float | None = None,
    harmless: bool = True,
    worth: float | None = None,
    at_stake: float | None = None,
) -> NextLooks:
    """What to look at next on a scarf, best by bits a minute.

    ``minutes``: how much time there is; the best set within it is chosen one by one.

    ``harmless``: leave out what harms the piece or needs a flame, a solvent or an ultraviolet lamp. With
    False they are listed with their cautions, but only where they promise enough (``least_bits`` in
    ``checks.csv``). Say what the piece is worth as it is and what is at stake, the money that hangs on
    naming its decade rightly, both in the same money: then they are listed only where what they can be
    expected to save, ``surer`` times ``at_stake``, is more than the harm costs. What is not listed for
    such a reason is in ``held_back``.

    Raises RangeError for minutes or money that are none, and as `date_scarf` does.
    """
    _checked("minutes", minutes, least=0.0)
    _checked("worth", worth)
    _checked("at_stake", at_stake)
    if (worth is None) != (at_stake is None):
        raise RangeError("worth and at_stake: give both, in the same money, or neither")
    known = priors or load_priors()
    seen = as_scarf(scarf, known)
    model = compiled(known, channel, as_of)
    state = _State.of(model, seen)
    label = seen.observations.get("label")
    unlabelled = label is not None and label.word == "none-seen"
    looks, held_back = [], []
    for check in known.checks:
        if harmless and (check.harms or check.needs in _DANGEROUS):
            continue
        if unlabelled and (check.method == "label" or check.family == "label_make"):
            continue
        outcomes = list(state.outcomes(check))
        if outcomes:
            bits, narrower, surer = state.promise(outcomes)
            look = Look(
                check.family, check.method, bits, narrower, surer,
                check.minutes, check.harms, check.caution,
            )  # fmt: skip
            why = _not_worth_it(look, check, worth, at_stake)
            if why:
                held_back.append((look, why))
            else:
                looks.append(look)
    looks.sort(key=lambda look: -look.bits_per_minute)
    if minutes is None:
        return NextLooks(tuple(looks), (), 0.0, 0.0, tuple(held_back))
    by_key = {(check.family, check.method): check for check in known.checks}
    plan, bits, error = _plan(state, looks, by_key, float(minutes))
    return NextLooks(tuple(looks), plan, bits, error, tuple(held_back))


_DANGEROUS = ("lamp", "flame", "solvent")
_MOST = 1e9  # minutes, or money


def _checked(name: str, value: float | None, least: float = -1e-12) -> None:
    if value is None:
        return
    if isinstance(value, bool) or not isinstance(value, Real) or not least < value < _MOST:
        above = "above 0" if least == 0 else "from 0"
        raise RangeError(f"{name}: a number {above} is allowed, got {shown(value)}")


def _not_worth_it(look: Look, check: Check, worth: float | None, at_stake: float | None) -> str:
    """Why a check is not offered; "" where it is."""
    if look.bits < check.least_bits:
        return f"it promises {look.bits:.2f} bits, and {check.least_bits:g} are asked of what can do harm"
    if worth is not None and at_stake is not None:
        saved, lost = look.surer * at_stake, check.loss * worth
        if lost > 0 and saved <= lost:
            return f"it can be expected to save {saved:.2f} and to cost {lost:.2f} by its harm"
    return ""


@dataclass(frozen=True)
class _State:
    """What is known of a scarf: the rows of its clues, how well each value fits, what was measured."""

    model: Model
    rows: Mapping[int, Array]
    fits: Mapping[str, Array]
    methods: Mapping[str, tuple[str, ...]]
    cells: Mapping[str, int]

    @classmethod
    def of(cls, model: Model, scarf: Scarf) -> _State:
        codes, _ = encode(model, scarf)
        fits, methods, cells = {}, {}, {}
        measured = measurements(scarf.seen, model.priors)
        for clue in model.clues:
            if not isinstance(clue, SharesClue):
                continue
            noted = scarf.observations.get(clue.name)
            if noted is not None:
                fits[clue.name], methods[clue.name] = clue.fits(noted), (noted.method,)
            for measure in clue.measures:
                if measure.family.name in measured:
                    cells[measure.family.name] = measure.cell(measured[measure.family.name])
        # as they are, not divided by their maximum: a chance is a ratio of two sums
        rows = {
            column: row * float(np.exp(model.clues[column].rows.log_scale[codes[0, column]]))
            for column, row in rows_of(model, codes).items()
        }
        return cls(model, rows, fits, methods, cells)

    def outcomes(self, check: Check) -> Iterator[tuple[float, _State]]:
        """What may be found by a check, with the chance of each given all that is known, and the state then."""
        for row, state in self._found(check):
            yield row / self.evidence, state

    def _found(self, check: Check) -> Iterator[tuple[float, _State]]:
        family = self.model.priors.families[check.family]
        name = family.parent if family.kind == "measured" else family.name
        column = self.model.column.get(name)
        clue = None if column is None else self.model.clues[column]
        if column is None or not isinstance(clue, SharesClue):
            return
        if family.kind == "measured":
            if family.name in self.cells:
                return
            measure = next(m for m in clue.measures if m.family.name == family.name)
            lowest, highest = measure.cell(family.low), measure.cell(family.high)
            for cell in range(lowest, highest + 1):
                cells = {**self.cells, family.name: cell}
                state = self._with(column, clue, self.fits, cells, self.methods)
                yield state.evidence * float(np.log(family.step)), state
            return
        done = self.methods.get(name, ())
        if check.method in done or check.method not in self.model.priors.confusion[name].matrices:
            return
        noted = clue.noted(check.method)
        if done and not _surer(clue, check.method, done):
            return
        before = self.fits.get(name, np.ones(len(clue.values)))
        for place in range(len(clue.values)):
            fits = {**self.fits, name: before * noted[:, place]}
            methods = {**self.methods, name: (*done, check.method)}
            state = self._with(column, clue, fits, self.cells, methods)
            yield state.evidence, state

    def _with(
        self,
        column: int,
        clue: SharesClue,
        fits: Mapping[str, Array],
        cells: Mapping[str, int],
        methods: Mapping[str, tuple[str, ...]],
    ) -> _State:
        each = fits.get(clue.name, np.ones(len(clue.values)))[:, None, None, None] * clue.shares
        for measure in clue.measures:
            if measure.family.name in cells:
                each = each * measure.density(cells[measure.family.name])[:, None]
        rows = {**self.rows, column: np.asarray(each.sum(axis=0) ** clue.trust)}
        return _State(self.model, rows, fits, methods, cells)

    @cached_property
    def year(self) -> Array:
        """P(rows, year), (years,), unscaled."""
        period, later = joint_of(self.model, self.rows)
        return np.asarray((period + later).sum(axis=0))

    @cached_property
    def evidence(self) -> float:
        """P(all rows)."""
        return float(self.year.sum())

    def promise(self, outcomes: Sequence[tuple[float, _State]]) -> tuple[float, float, float]:
        """Expected bits, years by which the interval shrinks, and rise of the best decade's chance."""
        bits, years, surer = _entropy(self.year), _width(self.year), -self._best_decade
        # a measurement outside its limits is refused: what is left is taken as all there is
        total = sum(chance for chance, _ in outcomes)
        for chance, state in outcomes:
            bits -= chance / total * _entropy(state.year)
            years -= chance / total * _width(state.year)
            surer += chance / total * state._best_decade
        # neither is ever below zero but for rounding: an expected information, and that of a maximum
        return max(bits, 0.0), years, max(surer, 0.0)

    @property
    def _best_decade(self) -> float:
        """P(the most probable decade is the right one)."""
        _, chances = decade_sums(self.model, (self.year / self.evidence)[None, :])
        return float(chances.max())


def _surer(clue: SharesClue, method: str, done: Sequence[str]) -> bool:
    """Whether a method confuses less than those already used."""
    return float(np.trace(clue.noted(method))) > max(float(np.trace(clue.noted(m))) for m in done)


def _entropy(year: Array) -> float:
    chance = year / year.sum()
    positive = chance[chance > 0]
    return float(-(positive * np.log2(positive)).sum())


def _width(year: Array) -> float:
    first, last = shortest_interval(cumulative((year / year.sum())[None, :]), LEVEL)
    return float(last[0] - first[0] + 1)


def _plan(
    state: _State, looks: Sequence[Look], checks: Mapping[tuple[str, str], Check], minutes: float
) -> tuple[tuple[Look, ...], float, float]:
    """Checks chosen one by one, each the best a minute after those before it, over drawn findings."""
    rng = np.random.default_rng(_SEED)
    states = [state] * _DRAWS
    left, chosen = minutes, list[Look]()
    open_looks = list(looks)
    gained = np.zeros(_DRAWS)
    while True:
        able = [look for look in open_looks if look.minutes <= left and look.bits > _LITTLE]
        best, best_bits, best_outcomes = None, 0.0, None
        for look in able:
            check = checks[look.clue, look.method]
            each = [list(one.outcomes(check)) for one in states]
            if not all(each):
                continue
            promised = np.array(
                [one.promise(some)[0] for one, some in zip(states, each, strict=True)]
            )
            if best is None or promised.mean() / look.minutes > best_bits / best.minutes:
                best, best_bits, best_outcomes = look, float(promised.mean()), (promised, each)
        if best is None or best_outcomes is None or best_bits <= _LITTLE:
            break
        gained += best_outcomes[0]
        chosen.append(best)
        left -= best.minutes
        open_looks.remove(best)
        states = [_drawn(some, rng) for some in best_outcomes[1]]
    error = float(gained.std(ddof=1) / np.sqrt(_DRAWS)) if chosen else 0.0
    return tuple(chosen), float(gained.mean()), error


def _drawn(outcomes: Sequence[tuple[float, _State]], rng: np.random.Generator) -> _State:
    chances = np.array([chance for chance, _ in outcomes])
    return outcomes[int(rng.choice(len(outcomes), p=chances / chances.sum()))][1]
