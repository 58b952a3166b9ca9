"""What sets the edges of an answer: for the earliest and the latest year that are still plausible, the
clue that rules out what lies beyond, and the row of a table, or the rule of a label, behind it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scarfdate.answer.dating import Dating
from scarfdate.answer.reasons import WEIGHTY  # less, and it is the prior that sets the edge
from scarfdate.clues.clue import Asked as Question
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import CHANNEL, FIRST_YEAR
from scarfdate.show import page
from scarfdate.tables.priors import Priors
from scarfdate.why.asked import Asked
from scarfdate.why.explain import explain

_SOURCED = ("published", "statute", "standard")
_LEVEL = 0.95  # of the years that are called plausible


@dataclass(frozen=True, kw_only=True)
class Edge:
    """One end of the plausible years and what sets it.

    ``which``: "earliest" or "latest"; ``seen``: what was noted, as a sentence names it; ``clue``: the one that weighs most against the years beyond,
    with its ``decibans``, or "prior" where no clue weighs as much as one; ``because``: the rule or the
    row in words; ``table``, ``line``: the file and its row, 0 where several rows made it; ``basis``,
    ``source``: as the row has them, but for facts of other words alone. ``fact``: the dated fact nearest to the edge, in words, with its name
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
    seen: str = ""

    def _repr_html_(self) -> str:
        return page.view(self._drawn())

    def _drawn(self) -> page.Html:
        return page.end(str(self), opens=self.which == "earliest")

    def __str__(self) -> str:
        end = "before" if self.which == "earliest" else "after"
        text = f"Hardly made {end} {self.year}"
        if self.clue == "prior":
            return (
                f"{text}: few such scarves are found from {end} then, whatever the clues. "
                f"That is in {self.table} ({self.basis})."
            )
        row = f", row {self.line}" if self.line else ""
        known = f"{self.basis}: {self.source}" if self.source else self.basis
        if self.basis in _SOURCED and not self.source:
            known = f"the row as a whole is {self.basis}"
        fact = f" The dated fact nearest to it: {self.fact}." if self.fact else ""
        why = f", because of {self.because}" if self.because == self.seen else f": {self.because}"
        return f"{text}{why}. That is in {self.table}{row} ({known}).{fact}"


_NO_EDGE = "No year is ruled out, neither early nor late."


class Edges(tuple[Edge, ...]):
    """The edges of one answer, the earliest first; printed a sentence each."""

    __slots__ = ()

    def __str__(self) -> str:
        return "\n".join(map(str, self)) or _NO_EDGE

    def _repr_html_(self) -> str:
        drawn = [edge._drawn() for edge in self]
        return page.view(*drawn) if drawn else page.view(_NO_EDGE)


def edges(
    scarf: Scarf | Mapping[str, object],
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
) -> Edges:
    """The edges of the years that hold 95 %; none where they reach the end of the grid.

    Raises as `date_scarf` does.
    """
    asked = Asked.of(scarf, priors, channel, as_of)
    dating = asked.dated()
    first, last = dating.interval(_LEVEL, kind="central")
    found = []
    if first > FIRST_YEAR:
        found.append(_edge(asked, dating, "earliest", first))
    if last < dating.as_of:
        found.append(_edge(asked, dating, "latest", last))
    return Edges(found)


def _edge(asked: Asked, dating: Dating, which: str, year: int) -> Edge:
    claim = f"{year} or {'later' if which == 'earliest' else 'earlier'}"
    model = asked.model
    told = explain(
        asked.scarf, claim, priors=asked.priors, channel=dating.channel, as_of=dating.as_of
    )
    clue = max(told.share, key=lambda name: told.share[name], default="")
    if not clue or told.share[clue] < WEIGHTY:
        basis = asked.priors.century.factors.bases[0]
        return Edge(
            which=which,
            year=year,
            clue="prior",
            decibans=0.0,
            because="",
            table=basis.file,
            line=0,
            basis=basis.basis,
            source=basis.source,
        )
    weighed = model.clues[model.column[clue]]
    key, _ = weighed.key(asked.scarf.seen)
    behind = weighed.behind(key, Question(year, which == "earliest", *_likeliest(dating)))
    row, because = behind.row, behind.says or told.says[clue]
    return Edge(
        which=which,
        year=year,
        clue=clue,
        decibans=told.share[clue],
        because=because,
        table=row.file,
        line=row.row,
        basis=row.basis,
        source=row.source,
        fact=behind.fact,
        seen=told.says[clue],
    )


def _likeliest(dating: Dating) -> tuple[str, str]:
    grade = max(dating.grade, key=lambda name: dating.grade[name])
    market = max(dating.market, key=lambda name: dating.market[name])
    return grade, market
