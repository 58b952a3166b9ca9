"""The model once more, slow and plain: loops over years, grades, markets and style years.

It shares with the library the raw numbers of a `Priors` object, the words that a `Scarf` holds, what `read_label`
says of a label, and `Century.year`, P(year) in a channel. It is meant to be read beside the formula, not to be fast.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate import Scarf, read_label
from scarfdate.tables.label import LabelRule
from scarfdate.tables.priors import Priors

FIRST = 1880
OLDEST = 1880  # years of the first cell: back to the year 1
GRADES = ("fine", "better", "everyday")
MARKETS = ("us", "canada", "europe", "elsewhere")
SMALLEST_SHARE = 1e-6
COMMON: dict[int, tuple[object, list[float]]] = {}  # by table: how common each of its values is
SMALLEST_OF_LARGEST = 2.0**-26  # floor of a column of weights, as a part of its largest number


@dataclass
class Answer:
    """What the model says of one scarf."""

    year: NDArray[np.float64]
    grade: dict[str, float]
    market: dict[str, float]
    revival: float
    log_evidence: float


def at_year(knots: list[float], logs: list[float], year: float) -> float:
    """A straight line between two knots, flat outside."""
    if year <= knots[0]:
        return logs[0]
    for left in range(len(knots) - 1):
        if year <= knots[left + 1]:
            part = (year - knots[left]) / (knots[left + 1] - knots[left])
            return logs[left] + part * (logs[left + 1] - logs[left])
    return logs[-1]


def shares_at(knots: NDArray[np.float64], rows: NDArray[np.float64], year: float) -> list[float]:
    """Shares of one year: each row to a sum of one, floor, log-linear, to a sum of one again."""
    return between(knots.tolist(), log_columns(rows), year)


def log_columns(rows: NDArray[np.float64]) -> list[list[float]]:
    """Of each value the logarithms of its shares at the knots, each row to a sum of one first."""
    each = [[max(share / sum(row), SMALLEST_SHARE) for share in row] for row in rows.tolist()]
    return [[math.log(row[column]) for row in each] for column in range(rows.shape[1])]


def between(knots: list[float], logs: list[list[float]], year: float) -> list[float]:
    """Log-linear, to a sum of one."""
    each = [math.exp(at_year(knots, column, year)) for column in logs]
    total = sum(each)
    return [share / total for share in each]


def number_at(knots: NDArray[np.float64], values: NDArray[np.float64], at: float) -> float:
    """One column of weights between its knots."""
    floor = max(values) * SMALLEST_OF_LARGEST if max(values) > 0 else 1.0
    logs = [math.log(max(value, floor)) for value in values.tolist()]
    return math.exp(at_year(knots.tolist(), logs, at))


def nearest_key(series: object, grade: str, other: str) -> tuple[str, str]:
    """The series that holds for a grade and a market (or a parent's value)."""
    for key in ((grade, other), ("any", other), (grade, "any"), ("any", "any")):
        if key in series:  # type: ignore[operator]
            return key
    raise KeyError(grade, other)


def straight(knots: NDArray[np.float64], values: NDArray[np.float64], at: float) -> float:
    """A straight line between two knots, flat outside."""
    return at_year(list(map(float, knots)), list(map(float, values)), at)


def normal(x: float, centre: float, spread: float) -> float:
    return math.exp(-((x - centre) ** 2) / (2 * spread**2)) / (spread * math.sqrt(2 * math.pi))


class Reference:
    """The reference for one set of tables, channel and last year."""

    def __init__(
        self, priors: Priors, channel: str, as_of: int, revival_times: float = 1.0
    ) -> None:
        self.priors, self.as_of = priors, as_of
        self._notices: dict[str, list[float]] = {}
        self.years = list(range(FIRST, as_of + 1))
        century = priors.century
        names = century.channels[channel]
        own = priors.sets.get(names.tables)  # tables that hold in this channel alone
        self.shares = {**priors.shares, **(own.shares if own else {})}
        self.measured = {**priors.measured, **(own.measured if own else {})}
        self.confusion = {family: dict(t.matrices) for family, t in priors.confusion.items()}
        for family, looked in own.confusion.items() if own else ():
            self.confusion[family].update(looked.matrices)
        knots, museum = century.museum.series["any"]
        density = museum[:, list(century.museum.columns).index(names.records)]
        other_knots, factors = century.factors.series["any"]
        factor = factors[:, list(century.factors.columns).index(names.years)]
        raw = [number_at(knots, density, y) * number_at(other_knots, factor, y) for y in self.years]
        self.p_year = [value / sum(raw) for value in raw]
        self.p_grade = [shares_at(*century.grades.series[names.grades], y) for y in self.years]
        self.p_market = [shares_at(*century.markets.series[names.markets], y) for y in self.years]
        self.rho, self.back = [], []
        share_knots, share = century.revivals.series["any"]
        lag_knots, lag = century.lookback_lag.series["any"]
        appeal_knots, appeal = century.lookback_appeal.series["any"]
        appeals = [number_at(appeal_knots, appeal[:, 0], s) for s in self.years]
        lags = [number_at(lag_knots, lag[:, 0], back) for back in range(len(self.years))]
        for at, year in enumerate(self.years):
            rho = number_at(share_knots, share[:, 0], year) / 100 * revival_times
            self.rho.append(0.0 if at == 0 else rho)
            weights = [lags[at - s] * appeals[s] if s < at else 0.0 for s in range(len(self.years))]
            total = sum(weights)
            self.back.append([w / total for w in weights] if total else [0.0] * len(weights))
        self._numbers: dict[tuple[str, str], list[float]] = {}
        self._once: dict[tuple[object, ...], float] = {}
        self._trade: list[float] = []
        self._kept: dict[object, list[list[float]]] = {}

    def p_value(self, family: str, grade: str, market: str) -> list[list[float]]:
        """P(each value) for every year."""
        series = self.shares[family].series
        key = nearest_key(series, grade, market)
        if (family, key) not in self._kept:
            self._kept[family, key] = self.lawful(family, series[key], self.years)
        return self._kept[family, key]

    def lawful(self, family: str, rows: object, years: list[int]) -> list[list[float]]:
        """Shares of every year, with no more of a value before its first year than its fact allows."""
        found = []
        knots, values = rows  # type: ignore[misc]
        logs = log_columns(values)
        for year in years:
            shares = between(knots.tolist(), logs, year)
            capped: dict[int, float] = {}
            for limit in self.priors.limits:
                own = limit.value in self.priors.vocabulary.values[family]
                if limit.family == family and own and year < limit.not_before:
                    place = list(self.priors.vocabulary.values[family]).index(limit.value)
                    if shares[place] > limit.allowed / 100:
                        capped[place] = limit.allowed / 100
            left = sum(share for place, share in enumerate(shares) if place not in capped)
            scale = (1 - sum(capped.values())) / left
            found.append([capped.get(p, share * scale) for p, share in enumerate(shares)])
        return found

    def common(self, family: str) -> list[float]:
        """How common each value is: the mean of the usual tables over years, grades and markets."""
        table = self.priors.shares[family]
        if id(table) not in COMMON:
            last = int(max(knots[-1] for knots, _ in table.series.values()))
            years = list(range(FIRST, last + 1))
            markets = MARKETS if table.by_market else ("any",)
            keys = [nearest_key(table.series, g, m) for g in GRADES for m in markets]
            means = [0.0] * len(table.values)
            for key in set(keys):
                part = keys.count(key) / len(keys) / len(years)
                for shares in self.lawful(family, table.series[key], years):
                    for place, share in enumerate(shares):
                        means[place] += share * part
            COMMON[id(table)] = (table, means)
        return COMMON[id(table)][1]

    def noted(self, scarf: Scarf, family: str, slip: float | None = None) -> list[float]:
        """For each true value, the chance of what was noted."""
        values = list(self.priors.vocabulary.values[family])
        seen = scarf.observations.get(family)
        if seen is None:
            return [1.0] * len(values)
        confusion = self.confusion[family][seen.method]
        slip = self.priors.slips[family] if slip is None else slip
        common = self.common(family)
        fits = []
        for true in range(len(values)):
            chance = 0.0
            for word, weight in seen.terms:
                children = self.priors.vocabulary.parents[family].get(word) or (word,)
                for child in children:
                    place = values.index(child)
                    noted = (1 - slip) * confusion[true, place] + slip * common[place]
                    chance += weight * noted
            fits.append(chance)
        return fits

    def can_be_called(self, family: str, word: str, year: int) -> float:
        """What of its usual level a kind of a value, such as lyocell, can have in a year."""
        can_be = 1.0
        for limit in self.priors.limits:
            if (limit.family, limit.value) == (family, word):
                if year < limit.not_before and limit.allowed == 0:
                    can_be = 0.0
                if year > limit.until:
                    used_up = self.priors.allowances["old_name_years"]
                    can_be *= math.exp(-(year - limit.until) / used_up)
        if (family, word) in self.priors.fashions:
            knots, levels = self.priors.fashions[family, word]
            can_be *= number_at(knots, levels[:, 0], year)
        return can_be

    def ruled_out(
        self, scarf: Scarf, family: str, year: int, slip: float | None = None
    ) -> dict[int, float]:
        """By place of a true value: what of the chance of the words noted for it their own years take away."""
        seen, values = scarf.observations.get(family), list(self.priors.vocabulary.values[family])
        slip = self.priors.slips[family] if slip is None else slip
        found: dict[int, float] = {}
        for word, weight in () if seen is None else seen.terms:
            if word not in values and word in self.priors.vocabulary.narrower[family]:
                places = [values.index(v) for v in self.priors.vocabulary.parents[family][word]]
                confusion = self.confusion[family][seen.method]
                for place in places:
                    named = sum(float(confusion[place, other]) for other in places)
                    right = (1 - slip) * named
                    cannot_be = weight * right * (1 - self.can_be_called(family, word, year))
                    found[place] = found.get(place, 0.0) + cannot_be
        return found

    def density(self, family: str, x: float, value: str, grade: str, year: int) -> float:
        """f(x | value, grade, year) of a measurement, read on its geometric step."""
        about = self.priors.families[family]
        log_x = round(math.log(x) / math.log(about.step)) * math.log(about.step)
        series = self.measured[family].series
        key = nearest_key(series, grade, value)
        if (family, key, "measured") not in self._kept:
            knots, both = series[key]
            self._kept[family, key, "measured"] = [
                [at_year(knots.tolist(), [math.log(v) for v in both[:, i]], y) for y in self.years]
                for i in (0, 1)
            ]
        median, factor = (column[year - FIRST] for column in self._kept[family, key, "measured"])
        usual = normal(log_x, median, factor)
        if about.low == 1:
            usual += normal(-log_x, median, factor)
        slip = self.priors.slips[family]
        return (1 - slip) * usual + slip / math.log(about.high / about.low)

    def measurements(self, scarf: Scarf) -> dict[str, float]:
        """Measured families of a scarf with two sides, measured without a fringe."""
        found = {name: v for name, v in scarf.to_dict().items() if name in self.priors.measured}
        sides = [s for s in (scarf.width_cm, scarf.height_cm) if s is not None]
        if sides:
            found["long_side"] = max(sides)
        if len(sides) == 2:
            found["slenderness"] = max(sides) / min(sides)
        return found

    def shares_clue(
        self, scarf: Scarf, family: str, grade: str, market: str, slip: float | None = None
    ) -> list[float]:
        """P(noted, measured | grade, market, year) for every year."""
        values = self.priors.vocabulary.values[family]
        fits, shares = self.noted(scarf, family, slip), self.p_value(family, grade, market)
        measured = {
            name: x
            for name, x in self.measurements(scarf).items()
            if self.priors.families[name].parent == family
        }
        chances = []
        for at, year in enumerate(self.years):
            total, ruled_out = 0.0, self.ruled_out(scarf, family, year, slip)
            for place, value in enumerate(values):
                one = (fits[place] - ruled_out.get(place, 0.0)) * shares[at][place]
                for name, x in measured.items():
                    one *= self.density(name, x, value, grade, year)
                total += one
            chances.append(total ** self.priors.families[family].trust)
        return chances

    def maker_clue(self, scarf: Scarf, signature: str) -> list[float]:
        """P(maker | year)."""
        windows = [
            w for of in self.priors.makers.windows.values() for w in of if w.maker == scarf.maker
        ]
        fitting = [w for w in windows if w.form in (signature, "any")] or windows
        output = []
        for year in self.years:
            total = 0.0
            for window in fitting:
                outside = max(0, window.year_from - year, year - window.year_to)
                total += window.rate * 0.5 ** (outside / window.edge_years)
            output.append(total)
        slip = self.priors.slips["maker"]
        return [(1 - slip) * o / sum(output) + slip / len(self.years) for o in output]

    def dated_clue(self, scarf: Scarf, name: str) -> list[float]:
        """P(year shown | year made)."""
        chances = {name: 1.0}
        if name == "depicted_year":
            said, usual = scarf.depicted_announced, self.priors.allowances["depicted_announced"]
            known = usual if said is None else float(said)
            chances = {"depicted_announced": known, name: 1 - known}
        share: dict[int, float] = {}
        for column, chance in chances.items():
            lags, first, again = self.lag_shares(name, column)
            for lag, f, a in zip(lags, first, again, strict=True):
                share[lag] = share.get(lag, 0.0) + chance * (f + a)
        shown = int(getattr(scarf, name))
        after = [self.after(share, lags, year - shown, year) for year in self.years]
        slip = self.priors.slips[name]
        return [(1 - slip) * each + slip / len(self.years) for each in after]

    def after(self, share: dict[int, float], lags: list[int], lag: int, year: int) -> float:
        """The chance of a lag in a year; in the first, which stands for all before it, the mean over these."""
        if year == FIRST:
            each = self.in_first_cell()
            return sum(part * self.of_lag(share, lags, lag - k) for k, part in enumerate(each))
        return self.of_lag(share, lags, lag)

    def of_lag(self, share: dict[int, float], lags: list[int], lag: int) -> float:
        """The chance of a lag; beyond the table that of its last."""
        return share[lags[-1]] if lag > lags[-1] else share.get(lag, 0.0)

    def in_first_cell(self) -> list[float]:
        """P(made k years before 1880 | made in 1880 or before), falling by one ratio, for k from 0 on."""
        mean = self.priors.allowances["first_cell_age"]
        each = [(mean / (mean + 1)) ** k for k in range(OLDEST)]
        return [one / sum(each) for one in each]

    def lag_shares(self, name: str, column: str) -> tuple[list[int], list[float], list[float]]:
        """Lags, P(lag, first printing) and P(lag, the design printed again)."""
        knots, values = self.priors.lags.series["any"]
        one = values[:, list(self.priors.lags.columns).index(column)]
        reissue = self.priors.reissues.series.get(name)
        last = max(int(knots[-1]), int(reissue[0][-1]) if reissue else 0)
        lags = list(range(int(knots[0]), last + 1))
        possible = min(knot for knot, weight in zip(knots, one, strict=True) if weight > 0)
        first = [number_at(knots, one, lag) if lag >= possible else 0.0 for lag in lags]
        again = [0.0] * len(lags)
        if reissue:
            chance = reissue[1][:, 0] / 100
            again = [number_at(reissue[0], chance, lag) if lag > 0 else 0.0 for lag in lags]
        rest = (1 - sum(again)) / sum(first)
        return lags, [f * rest for f in first], again

    def bounds_clue(self, bounds: Any) -> list[float]:
        """1 within the bounds, outside them how often such bounds are wrong; in the first cell the mean over its years.

        Bounds that lie wholly in the first cell are the cell.
        """
        wrong = max(self.priors.known_by[bounds.by].wrong, 1e-12)
        first, last = bounds.first or 0, bounds.last or self.as_of
        chances = [1.0 if first <= year <= last else wrong for year in self.years]
        chances[0] = 1.0
        if last > FIRST:
            each = enumerate(self.in_first_cell())
            chances[0] = sum(part if FIRST - k >= first else part * wrong for k, part in each)
        return chances

    def read_off_the_label(self, scarf: Scarf) -> list[str]:
        """The families whose word was read off the label; a word alone is a clue like others."""
        method = {"label_make": "feel", "origin": "feel", "fibre": "label"}
        seen = scarf.observations
        read = [f for f, how in method.items() if f in seen and seen[f].method == how]
        return read if self.marks_of(scarf) is not None or len(read) > 1 else []

    def movable(self, scarf: Scarf, read: list[str]) -> float:
        """P(a label can be moved | how it was noted to be made), over that of any label; one where that was not noted."""
        if "label_make" not in read:
            return 1.0
        values = self.priors.vocabulary.values["label_make"]
        rows = [row for g in GRADES for m in MARKETS for row in self.p_value("label_make", g, m)]
        usual = [sum(row[place] for row in rows) / len(rows) for place in range(len(values))]
        own = self.priors.slips["label_make"] * (1 - self.priors.altered["label_make"])
        fits = self.noted(scarf, "label_make", own)
        on_cloth = ("stamped-on-cloth", "heat-transfer")  # not_where in slips.csv
        all_that_fit = sum(f * u for f, u in zip(fits, usual, strict=True))
        sewn_that_fit, sewn = 0.0, 0.0
        for value, f, u in zip(values, fits, usual, strict=True):
            if value not in on_cloth:
                sewn_that_fit, sewn = sewn_that_fit + f * u, sewn + u
        return sewn_that_fit / all_that_fit / sewn

    def marks_of(self, scarf: Scarf) -> dict[str, list[float]] | None:
        """P(marks of a label that belongs | market, year) for every year; None where nothing was read."""
        if not scarf.label_text:
            return None
        label = read_label(scarf.label_text, priors=self.priors)
        rules = self.priors.label
        state = scarf.observations.get("label")
        intact = label.intact and state is not None and state.word == "intact"
        marks = sorted({(mark.mark, mark.value) for mark in label.marks})
        if not marks and not intact:
            return None
        names = sorted({mark for mark, _ in marks})
        asking = {rule.mark for rule in rules.rules if rule.absence}
        every_mark = sorted({rule.mark for rule in rules.rules}) if intact else []
        chances: dict[str, list[float]] = {}
        for market in MARKETS:
            chances[market] = []
            for year in self.years:
                full = straight(*rules.style, year)
                total = 0.0
                for style, share in ((1, full), (2, 1 - full)):
                    product = share
                    for name in names:
                        product *= self.shown(name, market, style, year)
                    for name in every_mark:
                        told = name == "fibre-percent" and (
                            "fibre" not in names
                            or "wool-percent" in names
                            or "whole-fibre" in names
                        )
                        told = told or (name == "care" and "care-symbols" in names)
                        if name in names or told or name not in asking:
                            continue
                        asked = any(
                            r.absence and r.mark == name and r.market in ("any", market)
                            for r in rules.rules
                        )
                        if asked:
                            product *= 1 - self.shown(name, market, style, year)
                        else:
                            product *= self.usually_missing(name, market, marks)
                    total += product
                for name, value in marks:
                    total *= self.can_be(name, value, market, year)
                for home in label.homes:
                    if market not in home:
                        total *= self.priors.allowances["mark_elsewhere"]
                chances[market].append(total)
        return chances

    def fibre_fits(self, scarf: Scarf) -> float:
        """How well a fibre that was noted otherwise fits the fibre that the label names."""
        label = read_label(scarf.label_text, priors=self.priors)
        fibre = scarf.observations.get("fibre")
        if "fibre" not in label.clues or fibre is None or fibre.method == "label":
            return 1.0
        every = self.noted(scarf, "fibre")
        place = list(self.priors.vocabulary.values["fibre"]).index(label.clues["fibre"])
        return round(every[place] / max(every), 6)

    def label_clue(
        self, scarf: Scarf, *, rightly: bool = False
    ) -> dict[tuple[str, str], list[float]] | None:
        """P(all that is read off the label | market, grade, year) for every year: it belongs, or is any piece's.

        ``rightly``: that it belongs, and its text was read as it is.
        """
        marks, read = self.marks_of(scarf), self.read_off_the_label(scarf)
        if marks is None and not read:
            return None
        foreign = self.priors.slips["label_text"] * self.priors.altered["label_text"]
        misread = self.priors.slips["label_text"] - foreign
        fits = 1.0 if marks is None else self.fibre_fits(scarf)
        if marks is None:
            marks = {market: [1.0] * len(self.years) for market in MARKETS}
        mean = sum(sum(row) for row in marks.values()) / len(MARKETS) / len(self.years)
        belongs: dict[tuple[str, str], list[float]] = {}
        every = 0.0
        for market in MARKETS:
            for grade in GRADES:
                words = [1.0] * len(self.years)
                for family in read:
                    own = self.priors.slips[family] * (1 - self.priors.altered[family])
                    chances = self.shares_clue(scarf, family, grade, market, own)
                    words = [a * b for a, b in zip(words, chances, strict=True)]
                belongs[market, grade] = []
                for mark, word in zip(marks[market], words, strict=True):
                    text = (1 - misread) * fits * mark + (0.0 if rightly else misread * mean)
                    belongs[market, grade].append(text * word)
                    every += ((1 - misread) * mark + misread * mean) * word
        any_piece = every / len(MARKETS) / len(GRADES) / len(self.years)
        any_piece *= self.movable(scarf, read)
        return {
            state: [
                (1 - foreign) * chance + (0.0 if rightly else foreign * any_piece) for chance in row
            ]
            for state, row in belongs.items()
        }

    def usually_missing(self, mark: str, market: str, marks: list[tuple[str, str]]) -> float:
        """How often a mark is missing on labels of the years that these marks allow and the trade brings."""
        key = (mark, market, *marks)
        if key not in self._once:
            missing = every = 0.0
            for year in self.years:
                full = straight(*self.priors.label.style, year)
                weight = {1: full, 2: 1 - full}
                possible = self.in_the_trade(year)
                for name, value in marks:
                    possible *= self.can_be(name, value, market, year)
                possible *= sum(
                    share
                    * math.prod(
                        self.shown(name, market, style, year)
                        for name in {name for name, _ in marks}
                    )
                    for style, share in weight.items()
                )
                every += possible
                missing += possible * sum(
                    share * (1 - self.shown(mark, market, style, year))
                    for style, share in weight.items()
                )
            self._once[key] = missing / every
        return self._once[key]

    def in_the_trade(self, year: int) -> float:
        """P(year), the mean of the channels without tables of their own."""
        if not self._trade:
            century = self.priors.century
            years = np.array(self.years)
            each = [century.year(c, years) for c in century.channels.values() if not c.tables]
            self._trade = [float(mean) for mean in sum(each) / len(each)]
        return self._trade[year - FIRST]

    def shown(self, mark: str, market: str, style: int, year: int) -> float:
        """How often a mark is shown on labels of a style (1 full, 2 brief)."""
        key = (mark, market, style, year)
        if key not in self._once:
            self._once[key] = self.shows(*key)
        return self._once[key]

    def shows(self, mark: str, market: str, style: int, year: int) -> float:
        rules, misread = self.priors.label, self.priors.allowances["mark_misread"]
        knots = rules.shown.get((mark, market)) or rules.shown.get((mark, "any"))
        stray = 1.0
        if knots is None:
            knots = rules.shown["any", "any"]
            if market not in rules.homes.get(mark, MARKETS):
                stray = self.priors.allowances["mark_elsewhere"]
        return misread + (1 - 2 * misread) * stray * straight(knots[0], knots[style], year)

    def can_be(self, mark: str, value: str, market: str, year: int) -> float:
        """What of its usual level a mark has in a year."""
        misread = self.priors.allowances["mark_misread"]
        rightly = (1 - misread) * self.could_be(mark, value, market, year)
        return rightly + self.misread_as(mark, value)

    def misread_as(self, mark: str, value: str) -> float:
        """What of the usual level of a mark is misread; of a year in a notice, as any of the years."""
        misread = self.priors.allowances["mark_misread"]
        if mark != "copyright-year" or not value:
            return misread
        top = max(self.notice(value))  # of the usual level, which is one
        return misread / len(self.years) / top if top > 0 else misread

    def notice(self, value: str) -> list[float]:
        """P(this year in a notice | year made)."""
        if value not in self._notices:  # asked for in every year and market
            lags, first, again = self.lag_shares("printed_year", "printed_year")
            share = {lag: f + a for lag, f, a in zip(lags, first, again, strict=True)}
            every = [self.after(share, lags, year - int(value), year) for year in self.years]
            self._notices[value] = every
        return self._notices[value]

    def could_be(self, mark: str, value: str, market: str, year: int) -> float:
        rules = self.priors.label
        if (mark, value) in self._numbers:
            return self._numbers[mark, value][year - FIRST]
        if mark == "copyright-year":
            every = self.notice(value)
            top = max(every)
            self._numbers[mark, value] = [one / top if top > 0 else 1.0 for one in every]
            return self._numbers[mark, value][year - FIRST]
        if mark in rules.series and value:
            series = rules.series["rn-fur" if value.startswith("fur ") else mark]
            number = float(value.removeprefix("fur "))
            issued = straight(series.numbers, series.years, number)
            spread = straight(series.numbers, series.spread, number)
            name = "rn-fur" if value.startswith("fur ") else mark
            lags, weights = rules.use.get(name) or rules.use["any"]
            begins = series.years[0]  # the first number that was ever given
            each = []
            for y in self.years:
                total = 0.0
                for issue in range(FIRST - 60, self.years[-1] + 1):
                    if issue < begins:
                        continue
                    used = 0.0 if y - issue < lags[0] else straight(lags, weights, y - issue)
                    total += used * math.exp(-0.5 * ((issue - issued) / spread) ** 2)
                each.append(total)
            top = max(each)
            self._numbers[mark, value] = [one / top if top > 0 else 1.0 for one in each]
            return self._numbers[mark, value][year - FIRST]
        if mark == "origin" and value in self.priors.vocabulary.values["origin"]:
            return 1.0
        bound = self.bounding(mark, value, market)
        if bound or mark == "origin":
            return self.under(bound, market, year)
        each = [found for other in MARKETS if (found := self.bounding(mark, value, other))]
        if not each:
            return 1.0
        if len(each) == 1:
            return self.under(each[0], market, year)
        loosest = max(each, key=lambda b: sum(self.under(b, market, y) for y in self.years))
        return self.under(loosest, market, year)

    def under(self, bound: list[LabelRule], market: str, year: int) -> float:
        """What these rules leave of a mark in a year; habits are in the table of what is shown."""
        shown = self.priors.label.shown
        starts = [r.not_before for r in bound if not math.isnan(r.not_before)]
        usuals = [
            r.usual
            for r in bound
            if not math.isnan(r.usual)
            and (r.value or ((r.mark, market) not in shown and (r.mark, "any") not in shown))
        ]
        if starts and year < max(starts):
            return 0.0
        part = 1.0
        if usuals and year < max(usuals) and (not starts or max(starts) < max(usuals)):
            part = min(r.before for r in bound if r.usual == max(usuals))
            if starts:
                rise = (year - max(starts) + 1) / (max(usuals) - max(starts) + 1)
                part = max(part, rise)
        for rule in bound:
            if not math.isnan(rule.until) and year > rule.until:
                part *= math.exp(-(year - rule.until) / rule.stock_lag)
        return part

    def bounding(self, mark: str, value: str, market: str) -> list[LabelRule]:
        """The rules that bound a mark in a market."""
        kind = value
        if mark == "rn":
            kind = "fur" if value.startswith("fur") else "six-digits" if len(value) > 5 else ""
        found = [
            r
            for r in self.priors.label.rules
            if r.mark == mark
            and r.role == "bound"
            and r.market in ("any", market)
            and r.value in (("", kind) if not (mark == "rn" and kind == "fur") else ("fur",))
        ]
        home = {"us": "usa", "canada": "canada"}.get(market)
        if mark == "origin" and not any(r.value == value for r in found) and value != home:
            found += [
                r
                for r in self.priors.label.rules
                if r.mark == "origin"
                and r.role == "bound"
                and r.market in ("any", market)
                and r.value == "foreign-country"
            ]
        return found

    def date(self, scarf: Scarf) -> Answer:
        """P(y | clues) by plain sums."""
        families = self.priors.families
        seen = scarf.observations.get("signature")
        signature = (seen.word or "") if seen else ""
        told = any(
            w.maker == scarf.maker and w.form == signature and signature
            for of in self.priors.makers.windows.values()
            for w in of
        )
        names = [name for name, family in families.items() if family.kind == "shares"]
        measured = self.measurements(scarf)
        names = [
            name
            for name in names
            if (name in scarf.observations or any(families[m].parent == name for m in measured))
            and not (name == "signature" and told)
            and name not in self.read_off_the_label(scarf)
        ]
        flat = [
            self.dated_clue(scarf, n)
            for n in ("depicted_year", "printed_year")
            if getattr(scarf, n) is not None
        ]
        flat += [self.bounds_clue(scarf.seen[n]) for n in ("acquired", "known") if n in scarf.seen]
        if scarf.maker:
            flat.append(self.maker_clue(scarf, signature))
        label = self.label_clue(scarf)
        joint: dict[tuple[int, str, str], float] = {}
        revival = 0.0
        for g, grade in enumerate(GRADES):
            style = [1.0] * len(self.years)
            for name in names:
                if families[name].reads == "style":
                    chances = self.shares_clue(scarf, name, grade, "any")
                    style = [a * b for a, b in zip(style, chances, strict=True)]
            looked_back = []
            for y in range(len(self.years)):
                looked_back.append(sum(self.back[y][s] * style[s] for s in range(y)))
            for k, market in enumerate(MARKETS):
                making = [1.0] * len(self.years)
                for name in names:
                    if families[name].reads == "making":
                        chances = self.shares_clue(scarf, name, grade, market)
                        making = [a * b for a, b in zip(making, chances, strict=True)]
                for chances in flat if label is None else [*flat, label[market, grade]]:
                    making = [a * b for a, b in zip(making, chances, strict=True)]
                for y in range(len(self.years)):
                    state = self.p_year[y] * self.p_grade[y][g] * self.p_market[y][k] * making[y]
                    later = looked_back[y]
                    joint[y, grade, market] = state * (
                        (1 - self.rho[y]) * style[y] + self.rho[y] * later
                    )
                    revival += state * self.rho[y] * later
        total = math.fsum(joint.values())
        year = np.zeros(len(self.years))
        by_grade, by_market = dict.fromkeys(GRADES, 0.0), dict.fromkeys(MARKETS, 0.0)
        for (y, grade, market), chance in joint.items():
            year[y] += chance / total
            by_grade[grade] += chance / total
            by_market[market] += chance / total
        return Answer(year, by_grade, by_market, revival / total, math.log(total))
