"""What sets the edges of an answer: for the earliest and the latest year that are still plausible, the
clue that rules out what lies beyond, and the row of a table, or the rule of a label, behind it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from scarfdate.answer.dating import Dating
from scarfdate.answer.one_scarf import as_scarf, date_scarf
from scarfdate.conventions import CHANNEL, FIRST_YEAR
from scarfdate.reading.label import number_in_words, read_label, series_of
from scarfdate.reading.scarf import Scarf
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.tables.shares import ANY, SharesTable
from scarfdate.tables.sheet import Basis
from scarfdate.tables.vocabulary import plain
from scarfdate.why.explain import explain

_LEVEL = 0.95  # of the years that are called plausible
_WEIGHTY = 1.0  # decibans: less, and it is the prior that sets the edge
_FAR = 25.0  # years: a fact farther from an edge has not set it


@dataclass(frozen=True)
class Edge:
    """One end of the plausible years and what sets it.

    ``which``: "earliest" or "latest"; ``clue``: the one that weighs most against the years beyond,
    with its ``decibans``, or "prior" where no clue weighs as much as one; ``because``: the rule or the
    row in words; ``table``, ``line``: the file and its row, 0 where several rows made it; ``basis``,
    ``source``: as the row has them. ``fact``: the dated fact nearest to the edge, in words, with its name
    and its status ("read", "memory"); "" where none is known.
    """

    which: str
    year: int
    clue: str
    decibans: float
    because: str
    table: str
    line: int
    basis: str
    source: str
    fact: str = ""

    def __str__(self) -> str:
        if self.which == "earliest":
            end = f"Hardly before {self.year}"
        else:
            end = f"Hardly after {self.year}"
        if self.clue == "prior":
            return f"{end}: no clue says so, but what turns up there ({self.table}, {self.basis})."
        row = f", row {self.line}" if self.line else ""
        known = f"{self.basis}: {self.source}" if self.source else self.basis
        fact = f"; {self.fact}" if self.fact else ""
        return f"{end}: {self.because} ({self.decibans:.1f} decibans; {self.table}{row}; {known}{fact})."


def edges(
    scarf: Scarf | Mapping[str, object],
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
) -> tuple[Edge, ...]:
    """The edges of the years that hold 95 %; none where they reach the end of the grid.

    Raises as `date_scarf` does.
    """
    known = priors or load_priors()
    seen = as_scarf(scarf, known)
    dating = date_scarf(seen, priors=known, channel=channel, as_of=as_of)
    first, last = dating.interval(_LEVEL, kind="central")
    found = []
    if first > FIRST_YEAR:
        found.append(_edge(seen, dating, known, channel, "earliest", first))
    if last < dating.as_of:
        found.append(_edge(seen, dating, known, channel, "latest", last))
    return tuple(found)


def _edge(
    scarf: Scarf, dating: Dating, priors: Priors, channel: str, which: str, year: int
) -> Edge:
    claim = f"{year} or {'later' if which == 'earliest' else 'earlier'}"
    told = explain(scarf, claim, priors=priors, channel=channel, as_of=dating.as_of)
    clue = max(told.share, key=lambda name: told.share[name], default="")
    if not clue or told.share[clue] < _WEIGHTY:
        basis = priors.century.factors.bases[0]
        return Edge(which, year, "prior", 0.0, "", basis.file, 0, basis.basis, basis.source)
    because, fact = told.says[clue], ""
    if clue == "label_text":
        because, row, fact = _of_label(scarf, priors, dating, which, year)
    elif clue in priors.shares:
        tables = priors.in_channel(channel)
        row = _row_at(tables.shares[clue], _likeliest(dating), year)
        fact = _nearest_fact(scarf, priors, clue, which, year)
    elif clue == "maker":
        windows = priors.makers.windows.get(plain(scarf.maker), ())
        row = min(windows, key=lambda w: min(abs(w.year_from - year), abs(w.year_to - year))).basis
    else:
        lags = priors.lags.series[ANY][0]
        shown = float(scarf.numbers[clue])
        row = priors.lags.bases[int(abs(lags - (year - shown)).argmin())]
    return Edge(
        which, year, clue, told.share[clue], because, row.file, row.row, row.basis, row.source,
        fact,
    )  # fmt: skip


def _nearest_fact(scarf: Scarf, priors: Priors, clue: str, which: str, year: int) -> str:
    """The dated fact of the value noted whose year lies nearest to the edge."""
    noted = scarf.observations.get(clue)
    best, words = _FAR, ""
    for limit in priors.limits:
        if noted is None or (limit.family, limit.value) != (clue, noted.word):
            continue
        ends = (limit.not_before, limit.usual_from) if which == "earliest" else (limit.until,)
        for end in ends:
            if abs(end - year) < best:
                best, words = abs(end - year), str(limit)
    return words


def _likeliest(dating: Dating) -> tuple[str, str]:
    grade = max(dating.grade, key=lambda name: dating.grade[name])
    market = max(dating.market, key=lambda name: dating.market[name])
    return grade, market


def _row_at(table: SharesTable, state: tuple[str, str], year: int) -> Basis:
    """The row of the knot nearest to a year, in the series that holds for a grade and a market."""
    grade, market = state
    start = 0
    rows = {}
    for key, (knots, _) in table.series.items():
        rows[key] = (knots, start)
        start += len(knots)
    for key in ((grade, market), (ANY, market), (grade, ANY), (ANY, ANY)):
        if key in rows:
            knots, start = rows[key]
            return table.bases[start + int(abs(knots - year).argmin())]
    return table.bases[0]


def _of_label(
    scarf: Scarf, priors: Priors, dating: Dating, which: str, year: int
) -> tuple[str, Basis, str]:
    """The rule of a label nearest to the edge, in words, its row, and its fact with its status."""
    market = _likeliest(dating)[1]
    label = read_label(scarf.label_text, market, priors=priors)
    side = "not_before" if which == "earliest" else "until"
    best, words = math.inf, "what the label says, and does not say"
    row, fact = Basis("label_shown.csv", 0, "memory", "", ""), ""  # how often marks are shown
    for mark in label.marks:
        title = priors.label.title(mark.mark, mark.value)
        if mark.mark in priors.label.series and mark.value and which == "earliest":
            series, number = series_of(mark)
            issued = priors.label.series[series].issued(number)
            if abs(issued[0] - year) < best:
                best = abs(issued[0] - year)
                words = f"{title} {mark.value}: {number_in_words(priors.label, mark)}"
                known = priors.label.series[series]
                row = known.bases[int(abs(known.numbers - number).argmin())]
        for rule in label.rules_of(mark, market):
            bound = getattr(rule, side)
            if rule.role == "bound" and abs(bound - year) < best:
                best, words = abs(bound - year), f"{title}: {rule.means}"
                row = Basis("label_rules.csv", 0, rule.basis, f"fact {rule.fact}", "")
                fact = rule.status
    return words, row, fact
