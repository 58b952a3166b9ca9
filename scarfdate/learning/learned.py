"""What learning gives back: a new priors folder, draws of its tables, and what the records could inform."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.evidence import encode
from scarfdate.answer.one_scarf import as_scarf, date_scarf
from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import FIRST_YEAR, LEVEL, Array
from scarfdate.errors import RangeError, WordError, did_you_mean, shown
from scarfdate.files import as_path, write_folder
from scarfdate.learning.clue_shares import channel_shares, shares_at_knots, shares_clue
from scarfdate.learning.deviations import LAG, SHARES, Deviations
from scarfdate.learning.likelihood import Likelihood
from scarfdate.learning.over_draws import DatingOverDraws
from scarfdate.learning.patterns import Patterns
from scarfdate.learning.trust import Trust
from scarfdate.learning.write import learned_files, trusted_file, year_files
from scarfdate.model.model import Model, compiled
from scarfdate.scoring.in_words import records_in_words
from scarfdate.show import page
from scarfdate.tables.descriptor import descriptor_bytes
from scarfdate.tables.folder import DESCRIPTOR
from scarfdate.tables.priors import Priors, load_priors, priors_of_files
from scarfdate.threads import one_thread
from scarfdate.years import checked_level, cumulative, quantile, shortest_interval

if TYPE_CHECKING:
    import pandas


_FOLDER = "learned tables, not saved yet"
_PARENT = "the tables that were learned from"
_MOST_DRAWS = 1000


@dataclass(frozen=True, eq=False, kw_only=True)
class Learned:
    """Tables learned from records.

    ``route``; ``records``, how many; ``channel``; ``draws`` (n, size): posterior draws of theta, deviations from
    the parent's tables in the `layout` (a single row for ``counts``, ``em`` and ``trust``, whose exponents are
    in ``trust``); ``log_scale`` (scales,) or (n, scales), the hyperparameters; ``notes``: what the records can
    inform, and what not; ``parent``: the hash of the priors that were learned from. ``years``: where they were
    learned, the knots and the logarithm of the factor on how often pieces of a year turn up.

    It holds all that it answers from, the parent's files among it, and can be pickled and copied.
    """

    route: str
    records: int
    channel: str
    as_of: int
    draws: Array = field(repr=False)
    log_scale: Array = field(repr=False)
    parent: str
    source: str
    notes: tuple[str, ...]
    seconds: float
    trust: Trust | None = None
    years: tuple[NDArray[np.int64], Array] | None = None
    _patterns: Patterns = field(repr=False)
    _files: Mapping[str, bytes] = field(repr=False)
    _tiers: bool = field(repr=False)
    _container: Any = field(repr=False, default=None)

    def __getstate__(self) -> dict[str, object]:
        # the model, and what is made of it, is made again from the files when it is asked for
        return {one.name: getattr(self, one.name) for one in fields(self)}

    def with_model(self, likelihood: Likelihood) -> Learned:
        """This object, which is spared making the model again."""
        vars(self).update(_model=likelihood.model, _likelihood=likelihood)
        return self

    @cached_property
    def _model(self) -> Model:
        """The parent's model."""
        return compiled(priors_of_files(self._files, _PARENT), self.channel, self.as_of)

    @cached_property
    def _likelihood(self) -> Likelihood:
        return Likelihood(self._model, self._patterns)

    @cached_property
    def _named(self) -> list[dict[tuple[str, str], Array]]:
        """Every draw by its parts."""
        return [self.layout.named(draw) for draw in self.draws]

    @property
    def layout(self) -> Deviations:
        """The layout and the prior of theta."""
        return self._likelihood.deviations

    @cached_property
    def files(self) -> Mapping[str, bytes]:
        """The whole new folder, by file name: the parent's files with the learned ones in their place."""
        if self.trust is not None:
            name = "families.csv"
            made = {name: trusted_file(self._files[name], self.trust.exponent, self.source)}
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

        Raises ScarfdateError where something of that name is there already, and where it cannot be written.
        """
        place = as_path(folder, "save")
        described = {**self.files, DESCRIPTOR: descriptor_bytes(self.files)}
        write_folder(place, described, new=True)
        return load_priors(place)

    def shares(self, family: str) -> Array:
        """Shares of a family at the knots under every draw, (draws, values, knots): of the channel's usual
        mixture of grades and markets."""
        self._clue(family)
        return shares_at_knots(self._model, self.layout, family, self._named)

    def shares_before(self, family: str) -> Array:
        """The same of the parent's tables, (values, knots)."""
        clue = self._clue(family)
        return channel_shares(self._model, clue)[:, self.layout.knots - FIRST_YEAR]

    def _clue(self, family: str) -> SharesClue:
        known = [part.family for part in self.layout.parts if part.kind == SHARES]
        if family not in known:
            raise WordError(
                f"family: nothing was learned of {shown(family)}; {did_you_mean(family, known)}"
            )
        return shares_clue(self._model, family)

    def informed(self) -> pandas.DataFrame:
        """For each family: the share of its prior variance that the records removed, its lag (how many years
        the whole table comes later than the parent's says; below 0: earlier) with the posterior standard
        deviation of that, and the share that moved most (value, knot, before, after)."""
        import pandas as pd

        rows = []
        several = len(self.draws) > 1
        lags = {
            part.family: self.draws[:, here.start]
            for part, here, _ in self.layout.stretches()
            if part.kind == LAG
        }
        for part, here, root in self.layout.stretches():
            if part.kind != SHARES or not len(root):
                continue
            # each draw in units of its own scale: that a table is nearly right does not inform its shares
            scale = np.exp(np.atleast_2d(self.log_scale)[:, part.scale])
            prior = (root**2).sum(axis=1)
            posterior = (self.draws[:, here] / scale[:, None]).var(axis=0)
            after, before = self.shares(part.family).mean(axis=0), self.shares_before(part.family)
            moved = np.abs(after - before)
            value, knot = np.unravel_index(int(moved.argmax()), moved.shape)
            lag = lags[part.family]
            rows.append(
                {
                    "family": part.family,
                    "informed": float(1 - np.mean(posterior / prior)) if several else np.nan,
                    "later": float(lag.mean()),
                    "later_error": float(lag.std()) if several else np.nan,
                    "value": self._clue(part.family).values[value],
                    "knot": int(self.layout.knots[knot]),
                    "before": float(before[value, knot]),
                    "after": float(after[value, knot]),
                }
            )
        return pd.DataFrame(rows).sort_values("informed", ascending=False, ignore_index=True)

    @one_thread()
    def date(
        self, scarf: Scarf | Mapping[str, object], *, draws: int = 200, level: float = LEVEL
    ) -> DatingOverDraws:
        """Date a scarf over draws of the tables instead of their mean, and say how much wider that is.

        ``draws``: 1 to 1,000, or as many as there are. What a label's text says of a fibre noted beside it is
        taken with the parent's slip rate. Raises RangeError, and as `date_scarf` does.
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
        return DatingOverDraws(
            years=mean.years,
            probability=year,
            median=int(quantile(total, 0.5)[0]) + FIRST_YEAR,
            first=int(first[0]) + FIRST_YEAR,
            last=int(last[0]) + FIRST_YEAR,
            mean_median=mean.median,
            mean_first=low,
            mean_last=high,
            draws=len(some),
            level=level,
        )

    def _years_over(self, seen: Scarf, draws: Array) -> Array:
        """P(year | clues), mean over draws, (years,): the scarf as one record that may be of any year."""
        model = self._model
        codes, _ = encode(model, seen)
        rows = codes[0].tolist()
        years = len(model.years)
        any_year = Patterns(
            keys=tuple(
                (None, clue.rows.keys[row]) for clue, row in zip(model.clues, rows, strict=True)
            ),
            codes=(codes != 0).astype(np.int32),
            first=np.zeros(1, np.intp),
            last=np.full(1, years - 1),
            count=np.ones(1),
            pattern_of=np.zeros(1, np.intp),
        )
        likelihood = Likelihood(model, any_year, tiers=self._tiers)
        factor = np.ones(years)
        if self.years is not None:
            knots, at = self.years
            factor = np.exp(np.interp(model.years, knots, at))
        mean = np.zeros(years)
        for draw in draws:
            named = self.layout.named(draw)
            # a clue that no record had was not learned
            parts = [
                named.get((part.kind, part.family), np.zeros(part.shape))
                for part in likelihood.deviations.parts
            ]
            likelihood.value(likelihood.deviations.joined(parts))
            year = np.bincount(likelihood.year, likelihood.responsibility, years) * factor
            mean += year / year.sum() / len(draws)
        return mean

    @one_thread()
    def container(self) -> Any:
        """The draws as ArviZ's container: InferenceData of ArviZ 0.x, a DataTree of 1.x. Those of a route
        without chains are one chain."""
        from scarfdate.learning.container import container

        if self._container is not None:
            return self._container
        scales = np.broadcast_to(
            np.atleast_2d(self.log_scale), (len(self.draws), self.log_scale.shape[-1])
        )
        return container(self._likelihood, self.draws[None], scales[None])

    def _repr_html_(self) -> str:
        if self.trust is not None:
            return page.view(str(self), self.trust.drawn())
        return page.view(str(self), self._moved())

    def _moved(self) -> page.Html:
        """For each family the share that moved most, before and after."""
        found = self.informed()
        names = ("family", "value", "knot", "before", "after")
        rows = [
            (
                page.under(
                    f"{family}: {value}, {knot}",
                    f"{100 * before:.0f} % before, {100 * after:.0f} % after",
                ),
                page.two_bars(before, after),
            )
            for family, value, knot, before, after in zip(
                *(found[name].tolist() for name in names), strict=True
            )
        ]
        return page.table(
            rows, caption="The share of each clue that moved most: hollow before, full after"
        )

    def __str__(self) -> str:
        text = f"Learned from {records_in_words(self.records)} by {self.route} in {self.seconds:.1f} s."
        return "\n".join([text, *(f"- {note}" for note in self.notes)])
