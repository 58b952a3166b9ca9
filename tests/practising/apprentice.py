"""A simulated apprentice: she weighs each clue by a power of her own, lays chips, and learns by a stated rule.

*What she believes.* Each clue's likelihood, as it adds to those shown before, to her own exponent: 1 is what the
tables say, 0.3 makes too little and 2 too much of it. Worked out here in the plain way (`model.exact`), apart from
the code by which the library finds her exponents again.

*What she lays* (`LAID`). Ten chips drawn from the decades as she believes them; or the same ten all through a round,
moved no more than her beliefs move; or her beliefs rounded to tenths; or drawn from beliefs that waver.

*How she learns, round by round* (`learn`). She is told what everybody is, the true year and the log score of the
library after each clue, to two decimals as it is printed. She knows her own mind: how far her belief in the true
decade moved for the clue. With L what the library moved and H what she did, both in nats,

    w  <-  w + rate (L - H) L / (L^2 + noise^2),        0 <= w <= 3

so that she comes to give more where the library moved further the same way, and less where it moved less; a clue
that hardly moved the library teaches hardly anything. It is the normalised rule of B. Widrow and M. E. Hoff 1960,
"Adaptive switching circuits", IRE WESCON Convention Record 4, 96-104. With ``by="chips"`` H is that of her chips
alone, as if she remembered nothing else: ten chips are few, and she has to go slowly (`PACE`) lest she learn noise.

*How she learns from the table* (`read`). After all rounds she is shown her exponents as `weights` finds them from
her chips, and moves each by what it is off: w <- w + 1 - exponent.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from scarfdate import Priors, Scarf, simulate
from scarfdate.answer.evidence import encode
from scarfdate.conventions import CHANNEL, FIRST_YEAR, Array
from scarfdate.model.exact import rows_of, year_of
from scarfdate.model.model import Model, compiled
from scarfdate.practising.bet import CHIPS
from scarfdate.practising.outcome import Outcome
from scarfdate.practising.piece import only
from scarfdate.practising.round import Round
from scarfdate.practising.weights import Weights

AS_OF = 2026
WRONG = (0.3, 2.0)  # the exponents that she begins with, the one as often as the other
PACE = {"beliefs": (0.4, 0.15), "chips": (0.1, 0.3)}  # rate, and noise in nats
LEAST, MOST = 0.0, 3.0

Adds = tuple[
    str, Mapping[int, Array]
]  # a clue that is shown, and by what factor the rows of each column change
Lays = Callable[[np.random.Generator, Array, Array], Array]


def drawn(rng: np.random.Generator, belief: Array, uniform: Array) -> Array:
    """Chips on each decade: each drawn by itself."""
    return rng.multinomial(CHIPS, belief)


def kept(rng: np.random.Generator, belief: Array, uniform: Array) -> Array:
    """The chips of the whole round lie where they lay, but for what the beliefs move."""
    places = np.searchsorted(np.cumsum(belief), uniform)
    return np.bincount(np.minimum(places, len(belief) - 1), minlength=len(belief))


def rounded(rng: np.random.Generator, belief: Array, uniform: Array) -> Array:
    """Tenths, the largest remainders rounded up."""
    chips = np.floor(CHIPS * belief).astype(int)
    chips[np.argsort(chips - CHIPS * belief)[: CHIPS - chips.sum()]] += 1
    return chips


def wavering(rng: np.random.Generator, belief: Array, uniform: Array) -> Array:
    """Drawn from chances that are not quite her beliefs: as uneven as ten chips more would make them."""
    return rng.multinomial(CHIPS, rng.dirichlet(CHIPS * belief + 1e-6))


LAID: Mapping[str, Lays] = {
    "drawn": drawn, "kept": kept, "rounded": rounded, "wavering": wavering
}  # fmt: skip


@dataclass
class Apprentice:
    """``weights``: her exponent of each clue; ``beliefs``: those of the last round, before any clue and after each."""

    priors: Priors
    weights: dict[str, float]
    rng: np.random.Generator
    lays: Lays = drawn
    beliefs: list[Array] = field(default_factory=list)

    def believes(self, model: Model, shown: Sequence[Adds]) -> Array:
        """Her chance of each decade."""
        rows: dict[int, Array] = {}
        for clue, factors in shown:
            for column, factor in factors.items():
                rows[column] = rows.get(column, np.ones(1)) * factor ** self.weights[clue]
        return by_decade(model, year_of(model, rows))

    def play(self, one: Round) -> Outcome:
        """Bet through a round."""
        model = compiled(self.priors, CHANNEL, AS_OF)
        shown: list[Adds] = []
        before: dict[int, Array] = {}
        self.beliefs = []
        uniform = self.rng.random(CHIPS)
        while not one.over:
            if one.shown:
                after = rows_of(model, encode(model, one.scarf)[0])
                shown.append((one.shown[-1].family, factors(before, after)))
                before = after
            belief = self.believes(model, shown)
            self.beliefs.append(belief)
            chips = self.lays(self.rng, belief, uniform)
            laid = enumerate(chips.tolist())
            one.bet({FIRST_YEAR + 10 * place: count for place, count in laid if count})
        return one.outcome

    def learn(self, own: Outcome, told: Outcome | None = None, by: str = "beliefs") -> None:
        """Move the weights by what a round tells; ``told``: numbers of another round in their place."""
        rate, noise = PACE[by]
        decade = (own.played.known_from - FIRST_YEAR) // 10
        library = [round(score.log_score, 2) for score in (told or own).library]
        hers = [np.log(belief[decade]) for belief in self.beliefs]
        if by == "chips":
            hers = [score.log_score for score in own.hers]
        moved = zip(own.played.order, np.diff(library), np.diff(hers), strict=told is None)
        for clue, its, mine in moved:
            step = rate * (its - mine) * its / (its**2 + noise**2)
            self.weights[clue] = float(np.clip(self.weights[clue] + step, LEAST, MOST))

    def read(self, table: Weights) -> None:
        """Move each weight by as much as the table says that it is off."""
        for one in table.clues:
            moved = self.weights[one.clue] + 1 - one.exponent
            self.weights[one.clue] = float(np.clip(moved, LEAST, MOST))


def beginner(priors: Priors, seed: int, lays: Lays = drawn) -> Apprentice:
    """An apprentice all of whose weights are wrong."""
    rng = np.random.default_rng((1602, seed))
    clues = [*priors.families, "size"]
    return Apprentice(priors, dict(zip(clues, rng.choice(WRONG, len(clues)).tolist(), strict=True)), rng, lays)  # fmt: skip


def factors(before: Mapping[int, Array], after: Mapping[int, Array]) -> dict[int, Array]:
    """By what factor the rows of each column change that change at all."""
    changed = {column: row / before.get(column, 1.0) for column, row in after.items()}
    return {column: factor for column, factor in changed.items() if (factor != 1).any()}


def by_decade(model: Model, year: Array) -> Array:
    """Chances of the decades, (decades,)."""
    return np.bincount((model.years - FIRST_YEAR) // 10, year)


class Examination:
    """Pieces that nobody practised on: what somebody's weights lose on them.

    ``pieces`` drawn from the tables, of each ``clues`` clues at most, ``among`` those practised. A loss is the difference to the library's
    expected log score, in nats a piece, the true decade being as likely as the library has it: Kullback and
    Leibler's divergence, 0 for the library itself and more for everybody else.
    """

    def __init__(
        self, priors: Priors, among: Collection[str] = (), pieces: int = 120, clues: int = 5
    ) -> None:
        self.model = compiled(priors, CHANNEL, AS_OF)
        rng = np.random.default_rng(77)
        scarves = simulate(priors, pieces, rng, as_of=AS_OF).scarves(priors)
        self.shown = [self._shown(priors, scarf, among, clues, rng) for scarf in scarves]
        ones = dict.fromkeys([*priors.families, "size"], 1.0)
        self.library = self._chances(Apprentice(priors, ones, rng))

    def _shown(
        self, priors: Priors, scarf: Scarf, among: Collection[str], most: int,
        rng: np.random.Generator,
    ) -> list[Adds]:  # fmt: skip
        names = [name for name in scarf.clues() if not among or name in among]
        order = rng.permutation(names)[:most].tolist()
        rows = [
            rows_of(self.model, encode(self.model, only(scarf, order[:count], priors))[0])
            for count in range(len(order) + 1)
        ]
        changed = (factors(*both) for both in pairwise(rows))
        return list(zip(order, changed, strict=True))

    def _chances(self, of: Apprentice) -> Array:
        return np.array([of.believes(self.model, shown) for shown in self.shown])

    def loss(self, of: Apprentice) -> float:
        """What her weights lose, in nats a piece."""
        return float((self.library * np.log(self.library / self._chances(of))).sum(axis=1).mean())
