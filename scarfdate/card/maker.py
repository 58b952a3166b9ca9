"""How a card is made: rows chosen and merged, points fitted, and what they lose measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.card import ask, fit, page
from scarfdate.card.ask import Codes, Drawn, Question
from scarfdate.card.cost import Added, add_up, cost, margin, measured, winner
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
_DOUBLING = (1, 2, 3)  # points that make an era twice as likely
_EASIER = 1.01  # fewer points to add are worth a loss so many times the least
_FIRST_ROWS = 135  # of the first go at joining
_ELSEWHERE = 1_000  # pieces of each other channel
_STEP_ROWS = 5  # of an era in the second step: those that tell most
_SHOWN = (4, 3, 5, 2, 1)  # clues of the worked example, the best number first


class Maker:
    """All that is held while a card is made."""

    def __init__(
        self, priors: Priors, model: Model, names: tuple[str, ...], rng: np.random.Generator, pieces: int
    ) -> None:  # fmt: skip
        self.priors, self.model, self.names = priors, model, names
        self.rng, self.pieces = rng, pieces
        self.eras = ask.eras_of(model)
        self.column = self.eras.column
        if self.column[-1] == 0:
            raise RangeError(
                f"as_of: a card needs two eras, and {model.channel.name} has one until "
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
        for room in (lambda rows: sum(map(len, rows)) <= _FIRST_ROWS, self._room):
            codes = self._numbered(groups, base)
            weights = fit.fit_weights(codes, target, len(groups) + 1)
            counts = np.bincount(codes.ravel(), minlength=len(groups) + 1)[1:].astype(float)
            groups = fit.join(
                groups, weights, counts, target.mean(axis=0), fits=self._fits, room=room
            )
        self.order = self._order(groups, self._numbered(groups, base), target)
        rank = {clue: place for place, clue in enumerate(self.order)}
        groups.sort(key=lambda group: (rank[group.clue], group.rest, group.members))
        codes = self._numbered(groups, base)
        doubling = self._doubling(codes, target, len(groups) + 1)
        weights = fit.fit_weights(codes, target, len(groups) + 1)
        rounded = fit.to_points(weights, math.log(2) / doubling)
        points = fit.search(rounded, math.log(2) / doubling, codes, target)
        points = fit.sharpen(points, math.log(2) / doubling, codes, target)
        self.lean = self._second_step(codes, drawn.exact, len(groups) + 1, math.log(2) / doubling)
        return self._made(groups, points, rounded, weights, doubling)

    def _groups(self, base: Codes) -> list[Group]:
        """A row for each value, rare ones and "other" together; a clue never seen has none."""
        seen = np.bincount(base.ravel(), minlength=self.firsts[-1])
        own = self.priors.card.own
        groups = []
        for clue, question in enumerate(self.asked):
            counts = seen[self.firsts[clue] :][: question.answers]
            rare = counts < _RARE * counts.sum()
            rest = tuple(
                place
                for place, value in enumerate(question.values)
                if (value == "other" or rare[place]) and (question.name, value) not in own
            )
            groups += [
                Group(
                    clue,
                    (place,),
                    False,
                    question.measured,
                    question.name in self.priors.card.borders
                    or (bool(question.values) and (question.name, question.values[place]) in own),
                )
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
        return page.lines(self._label(group)) <= page.MOST_LINES

    def _label(self, group: Group) -> str:
        return _ELSE if group.rest else self.asked[group.clue].label(group.members)

    def _room(self, rows: Sequence[Sequence[Group]]) -> bool:
        return page.room([[self._label(group) for group in own] for own in rows])

    def _order(self, groups: Sequence[Group], codes: Codes, target: Array) -> list[int]:
        """The clues of the card, what tells most first: by the spread of their weights where looked at."""
        chance = target.mean(axis=0)
        weights = fit.fit_weights(codes, target, len(groups) + 1)
        told = {}
        for clue in {group.clue for group in groups}:
            own = weights[codes[codes[:, clue] > 0, clue]]
            apart = own - own.mean(axis=0)
            told[clue] = float((apart**2 @ chance - (apart @ chance) ** 2).mean())
        return sorted(told, key=lambda clue: (-told[clue], clue))

    def _second_step(self, codes: Codes, exact: Array, rows: int, scale: float) -> Points:
        """What each row says for the later half of each era, (rows, eras); 0 for all but the strongest."""
        lean = np.zeros((rows, self.inside.shape[1]), dtype=np.int64)
        of_era = (exact @ self.inside).argmax(axis=1)
        for era, halves in enumerate(self.eras.halves):
            own = np.flatnonzero(of_era == era)
            if len(halves) < 2 or not len(own):
                continue
            inside = (self.column == era)[:, None] & np.stack(
                [~self.eras.later, self.eras.later], 1
            )
            target = exact[own] @ inside.astype(float)
            target /= target.sum(axis=1, keepdims=True)
            weights = fit.fit_weights(codes[own], target, rows)
            counts = np.bincount(codes[own].ravel(), minlength=rows)
            strength = counts * np.ptp(weights, axis=1) ** 2
            strength[0] = 0
            kept = np.zeros(rows, dtype=np.int64)
            best = np.sort(np.argsort(-strength, kind="stable")[:_STEP_ROWS])
            kept[best] = np.arange(1, len(best) + 1)
            few = kept[codes[own]]
            start = fit.to_points(fit.fit_weights(few, target, len(best) + 1), scale)
            points = fit.search(start, scale, few, target)
            lean[[0, *best], era] = points[:, 1] - points[:, 0]
        return lean

    def _doubling(self, codes: Codes, target: Array, rows: int) -> int:
        """How many points make an era twice as likely: as few as lose hardly more, held out."""
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
        codes, target, whole, each = self._added(groups, points, fresh, scale)
        paid = cost(
            each, whole.sums, codes, target,
            later=fresh.later,
            rounded=fit.chances(scale * rounded, codes),
            unrounded=fit.chances(weights, codes),
            prior=self.inside.T @ self.model.year_prior,
            elsewhere=self._elsewhere(groups, points, scale),
        )  # fmt: skip
        rows: dict[str, list[CardRow]] = {}
        for group, own, lean in zip(
            groups, points[1:].tolist(), self.lean[1:].tolist(), strict=True
        ):
            # "anything else" with nothing to add needs no line
            if any(own) or any(lean) or not group.rest:
                rows.setdefault(self.asked[group.clue].name, []).append(self._row(group, own, lean))
        families = self.model.priors.families
        titles = {q.name: self._title(q) for q in self.asked if q.name in rows}
        example = self._example(fresh, codes, target, whole.sums, paid.trust_from or 0)
        return PocketCard(
            channel=self.model.channel.name,
            where=self.model.channel.description,
            as_of=self.model.as_of,
            eras=self.eras.names,
            halves=self.eras.halves,
            start=tuple(points[0].tolist()),
            start_lean=tuple(self.lean[0].tolist()),
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
        self, groups: Sequence[Group], points: Points, drawn: Drawn, scale: float
    ) -> tuple[Codes, Array, Added, pandas.DataFrame]:
        """Of drawn pieces: their rows of the card, the exact chances of its columns, the sums, what they are worth."""
        codes = self._numbered(groups, ask.coded(self.asked, drawn)[0])
        target = drawn.exact @ self.inside
        whole, stopped = (add_up(points, codes, self.order, stopping=s) for s in (False, True))
        named, exact = winner(whole.sums), target.argmax(axis=1)
        every = np.arange(len(codes))
        card_later = fit.summed(self.lean, codes)[every, named] > 0
        later = (drawn.exact * self.eras.later) @ self.inside
        exact_later = later[every, exact] > target[every, exact] / 2
        true = self.column[drawn.year - self.model.years[0]]
        each = measured(whole, stopped, scale, target, true, card_later == exact_later)
        return codes, target, whole, each

    def _elsewhere(self, groups: Sequence[Group], points: Points, scale: float) -> pandas.DataFrame:
        """What the card is worth on the pieces of every other channel, by its own exact answer."""
        import pandas as pd

        means = {}
        for name in self.priors.century.channels:
            if name != self.model.channel.name:
                other = compiled(self.priors, name, self.model.as_of)
                drawn = ask.draw(self.priors, other, self.names, _ELSEWHERE, self.rng)
                means[name] = self._added(groups, points, drawn, scale)[-1].mean()
        return pd.DataFrame(means).T

    def _title(self, question: Question) -> str:
        """What is measured, on what, and its unit, as far as it fits a line."""
        family = self.model.priors.families[question.name]
        title = question.title
        if family.parent:  # stitches of the hem, long side of the form
            title = f"{self.model.priors.families[family.parent].title} {title}"
        unit = "" if question.unit.startswith(("per ", "times ")) else question.unit
        both = f"{title}, {unit}" if unit else title
        return next((t for t in (both, title) if page.lines(t) == 1), question.title)

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

    def _row(self, group: Group, points: list[int], lean: list[int]) -> CardRow:
        question = self.asked[group.clue]
        edges = (-math.inf, *question.edges, math.inf)
        number = question.measured
        return CardRow(
            label=self._label(group),
            values=() if number else tuple(question.values[place] for place in group.members),
            low=edges[min(group.members)] if number else -math.inf,
            high=edges[max(group.members) + 1] if number else math.inf,
            points=tuple(points),
            lean=tuple(lean),
        )
