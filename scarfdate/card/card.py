"""The card for the pocket: the exact model as whole points, to be added up in the head.

At a market there is no computer. The card has a row of points for each thing that can be seen, one for
each decade; the decade with the highest sum is the card's. The points are fitted to the exact answer
over simulated scarves of the channel, and what the card loses is measured on others and printed on it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from numbers import Integral
from types import MappingProxyType

import numpy as np

from scarfdate.card import ask, fit, page
from scarfdate.card.ask import Codes, Drawn, Question
from scarfdate.card.cost import margin, measured_cost, winner
from scarfdate.card.fit import Group, Points
from scarfdate.card.sheet import CardRow, PocketCard
from scarfdate.clues.sides import DERIVED
from scarfdate.conventions import CHANNEL
from scarfdate.errors import RangeError, shown
from scarfdate.knots import Array
from scarfdate.model.model import Model, compiled
from scarfdate.tables.priors import Priors, load_priors

_ELSE = "anything else"
_SEED = 1954  # any fixed number: the same call gives the same card
_PIECES = (1_000, 1_000_000)
_RARE = 0.003  # of the pieces where it was looked at: such a value gets no row of its own
_HELD_OUT = 4  # one piece in so many is kept from the fit, to choose the worth of a point
_DOUBLING = (1, 2, 3)  # points that make a decade twice as likely
_EASIER = 1.05  # fewer points to add are worth a loss so many times the least
_ELSEWHERE = 1_000  # pieces of each other channel
_SHOWN = (4, 3, 5, 2, 1)  # clues of the worked example, the best number first


def pocket_card(
    priors: Priors | None = None,
    channel: str = CHANNEL,
    *,
    clues: Sequence[str] | None = None,
    as_of: int | None = None,
    rng: np.random.Generator | None = None,
    pieces: int = 20_000,
) -> PocketCard:
    """Distil the exact model of a channel into one sheet of whole points.

    ``clues``: names to choose among, as in ``families.csv``; by default all that can be seen without
    harm and with no more than a lens and a tape measure. ``pieces``, 1,000 to 1,000,000, are simulated
    for the fit, and half as many others to measure its cost. Without ``rng`` the seed is fixed, and
    the same call gives the same card.

    The exact answer that the card is held against is that of the same looks: all of ``clues`` that were
    looked at on a piece, also those that found no place on the card.

    Raises WordError for a channel or a clue that is not known or that no card can ask (makers, label
    texts, dated prints), RangeError for an ``as_of`` or ``pieces`` that cannot be.
    """
    low, high = _PIECES
    if isinstance(pieces, bool) or not isinstance(pieces, Integral) or not low <= pieces <= high:
        raise RangeError(
            f"pieces: a whole number from {low} to {high} is allowed, got {shown(pieces)}"
        )
    if rng is not None and not isinstance(rng, np.random.Generator):
        raise RangeError(
            f"rng: a numpy Generator is allowed, got {shown(rng)}; write np.random.default_rng(1)"
        )
    known = load_priors() if priors is None else priors
    model = compiled(known, channel, as_of)
    names = ask.chosen(model, clues)
    rng = np.random.default_rng(_SEED) if rng is None else rng
    return _Maker(known, model, names, rng, int(pieces)).card()


class _Maker:
    """All that is held while a card is made."""

    def __init__(
        self,
        priors: Priors,
        model: Model,
        names: tuple[str, ...],
        rng: np.random.Generator,
        pieces: int,
    ) -> None:
        self.priors, self.model, self.names, self.rng, self.pieces = (
            priors, model, names, rng, pieces,
        )  # fmt: skip
        self.column = ask.columns(model)
        if self.column[-1] == 0:
            raise RangeError(
                f"as_of: a card needs two decades, and {model.channel.name} has one until "
                f"{model.as_of}; give a later as_of"
            )
        self.inside = np.eye(int(self.column[-1]) + 1)[self.column]  # (years, columns)

    def card(self) -> PocketCard:
        drawn = ask.draw(self.priors, self.model, self.names, self.pieces, self.rng)
        self.asked = ask.questions(self.model, self.names, drawn)
        base, self.firsts = ask.coded(self.asked, drawn)
        target = drawn.exact @ self.inside
        groups = self._groups(base)
        codes = self._numbered(groups, base)
        # joined in two goes, so that the second knows what the first has made of the others
        roomy = 3 * page.LINES
        for room in (lambda sizes: sum(sizes) <= roomy, page.room):
            weights = fit.fit_weights(codes, target, len(groups) + 1)
            counts = np.bincount(codes.ravel(), minlength=len(groups) + 1)[1:].astype(float)
            groups = fit.join(
                groups, weights, counts, target.mean(axis=0), fits=self._fits, room=room
            )
            codes = self._numbered(groups, base)
        groups.sort(key=lambda group: (group.clue, group.rest, group.members))
        codes = self._numbered(groups, base)
        doubling = self._doubling(codes, target, len(groups) + 1)
        scale = math.log(2) / doubling
        weights = fit.fit_weights(codes, target, len(groups) + 1)
        rounded = fit.to_points(weights, scale)
        points = fit.search(rounded, scale, codes, target)
        return self._made(groups, points, rounded, weights, doubling)

    def _groups(self, base: Codes) -> list[Group]:
        """A row for each value, rare ones and "other" together; a clue never seen has none."""
        seen = np.bincount(base.ravel(), minlength=self.firsts[-1])
        seen[0] = 0
        groups = []
        for clue, question in enumerate(self.asked):
            first = self.firsts[clue]
            counts = seen[first : first + question.answers]
            if question.measured:
                groups += [Group(clue, (place,), False, True) for place in range(len(counts))]
                continue
            rest = [
                place
                for place, value in enumerate(question.values)
                if value == "other" or counts[place] < _RARE * counts.sum()
            ]
            groups += [
                Group(clue, (place,), False, False)
                for place in range(len(counts))
                if place not in rest
            ]
            groups += [Group(clue, tuple(rest), True, False)] if rest else []
        return groups

    def _numbered(self, groups: Sequence[Group], base: Codes) -> Codes:
        """The rows of the card that each piece takes, (pieces, questions)."""
        row = np.zeros(self.firsts[-1], dtype=np.int64)
        for place, group in enumerate(groups):
            for member in group.members:
                row[self.firsts[group.clue] + member] = place + 1
        return np.asarray(row[base])

    def _fits(self, group: Group) -> bool:
        label = self.asked[group.clue].label(group.members)
        return len(label) <= page.longest(self.inside.shape[1])

    def _doubling(self, codes: Codes, target: Array, rows: int) -> int:
        """How many points make a decade twice as likely: as few as lose hardly more, held out."""
        out = np.arange(len(codes)) % _HELD_OUT == 0
        weights = fit.fit_weights(codes[~out], target[~out], rows)
        lost = []
        for doubling in _DOUBLING:
            scale = math.log(2) / doubling
            start = fit.to_points(weights, scale)
            points = fit.search(start, scale, codes[~out], target[~out])
            chance = fit.chances(scale * points, codes[out])
            lost.append(float(fit.loss(target[out], chance).mean()))
        return next(d for d, one in zip(_DOUBLING, lost, strict=True) if one <= _EASIER * min(lost))

    def _made(
        self,
        groups: list[Group],
        points: Points,
        rounded: Points,
        weights: Array,
        doubling: int,
    ) -> PocketCard:
        scale = math.log(2) / doubling
        fresh = ask.draw(self.priors, self.model, self.names, self.pieces // 2, self.rng)
        base, _ = ask.coded(self.asked, fresh)
        codes, target = self._numbered(groups, base), fresh.exact @ self.inside
        prior = self.inside.T @ self.model.year_prior
        cost = measured_cost(
            points,
            scale,
            codes,
            target,
            true=ask.of_year(self.model, self.column, fresh.year),
            later=fresh.later,
            rounded=rounded,
            weights=weights,
            prior=prior,
            elsewhere=self._elsewhere(groups, points, scale),
        )
        rows: dict[str, list[CardRow]] = {}
        for group, own in zip(groups, points[1:].tolist(), strict=True):
            if group.rest and not any(own):
                continue  # nothing to add: no line for it
            rows.setdefault(self.asked[group.clue].name, []).append(self._row(group, own))
        families = self.model.priors.families
        missing = tuple(
            families[name].title for name in ask.askable(self.model) if name not in rows
        )
        titles = {q.name: self._title(q) for q in self.asked}
        return PocketCard(
            self.model.channel.name,
            self.model.channel.description,
            self.model.as_of,
            ask.column_names(self.model, self.column),
            tuple(points[0].tolist()),
            MappingProxyType({clue: tuple(own) for clue, own in rows.items()}),
            MappingProxyType({clue: titles[clue] for clue in rows}),
            self.names,
            missing,
            doubling,
            cost,
            self._example(fresh, codes, target, points, cost.trust_from or 0),
            self.priors.hash,
            self.priors,
        )

    def _title(self, question: Question) -> str:
        """Name and unit, or what of them fits beside the columns."""
        both = f"{question.title}, {question.unit}"
        if not question.unit or question.unit.startswith("per "):
            return question.title
        room = page.longest(self.inside.shape[1])
        return next((t for t in (both, question.unit) if len(t) <= room), question.title)

    def _example(
        self, fresh: Drawn, codes: Codes, target: Array, points: Points, ahead: int
    ) -> Mapping[str, object]:
        """A piece with few clues, all on the card, of which card and exact model say the same."""
        sums = fit.summed(points, codes)
        clear = (margin(sums) >= ahead) & (winner(sums) == target.argmax(axis=1))
        seen = np.zeros(len(codes), dtype=np.int64)
        for at, question in enumerate(self.asked):
            if question.name in DERIVED:  # two sides and their ratio are too much for an example
                clear &= codes[:, at] == 0
            seen += codes[:, at] > 0
        for number in _SHOWN:
            for piece in np.flatnonzero(clear & (seen == number))[:1]:
                found = {
                    question.name: _said(fresh.seen[question.name][piece])
                    for at, question in enumerate(self.asked)
                    if codes[piece, at]
                }
                return MappingProxyType(found)
        return MappingProxyType({})

    def _row(self, group: Group, points: list[int]) -> CardRow:
        question = self.asked[group.clue]
        label = _ELSE if group.rest else question.label(group.members)
        if not question.measured:
            values = tuple(question.values[place] for place in group.members)
            return CardRow(label, values, math.nan, math.nan, tuple(points))
        edges = (-math.inf, *question.edges, math.inf)
        low, high = edges[min(group.members)], edges[max(group.members) + 1]
        return CardRow(label, (), low, high, tuple(points))

    def _elsewhere(
        self, groups: Sequence[Group], points: Points, scale: float
    ) -> Mapping[str, tuple[float, float]]:
        """Loss and agreement of the card on the pieces of every other channel, by its own exact answer."""
        found = {}
        for name in self.priors.century.channels:
            if name == self.model.channel.name:
                continue
            other = compiled(self.priors, name, self.model.as_of)
            drawn = ask.draw(self.priors, other, self.names, _ELSEWHERE, self.rng)
            base, _ = ask.coded(self.asked, drawn)
            target = drawn.exact @ self.inside
            sums = fit.summed(points, self._numbered(groups, base))
            lost = fit.loss(target, fit.softmax(scale * sums)).mean()
            agree = (winner(sums) == target.argmax(axis=1)).mean()
            found[name] = (float(lost), float(agree))
        return MappingProxyType(found)


def _said(seen: object) -> object:
    """What was seen as a person would note it: a measurement in two figures."""
    return float(f"{seen:.2g}") if isinstance(seen, float) else seen
