"""What learning gives back: a new priors folder, how sure its tables are, and what the records could inform."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.evidence import encode
from scarfdate.answer.one_scarf import as_scarf, date_scarf
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import FIRST_YEAR, LEVEL
from scarfdate.errors import RangeError, ScarfdateError, WordError, did_you_mean, shown
from scarfdate.files import write_whole
from scarfdate.knots import Array
from scarfdate.learning.likelihood import Target
from scarfdate.learning.patterns import Patterns
from scarfdate.learning.prior import (
    LATE,
    SHARES,
    Deviations,
    shares_at_knots,
    usual_shares,
)
from scarfdate.learning.trust import Trust
from scarfdate.learning.write import learned_files, trusted_file, year_files
from scarfdate.model.model import Model
from scarfdate.show.sentence import years as in_words
from scarfdate.tables.descriptor import write_descriptor
from scarfdate.tables.priors import Priors, load_priors, priors_of_files
from scarfdate.years import checked_level, cumulative, quantile, shortest_interval

if TYPE_CHECKING:
    import pandas

_FOLDER = "learned tables, not saved yet"
_INFORMED = 0.1  # of a family's prior variance gone: less, and the records hardly speak of it
_CLEAR = 2.0  # standard deviations: a lag of less is not told
_MOST_DRAWS = 1000


@dataclass(frozen=True)
class Wider:
    """A dating over draws of the tables beside that of their mean: ``years``, ``probability`` (years,),
    the interval and the median of both, and by how many years the interval grew."""

    years: NDArray[np.int64]
    probability: Array
    median: int
    first: int
    last: int
    mean_median: int
    mean_first: int
    mean_last: int
    draws: int
    level: float

    @property
    def wider(self) -> int:
        """Years by which the interval is wider than that of the mean tables; below 0 it is narrower."""
        return (self.last - self.first) - (self.mean_last - self.mean_first)

    def __str__(self) -> str:
        over = in_words(self.first, self.last, FIRST_YEAR)
        mean = in_words(self.mean_first, self.mean_last, FIRST_YEAR)
        word = "wider" if self.wider >= 0 else "narrower"
        return (
            f"Over {self.draws} draws of the tables: {over}, median {self.median}; by the mean tables "
            f"{mean}, median {self.mean_median}: {abs(self.wider)} year{'' if abs(self.wider) == 1 else 's'} {word}."
        )


@dataclass(frozen=True, eq=False)
class Learned:
    """Tables learned from records.

    ``route``; ``records``, how many; ``channel``; ``layout`` and ``draws`` (n, size): deviations from the
    parent's tables, drawn from what the records leave possible (a single row for ``counts``, ``em`` and
    ``trust``, whose powers are in ``trust``);
    ``log_scale`` (scales,) or (n, scales); ``notes``: what the records can inform, and what not;
    ``parent``: the hash of the priors that were learned from. ``years``: where they were learned, the knots
    and the logarithm of the factor on how often pieces of a year turn up.
    """

    route: str
    records: int
    channel: str
    as_of: int
    layout: Deviations = field(repr=False)
    draws: Array = field(repr=False)
    log_scale: Array = field(repr=False)
    parent: str
    source: str
    notes: tuple[str, ...]
    seconds: float
    _model: Model = field(repr=False)
    _target: Target = field(repr=False)
    _files: Mapping[str, bytes] = field(repr=False)
    _tiers: bool = field(repr=False)
    _container: Any = field(repr=False, default=None)
    trust: Trust | None = None
    years: tuple[NDArray[np.int64], Array] | None = None

    @cached_property
    def files(self) -> Mapping[str, bytes]:
        """The whole new folder, by file name: the parent's files with the learned ones in their place."""
        if self.trust is not None:
            name = "families.csv"
            made = {name: trusted_file(self._files[name], self.trust.power, self.source)}
        else:
            made = learned_files(
                self._model, self._files, self.layout, self.draws, self.source, self._tiers
            )
        files = {**self._files, **made}
        if self.years is not None:
            files |= year_files(self._model, files, *self.years, self.source)
        return files

    @cached_property
    def priors(self) -> Priors:
        """The new priors; they date at full speed. Save them to keep them."""
        return priors_of_files(self.files, _FOLDER)

    def save(self, folder: str | Path) -> Priors:
        """Write the new priors folder, whole or not at all, and read it back.

        Raises ScarfdateError where something of that name is there already.
        """
        place = Path(folder)
        if place.exists():
            raise ScarfdateError(f"save: {shown(str(folder))} is there already; choose a new name")
        if not place.parent.is_dir():
            raise ScarfdateError(
                f"save: there is no folder {shown(str(place.parent))} to write it in"
            )
        beside = Path(tempfile.mkdtemp(prefix=f".{place.name}.", dir=place.parent))
        try:
            for name, content in self.files.items():
                (beside / name).parent.mkdir(parents=True, exist_ok=True)
                write_whole(beside / name, content)
            write_descriptor(beside)
            beside.chmod(0o755)
            beside.rename(place)
        except BaseException:
            shutil.rmtree(beside, ignore_errors=True)
            raise
        return load_priors(place)

    def shares(self, family: str) -> Array:
        """Shares of a family at the knots under every draw, (draws, values, knots): of the channel's usual
        mixture of grades and markets."""
        self._clue(family)
        draws = [self.layout.named(draw) for draw in self.draws]
        return shares_at_knots(self._model, self.layout, family, draws)

    def shares_before(self, family: str) -> Array:
        """The same of the parent's tables, (values, knots)."""
        clue = self._clue(family)
        return usual_shares(self._model, clue)[:, self.layout.knots - FIRST_YEAR]

    def _clue(self, family: str) -> SharesClue:
        known = [part.family for part in self.layout.parts if part.kind == SHARES]
        if family not in known:
            raise WordError(
                f"family: nothing was learned of {shown(family)}; {did_you_mean(str(family)[:50], known)}"
            )
        clue = self._model.clues[self._model.column[family]]
        assert isinstance(clue, SharesClue)
        return clue

    def informed(self) -> pandas.DataFrame:
        """For each family: the share of its prior variance that the records took away, by how many years
        all of it comes later than the parent's table says (below 0: earlier) with the standard deviation of
        that, and the share that moved most (value, knot, before, after)."""
        import pandas as pd

        rows = []
        inner = self.layout.precision()
        lags = {
            part.family: self.draws[:, start]
            for part, start in zip(self.layout.parts, self.layout.starts, strict=True)
            if part.kind == LATE
        }
        for part, block, start in zip(self.layout.parts, inner, self.layout.starts, strict=True):
            if part.kind != SHARES or not len(block):
                continue
            # each draw in units of its own scale: that all of a table is nearly right is not news of a share
            scale = np.exp(np.atleast_2d(self.log_scale)[:, part.scale])
            prior = np.diag(np.linalg.inv(block))
            now = (self.draws[:, start : start + len(block)] / scale[:, None]).var(axis=0)
            shares = self.shares(part.family)
            before = self.shares_before(part.family)
            moved = shares.mean(axis=0) - before
            value, knot = np.unravel_index(int(np.abs(moved).argmax()), moved.shape)
            rows.append(
                {
                    "family": part.family,
                    "informed": float(1 - np.mean(now / prior)) if len(self.draws) > 1 else np.nan,
                    "later": float(lags[part.family].mean()),
                    "later_error": float(lags[part.family].std())
                    if len(self.draws) > 1
                    else np.nan,
                    "value": self._clue(part.family).values[value],
                    "knot": int(self.layout.knots[knot]),
                    "before": float(before[value, knot]),
                    "after": float(shares.mean(axis=0)[value, knot]),
                }
            )
        return pd.DataFrame(rows).sort_values("informed", ascending=False, ignore_index=True)

    def date(
        self, scarf: Scarf | Mapping[str, object], *, draws: int = 200, level: float = LEVEL
    ) -> Wider:
        """Date a scarf over draws of the tables instead of their mean, and say how much wider that is.

        ``draws``: 1 to 1,000, or as many as there are. What a label's text says of a fibre noted beside it is
        taken with the parent's slip. Raises RangeError, and as `date_scarf` does.
        """
        if isinstance(draws, bool) or not isinstance(draws, int) or not 1 <= draws <= _MOST_DRAWS:
            raise RangeError(
                f"draws: a whole number from 1 to {_MOST_DRAWS} is allowed, got {shown(draws)}"
            )
        level = checked_level(level)
        some = self.draws[
            np.linspace(0, len(self.draws) - 1, min(draws, len(self.draws))).astype(int)
        ]
        seen = as_scarf(scarf, self.priors)
        mean = date_scarf(
            seen, priors=self.priors, channel=self.channel, as_of=self.as_of, level=level
        )
        year = mean.probability if self.trust is not None else self._years_over(seen, some)
        total = cumulative(year[None])
        first, last = shortest_interval(total, level)
        low, high = mean.interval(level)
        return Wider(
            mean.years, year, int(quantile(total, 0.5)[0]) + FIRST_YEAR,
            int(first[0]) + FIRST_YEAR, int(last[0]) + FIRST_YEAR,
            mean.median, low, high, len(some), level,
        )  # fmt: skip

    def _years_over(self, seen: Scarf, draws: Array) -> Array:
        """P(year | clues), mean over draws, (years,): the scarf as one record that may be of any year."""
        codes, _ = encode(self._model, seen)
        years = len(self._model.years)
        any_year = Patterns(
            codes,
            np.zeros(1, np.intp),
            np.full(1, years - 1),
            np.ones(1),
            np.zeros(1, np.intp),
        )
        target = Target(self._model, any_year, tiers=self._tiers)
        factor = np.ones(years)
        if self.years is not None:
            knots, at = self.years
            factor = np.exp(np.interp(self._model.years, knots, at))
        found = np.zeros(years)
        for draw in draws:
            named = self.layout.named(draw)
            # a clue that no record had was not learned
            parts = [
                named.get((part.kind, part.family), np.zeros(part.shape))
                for part in target.deviations.parts
            ]
            target.value(target.deviations.joined(parts))
            year = np.bincount(target.year, target.chance, years) * factor
            found += year / year.sum() / len(draws)
        return found

    def container(self) -> Any:
        """The draws as ArviZ's container: InferenceData of ArviZ 0.x, a DataTree of 1.x."""
        from scarfdate.learning.groups import container_of

        return self._container if self._container is not None else container_of(self)

    def __str__(self) -> str:
        many = "1 record" if self.records == 1 else f"{self.records} records"
        text = f"Learned from {many} by {self.route} in {self.seconds:.1f} s."
        return "\n".join([text, *(f"- {note}" for note in self.notes)])


def notes_of(learned: Learned) -> tuple[str, ...]:
    """What the records can inform, in words."""
    notes = [] if learned.trust is None else [str(learned.trust)]
    frame = learned.informed()
    if len(learned.draws) > 1:
        told = [str(name) for name in frame.loc[frame["informed"] >= _INFORMED, "family"]]
        mute = [str(name) for name in frame["family"] if str(name) not in told]
        if told:
            notes.append(f"clue tables that they inform: {', '.join(told)}")
        if mute:
            notes.append(f"clue tables that they hardly speak of: {', '.join(mute)}")
        sure = frame[frame["later"].abs() > _CLEAR * frame["later_error"]]
        if len(sure):
            told = [
                f"{family} {abs(later):.0f} years {'later' if later > 0 else 'earlier'} "
                f"(give or take {max(error, 1):.0f})"
                for family, later, error in zip(
                    sure["family"].tolist(),
                    sure["later"].tolist(),
                    sure["later_error"].tolist(),
                    strict=True,
                )
            ]
            notes.append(
                f"as a whole these come at other times than the tables say: {', '.join(told)}"
            )
    tiers = learned.years is not None
    if any(family.trust < 1 for family in learned._model.priors.families.values()):
        notes.append(
            "the trust of the parent's clues is kept; the tables were learned at full weight"
        )
    notes.append(
        "how often pieces of a year, a grade or a market turn up is not learned: these are the pieces that "
        "were bought" if not tiers else
        "how often years, grades and markets turn up is learned, as if all that turned up had been bought"
    )  # fmt: skip
    return tuple(notes)
