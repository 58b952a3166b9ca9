"""Which piece comes next: pairs of near things that take turns, and what went wrong comes back sooner.

*New pieces* come in twos, the one with the one word of a pair and the other with the other; then the turn
is another pair's, of another family where there is one, so that no kind of thing is practised in a block.
People who had to tell painters apart learned it better from mixed series than from one painter at a time:
N. Kornell and R. A. Bjork 2008, "Learning concepts and categories: is spacing the 'enemy of induction'?",
Psychological Science 19, 585-592; for things that are easily confused: D. Rohrer 2012, "Interleaving helps
students distinguish among similar concepts", Educational Psychology Review 24, 355-367.

*What comes back.* A round is lost where her last bet gives the true decade less than half the chance that
the library gives it. What it was about comes back after two other rounds, with another piece of the same
word, or of a list without such words with the piece that is most like it (the same where there is no other);
won then, after four, and then after eight, and lost again
after two. This is a box of cards with partitions for the well known: S. Leitner 1972, "So lernt man lernen".

*What a seed repeats.* The n-th new piece, its clues and their order depend on the seed and n alone, and so
does each of its returns on the seed, n and how often it came back: they are the same for two apprentices,
whatever they bet. When a return is due depends on the bets. Words of a pair turn up equally often, other than
at a stall, so that a bet before any clue is compared with a prior that is a little off for what is dealt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from scarfdate.clues.scarf import Scarf
from scarfdate.practising.deck import Deck, Wanted
from scarfdate.practising.piece import Piece, families_of
from scarfdate.tables.practice import Pair
from scarfdate.tables.priors import Priors

GAPS = (2, 4, 8)  # other rounds before a return: the partitions of the box
_TURNS, _COINS, _PIECES, _CLUES = range(1, 5)  # streams of chance, one a use


class Past(NamedTuple):
    """A round that is over: its new piece by number, how often that came back, and whether it was lost."""

    deal: int
    again: int
    lost: bool


@dataclass(frozen=True, kw_only=True)
class Dealt:
    """A piece to be played. ``order``: its families as they are shown; ``pair``: what it is about, if anything."""

    piece: Piece
    order: tuple[str, ...]
    deal: int
    again: int
    pair: Pair | None


def next_deal(past: Sequence[Past]) -> tuple[int, int]:
    """The number of the next new piece and 0, or of one that is due to come back and how often it has."""
    due: dict[int, tuple[int, int, int]] = {}  # by deal: the round it is due in, partition, returns
    for number, (deal, again, lost) in enumerate(past, 1):
        partition = due.pop(deal)[1] + 1 if deal in due and not lost else 0
        if (lost or again) and partition < len(GAPS):
            due[deal] = (number + GAPS[partition] + 1, partition, again + 1)
    ready = sorted((when, deal) for deal, (when, _, _) in due.items() if when <= len(past) + 1)
    if ready:
        deal = ready[0][1]
        return deal, due[deal][2]
    return 1 + max((one.deal for one in past), default=0), 0


def turn_of(pairs: Sequence[Pair], seed: int, deal: int) -> tuple[Pair, str]:
    """The pair, and the word of it, that the n-th new piece is about."""
    at, second = divmod(deal - 1, 2)
    cycle, place = divmod(at, len(pairs))
    last: Pair | None = None
    for number in range(cycle + 1):
        order = _apart(pairs, np.random.default_rng((seed, _TURNS, number)), last)
        last = order[-1]
    pair = order[place]
    first = int(np.random.default_rng((seed, _COINS, at)).integers(2))
    return pair, (pair.one, pair.other)[first ^ second]


def _apart(pairs: Sequence[Pair], rng: np.random.Generator, last: Pair | None) -> list[Pair]:
    """All pairs by chance, none behind one of its own family as long as there is another."""
    left = [pairs[place] for place in rng.permutation(len(pairs)).tolist()]
    order: list[Pair] = []
    while left:
        apart = [one for one in left if last is None or one.family != last.family]
        other = [one for one in left if one != last]
        last = (apart or other or left)[0]
        left.remove(last)
        order.append(last)
    return order


def deal(
    deck: Deck, pairs: Sequence[Pair], families: Sequence[str], most: int,
    seed: int, number: int, again: int, priors: Priors,
) -> Dealt:  # fmt: skip
    """The n-th new piece or a return to what it was about, with at most so many clues, of these families.

    All families where none is given. The clue that it is about is shown first, the others in an order by chance.
    """
    if pairs:
        pair, word = turn_of(pairs, seed, number)
        series = (seed, _PIECES, pairs.index(pair), int(word == pair.other))
        # how many pieces of the word came before: one a cycle, and the returns
        place = (number - 1) // (2 * len(pairs)) + again
        wanted = Wanted(pair, word, series, place, own=(seed, _PIECES, number, again))
    else:
        pair, word = None, ""
        own = (seed, _PIECES, number, again)
        wanted = Wanted(None, "", (seed, _PIECES), number - 1, own, again)
    piece = deck.piece(wanted)
    noted = families_of(Scarf.from_dict(piece.seen, priors=priors), priors)
    about = pair.family if pair and piece.seen.get(pair.family) == word else ""
    others = [name for name in noted if name != about and (not families or name in families)]
    rng = np.random.default_rng((seed, _CLUES, number, again))
    shuffled = [others[place] for place in rng.permutation(len(others)).tolist()]
    order = ([about] if about else []) + shuffled
    return Dealt(
        piece=piece, order=tuple(order[:most]), deal=number, again=again,
        pair=pair if about else None,
    )  # fmt: skip
