"""`Dating`: what is known about one piece after looking; answers questions, prints and plots."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from functools import cached_property
from itertools import repeat
from numbers import Real
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate import years
from scarfdate.answer.decades import decade_rows
from scarfdate.answer.doubts import Doubt, Reading, beside, doubts_of, earliest_of, readings_of
from scarfdate.answer.listing import Age, listing
from scarfdate.answer.reasons import Says
from scarfdate.answer.summary import Summary, decade_sums, tells_little
from scarfdate.clues.clue import Bound, Noted
from scarfdate.conventions import FIRST_YEAR, GRADES, MARKETS, Array
from scarfdate.errors import RangeError, ScarfdateError, in_text, is_one_of, shown
from scarfdate.formats import PICKLE, RESULT
from scarfdate.frozen import frozen
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.model.posterior import Posterior
from scarfdate.model.slips import at_fault
from scarfdate.reading.cells import Observed
from scarfdate.show import page, terminal
from scarfdate.show.sentence import MATTERS, percent
from scarfdate.show.sentence import years as years_in_words
from scarfdate.tables.listing import checked_language
from scarfdate.tables.priors import Priors
from scarfdate.words import edtf

if TYPE_CHECKING:
    import pandas

_ON_LABELS = {"label_text", "label_make", "origin"}


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Dating:
    """A distribution over the year in which a piece was made.

    ``years`` and ``probability`` have equal length; the first year stands for itself and all before
    it. ``level`` is that of the sentence and of `interval` when nothing else is asked. A dating says
    when, never whether a piece is what it looks like.
    """

    years: NDArray[np.int64]
    probability: Array
    level: float
    channel: str
    as_of: int
    priors_hash: str
    warnings: tuple[str, ...]
    _priors: Priors
    _observed: Mapping[str, Hashable]  # what was seen, by clue: enough to work out all else again
    _seen: Mapping[
        str, Observed
    ]  # the same as it was noted, by family: "90 cm", not the step weighed
    _measured: Noted  # what was measured, as it was noted
    _posterior: Posterior

    def __getstate__(self) -> dict[str, object]:
        """The fields alone: what was worked out from them is worked out again."""
        own: dict[str, object] = {one.name: getattr(self, one.name) for one in fields(self)}
        return own | {"format": PICKLE.version}

    def __setstate__(self, state: dict[str, object]) -> None:
        """Raises ScarfdateError where another version of the library pickled it."""
        otherwise = "date the piece again from its notes"
        PICKLE.checked(state.get("format"), "the pickled dating", otherwise)
        names = {one.name for one in fields(self)}
        if not names <= {*state}:
            raise ScarfdateError(f"the pickled dating is of an older version; {otherwise}")
        self.__dict__.update({name: state[name] for name in names})

    @property
    def _model(self) -> Model:
        return compiled(self._priors, self.channel, self.as_of)

    def interval(self, level: float | None = None, kind: str = "shortest") -> tuple[int, int]:
        """First and last year, inclusive, that hold ``level``: the shortest run, or the central one."""
        wanted = self.level if level is None else years.checked_level(level)
        if not is_one_of(kind, ("shortest", "central")):
            raise RangeError(f"kind: 'shortest' or 'central' is allowed, got {shown(kind)}")
        find = years.shortest_interval if kind == "shortest" else years.central_interval
        first, last = find(self._total, wanted)
        return int(first[0]) + FIRST_YEAR, int(last[0]) + FIRST_YEAR

    @property
    def before_grid(self) -> float:
        """P(older than the years covered): the first year stands for itself and all before it."""
        return float(self.probability[0])

    def if_younger(self, level: float | None = None) -> tuple[int, int]:
        """`interval` if it is younger than the first year: first and last year, both inclusive."""
        wanted = self.level if level is None else years.checked_level(level)
        first, last = years.shortest_interval(years.cumulative(self._young[None, :]), wanted)
        return int(first[0]) + FIRST_YEAR, int(last[0]) + FIRST_YEAR

    def region(self, level: float | None = None) -> tuple[tuple[int, int], ...]:
        """The highest-density region: the fewest years that hold ``level``, as stretches."""
        wanted = self.level if level is None else years.checked_level(level)
        inside = years.densest_cells(self.probability[None, :], wanted)[0]
        return tuple((a + FIRST_YEAR, b + FIRST_YEAR) for a, b in years.stretches(inside))

    @property
    def median(self) -> int:
        """The first year at or before which half of the probability lies."""
        return int(years.quantile(self._total, 0.5)[0]) + FIRST_YEAR

    @property
    def mode(self) -> int:
        """The most probable single year."""
        return int(self.probability.argmax()) + FIRST_YEAR

    def decades(self) -> dict[int, float]:
        """P(decade) by the decade's first year, such as 1960; they sum to one."""
        starts, chances = decade_sums(self._model, self.probability[None, :])
        return dict(zip(starts.tolist(), chances[0].tolist(), strict=True))

    @property
    def decade(self) -> str:
        """The most probable decade, such as "1960s"."""
        decades = self.decades()
        return f"{max(decades, key=lambda start: decades[start])}s"

    def between(self, first: int, last: int) -> float:
        """P(made in ``first`` to ``last``, both inclusive)."""
        if not _is_number(first) or not _is_number(last) or not first <= last:
            raise RangeError(
                "between: a first year and a last, not before it, are allowed; "
                f"got {in_text(first, str)[:40]} and {in_text(last, str)[:40]}"
            )
        return float(self.probability[(self.years >= first) & (self.years <= last)].sum())

    def at_least_years_old(self, n: int) -> float:
        """P(made ``n`` or more years before ``as_of``)."""
        if not _is_number(n):
            raise RangeError(f"at_least_years_old: a number of years is allowed, got {shown(n)}")
        return float(self.probability[self.as_of - self.years >= n].sum())

    @property
    def period_probability(self) -> float:
        """P(made in the period of its look), not later in an older look."""
        return 1 - float(self._posterior.revival[0])

    def style_years(self) -> Array:
        """If it is a later piece in an older look: P(style year), aligned with ``years``."""
        model, codes = self._noted()
        columns = list(model.style.columns)
        row, _ = model.product(columns, codes[0, columns].tolist())
        style = np.broadcast_to(row, (1, len(GRADES), len(self.years)))[0]
        at_style = int(model.style.indices(model, codes)[0])
        whole = model.style.rows.table[at_style].reshape(len(GRADES), -1)
        # what the making clues say is left when prior and style are divided out of the joint
        making = self._posterior.cube() / whole
        later = making * model.prior * model.revival_share
        at = np.einsum("gy,ys,gs->s", later, model.looked_back_to, style)
        return np.asarray(at / at.sum())

    @property
    def grade(self) -> Mapping[str, float]:
        """P(the price tier it was made for)."""
        return frozen(dict(zip(GRADES, self._posterior.grade[0].tolist(), strict=True)))

    @property
    def market(self) -> Mapping[str, float]:
        """P(where it was first offered for sale)."""
        return frozen(dict(zip(MARKETS, self._posterior.market[0].tolist(), strict=True)))

    @property
    def edtf(self) -> str:
        """ISO 8601-2 text: the interval, or a one-of set where the densest years are apart."""
        return self._summary.edtf[0]

    @property
    def sentence(self) -> str:
        """One honest sentence."""
        return self._summary.sentence[0]

    @property
    def reasons(self) -> tuple[str, ...]:
        """What speaks most for the most probable decade, heaviest first, at most two; none where the clues hardly
        narrow it down."""
        little = tells_little(self._model, self.probability[None, :])[0]
        said = (texts[0] for texts in self._summary.reasons)
        return () if little else tuple(text for text in said if text)

    def for_listing(self, language: str = "en") -> str:
        """A short line for selling, of at most 160 characters: "en", "de", "fr" or "it".

        It says what was noted of the piece, the fibre with how it is known, the decades (at least four in
        five sure), and vintage or antique only where the age is nearly certain and no later piece in an
        older look is likely; ages and least chances: ``allowances.csv``, words: ``listing.csv``.

        Caution: you answer for what you sell by. It rests on your notes; "by feel" is no test. Fibre names
        are regulated in many countries (in the Union by Regulation 1007/2011), and so are claims that
        mislead a buyer. Add a maker or country only as far as you know it from the piece; nothing here
        speaks of authenticity.

        Raises WordError for any other language.
        """
        wanted = checked_language(language)
        wrong = {name for doubt in self.doubts for name in doubt.families}
        return listing(self._priors, self._seen, wrong, self.age, wanted)

    @property
    def age(self) -> Age:
        """What a buyer may be told of its age: years that are at least four in five sure, and chances."""
        allowed = self._priors.allowances
        dated = not tells_little(self._model, self.probability[None, :])[0]
        return Age(
            years=self.interval(max(self.level, allowed["listing_probably"])) if dated else None,
            vintage=self.at_least_years_old(int(allowed["vintage_age"])),
            antique=self.at_least_years_old(int(allowed["antique_age"])),
            later=max(1 - self.period_probability, self.reissue),
        )

    @property
    def predictive_p(self) -> float:
        """How well the clues go together, 0 to 1: a prior predictive p-value (Box 1980), on the safe side.

        The chance that clues drawn from the tables fit as badly is at most this; 1 means that no clue
        surprises given the others. See ``scarfdate.model.weighing``.
        """
        return float(self._summary.weighing.predictive_p[0])

    @property
    def surprising(self) -> str | None:
        """What is most likely a slip, where the rest speaks for one; or None. See ``scarfdate.model.slips``."""
        model = self._model
        worst = at_fault(model, model.codes_of(self._observed))[0]
        return None if worst is None else Says(model).part(worst.part, self._measured)

    @property
    def earliest(self) -> Bound | None:
        """The first possible year by everything noted, taken as certain facts, with its reason and source.

        By law, by an invention, by a number, by a printed year; None where nothing noted bounds. What is
        noted can be wrong: see `doubts`.
        """
        model = self._model
        return earliest_of(model, model.codes_of(self._observed))

    @property
    def reissue(self) -> float:
        """P(an old design, printed again later): that the year it bears, or its maker's, is the design's alone.

        0 where neither a printed year nor a maker with reissues is noted.
        """
        return float(self._summary.printed_again[0])

    @cached_property
    def misreadings(self) -> tuple[Doubt, ...]:
        """For everything noted the chance that it is a slip or a misreading, given all; the largest first.

        A slip that happens to hit what is true counts too (a word noted at random, a label of another piece that is
        like its own), so that what was noted is wrong somewhat less often than this.
        """
        model = self._model
        return doubts_of(model, model.codes_of(self._observed), self._measured)

    @cached_property
    def readings(self) -> tuple[Reading, ...]:
        """The ways in which what was noted goes together, each with what of it is then wrong, the likeliest first."""
        model = self._model
        return readings_of(model, model.codes_of(self._observed), self.level, self._measured)

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """What is more likely wrong than right, the most doubtful first."""
        return tuple(doubt for doubt in self.misreadings if doubt.likely)

    def noted(self) -> dict[str, str]:
        """What was noted of each clue that was weighed, in words, by the clue's name."""
        model, codes = self._noted()
        return Says(model).each(codes[0].tolist(), self._measured)

    def is_of(self, scarf: object) -> bool:
        """Whether it is the dating of a scarf in which this was seen."""
        return self._seen == getattr(scarf, "seen", None)

    def weights(self) -> dict[str, float]:
        """Each clue's weight of evidence for the interval, in decibans, heaviest first.

        Half from the clue alone, half from the clue added last; see ``scarfdate.model.weighing``.
        """
        model, summary = self._model, self._summary
        weighing = summary.weighed(*summary.interval)
        says, codes = Says(model), model.codes_of(self._observed)[0].tolist()
        seen = np.flatnonzero(weighing.surprise[0]).tolist()
        heaviest = sorted(seen, key=lambda unit: -weighing.decibans[0, unit])
        return {
            says.unit(codes, unit, self._measured): float(weighing.decibans[0, unit])
            for unit in heaviest
        }

    @property
    def says_little(self) -> tuple[str, ...]:
        """Clues seen here that by themselves may say nothing of the decade.

        On the records that their tables are worth, the interval of the bits they carry reaches what
        chance alone would show (``information.csv``).
        """
        little = self._priors.says_little
        return tuple(
            clue.title
            for clue in self._model.clues
            if clue.name in self._observed and clue.name in little
        )

    def to_frame(self) -> pandas.DataFrame:
        """One row a year: year, probability, and the running total."""
        import pandas as pd

        return pd.DataFrame(
            {
                "year": self.years,
                "probability": self.probability,
                "at_or_before": self._total[0, 1:],
            }
        )

    def to_dict(self) -> dict[str, object]:
        """Everything as plain values, for JSON; `Priors.behind` says how a dating that was kept is had again."""
        first, last = self.interval()
        earliest = self.earliest
        return {
            "year_from": first, "year_to": last, "level": self.level, "median_year": self.median,
            "before_grid": self.before_grid, "if_younger": list(self.if_younger()),
            "mode_year": self.mode, "decades": {f"{d}s": p for d, p in self.decades().items()},
            "region": [list(stretch) for stretch in self.region()],
            "period_probability": self.period_probability, "grade": dict(self.grade),
            "market": dict(self.market), "edtf": self.edtf, "predictive_p": self.predictive_p,
            "surprising": self.surprising, "reissue": self.reissue,
            "earliest": None if earliest is None else earliest._asdict(),
            "doubts": [asdict(doubt) for doubt in self.doubts], "sentence": self.sentence, "weights": self.weights(),
            "warnings": list(self.warnings), "channel": self.channel, "as_of": self.as_of,
            "priors_hash": self.priors_hash, "format": RESULT.version, "years": self.years.tolist(),
            "probability": self.probability.tolist(),
        }  # fmt: skip

    def plot(self, ax: Any = None) -> Any:
        """Probability by year on a matplotlib axis; returns the axis."""
        from scarfdate.show import plot

        # told in the title: one cell for centuries is no year to draw
        if self.before_grid >= MATTERS:
            inside = years.densest_cells(self._young[None, :], self.level)[0]
            region = [(a + FIRST_YEAR, b + FIRST_YEAR) for a, b in years.stretches(inside)]
            made = years_in_words(*self.if_younger(), FIRST_YEAR)
            title = (
                f"Older than {FIRST_YEAR + 1}: {percent(self.before_grid)}; "
                f"if younger: {made} ({percent(self.level)} sure)"
            )
            return plot.years(self.years[1:].astype(float), self._young[1:], region, title, ax)
        title = f"Made {years_in_words(*self.interval(), FIRST_YEAR)} ({percent(self.level)} sure)"
        return plot.years(self.years.astype(float), self.probability, self.region(), title, ax)

    def __repr__(self) -> str:
        first, last = self.interval()
        return f"Dating({first}-{last} at {self.level:.0%}, {self.decade}, {self.channel}, as of {self.as_of})"

    def __str__(self) -> str:
        beside = self._beside()
        return terminal.page(self.sentence, self._bars(), self._facts(), self.warnings, beside)

    def _repr_html_(self) -> str:
        from scarfdate.drawing.beside import drawings

        return page.card(
            self.sentence,
            self._bars(),
            self._facts(),
            self.warnings,
            self._beside(),
            drawings(self._priors, self._seen),
        )

    def _catalogued(self) -> str:
        """The interval of the sentence in ISO 8601-2 text."""
        if self.before_grid >= MATTERS:
            text = edtf.interval_text(*self.if_younger())
            return f"{text} if younger than {FIRST_YEAR + 1} (ISO 8601-2)"
        first, last = self.interval()
        return f"{edtf.interval_text(first, last, open_start=first == FIRST_YEAR)} (ISO 8601-2)"

    def _beside(self) -> list[str]:
        """What stands in lines of its own beside the interval: what cannot all be right, and what there cannot be."""
        earliest, first = self.earliest, self.interval()[0]
        return beside(self._priors, self._seen, self.readings, earliest, first)

    def _bars(self) -> list[tuple[str, float]]:
        return decade_rows(self.decades(), self.before_grid)

    def _facts(self) -> list[str]:
        allowed = self._priors.allowances
        vintage, antique = int(allowed["vintage_age"]), int(allowed["antique_age"])
        grade, market = (max(of, key=lambda name: of[name]) for of in (self.grade, self.market))
        means = self._priors.vocabulary.meanings
        made_for, sold = means["grade"][grade].partition(":")[0], means["market"][market]
        return [
            f"At least {vintage} years old: {percent(self.at_least_years_old(vintage))}."
            f" At least {antique}: {percent(self.at_least_years_old(antique))}.",
            f"Chance that it is a later piece in an older style: {percent(1 - self.period_probability)}."
            + (" A copied label is not meant." if _ON_LABELS & self._observed.keys() else "")
            + " Nothing here speaks of authenticity.",
            f"Quality: most likely {grade}, {made_for} ({percent(self.grade[grade])})."
            + (
                f" Probably {sold} ({percent(self.market[market])})."
                if self.market[market] >= allowed["listing_sure"]
                else ""
            ),
            *Says(self._model).little(self._noted()[1][0].tolist(), self._measured),
            f"For a catalogue: {self._catalogued()}. Channel {self.channel},"
            f" as of {self.as_of}, tables {self.priors_hash[:12]}.",
        ]

    @cached_property
    def _young(self) -> Array:
        """The probabilities if it is younger than the first year; as they are where it cannot be."""
        rest = self.probability[1:].sum()
        return (
            self.probability if rest <= 0 else np.concatenate(([0.0], self.probability[1:] / rest))
        )

    @cached_property
    def _total(self) -> Array:
        return years.cumulative(self.probability[None, :])

    @cached_property
    def _summary(self) -> Summary:
        year = self.probability[None, :]
        return Summary(*self._noted(), self.level, year, self._posterior, self._noted_sizes)

    def _noted_sizes(self, rows: Sequence[int], families: Collection[str]) -> Iterator[Noted]:
        return repeat(self._measured, len(rows))

    def _noted(self) -> tuple[Model, Codes]:
        """The model, and the row numbers of what was seen in it."""
        return self._model, self._model.codes_of(self._observed)


def _is_number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool)
