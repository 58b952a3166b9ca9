"""Pieces like one at hand come as often as the exact sum says, given what of it is held.

Pairs of words are compared, one of them of the look or of the market, so that grade, market, year made and year of
the style are drawn together. Each of some 100 comparisons fails by chance once in 500,000 seeds (five standard
errors of 8,000 pieces); the seed is fixed.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest

from scarfdate import Priors, Scarf
from scarfdate.answer.evidence import encode
from scarfdate.model.model import Model, compiled
from scarfdate.model.posterior import posterior
from scarfdate.model.replicas import replicas

N = 8_000
HELD: list[dict[str, Any]] = [
    {},
    {"depicted_year": 1937},
    {"palette": {"acid-neon": 0.9, "earth": 0.1}, "printed_year": 1948},
]


def log_evidence(model: Model, seen: list[dict[str, Any]]) -> np.ndarray:
    codes = [encode(model, Scarf(priors=model.priors, **one))[0] for one in seen]
    return posterior(model, np.concatenate(codes)).log_evidence


@pytest.mark.parametrize(
    ("held", "one", "other"),
    [
        *((held, "motif", "print_technique") for held in HELD),
        *((held, "origin", "fibre") for held in HELD),
        # an old look printed late: mostly drawn from the years that it looks back to
        ({"motif": {"psychedelic": 0.99, "dots": 0.01}, "printed_year": 2003}, "palette", "layout"),
    ],
)
def test_pairs_of_words_come_as_often_as_they_should(
    priors: Priors, held: dict[str, Any], one: str, other: str
) -> None:
    model = compiled(priors, "thrift", 2010)
    words = priors.vocabulary.values
    piece = {**held, one: words[one][0], other: words[other][0]}
    codes, _ = encode(model, Scarf(priors=priors, **piece))
    made = replicas(model, codes, N, np.random.default_rng(5))
    assert made.shape == (N, codes.shape[1])
    for name in held:  # as they were seen
        assert (made[:, model.column[name]] == codes[0, model.column[name]]).all()
    noted = [
        [model.clues[model.column[name]].rows.keys[row][0].word for row in made[:, model.column[name]]]
        for name in (one, other)
    ]  # fmt: skip
    counts = Counter(zip(*noted, strict=True))
    kinds = [(a, b) for a in words[one] for b in words[other]]
    whole = log_evidence(model, [held])[0] if held else 0.0
    chances = np.exp(log_evidence(model, [{**held, one: a, other: b} for a, b in kinds]) - whole)
    assert chances.sum() == pytest.approx(1, abs=1e-6)
    for kind, chance in zip(kinds, chances.tolist(), strict=True):
        far = abs(counts[kind] / N - chance) / np.sqrt(chance * (1 - chance) / N)
        assert far < 5 or abs(counts[kind] - N * chance) < 4, kind
