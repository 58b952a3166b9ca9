"""How a card is made: rows chosen and merged, points fitted, and what they lose measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.card import ask, fit, page
from scarfdate.card.ask import Codes, Drawn, Question
from scarfdate.card.cost import cost, margin, measured, winner
from scarfdate.card.fit import Group, Points
from scarfdate.card.pocket import PocketCard
from scarfdate.card.sheet import CardRow
from scarfdate.clues.sides import DERIVED
from scarfdate.conventions import Array
from scarfdate.errors import RangeError
from scarfdate.model.model import Model, compiled
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas


_ELSE = "anything else"
_RARE = 0.003  # of the pieces where it was looked at: such a value gets no row of its own
_HELD_OUT = 4  # one piece in so many is kept from the fit, to choose the worth of a point
_DOUBLING = (1, 2, 3)  # points that make a decade twice as likely
_EASIER = 1.05  # fewer points to add are worth a loss so many times the least
_ELSEWHERE = 1_000  # pieces of each other channel
_SHOWN = (4, 3, 5, 2, 1)  # clues of the worked example, the best number first


class Maker:
    """All that is held while a card is made."""

    def __init__(
        self, priors: Priors, model: Model, names: tuple[str, ...], rng: np.random.Generator, pieces: int
    ) -> None:  # fmt: skip
        self.priors, self.model, self.names = priors, model, names
        self.rng, self.pieces = rng, pieces
        self.column = ask.columns(model)
        if self.column[-1] == 0:
            raise RangeError(
                f"as_of: a card needs two decades, and {model.channel.name} has one until "
                f"{model.as_of}; give a later as_of"
            )
        self.inside = np.eye(int(self.column[-1]) + 1)[self.column]  # (years, columns)

    def card(self) -> PocketCard:
        """Draw pieces, choose the rows, fit the points, and measure what they lose."""
        drawn = ask.draw(self.priors, self.model, self.names, self.pieces, self.rng)
        self.asked = ask.questions(self.model, self.names, drawn)
        base, self.firsts = ask.coded(self.asked, drawn)
        target = drawn.exact @ self.inside
        groups = self._groups(base)
        # merged in two goes, so that the second knows what the first has made of the others
        for room in (lambda sizes: sum(sizes) <= 3 * page.LINES, page.room):
            codes = self._numbered(groups, base)
            weights = fit.fit_weights(codes, target, len(groups) + 1)
            counts = np.bincount(codes.ravel(), minlength=len(groups) + 1)[1:].astype(float)
            groups = fit.join(
                groups, weights, counts, target.mean(axis=0), fits=self._fits, room=room
            )
        groups.sort(key=lambda group: (group.clue, group.rest, group.members))
        codes = self._numbered(groups, base)
        doubling = self._doubling(codes, target, len(groups) + 1)
        weights = fit.fit_weights(codes, target, len(groups) + 1)
        rounded = fit.to_points(weights, math.log(2) / doubling)
        points = fit.search(rounded, math.log(2) / doubling, codes, target)
        return self._made(groups, points, rounded, weights, doubling)

    def _groups(self, base: Codes) -> list[Group]:
        """A row for each value, rare ones and "other" together; a clue never seen has none."""
        seen = np.bincount(base.ravel(), minlength=self.firsts[-1])
        groups = []
        for clue, question in enumerate(self.asked):
            counts = seen[self.firsts[clue] :][: question.answers]
            rare = counts < _RARE * counts.sum()
            rest = tuple(
                place
                for place, value in enumerate(question.values)
                if value == "other" or rare[place]
            )
            groups += [
                Group(clue, (place,), False, question.measured)
                for place in range(question.answers)
                if place not in rest
            ]
            groups += [Group(clue, rest, True, False)] if rest else []
        return groups

    def _numbered(self, groups: Sequence[Group], base: Codes) -> Codes:
        """The rows of the card that each piece takes, (pieces, questions)."""
        row = np.zeros(self.firsts[-1], dtype=np.int64)
        for place, group in enumerate(groups):
            row[[self.firsts[group.clue] + member for member in group.members]] = place + 1
        return np.asarray(row[base])

    def _fits(self, group: Group) -> bool:
        label = self.asked[group.clue].label(group.members)
        return len(label) <= page.longest(self.inside.shape[1])

    def _doubling(self, codes: Codes, target: Array, rows: int) -> int:
        """How many points make a decade twice as likely: as few as lose hardly more, held out."""
        out = np.arange(len(codes)) % _HELD_OUT == 0
        weights = fit.fit_weights(codes[~out], target[~out], rows)
        lost = {}
        for doubling in _DOUBLING:
            scale = math.log(2) / doubling
            start = fit.to_points(weights, scale)
            points = fit.search(start, scale, codes[~out], target[~out])
            chance = fit.chances(scale * points, codes[out])
            lost[doubling] = fit.loss(target[out], chance).mean()
        return next(d for d, one in lost.items() if one <= _EASIER * min(lost.values()))

    def _made(
        self, groups: list[Group], points: Points, rounded: Points, weights: Array, doubling: int
    ) -> PocketCard:
        scale = math.log(2) / doubling
        fresh = ask.draw(self.priors, self.model, self.names, self.pieces // 2, self.rng)
        codes, target, sums = self._added(groups, points, fresh)
        paid = cost(
            self._measured(sums, scale, target, fresh), sums, codes, target,
            later=fresh.later,
            rounded=fit.chances(scale * rounded, codes),
            unrounded=fit.chances(weights, codes),
            prior=self.inside.T @ self.model.year_prior,
            elsewhere=self._elsewhere(groups, points, scale),
        )  # fmt: skip
        rows: dict[str, list[CardRow]] = {}
        for group, own in zip(groups, points[1:].tolist(), strict=True):
            if any(own) or not group.rest:  # "anything else" with nothing to add needs no line
                rows.setdefault(self.asked[group.clue].name, []).append(self._row(group, own))
        families = self.model.priors.families
        titles = {q.name: self._title(q) for q in self.asked if q.name in rows}
        example = self._example(fresh, codes, target, sums, paid.trust_from or 0)
        return PocketCard(
            channel=self.model.channel.name,
            where=self.model.channel.description,
            as_of=self.model.as_of,
            decades=ask.column_names(self.model, self.column),
            start=tuple(points[0].tolist()),
            rows=MappingProxyType({clue: tuple(own) for clue, own in rows.items()}),
            titles=MappingProxyType(titles),
            among=self.names,
            missing=tuple(families[n].title for n in ask.askable(self.model) if n not in rows),
            doubling=doubling,
            cost=paid,
            example=MappingProxyType(example),
            priors_hash=self.priors.hash,
            _priors=self.priors,
        )

    def _added(
        self, groups: Sequence[Group], points: Points, drawn: Drawn
    ) -> tuple[Codes, Array, Points]:
        """Of drawn pieces: their rows of the card, the exact chances of its columns, the sums."""
        codes = self._numbered(groups, ask.coded(self.asked, drawn)[0])
        return codes, drawn.exact @ self.inside, fit.summed(points, codes)

    def _measured(
        self, sums: Points, scale: float, target: Array, drawn: Drawn
    ) -> pandas.DataFrame:
        return measured(sums, scale, target, self.column[drawn.year - self.model.years[0]])

    def _elsewhere(self, groups: Sequence[Group], points: Points, scale: float) -> pandas.DataFrame:
        """What the card is worth on the pieces of every other channel, by its own exact answer."""
        import pandas as pd

        means = {}
        for name in self.priors.century.channels:
            if name != self.model.channel.name:
                other = compiled(self.priors, name, self.model.as_of)
                drawn = ask.draw(self.priors, other, self.names, _ELSEWHERE, self.rng)
                _, target, sums = self._added(groups, points, drawn)
                means[name] = self._measured(sums, scale, target, drawn).mean()
        return pd.DataFrame(means).T

    def _title(self, question: Question) -> str:
        """Name and unit, or what of them fits beside the columns."""
        both = f"{question.title}, {question.unit}"
        if not question.unit or question.unit.startswith("per "):
            return question.title
        room = page.longest(self.inside.shape[1])
        return next((t for t in (both, question.unit) if len(t) <= room), question.title)

    def _example(
        self, fresh: Drawn, codes: Codes, target: Array, sums: Points, ahead: int
    ) -> dict[str, object]:
        """A piece with few clues, all on the card, of which card and exact model say the same."""
        clear = (margin(sums) >= ahead) & (winner(sums) == target.argmax(axis=1))
        for at, question in enumerate(self.asked):
            if question.name in DERIVED:  # two sides and their ratio are too much for an example
                clear &= codes[:, at] == 0
        for number in _SHOWN:
            for piece in np.flatnonzero(clear & ((codes > 0).sum(axis=1) == number))[:1]:
                seen = {
                    question.name: fresh.seen[question.name][piece]
                    for question, code in zip(self.asked, codes[piece], strict=True)
                    if code
                }
                # a measurement as a person would note it, in two figures
                return {
                    n: float(f"{v:.2g}") if isinstance(v, float) else v for n, v in seen.items()
                }
        return {}

    def _row(self, group: Group, points: list[int]) -> CardRow:
        question = self.asked[group.clue]
        edges = (-math.inf, *question.edges, math.inf)
        number = question.measured
        return CardRow(
            label=_ELSE if group.rest else question.label(group.members),
            values=() if number else tuple(question.values[place] for place in group.members),
            low=edges[min(group.members)] if number else -math.inf,
            high=edges[max(group.members) + 1] if number else math.inf,
            points=tuple(points),
        )
