"""The best set of checks within a time, chosen one by one over drawn findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from scarfdate.tables.lists import Check
from scarfdate.why.looks import LITTLE, Look
from scarfdate.why.state import Outcomes, State, promises

Taken = tuple[Check, tuple[Check, ...]]  # a look, and those that are taken along

_DRAWS = 40  # of what may be found, for the worth of a set
_SEED = 11


def planned(
    state: State, looks: Sequence[Look], checks: Mapping[tuple[str, str], Taken], minutes: float
) -> tuple[tuple[Look, ...], float, float]:
    """Checks chosen one by one, each the best a minute after those before it, over drawn findings."""
    rng = np.random.default_rng(_SEED)
    states = [state] * _DRAWS
    left, chosen = minutes, list[Look]()
    open_looks = list(looks)
    gained = np.zeros(_DRAWS)
    while True:
        able = [look for look in open_looks if look.minutes <= left and look.bits > LITTLE]
        best, best_bits, best_outcomes = None, 0.0, None
        for look in able:
            check, read = checks[look.clue, look.method]
            found = [one.outcomes(check, read) for one in states]
            each = [some for some in found if some is not None]
            if len(each) < len(states):
                continue
            promised = np.array(
                [promises(one, [some])[0][0] for one, some in zip(states, each, strict=True)]
            )
            if best is None or promised.mean() / look.minutes > best_bits / best.minutes:
                best, best_bits, best_outcomes = look, float(promised.mean()), (promised, each)
        if best is None or best_outcomes is None or best_bits <= LITTLE:
            break
        gained += best_outcomes[0]
        chosen.append(best)
        left -= best.minutes
        open_looks.remove(best)
        states = [_drawn(some, rng) for some in best_outcomes[1]]
    error = float(gained.std(ddof=1) / np.sqrt(_DRAWS)) if chosen else 0.0
    return tuple(chosen), float(gained.mean()), error


def _drawn(outcomes: Outcomes, rng: np.random.Generator) -> State:
    chances = outcomes.chance
    return outcomes.then(int(rng.choice(len(outcomes), p=chances / chances.sum())))
