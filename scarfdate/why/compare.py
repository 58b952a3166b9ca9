"""Two pieces side by side: which was made first, how far apart, and which clues make the difference.

The odds of "the first before the second" against "the second before the first" are worked out for every
subset of the kinds of clues that either piece has; a kind counts for both pieces at once, as when two hems
are held up. Their weight of evidence is shared out by Shapley values, exactly.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from scarfdate import years
from scarfdate.answer.dating import Dating
from scarfdate.answer.reasons import WEIGHTY
from scarfdate.clues.clue import Clue
from scarfdate.clues.shares import SharesClue
from scarfdate.clues.sides import DERIVED, LONG_SIDE
from scarfdate.conventions import (
    DECIBANS_PER_NAT,
    FIRST_YEAR,
    LEVEL,
    Array,
)
from scarfdate.errors import RangeError
from scarfdate.frozen import frozen
from scarfdate.model.subsets import seen_columns, years_of_subsets
from scarfdate.show.sentence import MATTERS, percent
from scarfdate.why.explanation import to_one
from scarfdate.why.shapley import shapley

_EXACT = 14  # kinds of clues: all subsets of both pieces are then some 100 MB
_LEAST = 1e-300
_HARDLY = 0.55  # a chance below that is told as hardly more than even
_NAMED = 2  # clues named in the words
_WIDE = 9.0  # em, a drawing of one of two


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Which of two pieces was made first, and how far apart they are in years.

    ``first_before``, ``same_year`` and ``second_before`` sum to one; ``years_apart`` is the shortest
    interval at ``level`` of (year of the second minus year of the first). ``share``: what each kind of
    clue weighs for the first being older, in decibans; the parts add up to ``decibans``, the whole
    weight of evidence. ``without``: by kind of clue, P(first before) and P(second before) were it noted of neither.
    Both are empty where there are more than fourteen kinds of clues (``noted_kinds``), or the two were dated under
    different priors or channels.
    """

    first_before: float
    same_year: float
    second_before: float
    years_apart: tuple[int, int]
    level: float
    decibans: float
    share: Mapping[str, float]
    without: Mapping[str, tuple[float, float]]
    noted_kinds: int
    _pair: tuple[Dating, Dating]

    def __str__(self) -> str:
        text = _which_is_older(self)
        if self.noted_kinds > _EXACT:
            return f"{text} Too many kinds of clues were noted ({self.noted_kinds}) to share out what decides it."
        ranked = sorted(self.share, key=lambda name: -abs(self.share[name]))
        differs = {name: what for name in ranked if (what := _what_differs(name, self._pair))}
        told = [name for name in differs if abs(self.share[name]) >= WEIGHTY][:_NAMED]
        if told:
            parts = [
                f"{differs[name]} (for the "
                f"{'first' if self.share[name] > 0 else 'second'} being older, {to_one(self.share[name])})"
                for name in told
            ]
            text += f" What decides it most: {' and '.join(parts)}."
            text += _without(differs[told[0]], self, *self.without[told[0]])
        return text

    def _repr_html_(self) -> str:
        from scarfdate.show import page
        from scarfdate.why.explanation import in_odds

        chances = {
            "the first is older": self.first_before,
            "the same year": self.same_year,
            "the second is older": self.second_before,
        }
        rows = [(name, page.bar(chance), percent(chance)) for name, chance in chances.items()]
        drawn = [page.table(rows, numbers=(2,)), *self._beside_each_other()]
        if self.share:
            most = max(abs(share) for share in self.share.values())
            ranked = sorted(self.share, key=lambda name: -abs(self.share[name]))
            families = self._pair[0]._priors.families
            parts = [
                (
                    page.under(
                        families[name].title,
                        f"{in_odds(self.share[name])} for the {'first' if self.share[name] > 0 else 'second'}",
                    ),
                    page.balance(self.share[name], most, room=8),
                )
                for name in ranked
            ]
            caption = (
                "What each clue weighs: a hollow bar to the left for the second being older, "
                "a full one for the first"
            )
            drawn.append(page.table(parts, caption=caption))
        return page.view(str(self), *drawn)

    def _beside_each_other(self) -> list[str]:
        """What was noted of both, clue by clue, with drawings of the whole pieces and of what differs."""
        from scarfdate.drawing.beside import NOT_THIS_PIECE, of_clues
        from scarfdate.show import page

        first, second = (dating.noted() for dating in self._pair)
        pictures = [of_clues(one._priors, one._seen, _WIDE) for one in self._pair]
        whole = [drawn.get(LONG_SIDE, page.Html()) for drawn in pictures]
        rows = [("", *(page.strong(name) for name in ("the first", "the second")))]
        if any(whole):
            rows.append(("the whole piece", *whole))
        titles = {clue.name: clue.title for one in self._pair for clue in one._model.clues}
        for name in dict.fromkeys((*first, *second)):
            said = [noted.get(name, "not noted") for noted in (first, second)]
            differs = said[0] != said[1]
            cells = [
                page.over(words, drawn.get(name, page.Html()) if differs else page.Html())
                for words, drawn in zip(said, pictures, strict=True)
            ]
            rows.append((page.under(titles[name], _how_alike(name, first, second)), *cells))
        caption = "What was noted of the two"
        return [page.table(rows, caption=caption), NOT_THIS_PIECE] if rows[1:] else []

    def plot(self, axes: Any = None) -> Any:
        """Both datings laid over each other, and beneath them what each kind of clue weighs; returns both axes.

        ``axes``: two matplotlib axes to draw on.
        """
        from scarfdate.show import plot

        pair = self._pair
        families = pair[0]._priors.families
        clues = sorted(self.share, key=lambda name: self.share[name])
        names = ["the first", "the second"]
        start = 0
        if any(dating.before_grid >= MATTERS for dating in pair):
            start = 1  # one cell for centuries is no year to draw: it is told
            names = [
                f"{name}\nolder than {FIRST_YEAR + 1}: {percent(dating.before_grid)}"
                for name, dating in zip(names, pair, strict=True)
            ]
        return plot.two_pieces(
            pair[0].years[start:].astype(float),
            (pair[0].probability[start:], pair[1].probability[start:]),
            (names[0], names[1]),
            [families[name].title for name in clues],
            [self.share[name] for name in clues],
            axes,
        )


def _how_alike(name: str, first: Mapping[str, str], second: Mapping[str, str]) -> str:
    """Whether a clue was noted alike of two pieces, in a word or two."""
    if name not in second:
        return "only of the first"
    if name not in first:
        return "only of the second"
    return "the same" if first[name] == second[name] else "noted differently"


def _what_differs(name: str, pair: tuple[Dating, Dating]) -> str:
    """What of a kind of clues was not noted alike of the two, as a sentence names it; "" where all was."""
    model, priors = pair[0]._model, pair[0]._priors
    clue = model.clues[model.column[name]]
    first, second = (_parts(clue, dating._observed.get(name)) for dating in pair)
    named = []
    for part in {**first, **second}:
        if first.get(part) == second.get(part):
            continue
        # two sides are one size
        part = LONG_SIDE if part in DERIVED else part
        family = priors.families[part]
        phrase = f"the {family.title}"
        if family.kind != "shares":
            phrase = priors.wording.phrase(part, "", family.title).replace(" ()", "")
        named.append("the " + " ".join(phrase.split()).removeprefix("the ").removeprefix("its "))
    return " and ".join(dict.fromkeys(named))


def _parts(clue: Clue, key: Hashable) -> dict[str, object]:
    """What was noted of a kind of clues, by family."""
    if key is None or not isinstance(clue, SharesClue):
        each = {} if key is None else clue.apart(key) or {clue.name: key}
        return {name: one for name, one in each.items() if one is not None}
    return {
        name: one
        for name, one in zip(clue.families, clue.split(key), strict=True)
        if one is not None
    }


def _without(what: str, found: Comparison, first: float, second: float) -> str:
    """Which would be older, were what decides it most noted of neither."""
    chance = max(first, second)
    if chance < _HARDLY * (first + second):
        return (
            f" Without {what} nothing would decide it ({percent(first)} against {percent(second)})."
        )
    same = (first > second) == (found.first_before > found.second_before)
    which = "first" if first > second else "second"
    return f" Without {what} it would {'still ' if same else ''}be the {which} ({percent(chance)})."


def _which_is_older(found: Comparison) -> str:
    """Which is older, how sure that is, and by how many years it may be so."""
    first = found.first_before >= found.second_before
    chance = max(found.first_before, found.second_before)
    low, high = found.years_apart if first else (-found.years_apart[1], -found.years_apart[0])
    text = f"The {'first' if first else 'second'} is "
    other = min(found.first_before, found.second_before)
    if chance >= _HARDLY:
        text += f"probably older ({percent(chance)}; both of one year: {percent(found.same_year)})"
    elif percent(chance) == percent(other):
        text += f"as likely older ({percent(chance)}) as younger ({percent(other)})"
    else:
        text += f"hardly likelier older ({percent(chance)}) than younger ({percent(other)})"
    if low > 0:
        years = f"by {low} to {_years(high)}"
    elif high <= 0:
        years = f"though it may be up to {_years(-low)} younger"
    elif low == 0:
        years = f"by up to {_years(high)}"
    elif chance < _HARDLY:
        years = f"by up to {_years(high)} older or {_years(-low)} younger"
    else:
        years = f"by up to {_years(high)}, though it could also be up to {_years(-low)} younger"
    return f"{text}: {years} ({percent(found.level)} sure)."


def _years(number: int) -> str:
    return f"{number} year{'' if number == 1 else 's'}"


def compare(a: Dating, b: Dating, level: float = LEVEL) -> Comparison:
    """P(A made before B), for two pieces that know nothing of each other, and what decides it."""
    if not (isinstance(a, Dating) and isinstance(b, Dating)):
        raise RangeError(
            f"compare: two datings are compared, got {type(a).__name__} and {type(b).__name__}"
        )
    if a.as_of != b.as_of:
        raise RangeError(f"compare: datings of one as_of are compared, got {a.as_of} and {b.as_of}")
    apart, chance = years.difference(a.probability, b.probability)
    first, last = years.shortest_interval(
        years.cumulative(chance[None, :]), years.checked_level(level)
    )
    before = years.chance_before(a.probability, b.probability)
    same = float(a.probability @ b.probability)
    share, without = _shares(a, b)
    return Comparison(
        first_before=before,
        same_year=same,
        second_before=1 - before - same,
        years_apart=(int(apart[first[0]]), int(apart[last[0]])),
        level=float(level),
        decibans=float(sum(share.values())),
        share=frozen(share),
        without=frozen(without),
        noted_kinds=len({*a._observed, *b._observed}),
        _pair=(a, b),
    )


def _shares(a: Dating, b: Dating) -> tuple[dict[str, float], dict[str, tuple[float, float]]]:
    if (a.priors_hash, a.channel) != (b.priors_hash, b.channel):
        return {}, {}
    model = a._model
    codes = [model.codes_of(dating._observed) for dating in (a, b)]
    # the plain ones first, then those of the market, then style, as the subsets want them
    columns = seen_columns(model, np.maximum(*codes))
    if not columns or len(columns) > _EXACT:
        return {}, {}
    chances = [years_of_subsets(model, of_one, columns) for of_one in codes]
    before, after = _before(chances[0], chances[1]), _before(chances[1], chances[0])
    odds = DECIBANS_PER_NAT * (np.log(before) - np.log(after))
    names = [model.clues[column].name for column in columns]
    left = [len(odds) - 1 - (1 << bit) for bit in range(len(names))]
    without = [(float(before[at]), float(after[at])) for at in left]
    share = shapley(odds).tolist()
    return dict(zip(names, share, strict=True)), dict(zip(names, without, strict=True))


def _before(first: Array, second: Array) -> Array:
    """P(first before second) for each subset."""
    later = 1 - np.cumsum(second, axis=1)  # P(second made after each year)
    return np.asarray(np.maximum(np.einsum("sy,sy->s", first, later), _LEAST))
